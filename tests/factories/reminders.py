"""Batches that wait for a look at their seals, and outbox rows in the state a test wants."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from club.reminders.models import Reminder, ReminderState
from inventory.batches.models import Batch
from tests.factories.batches import make_batch_out
from tests.factories.recipes import make_revision

TITLE = "Plum & rose jam"  # with a character that HTML must escape and plain text must not


def make_waiting_batch(out_at: datetime, **fields: Any) -> Batch:
    """Its jars came out at `out_at` and nobody has looked at the seals."""
    return make_batch_out(out_at=out_at, **({"revision": make_revision(title=TITLE)} | fields))


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
