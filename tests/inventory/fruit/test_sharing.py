"""Shares by hand, by brute force over every possible outcome, by integer programming, and by their properties."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from inventory.fruit import sharing
from inventory.fruit.sharing import ClaimInput, Outcome, SharingError, Why, share_out
from tests.helpers import examples


def given_to(outcome: Outcome) -> dict[str, int]:
    return {part.key: part.units for part in outcome.parts}


# By hand


def test_three_who_ask_more_than_there_is_get_the_same_and_a_small_wish_is_filled_first():
    outcome = share_out(12_000, [ClaimInput("a", 5_000), ClaimInput("b", 2_000), ClaimInput("c", 8_000)])
    assert given_to(outcome) == {"a": 5_000, "b": 2_000, "c": 5_000}
    assert [part.why for part in outcome.parts] == [Why.ALL, Why.ALL, Why.LEVEL]
    assert (outcome.left, outcome.served) == (0, 3)


def test_a_least_amount_above_the_level_is_kept_and_the_others_share_the_rest():
    outcome = share_out(10_000, [ClaimInput("a", 6_000, least=5_000), ClaimInput("b", 6_000), ClaimInput("c", 6_000)])
    assert given_to(outcome) == {"a": 5_000, "b": 2_500, "c": 2_500}
    assert outcome.of("a").why is Why.LEAST


def test_where_the_least_amounts_do_not_all_fit_as_many_as_possible_are_served():
    claims = [
        ClaimInput("pot", 9_000, least=7_000),
        ClaimInput("x", 4_000, least=2_000),
        ClaimInput("y", 4_000, least=2_000),
    ]
    outcome = share_out(8_000, claims)
    assert given_to(outcome) == {"pot": 0, "x": 4_000, "y": 4_000}
    assert outcome.of("pot").why is Why.NO_ROOM


def test_a_least_amount_above_all_there_is_gets_nothing_and_is_told_so():
    outcome = share_out(3_000, [ClaimInput("pot", 9_000, least=7_000), ClaimInput("x", 4_000)])
    assert given_to(outcome) == {"pot": 0, "x": 3_000}
    assert outcome.of("pot").why is Why.TOO_LITTLE


def test_of_four_who_ask_for_two_bushels_those_two_get_one_who_had_least_this_season():
    claims = [
        ClaimInput("a", 1, had=9),
        ClaimInput("b", 3, had=4),
        ClaimInput("c", 3, had=0),
        ClaimInput("d", 1, had=9),
    ]
    outcome = share_out(2, claims)
    assert given_to(outcome) == {"a": 0, "b": 1, "c": 1, "d": 0}
    assert outcome.of("a").why is Why.HAD_MORE


def test_of_two_who_had_as_much_the_lot_decides_and_says_so():
    outcome = share_out(1, [ClaimInput("b", 1), ClaimInput("a", 1)])
    assert given_to(outcome) == {"b": 0, "a": 1}
    assert outcome.of("b").why is Why.LOT


def test_the_odd_bushel_goes_to_who_had_less():
    outcome = share_out(5, [ClaimInput("a", 4, had=2_000), ClaimInput("b", 4, had=1_000)])
    assert given_to(outcome) == {"a": 2, "b": 3}
    assert outcome.of("b").why is Why.EXTRA


def test_a_low_level_for_many_is_not_bought_with_a_large_least_amount_of_one():
    """Three do not fit, two do: not the pair of which one would get a single kilo, though that one had less."""
    claims = [
        ClaimInput("big", 10, least=9, had=1),
        ClaimInput("low", 10, least=1, had=0),
        ClaimInput("mid", 10, least=2, had=5),
    ]
    assert given_to(share_out(10, claims)) == {"big": 0, "low": 5, "mid": 5}


def test_what_was_promised_stays_and_what_came_back_goes_to_who_has_least():
    claims = [ClaimInput("a", 6, holds=4), ClaimInput("b", 6, holds=2), ClaimInput("c", 5, least=3)]
    assert given_to(share_out(10, claims)) == {"a": 4, "b": 3, "c": 3}


def test_more_than_anybody_wants_leaves_the_rest_with_the_giver():
    outcome = share_out(9, [ClaimInput("a", 4), ClaimInput("b", 1)])
    assert given_to(outcome) == {"a": 4, "b": 1}
    assert outcome.left == 4


def test_nothing_to_share_and_nobody_who_asks_are_no_trouble():
    assert share_out(5, []) == Outcome((), 5, 5, 0)
    assert given_to(share_out(0, [ClaimInput("a", 3)])) == {"a": 0}


@pytest.mark.parametrize(
    "claims",
    [
        [ClaimInput("a", 0)],
        [ClaimInput("a", 2, least=3)],
        [ClaimInput("a", 2), ClaimInput("a", 3)],
        [ClaimInput("a", 9, holds=6), ClaimInput("b", 9, holds=5)],
        [ClaimInput("a", 9, least=5, holds=3)],
        [ClaimInput(str(n), 1) for n in range(sharing.MOST_CLAIMS + 1)],
    ],
)
def test_claims_that_make_no_sense_are_refused(claims):
    with pytest.raises(SharingError):
        share_out(10, claims)


def test_the_sums_know_nothing_of_django():
    tree = ast.parse(Path(sharing.__file__).read_text())
    named = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert named == {"__future__", "collections.abc", "dataclasses", "enum"}
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.Import)]


# By brute force: every outcome there is, compared by the five lines of the docstring.


def every_outcome(supply: int, claims: Sequence[ClaimInput]) -> Iterator[tuple[int, ...]]:
    ways = [
        (*(() if claim.holds else (0,)), *range(max(claim.least, claim.holds, 1), claim.asked + 1)) for claim in claims
    ]
    return (way for way in product(*ways) if sum(way) <= supply)


def level_of(supply: int, served: Sequence[ClaimInput]) -> int:
    """Counted up one by one, from the docstring's words."""
    level = 0
    while level < supply // max(len(served), 1):
        needs = (max(claim.least, claim.holds, 1, min(claim.asked, level + 1)) for claim in served)
        if sum(needs) > supply:
            break
        level += 1
    return level


