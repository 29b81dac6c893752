"""However large or odd a wanted is, the work on its plan is bounded: counted here in steps, not in seconds."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings

from recipes.engine import jars as engine_jars
from recipes.engine import schedule as engine_schedule
from recipes.engine.jars import (
    FOUR_QUART,
    MOST_LOADS,
    SEVEN_QUART,
    Capacity,
    capacity,
    jar_mix,
    jar_mixes,
    loads_at_least,
)
from recipes.engine.plan import PlanRequest, plan_batch
from recipes.engine.process import Process, process_choices
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.rules import RULES
from recipes.engine.schedule import Least, Paces, Schedule
from recipes.engine.terms import Altitude, Canner, Method, Pack
from recipes.library import read_library
from tests.recipes.engine.days import HOME, day, gears, pots, processes, sterile

ROOT = Path(__file__).resolve().parents[3]
LIBRARY = [entry.recipe for entry in read_library([ROOT / "fixtures" / "library"]).recipes if entry.recipe.is_tested]
PLUMS = replace(next(recipe for recipe in LIBRARY if recipe.slug == "plums-halved"), loads=())  # planned by the pot
TEN = Process(Method.BOILING_WATER, 10)
ODD = {
    "quarter-pint": 1,
    "half-pint": 11,
    "twelve-ounce": 29,
    "pint": 17,
    "pint-and-half": 29,
    "quart": 19,
    "half-gallon": 19,
}
HUGE = (0, 1, 2, 3, 5, 7, 11, 13, 17, 19, 29, 37, 59, 60, 61, 97, 301, 997, 999, 9999)
UNLIKE = (3651, 2169, 2905, 1284, 4055, 532)


def codes(found) -> set[str]:
    return {refusal.code for refusal in found.refusals}


def canner_of(jars: dict[str, int]) -> Capacity:
    return capacity("a test", "test", **{size.replace("-", "_"): count for size, count in jars.items()})


@pytest.fixture
def work(monkeypatch):
    """How often each of the three searches took a step since it was last cleared."""
    counted = {"pots into days": 0, "mixes": 0, "fillings": 0}

    def count(owner, name, what):
        did = getattr(owner, name)

        def counting(*args, **kwargs):
            counted[what] += 1
            return did(*args, **kwargs)

        monkeypatch.setattr(owner, name, counting)

    count(Schedule, "add", "pots into days")
    count(engine_jars._Search, "visit", "mixes")
    count(engine_jars._Packing, "_fillings", "fillings")
    engine_jars.share_out.cache_clear()
    return counted


def test_thousands_of_loads_are_refused_before_any_is_made(work, monkeypatch):
    monkeypatch.setattr("recipes.engine.schedule.canner_loads", None)
    empties = dict(zip(JAR_SIZES, (9999, 301, 97, 1, 997, 97, 301), strict=True))
    wanted = {"pots": 37, "jar": "quarter-pint", "pack": Pack.HOT, "canner": Canner.DIAL_GAUGE, "empties": empties}
    gear = {"capacity": canner_of(ODD), "burners": 3, "canners": 7, "cooks": 7}
    found = plan_batch(PLUMS, PlanRequest(altitude=HOME, **wanted, **gear))
    assert codes(found) == {"several-days"}
    (refusal,) = found.refusals
    assert (refusal.rule, refusal.source) == ("ONE-DAY", RULES["ONE-DAY"].source)
    assert "several days" in refusal.message
    assert "Plan a part" in refusal.message
    assert (found.loads, found.day, work["pots into days"]) == ((), None, 0)


def test_a_days_most_loads_are_planned_and_one_more_is_not():
    usual = {"altitude": HOME, "pack": Pack.HOT, "canner": Canner.BOILING_WATER, "jar": "quart"}
    one_each = {"quart": 7}
    planned = plan_batch(PLUMS, PlanRequest(pots=MOST_LOADS, capacity=canner_of(one_each), **usual))
    assert len(planned.loads) == MOST_LOADS
    over = plan_batch(PLUMS, PlanRequest(pots=MOST_LOADS, capacity=canner_of({"quart": 6}), **usual))
    assert codes(over) == {"several-days"}


def test_the_rule_says_the_number_that_is_used():
    assert f"at most {MOST_LOADS} canner loads" in RULES["ONE-DAY"].statement


def test_jars_of_two_processes_are_at_least_two_loads_and_what_does_not_go_in_is_none():
    apart = {"quart": TEN, "pint": Process(Method.BOILING_WATER, 15), "half-gallon": TEN}
    assert loads_at_least({"quart": 1, "pint": 1, "half-gallon": 4}, apart, SEVEN_QUART) == 2
    assert loads_at_least({"quart": 15}, apart, SEVEN_QUART) == 3


@given(pots, gears(), processes, sterile)
@settings(deadline=None)
def test_what_is_reckoned_at_least_is_never_later_than_the_true_end(work, gear, times, minutes):
    of_pots = engine_schedule._loads_by_pot(work, times, gear)
    paces = Paces(gear, HOME, minutes)
    least = Least(paces, work, of_pots)
    for duty in engine_schedule._duties(work, of_pots, gear):
        schedule = Schedule(paces, duty)
        for number, (pot, of_pot) in enumerate(zip(work, of_pots, strict=True), 1):
            schedule.add(number, pot, of_pot)
        assert least.finish(duty) <= schedule.finish


@given(pots, gears(), processes, sterile)
@settings(deadline=None)
def test_the_day_is_that_of_the_first_duty_that_ends_soonest_of_all(work, gear, times, minutes):
    found = day(work, gear, times, sterilise_minutes=minutes)
    of_pots = engine_schedule._loads_by_pot(work, times, gear)
    every = []
    for duty in engine_schedule._duties(work, of_pots, gear):
        schedule = Schedule(Paces(gear, HOME, minutes), duty)
        for number, (pot, of_pot) in enumerate(zip(work, of_pots, strict=True), 1):
            schedule.add(number, pot, of_pot)
        every.append(schedule)
    first = min(every, key=lambda schedule: schedule.finish)
    assert found.minutes == first.finish
    assert sorted(found.steps) == sorted(first.steps)


def test_six_unlike_burners_and_four_cooks_are_not_tried_without_end(work):
    usual = {"altitude": HOME, "pack": Pack.HOT, "canner": Canner.BOILING_WATER}
    found = plan_batch(PLUMS, PlanRequest(pots=60, watts=UNLIKE, canners=4, cooks=4, **usual))
    assert found.day is not None
    assert work["pots into days"] <= engine_schedule.MOST_TRIES + 60


def test_a_canner_of_odd_sizes_is_loaded_soundly_after_so_many_tries(work):
    canner = canner_of({"quarter-pint": 11, "half-pint": 3, "pint": 4, "pint-and-half": 8, "half-gallon": 2})
    jars = {"quarter-pint": 9, "half-pint": 2, "pint": 1, "pint-and-half": 6, "half-gallon": 1}
    found = engine_jars.canner_loads(jars, dict.fromkeys(jars, TEN), canner)
    assert work["fillings"] == engine_jars.MOST_FITS + 1
    every = [jar for load in found for jar in load.jars]
    assert {size: sum(jar.count for jar in every if jar.size == size) for size in jars} == jars
    assert all(0 < load.filled <= 1 for load in found)


@pytest.mark.parametrize("canner", [SEVEN_QUART, FOUR_QUART], ids=lambda canner: canner.name)
def test_a_usual_canner_never_comes_to_the_bound(canner, monkeypatch):
    monkeypatch.setattr(engine_jars, "_largest_first", None)  # calling it would fail
    unlike = {jar.count: jar.size for jar in canner.jars}  # one size for each room that a jar takes
    engine_jars.share_out.cache_clear()
    for counts in product(*map(range, unlike)):
        jars = dict(zip(unlike.values(), counts, strict=True))
        assert engine_jars.canner_loads(jars, dict.fromkeys(jars, TEN), canner) or not any(counts)


def test_thousands_of_empties_of_every_size_are_looked_through_only_so_far(work):
    empties = dict(zip(JAR_SIZES, (997, 999, 301, 17, 999, 9999, 1), strict=True))
    times = {size: Process(Method.BOILING_WATER, 10 + 5 * (number % 3)) for number, size in enumerate(JAR_SIZES)}
    volume = JAR_ML["half-pint"] * 1100
    found = jar_mix(volume, times, canner_of(ODD), empties)
    assert sum(JAR_ML[jar.size] * jar.count for jar in found.jars) + found.leftover_ml == volume
    assert work["mixes"] <= engine_jars.MOST_TRIES
    work["mixes"] = 0
    every = jar_mixes(volume, 9, times, canner_of(ODD), empties)
    assert len(every) == 9
    assert work["mixes"] <= engine_jars.MOST_TRIES


def requests(times: int, seed: int):
    """Large and odd numbers for every recipe of the library."""
    chance = random.Random(seed)
    for _ in range(times):
        recipe = chance.choice(LIBRARY)
        choices = process_choices(recipe.process)
        sizes = {size: chance.choice(HUGE) for size in JAR_SIZES if chance.random() < 0.8}
        at_once = {size: chance.randint(1, chance.choice((10, 99))) for size in JAR_SIZES}
        yield (
            recipe,
            PlanRequest(
                altitude=Altitude.from_feet(chance.choice((0, 1001, 3412, 6001))),
                pots=chance.choice(HUGE),
                pack=next(iter(choices.packs), None),
                canner=next(iter(choices.canners), None),
                empties=chance.choice((None, sizes)),
                burners=chance.choice((None, *HUGE)),
                canners=chance.choice((None, 1, 3, 7, 99)),
                cooks=chance.choice((None, 1, 2, 4, 99)),
                capacity=chance.choice((None, FOUR_QUART, SEVEN_QUART, canner_of(at_once))),
                watts=chance.choice((None, tuple(chance.randint(500, 5000) for _ in range(chance.randint(1, 7))))),
            ),
        )


def test_no_large_or_odd_wish_takes_more_than_its_share_of_work(work):
    planned = 0
    for recipe, wanted in requests(250, seed=11):
        work.update(dict.fromkeys(work, 0))
        found = plan_batch(recipe, wanted)
        planned += found.day is not None
        assert work["pots into days"] <= engine_schedule.MOST_TRIES + MOST_LOADS, wanted
        assert work["mixes"] <= 2 * engine_jars.MOST_TRIES, wanted
        assert work["fillings"] <= 200 * engine_jars.MOST_FITS, wanted
        assert len(found.loads) <= 2 * MOST_LOADS, wanted
    assert planned > 50
