"""A household's freezer: who writes in it, and that nobody takes out what is not there."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from inventory.fruit.models import FreezerItem
from inventory.fruit.services import (
    FreezerFields,
    freezer_item_add,
    freezer_item_change,
    freezer_item_take,
)
from tests.factories.freezer import FROZEN_ON, NOW, make_freezer_item
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_recipe, make_revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def kitchen(cook):
    return make_kitchen(cook, make_person(name="Fellow"))


@pytest.fixture
def item(cook, kitchen):
    return make_freezer_item(by=cook, kitchen=kitchen)


def take(item, by, grams, **fields):
    freezer_item_take(**{"by": by, "item": item, "grams": grams, "token": uuid4(), "now": NOW, **fields})
    item.refresh_from_db()
    return item.grams_left, item.bags_left


def test_what_is_put_in_is_all_there_and_knows_the_recipes_own_word(cook, kitchen):
    make_revision()  # takes plums
    item = make_freezer_item(by=cook, kitchen=kitchen, what="Damson Plum, halved")
    assert (item.produce, item.grams_left, item.bags_left) == ("plums", 2400, 3)
    assert make_freezer_item(by=cook, kitchen=kitchen, what="mystery").produce == ""


def test_the_same_form_twice_writes_one_lot(cook, kitchen):
    fields, token = FreezerFields(kitchen, "plums", FROZEN_ON, 800), uuid4()
    first = freezer_item_add(by=cook, fields=fields, token=token, now=NOW)
    assert freezer_item_add(by=cook, fields=fields, token=token, now=NOW) == first
    fellow = kitchen.people.get(name="Fellow")
    with pytest.raises(ValidationError):
        freezer_item_add(by=fellow, fields=fields, token=token, now=NOW)
    assert FreezerItem.objects.count() == 1


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"what": " "}, "what"),
        ({"what": "x" * 81}, "what"),
        ({"grams": 0}, "grams"),
        ({"grams": 500_001}, "grams"),
        ({"bags": 0}, "bags"),
        ({"state": "jam"}, "state"),
        ({"frozen_on": date(2026, 11, 3)}, "frozen_on"),
        ({"frozen_on": date(2012, 1, 1)}, "frozen_on"),
        ({"note": "x" * 201}, "note"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(cook, kitchen, told, field):
    with pytest.raises(ValidationError) as refused:
        make_freezer_item(by=cook, kitchen=kitchen, **told)
    assert set(refused.value.message_dict) == {field}


def test_a_freezer_is_its_households_own_also_against_an_organiser(item, cook, kitchen):
    for stranger in (make_person(), make_organiser()):
        assert not FreezerItem.objects.visible_to(stranger).exists()
        with pytest.raises(PermissionDenied):
            take(item, stranger, 100)
        with pytest.raises(PermissionDenied):
            make_freezer_item(by=stranger, kitchen=kitchen)
    assert FreezerItem.objects.visible_to(kitchen.people.get(name="Fellow")).get() == item


def test_part_is_taken_out_and_then_the_rest(item, cook):
    assert take(item, cook, 1000, bags=1) == (1400, 2)
    assert list(FreezerItem.objects.there()) == [item]
    assert take(item, cook, 1400) == (0, 0)  # with the last gram the bags are empty, counted or not
    assert not FreezerItem.objects.there().exists()
    assert item.takings.count() == 2


def test_nobody_takes_out_more_than_is_there(item, cook):
    for told in ({"grams": 2401}, {"grams": 100, "bags": 4}, {"grams": 0}, {"grams": 10, "reason": "eaten"}):
        with pytest.raises(ValidationError):
            freezer_item_take(by=cook, item=item, token=uuid4(), now=NOW, **told)
    item.refresh_from_db()
    assert (item.grams_left, item.bags_left, item.takings.count()) == (2400, 3, 0)


def test_the_same_press_twice_takes_once(item, cook):
    token = uuid4()
    assert take(item, cook, 500, token=token) == take(item, cook, 500, token=token) == (1900, 3)
    with pytest.raises(ValidationError):
        take(make_freezer_item(by=cook, kitchen=item.kitchen), cook, 500, token=token)


def test_what_is_written_can_be_mended_and_the_weight_only_until_some_was_taken(item, cook, kitchen):
    fields = FreezerFields(kitchen, "apricots", FROZEN_ON - timedelta(days=1), 2000, bags=None)
    freezer_item_change(by=cook, item=item, fields=fields, now=NOW)
    item.refresh_from_db()
    assert (item.what, item.grams, item.grams_left, item.bags_left) == ("apricots", 2000, 2000, None)
    take(item, cook, 100)
    with pytest.raises(ValidationError):
        freezer_item_change(by=cook, item=item, fields=FreezerFields(kitchen, "figs", FROZEN_ON, 1500), now=NOW)
    freezer_item_change(by=cook, item=item, fields=FreezerFields(kitchen, "figs", FROZEN_ON, 2000), now=NOW)
    item.refresh_from_db()
    assert (item.what, item.grams_left) == ("figs", 1900)


def test_a_lot_cannot_be_moved_into_a_kitchen_that_is_not_ones_own(item, cook):
    elsewhere = make_kitchen(make_person())
    with pytest.raises(PermissionDenied):
        freezer_item_change(by=cook, item=item, fields=FreezerFields(elsewhere, "plums", FROZEN_ON, 2400), now=NOW)


def test_the_database_itself_refuses_more_left_than_there_was(item):
    for change in ({"grams_left": 2401}, {"bags_left": 4}, {"bags": None}, {"what": ""}):
        with pytest.raises(IntegrityError), transaction.atomic():
            FreezerItem.objects.filter(pk=item.pk).update(**change)


def test_the_oldest_comes_first(cook, kitchen):
    for day in (3, 1, 2):
        make_freezer_item(by=cook, kitchen=kitchen, frozen_on=date(2026, 8, day))
    make_recipe()
    assert [one.frozen_on.day for one in FreezerItem.objects.all().oldest_first()] == [1, 2, 3]
