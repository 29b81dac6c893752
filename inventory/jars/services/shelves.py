"""Counting at the shelf: begun by somebody at a place, booked in one press, and told when two count at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone
from club.core.ledger import part_token
from club.members.models import User
from inventory.jars.choices import CountReason, Reason
from inventory.jars.models import Place, ShelfCount
from inventory.jars.rules import BOUGHT, BROKEN
from inventory.jars.services.ledger import (
    Shelf,
    count_check,
    count_there,
    keeper_check,
    movement_post,
    note_clean,
    outside_place,
)
from recipes.choices import JARS


@dataclass(frozen=True)
class Counted:
    """How many of one kind of jar stand there; `was` is what the books said when the page was shown."""

    size: str
    state: str
    batch_id: int | None
    count: int
    was: int


class MovedMeanwhile(ValidationError):
    """The books of a kind that was counted changed since the page was shown. Nothing was booked."""


@transaction.atomic
def count_begin(*, by: User, place: Place, token: UUID, now: datetime | None = None) -> ShelfCount:
    """The person's own count of that place that is under way, else a new one. PermissionDenied."""
    keeper_check(by)
    now = now_or(now)
    if own := ShelfCount.objects.under_way(now).filter(place=place, by=by).first():
        return own
    try:
        with transaction.atomic():
            return ShelfCount.objects.create(place=place, by=by, token=token, begun_at=now)
    except IntegrityError:
        return ShelfCount.objects.get(token=token)


@transaction.atomic
def count_book(
    *,
    by: User,
    count: ShelfCount,
    counted: Sequence[Counted],
    why: str = "",
    note: str = "",
    now: datetime | None = None,
) -> ShelfCount:
    """End the count: what differs from the books becomes a movement each, all or none.

    What is missing as broken goes to the account of broken jars; what else is missing, or was not counted before, reads
    in the ledger as a count. PermissionDenied, AlreadyDone (it ended), MovedMeanwhile, ValidationError (why, note).
    """
    keeper_check(by)
    now, note = now_or(now), note_clean(note)
    if not ShelfCount.objects.filter(pk=count.pk, ended_at=None).update(ended_at=now):
        raise AlreadyDone(_("This count was booked or given up already."))
    if not counted:
        raise ValidationError(_("Nothing is counted yet."))
    for one in counted:
        count_check(one.count, least=0)
    # By size: two counts, or a count and a file, meet the rows in one order.
    ordered = sorted(counted, key=lambda one: (one.size, one.state, one.batch_id or 0))
    there = {one: count_there(Shelf(count.place, one.state, one.batch_id), one.size) for one in ordered}
    if moved := [one for one in ordered if there[one] != one.was]:
        words = "; ".join(f"{JARS.get(one.size, one.size)}: {one.was} → {there[one]}" for one in moved)
        text = _("The books changed while you counted: %(what)s. Look at these again, then book the count.")
        raise MovedMeanwhile(text % {"what": words})
    changed = [one for one in ordered if one.count != one.was]
    if changed and why not in CountReason.values:
        raise ValidationError({"why": _("Say why the count differs from the books.")})
    for n, one in enumerate(changed):
        _post(by, count, one, why, note, part_token(count.token, str(n)), now)
    count.rows, count.changes, count.why, count.note = len(counted), len(changed), why if changed else "", note
    count.ended_at = now
    count.save()
    return count


def _post(by: User, count: ShelfCount, one: Counted, why: str, note: str, token: UUID, now: datetime) -> None:
    more = one.count > one.was
    is_broken = why == CountReason.BROKEN and not more
    here = Shelf(count.place, one.state, one.batch_id)
    outside = Shelf(outside_place(BROKEN if is_broken else BOUGHT), one.state, one.batch_id)
    movement_post(
        by=by,
        size=one.size,
        count=abs(one.count - one.was),
        source=outside if more else here,
        target=here if more else outside,
        reason=Reason.BROKEN if is_broken else Reason.FOUND if more else Reason.MISSING,
        token=token,
        at=now,
        note=note or str(CountReason(why).label),
    )


@transaction.atomic
def count_drop(*, by: User, count: ShelfCount, now: datetime | None = None) -> None:
    """Give it up; nothing is booked. PermissionDenied, AlreadyDone."""
    keeper_check(by)
    if not ShelfCount.objects.filter(pk=count.pk, ended_at=None).update(ended_at=now_or(now)):
        raise AlreadyDone(_("This count was booked or given up already."))