def worth(supply: int, claims: Sequence[ClaimInput], amounts: Sequence[int]) -> tuple:
    """The five lines as one value to compare: larger is better."""
    served = [claim for claim, amount in zip(claims, amounts, strict=True) if amount]
    by_turn = sorted(zip(claims, amounts, strict=True), key=lambda pair: (pair[0].had, pair[0].key))
    return (
        len(served),
        level_of(supply, served),
        [amount > 0 for claim, amount in by_turn if not claim.holds],
        sorted(amount for amount in amounts if amount),
        [amount for _input, amount in by_turn],
    )


@st.composite
def a_few_wishes(draw, most_claims: int = 4, most_units: int = 6, with_promises: bool = True):
    claims = []
    for number in range(draw(st.integers(0, most_claims))):
        asked = draw(st.integers(1, most_units))
        least = draw(st.integers(0, asked))
        holds = draw(st.sampled_from([0, 0, 0, max(least, 1), asked])) if with_promises else 0
        claims.append(ClaimInput(f"k{number}", asked, least, draw(st.integers(0, 2)), holds))
    promised = sum(claim.holds for claim in claims)
    return promised + draw(st.integers(0, 12)), claims


@given(a_few_wishes())
@examples(400)
def test_it_is_the_best_of_all_outcomes_there_are(case):
    supply, claims = case
    found = tuple(part.units for part in share_out(supply, claims).parts)
    best = max(every_outcome(supply, claims), key=lambda way: worth(supply, claims, way))
    assert worth(supply, claims, found) == worth(supply, claims, best)
    assert found in set(every_outcome(supply, claims))


# By integer and linear programming


def most_served_by_milp(supply: int, claims: Sequence[ClaimInput]) -> int:
    """Columns: amounts, then whether each is served."""
    count = len(claims)
    least = np.diag([-float(max(claim.least, 1)) for claim in claims])
    most = np.diag([-float(claim.asked) for claim in claims])
    one = np.eye(count)
    rows = [
        LinearConstraint(np.hstack([one, least]), lb=0),
        LinearConstraint(np.hstack([one, most]), ub=0),
        LinearConstraint(np.hstack([np.ones(count), np.zeros(count)])[None, :], ub=supply),
    ]
    bounds = Bounds(0, [*(claim.asked for claim in claims), *[1] * count])
    goal = np.concatenate([np.zeros(count), -np.ones(count)])
    return round(-milp(goal, constraints=rows, bounds=bounds, integrality=np.ones(2 * count)).fun)


