from __future__ import annotations

import re
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from club.members import services
from club.members.choices import Role
from club.members.models import Kitchen, User
from tests.factories.members import make_invitation, make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db

KITCHEN = {"name": "Plum Lane", "altitude": "1040", "altitude_unit": "m", "altitude_how": "map"}


def form_with(**change):
    return {"token": uuid4(), **KITCHEN, **change}


def test_my_page_shows_my_kitchens_and_the_halls_with_both_units(member_client, member):
    make_kitchen(member, name="Mine", altitude="3400 ft")
    make_kitchen(name="Big hall", is_hall=True)
    make_kitchen(make_person(), name="Theirs")
    page = member_client.get(reverse("members:me")).text
    assert "1,036.4 m (3,400 ft)" in page
    assert "Big hall" in page
    assert "Theirs" not in page


def test_my_page_offers_to_change_only_what_i_may(member_client, member):
    own, hall = make_kitchen(member), make_kitchen(is_hall=True)
    page = member_client.get(reverse("members:me")).text
    assert f'href="{reverse("members:kitchen-change", args=[own.pk])}"' in page
    assert f'href="{reverse("members:kitchen-change", args=[hall.pk])}"' not in page


def test_my_page_without_a_kitchen_says_what_to_do(member_client):
    assert "Name your kitchen" in member_client.get(reverse("members:me")).text


def test_a_kitchen_without_altitude_is_said_to_get_no_process_time(member_client, member):
    make_kitchen(member, altitude="")
    assert "No process time is given for this kitchen" in member_client.get(reverse("members:me")).text


def test_a_profile_is_saved(member_client, member):
    page = member_client.post(reverse("members:me"), {"name": "Ada Quince", "units": "us"}, follow=True)
    assert "Saved." in page.text
    member.refresh_from_db()
    assert (member.name, member.units) == ("Ada Quince", "us")


def test_a_wrong_profile_is_refused_beside_its_field_and_kept_as_typed(member_client, member):
    page = member_client.post(reverse("members:me"), {"name": "Ada Quince", "units": "imperial"})
    assert page.context["form"].errors.keys() == {"units"}
    assert 'value="Ada Quince"' in page.text
    member.refresh_from_db()
    assert member.name == "Ada Plum"


def test_signing_out_everywhere_ends_this_and_the_other_browser(member_client, member):
    phone = Client()
    phone.force_login(member)
    assert member_client.get(reverse("members:sign-out-everywhere")).status_code == 405
    page = member_client.post(reverse("members:sign-out-everywhere"), follow=True)
    assert "signed out everywhere" in page.text
    for browser in (member_client, phone):
        assert browser.get(reverse("members:me")).status_code == 302


def test_a_kitchen_is_added_once_however_often_the_form_is_sent(member_client, member):
    told = form_with()
    for _press in range(2):
        answer = member_client.post(reverse("members:kitchen-add"), told)
        assert (answer.status_code, answer.url) == (302, reverse("desk:home"))  # the newcomer's way on
    kitchen = Kitchen.objects.get()
    assert (kitchen.altitude_m, kitchen.altitude_how) == (1040, "map")
    assert list(kitchen.people.all()) == [member]


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"altitude": "-1500", "altitude_unit": "ft"}, "altitude", "lower than 430 m"),
        ({"altitude": "16405", "altitude_unit": "ft"}, "altitude", "above 5,000 m"),
        ({"altitude": "5001"}, "altitude", "above 5,000 m"),
        ({"altitude": "high"}, "altitude", "only the number"),
        ({"altitude": "3400 ft"}, "altitude", "only the number"),
        ({"altitude": "10.40.1"}, "altitude", "one plain number"),
        ({"altitude": "1.040"}, "altitude", "two ways"),
        ({"altitude_unit": ""}, "altitude_unit", "metres or feet"),
        ({"altitude_unit": "fathoms"}, "altitude_unit", "not one of the available choices"),
        ({"altitude_how": ""}, "altitude_how", "how the altitude is known"),
        ({"altitude_how": "guessed"}, "altitude_how", "not one of the available choices"),
        ({"name": ""}, "name", "required"),
        ({"name": "x" * 81}, "name", "at most 80"),
        ({"token": "forged"}, "__all__", "changed on its way"),
        ({"token": ""}, "__all__", "changed on its way"),
    ],
)
def test_a_wrong_kitchen_is_refused_beside_its_field_and_kept_as_typed(member_client, change, field, words):
    told = form_with(**change)
    page = member_client.post(reverse("members:kitchen-add"), told)
    assert page.status_code == 200
    assert list(page.context["form"].errors) == [field]
    assert words in page.context["form"].errors[field][0]
    assert words in page.text.replace("&#x27;", "'")
    assert f'value="{told["altitude"]}"' in page.text
    assert not Kitchen.objects.exists()


