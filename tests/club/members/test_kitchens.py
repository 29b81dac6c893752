from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members import services
from club.members.models import Kitchen
from tests.factories.members import make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db


def test_a_kitchen_in_feet_is_stored_exactly_in_metres(member):
    kitchen = services.kitchen_add(by=member, name="Plum Lane", altitude_text="3400 ft", altitude_how="survey")
    kitchen.refresh_from_db()
    assert kitchen.altitude_m == Decimal("1036.3200")
    assert kitchen.altitude.feet == 3400
    assert list(kitchen.people.all()) == [member]


def test_a_kitchen_without_altitude_is_allowed_and_has_none(member):
    kitchen = services.kitchen_add(by=member, name="Plum Lane")
    assert kitchen.altitude is None
    assert kitchen.altitude_words == ""


@pytest.mark.parametrize("text", ["-431 m", "5001 m", "16405 ft", "1040", "1040 yards", "a hill"])
def test_an_impossible_altitude_is_refused_and_nothing_is_kept(member, text):
    with pytest.raises(ValidationError) as refused:
        services.kitchen_add(by=member, name="Plum Lane", altitude_text=text, altitude_how="map")
    assert list(refused.value.message_dict) == ["altitude"]
    assert not Kitchen.objects.exists()


@pytest.mark.parametrize("how", ["", "guessed"])
def test_an_altitude_says_how_it_is_known(member, how):
    with pytest.raises(ValidationError) as refused:
        services.kitchen_add(by=member, name="Plum Lane", altitude_text="1040 m", altitude_how=how)
    assert list(refused.value.message_dict) == ["altitude_how"]


def test_the_same_form_sent_twice_makes_one_kitchen(member):
    token = uuid4()
    first = services.kitchen_add(by=member, name="Plum Lane", token=token)
    again = services.kitchen_add(by=member, name="Plum Lane", token=token)
    assert first == again
    assert Kitchen.objects.count() == 1


def test_who_goes_back_and_mends_the_altitude_gets_the_mended_one(member):
    token = uuid4()
    services.kitchen_add(by=member, name="Plum Lane", altitude_text="1040 ft", altitude_how="map", token=token)
    services.kitchen_add(by=member, name="Plum Lane", altitude_text="1040 m", altitude_how="map", token=token)
    assert Kitchen.objects.get().altitude_m == 1040


def test_somebody_else_s_token_opens_nothing(member):
    token = uuid4()
    services.kitchen_add(by=make_person(), name="Theirs", token=token)
    with pytest.raises(PermissionDenied):
        services.kitchen_add(by=member, name="Mine", token=token)
    assert Kitchen.objects.get().name == "Theirs"


def test_a_hall_is_an_organiser_s_to_add_and_everybody_s_to_use(member, organiser):
    with pytest.raises(PermissionDenied):
        services.kitchen_add(by=member, name="Hall", is_hall=True)
    hall = services.kitchen_add(by=organiser, name="Hall", is_hall=True)
    assert hall in Kitchen.objects.usable_by(member)
    assert not hall.people.exists()


def test_one_uses_own_kitchens_and_halls_only(member):
    own, hall, _theirs = make_kitchen(member), make_kitchen(is_hall=True), make_kitchen(make_person())
    assert set(Kitchen.objects.usable_by(member)) == {own, hall}


def test_only_who_may_changes_a_kitchen(member):
    organiser = make_organiser()
    own, hall, theirs = make_kitchen(member), make_kitchen(is_hall=True), make_kitchen(make_person())
    services.kitchen_change(by=member, kitchen=own, name="Upstairs", altitude_text="0 m", altitude_how="map")
    services.kitchen_change(by=organiser, kitchen=hall, name="Big hall")
    for by, kitchen in ((member, hall), (member, theirs), (organiser, own), (organiser, theirs)):
        with pytest.raises(PermissionDenied):
            services.kitchen_change(by=by, kitchen=kitchen, name="Stolen")
    assert {k.name for k in Kitchen.objects.all()} == {"Upstairs", "Big hall", "Plum Lane"}


def test_taking_the_altitude_away_takes_how_it_is_known_too(member):
    kitchen = make_kitchen(member)
    services.kitchen_change(by=member, kitchen=kitchen, name="Plum Lane", altitude_text="", altitude_how="map")
    kitchen.refresh_from_db()
    assert (kitchen.altitude_m, kitchen.altitude_how) == (None, "")


@pytest.mark.parametrize(
    "fields",
    [
        {"altitude_m": Decimal("-430.0001"), "altitude_how": "map"},
        {"altitude_m": Decimal("5000.0001"), "altitude_how": "map"},
        {"altitude_m": Decimal(1040), "altitude_how": ""},
        {"altitude_m": None, "altitude_how": "map"},
    ],
)
def test_the_database_itself_refuses_an_altitude_that_cannot_be(fields):
    with pytest.raises(IntegrityError), transaction.atomic():
        Kitchen.objects.create(name="Wrong", **fields)


def test_the_wiring_of_a_hall_is_the_organisers_to_say_and_a_households_is_nobodys(member, organiser):
    hall = services.kitchen_add(by=organiser, name="Big hall", is_hall=True, power_limit_w=12_000)
    assert hall.power_limit_w == 12_000
    services.kitchen_change(by=organiser, kitchen=hall, name="Big hall", power_limit_w=9000)
    assert Kitchen.objects.get(pk=hall.pk).power_limit_w == 9000
    own = services.kitchen_add(by=member, name="Plum Lane", power_limit_w=12_000)
    assert own.power_limit_w is None
    with pytest.raises(PermissionDenied):
        services.kitchen_change(by=member, kitchen=hall, name="Big hall", power_limit_w=99_000)


@pytest.mark.parametrize("watts", [0, -5, 1_000_001])
def test_wiring_that_cannot_be_is_refused(organiser, watts):
    with pytest.raises(ValidationError) as refused:
        services.kitchen_add(by=organiser, name="Big hall", is_hall=True, power_limit_w=watts)
    assert list(refused.value.message_dict) == ["power_limit_w"]
