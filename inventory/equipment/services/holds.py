"""Holds and the waiting line: placed, moved, offered on and cancelled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, models, transaction
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone, form_reused
from club.core.text import plain
from club.members.models import User
from inventory.equipment.choices import HoldState, Kind, ThingState, WaitState
from inventory.equipment.models import (
    KEEP,
    FreeSpan,
    Hold,
    Loan,
    Thing,
    ThingDay,
    WaitingEntry,
    free_of,
    free_on,
    next_free,
    what_test_wants,
)
from inventory.equipment.presentation import free_words, span_words
from inventory.equipment.rules import (
    DAY,
    FURTHEST_AHEAD_DAYS,
    MOST_TURNAROUND_DAYS,
    OFFER_STANDS,
    Span,
    days_between,
    runs,
)
from inventory.equipment.services.common import (
    Taken,
    choice_check,
    hold_check,
    kind_taken,
    lent_check,
    span_check,
    thing_taken,
)
from inventory.equipment.services.testing import tested_check

# Rows written with one plain INSERT, for the one write that everybody races for.
#
# Django's own save and bulk_create take some three times as long for a hold and its days (measured with
# tests/benchmarks/bench_holds.py), and they cannot make an INSERT hang on another row. The columns come from the
# models,
# so a new field needs nothing here.


def rows_insert(rows: Sequence[models.Model]) -> None:
    """Insert rows of one model, in their order, and give each its key. IntegrityError as from any INSERT."""
    table, columns, marks = _statement(type(rows[0]))
    sql = f"INSERT INTO {table} ({columns}) VALUES {', '.join([f'({marks})'] * len(rows))} RETURNING id"
    with connection.cursor() as cursor:
        cursor.execute(sql, [value for row in rows for value in _values(row)])
        for row, (key,) in zip(rows, cursor.fetchall(), strict=True):
            _is_kept(row, key)


def row_insert_while(row: models.Model, other: models.Model, **state: str) -> bool:
    """Insert the row only while `other` is in that state, in one statement; False when it is not.

    The names of the state are columns of the other's table and never come from outside.
    """
    table, columns, marks = _statement(type(row))
    place = connection.ops.quote_name(other._meta.db_table)
    asked = " AND ".join(f"{connection.ops.quote_name(name)} = %s" for name in state)
    sql = f"INSERT INTO {table} ({columns}) SELECT {marks} FROM {place} WHERE id = %s AND {asked} RETURNING id"
    with connection.cursor() as cursor:
        cursor.execute(sql, [*_values(row), other.pk, *state.values()])
        found = cursor.fetchone()
    if found is not None:
        _is_kept(row, found[0])
    return found is not None


def _is_kept(row: models.Model, key: int) -> None:
    row.pk = key
    row._state.adding, row._state.db = False, connection.alias


def _values(row: models.Model) -> list[Any]:
    return [
        field.get_db_prep_save(getattr(row, field.attname), connection)
        for field in row._meta.concrete_fields
        if not field.primary_key
    ]


@cache
def _statement(model: type[models.Model]) -> tuple[str, str, str]:
    """Table, columns and marks of a model whose key the database gives."""
    quote = connection.ops.quote_name
    fields = [field for field in model._meta.concrete_fields if not field.primary_key]
    return (
        quote(model._meta.db_table),
        ", ".join(quote(str(one.column)) for one in fields),
        ", ".join(["%s"] * len(fields)),
    )


# Laying a hold down on a thing's days, moving it, and freeing them. Who may was asked by the caller.
#
# A row per thing and day, unique: two holds that share a day cannot both be written, on any database and under any
# race. Days are written in order, so that two transactions never wait for each other crosswise.


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


# The waiting line of a kind: the first free thing is offered to the next person for a day, then to the one after.


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
            raise form_reused() from None
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
    unanswered = WaitingEntry.objects.filter(state=WaitState.OFFERED, offer_until__lte=moment).select_related("hold")
    lapsed = sum(_lapse(entry) for entry in unanswered)
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
    things = list(Thing.objects.in_service().filter(kind=kind).exclude(pk__in=late).with_status(today))
    return sum(_offer(entry, things, moment) for entry in line if entry.person.is_active)


def _own(by: User, entry: WaitingEntry) -> None:
    if entry.person_id != by.pk and not by.has_perm(KEEP):
        raise PermissionDenied


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


# Holds: placed on a thing or on the first free one of a kind, and cancelled.

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
    purpose = _may_hold(by, for_whom, purpose)
    today, span = club_day(moment), Span(starts, ends)
    span_check(span, today)
    token = token or uuid4()
    try:
        with transaction.atomic():
            _soon_check(thing, span, today)
            return hold_lay(thing=thing, person=for_whom, span=span, by=by, token=token, now=moment, purpose=purpose)
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
    purpose = plain(purpose, field="purpose", longest=PURPOSE_LENGTH)
    if not by.has_perm("equipment.add_hold"):
        raise PermissionDenied
    if person.pk != by.pk and not by.has_perm(KEEP):
        raise PermissionDenied
    if purpose and not by.has_perm("equipment.hold_for_class"):
        raise PermissionDenied
    if not person.is_active:
        raise ValidationError({"person": _("This person is not a member any more.")})
    return purpose


def _soon_check(thing: Thing, span: Span, today: date) -> None:
    """A thing that should be back and is not cannot be had on the next days, though nobody holds them; nor one that
    lacks a part. For later days it may be held: the hand-over asks again."""
    if span.starts > today + thing.turnaround_days * DAY:
        return
    if Loan.objects.overdue(today).filter(thing=thing).exists():
        raise thing_taken(thing, span, today)
    lent_check(thing)


# Holds that belong together moved to other days: all of them, or none.


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
    sentences: list[str] = []
    free: list[FreeSpan] = []
    in_the_way = _days_in_the_way(holds, span, today)
    for hold in holds:
        try:
            tested_check(hold.thing, span.ends)
        except ValidationError as error:
            sentences += error.messages
        if days := in_the_way.get(hold.thing_id):
            when = ", ".join(span_words(one) for one in runs(days))
            sentences.append(_("%(code)s is taken: %(when)s.") % {"code": hold.thing.code, "when": when})
            found = next_free([hold.thing], length=span.length, today=today, after=span.starts)
            sentences.append(free_words(found, span))
            free += found
    if sentences:
        raise Taken(sentences, free)


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
