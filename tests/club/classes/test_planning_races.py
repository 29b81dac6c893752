"""Planners who press at one moment, in real threads on the real database: nothing is counted on twice."""

from __future__ import annotations

from collections import Counter
from functools import partial
from time import sleep
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db.models import Sum

from club.classes.choices import SessionState
from club.classes.models import ClassSession, SessionGear, SetAside, Station
from club.classes.services import gear
from club.classes.services import sessions as services_sessions
from club.classes.services.sessions import StationFields
from inventory.jars import services as jars
from tests import helpers
from tests.factories.classes import NOW, make_instructor, make_session
from tests.factories.equipment import make_thing
from tests.factories.jars import make_jars, make_keeper
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db(transaction=True)
RACERS = 4
race = partial(helpers.race, racers=RACERS, refusals=ValidationError)
PAUSE = 0.3  # seconds


def slowly(monkeypatch, module: Any, name: str, *, after: bool = True) -> None:
    """Leave the others time between what this function reads and what is written; without a lock they would use it."""
    quick = getattr(module, name)

    def slow(*told: Any, **more: Any) -> Any:
        if not after:
            sleep(PAUSE)
        found = quick(*told, **more)
        if after:
            sleep(PAUSE)
        return found

    monkeypatch.setattr(module, name, slow)


def drafts(by, count=RACERS, revision=None):
    revision = revision or make_revision()
    return [make_session(by=by, revision=revision, state=SessionState.DRAFT) for _ in range(count)]


def test_four_sessions_that_set_aside_at_once_never_count_on_more_than_there_is(monkeypatch):
    slowly(monkeypatch, gear, "take_from")
    gear.set_aside_lock()
    by, keeper = make_instructor(), make_keeper()
    make_jars(jars.store_place(), 12, size="half-pint", by=keeper)  # each of the four wants five
    sessions = drafts(by)
    race(lambda n: gear.gear_gather(by=by, session=sessions[n], now=NOW).set_aside)
    assert SetAside.objects.aggregate(n=Sum("quantity"))["n"] == 12
    assert sorted(SetAside.objects.values_list("quantity", flat=True)) == [2, 5, 5]


def test_four_sessions_that_hold_at_once_share_the_canners_and_hold_none_twice():
    by = make_instructor()
    for number in range(3):
        make_thing(code=f"BWC-{number}", capacity={"half-pint": 12})
    sessions = drafts(by)
    held = race(lambda n: gear.gear_gather(by=by, session=sessions[n], now=NOW).held)
    assert sorted(held) == [0, 1, 1, 1]
    assert Counter(SessionGear.objects.values_list("hold__thing__code", flat=True)) == {f"BWC-{n}": 1 for n in range(3)}


def test_one_press_in_four_places_holds_one_canner(monkeypatch):
    slowly(monkeypatch, gear, "gear_missing")
    by = make_instructor()
    for number in range(4):
        make_thing(code=f"BWC-{number}", capacity={"half-pint": 12})
    (session,) = drafts(by, 1)
    assert sorted(race(lambda _n: gear.gear_gather(by=by, session=session, now=NOW).held)) == [0, 0, 0, 1]
    assert SessionGear.objects.count() == 1


def test_stations_added_at_once_are_all_counted_in_the_seats_and_numbered_apart(monkeypatch):
    slowly(monkeypatch, services_sessions, "_count_seats", after=False)
    by, revision = make_instructor(), make_revision()
    (session,) = drafts(by, 1, revision)
    fields = StationFields(revision=revision, burners_w=(2000, 2000), seats=3)
    race(lambda _n: services_sessions.station_add(by=by, session=session, fields=fields).number)
    assert sorted(Station.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5]
    assert ClassSession.objects.get().seats_total == 4 + 3 * RACERS


def test_a_station_added_while_it_is_published_is_in_the_plan_that_was_checked_or_refused(monkeypatch):
    slowly(monkeypatch, services_sessions, "publish_refusals")
    by, revision = make_instructor(), make_revision()
    (session,) = drafts(by, 1, revision)
    too_large = StationFields(revision=revision, burners_w=(2000, 2000), jar_size="quart")

    def press(number: int) -> str:
        if number == 0:
            return services_sessions.session_publish(by=by, session=session, now=NOW).state
        return str(services_sessions.station_add(by=by, session=session, fields=too_large).number)

    race(press)
    fresh = ClassSession.objects.get()
    has_bad_station = Station.objects.filter(jar_size="quart").exists()
    assert (fresh.state == SessionState.PUBLISHED) is not has_bad_station
