"""What each member pays of a club order, line by line, and why. Pure: plain values in, plain values out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inventory.jars.splitting import Part, Party, SplitRule, split_cents


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
