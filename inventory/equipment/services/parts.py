"""A part that was missing at a return: an open matter, which a keeper settles before the thing goes out again."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.models import Loan, Thing
from inventory.equipment.services.common import choice_check, keeper_check, now_or
from inventory.equipment.services.things import REASON_LENGTH, note_condition, thing_retire
from inventory.equipment.services.waiting import waiting_offer_freed
from inventory.equipment.text import plain
from inventory.equipment.words import PARTS_OUTCOMES, Condition, Occasion, PartsOutcome


def parts_settle(*, by: User, thing: Thing, outcome: str, note: str = "", now: datetime | None = None) -> None:
    """The missing part is back or was replaced, and the thing may be lent again; or the thing is withdrawn for good.

    Raises PermissionDenied, ValidationError (outcome, note), AlreadyDone (nothing is missing any more).
    """
    keeper_check(by)
    choice_check(outcome, PARTS_OUTCOMES, field="outcome")
    told = plain(note, field="note", longest=REASON_LENGTH)
    short = Loan.objects.short_of_parts().filter(thing=thing)
    if outcome == PartsOutcome.WITHDRAWN and short.exists():
        thing_retire(by=by, thing=thing, note=told, now=now)
        return
    if outcome == PartsOutcome.REPLACED and not told:
        raise ValidationError({"note": _("Say what it was replaced by.")})
    moment = now_or(now)
    with transaction.atomic():
        loan = short.first()
        settled = {"parts_settled_at": moment, "parts_settled_by": by, "parts_outcome": outcome, "parts_note": told}
        if loan is None or short.filter(pk=loan.pk).update(**settled) != 1:
            raise AlreadyDone(_("Nothing is missing of %(code)s any more.") % {"code": thing.code})
        is_mended = loan.condition_in == Condition.BROKEN and thing.is_lent
        note_condition(
            thing=thing,
            by=by,
            at=moment,
            occasion=Occasion.PARTS,
            condition=Condition.GOOD if is_mended else loan.condition_in,
            note="; ".join(filter(None, [f"{loan.missing_parts}: {PartsOutcome(outcome).label}", told])),
        )
    waiting_offer_freed(kind=thing.kind, now=now)
