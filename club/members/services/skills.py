"""What a person learned here: noted after a class, waived with a reason, withdrawn again."""

from __future__ import annotations

from datetime import date, datetime

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import SkillRecord, User
from club.members.services.checks import require_perm
from club.members.skills import Skill, SkillHow

TOLD_LENGTH = 300


@transaction.atomic
def skill_gain(
    *, by: User, person: User, skill: str, gained_on: date, class_title: str, now: datetime | None = None
) -> SkillRecord:
    """Note that the person came to the class. A record of an earlier class stays; a waiver gives way to the class.

    PermissionDenied unless `by` may note skills; ValidationError by "skill", "class_title".
    """
    require_perm(by, "members.note_skill")
    _check(skill, class_title, field="class_title")
    moment = now or timezone.now()
    standing = SkillRecord.objects.standing().filter(person=person, skill=skill).first()
    if standing is not None and standing.how == SkillHow.CLASS:
        return standing
    if standing is not None:
        _withdraw(standing, by, moment)
    return _write(by, person, skill, SkillHow.CLASS, gained_on, class_title, moment)


@transaction.atomic
def skill_waive(*, by: User, person: User, skill: str, reason: str, now: datetime | None = None) -> SkillRecord:
    """Let the person off the class, and say why. Nobody lets herself off.

    PermissionDenied unless `by` may note skills and is another; ValidationError by "skill", "reason", or when the
    person has it already.
    """
    require_perm(by, "members.note_skill")
    if by.pk == person.pk:
        raise ValidationError(_("Nobody waives a class for herself. Ask another instructor."))
    _check(skill, reason, field="reason")
    moment = now or timezone.now()
    day = timezone.localtime(moment, timezone.get_default_timezone()).date()
    return _write(by, person, skill, SkillHow.WAIVED, day, reason, moment)


@transaction.atomic
def skill_withdraw(*, by: User, record: SkillRecord, now: datetime | None = None) -> bool:
    """Take a record back, such as one noted for the wrong person. False when it was withdrawn already."""
    require_perm(by, "members.note_skill")
    if record.person_id == by.pk:
        raise PermissionDenied
    return _withdraw(record, by, now or timezone.now())


def _check(skill: str, told: str, *, field: str) -> None:
    problems: dict[str, str] = {}
    if skill not in Skill.values:
        problems["skill"] = _("Choose one of the skills taught here.")
    if not told.strip():
        problems[field] = _("Say why: whoever reads this later was not there.")
    elif len(told.strip()) > TOLD_LENGTH:
        problems[field] = _("At most %(n)s characters.") % {"n": TOLD_LENGTH}
    if problems:
        raise ValidationError(problems)


def _withdraw(record: SkillRecord, by: User, moment: datetime) -> bool:
    return SkillRecord.objects.standing().filter(pk=record.pk).update(withdrawn_at=moment, withdrawn_by=by) == 1


def _write(by: User, person: User, skill: str, how: SkillHow, day: date, told: str, moment: datetime) -> SkillRecord:
    try:
        with transaction.atomic():
            return SkillRecord.objects.create(
                person=person, skill=skill, how=how, gained_on=day, told=told.strip(), noted_by=by, noted_at=moment
            )
    except IntegrityError:
        has = _("%(name)s has this skill already.") % {"name": person}
        raise ValidationError({"skill": has}) from None
