"""The four roles and what each may do; what a person can learn at the club."""

from __future__ import annotations

from enum import StrEnum

from django.db import models
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

# The four roles and what each may do. Roles are Django groups; this table is the one place that fills them.


class Role(StrEnum):
    MEMBER = "member"
    INSTRUCTOR = "instructor"
    KEEPER = "keeper"
    ORGANISER = "organiser"

    @classmethod
    def choices(cls) -> list[tuple[str, Promise]]:
        return [(role.value, LABELS[role]) for role in cls]


LABELS: dict[Role, Promise] = {
    Role.MEMBER: _("Member"),
    Role.INSTRUCTOR: _("Instructor"),
    Role.KEEPER: _("Keeper"),
    Role.ORGANISER: _("Organiser"),
}


# "app_label.codename" by role. A person may hold several roles; each adds to what the others allow.
PERMISSIONS: dict[Role, tuple[str, ...]] = {
    Role.MEMBER: ("batches.add_batch", "equipment.add_hold"),
    Role.INSTRUCTOR: (
        "batches.add_batch",
        "batches.start_for_others",
        "batches.trace_batch",
        "classes.plan_session",
        "equipment.add_hold",
        "equipment.hold_for_class",
        "members.note_skill",
        "recipes.draft_revision",
        "recipes.review_revision",
        "recipes.withdraw_revision",
    ),
    Role.KEEPER: (
        "batches.add_batch",
        "batches.trace_batch",
        "equipment.add_hold",
        "equipment.hold_for_class",
        "equipment.keep_things",
        "jars.keep_ledger",
        "jars.run_orders",
        "recipes.add_price",
    ),
    Role.ORGANISER: (
        "batches.add_batch",
        "batches.start_for_others",
        "batches.trace_batch",
        "classes.plan_session",
        "equipment.add_hold",
        "equipment.hold_for_class",
        "fruit.run_offers",
        "jars.run_orders",
        "members.invite_member",
        "members.grant_role",
        "recipes.add_price",
        "recipes.withdraw_revision",
    ),
}

# What a person can learn at the club, and how it is known that they did. A thing may ask for one before it is lent.


class Skill(models.TextChoices):
    BOILING_WATER = "boiling-water", _("Boiling-water canning")
    PRESSURE = "pressure", _("Pressure canning")
    SPREADS = "spreads", _("Jams and jellies")
    PICKLING = "pickling", _("Pickling and relishes")
    FERMENTING = "fermenting", _("Fermenting")


class SkillHow(models.TextChoices):
    CLASS = "class", _("came to the class")
    WAIVED = "waived", _("waived by an instructor")