def level_by_milp(supply: int, claims: Sequence[ClaimInput], served: int) -> int:
    """Columns: amounts, whether served, whether at what was asked (excused from the level), the level itself."""
    count, big = len(claims), 1000.0
    one, no = np.eye(count), np.zeros((count, count))
    col = np.zeros((count, 1))
    least = np.diag([-float(max(claim.least, 1)) for claim in claims])
    asked = np.diag([-float(claim.asked) for claim in claims])
    rows = [
        LinearConstraint(np.hstack([one, least, no, col]), lb=0),
        LinearConstraint(np.hstack([one, asked, no, col]), ub=0),
        LinearConstraint(np.hstack([one, no, asked, col]), lb=0),  # excused only with all that was asked
        LinearConstraint(np.hstack([one, -big * one, big * one, col - 1]), lb=-big),
        LinearConstraint(np.hstack([np.ones(count), np.zeros(2 * count + 1)])[None, :], ub=supply),
        LinearConstraint(np.hstack([np.zeros(count), np.ones(count), np.zeros(count + 1)])[None, :], served, served),
    ]
    bounds = Bounds(0, [*(claim.asked for claim in claims), *[1] * (2 * count), supply // served])
    goal = np.concatenate([np.zeros(3 * count), [-1.0]])
    return round(-milp(goal, constraints=rows, bounds=bounds, integrality=np.ones(3 * count + 1)).fun)


def max_min_by_linprog(supply: int, served: Sequence[ClaimInput]) -> list[float]:
    """Raise the smallest amounts together; those that cannot rise are fixed; again with the rest."""
    count = len(served)
    low = [float(max(claim.least, claim.holds, 1)) for claim in served]
    fixed: dict[int, float] = {}
    while len(fixed) < count:
        free = [n for n in range(count) if n not in fixed]
        level = _smallest_risen(supply, served, low, fixed, free)
        stuck = {
            n: one for n in free if (one := _highest_of(supply, served, low, fixed, free, level, n)) <= level + 1e-6
        }
        fixed |= dict.fromkeys(stuck, level) or dict.fromkeys(free, level)
    return [fixed[n] for n in range(count)]


def _program(supply, served, low, fixed, free, level, goal):
    """Columns: amounts and the level; those that need more than the level are held up by their own least amount."""
    count = len(served)
    bounds = []
    for n, claim in enumerate(served):
        bounds.append((fixed[n], fixed[n]) if n in fixed else (max(low[n], min(level, claim.asked)), claim.asked))
    rows = [[*np.ones(count), 0.0]]
    rows += [[*(-1.0 if m == n else 0.0 for m in range(count)), 1.0] for n in free]
    found = linprog(goal, A_ub=rows, b_ub=[supply, *[0.0] * len(free)], bounds=[*bounds, (0, None)])
    assert found.status == 0, found.message
    return found


def _smallest_risen(supply, served, low, fixed, free):
    return -_program(supply, served, low, fixed, free, 0, [*[0.0] * len(served), -1.0]).fun


def _highest_of(supply, served, low, fixed, free, level, which):
    goal = [*(-1.0 if n == which else 0.0 for n in range(len(served))), 0.0]
    return -_program(supply, served, low, fixed, free, level, goal).fun


@given(a_few_wishes(most_claims=6, most_units=30, with_promises=False))
@examples(120)
def test_the_number_served_and_their_level_are_those_of_an_integer_programme(case):
    supply, claims = case
    if not claims:
        return
    outcome = share_out(supply, claims)
    assert outcome.served == most_served_by_milp(supply, claims)
    served = [claim for claim in claims if outcome.of(claim.key).units]
    if served:
        assert level_of(supply, served) == level_by_milp(supply, claims, outcome.served)


@given(a_few_wishes(most_claims=6, most_units=30))
@examples(150)
def test_among_those_served_the_amounts_are_a_linear_programme_s_to_within_one_unit(case):
    supply, claims = case
    outcome = share_out(supply, claims)
    served = [claim for claim in claims if outcome.of(claim.key).units]
    if not served:
        return
    exact = max_min_by_linprog(supply, served)
    found = [outcome.of(claim.key).units for claim in served]
    assert all(abs(a - b) < 1 + 1e-6 for a, b in zip(exact, found, strict=True)), (exact, found)


# Properties, on as many claims as a club has

claims = st.integers(1, 25_000).flatmap(
    lambda asked: st.tuples(st.just(asked), st.integers(0, asked), st.integers(0, 40_000))
)
many = st.lists(claims, max_size=60).map(
    lambda rows: [ClaimInput(f"{n:02}", asked, least, had) for n, (asked, least, had) in enumerate(rows)]
)
boxes = st.lists(st.tuples(st.integers(1, 6), st.integers(0, 6), st.integers(0, 3)), max_size=20).map(
    lambda rows: [ClaimInput(f"{n:02}", asked, min(least, asked), had) for n, (asked, least, had) in enumerate(rows)]
)
cases = st.one_of(st.tuples(st.integers(0, 400_000), many), st.tuples(st.integers(0, 60), boxes))


@given(cases)
def test_nobody_gets_more_than_asked_or_less_than_is_of_use_and_no_more_is_given_than_there_is(case):
    supply, claims = case
    outcome = share_out(supply, claims)
    for claim in claims:
        units = outcome.of(claim.key).units
        assert units == 0 or max(claim.least, 1) <= units <= claim.asked
    assert sum(given_to(outcome).values()) + outcome.left == supply
    assert outcome.left >= 0


@given(cases)
def test_nothing_is_left_while_somebody_can_still_take_it(case):
    supply, claims = case
    outcome = share_out(supply, claims)
    for claim in claims:
        units = outcome.of(claim.key).units
        if outcome.left and units:
            assert units == claim.asked
        if not units:
            assert outcome.left < max(claim.least, 1)


@given(cases)
def test_of_those_served_nobody_has_cause_to_envy_beyond_one_unit(case):
    """Who got over one unit less than another has all that was asked, or the other has no more than the least."""
    supply, claims = case
    outcome = share_out(supply, claims)
    served = [(claim, outcome.of(claim.key).units) for claim in claims if outcome.of(claim.key).units]
    for (one, mine), (other, theirs) in product(served, served):
        if mine < one.asked and theirs > other.floor:
            assert theirs <= mine + 1
            if theirs == mine + 1 and mine >= one.floor:
                assert (other.had, other.key) < (one.had, one.key)


@given(st.tuples(st.integers(0, 60), boxes))
def test_nobody_who_got_nothing_could_have_had_another_s_place_as_well(case):
    """In anybody's place, fewer would fit, or to a lower level, or the other had less (or as much, and the lot)."""
    supply, claims = case
    outcome = share_out(supply, claims)
    served = [claim for claim in claims if outcome.of(claim.key).units]
    missed = [claim for claim in claims if not outcome.of(claim.key).units]
    for one, other in product(missed, served):
        swapped = [claim for claim in served if claim is not other] + [one]
        fits = sum(claim.floor for claim in swapped) <= supply
        if fits and level_of(supply, swapped) >= level_of(supply, served):
            assert (other.had, other.key) < (one.had, one.key)
            assert outcome.of(one.key).why in (Why.HAD_MORE, Why.LOT)


@given(cases, st.randoms())
def test_the_order_of_claims_does_not_matter(case, random):
    supply, claims = case
    shuffled = claims[:]
    random.shuffle(shuffled)
    assert given_to(share_out(supply, claims)) == given_to(share_out(supply, shuffled))


@given(cases, st.integers(1, 5_000))
def test_with_more_to_share_never_fewer_are_served_nor_as_many_to_a_lower_level(case, more):
    supply, claims = case

    def reached(there: int) -> tuple[int, int]:
        outcome = share_out(there, claims)
        served = [claim for claim in claims if outcome.of(claim.key).units]
        return outcome.served, _level(there, served)

    assert reached(supply + more) >= reached(supply)


def _level(supply: int, served: Sequence[ClaimInput]) -> int:
    """As level_of, for large amounts: the highest level by halving."""
    low, high = 0, supply // max(len(served), 1)
    while low < high:
        middle = (low + high + 1) // 2
        fits = sum(max(claim.floor, min(claim.asked, middle)) for claim in served) <= supply
        low, high = (middle, high) if fits else (low, middle - 1)
    return low


@given(cases, st.integers(1, 5_000))
def test_where_nobody_needs_a_least_amount_no_share_shrinks_when_there_is_more(case, more):
    supply, claims = case
    plain = [replace(claim, least=1) for claim in claims]
    before, after = share_out(supply, plain), share_out(supply + more, plain)
    for claim in plain:
        assert after.of(claim.key).units >= before.of(claim.key).units


@given(cases)
def test_sharing_again_with_all_shares_promised_changes_nothing(case):
    supply, claims = case
    first = share_out(supply, claims)
    promised = [replace(claim, holds=first.of(claim.key).units) for claim in claims]
    assert given_to(share_out(supply, promised)) == given_to(first)


@given(cases, st.data())
def test_what_one_gives_back_takes_nothing_from_the_others(case, data):
    supply, claims = case
    first = share_out(supply, claims)
    served = [claim for claim in claims if first.of(claim.key).units]
    if not served:
        return
    gone = data.draw(st.sampled_from(served))
    rest = [replace(claim, holds=first.of(claim.key).units) for claim in claims if claim is not gone]
    again = share_out(supply, rest)
    for claim in rest:
        assert again.of(claim.key).units >= claim.holds


def test_every_reason_there_is_occurs_among_three_small_claims():
    asked_and_least = [(1, 1), (4, 1), (4, 3)]
    claims = [ClaimInput(f"{a}{b}{had}", a, b, had) for (a, b), had in product(asked_and_least, (0, 1))]
    seen = set()
    for supply, three in product(range(7), combinations(claims, 3)):
        seen |= {part.why for part in share_out(supply, three).parts}
    assert seen == set(Why)
