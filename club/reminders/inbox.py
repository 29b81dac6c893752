"""What a person was told, on the site: each reminder that was mailed or shown to her, and whether she has read it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from club.members.models import User
from club.reminders.models import Reminder, ReminderState

if TYPE_CHECKING:
    from club.reminders.models import ReminderQuerySet

TOLD = (ReminderState.SENT, ReminderState.SHOWN)
MOST_COUNTED = 99


def inbox_of(person: User) -> ReminderQuerySet:
    """The gate: her own, told to her, the latest first."""
    told = Reminder.objects.filter(person=person, state__in=TOLD).exclude(headline="")
    return told.order_by(F("sent_at").desc(nulls_last=True), "-pk")


def unread_count(person: User) -> int:
    """One query. No further than `MOST_COUNTED` and one: that many is "many"."""
    return inbox_of(person).filter(read_at=None).order_by()[: MOST_COUNTED + 1].count()


@transaction.atomic
def reminder_open(*, by: User, reminder: Reminder, now: datetime | None = None) -> str:
    """Mark her reminder read, keeping the first time it was; returns the page where the thing is done."""
    inbox_of(by).order_by().filter(pk=reminder.pk, read_at=None).update(read_at=now or timezone.now())
    is_ours = url_has_allowed_host_and_scheme(reminder.path, allowed_hosts=None)
    return reminder.path if is_ours and reminder.path.startswith("/") else ""


@transaction.atomic
def inbox_read_all(*, by: User, now: datetime | None = None) -> int:
    """Mark all of hers read; returns how many were not."""
    return inbox_of(by).order_by().filter(read_at=None).update(read_at=now or timezone.now())
