"""How a sum of cents, or a delivery that came short, is shared out among those who ordered together. Pure.

One rule for every division: whole parts first, then one more for the largest remainders, of equal remainders for the
lower key. So the parts always are the whole, no part is a cent or a piece away from its exact share, and it does not
matter in which order people are named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


class SplitRule(StrEnum):
    """By what freight, or a discount, is shared."""

    WEIGHT = "weight"
    VALUE = "value"
    EVENLY = "evenly"  # by head: everybody who ordered, also who went short


class ShortRule(StrEnum):
    """Who gets how much where less came than was ordered."""

    FIRST = "first"  # in the order of asking
    PRO_RATA = "pro-rata"


@dataclass(frozen=True)
class Party:
    """One who ordered: what they get, in grams and in cents. `key` is stable, and settles a tie."""

    key: int
    grams: int = 0
    cents: int = 0


@dataclass(frozen=True)
class Part:
    """One share of a whole: `basis` of `whole_basis` (grams, cents or heads) of the total, exact and as it is paid."""

    cents: int
    exact: Fraction
    basis: int
    whole_basis: int
    rule: SplitRule


@dataclass(frozen=True)
class Ask:
    """Who asked for how many units of a line; `turn` puts askers in order, and the key settles a tie."""

    key: int
    units: int
    turn: int


def largest_remainder(total: int, shares: Mapping[int, int]) -> dict[int, int]:
    """`total` (0 or more) in proportion to the shares (0 or more). ValueError where no share is above nothing."""
    whole = sum(shares.values())
    if whole <= 0:
        raise ValueError("There is nothing to share by.")
    parts = {key: total * share // whole for key, share in shares.items()}
    by_remainder = sorted(shares, key=lambda key: (-(total * shares[key] % whole), key))
    for key in by_remainder[: total - sum(parts.values())]:
        parts[key] += 1
    return parts


def split_cents(total: int, parties: Iterable[Party], rule: SplitRule) -> dict[int, Part]:
    """What each pays of `total`; a total below zero is a discount, and each gets a part of it.

    Where the rule finds nothing to go by (all without weight, or without value) it is shared evenly, and the parts
    say so. Nobody there: nothing is shared.
    """
    there = list(parties)
    used = rule if any(_basis(party, rule) for party in there) else SplitRule.EVENLY
    shares = {party.key: _basis(party, used) for party in there}
    if not shares:
        return {}
    sign, whole = (-1 if total < 0 else 1), sum(shares.values())
    cents = largest_remainder(abs(total), shares)
    return {
        key: Part(sign * cents[key], Fraction(total * share, whole), share, whole, used)
        for key, share in shares.items()
    }


def _basis(party: Party, rule: SplitRule) -> int:
    return {SplitRule.WEIGHT: party.grams, SplitRule.VALUE: party.cents, SplitRule.EVENLY: 1}[rule]


def share_out(received: int, asks: Sequence[Ask], rule: ShortRule) -> dict[int, int]:
    """Whole units for each who asked; never more than they asked for. What is over stays with the club."""
    asked = sum(ask.units for ask in asks)
    if received >= asked:
        return {ask.key: ask.units for ask in asks}
    if rule is ShortRule.PRO_RATA:
        return largest_remainder(received, {ask.key: ask.units for ask in asks})
    given, left = {}, received
    for ask in sorted(asks, key=lambda ask: (ask.turn, ask.key)):
        given[ask.key] = min(ask.units, left)
        left -= given[ask.key]
    return given


# What each member pays of a club order, line by line, and why. Pure: plain values in, plain values out.


@dataclass(frozen=True)
class Wanted:
    """A member's part of one line: `asked` and `gets` in units as sold; what one unit costs and weighs."""

    member: int
    line: int
    name: str
    unit: str
    asked: int
    gets: int
    price_cents: int
    grams: int = 0

    @property
    def cents(self) -> int:
        return self.gets * self.price_cents

    @property
    def is_short(self) -> bool:
        return self.gets < self.asked


@dataclass(frozen=True)
class Costs:
    """Freight to be paid and a discount to be had, in cents of 0 or more, and by what each is shared."""

    freight_cents: int = 0
    freight_by: SplitRule = SplitRule.WEIGHT
    discount_cents: int = 0
    discount_by: SplitRule = SplitRule.VALUE


@dataclass(frozen=True)
class Bill:
    """`total_cents` is goods and freight, less the discount; below zero where the discount is more than the rest."""

    member: int
    lines: tuple[Wanted, ...]
    freight: Part
    discount: Part  # its cents are 0 or less

    @property
    def goods_cents(self) -> int:
        return sum(line.cents for line in self.lines)

    @property
    def total_cents(self) -> int:
        return self.goods_cents + self.freight.cents + self.discount.cents


def bills_of(wanted: Iterable[Wanted], costs: Costs) -> dict[int, Bill]:
    """A bill for everybody who ordered, by member. Together they are the goods, the freight and the discount."""
    by_member: dict[int, list[Wanted]] = {}
    for line in wanted:
        by_member.setdefault(line.member, []).append(line)
    parties = [_party(member, lines) for member, lines in by_member.items()]
    freight = split_cents(costs.freight_cents, parties, costs.freight_by)
    discount = split_cents(-costs.discount_cents, parties, costs.discount_by)
    return {
        member: Bill(member, tuple(sorted(lines, key=lambda line: line.line)), freight[member], discount[member])
        for member, lines in sorted(by_member.items())
    }


def _party(member: int, lines: Sequence[Wanted]) -> Party:
    return Party(
        key=member,
        grams=sum(line.gets * line.grams for line in lines),
        cents=sum(line.cents for line in lines),
    )
