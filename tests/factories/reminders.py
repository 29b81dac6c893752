"""Batches that wait for a look at their seals, and outbox rows in the state a test wants."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import Any
from uuid import uuid4

from django.contrib.auth.models import Group

from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import User
from club.reminders.models import NotificationSettings, Reminder, ReminderState
from inventory.batches.models import Batch
from inventory.equipment.choices import Kind
from tests.factories.batches import make_batch_out
from tests.factories.equipment import make_test, make_thing
from tests.factories.recipes import make_revision

NO_QUIET = {"quiet_from": time(0), "quiet_until": time(0)}
TITLE = "Plum & rose jam"  # with a character that HTML must escape and plain text must not


def awake(person: User) -> User:
    """Without quiet hours, so that a test of sending may stand at any hour, and a drill be run at any."""
    NotificationSettings.objects.get_or_create(person=person, defaults=NO_QUIET)
    return person


def make_waiting_batch(out_at: datetime, **fields: Any) -> Batch:
    """Its jars came out at `out_at` and nobody has looked at the seals. Whoever made it has no quiet hours."""
    batch = make_batch_out(out_at=out_at, **({"revision": make_revision(title=TITLE)} | fields))
    awake(batch.made_by)
    return batch


def make_reminder(batch: Batch, *, rule: str = "seal-check", now: datetime, **fields: Any) -> Reminder:
    """The outbox row that gathering would write for a batch."""
    assert batch.jars_out_at is not None
    return Reminder.objects.create(
        **{
            "rule": rule,
            "subject": f"batch:{batch.pk}",
            "occurrence": batch.jars_out_at.astimezone(UTC).isoformat(),
            "person": batch.made_by,
            "due_at": batch.jars_out_at + timedelta(hours=12),
            "state": ReminderState.DUE,
            "next_try_at": now,
            **fields,
        }
    )


def make_many_due(number: int, *, now: datetime) -> list[User]:
    """So many keepers, each of whom the next gathering owes one mail: a gauge's test lapses in five days.

    None has quiet hours, so that the mails go out at whatever hour a drill is run.
    """
    keepers = User.objects.bulk_create(
        User(email=f"keeper-{n}@example.test", name=f"Keeper {n}", password="!") for n in range(number)
    )
    group, _made = Group.objects.get_or_create(name=Role.KEEPER.value)
    User.groups.through.objects.bulk_create(User.groups.through(user=one, group=group) for one in keepers)
    NotificationSettings.objects.bulk_create(NotificationSettings(person=one, **NO_QUIET) for one in keepers)
    thing = make_thing(Kind.DIAL_GAUGE, by=keepers[0], now=now, capacity={})
    make_test(thing, club_day(now) - timedelta(days=360), by=keepers[0], now=now)
    return keepers


def make_notification_settings(person: User, **fields: Any) -> NotificationSettings:
    """Instead of whatever the person wished before; the defaults for what is not named."""
    NotificationSettings.objects.filter(person=person).delete()
    return NotificationSettings.objects.create(person=User.objects.get(pk=person.pk), **fields)


def make_received(person: User, headline: str = "Look at the seals", **fields: Any) -> Reminder:
    """A reminder as it stands in her inbox after it was mailed."""
    now = datetime.now(UTC)
    told = {"rule": "seal-check", "subject": "batch:1", "occurrence": uuid4().hex, "due_at": now, "next_try_at": now}
    sent = {"state": ReminderState.SENT, "sent_at": now, "headline": headline, "path": "/batches/"}
    return Reminder.objects.create(person=person, **{**told, **sent, **fields})
