"""An instructor plans a Saturday from nothing to published on a phone."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.classes.choices import SessionState
from club.classes.models import ClassSession
from club.core.clock import club_day
from inventory.equipment.choices import Kind
from tests.factories.classes import make_hall, make_instructor
from tests.factories.equipment import make_thing
from tests.factories.recipes import make_revision


@pytest.fixture
def by():
    """An instructor, a hall whose wiring is known, a recipe, and a canner on the shelf."""
    make_hall("Plum Street hall", power_limit_w=9000)
    make_revision(title="Plum spread")
    now = timezone.now()
    make_thing(code="BWC-01", capacity={"half-pint": 12}, now=now)
    make_thing(Kind.FUNNEL, code="FUN-01", capacity={}, name="Wide funnel", now=now)
    return make_instructor(email="ilse@example.test", name="Ilse Damson")


def test_a_session_is_planned_refused_mended_and_published(visitor, by):
    visitor.sign_in(by.email, "/classes/new/")
    page = visitor.page
    page.get_by_label("Title").fill("Plums in an hour")
    page.get_by_label("Day", exact=False).first.fill(str(club_day(timezone.now()) + timedelta(days=20)))
    page.get_by_label("To", exact=False).first.fill("11:00")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_url("**/plan/")
    assert "There is no station yet" in visitor.text()

    page.get_by_role("link", name="Add a station").click()
    page.get_by_label("Recipe").select_option(label="Plum spread")
    page.get_by_label("Burner 1").fill("lots")
    page.get_by_role("button", name="Save the station").click()
    page.get_by_text("Write watts as whole numbers").wait_for()
    assert page.get_by_label("Burner 1").input_value() == "lots"  # what was typed stays
    visitor.look("class-station-wrong")
    page.get_by_label("Burner 1").fill("2000")
    page.get_by_role("button", name="Save the station").click()
    page.wait_for_url("**/plan/")
    told = visitor.text()
    assert "more than there are before cleaning up" in told
    visitor.look("class-plan-refused")

    page.get_by_role("link", name="Move it").click()
    page.get_by_label("To", exact=False).first.fill("14:00")
    page.get_by_role("button", name="Move it").click()
    page.wait_for_url("**/plan/")
    assert "10 minutes" in visitor.text()
    page.get_by_role("link", name="Gear and shopping").click()
    page.get_by_role("button", name="Hold it and set it aside").click()
    page.get_by_text("2 things are held now.").wait_for()
    page.get_by_role("link", name="Back to the plan").click()
    page.get_by_role("button", name="Publish it").click()
    page.get_by_text("It is published").wait_for()
    session = ClassSession.objects.get()
    assert (session.state, session.seats_total) == (SessionState.PUBLISHED, 4)
