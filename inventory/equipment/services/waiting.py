"""The waiting line of a kind: the first free thing is offered to the next person for a day, then to the one after."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.dates import free_of
from inventory.equipment.kinds import Kind
from inventory.equipment.models import Hold, Loan, Thing, WaitingEntry
from inventory.equipment.queries import KEEP, club_day
from inventory.equipment.rules import FURTHEST_AHEAD_DAYS, OFFER_STANDS
from inventory.equipment.services.common import choice_check, now_or, span_check
from inventory.equipment.services.laying import hold_free, hold_lay
from inventory.equipment.spans import DAY, Span
from inventory.equipment.standing import what_test_wants
from inventory.equipment.words import HoldState, WaitState


@dataclass(frozen=True)
class Moved:
    """What one round did: offers that lapsed, waits whose days went by, new offers."""

    lapsed: int
    past: int
    offered: int


def waiting_join(
    *,
    by: User,
    kind: str,
    days: int,
    not_before: date,
    not_after: date,
    token: UUID | None = None,
    now: datetime | None = None,
) -> WaitingEntry:
    """Wait for `days` days with a thing of the kind, somewhere between the two dates. Offered at once if one is free.

    One place in each line: joining again finds the place one has. PermissionDenied; ValidationError by field.
    """
    if not by.has_perm("equipment.add_hold"):
        raise PermissionDenied
    choice_check(kind, Kind.values, field="kind")
    moment = now_or(now)
    today = club_day(moment)
    if days < 1 or not_before.toordinal() + days - 1 > not_after.toordinal():
        raise ValidationError({"days": _("So many days do not fit between the two dates.")})
    span_check(Span.of(not_before, days), today, starts="not_before", ends="days")
    if not_after > today + FURTHEST_AHEAD_DAYS * DAY:
        raise ValidationError({"not_after": _("That is too far ahead to wait for.")})
    try:
        with transaction.atomic():
            entry = WaitingEntry.objects.create(
                kind=kind,
                person=by,
                days=days,
                not_before=not_before,
                not_after=not_after,
                joined_at=moment,
                token=token or uuid4(),
            )
    except IntegrityError:
        mine = WaitingEntry.objects.filter(person=by, kind=kind).order_by("-joined_at", "-pk").first()
        if mine is None:
            raise ValidationError(_("This form was used for something else already. Open the page again.")) from None
        return mine
    waiting_offer_freed(kind=kind, now=moment)
    entry.refresh_from_db()
    return entry


def waiting_leave(*, by: User, entry: WaitingEntry, now: datetime | None = None) -> None:
    """Leave the line, or decline an offer. Leaving twice is the same as once; AlreadyDone when it was taken."""
    _own(by, entry)
    with transaction.atomic():
        left = WaitingEntry.objects.in_line().filter(pk=entry.pk).update(state=WaitState.LEFT) == 1
        entry.refresh_from_db()
        if left and entry.hold is not None:
            hold_free(entry.hold, states=(HoldState.OFFERED,))
    if left:
        waiting_offer_freed(kind=entry.kind, now=now)
    elif entry.state == WaitState.TAKEN:
        raise AlreadyDone(_("You took this offer already. Cancel the hold if you cannot use it."))


@transaction.atomic
def waiting_accept(*, by: User, entry: WaitingEntry, now: datetime | None = None) -> Hold:
    """Take what is offered: it becomes a hold like any other. AlreadyDone when the offer has moved on."""
    _own(by, entry)
    moment = now_or(now)
    offered = WaitingEntry.objects.filter(pk=entry.pk, state=WaitState.OFFERED, offer_until__gt=moment)
    taken = offered.update(state=WaitState.TAKEN) == 1
    entry.refresh_from_db()
    if entry.hold is None or entry.state != WaitState.TAKEN:
        raise AlreadyDone(_("This offer has moved on to the next person. You can join the line again."))
    if taken:
        Hold.objects.filter(pk=entry.hold.pk, state=HoldState.OFFERED).update(state=HoldState.HELD)
    entry.hold.refresh_from_db()
    return entry.hold


def waiting_move_on(now: datetime) -> Moved:
    """Everything the clock does to the lines. Run as often as one likes, in as many processes as one likes.

    1. Offers older than a day lapse and free their days. 2. Waits whose days went by end. 3. In each line, in the
    order of joining, whoever something is free for is offered it. Each step is a conditional update with its
    consequences in one transaction, so that of two processes one does it and the other finds it done.
    """
    moment = now_or(now)
    lapsed = sum(_lapse(entry) for entry in _unanswered(moment))
    waiting = WaitingEntry.objects.waiting()
    past = waiting.filter(not_after__lt=club_day(moment)).update(state=WaitState.PAST)
    kinds = sorted(set(waiting.order_by().values_list("kind", flat=True)))
    return Moved(lapsed, past, sum(waiting_offer_freed(kind=kind, now=moment) for kind in kinds))


def waiting_offer_freed(*, kind: str, now: datetime | None = None) -> int:
    """Offer what is free to those who wait for this kind; how many offers were made."""
    moment = now_or(now)
    line = list(WaitingEntry.objects.waiting().filter(kind=kind).select_related("person"))
    if not line:
        return 0
    today = club_day(moment)
    late = Loan.objects.overdue(today).values("thing")  # nobody knows when these come back
    things = list(Thing.objects.in_service().filter(kind=kind).exclude(pk__in=late).with_standing(today))
    return sum(_offer(entry, things, moment) for entry in line if entry.person.is_active)


def _own(by: User, entry: WaitingEntry) -> None:
    if entry.person_id != by.pk and not by.has_perm(KEEP):
        raise PermissionDenied


def _unanswered(moment: datetime) -> Iterable[WaitingEntry]:
    return WaitingEntry.objects.filter(state=WaitState.OFFERED, offer_until__lte=moment).select_related("hold")


@transaction.atomic
def _lapse(entry: WaitingEntry) -> bool:
    same = WaitingEntry.objects.filter(pk=entry.pk, state=WaitState.OFFERED)
    if same.update(state=WaitState.LAPSED) != 1:
        return False
    if entry.hold is not None:
        hold_free(entry.hold, states=(HoldState.OFFERED,))
    return True


def _offer(entry: WaitingEntry, things: list[Thing], moment: datetime) -> bool:
    """Hold the first free thing for this person. False when nothing is free, or another process was first."""
    today = club_day(moment)
    window = Span(max(entry.not_before, today), entry.not_after)
    by_id = {thing.pk: thing for thing in things}
    for free in free_of(things, length=entry.days, window=window, today=today):
        if what_test_wants(by_id[free.thing_id], free.span.ends):
            continue  # a gauge that could not be handed over is no offer
        try:
            with transaction.atomic():
                return _offer_this(entry, by_id[free.thing_id], free.span, moment)
        except (IntegrityError, ValidationError, _GoneAheadError):
            if not WaitingEntry.objects.waiting().filter(pk=entry.pk).exists():
                return False
    return False


class _GoneAheadError(Exception):
    """Another process offered to this person first: our hold must not stay."""


def _offer_this(entry: WaitingEntry, thing: Thing, span: Span, moment: datetime) -> bool:
    hold = hold_lay(
        thing=thing,
        person=entry.person,
        span=span,
        by=entry.person,
        token=uuid4(),
        now=moment,
        state=HoldState.OFFERED,
    )
    mine = WaitingEntry.objects.waiting().filter(pk=entry.pk)
    if mine.update(state=WaitState.OFFERED, hold=hold, offered_at=moment, offer_until=moment + OFFER_STANDS) != 1:
        raise _GoneAheadError
    return True
