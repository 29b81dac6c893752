"""What the families of rules share: hours on the wall of the club, and the key in a reminder's subject."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time

from django.utils import timezone

from club.members.choices import Role
from club.members.models import User
from club.reminders.models import Reminder


def at_hour(day: date, hour: time) -> datetime:
    """That hour on the wall of the club, in UTC."""
    return timezone.make_aware(datetime.combine(day, hour), timezone.get_default_timezone()).astimezone(UTC)


def subject_id(reminder: Reminder) -> int:
    """41 of "batch:41"."""
    return int(reminder.subject.partition(":")[2])


def ids_of(subjects: Iterable[str], prefix: str) -> list[int]:
    """The keys of those subjects that begin with `prefix` ("batch:")."""
    return [int(one.removeprefix(prefix)) for one in subjects if one.startswith(prefix)]


def holders_of(role: Role) -> list[int]:
    """Keys of the active people who hold the role; one query."""
    return list(User.objects.get_queryset().holding(role).values_list("pk", flat=True))
