"""Jars share a canner only when their process is the same, and the loads are the fewest."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from recipes.engine.jars import FOUR_QUART, SEVEN_QUART, Load, canner_loads, capacity
from recipes.engine.process import Process
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.rules import RULES
from recipes.engine.terms import Method, Refusal

TEN = Process(Method.BOILING_WATER, 10)
FIFTEEN = Process(Method.BOILING_WATER, 15)


def loads(jars, processes=None, canner=SEVEN_QUART):
    found = canner_loads(jars, processes or dict.fromkeys(JAR_SIZES, TEN), canner)
    assert not isinstance(found, Refusal), found
    return found


def counts(load: Load) -> dict[str, int]:
    return {jar.size: jar.count for jar in load.jars}


@pytest.mark.parametrize(("size", "full"), [("quart", 7), ("pint", 9), ("half-pint", 12)])
def test_a_full_canner_is_one_load_and_a_jar_more_is_two(size, full):
    assert [counts(load) for load in loads({size: full})] == [{size: full}]
    assert [counts(load) for load in loads({size: full + 1})] == [{size: full}, {size: 1}]


def test_what_is_left_of_two_sizes_goes_in_together():
    found = loads({"quart": 8, "pint": 10})
    assert [counts(load) for load in found] == [{"quart": 7}, {"pint": 9}, {"quart": 1, "pint": 1}]
    assert found[-1].filled == Fraction(1, 7) + Fraction(1, 9)


def test_jars_of_different_times_never_share_a_load():
    found = loads({"quart": 1, "pint": 1}, {"quart": FIFTEEN, "pint": TEN})
    assert [(load.process.minutes, counts(load)) for load in found] == [(15, {"quart": 1}), (10, {"pint": 1})]


def test_jars_of_one_time_and_two_pressures_never_share_a_load():
    processes = {"quart": Process(Method.PRESSURE, 25, 11), "pint": Process(Method.PRESSURE, 25, 6)}
    assert len(loads({"quart": 1, "pint": 1}, processes)) == 2


def test_a_fit_that_taking_the_largest_first_would_miss_is_found():
    # Room 12: quarts take 6, pints 4, half-pints 3. Largest first: 6+4, then 4+4+3, then 3; better: 6+3+3 and 4+4+4.
    canner = capacity("small", "test", quart=2, pint=3, half_pint=4)
    found = loads({"quart": 1, "pint": 2, "half-pint": 2}, canner=canner)
    assert len(found) == 2


def test_a_jar_too_tall_for_the_canner_is_refused():
    found = canner_loads({"half-gallon": 1}, {"half-gallon": TEN}, SEVEN_QUART)
    assert isinstance(found, Refusal)
    assert (found.code, found.source) == ("jar-not-in-canner", RULES["LOAD-CAPACITY"].source)


def test_a_jar_without_a_tested_process_is_refused():
    found = canner_loads({"quart": 1}, {"pint": TEN}, SEVEN_QUART)
    assert isinstance(found, Refusal)
    assert found.code == "jar-not-tested"


def test_no_jars_are_no_loads():
    assert loads({}) == ()
    assert loads({"quart": 0}) == ()


@pytest.mark.parametrize("jars", [{"litre": 3}, {"quart": 0}])
def test_a_canner_is_described_by_known_jars(jars):
    with pytest.raises(ValueError, match="jar"):
        capacity("odd", "test", **jars)


def test_the_small_canner_holds_no_more_of_any_size():
    assert all(FOUR_QUART.holds(size) <= SEVEN_QUART.holds(size) for size in JAR_SIZES)


canners = st.dictionaries(
    st.sampled_from(["quart", "pint", "half_pint", "quarter_pint"]), st.integers(1, 6), min_size=1
).map(lambda jars: capacity("any", "test", **jars))


@given(canners, st.data())
def test_every_jar_goes_into_just_one_load_that_holds_it(canner, data):
    sizes = [jar.size for jar in canner.jars]
    jars = data.draw(st.dictionaries(st.sampled_from(sizes), st.integers(0, 40)))
    processes = {size: data.draw(st.sampled_from([TEN, FIFTEEN])) for size in sizes}
    found = loads(jars, processes, canner)
    packed = sum((Counter(counts(load)) for load in found), Counter())
    assert packed == +Counter(jars)
    for load in found:
        assert {processes[jar.size] for jar in load.jars} == {load.process}
        room = sum((Fraction(jar.count, canner.holds(jar.size)) for jar in load.jars), Fraction(0))
        assert room == load.filled <= 1


@settings(deadline=None)  # trying every load takes its time
@given(canners, st.data())
def test_what_is_left_of_the_sizes_takes_the_fewest_loads(canner, data):
    # Fewer of each size than fill a canner, so that nothing is loaded by itself first.
    jars = {jar.size: data.draw(st.integers(0, min(3, jar.count - 1))) for jar in canner.jars}
    assume(len({jar.count for jar in canner.jars}) == len(canner.jars))
    assert len(loads(jars, None, canner)) == fewest(tuple(jars.items()), canner)


@cache
def fewest(jars, canner) -> int:
    """By trying every first load."""
    if not any(count for _, count in jars):
        return 0
    tries = []
    for taken in product(*(range(count + 1) for _, count in jars)):
        room = sum(Fraction(count, canner.holds(size)) for (size, _), count in zip(jars, taken, strict=True))
        if any(taken) and room <= 1:
            left = tuple((size, count - used) for (size, count), used in zip(jars, taken, strict=True))
            tries.append(1 + fewest(left, canner))
    return min(tries)
