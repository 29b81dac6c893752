"""How a reminder reaches its person: by mail now, by mail later, or on the site alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from club.reminders.models import Reminder
from club.reminders.terms import Rule


@dataclass(frozen=True)
class Route:
    """`not_before`: put it off until then. Without `by_mail` it is shown on the site alone."""

    by_mail: bool = True
    not_before: datetime | None = None


def route_for(reminder: Reminder, rule: Rule, now: datetime) -> Route:
    """Everything goes by mail at once."""
    return Route()


def mail_headers(reminder: Reminder, rule: Rule) -> dict[str, str]:
    """Headers of the mail beside those that every reminder has."""
    return {"Auto-Submitted": "auto-generated"}  # RFC 3834: absence notes stay quiet
