"""The four roles and what each may do; what a person can learn; what the people's ledger and an altitude tell of; what
can change of how somebody signs in.
"""

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
        "desk.set_harvest",
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


# What the people's ledger tells of. Who did it and to whom stands beside it.


class EventKind(models.TextChoices):
    SIGNED_IN = "signed-in", _("signed in")
    SIGN_IN_REFUSED = "sign-in-refused", _("wrong password or code")
    SESSIONS_ENDED = "sessions-ended", _("signed out of other devices")
    PASSWORD_CHANGED = "password-changed", _("password changed")
    EMAIL_ADDED = "email-added", _("email address added")
    EMAIL_CONFIRMED = "email-confirmed", _("email address confirmed")
    EMAIL_CHANGED = "email-changed", _("email address changed")
    EMAIL_REMOVED = "email-removed", _("email address removed")
    FACTOR_ADDED = "factor-added", _("second step of signing in added")
    FACTOR_REMOVED = "factor-removed", _("second step of signing in removed")
    RECOVERY_RENEWED = "recovery-renewed", _("recovery codes made anew")
    MEMBERSHIP_BEGUN = "membership-begun", _("membership begun")
    MEMBERSHIP_ENDED = "membership-ended", _("membership ended")
    MADE_NAMELESS = "made-nameless", _("name and address erased")
    ROLE_GIVEN = "role-given", _("role given")
    ROLE_TAKEN = "role-taken", _("role taken")
    HOUSEHOLD_JOINED = "household-joined", _("joined a household")
    HOUSEHOLD_LEFT = "household-left", _("left a household")
    HOUSEHOLD_REMOVED = "household-removed", _("removed from a household")
    HOUSEHOLD_RENAMED = "household-renamed", _("kitchen named anew")
    HOUSEHOLD_HANDED_ON = "household-handed-on", _("another keeps the household")
    ALTITUDE_CHANGED = "altitude-changed", _("altitude changed")
    INSTRUCTOR_NAMED = "instructor-named", _("named as instructor of a session")
    INSTRUCTOR_DROPPED = "instructor-dropped", _("not an instructor of a session any more")
    NOTE_READ = "note-read", _("note on health and access read")
    EXPORTED = "exported", _("file taken out")
    ADMIN_CHANGED = "admin-changed", _("changed on the admin site")


# What hangs on a kitchen's altitude.


class AltitudeDecides(models.TextChoices):
    BOILING_WATER = "boiling-water", _("minutes in a boiling-water canner")
    DIAL = "dial", _("pressure on a dial gauge")
    WEIGHTED = "weighted", _("pressure with a weighted gauge")
    STERILISING = "sterilising", _("minutes to boil empty jars")


class SignInChangeKind(models.TextChoices):
    """As its mail says it: "Of your account: the password was changed"."""

    EMAIL = "email", _("the email that signs you in was changed")
    EMAIL_REMOVED = "email-removed", _("an email was removed")
    PASSWORD = "password", _("the password was changed")
    PASSWORD_RESET = "password-reset", _("the password was changed through a link in a mail")
    TOTP_ADDED = "totp-added", _("one-time codes were set up")
    TOTP_REMOVED = "totp-removed", _("one-time codes were turned off")
    PASSKEY_ADDED = "passkey-added", _("a passkey was added")
    PASSKEY_REMOVED = "passkey-removed", _("a passkey was removed")
    RECOVERY = "recovery", _("new recovery codes were made, and the old ones are void")
    FACTORS_LIFTED = "factors-lifted", _("an organiser took your passkeys and codes away, for you to set up anew")


class LabelSigned(models.TextChoices):
    """Whose name a jar's label has."""

    KITCHEN = "kitchen", _("the kitchen")
    CLUB = "club", _("the club")
    BOTH = "both", _("the kitchen and the club")
