"""Putting fruit into a freezer, taking some out, and mending what was written about it."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.clock import club_day
from club.core.errors import same_form
from club.members.models import Kitchen, User
from inventory.fruit.models import FreezerItem, FreezerTaking, TakenFor
from inventory.fruit.validators import FREEZER_LENGTHS, MOST_BAGS, MOST_FREEZER_GRAMS, FreezerFields, freezer_columns


@transaction.atomic
def freezer_item_add(*, by: User, fields: FreezerFields, token: UUID, now: datetime | None = None) -> FreezerItem:
    """Write a lot down. PermissionDenied for a kitchen that is not theirs to use; ValidationError by field.

    The same `token` again finds the lot it wrote.
    """
    _kitchen_check(by, fields.kitchen)
    now = now or timezone.now()
    columns = freezer_columns(fields, club_day(now))
    before = FreezerItem.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, put_in_by_id=by.pk)
    try:
        with transaction.atomic():
            return FreezerItem.objects.create(
                **columns, grams_left=fields.grams, bags_left=fields.bags, put_in_by=by, created_at=now, token=token
            )
    except IntegrityError:
        return same_form(FreezerItem.objects.get(token=token), put_in_by_id=by.pk)


def _kitchen_check(by: User, kitchen: Kitchen) -> None:
    if not Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied


@transaction.atomic
def freezer_item_change(*, by: User, item: FreezerItem, fields: FreezerFields, now: datetime | None = None) -> None:
    """Mend what was written. Weight and bags only while nothing was taken out: afterwards they are history."""
    item_check(by, item)
    _kitchen_check(by, fields.kitchen)
    columns = freezer_columns(fields, club_day(now))
    rows = FreezerItem.objects.filter(pk=item.pk)
    if (fields.grams, fields.bags) != (item.grams, item.bags):
        columns |= {"grams_left": fields.grams, "bags_left": fields.bags}
        rows = rows.filter(grams_left=F("grams"), takings=None)
    if rows.update(**columns) != 1:
        text = _("Some was taken out already, so its weight stays as it was written. Take out what was never there.")
        raise ValidationError({"grams": text})


def item_check(by: User, item: FreezerItem) -> None:
    """PermissionDenied for a lot of another household's."""
    if not FreezerItem.objects.visible_to(by).filter(pk=item.pk).exists():
        raise PermissionDenied


@transaction.atomic
def freezer_item_take(
    *,
    by: User,
    item: FreezerItem,
    grams: int,
    token: UUID,
    bags: int = 0,
    reason: str = TakenFor.USED,
    note: str = "",
    now: datetime | None = None,
) -> FreezerTaking:
    """Take some out, or all. One conditional update: of two who press at once nobody takes what is not there.

    ValidationError by field; the same `token` again finds what it took.
    """
    item_check(by, item)
    note = " ".join(note.split())
    _taking_check(grams, bags, reason, note)
    before = FreezerTaking.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, item_id=item.pk, by_id=by.pk)
    enough = FreezerItem.objects.filter(pk=item.pk, grams_left__gte=grams)
    changes: dict[str, object] = {"grams_left": F("grams_left") - grams}
    if bags:
        enough = enough.filter(bags_left__gte=bags)
        changes["bags_left"] = F("bags_left") - bags
    if enough.update(**changes) != 1:
        raise ValidationError({"grams": _("There is not that much left. Open the page again and look.")})
    FreezerItem.objects.filter(pk=item.pk, grams_left=0).exclude(bags_left=None).update(bags_left=0)
    return FreezerTaking.objects.create(
        item=item, grams=grams, bags=bags, reason=reason, note=note, by=by, at=now or timezone.now(), token=token
    )


def _taking_check(grams: int, bags: int, reason: str, note: str) -> None:
    problems: dict[str, str] = {}
    if not 1 <= grams <= MOST_FREEZER_GRAMS:
        problems["grams"] = _("Say how much you took out.")
    if not 0 <= bags <= MOST_BAGS:
        problems["bags"] = _("Count the bags, or leave it empty.")
    if reason not in TakenFor.values:
        problems["reason"] = _("Say what it was taken for.")
    if len(note) > FREEZER_LENGTHS["note"]:
        problems["note"] = _("At most %(n)s characters, please.") % {"n": FREEZER_LENGTHS["note"]}
    if problems:
        raise ValidationError(problems)
