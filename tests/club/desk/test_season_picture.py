"""The picture of the pantry says what the table says, and lets the content policy through."""

from __future__ import annotations

from datetime import date
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from club.season.presentation import HEIGHT, TOP, WIDTH, pantry_sentence, pantry_svg, scale_top
from club.season.rules import MonthShelf, months_from

MONTHS = [
    MonthShelf(first, jars, is_ahead=n > 2)
    for n, (first, jars) in enumerate(zip(months_from(date(2026, 10, 1), 5), [3, 14, 9, 6, 2], strict=True))
]


def test_the_sentence_tells_now_the_fullest_month_and_what_is_left():
    told = pantry_sentence(MONTHS)
    assert "Now 9 full jars." in told
    assert "Fullest in Nov 2026: 14 jars." in told
    assert "2 jars are left in Feb 2027" in told


def test_months_ahead_are_open_bars_and_past_ones_filled():
    drawn = ElementTree.fromstring(pantry_svg(MONTHS, title="Full jars"))
    fills = [bar.get("fill") for bar in drawn.iter("{http://www.w3.org/2000/svg}rect")]
    assert fills == ["currentColor"] * 3 + ["none"] * 2


def test_the_picture_has_no_style_and_no_script_and_escapes_its_words():
    svg = pantry_svg(MONTHS, title="<script>alert(1)</script>")
    assert "style=" not in svg
    assert "<script" not in svg
    assert 'role="img"' in svg


@given(st.lists(st.integers(0, 3_000), min_size=1, max_size=25))
def test_every_bar_stands_within_the_picture(counts):
    months = [
        MonthShelf(first, jars, is_ahead=False)
        for first, jars in zip(months_from(date(2025, 11, 1), len(counts)), counts, strict=True)
    ]
    assert scale_top(months) >= max(counts)
    drawn = ElementTree.fromstring(pantry_svg(months, title="Full jars"))
    bars = list(drawn.iter("{http://www.w3.org/2000/svg}rect"))
    assert len(bars) == len(counts)
    for bar in bars:
        x, y, width, height = (float(bar.get(name)) for name in ("x", "y", "width", "height"))
        assert x >= 0
        assert x + width <= WIDTH
        assert y >= TOP
        assert y + height <= HEIGHT
        assert height >= 0


def test_with_nothing_known_the_picture_says_so():
    assert pantry_sentence([]) == "Nothing is known of the pantry."
