"""What the season counts on from a household's freezer."""

from __future__ import annotations

import pytest
from django.urls import reverse

from club.season.services import frozen_grams
from inventory.fruit.models import FreezerState
from tests.factories.freezer import make_freezer_item
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision
from tests.factories.season import make_target

pytestmark = pytest.mark.django_db


@pytest.fixture
def ada():
    return make_person(name="Ada")


@pytest.fixture
def home(ada):
    make_revision(title="Plum spread")  # so that "plums" is a word of the recipes
    return make_kitchen(ada)


def test_lots_of_a_fruit_are_added_up_and_juice_sugar_and_other_households_left_out(ada, home):
    for grams in (2400, 600):
        make_freezer_item(by=ada, kitchen=home, grams=grams)
    make_freezer_item(by=ada, kitchen=home, state=FreezerState.JUICE)
    make_freezer_item(by=ada, kitchen=home, with_sugar=True)
    make_freezer_item(by=ada, kitchen=home, what="leftover soup")
    other = make_person()
    make_freezer_item(by=other, kitchen=make_kitchen(other))
    assert frozen_grams(home) == {"plums": 3000}


def test_the_page_says_how_many_pots_the_freezer_has_fruit_for(ada, home, client):
    make_target(ada, home, make_revision(title="Plum spread again"), jars=10)
    client.force_login(ada)
    page = reverse("desk:season", args=[home.pk])
    assert "The freezer has fruit for" not in client.get(page).content.decode()
    make_freezer_item(by=ada, kitchen=home, grams=20_000)
    assert "The freezer has fruit for" in client.get(page).content.decode()


def test_no_pot_of_what_packs_pieces_is_counted_on_from_the_freezer(ada, home, client):
    make_target(ada, home, make_revision(title="Plum halves", kind="fruit"), jars=10)
    make_freezer_item(by=ada, kitchen=home, grams=20_000)
    client.force_login(ada)
    page = client.get(reverse("desk:season", args=[home.pk])).content.decode()
    assert "Plum halves" in page
    assert "The freezer has fruit for" not in page
