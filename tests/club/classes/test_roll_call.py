"""The roll, walk-ins and companions: who is counted, and never a seat too many."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.classes.choices import SEAT_STATES, SessionState, SignUpState
from club.classes.models import ClassSession, JarTaker, SignUp
from club.classes.services import day
from club.members.choices import Role
from tests.factories.class_day import MORNING, make_at_station, make_called, make_cooking, runner_of
from tests.factories.classes import make_instructor, make_session, make_signup
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def call(signup: SignUp, came: int | None, **changes) -> SignUp:
    told = {"by": runner_of(signup.session), "now": MORNING, **changes}
    return day.roll_call(signup=signup, came=came, **told)


def walk_in(session: ClassSession, person=None, **changes) -> SignUp:
    told = {"by": runner_of(session), "token": uuid4(), "now": MORNING, **changes}
    return day.walk_in_take(session=session, person=person or make_person(), **told)


def seats_agree(session: ClassSession) -> bool:
    """The counter says what the sign-ups say."""
    session.refresh_from_db()
    held = session.signups.filter(state__in=SEAT_STATES).values_list("places", flat=True)
    return session.seats_taken == sum(held) <= session.seats_total


@pytest.mark.parametrize("came", [0, 1, 2])
def test_of_a_party_of_two_none_one_or_both_came(came):
    signup = make_signup(make_session(), places=2)
    assert signup.came is None
    assert call(signup, came).came == came


def test_what_was_called_is_taken_back_to_not_called_yet():
    signup = make_called(make_session())
    assert signup.came == 1
    assert call(signup, None).came is None
    assert not SignUp.objects.came().exists()


@pytest.mark.parametrize("came", [-1, 2])
def test_more_than_a_party_has_cannot_come(came):
    signup = make_signup(make_session())
    with pytest.raises(ValidationError, match="count again"):
        call(signup, came)
    assert call(signup, 1).came == 1


def test_who_is_absent_leaves_her_station_and_its_jars():
    station = make_session().stations.get()
    signup = make_at_station(station)
    day.taker_choose(by=runner_of(station.session), station=station, signup=signup, now=MORNING)
    assert call(signup, 0).station is None
    assert not JarTaker.objects.exists()


@pytest.mark.parametrize("came", [0, None])
def test_whose_batch_is_on_the_stove_came(came):
    cooking = make_cooking()
    signup = cooking.station.taker.signup
    with pytest.raises(ValidationError, match="so they came"):
        call(signup, came)
    signup.refresh_from_db()
    assert (signup.came, signup.station) == (1, cooking.station)


@pytest.mark.parametrize("state", [SignUpState.WAITING, SignUpState.OFFERED, SignUpState.CANCELLED])
def test_only_who_has_a_seat_is_on_the_roll(state):
    with pytest.raises(ValidationError, match="no seat"):
        call(make_signup(make_session(), state=state), 1)


@pytest.mark.parametrize("state", [SessionState.CANCELLED, SessionState.HELD, SessionState.DRAFT])
def test_the_roll_of_a_session_that_is_not_on_is_shut(state):
    session = make_session()
    signup = make_signup(session)
    extra = {"cancelled_at": MORNING, "cancel_reason": "No plums."} if state == SessionState.CANCELLED else {}
    ClassSession.objects.filter(pk=session.pk).update(state=state, **extra)
    with pytest.raises(ValidationError, match="not on"):
        call(signup, 1)


def test_the_roll_opens_with_the_day_on_the_club_s_wall():
    signup = make_signup(make_session())
    midnight = MORNING - timedelta(hours=10)
    with pytest.raises(ValidationError, match="day itself"):
        call(signup, 1, now=midnight - timedelta(minutes=1))
    assert call(signup, 1, now=midnight).came == 1


@pytest.mark.parametrize("role", [Role.MEMBER, Role.KEEPER, Role.INSTRUCTOR])
def test_only_who_runs_the_session_calls_the_roll(role):
    signup = make_signup(make_session())
    with pytest.raises(PermissionDenied):
        call(signup, 1, by=make_person(role))
    assert call(signup, 1).came == 1


def test_a_fellow_instructor_of_the_session_calls_it_too():
    session = make_session()
    fellow = make_instructor()
    session.instructors.add(fellow)
    assert call(make_signup(session), 1, by=fellow).came == 1


# Walk-ins


def test_a_walk_in_takes_a_seat_and_has_come():
    session = make_session()
    made = walk_in(session, places=2, companion="Aunt  Quince")
    assert (made.state, made.is_walk_in, made.came, made.companion) == (SignUpState.SEATED, True, 2, "Aunt")
    assert seats_agree(session)
    assert session.seats_taken == 2


def test_no_walk_in_is_taken_when_the_seats_are_gone():
    session = make_session(seats=2)
    make_signup(session)
    with pytest.raises(ValidationError, match="no seat left"):
        walk_in(session, places=2)
    walk_in(session)
    with pytest.raises(ValidationError, match="no seat left"):
        walk_in(session)
    assert seats_agree(session)
    assert session.seats_left == 0


def test_a_walk_in_form_sent_twice_takes_one_seat():
    session, token, person = make_session(), uuid4(), make_person()
    assert walk_in(session, person, token=token) == walk_in(session, person, token=token)
    assert seats_agree(session)
    assert session.seats_taken == 1


def test_who_has_a_seat_already_is_only_called():
    session, person = make_session(), make_person()
    signup = make_signup(session, person)
    assert walk_in(session, person) == signup
    signup.refresh_from_db()
    assert (signup.came, signup.is_walk_in) == (1, False)
    assert seats_agree(session)


def test_who_was_offered_a_seat_sits_on_that_one_even_when_no_other_is_left():
    session, person = make_session(seats=1), make_person()
    signup = make_signup(session, person, state=SignUpState.OFFERED)
    walk_in(session, person)
    signup.refresh_from_db()
    assert (signup.state, signup.came) == (SignUpState.SEATED, 1)
    assert seats_agree(session)


def test_who_waited_and_came_takes_a_free_seat_or_none():
    session, person = make_session(seats=1), make_person()
    waiting = make_signup(session, person, state=SignUpState.WAITING)
    sitting = make_called(session, came=0)
    with pytest.raises(ValidationError, match="no seat left"):
        walk_in(session, person)
    day.absent_seat_free(by=runner_of(session), signup=sitting, now=MORNING)
    walk_in(session, person)
    waiting.refresh_from_db()
    assert (waiting.state, waiting.is_walk_in, waiting.came) == (SignUpState.SEATED, True, 1)
    assert seats_agree(session)


def test_a_walk_in_who_left_the_club_is_refused():
    session, person = make_session(), make_person()
    person.is_active = False
    person.save()
    with pytest.raises(ValidationError):
        walk_in(session, person)
    assert not SignUp.objects.exists()


@pytest.mark.parametrize("wrong", [{"places": 0}, {"places": 3}, {"places": 1, "companion": "Aunt"}])
def test_a_walk_in_is_one_person_or_two(wrong):
    with pytest.raises(ValidationError):
        walk_in(make_session(), **wrong)


def test_walk_ins_are_taken_by_who_runs_the_session():
    session = make_session()
    with pytest.raises(PermissionDenied):
        walk_in(session, by=make_instructor())
    assert walk_in(session)


# Companions


def test_a_guest_takes_a_second_seat_beside_the_member_she_came_with():
    session = make_session(seats=2)
    signup = make_signup(session)
    made = day.companion_take(by=runner_of(session), signup=signup, name=" Gwen  Guest ", now=MORNING)
    assert (made.places, made.companion, made.came) == (2, "Gwen", 2)
    assert seats_agree(session)


def test_a_guest_finds_no_seat_where_none_is_left():
    session = make_session(seats=1)
    signup = make_called(session)
    with pytest.raises(ValidationError, match="no seat left"):
        day.companion_take(by=runner_of(session), signup=signup, name="Gwen", now=MORNING)
    signup.refresh_from_db()
    assert (signup.places, signup.companion) == (1, "")
    assert seats_agree(session)


@pytest.mark.parametrize(("places", "name"), [(1, "  "), (2, "Gwen")])
def test_a_guest_has_a_name_and_a_party_is_two_at_most(places, name):
    signup = make_called(make_session(), places=places)
    with pytest.raises(ValidationError):
        day.companion_take(by=runner_of(signup.session), signup=signup, name=name, now=MORNING)
    assert seats_agree(signup.session)


def test_a_party_that_grew_out_of_its_station_is_seated_anew():
    session = make_session(stations=2, seats=2)
    station = session.stations.first()
    stays, grows = make_at_station(station), make_at_station(station)
    made = day.companion_take(by=runner_of(session), signup=grows, name="Gwen", now=MORNING)
    assert made.station is None
    stays.refresh_from_db()
    assert stays.station == station


# The seat of somebody who did not come


def test_an_absent_seat_is_given_free_once_and_the_roll_keeps_her_absent():
    session = make_session(seats=1)
    signup = make_called(session, came=0)
    freed = day.absent_seat_free(by=runner_of(session), signup=signup, now=MORNING)
    assert (freed.state, freed.came, freed.closed_at) == (SignUpState.CANCELLED, 0, MORNING)
    with pytest.raises(ValidationError):
        day.absent_seat_free(by=runner_of(session), signup=signup, now=MORNING)
    assert seats_agree(session)
    assert session.seats_taken == 0


def test_the_seat_of_somebody_who_came_or_may_still_come_is_hers():
    session = make_session()
    for signup in (make_called(session), make_signup(session)):
        with pytest.raises(ValidationError, match="absent first"):
            day.absent_seat_free(by=runner_of(session), signup=signup, now=MORNING)
    assert seats_agree(session)
    assert session.seats_taken == 2


def test_a_form_that_took_somebody_into_another_session_takes_nobody_here():
    first, session, token = make_session(), make_session(), uuid4()
    walk_in(first, token=token)
    with pytest.raises(ValidationError, match="used for something else"):
        walk_in(session, token=token)
    assert seats_agree(session)
    assert not session.signups.exists()
