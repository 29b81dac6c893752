"""Entries written as iCalendar (RFC 5545), every moment in UTC so that no reader has to know our zone's rules."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, timedelta
from urllib.parse import urlsplit

from django.conf import settings
from icalendar import Calendar, Event, vText

from club.reminders.calendar_entries import Entry

READ_AGAIN_AFTER = timedelta(hours=1)  # RFC 7986, 5.7: a wish, which programs follow as they like


def calendar_text(entries: Iterable[Entry], *, name: str) -> bytes:
    """The whole calendar, lines folded at 75 octets and ended by CRLF."""
    calendar = Calendar()
    calendar.add("prodid", f"-//{settings.CLUB_NAME}//club calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", vText(name))
    calendar.add("refresh-interval", READ_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
    for entry in entries:
        calendar.add_component(_event(entry))
    written: bytes = calendar.to_ical()
    return written


def _event(entry: Entry) -> Event:
    host = urlsplit(settings.SITE_URL).hostname or "localhost"
    event = Event()
    event.add("uid", f"{entry.uid}@{host}")
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
    event.add("status", "CANCELLED" if entry.is_cancelled else "TENTATIVE" if entry.is_tentative else "CONFIRMED")
    return event
