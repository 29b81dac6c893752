"""Putting fruit into a freezer, taking some out, and mending what was written about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.clock import club_day
from club.members.models import Kitchen, User
from inventory.fruit.models import FreezerItem, FreezerState, FreezerTaking, TakenFor
from inventory.fruit.suggestions import produce_named

MOST_GRAMS = 500_000  # a slip of the pen beyond: half a tonne of one lot
MOST_BAGS = 999
OLDEST_YEARS = 10
LENGTHS = {"what": 80, "freezer": 60, "note": 200}


@dataclass(frozen=True)
class FreezerFields:
    """What is said of a lot. `bags` None: nobody counted."""

    kitchen: Kitchen
    what: str
    frozen_on: date
    grams: int
    bags: int | None = None
    state: str = FreezerState.FRUIT
    with_sugar: bool = False
    freezer: str = ""
    note: str = ""


@transaction.atomic
def freezer_item_add(*, by: User, fields: FreezerFields, token: UUID, now: datetime | None = None) -> FreezerItem:
    """Write a lot down. PermissionDenied for a kitchen that is not hers to use; ValidationError by field.

    The same `token` again finds the lot it wrote.
    """
    _kitchen_check(by, fields.kitchen)
    now = now or timezone.now()
    told = _cleaned(fields, club_day(now))
    before = FreezerItem.objects.filter(token=token).first()
    if before is not None:
        return _same_item(before, by)
    try:
        with transaction.atomic():
            return FreezerItem.objects.create(
                **told, grams_left=fields.grams, bags_left=fields.bags, put_in_by=by, created_at=now, token=token
            )
    except IntegrityError:
        return _same_item(FreezerItem.objects.get(token=token), by)


def _same_item(before: FreezerItem, by: User) -> FreezerItem:
    if before.put_in_by_id != by.pk:
        raise ValidationError(_("This form was used for something else already. Open the page again."))
    return before


def _kitchen_check(by: User, kitchen: Kitchen) -> None:
    if not Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied


def _cleaned(fields: FreezerFields, today: date) -> dict[str, object]:
    """The columns; ValidationError with every problem by its field."""
    problems: dict[str, str] = {}
    texts = {name: " ".join(getattr(fields, name).replace("\0", "").split()) for name in LENGTHS}
    for name, longest in LENGTHS.items():
        if len(texts[name]) > longest:
            problems[name] = _("At most %(n)s characters, please.") % {"n": longest}
    if not texts["what"]:
        problems["what"] = _("Say what it is.")
    if fields.state not in FreezerState.values:
        problems["state"] = _("Choose fruit, juice or purée.")
    if not 1 <= fields.grams <= MOST_GRAMS:
        problems["grams"] = _("Weigh it: from 1 gram to 500 kilograms.")
    if fields.bags is not None and not 1 <= fields.bags <= MOST_BAGS:
        problems["bags"] = _("Count the bags from 1 to 999, or leave it empty.")
    if fields.frozen_on > today:
        problems["frozen_on"] = _("That day has not come yet.")
    elif fields.frozen_on.year < today.year - OLDEST_YEARS:
        problems["frozen_on"] = _("That is more than ten years ago. Check the year.")
    if problems:
        raise ValidationError(problems)
    kept = {name: getattr(fields, name) for name in ("kitchen", "frozen_on", "grams", "bags", "state", "with_sugar")}
    return {**texts, **kept, "produce": produce_named(texts["what"])}


@transaction.atomic
def freezer_item_change(*, by: User, item: FreezerItem, fields: FreezerFields, now: datetime | None = None) -> None:
    """Mend what was written. Weight and bags only while nothing was taken out: afterwards they are history."""
    item_check(by, item)
    _kitchen_check(by, fields.kitchen)
    told = _cleaned(fields, club_day(now))
    rows = FreezerItem.objects.filter(pk=item.pk)
    if (fields.grams, fields.bags) != (item.grams, item.bags):
        told |= {"grams_left": fields.grams, "bags_left": fields.bags}
        rows = rows.filter(grams_left=F("grams"), takings=None)
    if rows.update(**told) != 1:
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
        return _same_taking(before, item, by)
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


def _same_taking(before: FreezerTaking, item: FreezerItem, by: User) -> FreezerTaking:
    if (before.item_id, before.by_id) != (item.pk, by.pk):
        raise ValidationError(_("This form was used for something else already. Open the page again."))
    return before


def _taking_check(grams: int, bags: int, reason: str, note: str) -> None:
    problems: dict[str, str] = {}
    if not 1 <= grams <= MOST_GRAMS:
        problems["grams"] = _("Say how much you took out.")
    if not 0 <= bags <= MOST_BAGS:
        problems["bags"] = _("Count the bags, or leave it empty.")
    if reason not in TakenFor.values:
        problems["reason"] = _("Say what it was taken for.")
    if len(note) > LENGTHS["note"]:
        problems["note"] = _("At most %(n)s characters, please.") % {"n": LENGTHS["note"]}
    if problems:
        raise ValidationError(problems)
