"""Stations of a draft: their seats are the session's seats, and nothing moves once it is published."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.classes.choices import SessionState
from club.classes.models import ClassSession, Station
from club.classes.services import sessions
from club.classes.services.sessions import MOST_STATIONS, StationFields
from recipes.models import RevisionState
from tests.factories.classes import make_instructor, make_session
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db


def draft(by, **told):
    return make_session(by=by, **{"state": SessionState.DRAFT, "stations": 0, **told})


def fields(**told):
    return StationFields(**{"revision": make_revision(), "burners_w": (2000, 1800), "jar_size": "half-pint", **told})


def seats(session) -> int:
    return ClassSession.objects.values_list("seats_total", flat=True).get(pk=session.pk)


def test_the_seats_of_a_session_are_the_sum_of_its_stations():
    by = make_instructor()
    session = draft(by)
    first = sessions.station_add(by=by, session=session, fields=fields(seats=4))
    second = sessions.station_add(by=by, session=session, fields=fields(seats=3, name="  By the   door "))
    assert (second.number, second.name, second.burners_w, seats(session)) == (2, "By the door", [2000, 1800], 7)
    sessions.station_change(by=by, station=second, fields=fields(seats=6))
    assert seats(session) == 10
    for _again in range(2):
        sessions.station_remove(by=by, station=first)
    assert seats(session) == 6
    assert list(session.stations.values_list("number", "seats")) == [(1, 6)]


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"pots": 0}, "pots"),
        ({"pots": 13}, "pots"),
        ({"cooks": 5}, "cooks"),
        ({"canners": 0}, "canners"),
        ({"seats": 13}, "seats"),
        ({"burners_w": ()}, "burners_w"),
        ({"burners_w": (2000,) * 7}, "burners_w"),
        ({"burners_w": (2000, 0)}, "burners_w"),
        ({"burners_w": (50_001, 2000)}, "burners_w"),
        ({"jar_size": "bucket"}, "jar_size"),
        ({"stove": ""}, "stove"),
        ({"pack": "cold"}, "pack"),
        ({"canner": "oven"}, "canner"),
        ({"capacity": {"pint": 0}}, "capacity"),
        ({"capacity": {"bucket": 3}}, "capacity"),
        ({"name": "x" * 61}, "name"),
    ],
)
def test_a_station_that_cannot_be_is_refused_beside_its_field(told, field):
    by = make_instructor()
    session = draft(by)
    with pytest.raises(ValidationError) as refused:
        sessions.station_add(by=by, session=session, fields=fields(**told))
    assert list(refused.value.message_dict) == [field]
    assert (seats(session), Station.objects.count()) == (0, 0)


@pytest.mark.parametrize("state", [RevisionState.DRAFT, RevisionState.IN_REVIEW, RevisionState.WITHDRAWN])
def test_only_a_published_revision_is_taught(state):
    by = make_instructor()
    with pytest.raises(ValidationError, match="Only a published recipe"):
        sessions.station_add(by=by, session=draft(by), fields=fields(revision=make_revision(state=state)))


def test_a_hall_has_room_for_so_many_stations():
    by = make_instructor()
    session = draft(by, stations=MOST_STATIONS)
    with pytest.raises(ValidationError, match="at most 12 stations"):
        sessions.station_add(by=by, session=session, fields=fields())


def test_what_is_published_keeps_its_stations():
    by = make_instructor()
    session = make_session(by=by)
    station = session.stations.get()
    for change in (
        lambda: sessions.station_add(by=by, session=session, fields=fields()),
        lambda: sessions.station_change(by=by, station=station, fields=fields(seats=9)),
        lambda: sessions.station_remove(by=by, station=station),
    ):
        with pytest.raises(ValidationError, match="people have signed up"):
            change()
    assert (seats(session), list(session.stations.all())) == (4, [station])


def test_another_instructor_touches_no_station():
    session = draft(make_instructor(), stations=1)
    other = make_instructor()
    for change in (
        lambda: sessions.station_add(by=other, session=session, fields=fields()),
        lambda: sessions.station_change(by=other, station=session.stations.get(), fields=fields()),
        lambda: sessions.station_remove(by=other, station=session.stations.get()),
    ):
        with pytest.raises(PermissionDenied):
            change()


def test_the_stations_of_one_day_are_copied_to_the_next():
    by = make_instructor()
    source, target = draft(by, stations=3, seats=2), draft(by)
    assert sessions.stations_copy(by=by, source=source, target=target) == 3
    copied = list(target.stations.values("number", "revision", "burners_w", "capacity", "seats"))
    assert copied == list(source.stations.values("number", "revision", "burners_w", "capacity", "seats"))
    assert seats(target) == 6
    with pytest.raises(ValidationError, match="stations here already"):
        sessions.stations_copy(by=by, source=source, target=target)
