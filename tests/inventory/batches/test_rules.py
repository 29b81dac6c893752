from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.batches.rules import (
    Phase,
    best_before,
    elapsed,
    filled_ml,
    most_ml,
    phase,
    planned_high_ml,
    seal_window,
    sizes_covered,
)
from recipes.engine import PlanRequest, plan_as_dict, plan_batch
from recipes.engine.quantities import JAR_ML
from recipes.engine.terms import Altitude, Canner, Method, Seen, StatedYield, TestedRecipe
from recipes.library import SHIPPED, read_library

DENVER = ZoneInfo("America/Denver")
YEARS = (datetime(2000, 1, 1), datetime(2100, 1, 1))  # noqa: DTZ001  (hypothesis puts the zone to them)
OUT = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)


def test_the_window_opens_at_12_calls_again_at_20_and_lapses_at_24_hours():
    window = seal_window(OUT)
    assert window.opens == datetime(2026, 9, 15, 6, 0, tzinfo=UTC)
    assert window.second_call == datetime(2026, 9, 15, 14, 0, tzinfo=UTC)
    assert window.reprocess_until == datetime(2026, 9, 15, 18, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        (timedelta(0), Phase.COOLING),
        (timedelta(hours=12, seconds=-1), Phase.COOLING),
        (timedelta(hours=12), Phase.DUE),
        (timedelta(hours=20, seconds=-1), Phase.DUE),
        (timedelta(hours=20), Phase.LATE),
        (timedelta(hours=24, seconds=-1), Phase.LATE),
        (timedelta(hours=24), Phase.LAPSED),
    ],
)
def test_each_moment_belongs_to_the_phase_it_begins(after, expected):
    assert phase(seal_window(OUT), OUT + after) is expected


@pytest.mark.parametrize(
    ("out", "opens", "lapses"),
    [
        # 31 October 2026, 20:00 MDT; the clocks go back that night, so 12 hours later they show 07:00 and not 08:00.
        (
            datetime(2026, 10, 31, 20, 0, tzinfo=DENVER),
            datetime(2026, 11, 1, 7, 0, tzinfo=DENVER),
            datetime(2026, 11, 1, 19, 0, tzinfo=DENVER),
        ),
        # 13 March 2027, 20:00 MST; the clocks go forward that night.
        (
            datetime(2027, 3, 13, 20, 0, tzinfo=DENVER),
            datetime(2027, 3, 14, 9, 0, tzinfo=DENVER),
            datetime(2027, 3, 14, 21, 0, tzinfo=DENVER),
        ),
    ],
)
def test_hours_are_elapsed_hours_over_a_clock_change(out, opens, lapses):
    window = seal_window(out)
    assert window.opens == opens.astimezone(UTC)
    assert window.reprocess_until == lapses.astimezone(UTC)
    assert phase(window, opens) is Phase.DUE
    assert phase(window, lapses) is Phase.LAPSED


def test_the_doubled_hour_of_autumn_is_two_different_hours():
    first = datetime(2026, 11, 1, 1, 30, tzinfo=DENVER)
    second = first.replace(fold=1)
    assert elapsed(first, second) == timedelta(hours=1)
    assert seal_window(second).opens - seal_window(first).opens == timedelta(hours=1)


def test_a_moment_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="time zone"):
        seal_window(datetime(2026, 9, 14, 18, 0))  # noqa: DTZ001


@given(st.datetimes(*YEARS, timezones=st.just(DENVER)))
def test_the_window_is_24_elapsed_hours_whatever_the_clocks_do(out):
    window = seal_window(out)
    assert elapsed(out, window.opens) == timedelta(hours=12)
    assert elapsed(out, window.reprocess_until) == timedelta(hours=24)


def test_best_before_is_the_same_day_a_year_on_and_never_later():
    assert best_before(date(2026, 9, 14)) == date(2027, 9, 14)
    assert best_before(date(2028, 2, 29)) == date(2029, 2, 28)


