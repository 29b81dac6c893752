"""The freezer, what can be made of it, a recall that is answered, and jars to give."""

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
from tests.factories.members import make_kitchen, make_person
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


def test_a_bag_is_frozen_planned_from_and_taken_out_jars_change_hands_and_a_recall_is_answered(visitor, house):
    member, batch = house
    visitor.sign_in(member.email, "/fruit/freezer/")
    page = visitor.page
    page.get_by_role("link", name="Put something in").click()
    page.get_by_label("What is it?").fill("Damson plums")
    page.get_by_label("How much?").fill("3 kg")
    page.get_by_role("button", name="Put it on the list").click()
    page.wait_for_url("**/fruit/freezer/")
    item = FreezerItem.objects.get(what="Damson plums")
    page.get_by_role("link", name="Damson plums").click()
    page.get_by_role("link", name=re.compile("Plan this")).click()
    page.wait_for_url("**/plan/?**")
    assert page.locator("main").get_by_text("Refused").count() == 0
    visitor.go(item.get_absolute_url())
    page.get_by_label("How much comes out?").fill("1 kg")
    page.get_by_role("button", name="Take it out").click()
    page.wait_for_url("**/fruit/freezer/")
    item.refresh_from_db()
    assert item.grams_left == 2000

    visitor.go("/make/")
    page.get_by_label("Fresh fruit").first.fill("plums")
    page.get_by_label("How much of it").first.fill("5 kg")
    page.get_by_role("button", name="Look").click()
    page.wait_for_url("**/make/?**")
    visitor.look("make")
    page.evaluate("document.querySelectorAll('main details').forEach((fold) => (fold.open = true))")
    text = visitor.text()
    assert "Plum jam" in text
    assert "Draw the juice first" in text
    assert "Frozen with sugar" in text

    visitor.go(f"/batches/{batch.lot_code}/offer/")
    page.get_by_label("How many?").fill("3")
    page.get_by_role("button", name="Offer these jars").click()
    page.wait_for_url("**/to-give/*/")
    offer = batch.jar_offers.get()
    taker = make_person(email="taker@example.test", name="Tom Taker")
    visitor.sign_in(taker.email, offer.get_absolute_url())
    page.get_by_label("How many would you like?").fill("2")
    page.get_by_role("button", name="Ask for them").click()
    page.get_by_text("You asked for 2 jars").wait_for()
    visitor.sign_in(member.email, offer.get_absolute_url())
    visitor.look("jar-offer-giver")
    page.get_by_label("I looked at every jar again").check()
    page.get_by_role("button", name=re.compile("They changed hands")).click()
    page.get_by_text("the jars are with Tom Taker now").wait_for()
    assert Jar.objects.filter(held_by=taker).count() == 2

    keeper = make_person(Role.INSTRUCTOR, email="ira@example.test", name="Ira Steward")
    recall = make_recall(by=keeper, batch=batch, now=timezone.now())
    visitor.go("/batches/recalls/")
    page.get_by_role("link", name="What to do, and your answer").click()
    visitor.look("recall-member")
    page.get_by_label("marked and set apart").check()
    page.get_by_label("How many jars?").fill("2")
    page.get_by_role("button", name="Send my answer").click()
    page.get_by_text("Written down. Thank you.").wait_for()
    assert RecallAnswer.objects.get().person == member
    visitor.sign_in(keeper.email, recall.get_absolute_url())
    visitor.look("recall-runs")  # with an answer that came, and one that did not
