"""What a session needs of equipment, jars and supplies: held, set aside, moved and let go."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from math import ceil
from uuid import uuid4

from django.db import transaction
from django.db.models import F, Q, Sum
from django.utils.translation import gettext as _

from club.classes.models import ClassSession, SessionGear, SetAside, SetAsideKind, SetAsideLock
from club.classes.planning import KEPT, GearRequirement, gear_required, matched, plan_of
from club.classes.services.common import run_check, session_lock
from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.choices import HoldState, Kind
from inventory.equipment.models import Hold, Thing, free_on, what_test_wants
from inventory.equipment.rules import Span
from inventory.equipment.services import Taken, hold_cancel, hold_place, holds_move
from inventory.jars.choices import JarState, PlaceKind, SupplyKind
from inventory.jars.models import Balance, LidStock, Place, SupplyLot
from inventory.jars.rules import WEAKEST_VINEGAR_TENTHS
from recipes.engine import Plan
from recipes.engine.quantities import SPELLINGS, UNITS, Amount, AmountError, parse_amount
from recipes.shopping import LIDS, Purchase, amount_in, needed_of

# Which jars, lids and supplies a session may set aside: what is there, less what other sessions have set aside.

Key = tuple[str, str, int | None]  # what, of what, at which place


@dataclass(frozen=True)
class Shelf:
    """One stock that can be counted on. `holds` is what one of it holds ("pouch", "1 l"); None for jars and lids."""

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
        replace(each, free=max(0, each.free - taken[each.what, each.key, each.place.pk if each.place else None]))
        for each in (*_jars(session), *_lids(), *_supplies(session))
    ]


def _set_aside_by_others(session: ClassSession, now: datetime) -> Counter[Key]:
    others = SetAside.objects.active(now).exclude(session=session).order_by()
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
    fit = ~Q(supply__kind=SupplyKind.VINEGAR) | Q(strength_tenths__gte=WEAKEST_VINEGAR_TENTHS)
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


# What a session takes from the shelves.


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
    amount = amount_in(purchase, shelf.holds.unit)
    if amount and (quantity := min(shelf.free, ceil(amount / (shelf.holds.value * UNITS[shelf.holds.unit].size)))):
        yield Take(shelf, quantity)


# Gear for a session: held in the equipment room and set aside on the shelves in one press; moved, and let go.

LOCK_PK = 1


@dataclass(frozen=True)
class Gathered:
    """What one press did: how many things it held now, how many it set aside, and the things that nobody could give."""

    held: int
    set_aside: int
    missing: tuple[GearRequirement, ...]


@transaction.atomic
def gear_gather(*, by: User, session: ClassSession, now: datetime | None = None) -> Gathered:
    """Hold what the plan needs and is not held yet, and set aside jars, lids and supplies. Pressed again, it only adds
    what is lacking.

    1. The session's row is locked and then the lock that all sessions share is taken: two presses come one after the
    other, and never wait for each other crosswise. 2. Of each kind the first free ones that take the loads are held on
    the day; a gauge whose test is not good on that day is passed over. 3. What is set aside is chosen anew.
    PermissionDenied; ValidationError for a session that is over.
    """
    run_check(by, session)
    moment = now_or(now)
    locked = session_lock(session)
    set_aside_lock()
    before = gear_missing(locked, gear_required(plan_of(locked).hall))
    for kind in dict.fromkeys(piece.kind for piece in before):
        _hold_kind(by, locked, kind, [piece for piece in before if piece.kind == kind], moment)
    missing = tuple(gear_missing(locked, tuple(before)))
    return Gathered(len(before) - len(missing), set_aside(locked, moment), missing)


@transaction.atomic
def gear_release(*, by: User, session: ClassSession, now: datetime | None = None) -> int:
    """Let go of everything that is kept and not handed over; how many holds. Twice is the same as once.

    A thing that the counter hands over at this very moment is one that was handed over: it stays with its borrower.
    """
    run_check(by, session)
    freed = 0
    for gear in _held(session):
        try:
            hold_cancel(by=by, hold=gear.hold, now=now)
        except AlreadyDone:
            continue
        gear.delete()
        freed += 1
    SetAside.objects.filter(session=session).delete()
    return freed


def codes_out(session: ClassSession) -> list[str]:
    """What was handed over for it and is not back: letting go leaves that alone."""
    out = session.gear.filter(hold__state=HoldState.OUT)
    return list(out.order_by("hold__thing__code").values_list("hold__thing__code", flat=True))


def gear_move(*, by: User, session: ClassSession, now: datetime | None = None) -> None:
    """Bring the holds to the session's day, in the caller's transaction: all of them, or Taken and none."""
    set_aside_lock()
    holds = [gear.hold for gear in _held(session)]
    if holds:
        holds_move(by=by, holds=holds, starts=session.day, ends=session.day, now=now)
    if session.set_aside.exists():
        set_aside(session, now_or(now))  # what keeps until the old day may not keep until the new one


def gear_missing(session: ClassSession, required: tuple[GearRequirement, ...]) -> list[GearRequirement]:
    """What is needed and not held: each held thing serves one piece of its kind. One query.

    A thing that was handed over stays where it is when the session moves: it counts where its days cover the new one.
    """
    kept = session.gear.filter(hold__state__in=KEPT, hold__starts__lte=session.day, hold__ends__gte=session.day)
    held = [gear.hold.thing for gear in kept.select_related("hold__thing")]
    left = []
    for kind in dict.fromkeys(piece.kind for piece in required):
        wanted = [piece for piece in required if piece.kind == kind]
        met = matched(wanted, [thing.at_once for thing in held if thing.kind == kind])
        left += [piece for place, piece in enumerate(wanted) if place not in met]
    return left


def set_aside(session: ClassSession, moment: datetime) -> int:
    """Choose anew what this session sets aside; the sum over all sessions never exceeds what is there. How many pieces.

    In the caller's transaction, which others wait for (see set_aside_lock).
    """
    set_aside_lock()
    takes = take_from(shelves(session, moment), plan_of(session).cookable)
    SetAside.objects.filter(session=session).delete()
    SetAside.objects.bulk_create(
        SetAside(
            session=session,
            what=take.shelf.what,
            key=take.shelf.key,
            quantity=take.quantity,
            place=take.shelf.place,
            at=moment,
        )
        for take in takes
    )
    return sum(take.quantity for take in takes)


def set_aside_lock() -> None:
    """Count the lock up: its row is locked until the transaction ends, so that of two sessions that gather at once the
    second reads the shelves only when the first has written. On SQLite the transaction has the whole database anyway.
    """
    SetAsideLock.objects.get_or_create(pk=LOCK_PK)
    SetAsideLock.objects.filter(pk=LOCK_PK).update(number=F("number") + 1)


def _held(session: ClassSession) -> list[SessionGear]:
    """The holds that are still to be collected."""
    return list(session.gear.filter(hold__state=HoldState.HELD).select_related("hold__thing"))


def _hold_kind(by: User, session: ClassSession, kind: Kind, required: list[GearRequirement], moment: datetime) -> None:
    """Hold things of one kind for as many of these pieces as can be had."""
    span, lost = Span(session.day, session.day), set[int]()
    while required:
        free = [
            thing
            for thing in free_on(kind, span, club_day(moment))
            if thing.pk not in lost and not what_test_wants(thing, session.day)
        ]
        chosen = matched(required, [thing.at_once for thing in free])
        got = {place for place, thing in chosen.items() if _hold(by, session, free[thing], moment)}
        if len(got) == len(chosen):
            return
        lost |= {free[thing].pk for place, thing in chosen.items() if place not in got}
        required = [piece for place, piece in enumerate(required) if place not in got]


def _hold(by: User, session: ClassSession, thing: Thing, moment: datetime) -> bool:
    """False when somebody was faster."""
    purpose = _("class: %(title)s") % {"title": session.title}
    try:
        hold = hold_place(
            by=by,
            thing=thing,
            starts=session.day,
            ends=session.day,
            purpose=purpose[: Hold._meta.get_field("purpose").max_length],
            token=uuid4(),
            now=moment,
        )
    except Taken:
        return False
    SessionGear.objects.create(session=session, hold=hold, kind=thing.kind)
    return True