def test_a_process_covers_its_own_jar_and_smaller_ones_never_a_larger():
    assert sizes_covered("pint") == ("quarter-pint", "half-pint", "twelve-ounce", "pint")
    assert sizes_covered("bucket") == ()


def stated(seen: Seen = Seen.TWICE) -> StatedYield:
    return StatedYield(jar="half-pint", low=Fraction(5), high=Fraction(6), seen=seen)


TWO_POTS = {"planned_ml": Fraction(0), "pots": 2, "printed_pots": Fraction(2), "jar": "half-pint"}


def test_pots_give_the_high_end_and_one_jar_a_pot_more():
    most = most_ml([stated()], **TWO_POTS)
    assert most == 14 * JAR_ML["half-pint"]
    assert filled_ml({"half-pint": 14}) == most
    assert filled_ml({"half-pint": 15}) > most


def test_half_pots_give_half():
    half = TWO_POTS | {"pots": 1, "printed_pots": Fraction(1, 2)}
    assert most_ml([stated()], **half) == 4 * JAR_ML["half-pint"]


def test_a_yield_not_seen_in_print_bounds_only_half_as_tightly():
    one = TWO_POTS | {"pots": 1, "printed_pots": Fraction(1)}
    assert most_ml([stated(Seen.SUSPECT)], **one) == 13 * JAR_ML["half-pint"]


def most_of(recipe: TestedRecipe, jar: str, **wanted: object) -> Fraction:
    """What a log of this plan may claim at most."""
    rows = [row for row in recipe.process if row.jar == jar and row.seen.is_seen and row.method is recipe.method]
    named = {"pack": rows[0].pack, "food": (*rows[0].only_for, *recipe.produce)[0]} if rows else {}
    if recipe.method is Method.PRESSURE:
        named["canner"] = Canner.WEIGHTED_GAUGE
    made = plan_batch(recipe, PlanRequest(altitude=Altitude(Fraction(0)), jar=jar, **named, **wanted))
    assert made.ok, (recipe.slug, made.refusals)
    printed = (recipe.stated_yield, *recipe.other_yields)
    a_pot = {"pots": made.pots, "printed_pots": made.printed_total, "jar": jar}
    return most_ml(printed, planned_ml=planned_high_ml(plan_as_dict(made)), **a_pot)


def test_no_log_of_what_the_source_prints_and_a_jar_more_is_refused():
    library = read_library([SHIPPED])
    printed, loads = 0, 0
    for recipe in (entry.recipe for entry in library.recipes if entry.recipe.is_tested):
        pot = next(pots for pots in (1, 2) if Fraction(pots) >= recipe.pot_limits.smallest)
        for stated in (recipe.stated_yield, *recipe.other_yields):
            if stated.seen.is_seen and recipe.stated_yield.seen.is_seen:
                planned_in = recipe.stated_yield.jar
                bound = most_of(recipe, planned_in, pots=pot)
                printed += 1
                assert bound >= JAR_ML[stated.jar] * stated.high + JAR_ML[planned_in], (recipe.slug, stated)
        for jar, count in {(load.jar, load.count) for load in recipe.loads if load.seen.is_seen}:
            loads += 1
            assert most_of(recipe, jar, jars=count) >= JAR_ML[jar] * (count + 1), (recipe.slug, jar)
    assert printed > 100
    assert loads > 30


def test_what_a_pot_weighs_may_be_logged_where_its_source_prints_less():
    recipe = next(
        one.recipe for one in read_library([SHIPPED]).recipes if one.recipe.slug == "blueberry-spice-jam-powdered"
    )
    assert recipe.stated_yield.high == 5
    seven, twenty = 7 * JAR_ML["half-pint"], 20 * JAR_ML["half-pint"]
    assert seven <= most_of(recipe, "half-pint", pots=1) < twenty
