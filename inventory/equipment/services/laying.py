"""Laying a hold down on a thing's days, moving it, and freeing them. Who may was asked by the caller.

A row per thing and day, unique: two holds that share a day cannot both be written, on any database and under any
race. Days are written in order, so that two transactions never wait for each other crosswise.
"""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError

from club.members.models import User
from inventory.equipment.inserting import row_insert_while, rows_insert
from inventory.equipment.models import Hold, Thing, ThingDay
from inventory.equipment.services.common import lent_check
from inventory.equipment.spans import Span, days_between
from inventory.equipment.words import HoldState, ThingState


def hold_lay(
    *,
    thing: Thing,
    person: User,
    span: Span,
    by: User,
    token: UUID,
    now: datetime,
    purpose: str = "",
    state: HoldState = HoldState.HELD,
) -> Hold:
    """The hold and its days, in the caller's transaction; it is laid down only while the thing is in service.

    IntegrityError when a day or the token is taken; ValidationError when the thing is in repair or retired.
    """
    kept = span.with_turnaround(thing.turnaround_days)
    hold = Hold(
        thing=thing,
        token=token,
        person=person,
        purpose=purpose,
        starts=span.starts,
        ends=span.ends,
        kept_until=kept.ends,
        state=state,
        placed_by=by,
        placed_at=now,
    )
    if not row_insert_while(hold, thing, state=ThingState.IN_SERVICE):
        thing.refresh_from_db(fields=["state"])
        lent_check(thing)
        raise IntegrityError("The thing came back into service this very moment: nothing was written.")
    rows_insert([ThingDay(thing_id=thing.pk, day=day, hold_id=hold.pk) for day in kept.days()])
    return hold


def hold_move(hold: Hold, span: Span, *, turnaround: int, squeeze: bool = False) -> None:
    """Give the hold other days. IntegrityError when one is taken; with `squeeze` such a day is left to who has it."""
    kept = span.with_turnaround(turnaround)
    hold.starts, hold.ends, hold.kept_until = span.starts, span.ends, kept.ends
    hold.save(update_fields=["starts", "ends", "kept_until"])
    days_keep(hold, kept.starts, kept.ends, squeeze=squeeze)


def days_keep(hold: Hold, first: date, last: date, *, squeeze: bool = False) -> None:
    """The hold takes exactly these days; none when `last` comes before `first`."""
    rows = ThingDay.objects.filter(hold=hold)
    rows.exclude(day__range=(first, last)).delete()
    have = set(rows.values_list("day", flat=True))
    new = [ThingDay(thing_id=hold.thing_id, day=day, hold=hold) for day in days_between(first, last) if day not in have]
    ThingDay.objects.bulk_create(new, ignore_conflicts=squeeze)


def hold_free(hold: Hold, *, states: tuple[HoldState, ...]) -> bool:
    """Cancel the hold and free its days; False when it was not in one of these states any more."""
    if Hold.objects.filter(pk=hold.pk, state__in=states).update(state=HoldState.CANCELLED) != 1:
        return False
    ThingDay.objects.filter(hold=hold).delete()
    hold.state = HoldState.CANCELLED
    return True
