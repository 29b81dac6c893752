"""The picture of the day shows every step, says itself in words, and asks nothing of the content policy."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from recipes.charts import (
    IDLE,
    Day,
    Mark,
    altitude_svg,
    days_svg,
    idle_spans,
    tall_svg,
    timeline_lanes,
    timeline_sentence,
    timeline_svg,
)
from recipes.choices import STEPS
from recipes.engine import Step, StepKind, Timeline, altitude_from_text
from recipes.engine.document import recipe_from_document
from tests.factories.recipes import recipe_document
from tests.recipes.engine.days import BEANS, PRESSURE, day, jam

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def found():
    return day([jam(), jam()], finish=0)


def drawn(found, **options):
    return ElementTree.fromstring(timeline_svg(found, title="A day", **options))


def test_every_step_is_drawn_once_in_each_lane_that_it_keeps_busy(found):
    bars = [bar.get("class") for bar in drawn(found).iter(f"{SVG}rect")]
    lanes = sum((step.cook is not None) + (step.burner is not None) for step in found.steps)
    assert len(bars) == lanes
    assert bars.count("kh-step kh-step-process") == 2


def test_a_bar_is_as_long_as_its_step(found):
    widths = {bar.find(f"{SVG}title").text: float(bar.get("width")) + 1 for bar in drawn(found).iter(f"{SVG}rect")}
    ten, five = (widths[name] for name in ("process, pot 1, -1:01–-0:51", "rest, heat off, pot 1, -0:51–-0:46"))
    assert ten == pytest.approx(2 * five, abs=0.3)


def test_nothing_in_it_needs_leave_for_style_or_script(found):
    for element in drawn(found).iter():
        assert element.tag not in {f"{SVG}style", f"{SVG}script"}
        assert not {name for name in element.attrib if name == "style" or name.startswith("on")}
        assert all(element.get(name, "currentColor") == "currentColor" for name in ("fill", "stroke"))


def test_it_has_a_title_and_says_every_step_in_words(found):
    picture = drawn(found, prefix="plan")
    assert picture.get("role") == "img"
    named = {element.get("id"): element.text for element in picture.iter() if element.get("id")}
    assert [named[name] for name in picture.get("aria-labelledby").split()] == ["A day", named["plan-desc"]]
    for step in found.steps:
        assert str(STEPS[step.kind][0]) in named["plan-desc"]


def test_what_people_write_is_escaped(found):
    assert "<script>" not in timeline_svg(found, title="<script>alert(1)</script>")


def test_minutes_are_worded_by_whoever_knows_the_clock(found):
    assert "at -10" in timeline_svg(found, title="A day", when=lambda minute: f"at {minute}")
    assert "process at" in timeline_sentence(found, lambda minute: f"at {minute}")


def test_lanes_are_cooks_then_burners_then_canners(found):
    assert [lane.name for lane in timeline_lanes(found)] == ["Cook 1", "Burner 2", "Canner 1, burner 1"]


def test_every_kind_of_step_has_its_words():
    assert set(STEPS) == set(StepKind)


def test_a_long_day_under_pressure_fits_its_own_width():
    found = day([jam(f"beans {n}", "quart", 7, may_wait=True) for n in range(6)], PRESSURE, {"quart": BEANS})
    picture = drawn(found)
    right = max(float(bar.get("x")) + float(bar.get("width")) for bar in picture.iter(f"{SVG}rect"))
    assert right <= float(picture.get("width"))
    assert found.minutes > 300


def test_several_days_share_one_clock_and_each_has_its_heading(found):
    days = [Day("Station 1", found), Day("Station 2", found)]
    marks = [Mark(0, "end")]
    picture = ElementTree.fromstring(
        days_svg(days, title="The hall", first=-120, last=30, when=lambda minute: f"m{minute}", marks=marks)
    )
    bars = [bar for bar in picture.iter(f"{SVG}rect") if "kh-step" in bar.get("class")]
    places = {}
    for bar in bars:
        places.setdefault(bar.find(f"{SVG}title").text, []).append((bar.get("x"), bar.get("width")))
    assert all(len(set(where)) < len(where) for where in places.values())  # the same minute stands at the same place
    words = [text.text for text in picture.iter(f"{SVG}text")]
    assert {"Station 1", "Station 2", "end", "m-120", "m30"} <= set(words)
    lines = [line for line in picture.iter(f"{SVG}path") if line.get("class") == "kh-timeline-mark"]
    assert len(lines) == 2 * len(marks)
    told = next(element.text for element in picture.iter() if element.get("id") == "days-desc")
    assert "Station 1: Pot 1" in told
    assert "Station 2: Pot 1" in told


def test_the_day_of_a_phone_has_the_same_bars_and_a_word_where_hands_are_free(found):
    tall = ElementTree.fromstring(tall_svg(found, title="A day", when=str, prefix="tall"))
    assert len(list(tall.iter(f"{SVG}rect"))) == len(list(drawn(found).iter(f"{SVG}rect")))
    for element in tall.iter():
        assert element.get("style") is None
    free = idle_spans(found)
    words = [text.text for text in tall.iter(f"{SVG}text") if text.get("class") == "kh-timeline-idle"]
    assert len(words) == len(free)
    for start, end in free:
        assert end - start >= IDLE
        assert not [step for step in found.steps if step.cook and step.start < end and step.end > start]
    work = [Step(StepKind.COOK, start, start + 10, pot=1, cook=1) for start in (0, 90)]
    away = Timeline(tuple(work), (), 0, 100)
    assert idle_spans(away) == [(10, 90)]
    assert "hands free, 1 h 20 min" in tall_svg(away, title="A day", when=str, prefix="away")


def test_minutes_over_the_altitude_say_the_finding_and_mark_the_kitchen():
    rows = recipe_from_document(recipe_document()).process
    hill = altitude_svg(rows, altitude_from_text("1040 m"), kitchen="<Hill>", metric=True)
    assert "A pint takes 10 min in &lt;Hill&gt;" in hill
    picture = ElementTree.fromstring(hill)
    assert len(list(picture.iter(f"{SVG}circle"))) == len(rows)
    assert not any(element.get("style") for element in picture.iter())
    shore = altitude_svg(rows, altitude_from_text("0 m"), kitchen="Shore", metric=False)
    assert "as by the sea" in shore
    assert "2,500 ft" in shore
    assert altitude_svg([], None, kitchen="", metric=True) == ""
