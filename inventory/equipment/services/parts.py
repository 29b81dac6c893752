"""The yearly look at the parts of a canner: what is missing or damaged takes it out of use until it is settled."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import form_reused
from club.core.text import plain
from club.members.models import User
from inventory.equipment.choices import OPEN_MATTERS, Condition, Occasion, Part, PartState, ThingState
from inventory.equipment.models import PartsLook, Thing
from inventory.equipment.rules import OLDEST_TEST_YEAR, year_after
from inventory.equipment.services.common import testing_check
from inventory.equipment.services.things import note_condition, out_of_service


def parts_look_record(
    *,
    by: User,
    thing: Thing,
    looked_on: date,
    findings: Mapping[str, str],
    note: str = "",
    token: UUID | None = None,
    now: datetime | None = None,
) -> PartsLook:
    """Each part of its kind with its state, on one day; the same token again finds the first.

    With a part missing or damaged the thing is in repair: neither lent nor named in a batch. The club's is mended by
    its keepers; a household's own is in use again with the next look that finds all sound. PermissionDenied;
    ValidationError (looked_on, part_<part>, note).
    """
    testing_check(by, thing)
    moment, token = now_or(now), token or uuid4()
    _check(thing, looked_on, findings, club_day(moment))
    note = plain(note, field="note", longest=300)
    kept = {part.value: str(findings[part]) for part in thing.facts.parts}
    try:
        with transaction.atomic():
            look = PartsLook.objects.create(
                thing=thing,
                token=token,
                looked_on=looked_on,
                findings=kept,
                due_on=year_after(looked_on),
                note=note,
                looked_by=by,
                looked_at=moment,
            )
            _follow(look, by, moment)
            return look
    except IntegrityError:
        made = PartsLook.objects.filter(token=token, thing=thing).first()
        if made is None:
            raise form_reused() from None
        return made


def matters_text(findings: Mapping[str, str]) -> str:
    """ "gasket: damaged, rack: missing"; "" where there is nothing to settle."""
    named = [(part, state) for part, state in findings.items() if state in OPEN_MATTERS]
    return ", ".join(f"{Part(part).label}: {PartState(state).label}" for part, state in named)


def _check(thing: Thing, looked_on: date, findings: Mapping[str, str], today: date) -> None:
    problems = {}
    if not thing.facts.parts:
        raise ValidationError(_("%(code)s has no parts to look at.") % {"code": thing.code})
    if looked_on > today:
        problems["looked_on"] = _("That day has not come yet.")
    elif looked_on.year < OLDEST_TEST_YEAR or year_after(looked_on) <= today:
        problems["looked_on"] = _("A look of that day is more than a year old. Look again.")
    for part in thing.facts.parts:
        if findings.get(part) not in PartState.values:
            problems[f"part_{part}"] = _("Say how it is.")
    if problems:
        raise ValidationError(problems)


def _follow(look: PartsLook, by: User, at: datetime) -> None:
    thing, matters = look.thing, matters_text(look.findings)
    note_condition(
        thing=thing,
        by=by,
        at=at,
        occasion=Occasion.LOOKED_OVER,
        condition=Condition.BROKEN if matters else Condition.GOOD,
        note="; ".join(filter(None, [matters, look.note])),
    )
    if matters:
        out_of_service(thing, matters)
    elif thing.household_id is not None and look == PartsLook.objects.filter(thing=thing).latest("looked_on", "pk"):
        mended = Thing.everything.filter(pk=thing.pk, state=ThingState.IN_REPAIR)
        mended.update(state=ThingState.IN_SERVICE, state_note="")
