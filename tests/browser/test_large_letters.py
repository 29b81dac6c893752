"""Letters twice as large, as some set them: no page is pushed sideways, and every room stays under the thumb."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.core.clock import club_day
from tests.browser.conftest import THUMB
from tests.factories.batches import make_batch_checked
from tests.factories.classes import make_session, make_signup
from tests.factories.freezer import make_freezer_item
from tests.factories.fruit import make_offer
from tests.factories.members import PASSWORD, make_kitchen, make_person
from tests.factories.recipes import make_revision

PAGES = [
    "/",
    "/recipes/",
    "/batches/",
    "/equipment/",
    "/classes/",
    "/classes/mine/",
    "/fruit/",
    "/fruit/freezer/",
    "/make/",
]
TWICE = "document.documentElement.style.fontSize = '200%'"
WIDTHS = "[document.documentElement.scrollWidth, window.innerWidth]"


@pytest.fixture
def member():
    """Somebody with a row in every room."""
    person, now = make_person(email="ada@example.test", name="Ada Maximiliane Featherstonehaugh"), timezone.now()
    kitchen, revision = make_kitchen(person), make_revision(title="Cranberry marmalade with powdered pectin")
    make_batch_checked(by=person, kitchen=kitchen, revision=revision, out_at=now - timedelta(days=9))
    make_freezer_item(by=person, kitchen=kitchen, frozen_on=club_day() - timedelta(days=400), now=None)
    make_offer()
    make_signup(make_session(now=now, day=(now + timedelta(days=5)).date()), person, now=now)
    return person


def test_letters_twice_as_large_push_no_page_sideways(visitor, member):
    visitor.sign_in(member.email, PASSWORD)
    wide = {}
    for path in PAGES:
        visitor.go(path)
        visitor.page.evaluate(TWICE)
        whole, screen = visitor.page.evaluate(WIDTHS)
        if whole > screen:
            wide[path] = whole
    assert wide == {}


def test_every_room_at_the_foot_is_as_wide_as_a_thumb(visitor, member):
    visitor.sign_in(member.email, PASSWORD)
    rooms = visitor.page.locator(".rooms .room")
    assert rooms.count() == 7
    assert min(room.bounding_box()["width"] for room in rooms.all()) >= THUMB
    cut = rooms.evaluate_all(
        "rooms => rooms.filter((room) => room.scrollWidth > room.clientWidth).map((r) => r.innerText)"
    )
    assert cut == []
