"""Who gets how much of what is offered: fair, exact, and with a reason for every share. Pure: no Django, no clock.

Amounts are whole numbers of one unit: grams where fruit is weighed out, containers where it comes in containers.
A claim asks for so much and has a least amount that is of use; it gets nothing, or something from least to asked.

What is decided, in this order (each line only among the outcomes that are best by the lines above it):

1. What was promised before stays promised (`holds`), and as many claims as possible are served.
2. The common level is as high as possible. A set of claims reaches a level when each of them can have the smaller
   of the level and what it asked, or its least amount where that is more, out of what is there. No level above an
   equal part of what is there counts: nobody is left out only because somebody else asks for less.
3. Who had less this season is served first; of equals, whoever comes first by `key`, which the caller draws so that
   it says nothing about who asked first.
4. Among those served the amounts are lexicographically max-min fair: the smallest is as large as possible, then the
   second smallest, and so on. Each gets clamp(level, least, asked) for one level.
5. Units that are left over because they cannot be split go one each to who had less this season, then by `key`.

So it is that: the order of claims plays no part; nothing is left while somebody served wants more, and what is left
is too little for the least amount of anybody who got nothing; of two served claims the smaller one is smaller by more
than one unit only if it has all it asked, or the larger one has no more than its least (or than it was promised);
with more to share out never fewer are served, nor to a lower level the same number. Where no claim has a least amount
above one unit, every single share stays or grows with the supply. With least amounts that cannot be said of a single
share, nor quite of the sum of all: when one more can be served, or a higher level reached, others may be chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

MOST_CLAIMS = 500  # beyond any club; keeps a slip from running for minutes


@dataclass(frozen=True)
class ClaimInput:
    """One claim. `had` is what this person had this season in grams; `holds` what this offer promised before."""

    key: str
    asked: int
    least: int = 1
    had: int = 0
    holds: int = 0

    @property
    def floor(self) -> int:
        """The least that this claim may get if it gets anything."""
        return max(self.least, self.holds, 1)

    def at(self, level: int) -> int:
        return max(self.floor, min(self.asked, level))


class Why(StrEnum):
    ALL = "all"  # all that was asked
    LEVEL = "level"  # as much as everybody else who wants more
    EXTRA = "extra"  # the same and one unit of the remainder: had less this season
    LEAST = "least"  # the least amount, which is more than the others' level
    TOO_LITTLE = "too-little"  # the least amount is more than all there is
    NO_ROOM = "no-room"  # with it fewer would be served, or to a lower level
    HAD_MORE = "had-more"  # as many could be served either way: others had less this season
    LOT = "lot"  # and they had as little: the lot decided


@dataclass(frozen=True)
class Part:
    """What one claim gets and why. `level` is what everybody served gets who wants more and needs no more."""

    key: str
    units: int
    why: Why
    asked: int
    least: int
    level: int


@dataclass(frozen=True)
class Outcome:
    """Every claim's part, in the order of the claims given; what is left; how many claims got something."""

    parts: tuple[Part, ...]
    supply: int
    left: int
    served: int

    def of(self, key: str) -> Part:
        return next(part for part in self.parts if part.key == key)


class SharingError(ValueError):
    """The claims cannot be shared among: a slip of whoever calls."""


