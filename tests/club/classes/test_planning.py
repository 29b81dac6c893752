"""From stations to plans: what is asked of the engine, and answers that are kept but never outlive their question."""

from __future__ import annotations

import pytest

from club.classes import planning
from club.classes.choices import SessionState
from club.classes.models import ClassSession
from club.classes.planning import plan_of, station_input
from club.classes.presentation import plan_picture, plan_words
from club.classes.services import gear, sessions
from inventory.jars import services as jars
from recipes.engine import StepKind
from recipes.engine.terms import Canner, Pack
from tests.factories.classes import NOW, make_hall, make_instructor, make_session, make_station
from tests.factories.jars import make_jars, make_keeper
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db


def drafted(**told) -> ClassSession:
    made = make_session(state=SessionState.DRAFT, **told)
    return ClassSession.objects.select_related("hall").get(pk=made.pk)


def test_a_station_asks_the_engine_for_just_what_it_is():
    session = drafted(stations=0)
    station = make_station(
        session,
        revision=make_revision(base=VEGETABLE),
        pots=2,
        jar_size="pint",
        pack="hot",
        canner="dial-gauge",
        canners=2,
        capacity={"pint": 9},
        burners_w=[3000, 1800, 1500],
        stove="gas",
        cooks=3,
    )
    wanted = station_input(station, closes=14 * 60)
    assert wanted["capacity"].holds("pint") == 9
    assert {name: value for name, value in wanted.items() if name != "capacity"} == {
        "pots": 2,
        "jar": "pint",
        "pack": Pack.HOT,
        "canner": Canner.DIAL_GAUGE,
        "canners": 2,
        "burners": 3,
        "watts": (3000, 1800, 1500),
        "stove": "gas",
        "cooks": 3,
        "finish": 13 * 60 + 40,
    }


def test_a_plan_is_made_once_and_anew_when_anything_about_it_changes(monkeypatch):
    asked = []
    engine = planning.plan_for
    monkeypatch.setattr(planning, "plan_for", lambda **wanted: asked.append(wanted) or engine(**wanted))
    session = drafted(stations=3)
    for _again in range(2):
        plan_of(session)
    assert len(asked) == 1  # three stations alike, looked at twice
    session.stations.filter(number=2).update(burners_w=[1500, 1500])
    plan_of(session)
    assert len(asked) == 2
    session.hall.altitude_m = 2500
    made = plan_of(session)
    assert len(asked) == 4
    assert made.plans[0].process.minutes == 15


def test_the_words_say_each_load_with_its_clock_as_the_timeline_has_it():
    session = drafted()
    made = plan_of(session)
    (station,) = plan_words(made, "metric", ()).stations
    (load,) = station.times
    day, begins = made.plans[0].day, made.plans[0].begins
    process = next(step for step in day.steps if step.kind is StepKind.PROCESS)
    assert load.treated == "10 minutes"
    assert (load.process, load.until) == tuple(
        f"{(begins + minute) // 60}:{(begins + minute) % 60:02d}" for minute in (process.start, process.end)
    )
    assert load.cook < load.fill < load.process < load.until <= load.out <= "13:40"


def test_what_is_about_all_stations_is_said_once_and_what_is_about_one_names_it():
    session = drafted(stations=2, hall=make_hall(altitude=""))
    make_station(session, cooks=3, seats=1)
    made = plan_of(session)
    words = plan_words(made, "us", made.hall.refusals)
    assert [said.message[:19] for said in words.refusals] == ["Stations 1, 2, 3: T"]
    assert "Station 3: The plan counts on 3 cooks, and the station has 1 seat: who else helps?" in [
        said.message for said in words.cautions
    ]
    assert (words.altitude, words.boiling) == ("", "")
    assert plan_picture(made) == ""


def test_the_picture_shows_every_station_on_one_clock_with_the_end_of_the_session():
    session = drafted(stations=2, title="<b>A day</b>")
    picture = plan_picture(plan_of(session))
    for words in ("Station 1: Test spread", "Station 2: Test spread", "last jar out", "10:00", "14:00", "&lt;b&gt;"):
        assert words in picture
    assert picture.count("kh-step-process") == 2
    assert "style=" not in picture


def test_jars_set_aside_in_one_hall_are_let_go_when_the_class_goes_to_another():
    by, keeper = make_instructor(), make_keeper()
    session = make_session(by=by, state=SessionState.DRAFT)
    make_jars(jars.kitchen_place(session.hall), 5, size="half-pint", by=keeper)
    gear.gear_gather(by=by, session=session, now=NOW)
    assert session.set_aside.count() == 1
    sessions.session_change(by=by, session=session, hall=make_hall("Other hall"), now=NOW)
    assert session.set_aside.count() == 0
