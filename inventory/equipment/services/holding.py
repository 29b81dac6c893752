"""Holds: placed on a thing or on the first free one of a kind, and cancelled."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.dates import free_on
from inventory.equipment.kinds import Kind
from inventory.equipment.models import Hold, Loan, Thing, WaitingEntry
from inventory.equipment.queries import KEEP, club_day
from inventory.equipment.services.common import (
    Taken,
    choice_check,
    hold_check,
    kind_taken,
    lent_check,
    now_or,
    span_check,
    thing_taken,
)
from inventory.equipment.services.laying import hold_free, hold_lay
from inventory.equipment.services.waiting import waiting_offer_freed
from inventory.equipment.spans import DAY, Span
from inventory.equipment.text import plain
from inventory.equipment.words import HoldState, WaitState

PURPOSE_LENGTH = 120


def hold_place(
    *,
    by: User,
    thing: Thing,
    starts: date,
    ends: date,
    person: User | None = None,
    purpose: str = "",
    token: UUID | None = None,
    now: datetime | None = None,
) -> Hold:
    """Keep a thing for `person` (else for `by`), both days included, and for its cleaning afterwards.

    1. Who may: oneself; a class or another purpose of the club's: instructors; anybody: keepers.
    2. The days must make sense, and the thing must be lent. 3. The hold and its days are written in one transaction:
    the database refuses a day that somebody has. 4. The same token again finds the hold made the first time; else
    the loser gets `Taken`, with what else is free and the next free dates.
    Raises PermissionDenied, Taken, ValidationError (starts, ends, purpose).
    """
    moment, for_whom = now_or(now), person or by
    told = _may_hold(by, for_whom, purpose)
    today, span = club_day(moment), Span(starts, ends)
    span_check(span, today)
    token = token or uuid4()
    try:
        with transaction.atomic():
            _soon_check(thing, span, today)
            return hold_lay(thing=thing, person=for_whom, span=span, by=by, token=token, now=moment, purpose=told)
    except IntegrityError:
        made = Hold.objects.filter(token=token, placed_by=by).first()
        if made is None:
            raise thing_taken(thing, span, today) from None
        return made


def hold_place_first_free(
    *,
    by: User,
    kind: str,
    starts: date,
    ends: date,
    person: User | None = None,
    purpose: str = "",
    token: UUID | None = None,
    now: datetime | None = None,
) -> Hold:
    """As hold_place, on whichever thing of the kind is free on all the days; the first by code."""
    choice_check(kind, Kind.values, field="kind")
    moment, token = now_or(now), token or uuid4()
    _may_hold(by, person or by, purpose)
    today, span = club_day(moment), Span(starts, ends)
    span_check(span, today)
    if made := Hold.objects.filter(token=token, placed_by=by).first():
        return made
    for thing in free_on(kind, span, today):
        try:
            return hold_place(
                by=by, thing=thing, starts=starts, ends=ends, person=person, purpose=purpose, token=token, now=moment
            )
        except Taken:  # somebody was faster on this one: the next may still be free
            continue
    raise kind_taken(kind, span, today)


def hold_cancel(*, by: User, hold: Hold, now: datetime | None = None) -> None:
    """Free the days for somebody else. Cancelling twice is the same as once; AlreadyDone once it was handed over."""
    hold_check(by, hold)
    with transaction.atomic():
        was_free = hold_free(hold, states=(HoldState.HELD, HoldState.OFFERED))
        if was_free:
            WaitingEntry.objects.filter(hold=hold, state=WaitState.OFFERED).update(state=WaitState.LEFT)
    if was_free:
        waiting_offer_freed(kind=hold.thing.kind, now=now)
        return
    hold.refresh_from_db(fields=["state"])
    if hold.state != HoldState.CANCELLED:
        raise AlreadyDone(_("%(code)s was handed over already.") % {"code": hold.thing.code})


def _may_hold(by: User, person: User, purpose: str) -> str:
    """The purpose in plain words. PermissionDenied, or ValidationError on `person` or `purpose`."""
    told = plain(purpose, field="purpose", longest=PURPOSE_LENGTH)
    if not by.has_perm("equipment.add_hold"):
        raise PermissionDenied
    if person.pk != by.pk and not by.has_perm(KEEP):
        raise PermissionDenied
    if told and not by.has_perm("equipment.hold_for_class"):
        raise PermissionDenied
    if not person.is_active:
        raise ValidationError({"person": _("This person is not a member any more.")})
    return told


def _soon_check(thing: Thing, span: Span, today: date) -> None:
    """A thing that should be back and is not cannot be had on the next days, though nobody holds them; nor one that
    lacks a part. For later days it may be held: the hand-over asks again."""
    if span.starts > today + thing.turnaround_days * DAY:
        return
    if Loan.objects.overdue(today).filter(thing=thing).exists():
        raise thing_taken(thing, span, today)
    lent_check(thing)