def share_out(supply: int, claims: Sequence[ClaimInput]) -> Outcome:
    """Share `supply` units among the claims. SharingError for claims that make no sense, or promises beyond supply."""
    _check(supply, claims)
    order = sorted(claims, key=_turn)
    count = _most_served(supply, order)
    reach = _highest(supply // count if count else 0, lambda level: _fits(supply, order, count, level))
    chosen = _first_by_turn(supply, order, count, reach)
    level = _highest(max((claim.asked for claim in chosen), default=0), lambda one: _sum_at(chosen, one) <= supply)
    amounts, extra = _amounts(supply, chosen, level)
    served = {claim.key for claim in chosen}
    parts = []
    for claim in claims:
        if claim.key in served:
            why = _why_served(claim, amounts[claim.key], level, claim.key in extra)
        else:
            why = _why_not(supply, claim, chosen, reach)
        parts.append(Part(claim.key, amounts.get(claim.key, 0), why, claim.asked, claim.least, level))
    return Outcome(tuple(parts), supply, supply - sum(amounts.values()), count)


def _check(supply: int, claims: Sequence[ClaimInput]) -> None:
    if supply < 0 or len(claims) > MOST_CLAIMS or len({claim.key for claim in claims}) < len(claims):
        raise SharingError("A supply below nothing, more claims than can be, or two claims with one key.")
    if any(claim.asked < 1 or claim.least < 0 or claim.holds < 0 or claim.floor > claim.asked for claim in claims):
        raise SharingError("A claim asks for at least one unit, and for no less than its least amount.")
    if any(0 < claim.holds < claim.least for claim in claims) or sum(claim.holds for claim in claims) > supply:
        raise SharingError("More is promised already than there is, or less than is of use.")


def _turn(claim: ClaimInput) -> tuple[bool, int, str]:
    """Whose turn comes first: what is promised stands, then who had less, then the lot."""
    return (not claim.holds, claim.had, claim.key)


def _sum_at(claims: Iterable[ClaimInput], level: int) -> int:
    return sum(claim.at(level) for claim in claims)


def _cheapest(order: Sequence[ClaimInput], count: int, level: int) -> int:
    """The least that `count` claims at this level take together; those with a promise are always among them."""
    promised = [claim.at(level) for claim in order if claim.holds]
    others = sorted(claim.at(level) for claim in order if not claim.holds)
    return sum(promised) + sum(others[: count - len(promised)])


def _most_served(supply: int, order: Sequence[ClaimInput]) -> int:
    promised = sum(1 for claim in order if claim.holds)
    return max(count for count in range(promised, len(order) + 1) if _cheapest(order, count, 0) <= supply)


def _fits(supply: int, order: Sequence[ClaimInput], count: int, level: int) -> bool:
    return _cheapest(order, count, level) <= supply


def _highest(most: int, holds_at: Callable[[int], bool]) -> int:
    """The highest level from 0 to `most` at which something holds that holds at 0 and stops holding once."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if holds_at(middle) else (low, middle - 1)
    return low


def _first_by_turn(supply: int, order: Sequence[ClaimInput], count: int, level: int) -> list[ClaimInput]:
    """Of all sets of `count` claims that reach the level, the one that is first when turns are compared one by one."""
    chosen: list[ClaimInput] = []
    for place, claim in enumerate(order):
        missing = count - len(chosen) - 1
        if missing < 0:
            break
        rest = order[place + 1 :]
        if len(rest) >= missing and _sum_at([*chosen, claim], level) + _cheapest(rest, missing, level) <= supply:
            chosen.append(claim)
    return chosen


def _amounts(supply: int, chosen: Sequence[ClaimInput], level: int) -> tuple[dict[str, int], set[str]]:
    """Everybody at the level, and who gets one unit more of what then remains."""
    amounts = {claim.key: claim.at(level) for claim in chosen}
    remaining = supply - sum(amounts.values())
    want = [claim for claim in chosen if amounts[claim.key] == level < claim.asked]
    extra = {claim.key for claim in sorted(want, key=lambda one: (one.had, one.key))[:remaining]}
    for key in extra:
        amounts[key] += 1
    return amounts, extra


def _why_served(claim: ClaimInput, units: int, level: int, is_extra: bool) -> Why:
    if units == claim.asked:
        return Why.ALL
    if is_extra:
        return Why.EXTRA
    return Why.LEAST if units > level else Why.LEVEL


def _why_not(supply: int, claim: ClaimInput, chosen: Sequence[ClaimInput], level: int) -> Why:
    """Whether it could have stood in somebody's place, as many served and to the same level; then turns decided."""
    if claim.floor > supply:
        return Why.TOO_LITTLE
    taken = _sum_at(chosen, level)
    instead = [one for one in chosen if not one.holds and taken - one.at(level) + claim.at(level) <= supply]
    if not instead:
        return Why.NO_ROOM
    return Why.HAD_MORE if any(one.had < claim.had for one in instead) else Why.LOT