def test_a_form_token_of_somebody_else_s_kitchen_is_forbidden(member_client):
    told = form_with(name="Theirs")
    other = Client()
    other.force_login(make_person())
    other.post(reverse("members:kitchen-add"), told)
    assert member_client.post(reverse("members:kitchen-add"), {**told, "name": "Mine now"}).status_code == 403
    assert Kitchen.objects.get().name == "Theirs"


def test_a_kitchen_may_go_without_altitude_and_is_warned_about(member_client):
    told = {"token": uuid4(), "name": "Plum Lane", "altitude": "", "altitude_unit": "", "altitude_how": ""}
    page = member_client.post(reverse("members:kitchen-add"), told, follow=True)
    assert "No process time is given for it until it has one." in page.text
    assert Kitchen.objects.get().altitude is None


def test_a_hall_is_offered_to_an_organiser_and_ignored_from_others(member_client, organiser):
    member_client.post(reverse("members:kitchen-add"), form_with(is_hall="on"))
    assert not Kitchen.objects.get().is_hall
    other = Client()
    other.force_login(organiser)
    other.post(reverse("members:kitchen-add"), form_with(name="Big hall", is_hall="on"))
    assert Kitchen.objects.get(name="Big hall").is_hall


def test_a_kitchen_saved_as_it_is_shown_stays_as_it_was(member_client, member):
    kitchen = make_kitchen(member, altitude="3400 ft")
    url = reverse("members:kitchen-change", args=[kitchen.pk])
    shown = member_client.get(url).context["form"].initial
    assert (shown["altitude"], shown["altitude_unit"]) == ("1036.32", "m")
    member_client.post(url, shown)
    kitchen.refresh_from_db()
    assert kitchen.altitude.feet == 3400


def test_who_prefers_us_units_sees_feet(client):
    person = make_person(units="us")
    kitchen = make_kitchen(person, altitude="3400 ft")
    client.force_login(person)
    page = client.get(reverse("members:kitchen-change", args=[kitchen.pk])).text
    assert 'value="3400"' in page
    assert re.search(r'<option value="ft"\s+selected', page)


def test_a_kitchen_page_is_for_those_who_may_change_it(client, member):
    organiser = make_organiser()
    own, hall, theirs = make_kitchen(member), make_kitchen(is_hall=True), make_kitchen(make_person())
    cases = [
        (None, own, 302),
        (member, own, 200),
        (member, hall, 403),
        (member, theirs, 404),
        (organiser, hall, 200),
        (organiser, own, 404),
    ]
    for person, kitchen, status in cases:
        visitor = Client()
        if person:
            visitor.force_login(person)
        url = reverse("members:kitchen-change", args=[kitchen.pk])
        assert visitor.get(url).status_code == status
        expected = 302 if status == 200 else status
        assert visitor.post(url, {**KITCHEN, "name": "Changed"}).status_code == expected
        kitchen.refresh_from_db()
        assert (kitchen.name == "Changed") == (status == 200)
        Kitchen.objects.update(name="Plum Lane")
    client.force_login(member)
    assert client.get(reverse("members:kitchen-change", args=[999_999])).status_code == 404
    assert client.put(reverse("members:kitchen-change", args=[own.pk])).status_code == 405
    assert client.put(reverse("members:kitchen-add")).status_code == 405


@pytest.mark.parametrize("name", ["people", "invite"])
def test_the_people_pages_are_the_organiser_s_alone(client, name):
    url = reverse(f"members:{name}")
    assert client.get(url).status_code == 302
    client.force_login(make_person(Role.KEEPER, Role.INSTRUCTOR))
    assert client.get(url).status_code == 403
    client.force_login(make_organiser())
    assert client.get(url).status_code == 200
    assert client.put(url).status_code == 405


def test_nobody_without_the_role_invites(client):
    told = {"email": "gil@example.test", "name": "", "role": "member"}
    client.force_login(make_person(Role.KEEPER))
    assert client.post(reverse("members:invite"), told).status_code == 403


@pytest.mark.parametrize("name", ["person", "person-start-again"])
def test_a_person_s_page_is_the_organiser_s_alone(client, member, name):
    url = reverse(f"members:{name}", args=[member.pk])
    assert client.post(url).status_code == 302
    client.force_login(make_person(Role.KEEPER, Role.INSTRUCTOR))
    assert client.post(url, {"roles": ["organiser"]}).status_code == 403
    assert not User.objects.get(pk=member.pk).has_role(Role.ORGANISER)
    assert User.objects.get(pk=member.pk).is_active
    client.force_login(make_organiser())
    assert client.get(url).status_code == (200 if name == "person" else 405)
    assert client.post(reverse(f"members:{name}", args=[999_999])).status_code == 404


