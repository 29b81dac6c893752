"""Things themselves: added, changed, sent to repair, mended, retired, looked over."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.describing import ThingFields, cleaned_fields, code_used
from inventory.equipment.models import ConditionNote, Hold, Loan, Thing
from inventory.equipment.queries import club_day
from inventory.equipment.services.common import choice_check, keeper_check, now_or
from inventory.equipment.services.waiting import waiting_offer_freed
from inventory.equipment.text import plain
from inventory.equipment.words import Condition, Occasion, PartsOutcome, ThingState

REASON_LENGTH = 300


def thing_add(
    *,
    by: User,
    fields: ThingFields,
    condition: str = Condition.GOOD,
    token: UUID | None = None,
    now: datetime | None = None,
) -> Thing:
    """A new thing, in service. The same token again finds the thing made the first time.

    PermissionDenied; ValidationError by the names of ThingFields.
    """
    keeper_check(by)
    choice_check(condition, Condition.values, field="condition")
    cleaned = cleaned_fields(fields)
    try:
        with transaction.atomic():
            thing = Thing.objects.create(**cleaned, token=token, created_at=now_or(now))
            note_condition(thing=thing, by=by, at=now_or(now), occasion=Occasion.ADDED, condition=condition)
    except IntegrityError:
        made = Thing.objects.filter(token=token).first() if token else None
        if made is None:
            raise code_used(cleaned["code"]) from None
        return made
    waiting_offer_freed(kind=thing.kind, now=now)
    return thing


@transaction.atomic
def thing_change(*, by: User, thing: Thing, fields: ThingFields) -> None:
    """Describe a thing anew. Raises as thing_add. Its history and its holds stay with it."""
    keeper_check(by)
    cleaned = cleaned_fields(fields, thing=thing)
    for name, value in cleaned.items():
        setattr(thing, name, value)
    try:
        with transaction.atomic():
            thing.save(update_fields=[*cleaned, "code_key"])
    except IntegrityError:
        raise code_used(cleaned["code"]) from None


@transaction.atomic
def thing_repair(*, by: User, thing: Thing, note: str, now: datetime | None = None) -> None:
    """In repair: not handed over until it is mended. Holds for later days stand. AlreadyDone when it is there."""
    keeper_check(by)
    told = plain(note, field="note", longest=REASON_LENGTH)
    if not told:
        raise ValidationError({"note": _("Say what is to be repaired.")})
    _move(thing, ThingState.IN_SERVICE, ThingState.IN_REPAIR, told)
    note_condition(
        thing=thing, by=by, at=now_or(now), occasion=Occasion.TO_REPAIR, condition=Condition.BROKEN, note=told
    )


def thing_mend(
    *, by: User, thing: Thing, condition: str = Condition.GOOD, note: str = "", now: datetime | None = None
) -> None:
    """Back in service. AlreadyDone when it was not in repair."""
    keeper_check(by)
    choice_check(condition, [Condition.GOOD, Condition.WORN], field="condition")
    told = plain(note, field="note", longest=REASON_LENGTH)
    with transaction.atomic():
        _move(thing, ThingState.IN_REPAIR, ThingState.IN_SERVICE, "")
        note_condition(thing=thing, by=by, at=now_or(now), occasion=Occasion.REPAIRED, condition=condition, note=told)
    waiting_offer_freed(kind=thing.kind, now=now)


@transaction.atomic
def thing_retire(*, by: User, thing: Thing, note: str, now: datetime | None = None) -> None:
    """Never lent again; its history stays. Refused while it is out or somebody holds it. Settles a missing part."""
    keeper_check(by)
    told = plain(note, field="note", longest=REASON_LENGTH)
    if not told:
        raise ValidationError({"note": _("Say why it is retired.")})
    if Loan.objects.open().filter(thing=thing).exists():
        raise ValidationError(_("%(code)s is out. Take it back first.") % {"code": thing.code})
    holds = Hold.objects.filter(thing=thing).standing(club_day(now_or(now)))
    if held := [str(hold.person) for hold in holds.select_related("person")[:5]]:
        text = _("%(code)s is held for %(people)s. Cancel that first, so that they hear of it.")
        raise ValidationError(text % {"code": thing.code, "people": ", ".join(held)})
    state = thing.state
    _move(thing, state, ThingState.RETIRED, told)
    Loan.objects.short_of_parts().filter(thing=thing).update(
        parts_settled_at=now_or(now), parts_settled_by=by, parts_outcome=PartsOutcome.WITHDRAWN, parts_note=told
    )
    condition = Condition.BROKEN if state == ThingState.IN_REPAIR else Condition.WORN
    note_condition(thing=thing, by=by, at=now_or(now), occasion=Occasion.RETIRED, condition=condition, note=told)


@transaction.atomic
def thing_look_over(
    *, by: User, thing: Thing, condition: str, note: str = "", now: datetime | None = None
) -> ConditionNote:
    """Note how a thing looks. "Needs repair" also takes it out of service."""
    keeper_check(by)
    choice_check(condition, Condition.values, field="condition")
    told = plain(note, field="note", longest=REASON_LENGTH)
    if condition == Condition.BROKEN and not told:
        raise ValidationError({"note": _("Say what is broken.")})
    found = note_condition(
        thing=thing, by=by, at=now_or(now), occasion=Occasion.LOOKED_OVER, condition=condition, note=told
    )
    if condition == Condition.BROKEN:
        out_of_service(thing, told)
    return found


def note_condition(
    *, thing: Thing, by: User, at: datetime, occasion: Occasion, condition: str, note: str = ""
) -> ConditionNote:
    """For the services of this room only: who may was asked there."""
    return ConditionNote.objects.create(
        thing=thing, by=by, at=at, occasion=occasion, condition=condition, note=note[:500]
    )


def out_of_service(thing: Thing, why: str) -> None:
    """Into repair if it was in service; nothing otherwise."""
    in_service = Thing.objects.filter(pk=thing.pk, state=ThingState.IN_SERVICE)
    if in_service.update(state=ThingState.IN_REPAIR, state_note=why[:REASON_LENGTH]):
        thing.state, thing.state_note = ThingState.IN_REPAIR, why[:REASON_LENGTH]


def _move(thing: Thing, old: str, new: ThingState, note: str) -> None:
    """A conditional change of state: of two at one moment, one learns that it was done."""
    if old == new or Thing.objects.filter(pk=thing.pk, state=old).update(state=new, state_note=note) != 1:
        raise AlreadyDone(_("%(code)s is not in that state any more. Look again.") % {"code": thing.code})
    thing.state, thing.state_note = new, note
