"""The freezer, what can be made of it, a recall and jars to give, on a phone and on a desktop; every page scanned."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from club.core.clock import club_day
from club.members.choices import Role
from inventory.batches.models import Jar, RecallAnswer
from inventory.fruit.models import FreezerItem
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.freezer import make_freezer_item
from tests.factories.members import PASSWORD, make_kitchen, make_person
from tests.factories.recipes import make_revision


@pytest.fixture
def house():
    """A household with a recipe of plums, an old lot and a batch of four sealed jars."""
    member = make_person(email="member@example.test", name="Mina Quince")
    kitchen = make_kitchen(member)
    revision = make_revision(title="Plum jam")
    make_revision(
        title="Plum jelly",
        ingredients=[
            {"item": "plum juice", "role": "fruit", "amount": "5", "unit": "cup"},
            {"item": "sugar", "role": "sugar", "amount": "3", "unit": "cup", "grams": "600", "grams_source": "leaflet"},
            {"item": "lemon juice", "prep": "bottled", "role": "acid", "amount": "1 1/2", "unit": "tbsp"},
        ],
    )
    today = club_day()
    make_freezer_item(by=member, kitchen=kitchen, frozen_on=today - timedelta(days=400), grams=4000, now=None)
    make_freezer_item(by=member, kitchen=kitchen, frozen_on=today - timedelta(days=40), with_sugar=True, now=None)
    batch = make_batch_checked(by=member, kitchen=kitchen, revision=revision, out_at=timezone.now() - timedelta(days=9))
    return member, batch


def test_a_bag_goes_in_is_planned_from_and_taken_out(visitor, house):
    member, _batch = house
    visitor.sign_in(member.email, PASSWORD)
    page = visitor.page
    visitor.go("/fruit/freezer/")
    visitor.look("freezer")
    page.get_by_role("link", name="Put something in").click()
    visitor.look("freezer-add")
    page.get_by_label("What is it?").fill("Damson plums")
    page.get_by_label("How much?").fill("3 kg")
    page.get_by_role("button", name="Put it on the list").click()
    page.wait_for_url("**/fruit/freezer/")
    item = FreezerItem.objects.get(what="Damson plums")
    page.get_by_role("link", name="Damson plums").click()
    visitor.look("freezer-item")
    page.get_by_role("link", name=re.compile("Plan this")).click()
    page.wait_for_url("**/plan/?**")
    assert page.locator("main").get_by_text("Refused").count() == 0
    visitor.scan()
    visitor.go(item.get_absolute_url())
    page.get_by_label("How much comes out?").fill("1 kg")
    page.get_by_role("button", name="Take it out").click()
    page.wait_for_url("**/fruit/freezer/")
    item.refresh_from_db()
    assert item.grams_left == 2000


def test_what_can_be_made_is_said_with_pots_and_refusals(visitor, house):
    member, _batch = house
    visitor.sign_in(member.email, PASSWORD)
    page = visitor.page
    visitor.go("/make/")
    page.get_by_label("Fresh fruit").first.fill("plums")
    page.get_by_label("How much of it").first.fill("5 kg")
    page.get_by_role("button", name="Look").click()
    page.wait_for_url("**/make/?**")
    visitor.look("make")
    text = page.locator("main").inner_text()
    assert "Plum jam" in text
    assert "Draw the juice first" in text
    assert "Frozen with sugar" in text


def test_a_holder_answers_a_recall_and_an_instructor_sees_who_has_not(visitor, house):
    member, batch = house
    keeper = make_person(Role.INSTRUCTOR, email="ira@example.test", name="Ira Steward")
    recall = make_recall(by=keeper, batch=batch, now=timezone.now())
    visitor.sign_in(member.email, PASSWORD)
    page = visitor.page
    visitor.go("/batches/recalls/")
    visitor.look("recalls-member")
    page.get_by_role("link", name="What to do, and your answer").click()
    visitor.look("recall-member")
    page.get_by_label("marked and set apart").check()
    page.get_by_label("How many jars?").fill("4")
    page.get_by_role("button", name="Send my answer").click()
    page.get_by_text("Written down. Thank you.").wait_for()
    assert RecallAnswer.objects.get().person == member
    visitor.go(batch.get_absolute_url())
    visitor.scan()
    visitor.page.context.clear_cookies()
    visitor.sign_in(keeper.email, PASSWORD)
    for name, path in {
        "recalls-runs": "/batches/recalls/",
        "recall-runs": recall.get_absolute_url(),
        "recall-new": "/batches/recalls/new/",
        "recall-close": f"{recall.get_absolute_url()}close/",
    }.items():
        visitor.go(path)
        visitor.look(name)


def test_jars_are_offered_asked_for_and_handed_over(visitor, house):
    member, batch = house
    taker = make_person(email="taker@example.test", name="Tom Taker")
    visitor.sign_in(member.email, PASSWORD)
    page = visitor.page
    visitor.go(f"/batches/{batch.lot_code}/offer/")
    visitor.look("jar-offer-new")
    page.get_by_label("How many?").fill("3")
    page.get_by_role("button", name="Offer these jars").click()
    page.wait_for_url("**/to-give/*/")
    offer = batch.jar_offers.get()
    page.context.clear_cookies()
    visitor.sign_in(taker.email, PASSWORD)
    visitor.go("/batches/to-give/")
    visitor.look("jar-offers")
    visitor.go(offer.get_absolute_url())
    visitor.look("jar-offer-taker")
    page.get_by_label("How many would you like?").fill("2")
    page.get_by_role("button", name="Ask for them").click()
    page.get_by_text("You asked for 2 jars").wait_for()
    page.context.clear_cookies()
    visitor.sign_in(member.email, PASSWORD)
    visitor.go(offer.get_absolute_url())
    visitor.look("jar-offer-giver")
    page.get_by_label("I looked at every jar again").check()
    page.get_by_role("button", name=re.compile("They changed hands")).click()
    page.get_by_text("the jars are with Tom Taker now").wait_for()
    assert Jar.objects.filter(held_by=taker).count() == 2
