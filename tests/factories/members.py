"""People, kitchens and invitations for tests. Everybody is invented."""

from __future__ import annotations

import time
from datetime import date, datetime
from decimal import Decimal
from itertools import count
from typing import Any

from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, format_hotp_value, generate_totp_secret, hotp_value
from django.utils import timezone

from club.members import services
from club.members.choices import Role, Skill
from club.members.models import (
    AltitudeHow,
    HouseholdMember,
    Invitation,
    Kitchen,
    KitchenAltitude,
    SkillRecord,
    User,
)
from club.members.rules import metres_from_text

PASSWORD = "seven copper ladles"
_numbers = count(1)


def make_person(*roles: Role, email: str = "", name: str = "Ada Plum", units: str = "metric") -> User:
    """A member with a confirmed email, and with these roles besides. They may share their name with others."""
    email = email or f"person-{next(_numbers)}@example.test"
    told = {"password": PASSWORD, "units": units, "roles": roles, "is_name_shared": True}
    return services.member_enrol(email=email, name=name, **told)


def make_organiser(**fields: Any) -> User:
    return make_person(Role.ORGANISER, **fields)


def make_kitchen(*people: User, name: str = "Plum Lane", altitude: str = "1040 m", is_hall: bool = False) -> Kitchen:
    """Founded and kept by the first of these people. `altitude` "" is a kitchen whose altitude nobody knows."""
    founder = people[0] if people and not is_hall else None
    kitchen = Kitchen.objects.create(name=name, is_hall=is_hall, founded_by=founder)
    for person in people:
        HouseholdMember.objects.create(kitchen=kitchen, user=person, is_keeper=person == founder)
    if altitude:
        set_altitude(kitchen, metres_from_text(altitude), at=kitchen.created_at)
    return kitchen


def set_altitude(kitchen: Kitchen, metres: Decimal | int | None, *, at: datetime | None = None) -> None:
    """By nobody in particular, without a second look."""
    how = "" if metres is None else AltitudeHow.MAP
    KitchenAltitude.objects.create(kitchen=kitchen, altitude_m=metres, how=how, since=at or timezone.now())
    kitchen.altitude_m, kitchen.altitude_how = metres, how
    kitchen.save(update_fields=["altitude_m", "altitude_how"])


def make_invitation(*, by: User | None = None, email: str = "", name: str = "", role: Role = Role.MEMBER) -> Invitation:
    email = email or f"guest-{next(_numbers)}@example.test"
    return services.invitation_send(by=by or make_organiser(), email=email, name=name, role=role.value)


def make_skill(person: User, skill: str = Skill.PRESSURE, *, on: date = date(2026, 5, 2)) -> SkillRecord:
    """Learned in a class; a second call finds the first record."""
    by = make_person(Role.INSTRUCTOR)
    return services.skill_gain(by=by, person=person, skill=skill, gained_on=on, class_title="Under pressure")


def make_codes(person: User) -> str:
    """One-time codes and recovery codes set up; the key of the former."""
    secret = generate_totp_secret()
    TOTP.activate(person, secret)
    RecoveryCodes.activate(person)
    return secret


def code_of(secret: str, later: int = 0) -> str:
    """The code that an app shows now, or so many half minutes later."""
    return format_hotp_value(hotp_value(secret, int(time.time()) // 30 + later))
