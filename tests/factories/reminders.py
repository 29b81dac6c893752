"""Batches whose jars are out, and reminders in the state a test wants."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from club.members.models import Kitchen, User
from club.members.roles import Role
from club.reminders.models import Reminder, ReminderState
from inventory.batches.lots import SALTS, lot_code
from inventory.batches.models import Batch, BatchState, Jar
from inventory.jars.models import LidLot
from tests.factories.recipes import make_revision

_numbers = count(1)


def make_person(name: str = "Ada Plum", **fields: Any) -> User:
    return User.objects.create_user(f"person-{next(_numbers)}@example.test", name=name, **fields)


def make_organiser() -> User:
    from django.contrib.auth.models import Group

    person = make_person("Olga Organiser")
    person.groups.add(Group.objects.get_or_create(name=Role.ORGANISER.value)[0])
    return person


def make_batch_out(out_at: datetime, *, by: User | None = None, jars: int = 5, **fields: Any) -> Batch:
    """A boiling-water batch whose jars came out at `out_at`, with no look at the seals yet."""
    number = next(_numbers)
    by = by or make_person()
    kitchen = Kitchen.objects.create(name=f"Kitchen {number}", altitude_m=Decimal(1040), altitude_how="map")
    lids = LidLot.objects.create(code=f"L{number}")
    batch = Batch.objects.create(
        **{
            "lot_code": lot_code(out_at.date(), number % SALTS),
            "token": uuid.uuid4(),
            "revision": make_revision(title="Plum & rose jam"),
            "kitchen": kitchen,
            "made_by": by,
            "state": BatchState.OUT,
            "plan": {},
            "pots": 1,
            "altitude_m": Decimal(1040),
            "canner": "boiling-water",
            "pack": "hot",
            "jar_size": "half-pint",
            "required_minutes": 10,
            "processed_minutes": 10,
            "started_at": out_at - timedelta(hours=2),
            "jars_out_at": out_at,
            "lid_lot": lids,
            **fields,
        }
    )
    Jar.objects.bulk_create(
        Jar(batch=batch, number=n, size="half-pint", place=kitchen, lid_lot=lids) for n in range(1, jars + 1)
    )
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
