"""Which jars, lids and supplies a session may set aside: what is there, less what other sessions have set aside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from django.db.models import Q, Sum

from club.classes.models import ClassSession, SetAside, SetAsideKind
from inventory.jars.models import Balance, LidStock, Place, SupplyLot
from inventory.jars.rules import WEAKEST_VINEGAR_TENTHS
from inventory.jars.words import JarState, PlaceKind
from recipes.engine.quantities import Amount, AmountError, parse_amount
from recipes.engine.units import SPELLINGS, UNITS

Key = tuple[str, str, int | None]  # what, of what, at which place


@dataclass(frozen=True)
class Shelf:
    """One heap that can be counted on. `holds` is what one of it holds ("pouch", "1 l"); None for jars and lids."""

    what: str
    key: str
    free: int
    place: Place | None = None
    name: str = ""
    holds: Amount | None = None


def shelves(session: ClassSession, now: datetime) -> list[Shelf]:
    """What is free for this session: empties in its hall and then in the store, lids oldest first, supplies by name.

    Five queries. Supplies count when they are good on the session's day, and vinegar when it is strong enough.
    """
    taken = _set_aside_by_others(session, now)
    return [
        Shelf(each.what, each.key, max(0, each.free - taken[_key(each)]), each.place, each.name, each.holds)
        for each in (*_jars(session), *_lids(), *_supplies(session))
    ]


def _key(shelf: Shelf) -> Key:
    return shelf.what, shelf.key, shelf.place.pk if shelf.place else None


def _set_aside_by_others(session: ClassSession, now: datetime) -> Counter[Key]:
    others = SetAside.objects.standing(now).exclude(session=session).order_by()
    rows = others.values_list("what", "key", "place").annotate(n=Sum("quantity"))
    return Counter({(what, key, place): n for what, key, place, n in rows})


def _jars(session: ClassSession) -> Iterator[Shelf]:
    here = Q(place__kind=PlaceKind.STORE) | Q(place__kitchen=session.hall_id)
    rows = Balance.objects.there().filter(here, state=JarState.EMPTY).select_related("place__kitchen")
    for row in sorted(rows, key=lambda row: (row.place.kind == PlaceKind.STORE, row.size)):
        yield Shelf(SetAsideKind.JAR, row.size, row.count, row.place, str(row.place))


def _lids() -> Iterator[Shelf]:
    stocks = LidStock.objects.filter(on_hand__gt=0).select_related("lot").order_by("lot__created_at", "lot__pk")
    for stock in stocks:
        yield Shelf(SetAsideKind.LID, str(stock.lot_id), stock.on_hand, name=str(stock.lot))


def _supplies(session: ClassSession) -> Iterator[Shelf]:
    fresh = Q(use_by=None) | Q(use_by__gte=session.day)
    fit = Q(supply__is_vinegar=False) | Q(strength_tenths__gte=WEAKEST_VINEGAR_TENTHS)
    rows = (
        SupplyLot.objects.there()
        .filter(fresh, fit)
        .order_by("supply__name", "supply")
        .values_list("supply", "supply__name", "supply__unit")
        .annotate(n=Sum("count"))
    )
    for pk, name, unit, count in rows:
        yield Shelf(SetAsideKind.SUPPLY, str(pk), count, name=name, holds=piece_of(unit))


def piece_of(unit: str) -> Amount | None:
    """What one of a supply holds, from the words that it is counted in: "bottles of 1 l" is a litre, "pouches" is a
    pouch. None where that is not said: then nobody counts on it."""
    words = unit.strip().lower()
    if " of " in words:
        try:
            return parse_amount(words.split(" of ", 1)[1])
        except AmountError:
            return None
    known = SPELLINGS.get(words)
    return Amount(Fraction(1), known) if known and UNITS[known].kind == "count" else None
