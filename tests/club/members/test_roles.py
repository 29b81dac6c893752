from __future__ import annotations

import pytest
from django.contrib.auth.models import Group, Permission
from django.core.exceptions import PermissionDenied, ValidationError

from club.members import services
from club.members.choices import PERMISSIONS, Role
from club.members.models import User
from tests.factories.members import make_organiser, make_person

pytestmark = pytest.mark.django_db


def held(group):
    return {f"{p.content_type.app_label}.{p.codename}" for p in group.permissions.select_related("content_type")}


@pytest.mark.parametrize("role", list(Role))
def test_a_fresh_database_has_each_role_with_just_its_permissions(role):
    assert held(Group.objects.get(name=role.value)) == set(PERMISSIONS[role])


def test_installing_again_mends_what_was_lost_or_added_by_hand():
    keeper = Group.objects.get(name="keeper")
    keeper.permissions.set([Permission.objects.get(codename="delete_user")])
    services.roles_install()
    services.roles_install()
    assert held(keeper) == set(PERMISSIONS[Role.KEEPER])
    assert Group.objects.count() == len(Role)


def test_an_organiser_gives_and_takes_a_role(organiser, member):
    services.role_grant(by=organiser, person=member, role=Role.KEEPER)
    assert member.has_role(Role.KEEPER)
    assert member.has_perm("batches.trace_batch")
    services.role_take(by=organiser, person=member, role=Role.KEEPER)
    assert not member.has_role(Role.KEEPER)
    assert not User.objects.get(pk=member.pk).has_perm("batches.trace_batch")


@pytest.mark.parametrize("change", [services.role_grant, services.role_take])
@pytest.mark.parametrize("role", [Role.MEMBER, Role.INSTRUCTOR, Role.KEEPER])
def test_nobody_but_an_organiser_changes_roles(change, role):
    with pytest.raises(PermissionDenied):
        change(by=make_person(role), person=make_person(Role.KEEPER), role=Role.KEEPER)


def test_the_last_organiser_stays_one(organiser):
    with pytest.raises(ValidationError, match="last organiser"):
        services.role_take(by=organiser, person=organiser, role=Role.ORGANISER)
    assert User.objects.get(pk=organiser.pk).has_role(Role.ORGANISER)


def test_an_organiser_who_left_does_not_count_as_one(organiser):
    other = make_organiser()
    User.objects.filter(pk=other.pk).update(is_active=False)
    with pytest.raises(ValidationError, match="last organiser"):
        services.role_take(by=organiser, person=organiser, role=Role.ORGANISER)


def test_one_of_two_organisers_may_step_down(organiser):
    make_organiser()
    services.role_take(by=organiser, person=organiser, role=Role.ORGANISER)
    assert not organiser.has_role(Role.ORGANISER)


def test_everybody_stays_a_member(organiser, member):
    with pytest.raises(ValidationError, match="Everybody"):
        services.role_take(by=organiser, person=member, role=Role.MEMBER)
    services.roles_change(by=organiser, person=member, roles=[Role.INSTRUCTOR])
    assert member.role_names == {"member", "instructor"}


def test_a_change_of_roles_that_is_refused_half_way_changes_nothing(organiser):
    with pytest.raises(ValidationError):
        services.roles_change(by=organiser, person=organiser, roles=[Role.KEEPER])
    assert User.objects.get(pk=organiser.pk).role_names == {"member", "organiser"}


def test_a_former_member_gets_no_role(organiser, member):
    services.member_deactivate(by=organiser, person=member)
    with pytest.raises(ValidationError, match="ended"):
        services.role_grant(by=organiser, person=member, role=Role.KEEPER)
