from __future__ import annotations

from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from club.members import services
from club.members.choices import AltitudeDecides
from club.members.models import Kitchen, KitchenAltitude, kitchen_words
from club.members.rules import BANDS
from recipes.library import shipped_library
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
    services.kitchen_change(by=member, kitchen=own, name="Upstairs", altitude_text="1400 m", altitude_how="map")
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
    kitchen = Kitchen.objects.create(name="Wrong")
    row = {"altitude_m": fields["altitude_m"], "how": fields["altitude_how"]}
    with pytest.raises(IntegrityError), transaction.atomic():
        KitchenAltitude.objects.create(kitchen=kitchen, since=timezone.now(), **row)


def test_a_kitchen_is_as_the_last_of_its_rows_says_and_those_stay():
    """Whoever asks, past every service."""
    kitchen = make_kitchen(altitude="1040 m")
    for write in (
        lambda: Kitchen.objects.create(name="Low", altitude_m=10, altitude_how="map"),
        lambda: Kitchen.objects.filter(pk=kitchen.pk).update(altitude_m=10),
        lambda: Kitchen.objects.filter(pk=kitchen.pk).update(altitude_how="gps"),
        lambda: Kitchen.objects.filter(pk=kitchen.pk).update(altitude_m=None, altitude_how=""),
        lambda: kitchen.altitudes.update(altitude_m=10),
        lambda: kitchen.altitudes.all().delete(),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            write()
    assert (kitchen.altitudes.get().altitude_m, Kitchen.objects.get().altitude_m) == (1040, 1040)


# A lower band takes a second look


def change(by, kitchen, altitude, **more):
    services.kitchen_change(
        by=by, kitchen=kitchen, name="Plum Lane", altitude_text=altitude, altitude_how="map", **more
    )


def test_an_altitude_in_a_lower_band_is_looked_at_twice(member):
    kitchen = make_kitchen(member, altitude="1040 m")
    with pytest.raises(services.SecondLook) as asked:
        change(member, kitchen, "300 m")
    look = asked.value
    assert (look.before, look.metres) == (kitchen.altitudes.get(), 300)
    assert [one.what for one in look.lowered] == list(AltitudeDecides)
    assert look.lowered[0].before == "3,001 to 6,000 ft (915 to 1,828 m)"
    assert look.lowered[0].after == "0 to 1,000 ft (0 to 304 m)"
    kitchen.refresh_from_db()
    assert kitchen.altitude_m == 1040
    change(member, kitchen, "300 m", looked_at=look.before.pk)
    assert kitchen.altitude_m == 300
    change(member, kitchen, "2600 m")  # higher: at once
    with pytest.raises(services.SecondLook):  # the look was at another row
        change(member, kitchen, "300 m", looked_at=look.before.pk)
    rows = [(row.altitude_m, row.how, row.noted_by) for row in kitchen.altitudes.all()]
    assert rows == [(1040, "map", None), (300, "map", member), (2600, "map", member)]


def test_taking_the_altitude_out_in_between_saves_nobody_the_second_look(member):
    kitchen = make_kitchen(member, altitude="1040 m")
    services.kitchen_change(by=member, kitchen=kitchen, name="Plum Lane")
    with pytest.raises(services.SecondLook):
        change(member, kitchen, "10 m")
    change(member, kitchen, "1030 m")  # every band as before


def test_every_limit_of_the_library_is_one_that_is_looked_at():
    limits = {AltitudeDecides.BOILING_WATER: set(), AltitudeDecides.DIAL: set(), AltitudeDecides.WEIGHTED: set()}
    library = shipped_library()
    for entry in (*(one.recipe for one in library.recipes), *(one.table for one in library.tables)):
        for row in getattr(entry, "process", ()) or getattr(entry, "rows", ()):
            limits[AltitudeDecides.BOILING_WATER] |= {band.upper_ft for band in row.minutes_bands}
            limits[AltitudeDecides.DIAL] |= {band.upper_ft for band in row.dial}
            limits[AltitudeDecides.WEIGHTED] |= {band.upper_ft for band in row.weighted}
    assert {what: found - {None} for what, found in limits.items()} == {
        what: set(known) - {None} for what, known in BANDS.items()
    }


def test_the_page_names_both_bands_and_wants_a_tick(member_client, member):
    kitchen = make_kitchen(member, altitude="1040 m")
    url = reverse("members:kitchen-change", args=[kitchen.pk])
    told = {"name": "Plum Lane", "place": "", "altitude": "10", "altitude_unit": "m", "altitude_how": "map"}
    page = member_client.post(url, told)
    assert "Is it really this low?" in page.text
    assert "until now: 3,001 to 6,000 ft (915 to 1,828 m)" in page.text
    assert "from now on: 0 to 1,000 ft (0 to 304 m)" in page.text
    again = {field.html_name: field.value() or "" for field in page.context["form"].sent_again}
    assert "Tick the box" in member_client.post(url, again).text
    assert "Tick the box" not in member_client.post(url, {**told, "looked_at": "9" * 30, "is_right": "on"}).text
    assert Kitchen.objects.get().altitude_m == 1040
    member_client.post(url, {**again, "is_right": "on"})
    assert Kitchen.objects.get().altitude_m == 10
    history = member_client.get(url).text
    assert history.index("since") < history.index("1,040 m")
    # Named anew with the token of a form that was sent already: the same look.
    add, token = reverse("members:kitchen-add"), str(uuid4())
    member_client.post(add, {**told, "token": token, "altitude": "1500"})
    assert "Is it really this low?" in member_client.post(add, {**told, "token": token}).text
    assert Kitchen.objects.get(token=token).altitude_m == 1500


# Two of one name


def test_two_kitchens_of_one_name_are_told_apart(member, django_assert_num_queries):
    bo = make_person(name="Bo Quince")
    one, other, third = (
        make_kitchen(who, name=name) for who, name in ((member, "Plum Lane"), (bo, "plum lane"), (bo, "Quay"))
    )
    with django_assert_num_queries(1):
        words = kitchen_words([one, other, third])
    assert words == {one.pk: "Plum Lane, kept by Ada Plum", other.pk: "plum lane, kept by Bo Quince", third.pk: "Quay"}
    one.place = "Golden"
    assert kitchen_words([one, other]) == {one.pk: "Plum Lane, Golden", other.pk: "plum lane"}
    halls = [make_kitchen(name="Hall", is_hall=True) for _ in range(2)]
    assert list(kitchen_words(halls).values()) == [f"Hall, number {hall.pk}" for hall in halls]
    with django_assert_num_queries(0):
        assert kitchen_words([one, third]) == {one.pk: "Plum Lane", third.pk: "Quay"}


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
