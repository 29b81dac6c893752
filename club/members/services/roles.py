"""Roles: the groups themselves, and who holds which."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib.auth.models import Group, Permission
from django.core.exceptions import ValidationError
from django.db import DEFAULT_DB_ALIAS, transaction
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from club.members.roles import PERMISSIONS, Role
from club.members.services.checks import require_perm


@transaction.atomic
def roles_install(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Make the four groups hold exactly what roles.PERMISSIONS says, as far as those permissions exist yet."""
    for role, names in PERMISSIONS.items():
        group, _made = Group.objects.using(using).get_or_create(name=role.value)
        group.permissions.set(_permissions(names, using=using))


def _permissions(names: Iterable[str], *, using: str) -> list[Permission]:
    wanted = Q(pk=None)
    for name in names:
        label, codename = name.split(".")
        wanted |= Q(content_type__app_label=label, codename=codename)
    return list(Permission.objects.using(using).filter(wanted))


@transaction.atomic
def role_grant(*, by: User, person: User, role: Role) -> None:
    """Give a role; giving it again changes nothing."""
    require_perm(by, "members.grant_role")
    if not person.is_active:
        raise ValidationError(_("This membership has ended. Start it again before you give a role."))
    person.groups.add(Group.objects.get(name=role.value))
    person.forget_roles()


@transaction.atomic
def role_take(*, by: User, person: User, role: Role) -> None:
    """Take a role away; a role that is not held changes nothing. A club always keeps an organiser."""
    require_perm(by, "members.grant_role")
    if role is Role.MEMBER:
        raise ValidationError({"roles": _("Everybody in the club is a member. End the membership instead.")})
    if role is Role.ORGANISER:
        keep_an_organiser(besides=person)
    person.groups.remove(Group.objects.get(name=role.value))
    person.forget_roles()


@transaction.atomic
def roles_change(*, by: User, person: User, roles: Iterable[Role]) -> None:
    """Let the person hold exactly these roles, and member as ever."""
    require_perm(by, "members.grant_role")
    wanted = {Role(role) for role in roles} | {Role.MEMBER}
    held = {Role(name) for name in person.role_names if name in set(Role)}
    for role in sorted(wanted - held):
        role_grant(by=by, person=person, role=role)
    for role in sorted(held - wanted):
        role_take(by=by, person=person, role=role)


def keep_an_organiser(*, besides: User) -> None:
    """Refuse when nobody active but this person is an organiser. Call inside the transaction that changes it.

    Two organisers who take the role from each other must not both succeed: on PostgreSQL the lock on the group's
    row makes the second wait and then see the first's change; on SQLite every transaction that writes holds the
    only write lock from its first statement (transaction_mode IMMEDIATE), which does the same.
    """
    Group.objects.select_for_update().get(name=Role.ORGANISER.value)
    if User.objects.get_queryset().holding(Role.ORGANISER).exclude(pk=besides.pk).exists():
        return
    if User.objects.get_queryset().holding(Role.ORGANISER).filter(pk=besides.pk).exists():
        raise ValidationError({"roles": _("This is the club's last organiser. Make somebody else one first.")})
