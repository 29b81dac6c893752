"""Which canner goes to which station: as many as can be met, against trying every way."""

from __future__ import annotations

from itertools import permutations

from hypothesis import given
from hypothesis import strategies as st

from club.classes.planning import GearRequirement, matched
from inventory.equipment.choices import Kind

SIZES = ("half-pint", "pint")
COUNTS = st.dictionaries(st.sampled_from(SIZES), st.integers(1, 3), max_size=2)


def need(**jars):
    return GearRequirement(Kind.BOILING_WATER, 1, {size.replace("_", "-"): count for size, count in jars.items()})


def test_the_canner_for_every_jar_is_left_to_whom_no_other_serves():
    needs = [need(pint=9), need(half_pint=8)]
    assert matched(needs, [{"pint": 9, "half-pint": 12}, {"pint": 9}]) == {0: 1, 1: 0}


def test_a_thing_without_jars_serves_the_first_who_needs_one():
    assert matched([need(), need()], [{}]) == {0: 0}


@given(st.lists(COUNTS, max_size=4), st.lists(COUNTS, max_size=4))
def test_no_other_way_of_giving_them_out_meets_more(wanted, capacities):
    needs = [GearRequirement(Kind.BOILING_WATER, 1, jars) for jars in wanted]
    found = matched(needs, capacities)
    assert all(needs[n].is_met_by(capacities[thing]) for n, thing in found.items())
    assert len(set(found.values())) == len(found)
    places = [*range(len(capacities)), *[None] * len(needs)]
    ways = (
        sum(thing is not None and each.is_met_by(capacities[thing]) for each, thing in zip(needs, way, strict=True))
        for way in set(permutations(places, len(needs)))
    )
    assert len(found) == max(ways, default=0)
