"""Nothing does two things at once, no jam waits for water, and the day ends when it is said to."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from recipes.engine.physics import Burner
from recipes.engine.process import Process
from recipes.engine.rules import RULES
from recipes.engine.schedule import Gear, StepKind, Timeline
from recipes.engine.terms import Altitude, Method, Pack, Refusal
from tests.recipes.engine.days import (
    BEANS,
    BETTER_WITHOUT_A_BURNER,
    BETTER_WITHOUT_A_CANNER,
    BETTER_WITHOUT_A_COOK,
    CANNER,
    LARGE,
    ONE_PROCESS,
    PRESSURE,
    SMALL,
    STOVE,
    TEN,
    day,
    gears,
    jam,
    plan,
    pots,
    processes,
    sterile,
    works,
)

EVERY_DUTY = settings(deadline=None)  # every way to use the burners is tried


def steps(timeline: Timeline, kind: StepKind, **where):
    return [
        step for step in timeline.steps if step.kind is kind and all(getattr(step, k) == v for k, v in where.items())
    ]


def one(timeline: Timeline, kind: StepKind, **where):
    (step,) = steps(timeline, kind, **where)
    return step


def test_one_pot_goes_through_the_day_in_order():
    found = day([jam()])
    kinds = [StepKind.COOK, StepKind.STIR, StepKind.FILL, StepKind.COME_BACK, StepKind.PROCESS, StepKind.REST]
    chain = [one(found, kind) for kind in [*kinds, StepKind.OUT]]
    assert all(before.end == after.start for before, after in pairwise(chain))
    assert one(found, StepKind.HEAT).end == one(found, StepKind.FILL).start
    assert (found.start, found.finish) == (0, chain[-1].end)


def test_process_minutes_are_those_of_the_table_and_the_rest_is_five():
    found = day([jam()], processes={"half-pint": Process(Method.BOILING_WATER, 15)})
    assert one(found, StepKind.PROCESS).minutes == 15
    assert one(found, StepKind.REST).minutes == 5
    assert one(found, StepKind.STIR).minutes == 5


def test_a_pressure_canner_vents_ten_minutes_and_loses_its_pressure_by_itself():
    beans = replace(jam("beans", "quart", 7), stir=False, may_wait=True)
    found = day([beans], PRESSURE, {"quart": BEANS})
    chain = [StepKind.STEAM, StepKind.VENT, StepKind.COME_UP, StepKind.PROCESS, StepKind.DEPRESSURISE, StepKind.OUT]
    canner = [one(found, kind) for kind in chain]
    assert all(before.end == after.start for before, after in pairwise(canner))
    assert [step.minutes for step in canner[1:4]] == [10, 5, 25]
    assert canner[0].minutes >= 15
    assert canner[4].minutes == 45 + 10


def test_pints_lose_their_pressure_sooner_than_quarts():
    beans = replace(jam("beans", "pint", 7), may_wait=True)
    assert one(day([beans], PRESSURE, {"pint": BEANS}), StepKind.DEPRESSURISE).minutes == 30 + 10


def test_empty_jars_are_boiled_in_the_hot_canner_just_before_they_are_filled():
    found = day([jam()], sterilise_minutes=13)
    heat, sterile_jars, fill = (one(found, kind) for kind in (StepKind.HEAT, StepKind.STERILISE, StepKind.FILL))
    assert (heat.end, sterile_jars.end) == (sterile_jars.start, fill.start)
    assert sterile_jars.minutes == 13
    assert one(found, StepKind.WASH).end <= sterile_jars.start


def test_water_is_hot_sooner_where_it_boils_cooler():
    low, high = (one(day([jam()], altitude=Altitude.from_feet(feet)), StepKind.HEAT).minutes for feet in (0, 10_000))
    assert high < low


def test_raw_packed_jars_go_into_warm_water_and_take_longer_to_the_boil():
    hot = day([jam("hot", "quart", 7, may_wait=True)])
    raw = day([jam("raw", "quart", 7, may_wait=True, pack=Pack.RAW)])
    assert one(raw, StepKind.HEAT).minutes < one(hot, StepKind.HEAT).minutes
    assert one(raw, StepKind.COME_BACK).minutes > one(hot, StepKind.COME_BACK).minutes


def test_a_loaded_canner_boils_about_when_the_guide_says():
    # Guide 1 prints 20 to 30 minutes for a loaded boiling-water canner, and no burner; here a large electric ring.
    stove = Gear((Burner(3000, 0.74), SMALL))
    raw = day([jam("raw", "quart", 7, may_wait=True, pack=Pack.RAW)], stove, altitude=Altitude.from_feet(0))
    assert 20 <= one(raw, StepKind.COME_BACK).minutes <= 30


def test_the_second_load_of_a_canner_starts_from_hot_water():
    first, second = steps(day([jam(), jam()]), StepKind.HEAT)
    assert second.minutes < first.minutes


def test_food_that_may_wait_is_kept_hot_on_its_burner_for_the_next_load():
    found = day([jam("plums", "quart", 14, may_wait=True)])
    assert [load.load.jars[0].count for load in found.loads] == [7, 7]
    cooked, waits = one(found, StepKind.COOK), one(found, StepKind.POT_WAITS)
    assert (waits.start, waits.burner) == (cooked.end, cooked.burner)
    assert waits.end == max(step.end for step in steps(found, StepKind.FILL))


def test_a_jam_of_two_times_goes_into_two_canners_at_once():
    pot = replace(jam(), jars=(*jam(size="pint", count=2).jars, *jam(count=2).jars))
    times = {"pint": Process(Method.BOILING_WATER, 15), "half-pint": TEN}
    found = day([pot], Gear(STOVE, canners=2), times)
    assert {load.canner for load in found.loads} == {1, 2}
    fills = steps(found, StepKind.FILL)
    assert fills[0].end == fills[1].start


def test_food_that_is_not_cooked_needs_one_burner_only():
    assert isinstance(plan([jam(kg=0)], Gear(STOVE[:1])), Timeline)


def test_what_is_kept_cold_is_never_processed():
    found = day([jam(kg=0)], Gear((), canners=0), {})
    assert {step.kind for step in found.steps} == {StepKind.WASH, StepKind.STIR, StepKind.FILL}
    assert found.loads == ()


@pytest.mark.parametrize(
    ("pot_list", "gear", "code"),
    [
        ([], Gear(STOVE), "no-pots"),
        ([jam()], Gear(()), "no-burner"),
        ([jam()], Gear(STOVE[:1]), "one-burner"),
        ([jam()], Gear(STOVE, canners=0), "no-canner"),
        ([jam()], Gear(STOVE, cooks=0), "no-cook"),
        ([jam()], PRESSURE, "canner-kind"),
        ([jam(count=13)], Gear(STOVE), "pot-over-canner"),
        ([jam(count=13)], Gear(STOVE[:2], canners=2), "pot-over-canner"),
        ([jam(size="half-gallon")], Gear(STOVE), "jar-not-tested"),
        ([jam()], Gear(STOVE * 2), "too-many-burners"),
    ],
)
def test_what_cannot_be_done_is_refused_with_what_to_do(pot_list, gear, code):
    found = plan(pot_list, gear)
    assert isinstance(found, Refusal)
    assert (found.code, found.source) == (code, RULES[found.rule].source)
    assert found.message.endswith(".")


def test_without_an_altitude_there_is_no_day():
    found = plan([jam()], altitude=None)
    assert isinstance(found, Refusal)
    assert (found.code, found.source) == ("altitude-unknown", RULES["ALTITUDE-NEEDED"].source)


def test_too_little_time_is_refused_and_says_by_how_much():
    needed = day([jam()]).minutes
    found = plan([jam()], finish=needed - 7, earliest=0)
    assert isinstance(found, Refusal)
    assert found.code == "not-enough-time"
    assert "7 more" in found.message
    assert isinstance(plan([jam()], finish=needed, earliest=0), Timeline)


@EVERY_DUTY
@given(pots, gears(), processes, sterile)
def test_no_burner_canner_or_cook_does_two_things_at_once(work, gear, times, minutes):
    found = day(work, gear, times, sterilise_minutes=minutes)
    for resource in ("burner", "canner", "cook"):
        used: dict[int, list] = {}
        for step in found.steps:
            if (number := getattr(step, resource)) is not None:
                used.setdefault(number, []).append(step)
        assert len(used) <= {"burner": len(gear.burners), "canner": gear.canners, "cook": gear.cooks}[resource]
        for busy in used.values():
            assert all(before.end <= after.start for before, after in pairwise(sorted(busy, key=lambda s: s.start)))


@EVERY_DUTY
@given(pots, gears(), processes)
def test_a_burner_with_a_canner_on_it_never_cooks_a_pot(work, gear, times):
    found = day(work, gear, times)
    for burner in range(1, len(gear.burners) + 1):
        assert len({step.canner for step in found.steps if step.burner == burner}) <= 1


@EVERY_DUTY
@given(pots, gears(), processes, sterile)
def test_no_pot_waits_for_water(work, gear, times, minutes):
    found = day(work, gear, times, sterilise_minutes=minutes)
    for number, pot in enumerate(work, 1):
        first, *later = steps(found, StepKind.FILL, pot=number)
        for before in steps(found, StepKind.STIR, pot=number) or steps(found, StepKind.COOK, pot=number):
            assert (before.end, before.cook) == (first.start, first.cook)
        assert pot.may_wait or not later or all(b.end == a.start for b, a in pairwise([first, *later]))


@EVERY_DUTY
@given(pots, gears(), processes, sterile)
def test_every_filled_jar_goes_at_once_into_a_canner_that_is_hot(work, gear, times, minutes):
    found = day(work, gear, times, sterilise_minutes=minutes)
    for load in found.loads:
        canner = sorted((s for s in found.steps if s.load == load.number and s.canner), key=lambda step: step.start)
        fill = one(found, StepKind.FILL, load=load.number)
        ready = one(found, StepKind.KEEP_HOT, load=load.number)
        assert (ready.start, ready.end) == (fill.start, fill.end)
        come_back, process, rest = (
            one(found, kind, load=load.number) for kind in (StepKind.COME_BACK, StepKind.PROCESS, StepKind.REST)
        )
        assert (fill.end, come_back.end, process.end) == (come_back.start, process.start, rest.start)
        assert process.minutes == load.load.process.minutes
        before = [step for step in canner if step.start < fill.start]
        assert all(a.end == b.start for a, b in pairwise([*before, ready]))
        assert {step.canner for step in canner} == {load.canner}
        assert canner[-1].kind is StepKind.OUT


@EVERY_DUTY
@given(pots, gears(), processes)
def test_two_pots_never_share_a_load_and_no_jar_is_forgotten(work, gear, times):
    found = day(work, gear, times)
    for number, pot in enumerate(work, 1):
        mine = [load for load in found.loads if load.pot == number]
        assert {step.pot for load in mine for step in found.steps if step.load == load.number} <= {number}
        assert sum(jar.count for load in mine for jar in load.load.jars) == sum(jar.count for jar in pot.jars)


@given(pots, gears(), processes, sterile)
@EVERY_DUTY
def test_food_is_prepared_in_full_before_its_pot_is_lit(work, gear, times, minutes):
    found = day(work, gear, times, sterilise_minutes=minutes)
    for number, pot in enumerate(work, 1):
        by_hand = steps(found, StepKind.PREPARE, pot=number)
        done = sum(step.minutes for step in by_hand)
        assert pot.prepare <= done < pot.prepare + gear.cooks
        begins = [step.start for kind in (StepKind.COOK, StepKind.FILL) for step in steps(found, kind, pot=number)]
        assert all(step.end <= min(begins) for step in by_hand)


def test_two_cooks_prepare_side_by_side_and_the_fire_waits_for_them():
    alone, both = (day([jam(prepare=200)], Gear(STOVE, cooks=cooks)) for cooks in (1, 2))
    assert both.finish == alone.finish - 102  # the second cook washes the jars no sooner, but peels meanwhile
    assert len({step.cook for step in steps(both, StepKind.PREPARE)}) == 2
    assert both.first_lit > 45


def test_the_next_pots_food_is_prepared_while_a_canner_works():
    found = day([jam(), jam(prepare=80)], Gear(STOVE, cooks=1))
    (canner,) = steps(found, StepKind.PROCESS, pot=1)
    assert any(step.start < canner.end and step.end > canner.start for step in steps(found, StepKind.PREPARE, pot=2))


@EVERY_DUTY
@given(pots, gears(), processes, sterile)
def test_jars_are_washed_before_they_are_filled(work, gear, times, minutes):
    found = day(work, gear, times, sterilise_minutes=minutes)
    for number in range(1, len(work) + 1):
        washed = one(found, StepKind.WASH, pot=number).end
        assert all(washed + minutes <= fill.start for fill in steps(found, StepKind.FILL, pot=number))


@EVERY_DUTY
@given(pots, gears(), processes, st.sampled_from([SMALL, LARGE, Burner(3000, 0.85)]))
@example(*BETTER_WITHOUT_A_COOK, ONE_PROCESS, SMALL)
@example(*BETTER_WITHOUT_A_BURNER, ONE_PROCESS, LARGE)
@example(*BETTER_WITHOUT_A_CANNER, ONE_PROCESS, SMALL)
def test_one_burner_canner_or_cook_more_never_ends_later(work, gear, times, burner):
    before = day(work, gear, times).finish
    assert day(work, replace(gear, burners=(*gear.burners, burner)), times).finish <= before
    assert day(work, replace(gear, canners=gear.canners + 1), times).finish <= before
    assert day(work, replace(gear, cooks=gear.cooks + 1), times).finish <= before


@EVERY_DUTY
@given(pots, works())
def test_one_pot_more_never_ends_sooner(work, more):
    gear = Gear(STOVE, capacity=CANNER)
    assert day([*work, more], gear).finish >= day(work, gear).finish


@EVERY_DUTY
@given(pots, gears(), st.integers(-500, 2000))
def test_given_a_finish_the_last_jar_is_out_just_then(work, gear, finish):
    forwards, backwards = day(work, gear), day(work, gear, finish=finish)
    assert max(step.end for step in backwards.steps) == backwards.finish == finish
    assert min(step.start for step in backwards.steps) >= backwards.start == finish - forwards.minutes
    assert [step.minutes for step in backwards.steps] == [step.minutes for step in forwards.steps]


def test_the_same_day_is_planned_the_same_way_twice():
    assert day([jam(), jam()], processes=ONE_PROCESS) == day([jam(), jam()], processes=ONE_PROCESS)
