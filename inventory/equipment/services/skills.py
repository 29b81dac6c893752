"""Whether a person has learned what a thing asks for."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from club.members.models import SkillRecord, User
from inventory.equipment.models import Thing


def skill_lacks(thing: Thing, person: User) -> bool:
    """Whether the person still has to learn it, or to have it waived."""
    if not thing.skill:
        return False
    return not SkillRecord.objects.standing().filter(person=person, skill=thing.skill).exists()


def skill_check(thing: Thing, person: User) -> None:
    """Refuses a loan to somebody who lacks the skill: ValidationError by "person"."""
    if skill_lacks(thing, person):
        text = _(
            "%(code)s goes to people who learned %(skill)s here. %(name)s has not yet: the class comes first, or an"
            " instructor waives it, with the reason, on the page of her skills."
        )
        told = {"code": thing.code, "skill": thing.skill_label.lower(), "name": person}
        raise ValidationError({"person": text % told}, code="skill")
