"""The mix of jars is the best there is, proven against trying every mix."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.jars import (
    FOR_REFRIGERATOR,
    JAR_UNITS,
    SEVEN_QUART,
    UNIT_ML,
    JarMix,
    PartJar,
    canner_loads,
    capacity,
    jar_mix,
    jar_mixes,
)
from recipes.engine.process import Process, sizes_allowed
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.terms import Altitude, Canner, JarCount, Method, Pack, Refusal
from tests.recipes.engine.samples import snap_beans, strawberry_jam

TEN = Process(Method.BOILING_WATER, 10)
FIFTEEN = Process(Method.BOILING_WATER, 15)
LARGEST_FIRST = tuple(reversed(JAR_SIZES))
CUP = JAR_ML["half-pint"]


def mix(volume, allowed=("half-pint", "pint"), empties=None, canner=SEVEN_QUART) -> JarMix:
    processes = allowed if isinstance(allowed, dict) else dict.fromkeys(allowed, TEN)
    found = jar_mix(volume, processes, canner, empties)
    assert not isinstance(found, Refusal), found
    return found


def test_least_left_over_comes_before_fewest_jars():
    found = mix(CUP * 3, empties={"half-pint": 3, "pint": 5})
    assert (found.counts, found.leftover_ml, found.part_jar) == ({"pint": 1, "half-pint": 1}, 0, None)


def test_fewest_loads_come_before_fewest_jars():
    # Pints and half-pints of different times: six half-pints are one load, two pints and two half-pints would be two.
    found = mix(CUP * 6, {"pint": FIFTEEN, "half-pint": TEN}, empties={"pint": 2, "half-pint": 6})
    assert (found.counts, found.loads) == ({"half-pint": 6}, 1)


def test_a_part_filled_jar_is_for_the_refrigerator_and_not_among_the_processed():
    found = mix(CUP * 8 + 30, ["half-pint"])
    assert found.jars == (JarCount("half-pint", 8),)
    assert found.part_jar == PartJar("quarter-pint", Fraction(30), FOR_REFRIGERATOR)
    assert found.leftover_ml == 30


def test_the_part_filled_jar_comes_from_the_empties_that_are_left():
    found = mix(CUP * 2 + 30, ["half-pint"], empties={"half-pint": 2, "quart": 1})
    assert found.part_jar == PartJar("quart", Fraction(30))
    without = mix(CUP * 2 + 30, ["half-pint"], empties={"half-pint": 2})
    assert without.part_jar == PartJar(None, Fraction(30))


def test_short_of_empties_the_rest_is_said_to_have_no_jar():
    found = mix(CUP * 10, ["pint"], empties={"pint": 2})
    assert (found.counts, found.leftover_ml, found.part_jar) == ({"pint": 2}, CUP * 6, PartJar(None, CUP * 6))


def test_a_size_that_the_table_does_not_allow_is_never_filled():
    found = mix(JAR_ML["quart"] * 2, ["half-pint"], empties={"quart": 9, "half-pint": 3})
    assert found.counts == {"half-pint": 3}


def test_jars_kept_cold_need_no_load():
    found = mix(CUP * 40, {"pint": None})
    assert (found.counts, found.loads) == ({"pint": 20}, 0)


def test_a_size_too_tall_for_the_canner_is_not_filled():
    assert mix(CUP * 16, ["half-gallon", "quart"]).counts == {"quart": 4}


@pytest.mark.parametrize(
    ("allowed", "empties", "code"),
    [
        ({}, None, "no-jar-tested"),
        ({"half-gallon": TEN}, None, "no-jar-fits"),
        ({"pint": TEN}, {"quart": 4}, "no-empties"),
    ],
)
def test_without_a_jar_to_fill_it_is_refused_with_what_to_do(allowed, empties, code):
    found = jar_mix(CUP, allowed, SEVEN_QUART, empties)
    assert isinstance(found, Refusal)
    assert found.code == code


def test_less_than_the_smallest_jar_is_all_for_the_refrigerator():
    found = mix(Fraction(100), ["half-pint"])
    assert (found.jars, found.loads, found.part_jar) == ((), 0, PartJar("quarter-pint", Fraction(100)))


def test_a_volume_below_nothing_is_a_mistake_of_the_caller():
    with pytest.raises(ValueError, match="volume"):
        jar_mix(-1, {"pint": TEN}, SEVEN_QUART)


def test_pots_are_filled_one_after_the_other_from_the_empties_left():
    found = jar_mixes(CUP * 4, 2, dict.fromkeys(["half-pint", "pint"], TEN), SEVEN_QUART, {"pint": 3, "half-pint": 3})
    assert not isinstance(found, Refusal)
    assert [pot.counts for pot in found] == [{"pint": 2}, {"pint": 1, "half-pint": 2}]


def test_a_pot_beyond_the_empties_is_left_over_whole():
    found = jar_mixes(CUP * 4, 2, {"pint": TEN}, SEVEN_QUART, {"pint": 2})
    assert not isinstance(found, Refusal)
    assert found[1] == JarMix((), 0, CUP * 4, PartJar(None, CUP * 4))


def test_without_any_empty_jar_that_serves_there_is_no_mix():
    found = jar_mixes(CUP * 4, 2, {"pint": TEN}, SEVEN_QUART, {"quart": 2})
    assert isinstance(found, Refusal)
    assert found.code == "no-empties"


def test_the_sizes_to_fill_are_those_that_the_table_allows_here():
    jam = recipe_from_document(strawberry_jam()).process
    found = sizes_allowed(jam, pack=None, canner=None, altitude=Altitude.from_feet(7000))
    assert {size: Process.of(process) for size, process in found.items()} == dict.fromkeys(
        ("pint", "twelve-ounce", "half-pint", "quarter-pint"), Process(Method.BOILING_WATER, 15)
    )


def test_at_an_unknown_altitude_no_size_may_be_filled():
    beans = recipe_from_document(snap_beans()).process
    assert sizes_allowed(beans, pack=Pack.HOT, canner=Canner.DIAL_GAUGE, altitude=None) == {}


@st.composite
def kitchens(draw):
    """A few empties of a few sizes, with a process each, and a canner."""
    sizes = draw(st.lists(st.sampled_from(JAR_SIZES), min_size=1, max_size=4, unique=True))
    empties = {size: draw(st.integers(0, 4)) for size in sizes}
    allowed = {size: draw(st.sampled_from([TEN, FIFTEEN])) for size in sizes}
    canner = capacity("any", "test", **{size.replace("-", "_"): draw(st.integers(1, 5)) for size in sizes})
    volume = draw(st.integers(0, 60)) * UNIT_ML + draw(st.sampled_from([0, Fraction(1, 3), 100]))
    return volume, allowed, canner, empties


@settings(deadline=None)  # trying every mix takes its time
@given(kitchens())
@example((UNIT_ML * 6, {"pint": TEN, "twelve-ounce": TEN}, SEVEN_QUART, {"pint": 1, "twelve-ounce": 2}))
def test_no_other_mix_is_better(kitchen):
    volume, allowed, canner, empties = kitchen
    found = jar_mix(volume, allowed, canner, empties)
    if isinstance(found, Refusal):
        assert not any(empties.values())
        return
    assert rank(found.counts, volume, allowed, canner) == min(every_rank(volume, allowed, canner, empties))
    assert found.loads == len(canner_loads(found.counts, allowed, canner))
    assert found.leftover_ml == volume - sum(JAR_ML[size] * count for size, count in found.counts.items())


def every_rank(volume, allowed, canner, empties):
    for counts in product(*(range(empties[size] + 1) for size in allowed)):
        jars = dict(zip(allowed, counts, strict=True))
        if sum(JAR_ML[size] * count for size, count in jars.items()) <= volume:
            yield rank(jars, volume, allowed, canner)


def rank(jars, volume, allowed, canner):
    """Least left over, fewest loads, fewest jars, then more of the larger jars."""
    left = volume - sum(JAR_ML[size] * count for size, count in jars.items())
    loads = len(canner_loads(jars, allowed, canner))
    return left, loads, sum(jars.values()), [-jars.get(size, 0) for size in LARGEST_FIRST]


@given(st.integers(0, 400), st.sets(st.sampled_from(JAR_SIZES[:-1]), min_size=1))
def test_with_jars_without_end_no_sum_comes_nearer_to_the_volume(units, sizes):
    found = mix(UNIT_ML * units + 1, sizes)
    filled = sum(JAR_UNITS[jar.size] * jar.count for jar in found.jars)
    assert found.leftover_ml == UNIT_ML * (units - filled) + 1
    assert filled == max(sums_up_to(units, [JAR_UNITS[size] for size in sizes]))


def sums_up_to(most, steps) -> set[int]:
    sums = {0}
    for total in range(1, most + 1):
        if any(total - step in sums for step in steps):
            sums.add(total)
    return sums
