"""What a session needs from the shelves, what it has of that, and what is left to buy."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from django.utils.translation import gettext as _

from club.classes.models import SetAside, SetAsideKind
from club.classes.stock import Shelf
from recipes.engine.plan_terms import Plan
from recipes.engine.quantities import Amount
from recipes.engine.units import UNITS
from recipes.shopping import LIDS, PACKAGES, Purchase, amount_in, needed_of, packages_words, shopping_list_of
from recipes.words import JARS


@dataclass(frozen=True)
class Take:
    """So many from one shelf."""

    shelf: Shelf
    quantity: int


def take_from(shelves: Sequence[Shelf], plans: Sequence[Plan]) -> list[Take]:
    """What the plans take from the shelves, in the order of the shelves, and never more than is free there."""
    needed = needed_of(plans)
    jars: dict[str, int] = {}
    for jar in (jar for plan in plans for jar in plan.jars):
        jars[jar.size] = jars.get(jar.size, 0) + jar.count
    lids = int(needed[LIDS].pieces or 0) if LIDS in needed else 0
    return [
        *_share_out((each for each in shelves if each.what == SetAsideKind.JAR), jars),
        *_share_out((each for each in shelves if each.what == SetAsideKind.LID), {LIDS: lids}, key=LIDS),
        *(take for each in shelves if each.what == SetAsideKind.SUPPLY for take in _of_supply(each, needed)),
    ]


def to_buy(plans: Sequence[Plan], units: str, kept: Iterable[SetAside], shelves: Sequence[Shelf]) -> list[Purchase]:
    """The shopping list, less lids and supplies that are set aside. Ingredients that nobody keeps are all on it."""
    have: dict[str, Amount] = {}
    by_key = {(each.what, each.key): each for each in shelves}
    for row in kept:
        shelf = by_key.get((row.what, row.key))
        if row.what == SetAsideKind.LID:
            have[LIDS] = _more(have.get(LIDS), Amount(Fraction(row.quantity), "each"))
        elif row.what == SetAsideKind.SUPPLY and shelf is not None and shelf.holds is not None:
            have[shelf.name.lower()] = Amount(shelf.holds.value * row.quantity, shelf.holds.unit)
    return shopping_list_of(plans, units, have)


def jars_to_buy(plans: Sequence[Plan], units: str, kept: Iterable[SetAside]) -> list[Purchase]:
    """Empty jars that the plans fill and that are not set aside; boxed by the dozen, as lids are."""
    return [
        replace(wanted, bought=packages_words(wanted, PACKAGES[LIDS][units]))
        for size, count in jars_lacking(plans, kept).items()
        for wanted in [
            Purchase(_("empty jars, %(size)s") % {"size": JARS[size]}, str(count), pieces=Fraction(count), unit="each")
        ]
    ]


def jars_lacking(plans: Sequence[Plan], kept: Iterable[SetAside]) -> dict[str, int]:
    """Empty jars by size that the plans fill and that are not set aside."""
    lacking: dict[str, int] = {}
    for jar in (jar for plan in plans for jar in plan.jars):
        lacking[jar.size] = lacking.get(jar.size, 0) + jar.count
    for row in kept:
        if row.what == SetAsideKind.JAR and row.key in lacking:
            lacking[row.key] -= row.quantity
    return {size: count for size, count in lacking.items() if count > 0}


def _share_out(shelves: Iterable[Shelf], wanted: Mapping[str, int], key: str = "") -> Iterable[Take]:
    left = dict(wanted)
    for shelf in shelves:
        name = key or shelf.key
        if quantity := min(shelf.free, left.get(name, 0)):
            left[name] -= quantity
            yield Take(shelf, quantity)


def _of_supply(shelf: Shelf, needed: Mapping[str, Purchase]) -> Iterable[Take]:
    """Whole pieces of a supply that is called what the list calls it, and counted in what the list can compare."""
    purchase = needed.get(shelf.name.lower())
    if purchase is None or shelf.holds is None:
        return
    need = amount_in(purchase, shelf.holds.unit)
    if need and (quantity := min(shelf.free, ceil(need / (shelf.holds.value * UNITS[shelf.holds.unit].size)))):
        yield Take(shelf, quantity)


def _more(before: Amount | None, more: Amount) -> Amount:
    return Amount((before.value if before else Fraction(0)) + more.value, more.unit)