def test_an_organiser_ticks_and_unticks_roles(organiser_client, member):
    url = reverse("members:person", args=[member.pk])
    organiser_client.post(url, {"roles": ["keeper", "instructor"]})
    assert User.objects.get(pk=member.pk).role_names == {"member", "keeper", "instructor"}
    organiser_client.post(url, {})
    assert User.objects.get(pk=member.pk).role_names == {"member"}


def test_the_last_organiser_cannot_untick_herself(organiser_client, organiser):
    url = reverse("members:person", args=[organiser.pk])
    page = organiser_client.post(url, {"roles": ["keeper"]})
    assert "last organiser" in page.text
    assert User.objects.get(pk=organiser.pk).has_role(Role.ORGANISER)


def test_an_unknown_role_is_refused(organiser_client, member):
    page = organiser_client.post(reverse("members:person", args=[member.pk]), {"roles": ["queen"]})
    assert page.context["form"].errors.keys() == {"roles"}


def test_a_former_membership_starts_again_by_button(organiser_client, organiser, member):
    services.member_deactivate(by=organiser, person=member)
    organiser_client.post(reverse("members:person-start-again", args=[member.pk]))
    assert User.objects.get(pk=member.pk).is_active


def test_the_list_of_people_is_paged_by_fifty(organiser_client, organiser):
    for number in range(50):
        make_person(name=f"Person {number:02}")
    first = organiser_client.get(reverse("members:people"))
    second = organiser_client.get(reverse("members:people"), {"page": 2})
    assert "51 people" in first.text
    assert [len(page.context["page"].object_list) for page in (first, second)] == [50, 1]
    far = organiser_client.get(reverse("members:people"), {"page": "nonsense"})
    assert far.status_code == 200


def fill_people(count):
    for _ in range(count):
        make_person(Role.KEEPER)
        make_invitation()


def fill_kitchens(count):
    person = User.objects.get(name="Olga Quince")
    for number in range(count):
        make_kitchen(person, name=f"Kitchen {number}")
        make_kitchen(name=f"Hall {number}", is_hall=True)


@pytest.mark.parametrize("rows", [1, 30])
@pytest.mark.parametrize(
    ("name", "fill", "queries"),
    [("people", fill_people, 10), ("me", fill_kitchens, 10), ("kitchen-add", fill_kitchens, 5)],
)
def test_a_page_asks_as_much_for_thirty_rows_as_for_one(
    organiser_client, django_assert_max_num_queries, name, fill, queries, rows
):
    fill(rows)
    with django_assert_max_num_queries(queries):
        assert organiser_client.get(reverse(f"members:{name}")).status_code == 200


@pytest.mark.parametrize("rows", [1, 30])
def test_a_person_s_page_does_not_grow_with_the_club(organiser_client, django_assert_max_num_queries, rows):
    fill_people(rows)
    person = make_person(Role.KEEPER)
    with django_assert_max_num_queries(11):
        assert organiser_client.get(reverse("members:person", args=[person.pk])).status_code == 200


def test_the_form_of_a_hall_asks_for_its_wiring_and_that_of_a_household_does_not(client):
    organiser = make_organiser()
    client.force_login(organiser)
    hall, own = make_kitchen(is_hall=True), make_kitchen(organiser)
    assert "wiring carries" in client.get(reverse("members:kitchen-change", args=[hall.pk])).text
    assert "wiring carries" not in client.get(reverse("members:kitchen-change", args=[own.pk])).text
    client.post(reverse("members:kitchen-change", args=[hall.pk]), {"name": "Hall", "power_limit_w": "9600"})
    assert Kitchen.objects.get(pk=hall.pk).power_limit_w == 9600


def test_a_telephone_is_optional_and_kept_by_a_form_without_it(member_client, member):
    url, own = reverse("members:me"), {"name": "Ada Quince", "units": "us"}
    assert "telephone" in member_client.get(url).text.lower()
    member_client.post(url, {**own, "phone": " +353  1 234 567 "})
    member.refresh_from_db()
    assert member.phone == "+353 1 234 567"
    member_client.post(url, own)
    member.refresh_from_db()
    assert member.phone == "+353 1 234 567"
    form = member_client.post(url, {**own, "phone": "call me"}).context["form"]
    assert list(form.errors) == ["phone"]
    assert form["phone"].value() == "call me"
    member_client.post(url, {**own, "phone": ""})
    member.refresh_from_db()
    assert member.phone == ""
