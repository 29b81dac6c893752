"""What a jar's label says. No label calls an unsealed jar good, and a jar that is called back has none."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from inventory.batches.models import Batch, Seal
from inventory.batches.recalls import is_called_back
from inventory.batches.rules import best_before


@dataclass(frozen=True)
class Label:
    """`best_before` None: kept frozen, for which no printed time was seen."""

    number: int
    size: str
    contents: str
    put_up: date
    best_before: date | None
    lot_code: str
    kitchen: str
    is_unchecked: bool


def labels_of(batch: Batch, *, every: bool = False) -> list[Label]:
    """Labels for the sealed (or frozen) jars; with `every` also for jars whose seal is not settled yet, marked so.

    None at all where a jar of the batch is called back, or its recipe was withdrawn: a label calls a jar good to keep.
    """
    if batch.jars_out_at is None or is_called_back(batch):
        return []
    put_up = timezone.localdate(batch.jars_out_at, timezone.get_default_timezone())
    frozen = batch.is_frozen_kind
    return [
        Label(
            number=jar.number,
            size=jar.size,
            contents=batch.title,
            put_up=put_up,
            best_before=None if frozen else best_before(put_up),
            lot_code=batch.lot_code,
            kitchen=batch.kitchen.name,
            is_unchecked=not jar.disposal,
        )
        for jar in batch.jars.all()
        if (jar.disposal == "shelf" or jar.seal == Seal.NONE) or (every and not jar.disposal)
    ]
