"""What stands in a person's calendar: their classes, what they have of the club's, the seals they look at.

A calendar program keeps what it has once read, so a change has to reach it: an entry keeps its UID for ever, and its
SEQUENCE rises with each change (RFC 5545, 3.8.7.4). What is called off stays for a month, told as cancelled.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event, vText

from club.classes.choices import SEAT_STATES, SessionState, SignUpState
from club.classes.models import ClassSession, SignUp
from club.members.models import User
from club.reminders.models import calendar_mark
from inventory.batches.choices import BY_THE_CLOCK, BatchState
from inventory.batches.models import Batch, Stage
from inventory.batches.rules import COOL_MIN, SECOND_CALL
from inventory.equipment.models import Loan

# Our own choices, no source: a calendar is for what comes, and for what was called off lately.
LOOK_BACK = timedelta(days=60)
CALLED_OFF_FOR = timedelta(days=30)


@dataclass(frozen=True)
class Entry:
    """One event. `starts` and `ends` are both moments in UTC, or both days (the last one excluded)."""

    uid: str
    sequence: int
    changed_at: datetime
    summary: str
    starts: datetime | date
    ends: datetime | date
    description: str = ""
    location: str = ""
    url: str = ""
    is_cancelled: bool = False
    is_tentative: bool = False
    alarm_before: timedelta | None = None  # how long before its beginning it is called out


def entries_for(person: User, now: datetime) -> list[Entry]:
    """In the order of their beginning; four queries, however many."""
    found = [*_taken(person, now), *_taught(person, now), *_loans(person, now)]
    found += [*_seals(person, now), *_stages(person, now)]
    by_uid = {entry.uid: entry for entry in found}  # who teaches a class and sits in it sees it once, as taught
    return sorted(by_uid.values(), key=lambda entry: (str(entry.starts), entry.uid))


def session_entry(
    session: ClassSession,
    *,
    sequence: int = 0,
    changed_at: datetime | None = None,
    is_cancelled: bool = False,
    is_tentative: bool = False,
) -> Entry:
    """`sequence` and `changed_at` are of the person's own sign-up, added to the session's."""
    return Entry(
        uid=f"class-{session.pk}",
        sequence=session.sequence + sequence,
        changed_at=max(session.changed_at, changed_at or session.changed_at),
        summary=session.title,
        starts=session.starts_at.astimezone(UTC),
        ends=session.ends_at.astimezone(UTC),
        description=session.what_to_bring and _("Bring: %(things)s") % {"things": session.what_to_bring},
        location=session.hall.name,
        url=settings.SITE_URL + session.get_absolute_url(),
        is_cancelled=is_cancelled or session.state == SessionState.CANCELLED,
        is_tentative=is_tentative,
        alarm_before=timedelta(hours=2),
    )


def _taken(person: User, now: datetime) -> Iterator[Entry]:
    """Classes they have a seat in, is offered one, or had one. A place in the waiting line is no appointment."""
    rows = SignUp.objects.of(person).filter(session__ends_at__gt=now - LOOK_BACK)
    rows = rows.select_related("session__hall").order_by("session_id", "joined_at", "pk")
    for _session_id, group in groupby(rows, key=lambda row: row.session_id):
        entry = _taken_one(list(group), now)
        if entry is not None:
            yield entry


def _taken_one(rows: list[SignUp], now: datetime) -> Entry | None:
    """All their sign-ups for one session, the last one stands. Each of their moments is a change, never taken back."""
    last = rows[-1]
    called_off = last.closed_at or last.session.cancelled_at
    had_a_seat = any(row.seated_at or row.offered_at for row in rows)
    if not had_a_seat or (called_off is not None and called_off < now - CALLED_OFF_FOR):
        return None
    changes = (moment for row in rows for moment in (row.joined_at, row.offered_at, row.seated_at, row.closed_at))
    moments = [moment for moment in changes if moment is not None]
    return session_entry(
        last.session,
        sequence=len(moments),
        changed_at=max(moments),
        is_cancelled=last.state not in SEAT_STATES,
        is_tentative=last.state == SignUpState.OFFERED,
    )


def _taught(person: User, now: datetime) -> Iterator[Entry]:
    sessions = person.class_sessions_taught.filter(ends_at__gt=now - LOOK_BACK, published_at__isnull=False)
    for session in sessions.select_related("hall"):
        if session.cancelled_at is None or session.cancelled_at >= now - CALLED_OFF_FOR:
            yield session_entry(session)


def _loans(person: User, now: datetime) -> Iterator[Entry]:
    """A day, not an hour. A loan is only ever made longer, so the days from hand-over count the changes."""
    rows = Loan.objects.filter(person=person).exclude(returned_at__lt=now - CALLED_OFF_FOR).select_related("thing")
    for loan in rows:
        names = {"name": loan.thing.name, "code": loan.thing.code}
        days = max((loan.due_on - loan.handed_over_at.date()).days, 0)
        yield Entry(
            uid=f"loan-{loan.pk}",
            sequence=days + (1 if loan.returned_at else 0),
            changed_at=loan.returned_at or loan.handed_over_at,
            summary=_("Bring back: %(name)s (%(code)s)") % names,
            starts=loan.due_on,
            ends=loan.due_on + timedelta(days=1),
            url=settings.SITE_URL + reverse("equipment:mine"),
            is_cancelled=loan.returned_at is not None,
            alarm_before=timedelta(hours=6),  # of a day: the evening before
        )


def _seals(person: User, now: datetime) -> Iterator[Entry]:
    """From the first hour at which seals may be looked at to the second call."""
    rows = Batch.objects.filter(made_by=person, jars_out_at__gt=now - CALLED_OFF_FOR, required_minutes__isnull=False)
    for batch in rows.select_related("revision__recipe", "kitchen").defer("plan", "revision__content"):
        out_at = batch.last_out_at
        if out_at is None:
            continue
        out_at = out_at.astimezone(UTC)
        is_done = batch.state != BatchState.OUT
        yield Entry(
            uid=f"seals-{batch.pk}",
            sequence=2 * (batch.reprocessed_out_at is not None) + is_done,
            changed_at=max(out_at, batch.checked_at or out_at),
            summary=_("Look at the seals: %(title)s, %(lot)s") % {"title": batch.title, "lot": batch.lot_code},
            starts=out_at + COOL_MIN,
            ends=out_at + SECOND_CALL,
            location=batch.kitchen.name,
            url=settings.SITE_URL + batch.get_absolute_url(),
            is_cancelled=is_done,
            alarm_before=timedelta(0),
        )


def _stages(person: User, now: datetime) -> Iterator[Entry]:
    """From the shortest printed time of a stage to its longest; what ends by a test has no entry."""
    rows = Stage.objects.filter(batch__made_by=person, kind__in=BY_THE_CLOCK, began_at__isnull=False)
    rows = rows.exclude(ended_at__lt=now - CALLED_OFF_FOR).exclude(batch__state=BatchState.ABANDONED)
    rows = rows.select_related("batch__kitchen", "batch__revision__recipe")
    for stage in rows.defer("batch__plan", "batch__revision__content"):
        if stage.ends_from is None or stage.began_at is None:
            continue
        batch, is_done = stage.batch, stage.ended_at is not None
        names = {"title": batch.title, "lot": batch.lot_code, "kind": stage.get_kind_display()}
        yield Entry(
            uid=f"stage-{stage.pk}",
            sequence=int(is_done),
            changed_at=stage.ended_at or stage.began_at,
            summary=_("May be over: %(title)s, %(lot)s (%(kind)s)") % names,
            starts=stage.ends_from.astimezone(UTC),
            ends=max(stage.ends_by or stage.ends_from, stage.ends_from + timedelta(hours=1)).astimezone(UTC),
            location=batch.kitchen.name,
            url=settings.SITE_URL + batch.get_absolute_url(),
            is_cancelled=is_done,
        )


# Entries written as iCalendar (RFC 5545), every moment in UTC so that no reader has to know our zone's rules.

READ_AGAIN_AFTER = timedelta(hours=1)  # RFC 7986, 5.7: a wish, which programs follow as they like


def calendar_text(entries: Iterable[Entry], *, name: str) -> bytes:
    """The whole calendar, lines folded at 75 octets and ended by CRLF."""
    calendar = Calendar()
    calendar.add("prodid", f"-//{settings.CLUB_NAME}//club calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", vText(name))
    calendar.add("x-wr-calname", vText(name))  # what programs read that do not know RFC 7986
    calendar.add("refresh-interval", READ_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
    mark = calendar_mark()
    for entry in entries:
        calendar.add_component(_event(entry, mark))
    written: bytes = calendar.to_ical()
    return written


def _event(entry: Entry, mark: UUID) -> Event:
    event = Event()
    event.add("uid", f"{entry.uid}@{mark}")
    event.add("sequence", entry.sequence)
    # Not the moment of writing: the same state of things is written the same way each time it is asked for.
    changed = entry.changed_at.astimezone(UTC).replace(microsecond=0)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("summary", entry.summary)
    event.add("dtstart", entry.starts)
    event.add("dtend", entry.ends)
    for key in ("description", "location", "url"):
        if value := getattr(entry, key):
            event.add(key, value)
    if entry.alarm_before is not None and not entry.is_cancelled:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", entry.summary)
        alarm.add("trigger", -entry.alarm_before)
        event.add_component(alarm)
    event.add("status", "CANCELLED" if entry.is_cancelled else "TENTATIVE" if entry.is_tentative else "CONFIRMED")
    return event
