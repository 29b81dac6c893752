"""A kitchen of more than one person."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from club.members import services
from club.members.models import Kitchen
from tests.factories.members import make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada():
    return make_person(name="Ada Plum")


@pytest.fixture
def bo():
    return make_person(name="Bo Plum", email="bo@example.test")


@pytest.fixture
def kitchen(ada):
    return make_kitchen(ada)


def test_whoever_is_added_may_preserve_there(ada, bo, kitchen):
    assert not Kitchen.objects.usable_by(bo).exists()
    services.kitchen_person_add(by=ada, kitchen=kitchen, email=" BO@example.test ")
    assert list(Kitchen.objects.usable_by(bo)) == [kitchen]


@pytest.mark.parametrize("email", ["nobody@example.test", ""])
def test_an_unknown_email_is_refused_by_field(ada, kitchen, email):
    with pytest.raises(ValidationError) as caught:
        services.kitchen_person_add(by=ada, kitchen=kitchen, email=email)
    assert "email" in caught.value.message_dict
    assert list(kitchen.people.all()) == [ada]


def test_a_former_member_cannot_be_added(ada, bo, kitchen):
    services.member_deactivate(by=make_organiser(), person=bo)
    with pytest.raises(ValidationError):
        services.kitchen_person_add(by=ada, kitchen=kitchen, email=bo.email)


def test_others_and_organisers_have_no_say_in_a_household_and_a_hall_has_none(bo, kitchen):
    hall = make_kitchen(bo, is_hall=True)
    for by, where in ((bo, kitchen), (make_organiser(), kitchen), (bo, hall)):
        with pytest.raises(PermissionDenied):
            services.kitchen_person_add(by=by, kitchen=where, email=bo.email)
        with pytest.raises(PermissionDenied):
            services.kitchen_person_remove(by=by, kitchen=where, person=by)


def test_the_last_one_stays(ada, bo, kitchen):
    services.kitchen_person_add(by=ada, kitchen=kitchen, email=bo.email)
    services.kitchen_person_remove(by=bo, kitchen=kitchen, person=ada)
    with pytest.raises(ValidationError, match="the last one stays"):
        services.kitchen_person_remove(by=bo, kitchen=kitchen, person=bo)
    assert list(kitchen.people.all()) == [bo]


def test_the_page_adds_keeps_what_was_typed_and_removes(client, ada, bo, kitchen):
    client.force_login(ada)
    add = reverse("members:kitchen-person-add", args=[kitchen.pk])
    refused = client.post(add, {"email": "nobody@example.test"})
    assert refused.status_code == 200
    assert "nobody@example.test" in refused.content.decode()
    client.post(add, {"email": bo.email})
    page = client.get(reverse("members:kitchen-change", args=[kitchen.pk])).content.decode()
    assert "Bo Plum" in page
    client.post(reverse("members:kitchen-person-remove", args=[kitchen.pk, bo.pk]))
    assert list(kitchen.people.all()) == [ada]


def test_an_outsider_does_not_find_the_kitchen(client, bo, kitchen, ada):
    client.force_login(bo)
    assert client.post(reverse("members:kitchen-person-add", args=[kitchen.pk]), {"email": bo.email}).status_code == 404
    remove = reverse("members:kitchen-person-remove", args=[kitchen.pk, ada.pk])
    assert client.post(remove).status_code == 404
    assert list(kitchen.people.all()) == [ada]
