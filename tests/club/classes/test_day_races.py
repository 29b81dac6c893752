"""Presses at one moment, in real threads on the real database."""

from __future__ import annotations

from collections import Counter
from functools import partial
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from club.classes.models import CannerLoad, ClassSession, SignUp, StationBatch
from club.classes.services import day
from inventory.batches.models import Batch
from tests import helpers
from tests.factories.class_day import MORNING, make_at_station, make_called, make_cooking, runner_of
from tests.factories.classes import make_session
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db(transaction=True)

RACERS = 6
race = partial(helpers.race, racers=RACERS, refusals=ValidationError)


def test_six_walk_ins_for_the_last_two_seats_two_are_taken():
    session = make_session(seats=2)
    by, people = runner_of(session), [make_person() for _ in range(RACERS)]

    def press(number: int) -> str:
        told = {"session": session, "person": people[number], "token": uuid4(), "now": MORNING}
        day.walk_in_take(by=by, **told)
        return "taken"

    assert Counter(race(press)) == {"taken": 2, ValidationError: RACERS - 2}
    session.refresh_from_db()
    assert session.seats_taken == SignUp.objects.seated().count() == 2


def test_one_person_let_in_at_six_doors_has_one_seat():
    session, person = make_session(), make_person()
    by = runner_of(session)
    told = {"by": by, "session": session, "person": person, "now": MORNING}
    got = race(lambda _n: day.walk_in_take(**told, token=uuid4()).pk)
    assert got == [SignUp.objects.get().pk] * RACERS
    assert ClassSession.objects.get().seats_taken == 1


def test_six_parties_for_the_last_two_seats_of_a_station_two_sit():
    session = make_session(stations=2, seats=6)
    station = session.stations.first()
    by = runner_of(session)
    for _each in range(2):
        make_at_station(station, places=2)
    standing = [make_called(session) for _ in range(RACERS)]

    def press(number: int) -> str:
        day.signup_sit(by=by, signup=standing[number], station=station, now=MORNING)
        return "sits"

    assert Counter(race(press)) == {"sits": 2, ValidationError: RACERS - 2}
    assert sum(SignUp.objects.filter(station=station).values_list("places", flat=True)) == station.seats


def test_seat_everybody_and_seating_by_hand_at_one_moment_never_overfill():
    session = make_session(stations=2, seats=3)
    by, stations = runner_of(session), list(session.stations.all())
    standing = [make_called(session) for _ in range(RACERS)]

    def press(number: int) -> str:
        if number % 2:
            day.everybody_sit(by=by, session=session, now=MORNING)
        else:
            day.signup_sit(by=by, signup=standing[number], station=stations[0], now=MORNING)
        return "done"

    race(press)
    for station in stations:
        assert SignUp.objects.filter(station=station).count() == 3


def test_six_presses_of_start_are_one_batch_a_station():
    session = make_session(stations=2)
    for station in session.stations.all():
        make_at_station(station)
    by = runner_of(session)

    def press(_number: int) -> int:
        return len(day.stations_start(by=by, session=session, now=MORNING).new)

    assert Counter(race(press)) == {2: 1, 0: RACERS - 1}
    assert Batch.objects.count() == StationBatch.objects.count() == 2


def test_one_load_begun_on_six_phones_begins_once():
    cooking = make_cooking()
    by = runner_of(cooking.station.session)
    got = race(lambda _n: day.load_begin(by=by, cooking=cooking, number=1, now=MORNING).pk)
    assert got == [CannerLoad.objects.get().pk] * RACERS
