"""What a plan costs, as far as prices are known: integer cents, split so that the parts are always the whole.

A thing counts for the part of its package that is used. What has no price, or one that cannot be compared with what is
needed (a price by the pound for something counted), is listed as unknown and never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import Protocol

from recipes.engine.quantities import UNITS, Amount
from recipes.engine.terms import JarCount
from recipes.engine.units import JAR_ML
from recipes.shopping import BANDS, Purchase, amount_in


class Priced(Protocol):
    """A price of one package."""

    @property
    def amount(self) -> Amount: ...

    @property
    def cents(self) -> int: ...


@dataclass(frozen=True)
class JarCost:
    """What a full jar of one size costs; of equal jars some may cost one cent more."""

    size: str
    count: int
    low_cents: int
    high_cents: int


@dataclass(frozen=True)
class Cost:
    """`parts` are (item, cents) and sum to `total_cents`; `unknown` names what is not in it."""

    total_cents: int
    parts: tuple[tuple[str, int], ...]
    unknown: tuple[str, ...]
    jars: tuple[JarCost, ...]


def cost_of(purchases: Sequence[Purchase], prices: Mapping[str, Priced], jars: Sequence[JarCount]) -> Cost:
    """The cost of what is used. Bands are used again and cost nothing."""
    known: list[tuple[str, Fraction]] = []
    unknown: list[str] = []
    for purchase in purchases:
        if purchase.item == BANDS:
            continue
        share = _share(purchase, prices.get(purchase.item))
        if share is None:
            unknown.append(purchase.item)
        else:
            known.append((purchase.item, share))
    exact = sum((share for _, share in known), Fraction(0))
    total = floor(exact + Fraction(1, 2))
    parts = split_cents(total, [share for _, share in known])
    return Cost(
        total_cents=total,
        parts=tuple((item, cents) for (item, _), cents in zip(known, parts, strict=True)),
        unknown=tuple(unknown),
        jars=_by_jar(total, jars) if known else (),
    )


def split_cents(total: int, shares: Sequence[Fraction]) -> list[int]:
    """The whole in proportion to the shares by largest remainder; of equal remainders the first. It always sums."""
    whole = sum(shares, Fraction(0))
    if not whole:
        return [total, *([0] * (len(shares) - 1))] if shares else []
    exact = [total * share / whole for share in shares]
    cents = [floor(part) for part in exact]
    left = total - sum(cents)
    for index in sorted(range(len(shares)), key=lambda at: (cents[at] - exact[at], at))[:left]:
        cents[index] += 1
    return cents


def _share(purchase: Purchase, price: Priced | None) -> Fraction | None:
    """The exact cents of what is used of it."""
    if price is None:
        return None
    need = amount_in(purchase, price.amount.unit)
    return None if need is None else price.cents * need / (price.amount.value * UNITS[price.amount.unit].size)


def _by_jar(total: int, jars: Sequence[JarCount]) -> tuple[JarCost, ...]:
    """By volume, over the full jars."""
    each = [jar.size for jar in jars for _ in range(jar.count)]
    cents = split_cents(total, [JAR_ML[size] for size in each])
    costs = []
    for jar in jars:
        paid = [part for size, part in zip(each, cents, strict=True) if size == jar.size]
        costs.append(JarCost(jar.size, jar.count, min(paid), max(paid)))
    return tuple(costs)
