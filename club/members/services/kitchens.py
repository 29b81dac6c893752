"""Kitchens. Their altitude decides process times, so it comes with how it is known, or not at all."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.members.altitudes import metres_from_text
from club.members.models import (
    KITCHEN_INVITATION_KEPT,
    AltitudeChange,
    AltitudeHow,
    Kitchen,
    KitchenInvitation,
    User,
)
from club.members.roles import Role
from club.members.services.checks import clean_name
from recipes.engine.atmosphere import AltitudeError

NAME_LENGTH = 80
MOST_INVITATIONS_A_DAY = 10  # by one person, to all their kitchens; our own choice, no source
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
            "founded_by": None if is_hall else by,
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

    Another altitude is noted, so that the whole household is told (club/reminders/kitchens.py). Raises like
    kitchen_add.
    """
    if not Kitchen.objects.changeable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    metres, how = _clean_altitude(altitude_text, altitude_how)
    # Read anew and locked: of two changes at once the second goes from what the first left.
    was = Kitchen.objects.select_for_update().get(pk=kitchen.pk)
    kitchen.name = clean_name(name, longest=NAME_LENGTH)
    kitchen.altitude_m = metres
    kitchen.altitude_how = how
    kitchen.power_limit_w = _clean_power(power_limit_w) if kitchen.is_hall else None
    kitchen.save(update_fields=["name", "altitude_m", "altitude_how", "power_limit_w"])
    if was.altitude_m != metres:
        AltitudeChange.objects.create(
            kitchen=kitchen,
            changed_by=by,
            changed_at=timezone.now(),
            from_m=was.altitude_m,
            from_how=was.altitude_how,
            to_m=metres,
            to_how=how,
        )


def _clean_power(watts: int | None) -> int | None:
    if watts is not None and not 1 <= watts <= MOST_WATTS:
        raise ValidationError({"power_limit_w": _("Give the watts that the wiring carries, such as 12000.")})
    return watts


@transaction.atomic
def kitchen_invite(*, by: User, kitchen: Kitchen, email: str, now: datetime | None = None) -> None:
    """Ask the owner of an address to preserve here too. Nothing changes until they accept on their own page.

    The outcome is the same whether or not a member has the address. An address that was asked already is not asked
    again while that stands, even if it was declined or taken back meanwhile. PermissionDenied unless the kitchen is
    one's own; ValidationError (email).
    """
    _own_check(by, kitchen)
    moment = now or timezone.now()
    address = email.strip().lower()
    try:
        validate_email(address)
    except ValidationError as error:
        raise ValidationError({"email": error.messages}) from error
    if kitchen.people.filter(email=address).exists():
        raise ValidationError({"email": _("They preserve in this kitchen already.")})
    sent_today = KitchenInvitation.objects.filter(invited_by=by, invited_at__gt=moment - timedelta(days=1))
    if sent_today.exclude(kitchen=kitchen, email=address).count() >= MOST_INVITATIONS_A_DAY:
        text = _("You have asked %(n)s addresses today. Ask more tomorrow.") % {"n": MOST_INVITATIONS_A_DAY}
        raise ValidationError({"email": text})
    person = User.objects.filter(email=address, is_active=True).first()
    asked = {"person": person, "invited_by": by, "invited_at": moment}
    made, is_new = KitchenInvitation.objects.get_or_create(kitchen=kitchen, email=address, defaults=asked)
    if is_new:
        return
    if made.accepted_at is None and made.invited_at > moment - KITCHEN_INVITATION_KEPT:
        asked = {"person": person, "invited_by": by}
    else:
        asked |= {"accepted_at": None, "declined_at": None}
    KitchenInvitation.objects.filter(pk=made.pk).update(**asked, withdrawn_at=None)


@transaction.atomic
def kitchen_invitation_withdraw(*, by: User, invitation: KitchenInvitation, now: datetime | None = None) -> None:
    """Take it back before it is accepted: whoever is of the household. Twice is the same as once."""
    _own_check(by, invitation.kitchen)
    waiting = KitchenInvitation.objects.filter(pk=invitation.pk, accepted_at=None, withdrawn_at=None)
    waiting.update(withdrawn_at=now or timezone.now())


@transaction.atomic
def kitchen_invitation_answer(
    *, by: User, invitation: KitchenInvitation, accept: bool, now: datetime | None = None
) -> None:
    """The person's own answer. With a yes they preserve here, and see and log the batches of this kitchen.

    PermissionDenied for anybody else; ValidationError where it is not waiting any more.
    """
    if invitation.person_id != by.pk or not by.is_active:
        raise PermissionDenied
    moment = now or timezone.now()
    answered = {"accepted_at": moment} if accept else {"declined_at": moment}
    # The state is in the statement that answers: taken back a moment ago, it lets nobody in.
    if KitchenInvitation.objects.shown(moment).filter(pk=invitation.pk, declined_at=None).update(**answered) != 1:
        raise ValidationError(_("This is over: it was answered, taken back, or too long ago. Ask them to ask again."))
    if accept:
        invitation.kitchen.people.add(by)


@transaction.atomic
def kitchen_person_remove(*, by: User, kitchen: Kitchen, person: User, now: datetime | None = None) -> None:
    """Oneself or another of the household, but nobody else the one who founded it. Whoever made a batch here keeps it.

    What the one who goes had asked is taken back. The last one stays. When the founder leaves, whoever has been here
    longest is in their place.
    """
    _own_check(by, kitchen)
    kept = Kitchen.objects.select_for_update().get(pk=kitchen.pk)
    if person.pk == kept.founded_by_id and by.pk != person.pk:
        raise ValidationError(_("%(person)s founded this kitchen: they leave it themselves.") % {"person": person})
    if not kept.people.exclude(pk=person.pk).exists():
        raise ValidationError(_("A kitchen belongs to somebody: the last one stays."))
    kept.people.remove(person)
    if person.pk == kept.founded_by_id:
        kept.founded_by = Kitchen.people.through.objects.filter(kitchen=kept).earliest("pk").user
        kept.save(update_fields=["founded_by"])
    User.objects.filter(pk=person.pk, kitchen_chosen=kept).update(kitchen_chosen=None)
    User.objects.filter(pk=person.pk, kitchen_used=kept).update(kitchen_used=None)
    asked = kept.invitations.filter(invited_by=person, accepted_at=None, withdrawn_at=None)
    asked.update(withdrawn_at=now or timezone.now())


@transaction.atomic
def kitchen_choose(*, by: User, kitchen: Kitchen) -> None:
    """Pages show figures for it unless another is asked for. PermissionDenied where they cannot use it."""
    if not Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).exists():
        raise PermissionDenied
    by.kitchen_chosen = kitchen
    by.save(update_fields=["kitchen_chosen"])


def kitchen_used(*, by: User, kitchen: Kitchen) -> None:
    """Note where somebody preserved last. Checks no permission: its caller has."""
    User.objects.filter(pk=by.pk).update(kitchen_used=kitchen)


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
