"""The factory keeps what the models promise, so that other tests may lean on it."""

from __future__ import annotations

import pytest

from club.classes.choices import SessionState, SignUpState
from club.classes.models import ClassSession
from tests.factories.classes import NOW, make_session, make_signup, make_station

pytestmark = pytest.mark.django_db


def test_a_session_counts_the_seats_of_its_stations_and_the_places_taken() -> None:
    session = make_session(stations=2, seats=3)
    make_station(session, seats=2)
    make_signup(session, places=2)
    make_signup(session, state=SignUpState.OFFERED)
    make_signup(session, state=SignUpState.WAITING)
    stored = ClassSession.objects.get(pk=session.pk)
    assert (stored.seats_total, stored.seats_taken) == (8, 3)
    assert stored.signup_is_open(NOW)


def test_a_draft_was_never_published() -> None:
    assert make_session(state=SessionState.DRAFT).published_at is None
