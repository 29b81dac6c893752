"""Stations side by side: refused when one is not in time, summed in whole packets, and within the hall's wiring."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.jars import SEVEN_QUART, capacity
from recipes.engine.plan import PlanRequest, plan_batch
from recipes.engine.rules import RULES
from recipes.engine.stations import CLEAN_UP, Station, finish_by, hall_plan, on_the_clock
from recipes.engine.terms import Altitude, Canner, JarCount, Pack
from tests.recipes.engine.samples import snap_beans, strawberry_jam

F = Fraction
JAM = recipe_from_document(strawberry_jam())
BEANS = recipe_from_document(snap_beans())
HOME = Altitude(F(1040))
TEN, TWO = 10 * 60, 14 * 60


def station(number=1, recipe=JAM, closes=TWO, *, watts=(2000, 2000), stove="electric", seats=4, cooks=2, **wanted):
    asked = {"altitude": HOME, "pots": 1, "watts": watts, "stove": stove, "cooks": cooks, **wanted}
    made = plan_batch(recipe, PlanRequest(**{"canners": 1, "finish": finish_by(closes), **asked}))
    return Station(number, made, watts, stove, seats, cooks)


def beans(number=1, **wanted):
    return station(number, BEANS, **{"pack": Pack.HOT, "canner": Canner.DIAL_GAUGE, **wanted})


def hall(*stations, opens=TEN, closes=TWO, power_limit_w=None):
    return hall_plan(stations, opens=opens, closes=closes, power_limit_w=power_limit_w)


def told(reasons) -> list[tuple[tuple[int, ...], str]]:
    return [(each.stations, each.refusal.code) for each in reasons]


def test_two_pots_of_jam_end_before_the_cleaning_up():
    made = hall(station(), station(2, pots=2))
    assert made.ok
    assert {day.timeline.finish for day in made.days} == {TWO - int(CLEAN_UP.value)}
    assert made.begins >= TEN
    assert made.begins == min(step.start for day in made.days for step in day.timeline.steps)


def test_what_does_not_fit_is_refused_with_the_minutes_that_are_lacking():
    one = station()
    minutes = one.plan.day.minutes
    just = finish_by(TWO) - minutes
    assert hall(one, opens=just).ok
    late = hall(one, opens=just + 1)
    assert told(late.refusals) == [((1,), "not-enough-time")]
    assert f"{minutes} minutes, 1 more" in late.refusals[0].refusal.message


def test_all_refusals_come_at_once_and_the_same_one_names_its_stations_once():
    unknown = [station(n, altitude=None) for n in (1, 2)]
    made = hall(*unknown, station(3, watts=(9000, 9000)), beans(4, closes=TEN + 60), power_limit_w=20_000)
    assert told(made.refusals) == [
        ((1, 2, 3, 4), "hall-power"),
        ((1, 2), "altitude-unknown"),
        ((4,), "not-enough-time"),
    ]


def test_a_plan_that_cannot_be_timed_is_refused_and_not_cautioned():
    small = station(capacity=capacity("a test", "test", half_pint=4))
    assert small.plan.ok
    assert small.plan.day is None
    made = hall(small)
    assert told(made.refusals) == [((1,), "pot-over-canner")]
    assert made.refusals[0].refusal.message.startswith("The jars of pot 1 need 2 canner loads at once")
    assert "pot-over-canner" not in {each.caution.code for each in made.cautions}


def test_a_session_without_a_station_is_refused():
    assert told(hall().refusals) == [((), "no-station")]


def test_the_hall_carries_exactly_its_limit_and_not_a_watt_more():
    two = (station(), station(2))
    assert hall(*two, power_limit_w=8000).ok
    over = hall(*two, power_limit_w=7999)
    assert told(over.refusals) == [((1, 2), "hall-power")]
    assert "1 W more" in over.refusals[0].refusal.message


def test_an_unknown_limit_is_said_and_gas_draws_nothing():
    made = hall(station(), station(2, stove="gas"))
    assert (made.power.burners_w, made.power.limit_w) == (4000, None)
    assert made.ok
    assert made.power.used_at_once_w <= 4000


def test_the_power_at_once_is_the_highest_minute_of_the_timelines():
    stations = (station(watts=(1500, 2200)), station(2, pots=2, watts=(1800, 2000, 900)), beans(3, stove="gas"))
    made = hall(*stations, opens=0)
    highest = max(_drawn(made, stations, minute) for minute in range(made.begins, TWO))
    assert made.power.used_at_once_w == highest
    assert 0 < highest <= made.power.burners_w


def _drawn(made, stations, minute) -> int:
    """Watts in one minute, burner by burner; a burner in use stays on from its first step to its last."""
    total = 0
    for day in made.days:
        of = next(each for each in stations if each.number == day.number)
        for burner, power in enumerate(of.watts if of.stove != "gas" else (), 1):
            steps = [step for step in day.timeline.steps if step.burner == burner]
            if steps and min(s.start for s in steps) <= minute < max(s.end for s in steps):
                total += power
    return total


def test_pectin_goes_by_whole_packets_over_all_stations_and_lids_by_full_jars():
    made = hall(station(pots=2), station(2), station(3))
    assert made.packets == (("pouch", 4),)
    assert made.jars == (JarCount("half-pint", 32),)
    assert made.lids == 32
    assert made.loads == 4
    sugar = next(line for line in made.lines if line.ingredient.item == "sugar")
    assert (sugar.amount, sugar.text, sugar.stations) == (F(28), "28 cups", (1, 2, 3))


def test_a_weight_that_one_station_lacks_is_not_known_of_all():
    bare = recipe_from_document(strawberry_jam(ingredients=_without_grams()))
    known, unknown = hall(station(), station(2)), hall(station(), station(2, bare))
    assert known.lines[0].grams == 2 * 928
    assert unknown.lines[0].grams is None
    assert unknown.lines[0].amount == 8


def _without_grams():
    plain = ({k: v for k, v in line.items() if not k.startswith("grams")} for line in strawberry_jam()["ingredients"])
    return list(plain)


def test_a_plan_that_counts_on_more_cooks_than_seats_says_so():
    made = hall(station(seats=1, cooks=2))
    assert made.ok
    assert made.cautions[0].caution.code == "more-cooks-than-seats"


def test_a_burners_own_power_paces_the_day_and_the_usual_power_changes_nothing():
    usual = plan_batch(JAM, PlanRequest(altitude=HOME, pots=2, burners=3))
    assert plan_batch(JAM, PlanRequest(altitude=HOME, pots=2, watts=(2400, 2400, 2400))).day == usual.day
    weak = plan_batch(JAM, PlanRequest(altitude=HOME, pots=2, watts=(1200, 1200, 1200)))
    assert weak.day.minutes > usual.day.minutes
    assert weak.process == usual.process


@pytest.mark.parametrize(
    ("watts", "code"),
    [((), "no-burner"), ((2000,), "one-burner"), ((0, 2000), "burner-power"), ((60_000, 60_000), "burner-power")],
)
def test_burners_that_cannot_do_it_are_refused(watts, code):
    made = plan_batch(JAM, PlanRequest(altitude=HOME, pots=1, watts=watts))
    assert [reason.code for reason in made.refusals] == [code]


@given(st.lists(st.sampled_from([900, 1200, 2000, 2400, 3000]), min_size=2, max_size=4), st.integers(1, 3))
def test_whatever_the_stove_no_process_minute_changes_and_the_last_jar_is_out_in_time(watts, pots):
    one = station(watts=tuple(watts), pots=pots, capacity=SEVEN_QUART)
    day = on_the_clock(one.plan)
    assert one.plan.process.minutes == 10
    assert day.finish == finish_by(TWO)
    processed = [step.minutes for step in day.steps if step.kind.value == "process"]
    assert processed == [10] * pots


def test_on_the_clock_keeps_every_step_and_only_moves_it():
    one = station(pots=2)
    moved = on_the_clock(one.plan)
    shift = one.plan.begins
    assert [step._replace(start=step.start - shift, end=step.end - shift) for step in moved.steps] == list(
        one.plan.day.steps
    )
    assert on_the_clock(replace(one.plan, finish=None)) is None


def test_the_rule_for_cleaning_up_says_the_minutes_that_are_kept_for_it():
    assert f"{CLEAN_UP.value:.0f} minutes before" in RULES["CLASS-CLEAN-UP"].statement
    assert CLEAN_UP.source == RULES["CLASS-CLEAN-UP"].source


def test_a_stove_that_stays_cold_for_two_hours_has_a_word_why():
    def said(hall):
        return {each.caution.code for each in hall.cautions}

    early, usual = (hall_plan([station()], opens=opens, closes=TWO, power_limit_w=None) for opens in (7 * 60, 12 * 60))
    assert "session-cold-stove" in said(early)
    assert "session-cold-stove" not in said(usual)
