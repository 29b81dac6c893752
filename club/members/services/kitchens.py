"""Kitchens. Their altitude decides process times, so it comes with how it is known, or not at all."""

from __future__ import annotations

from decimal import Decimal
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from club.members.altitudes import metres_from_text
from club.members.models import AltitudeHow, Kitchen, User
from club.members.roles import Role
from club.members.services.checks import clean_name
from recipes.engine.atmosphere import AltitudeError

NAME_LENGTH = 80
MOST_WATTS = 1_000_000  # a slip of the pen, not a rule


@transaction.atomic
def kitchen_add(
    *,
    by: User,
    name: str,
    altitude_text: str = "",
    altitude_how: str = "",
    is_hall: bool = False,
    power_limit_w: int | None = None,
    token: UUID | None = None,
) -> Kitchen:
    """A kitchen of the person's own, or a hall of the club's (organisers). `altitude_text` is "1040 m", "3400 ft"
    or empty for unknown; `power_limit_w` is what a hall's wiring carries, None where nobody has said. The same
    `token` again finds the kitchen made the first time and writes to that one, so that who goes back and mends the
    altitude gets the mended one. Raises PermissionDenied, ValidationError (fields
    name, altitude, altitude_how, power_limit_w).
    """
    if is_hall and not by.has_role(Role.ORGANISER):
        raise PermissionDenied
    if made := Kitchen.objects.filter(token=token).first() if token else None:
        kitchen_change(
            by=by,
            kitchen=made,
            name=name,
            altitude_text=altitude_text,
            altitude_how=altitude_how,
            power_limit_w=power_limit_w,
        )
        return made
    metres, how = _clean_altitude(altitude_text, altitude_how)
    kitchen, is_new = Kitchen.objects.get_or_create(
        token=token or uuid4(),
        defaults={
            "name": clean_name(name, longest=NAME_LENGTH),
            "altitude_m": metres,
            "altitude_how": how,
            "is_hall": is_hall,
            "power_limit_w": _clean_power(power_limit_w) if is_hall else None,
        },
    )
    if is_new and not is_hall:
        kitchen.people.add(by)
    return kitchen


@transaction.atomic
def kitchen_change(
    *,
    by: User,
    kitchen: Kitchen,
    name: str,
    altitude_text: str = "",
    altitude_how: str = "",
    power_limit_w: int | None = None,
) -> None:
    """Batches keep the altitude that they were started at; this is for the next ones. Only a hall has a power limit.

    Raises like kitchen_add.
    """
    if not Kitchen.objects.changeable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    metres, how = _clean_altitude(altitude_text, altitude_how)
    kitchen.name = clean_name(name, longest=NAME_LENGTH)
    kitchen.altitude_m = metres
    kitchen.altitude_how = how
    kitchen.power_limit_w = _clean_power(power_limit_w) if kitchen.is_hall else None
    kitchen.save(update_fields=["name", "altitude_m", "altitude_how", "power_limit_w"])


def _clean_power(watts: int | None) -> int | None:
    if watts is not None and not 1 <= watts <= MOST_WATTS:
        raise ValidationError({"power_limit_w": _("Give the watts that the wiring carries, such as 12000.")})
    return watts


@transaction.atomic
def kitchen_person_add(*, by: User, kitchen: Kitchen, email: str) -> User:
    """Somebody else of the household: she preserves here, and sees and logs the batches of this kitchen, as `by` does.

    PermissionDenied unless the kitchen is one's own; ValidationError (email) where no member has that address.
    """
    _own_check(by, kitchen)
    person = User.objects.filter(email=email.strip().lower(), is_active=True).first()
    if person is None:
        raise ValidationError({"email": _("No member has this email. An organiser can invite her first.")})
    kitchen.people.add(person)
    return person


@transaction.atomic
def kitchen_person_remove(*, by: User, kitchen: Kitchen, person: User) -> None:
    """Oneself or another of the household. Whoever made a batch here keeps it. The last one stays."""
    _own_check(by, kitchen)
    if not kitchen.people.exclude(pk=person.pk).exists():
        raise ValidationError(_("A kitchen belongs to somebody: the last one stays."))
    kitchen.people.remove(person)


def _own_check(by: User, kitchen: Kitchen) -> None:
    if kitchen.is_hall or not kitchen.people.filter(pk=by.pk).exists():
        raise PermissionDenied


def _clean_altitude(text: str, how: str) -> tuple[Decimal | None, str]:
    if not text.strip():
        return None, ""
    try:
        metres = metres_from_text(text)
    except AltitudeError as error:
        raise ValidationError({"altitude": str(error)}) from error
    if how not in AltitudeHow.values:
        raise ValidationError({"altitude_how": _("Say how the altitude is known.")})
    return metres, how
