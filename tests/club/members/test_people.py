from __future__ import annotations

import pytest
from allauth.account.models import EmailAddress
from django.core.exceptions import PermissionDenied, ValidationError
from django.test import Client
from django.urls import reverse

from club.members import services
from club.members.choices import Role
from club.members.models import User
from tests.factories.members import PASSWORD, make_organiser, make_person

pytestmark = pytest.mark.django_db


def is_signed_in(client):
    return client.get(reverse("members:me")).status_code == 200


def test_a_new_member_has_one_confirmed_email_in_small_letters():
    user = make_person(email="Ada.Plum@Example.test")
    address = EmailAddress.objects.get(user=user)
    assert user.email == address.email == "ada.plum@example.test"
    assert address.verified
    assert address.primary


def test_an_email_joins_only_once_however_it_is_written():
    make_person(email="ada@example.test")
    with pytest.raises(ValidationError) as refused:
        make_person(email="ADA@example.test")
    assert "email" in refused.value.message_dict
    assert User.objects.count() == 1


def test_the_confirmed_second_email_of_somebody_joins_nobody_else(member):
    EmailAddress.objects.create(user=member, email="second@example.test", verified=True)
    with pytest.raises(ValidationError):
        make_person(email="second@example.test")
    assert not User.objects.filter(email="second@example.test").exists()


def test_a_person_changes_name_and_units(member):
    services.profile_change(by=member, name="  Ada   Quince ", units="us")
    member.refresh_from_db()
    assert (member.name, member.units) == ("Ada Quince", "us")


@pytest.mark.parametrize(
    ("name", "units", "field"), [("", "us", "name"), ("x" * 121, "us", "name"), ("Ada", "imperial", "units")]
)
def test_a_profile_that_cannot_be_is_refused_at_its_field(member, name, units, field):
    with pytest.raises(ValidationError) as refused:
        services.profile_change(by=member, name=name, units=units)
    assert list(refused.value.message_dict) == [field]
    member.refresh_from_db()
    assert member.name == "Ada Plum"


def test_signing_out_everywhere_ends_every_session_of_this_person_and_of_nobody_else(member):
    phone, laptop, somebody = Client(), Client(), Client()
    phone.force_login(member)
    laptop.force_login(member)
    somebody.force_login(make_person())
    assert all(is_signed_in(c) for c in (phone, laptop, somebody))
    services.sessions_end_everywhere(user=User.objects.get(pk=member.pk))
    assert not is_signed_in(phone)
    assert not is_signed_in(laptop)
    assert is_signed_in(somebody)


def test_one_can_sign_in_again_after_signing_out_everywhere(client, member):
    services.sessions_end_everywhere(user=member)
    client.post(reverse("account_login"), {"login": member.email, "password": PASSWORD})
    assert is_signed_in(client)


def test_a_changed_password_still_ends_other_sessions(member):
    phone = Client()
    phone.force_login(member)
    member.set_password("nine silver spoons")
    member.save()
    assert not is_signed_in(phone)


def test_sessions_survive_a_change_of_the_secret_key_kept_as_fallback(client, member, settings):
    client.force_login(member)
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another secret, long enough to be one, for this test"
    assert is_signed_in(client)


def test_a_former_member_is_signed_out_and_cannot_sign_in(client, organiser):
    member = make_person(Role.KEEPER)
    client.force_login(member)
    services.member_deactivate(by=organiser, person=member)
    assert not is_signed_in(client)
    client.post(reverse("account_login"), {"login": member.email, "password": PASSWORD})
    assert not is_signed_in(client)
    assert member.role_names == {"member"}


def test_a_former_member_comes_back_as_a_member(client, organiser):
    member = make_person(Role.KEEPER)
    services.member_deactivate(by=organiser, person=member)
    services.member_reactivate(by=organiser, person=member)
    client.force_login(member)
    assert is_signed_in(client)
    assert not member.has_role(Role.KEEPER)


def test_only_an_organiser_ends_a_membership(member):
    other = make_person(Role.INSTRUCTOR, Role.KEEPER)
    for change in (services.member_deactivate, services.member_reactivate):
        with pytest.raises(PermissionDenied):
            change(by=other, person=member)
    assert User.objects.get(pk=member.pk).is_active


def test_everybody_may_end_their_own_membership(organiser):
    make_organiser()
    services.member_deactivate(by=organiser, person=organiser)
    assert not User.objects.get(pk=organiser.pk).is_active


def test_an_organiser_does_not_lock_the_site_s_superuser_out(organiser):
    root = User.objects.create_superuser("root@example.test", PASSWORD, name="Root")
    with pytest.raises(PermissionDenied):
        services.member_deactivate(by=organiser, person=root)


def test_the_last_organiser_is_not_ended_by_a_superuser(organiser):
    root = User.objects.create_superuser("root@example.test", PASSWORD, name="Root")
    with pytest.raises(ValidationError, match="last organiser"):
        services.member_deactivate(by=root, person=organiser)
