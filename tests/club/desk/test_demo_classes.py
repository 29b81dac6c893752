"""The demo's classes: one to come on a Saturday with gear held, one that its page refuses."""

from __future__ import annotations

from datetime import date

import pytest
from django.utils import timezone

from club.classes.models import ClassSession
from club.classes.planning import plan_of
from club.classes.services.sessions import publish_refusals
from club.core.clock import club_day
from club.run.demo import demo_load, saturday_from
from recipes.services import library_load
from tests.published.library import LIBRARY

pytestmark = [pytest.mark.django_db, pytest.mark.once]  # a server's own database is given no demo


@pytest.fixture
def demo():
    library_load(paths=[LIBRARY])
    demo_load(now=timezone.now())
    return {session.state: session for session in ClassSession.objects.select_related("hall")}


def test_one_session_is_published_for_a_saturday_with_its_canners_and_jars_kept(demo):
    session = demo["published"]
    assert session.day.weekday() == 5
    assert session.day > club_day(timezone.now())
    assert session.seats_total == 4
    held = set(session.gear.values_list("hold__thing__code", flat=True))
    assert held == {"BWC-01", "BWC-02", "LIF-01"}
    kept = dict(session.set_aside.values_list("what", "quantity"))
    jars = dict(session.set_aside.filter(what="jar").values_list("key", "quantity"))
    assert jars == {"half-pint": 7, "pint": 9}  # the pints are those of the club order that arrived
    assert kept["supply"] == 1
    assert kept["lid"] > 0
    assert plan_of(session).hall.ok


def test_the_draft_says_why_it_cannot_be(demo):
    refused = publish_refusals(plan_of(demo["draft"]), timezone.now())
    assert [each.refusal.code for each in refused] == ["not-enough-time"]


def test_a_saturday_is_itself_and_any_other_day_goes_to_the_next():
    assert saturday_from(date(2026, 9, 19)) == date(2026, 9, 19)
    assert saturday_from(date(2026, 9, 20)) == date(2026, 9, 26)
