"""The plan with jars at hand and a timed day, prices, and changes to a recipe, on both screens, all scanned."""

from __future__ import annotations

import re

import pytest
from django.conf import settings

from club.members.choices import Role
from recipes.services import library_load
from tests.factories.members import PASSWORD, make_kitchen, make_person

JAM = "strawberry-jam-liquid"


@pytest.fixture
def library():
    library_load(paths=[settings.BASE_DIR / "fixtures" / "library" / "jams.toml"])


@pytest.fixture
def keeper(library):
    person = make_person(Role.KEEPER, email="keeper@example.test")
    make_kitchen(person)
    return person


def test_a_day_is_planned_from_the_empties_at_hand_and_the_price_of_a_jar_is_known(visitor, keeper):
    page = visitor.page
    visitor.sign_in(keeper.email, PASSWORD)
    visitor.go("/recipes/prices/?item=sugar")
    visitor.scan()
    page.get_by_label("Package", exact=False).first.fill("2 kg")
    page.get_by_label("Price of one package").fill("4,99")
    page.get_by_role("button", name="Note this price").click()
    visitor.scan()
    assert "4.99" in page.locator("main").inner_text()

    visitor.go(f"/recipes/{JAM}/plan/")
    page.get_by_label("or pots to cook").fill("2")
    page.get_by_text("Empty jars at hand, stove and time").click()
    visitor.scan()
    page.get_by_label("half-pint (237 ml)").fill("12")
    page.get_by_label("pint (473 ml)", exact=True).fill("3")
    page.get_by_label("Last jar out at").fill("16:00")
    page.get_by_role("button", name="Make the plan").click()
    said = page.locator("main").inner_text()
    assert "3 × pint (473 ml), 10 × half-pint (237 ml)" in said
    assert "13:58 to 16:00" in said
    assert "One half-pint" in said
    assert page.locator("svg.kh-timeline").is_visible()
    visitor.scan()
    page.get_by_text("The day, step by step").click()
    page.get_by_text("What the prediction rests on").click()
    visitor.scan()
    assert page.locator("main").get_by_text("lift jars out").last.is_visible()

    page.get_by_role("link", name="Start this batch").click()
    assert "empties" in page.url
    visitor.scan()


def test_a_change_is_judged_and_what_was_typed_is_kept(visitor, keeper):
    page = visitor.page
    visitor.sign_in(keeper.email, PASSWORD)
    visitor.go(f"/recipes/{JAM}/")
    page.get_by_role("link", name="May I change this?").click()
    visitor.scan()
    page.get_by_label(re.compile("What would you change")).fill("jar quart\nadd cinnamon 1 tsp\nless sugar")
    page.get_by_role("button", name="Ask").click()
    visitor.scan()
    verdicts = page.locator("li.plate .tag").all_inner_texts()
    assert len(verdicts) == 3
    assert "refused" in verdicts[0]
    assert page.get_by_label(re.compile("What would you change")).input_value().splitlines()[0] == "jar quart"
    page.get_by_text("How a change is written").click()
    visitor.scan()


def test_the_plan_with_a_gear_that_cannot_do_it_is_refused_and_scanned(visitor, keeper):
    visitor.sign_in(keeper.email, PASSWORD)
    visitor.go(f"/recipes/{JAM}/plan/?pots=1&burners=0")
    assert "no burner" in visitor.page.locator("main").inner_text()
    assert visitor.page.get_by_label("Burners").is_visible()  # the fold stands open
    visitor.scan()
