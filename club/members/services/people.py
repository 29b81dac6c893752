"""People: joining, their own profile, their sessions, the end of a membership."""

from __future__ import annotations

from collections.abc import Iterable

from allauth.account.models import EmailAddress
from django.contrib.auth.models import Group
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from club.members.roles import Role
from club.members.services.checks import clean_name, clean_units, require_perm
from club.members.services.roles import keep_an_organiser

NAME_LENGTH = 120


@transaction.atomic
def member_enrol(*, email: str, name: str, password: str | None, units: str, roles: Iterable[Role] = ()) -> User:
    """Make a member whose email is known to be theirs. Checks no permission: its callers have (an accepted
    invitation, the set-up of a demo club). Raises ValidationError when the email is somebody's already.
    """
    plain = email.strip().lower()
    fields = {"name": clean_name(name, longest=NAME_LENGTH), "units": clean_units(units)}
    try:
        # An attempt of its own, so that a refused row leaves the outer transaction usable.
        with transaction.atomic():
            user = User.objects.create_user(plain, password, **fields)
            EmailAddress.objects.create(user=user, email=plain, verified=True, primary=True)
    except IntegrityError as error:
        raise ValidationError({"email": _("Somebody with this email is in the club already.")}) from error
    wanted = {role.value for role in roles} | {Role.MEMBER.value}
    user.groups.set(Group.objects.filter(name__in=wanted))
    return user


@transaction.atomic
def profile_change(*, by: User, name: str, units: str) -> None:
    """A person's own name and units."""
    by.name = clean_name(name, longest=NAME_LENGTH)
    by.units = clean_units(units)
    by.save(update_fields=["name", "units"])


@transaction.atomic
def sessions_end_everywhere(*, user: User) -> None:
    """Sign the person out of every browser at once, this one included: no older session matches the new epoch."""
    User.objects.filter(pk=user.pk).update(session_epoch=F("session_epoch") + 1)
    user.refresh_from_db(fields=["session_epoch"])


@transaction.atomic
def member_deactivate(*, by: User, person: User) -> None:
    """End a membership: no sign-in, no sessions, no roles but member. What the person made stays."""
    require_perm(by, "members.grant_role")
    if by.pk == person.pk:
        raise ValidationError(_("You cannot end your own membership. Ask another organiser."))
    if person.is_superuser and not by.is_superuser:
        raise PermissionDenied
    keep_an_organiser(besides=person)
    User.objects.filter(pk=person.pk).update(is_active=False)
    person.groups.set(Group.objects.filter(name=Role.MEMBER.value))
    sessions_end_everywhere(user=person)
    person.refresh_from_db(fields=["is_active"])
    person.forget_roles()


@transaction.atomic
def member_reactivate(*, by: User, person: User) -> None:
    """Let a former member in again, as a member; other roles are given anew."""
    require_perm(by, "members.grant_role")
    User.objects.filter(pk=person.pk).update(is_active=True)
    person.refresh_from_db(fields=["is_active"])
