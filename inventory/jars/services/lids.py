"""Lids by lot: bought, used, spoilt. Counted with the same care as jars."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.models import LidLot, LidMovement, LidStock
from inventory.jars.services.common import (
    NotEnough,
    count_check,
    keeper_check,
    moment_clean,
    note_clean,
    part_token,
    write_once,
)
from inventory.jars.words import LidAccount, LidReason

COLUMNS = {
    LidAccount.BOUGHT.value: "bought",
    LidAccount.ON_HAND.value: "on_hand",
    LidAccount.USED.value: "used",
    LidAccount.SPOILT.value: "spoilt",
}
SAME = ("lot_id", "count", "source", "target", "reason", "batch_id", "by_id")


@transaction.atomic
def lids_buy(
    *, by: User, lot: LidLot, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> LidMovement:
    """Lids of the lot come into the club."""
    keeper_check(by)
    return lids_post(
        by=by,
        lot=lot,
        count=count,
        source=LidAccount.BOUGHT,
        target=LidAccount.ON_HAND,
        reason=LidReason.BOUGHT,
        token=token,
        at=moment_clean(None, now),
        note=note,
    )


@transaction.atomic
def lids_spoil(
    *, by: User, lot: LidLot, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> LidMovement:
    """Lids that are bent, rusty or dried out are thrown away. NotEnough when there are fewer."""
    keeper_check(by)
    return lids_post(
        by=by,
        lot=lot,
        count=count,
        source=LidAccount.ON_HAND,
        target=LidAccount.SPOILT,
        reason=LidReason.SPOILT,
        token=token,
        at=moment_clean(None, now),
        note=note,
    )


def lids_use(*, by: User, lot: LidLot, count: int, batch_id: int, token: UUID, at: datetime) -> LidMovement:
    """Lids go on the jars of a batch. Called by the services of the batches, in their transaction.

    Where too few were counted the rest is booked as found: see `filling._empties_found` for why.
    """
    there = LidStock.objects.select_for_update().filter(lot=lot).values_list("on_hand", flat=True).first() or 0
    if there < count:
        lids_post(
            by=by,
            lot=lot,
            count=count - there,
            source=LidAccount.BOUGHT,
            target=LidAccount.ON_HAND,
            reason=LidReason.FOUND,
            token=part_token(token, "lids found"),
            at=at,
        )
    return lids_post(
        by=by,
        lot=lot,
        count=count,
        source=LidAccount.ON_HAND,
        target=LidAccount.USED,
        reason=LidReason.USED,
        token=part_token(token, "lids"),
        at=at,
        batch_id=batch_id,
    )


@transaction.atomic
def lids_correct(
    *, by: User, movement: LidMovement, count: int, token: UUID, note: str = "", now: datetime | None = None
) -> LidMovement:
    """The movement should have been of `count` lids; a new movement mends it. Once for each movement."""
    keeper_check(by)
    count_check(count, least=0)
    if count == movement.count:
        raise ValidationError({"count": _("That is the number already written. Give the right one.")})
    if LidMovement.objects.filter(corrects=movement).exclude(token=token).exists():
        raise ValidationError(_("This movement was corrected already. Correct the correction, if that was wrong too."))
    ends = (movement.source, movement.target)
    source, target = ends if count > movement.count else ends[::-1]
    return lids_post(
        by=by,
        lot=movement.lot,
        count=abs(count - movement.count),
        source=source,
        target=target,
        reason=LidReason.CORRECTED,
        token=token,
        at=moment_clean(None, now),
        note=note,
        corrects=movement,
    )


def lids_post(
    *,
    by: User,
    lot: LidLot,
    count: int,
    source: str,
    target: str,
    reason: str,
    token: UUID,
    at: datetime,
    note: str = "",
    batch_id: int | None = None,
    corrects: LidMovement | None = None,
) -> LidMovement:
    """Write the movement and the lot's counts with it, by one conditional update. Call inside a transaction."""
    if not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    count_check(count)
    movement, is_new = write_once(
        LidMovement(
            by=by,
            lot=lot,
            count=count,
            source=source,
            target=target,
            reason=reason,
            token=token,
            at=at,
            note=note_clean(note),
            batch_id=batch_id,
            corrects=corrects,
        ),
        same=SAME,
    )
    if is_new:
        _follow(lot, count, COLUMNS[source], COLUMNS[target])
    return movement


def _follow(lot: LidLot, count: int, source: str, target: str) -> None:
    LidStock.objects.get_or_create(lot=lot)
    # "Bought" counts upwards where the others count down: it is the whole of which they are the parts.
    changes = {source: count if source == "bought" else -count, target: -count if target == "bought" else count}
    enough = {f"{name}__gte": -change for name, change in changes.items() if change < 0}
    rows = LidStock.objects.filter(lot=lot, **enough)
    if rows.update(**{name: F(name) + change for name, change in changes.items()}) != 1:
        there = LidStock.objects.filter(lot=lot).values_list("on_hand", flat=True).get()
        text = _("There are %(there)s lids of this lot on hand, not %(wanted)s.")
        raise NotEnough(text % {"there": there, "wanted": count}, there=there)
