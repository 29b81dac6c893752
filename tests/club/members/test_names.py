"""A name is what a reader sees of it: no unseen characters, one way to write an accent."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.test import Client
from django.urls import reverse

from club.classes.services.common import line_clean
from club.core.fields import NameField
from club.core.text import reads_like, seen
from club.members import services
from club.members.choices import Role
from club.members.models import Invitation, Kitchen, User
from inventory.equipment.choices import Kind
from inventory.equipment.services import ThingFields, thing_add
from inventory.jars.services.orders import text_clean
from inventory.jars.services.stock import supply_add
from tests.factories.members import make_invitation, make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db

ZERO_WIDTH, BIDI = "\u200b\u200c\u200d\u2060\ufeff\u00ad", "\u202a\u202e\u2066\u2069\u200e\u061c"
UNSEEN = f"{ZERO_WIDTH}{BIDI}\u034f\u115f\u3164\u2800\ufe0f\x07\x00"


@pytest.mark.parametrize("char", UNSEEN)
def test_what_no_reader_sees_is_not_kept(char):
    assert seen(f"Plum{char} Lane{char}") == "Plum Lane"
    assert seen(f"{char}Plum {char} Lane") == "Plum Lane"


def test_an_accent_is_written_one_way_and_what_is_seen_stays():
    assert seen("Rene\u0301e \u00a0Quince") == "Ren\u00e9e Quince"
    assert seen("Rene\u200d\u0301e") == "Ren\u00e9e"
    for name in ("Анна", "陳梅", "\u05d0\u05d3\u05d4", "O'Brien, \u00bd \U0001f351"):
        assert seen(name) == name


def test_people_and_kitchens_are_kept_so():
    ada = make_person(name="Ada\u202e Plum\u200b")
    assert ada.name == "Ada Plum"
    services.profile_change(by=ada, name="\ufeffAda Quince", units="us")
    assert ada.name == "Ada Quince"
    kitchen = services.kitchen_add(by=ada, name="\u200bPlum\u2066 Lane")
    services.kitchen_change(by=ada, kitchen=kitchen, name="Plum Lane\u200d")
    assert Kitchen.objects.get().name == "Plum Lane"
    services.invitation_send(by=make_organiser(), email="gil@example.test", name="Gil\u202e", role="member")
    assert Invitation.objects.get().name == "Gil"


def test_a_name_of_unseen_characters_alone_is_none():
    with pytest.raises(ValidationError) as refused:
        services.kitchen_add(by=make_person(), name="\u200b\u200d \u3164")
    assert list(refused.value.message_dict) == ["name"]


def test_things_titles_and_supplies_are_kept_so():
    keeper = make_person(Role.KEEPER)
    thing = thing_add(by=keeper, fields=ThingFields(code="POT-1", kind=Kind.BOILING_WATER, name="Tall\u202e pot\u200b"))
    assert thing.name == "Tall pot"
    assert supply_add(by=keeper, name="Pectin\u200b", unit="box\u200d").name == "Pectin"
    assert line_clean("Spread\u200b in\u202e a morning", field="title", longest=120) == "Spread in a morning"
    assert text_clean("Autumn\u200b order", field="title", longest=120) == "Autumn order"


def test_the_page_of_a_kitchen_takes_no_twin_of_another_s_name():
    ada = make_person()
    make_kitchen(ada, name="Plum Lane")
    client = Client()
    client.force_login(ada)
    told = {"name": "Plum\u200b Lane", "altitude": "10", "altitude_unit": "m", "altitude_how": "map"}
    form = client.get(reverse("members:kitchen-add")).context["form"]
    told["token"] = form["token"].value()
    refused = client.post(reverse("members:kitchen-add"), told).context["form"]
    assert "no screen shows" in refused.errors["name"][0]
    told["name"] = refused["name"].value()  # as the page shows it now
    client.post(reverse("members:kitchen-add"), told)
    assert list(Kitchen.objects.values_list("name", flat=True)) == ["Plum Lane", "Plum Lane"]


# One field for every name


def test_every_column_of_a_name_or_title_keeps_what_is_seen_and_says_what_it_left_out():
    ours = [model for model in apps.get_models() if model.__module__.startswith(("club.", "inventory.", "recipes."))]
    named = [
        field
        for model in ours
        for field in model._meta.local_fields
        if isinstance(field, models.CharField) and field.name in ("name", "title")
    ]
    others = {str(field) for field in named if not isinstance(field, NameField)}
    assert others == {"reminders.PeriodicJob.name"}  # ours, typed by nobody
    assert len(named) > 12
    for field in named:
        if isinstance(field, NameField):
            with pytest.raises(ValidationError, match="no screen shows"):
                field.formfield().clean("Plum\u202e spread\u200b")


def test_a_name_written_past_the_services_is_kept_as_seen_too():
    kitchen = Kitchen.objects.create(name="Plum\u202e Lane")
    assert kitchen.name == "Plum Lane"
    Kitchen.objects.update(name="Rene\u0301e\u200b")
    Kitchen.objects.bulk_create([Kitchen(name="Quay\u2066")])
    assert sorted(Kitchen.objects.values_list("name", flat=True)) == ["Quay", "Ren\u00e9e"]


# A name that reads like another's


@pytest.mark.parametrize(
    "name",
    [
        "\u0410da Plum",  # Cyrillic A
        "ada  PLUM",
        "AdaPlum",
        "Ada Pl\u03c5m",  # Greek upsilon
        "\uff21da Plurn",  # full-width A; r and n for m
        "Ada-P1um",
    ],
)
def test_nobody_takes_a_name_that_reads_like_another_s(name):
    make_person(name="Ada Plum")
    bo = make_person(name="Bo Quince")
    with pytest.raises(ValidationError) as refused:
        services.profile_change(by=bo, name=name, units="us")
    assert list(refused.value.message_dict) == ["name"]
    invited = make_invitation(by=make_organiser(name="Olga"), email="gil@example.test", name="Gil")
    accept = {"token": services.token_for(invited.nonce), "password": "three blue kettles", "units": "us"}
    with pytest.raises(ValidationError) as refused:
        services.invitation_accept(name=name, **accept)
    assert list(refused.value.message_dict) == ["name"]
    assert services.invitation_accept(name="Gil Plum", **accept).name == "Gil Plum"
    bo.refresh_from_db()
    assert bo.name == "Bo Quince"


def test_names_that_differ_to_the_eye_are_two():
    for one, other in (("Lia", "Ila"), ("Ana", "An\u00e1"), ("Ada Plum", "Ada Plumb"), ("Jo", "Joe")):
        pairs = list(zip(reads_like(one), reads_like(other), strict=True))
        assert all(first != second for first, second in pairs), (one, other)
    assert reads_like("\u2014") != reads_like("!")


def test_one_may_write_one_s_own_name_another_way_and_a_shared_one_stays_shared():
    make_person(name="Ada Plum")
    twin = make_person(name="Ada Plum")
    services.profile_change(by=twin, name="ADA plum", units="us")
    assert (twin.name, twin.is_name_shared) == ("ADA plum", True)
    services.profile_change(by=twin, name="Ada Quince", units="us")
    with pytest.raises(ValidationError):
        services.profile_change(by=twin, name="Ada Plum", units="us")


def test_an_organiser_lets_two_share_a_name_and_whoever_they_invite_by_it(client):
    ada, bo, organiser = make_person(name="Ada Plum"), make_person(name="Bo Quince"), make_organiser(name="Olga")
    url = reverse("members:person-rename", args=[bo.pk])
    client.force_login(ada)
    assert client.post(url, {"name": "Ada"}).status_code == 403
    client.force_login(organiser)
    refused = client.post(url, {"name": "Ada Plum"})
    assert "reads like this one" in refused.text
    assert User.objects.get(pk=bo.pk).name == "Bo Quince"
    client.post(url, {"name": "Ada Plum", "is_shared": "on"})
    assert User.objects.get(pk=bo.pk).name == "Ada Plum"
    invited = make_invitation(by=organiser, email="gil@example.test", name="Ada Plum")
    token = services.token_for(invited.nonce)
    assert services.invitation_accept(token=token, name="ada plum", password="three blue kettles", units="us")


def test_the_database_knows_one_member_by_a_name_unless_they_share_it():
    one, other = (User.objects.create_user(f"{name}@example.test", name=name) for name in ("Ada", "Bo"))
    other.name = "\u0410DA"
    with pytest.raises(IntegrityError), transaction.atomic():
        other.save()
    other.is_name_shared = True
    other.save()
    assert (one.name_folded, other.name_folded) == ("ada", "ada")
