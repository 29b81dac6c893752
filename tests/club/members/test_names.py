"""A name is what a reader sees of it: no unseen characters, one way to write an accent."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from club.classes.services.common import line_clean
from club.core.text import seen
from club.members import services
from club.members.choices import Role
from club.members.models import Invitation, Kitchen
from inventory.equipment.choices import Kind
from inventory.equipment.services import ThingFields, thing_add
from inventory.jars.services.orders import text_clean
from inventory.jars.services.stock import supply_add
from recipes.forms.drafts import HeadForm
from tests.factories.members import make_kitchen, make_organiser, make_person

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
    form = HeadForm({"title": "Plum\u202e spread\u200b"})
    assert not form.is_valid()  # the rest is missing
    assert form.cleaned_data["title"] == "Plum spread"


def test_the_page_of_a_kitchen_takes_no_twin_of_another_s_name():
    ada = make_person()
    make_kitchen(ada, name="Plum Lane")
    client = Client()
    client.force_login(ada)
    told = {"name": "Plum\u200b Lane", "altitude": "10", "altitude_unit": "m", "altitude_how": "map"}
    form = client.get(reverse("members:kitchen-add")).context["form"]
    client.post(reverse("members:kitchen-add"), {**told, "token": form["token"].value()})
    assert list(Kitchen.objects.values_list("name", flat=True)) == ["Plum Lane", "Plum Lane"]
