"""Gear for a session: held in the equipment room and set aside on the shelves in one press; moved, and let go."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.classes.gear_list import GearNeed, gear_needs, matched
from club.classes.keeping import take_from
from club.classes.models import ClassSession, SessionGear, SetAside, SetAsideTurn
from club.classes.planning import plan_of
from club.classes.services.running import run_check, session_lock
from club.classes.stock import shelves
from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.dates import free_on
from inventory.equipment.kinds import Kind
from inventory.equipment.models import Thing
from inventory.equipment.queries import club_day
from inventory.equipment.services import Taken, hold_cancel, hold_place, holds_move
from inventory.equipment.services.common import now_or
from inventory.equipment.services.holding import PURPOSE_LENGTH
from inventory.equipment.spans import Span
from inventory.equipment.standing import what_test_wants
from inventory.equipment.words import HoldState

THE_TURN = 1
KEPT = (HoldState.HELD, HoldState.OUT)


@dataclass(frozen=True)
class Gathered:
    """What one press did: how many things it held now, how many it set aside, and the things that nobody could give."""

    held: int
    set_aside: int
    missing: tuple[GearNeed, ...]


@transaction.atomic
def gear_gather(*, by: User, session: ClassSession, now: datetime | None = None) -> Gathered:
    """Hold what the plan needs and is not held yet, and set aside jars, lids and supplies. Pressed again, it only adds
    what is lacking.

    1. The session's row is locked and then the turn that all sessions share: two presses come one after the other, and
    never wait for each other crosswise. 2. Of each kind the first free ones that take the loads are held on the day;
    a gauge whose test is not good on that day is passed over. 3. What is set aside is chosen anew.
    PermissionDenied; ValidationError for a session that is over.
    """
    run_check(by, session)
    moment = now_or(now)
    locked = session_lock(session)
    turn_take()
    before = needs_left(locked, gear_needs(plan_of(locked).hall))
    for kind in dict.fromkeys(need.kind for need in before):
        _hold_kind(by, locked, kind, [need for need in before if need.kind == kind], moment)
    missing = tuple(needs_left(locked, tuple(before)))
    return Gathered(len(before) - len(missing), set_aside(locked, moment), missing)


@transaction.atomic
def gear_release(*, by: User, session: ClassSession, now: datetime | None = None) -> int:
    """Let go of everything that is kept and not handed over; how many holds. Twice is the same as once.

    A thing that the counter hands over at this very moment is one that was handed over: it stays with its borrower.
    """
    run_check(by, session)
    freed = 0
    for gear in _standing(session):
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
    turn_take()
    holds = [gear.hold for gear in _standing(session)]
    if holds:
        holds_move(by=by, holds=holds, starts=session.day, ends=session.day, now=now)
    if session.set_aside.exists():
        set_aside(session, now_or(now))  # what keeps until the old day may not keep until the new one


def needs_left(session: ClassSession, needs: tuple[GearNeed, ...]) -> list[GearNeed]:
    """What is needed and not held: each held thing serves one need of its kind. One query.

    A thing that was handed over stays where it is when the session moves: it counts where its days cover the new one.
    """
    kept = session.gear.filter(hold__state__in=KEPT, hold__starts__lte=session.day, hold__ends__gte=session.day)
    held = [gear.hold.thing for gear in kept.select_related("hold__thing")]
    left = []
    for kind in dict.fromkeys(need.kind for need in needs):
        wanted = [need for need in needs if need.kind == kind]
        met = matched(wanted, [thing.capacity for thing in held if thing.kind == kind])
        left += [need for place, need in enumerate(wanted) if place not in met]
    return left


def set_aside(session: ClassSession, moment: datetime) -> int:
    """Choose anew what this session sets aside; the sum over all sessions never exceeds what is there. How many pieces.

    In the caller's transaction, which others wait for (see turn_take).
    """
    turn_take()
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


def turn_take() -> None:
    """Count the turn up: its row is locked until the transaction ends, so that of two sessions that gather at once the
    second reads the shelves only when the first has written. On SQLite the transaction has the whole database anyway.
    """
    SetAsideTurn.objects.get_or_create(pk=THE_TURN)
    SetAsideTurn.objects.filter(pk=THE_TURN).update(number=F("number") + 1)


def _standing(session: ClassSession) -> list[SessionGear]:
    """The holds that are still to be collected."""
    return list(session.gear.filter(hold__state=HoldState.HELD).select_related("hold__thing"))


def _hold_kind(by: User, session: ClassSession, kind: Kind, needs: list[GearNeed], moment: datetime) -> None:
    """Hold things of one kind for as many of these needs as can be met."""
    span, lost = Span(session.day, session.day), set[int]()
    while needs:
        free = [
            thing
            for thing in free_on(kind, span, club_day(moment))
            if thing.pk not in lost and not what_test_wants(thing, session.day)
        ]
        chosen = matched(needs, [thing.capacity for thing in free])
        got = {place for place, thing in chosen.items() if _hold(by, session, free[thing], moment)}
        if len(got) == len(chosen):
            return
        lost |= {free[thing].pk for place, thing in chosen.items() if place not in got}
        needs = [need for place, need in enumerate(needs) if place not in got]


def _hold(by: User, session: ClassSession, thing: Thing, moment: datetime) -> bool:
    """False when somebody was faster."""
    try:
        hold = hold_place(
            by=by,
            thing=thing,
            starts=session.day,
            ends=session.day,
            purpose=purpose_of(session),
            token=uuid4(),
            now=moment,
        )
    except Taken:
        return False
    SessionGear.objects.create(session=session, hold=hold, kind=thing.kind)
    return True


def purpose_of(session: ClassSession) -> str:
    return (_("class: %(title)s") % {"title": session.title})[:PURPOSE_LENGTH]
