"""Who sits where, whose the jars are, and the start of all batches in one press: all of them, or none."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.classes.models import CannerLoad, JarTaker, SignUp, StationBatch
from club.classes.services import day
from club.members.choices import Role
from club.reminders.services import RULES
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from inventory.batches.services import batch_abandon
from inventory.equipment.choices import ThingState
from inventory.equipment.models import Thing
from inventory.equipment.services import thing_repair
from recipes.models import Revision, RevisionState
from tests.factories.class_day import MORNING as NOW
from tests.factories.class_day import (
    NOON,
    log_out,
    make_at_station,
    make_called,
    make_cooking,
    make_dial_held,
    make_held,
    runner_of,
)
from tests.factories.classes import make_instructor, make_session, make_signup, make_station
from tests.factories.equipment import BAD, make_keeper, make_test
from tests.factories.members import make_person, set_altitude
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db


def sit(signup, station, **changes) -> SignUp:
    told = {"by": runner_of(signup.session), "now": NOW, **changes}
    return day.signup_sit(signup=signup, station=station, **told)


def start(session, **changes):
    return day.stations_start(**{"by": runner_of(session), "session": session, "now": NOW, **changes})


def choose(station, signup, **changes) -> JarTaker:
    told = {"by": runner_of(station.session), "now": NOW, **changes}
    return day.taker_choose(station=station, signup=signup, **told)


@pytest.fixture
def two_stations():
    """A session of two stations with one person who came at each."""
    session = make_session(stations=2)
    for station in session.stations.all():
        make_at_station(station)
    return session


# Who sits where


def test_a_party_sits_whole_or_not_at_all():
    session = make_session(seats=3)
    station = session.stations.get()
    make_at_station(station, places=2)
    pair, one = make_called(make_station(session).session, places=2), make_called(session)
    with pytest.raises(ValidationError, match="no room"):
        sit(pair, station)
    assert sit(one, station).station == station


def test_an_absent_person_s_seat_at_a_station_is_free_and_she_is_seated_nowhere():
    session = make_session(seats=1)
    station = session.stations.get()
    absent = make_called(session, came=0)
    with pytest.raises(ValidationError, match="absent"):
        sit(absent, station)
    make_station(session)
    assert sit(make_called(session), station).station == station


def test_a_station_of_another_session_is_no_seat():
    signup = make_called(make_session())
    with pytest.raises(ValidationError, match="another session"):
        sit(signup, make_session().stations.get())


def test_to_move_away_gives_the_jars_up():
    session = make_session(stations=2)
    first, second = session.stations.all()
    signup = make_at_station(first)
    choose(first, signup)
    assert sit(signup, second).station == second
    assert not JarTaker.objects.exists()
    assert sit(signup, None).station is None


def test_who_takes_the_jars_of_a_started_batch_home_stays():
    cooking = make_cooking()
    signup = cooking.station.taker.signup
    with pytest.raises(ValidationError, match="stays"):
        sit(signup, None)


def test_everybody_is_seated_in_one_press_alike_and_by_hand_stays_by_hand():
    session = make_session(stations=3, seats=4)
    stations = list(session.stations.all())
    by_hand = make_at_station(stations[2], places=2)
    pair = make_called(session, places=2)
    awaited, absent = make_signup(session), make_called(session, came=0)
    one = make_called(session)
    assert day.everybody_sit(by=runner_of(session), session=session, now=NOW) == []
    at = dict(SignUp.objects.values_list("pk", "station"))
    assert at[by_hand.pk] == stations[2].pk
    assert (at[pair.pk], at[absent.pk]) == (stations[0].pk, None)
    assert at[awaited.pk] == at[one.pk] == stations[1].pk


def test_who_finds_no_room_is_named():
    session = make_session(stations=2, seats=1)
    pair = make_called(session, places=2)
    assert day.everybody_sit(by=runner_of(session), session=session, now=NOW) == [pair]


@pytest.mark.parametrize("role", [Role.MEMBER, Role.KEEPER, Role.INSTRUCTOR])
def test_seats_and_jars_and_starts_are_for_who_runs_the_session(role, two_stations):
    stranger = make_person(role)
    station = two_stations.stations.first()
    signup = SignUp.objects.get(station=station)
    for press in (
        lambda: sit(signup, None, by=stranger),
        lambda: choose(station, signup, by=stranger),
        lambda: day.everybody_sit(by=stranger, session=two_stations, now=NOW),
        lambda: start(two_stations, by=stranger),
    ):
        with pytest.raises(PermissionDenied):
            press()
    assert len(start(two_stations).new) == 2


# Whose the jars are


def test_the_jars_go_home_with_one_of_the_station_s_people_who_came():
    session = make_session(stations=2)
    here, there = session.stations.all()
    sits, elsewhere = make_at_station(here), make_at_station(there)
    awaited = sit(make_signup(session), here)
    for wrong in (elsewhere, awaited):
        with pytest.raises(ValidationError, match="who came"):
            choose(here, wrong)
    assert choose(here, sits).signup == sits


def test_the_choice_changes_until_the_start_and_not_after():
    station = make_session().stations.get()
    first, second = make_at_station(station), make_at_station(station)
    choose(station, first)
    assert choose(station, second).signup == second
    assert start(station.session).new[0].batch.made_by == second.person
    with pytest.raises(ValidationError, match="started already"):
        choose(station, first)


# The start


def test_one_press_starts_a_batch_for_each_station_from_its_own_plan(two_stations):
    beans = make_revision(base=VEGETABLE)
    third = make_station(two_stations, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge", pots=2)
    dial = make_dial_held(two_stations)
    student = make_at_station(third).person
    done = start(two_stations)
    assert (len(done.new), done.before, done.empty) == (3, [], [])
    spread, beans_batch = done.new[0].batch, done.new[2].batch
    assert (spread.kitchen, spread.pots, spread.jar_size, spread.required_minutes) == (
        two_stations.hall,
        1,
        "half-pint",
        10,
    )
    assert (beans_batch.pots, beans_batch.canner, beans_batch.required_psi) == (2, "dial-gauge", 12)
    assert (beans_batch.canner_card, beans_batch.setting_psi) == (dial, 13)  # its gauge reads 0.5 psi high
    assert (beans_batch.made_by, beans_batch.started_by) == (student, runner_of(two_stations))
    assert beans_batch.started_at == NOW


def test_a_pressure_station_without_a_canner_that_is_held_starts_nothing(two_stations):
    beans = make_revision(base=VEGETABLE)
    third = make_station(two_stations, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge")
    make_at_station(third)
    with pytest.raises(ValidationError, match="No pressure canner is held"):
        start(two_stations)
    assert not Batch.objects.exists()


def test_of_several_pressure_canners_each_is_fit_or_nothing_starts(two_stations):
    wanted = {"jar_size": "pint", "pack": "hot", "canner": "dial-gauge", "canners": 2, "capacity": {"pint": 4}}
    wanted |= {"revision": make_revision(base=VEGETABLE), "pots": 2, "burners_w": [1800] * 4}
    make_at_station(make_station(two_stations, **wanted))
    good = make_dial_held(two_stations)
    failed = make_dial_held(two_stations, readings=BAD)
    with pytest.raises(ValidationError, match=f"{failed.code} failed its test"):
        start(two_stations)
    assert not Batch.objects.exists()
    make_test(failed, NOW.date(), now=NOW)
    thing_repair(by=make_keeper(), thing=failed, note="the handle")
    with pytest.raises(ValidationError, match=f"{failed.code} is in repair"):
        start(two_stations)
    Thing.objects.filter(pk=failed.pk).update(state=ThingState.IN_SERVICE)
    assert start(two_stations).new[2].batch.canner_card in (good, failed)


def test_a_second_press_finds_the_batches_of_the_first(two_stations):
    first = start(two_stations)
    second = start(two_stations)
    assert (second.new, len(second.before)) == ([], 2)
    assert {one.batch_id for one in second.before} == {one.batch_id for one in first.new}
    assert Batch.objects.count() == 2


def test_a_fellow_instructor_s_press_finds_them_too(two_stations):
    fellow = make_instructor()
    two_stations.instructors.add(fellow)
    start(two_stations)
    assert len(start(two_stations, by=fellow).before) == 2
    assert Batch.objects.count() == 2


def test_a_station_without_people_is_passed_over_and_started_later(two_stations):
    late = make_station(two_stations)
    done = start(two_stations)
    assert (len(done.new), done.empty) == (2, [late])
    make_at_station(late)
    done = start(two_stations)
    assert (len(done.new), len(done.before), done.empty) == (1, 2, [])


def test_what_speaks_against_any_station_is_told_at_once_and_nothing_is_started(two_stations):
    undecided = make_station(two_stations, name="By the window")
    make_at_station(undecided)
    make_at_station(undecided)
    too_large = make_station(two_stations, jar_size="quart")  # tested up to pints only
    make_at_station(too_large)
    with pytest.raises(ValidationError) as refused:
        start(two_stations)
    told = refused.value.messages
    assert any(one.startswith("By the window: Choose who") for one in told)
    assert any(one.startswith("Station 4: ") for one in told)
    assert not Batch.objects.exists()
    assert not StationBatch.objects.exists()
    # The same session starts once both are mended: it was these two that stood in the way.
    choose(undecided, SignUp.objects.filter(station=undecided).first())
    too_large.jar_size = "pint"
    too_large.save()
    assert len(start(two_stations).new) == 4


def test_a_revision_withdrawn_overnight_starts_nothing(two_stations):
    Revision.objects.filter(stations__session=two_stations).update(
        state=RevisionState.WITHDRAWN, withdrawn_at=NOW, withdrawn_reason="Too little acid."
    )
    with pytest.raises(ValidationError, match="Too little acid"):
        start(two_stations)
    assert not Batch.objects.exists()


def test_a_hall_whose_altitude_is_unknown_starts_nothing(two_stations):
    set_altitude(two_stations.hall, None)
    with pytest.raises(ValidationError, match="altitude"):
        start(two_stations)
    assert not Batch.objects.exists()


def test_nothing_is_started_before_anybody_sits_or_before_the_day(two_stations):
    with pytest.raises(ValidationError, match="day itself"):
        start(two_stations, now=NOW - timedelta(days=1))
    SignUp.objects.update(came=None)
    with pytest.raises(ValidationError, match="call the roll"):
        start(two_stations)
    SignUp.objects.update(came=1)
    assert len(start(two_stations).new) == 2


def test_a_taker_who_may_put_up_nothing_is_told_not_stumbled_over(two_stations):
    person = SignUp.objects.filter(session=two_stations).first().person
    person.groups.clear()
    with pytest.raises(ValidationError, match="choose somebody else"):
        start(two_stations)
    assert not Batch.objects.exists()


def test_an_instructor_who_cooks_herself_starts_her_own_batch():
    session = make_session()
    by = runner_of(session)
    make_at_station(session.stations.get(), person=by)
    batch = start(session).new[0].batch
    assert (batch.made_by, batch.started_by) == (by, None)


def test_a_station_has_one_batch_and_a_batch_one_station():
    cooking = make_cooking()
    with pytest.raises(IntegrityError), transaction.atomic():
        StationBatch.objects.create(station=cooking.station, batch=make_cooking().batch)


def give_up(cooking) -> None:
    batch_abandon(by=cooking.batch.started_by, batch=cooking.batch, reason="Scorched.", now=NOW)


def again(cooking, **changes) -> StationBatch:
    told = {"by": runner_of(cooking.station.session), "now": NOW, **changes}
    return day.station_start_again(station=cooking.station, **told)


def test_a_station_whose_batch_scorched_starts_anew_for_the_same_person():
    cooking = make_cooking()
    day.load_begin(by=runner_of(cooking.station.session), cooking=cooking, number=1, now=NOW)
    give_up(cooking)
    assert start(cooking.station.session).new == []
    fresh = again(cooking)
    assert fresh.batch != cooking.batch
    assert fresh.batch.made_by == cooking.batch.made_by
    assert not CannerLoad.objects.exists()
    assert again(cooking) == fresh
    give_up(fresh)
    assert again(fresh).batch not in (cooking.batch, fresh.batch)
    assert StationBatch.objects.count() == 1


def test_a_batch_that_is_going_on_is_not_started_anew():
    cooking = make_cooking()
    assert again(cooking) == cooking
    with pytest.raises(PermissionDenied):
        again(cooking, by=make_instructor())
    assert Batch.objects.count() == 1


def test_where_nobody_sits_any_more_nothing_starts_anew():
    cooking = make_cooking()
    give_up(cooking)
    SignUp.objects.update(station=None)
    with pytest.raises(ValidationError, match="Nobody who came"):
        again(cooking)
    assert StationBatch.objects.get() == cooking


# In the canner


def begin(cooking, number=1, **changes):
    told = {"by": runner_of(cooking.station.session), "now": NOW, **changes}
    return day.load_begin(cooking=cooking, number=number, **told)


def test_the_minutes_of_a_load_count_from_the_first_press():
    cooking = make_cooking()
    begin(cooking)
    assert begin(cooking, now=NOW + timedelta(minutes=3)).began_at == NOW


def test_a_count_that_began_too_soon_is_taken_back_and_begins_anew():
    cooking = make_cooking()
    begin(cooking)
    day.load_take_back(by=runner_of(cooking.station.session), cooking=cooking, number=1, now=NOW)
    later = NOW + timedelta(minutes=9)
    assert begin(cooking, now=later).began_at == later


@pytest.mark.parametrize("number", [0, 2])
def test_only_the_loads_of_the_plan_begin(number):
    cooking = make_cooking()
    with pytest.raises(ValidationError, match="no such load"):
        begin(cooking, number)


def test_what_came_out_of_the_canner_does_not_begin_again():
    cooking = make_cooking()
    log_out(cooking)
    with pytest.raises(ValidationError, match="not on the stove"):
        begin(cooking, now=NOON)
    assert not CannerLoad.objects.exists()


def test_loads_are_noted_by_who_runs_the_session():
    cooking = make_cooking()
    with pytest.raises(PermissionDenied):
        begin(cooking, by=make_instructor())
    assert begin(cooking)


# The seals


def test_the_call_to_look_at_the_seals_goes_to_who_takes_the_jars_home(two_stations):
    done = start(two_stations)
    by = runner_of(two_stations)
    for cooking in done.new:
        log_out(cooking, by=by)
    due = list(RULES["seal-check"].due(NOON + timedelta(hours=12)))
    takers = {f"batch:{one.batch_id}": one.batch.made_by_id for one in done.new}
    assert {one.subject: one.person_id for one in due} == takers
    assert by.pk not in takers.values()
    assert list(RULES["seal-check"].due(NOON + timedelta(hours=12, seconds=-1))) == []


def test_the_instructor_logs_what_came_out_and_it_waits_for_its_look():
    batch = log_out(make_cooking())
    assert (batch.state, batch.jars_out_at) == (BatchState.OUT, NOON)


def test_a_walk_in_may_be_the_one_who_takes_the_jars():
    session = make_session()
    by, person = runner_of(session), make_person()
    token = session.token
    signup = day.walk_in_take(by=by, session=session, person=person, token=token, now=NOW)
    sit(signup, session.stations.get())
    assert start(session).new[0].batch.made_by == person


def test_a_boil_that_is_lost_after_the_session_was_closed_begins_anew():
    cooking = make_cooking()
    by, later = runner_of(cooking.station.session), NOON + timedelta(minutes=5)
    day.load_begin(by=by, cooking=cooking, number=1, now=NOON)
    make_held(cooking, now=NOON)
    day.load_take_back(by=by, cooking=cooking, number=1, now=later)
    assert day.load_begin(by=by, cooking=cooking, number=1, now=later).began_at == later
