"""Holds that belong together moved to other days: all of them, or none."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.equipment.dates import FreeSpan, next_free
from inventory.equipment.models import Hold, Loan, ThingDay
from inventory.equipment.queries import club_day
from inventory.equipment.rules import MOST_TURNAROUND_DAYS
from inventory.equipment.services.common import Taken, free_words, hold_check, now_or, span_check, span_words
from inventory.equipment.services.laying import hold_move
from inventory.equipment.services.testing import tested_check
from inventory.equipment.services.waiting import waiting_offer_freed
from inventory.equipment.spans import DAY, Span, runs
from inventory.equipment.words import HoldState


def holds_move(*, by: User, holds: Sequence[Hold], starts: date, ends: date, now: datetime | None = None) -> None:
    """Give all these holds the same other days, each with its days for cleaning; or change nothing.

    1. By whose they are, or for a class by whoever may hold for one. 2. Every thing that stands in the way is told at
    once: which is taken on what day, and when it is free next. 3. The database refuses a day that somebody takes in
    the meantime, and then none has moved. 4. Whoever waits is offered what came free.
    Raises PermissionDenied, Taken, ValidationError (starts, ends).
    """
    today, span = club_day(now_or(now)), Span(starts, ends)
    for hold in holds:
        hold_check(by, hold)
    span_check(span, today)
    wanted = sorted(holds, key=lambda hold: hold.thing_id)
    _clear_check(wanted, span, today)
    try:
        with transaction.atomic():
            for hold in wanted:
                _held_check(hold)
                hold_move(hold, span, turnaround=hold.thing.turnaround_days)
    except IntegrityError:
        for hold in holds:
            hold.refresh_from_db(fields=["starts", "ends", "kept_until"])
        _clear_check(wanted, span, today)
        raise Taken([_("Somebody was faster. Look again.")], ()) from None
    for kind in sorted({hold.thing.kind for hold in holds}):
        waiting_offer_freed(kind=kind, now=now)


def _held_check(hold: Hold) -> None:
    """It is still to be collected; the row is ours until the end of the transaction."""
    if Hold.objects.filter(pk=hold.pk, state=HoldState.HELD).update(state=HoldState.HELD) != 1:
        text = _("%(code)s was handed over or cancelled in the meantime. Look again.")
        raise ValidationError(text % {"code": hold.thing.code})


def _clear_check(holds: Sequence[Hold], span: Span, today: date) -> None:
    """Taken, with a sentence for each thing that cannot be had on these days; not for days of the holds themselves."""
    told: list[str] = []
    free: list[FreeSpan] = []
    in_the_way = _days_in_the_way(holds, span, today)
    for hold in holds:
        try:
            tested_check(hold.thing, span.ends)
        except ValidationError as error:
            told += error.messages
        if days := in_the_way.get(hold.thing_id):
            when = ", ".join(span_words(one) for one in runs(days))
            told.append(_("%(code)s is taken: %(when)s.") % {"code": hold.thing.code, "when": when})
            found = next_free([hold.thing], length=span.length, today=today, after=span.starts)
            told.append(free_words(found, span))
            free += found
    if told:
        raise Taken(told, free)


def _days_in_the_way(holds: Sequence[Hold], span: Span, today: date) -> dict[int, set[date]]:
    """The days of others on each thing, its cleaning counted in; a thing that should be back and is not has none free
    soon. Two queries, however many holds."""
    things = {hold.thing_id: hold.thing for hold in holds}
    rows = ThingDay.objects.filter(thing__in=things).exclude(hold__in=[hold.pk for hold in holds])
    found: dict[int, set[date]] = {}
    last = span.ends + MOST_TURNAROUND_DAYS * DAY
    for thing_id, day in rows.between(span.starts, last).values_list("thing_id", "day"):
        if day <= span.ends + things[thing_id].turnaround_days * DAY:
            found.setdefault(thing_id, set()).add(day)
    for thing_id in Loan.objects.overdue(today).filter(thing__in=things).values_list("thing_id", flat=True):
        if span.starts <= today + things[thing_id].turnaround_days * DAY:
            found.setdefault(thing_id, set()).update(span.days())
    return found
