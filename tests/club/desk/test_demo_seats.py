"""The demo's seats show somebody of every kind, laid down through the services."""

from __future__ import annotations

import tomllib
from datetime import timedelta

import pytest
from django.utils import timezone

from club.classes.models import SignUp
from club.run.demo import CLUB_FILE, seats_load
from tests.factories.classes import make_session
from tests.factories.members import make_person

pytestmark = [pytest.mark.django_db, pytest.mark.once]  # a server's own database is given no demo


def test_the_demo_has_seats_taken_one_offered_a_line_with_a_party_of_two_and_one_given_up():
    now = timezone.now()
    tables = tomllib.loads(CLUB_FILE.read_text(encoding="utf-8"))
    people = {one["key"]: make_person(name=one["name"]) for one in tables["person"]}
    session = make_session(seats=4, now=now, day=(now + timedelta(days=11)).date())
    [coming] = [one for one in tables["class"] if one["title"] == "Jelly and plums for the shelf"]
    seats_load(coming["seat"], session, people, now)
    rows = {one.person.name.split()[0]: one for one in SignUp.objects.select_related("person")}
    assert {name: one.state for name, one in rows.items()} == {
        "Petra": "seated",
        "Amadou": "cancelled",
        "June": "seated",
        "Rosa": "offered",
        "Colm": "waiting",
        "Nadia": "waiting",
    }
    assert rows["Rosa"].offer_until > now
    assert rows["Colm"].places == 2
    assert rows["June"].needs
    session.refresh_from_db()
    assert session.seats_taken == session.seats_total


def test_nothing_is_dated_before_sign_up_opened():
    now = timezone.now()
    session = make_session(seats=2, now=now, signup_opens_at=now, day=(now + timedelta(days=11)).date())
    seats_load([{"by": "ada", "hours_ago": 70}], session, {"ada": make_person()}, now)
    assert SignUp.objects.get().joined_at == now
