"""What happened to a batch and what comes next, as moments in order: for its page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.batches.models import Batch, BatchState


@dataclass(frozen=True)
class Moment:
    at: datetime
    text: str
    is_past: bool


def timeline(batch: Batch, now: datetime) -> list[Moment]:
    """Every moment that is known or due, the earliest first. Reads `seal_checks`; prefetch them."""
    told = [(batch.started_at, _("Cooking began"))]
    if batch.process_started_at:
        told.append((batch.process_started_at, _("Process began")))
    if batch.jars_out_at:
        told.append((batch.jars_out_at, _("Into the freezer") if batch.is_frozen_kind else _("Jars came out")))
    if batch.reprocessed_out_at:
        told.append((batch.reprocessed_out_at, _("Reprocessed jars came out")))
    told += [
        (look.checked_at, _("Early look at the seals") if look.was_early else _("Seals looked at"))
        for look in batch.seal_checks.all()
    ]
    if batch.abandoned_at:
        told.append((batch.abandoned_at, _("Given up")))
    told += _window(batch)
    return [Moment(at, text, at <= now) for at, text in sorted(told, key=lambda one: one[0])]


def _window(batch: Batch) -> list[tuple[datetime, str]]:
    """The moments of the seal window, as long as something hangs on them."""
    told: list[tuple[datetime, str]] = []
    if batch.state == BatchState.OUT and batch.window is not None:
        told.append((batch.window.opens, _("12 hours: look at the seals")))
        told.append((batch.window.second_call, _("20 hours: second call, if nothing was recorded")))
    if batch.reprocess_until is not None:
        told.append((batch.reprocess_until, _("24 hours: reprocessing lapses")))
    return told
