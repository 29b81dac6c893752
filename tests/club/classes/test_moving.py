"""A session moved: hours, sign-up and everything held for it, all or nothing."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.classes.choices import SessionState
from club.classes.models import ClassSession
from club.classes.planning import gear_required, plan_of
from club.classes.services import gear
from club.classes.services.sessions import PlanRefused, session_move
from inventory.equipment.choices import Condition, Kind
from inventory.equipment.models import Hold
from inventory.equipment.services import Taken, loan_hand_over
from inventory.jars import services as jars
from tests.factories.class_day import MORNING, make_called
from tests.factories.classes import NOW, SATURDAY, TEN, TWO, make_instructor, make_session
from tests.factories.equipment import make_hold, make_thing
from tests.factories.jars import make_keeper, make_stock
from tests.factories.recipes import make_spread_with_pectin

pytestmark = pytest.mark.django_db
A_WEEK = timedelta(days=7)
NEXT = SATURDAY + A_WEEK


@pytest.fixture
def by():
    return make_instructor()


@pytest.fixture
def session(by):
    """Published, with two canners held; the second can be taken by others from the Friday after."""
    for code in ("BWC-01", "BWC-02"):
        make_thing(code=code, capacity={"half-pint": 12})
    friday = datetime(2026, 9, 19, 0, 0, tzinfo=UTC)  # Friday 18:00 on the wall
    made = make_session(by=by, stations=2, signup_closes_at=friday)
    gear.gear_gather(by=by, session=made, now=NOW)
    return made


def move(by, session, day=NEXT, starts=TEN, ends=TWO):
    return session_move(by=by, session=session, day=day, starts=starts, ends=ends, now=NOW)


def stands(session) -> tuple[date, int, set[date]]:
    fresh = ClassSession.objects.get(pk=session.pk)
    return (
        fresh.day,
        fresh.sequence,
        set(Hold.objects.filter(session_gear__isnull=False).values_list("starts", flat=True)),
    )


def test_the_holds_move_with_the_session_and_calendars_hear_of_it_once(by, session):
    for _again in range(2):
        moved = move(by, session)
    assert stands(session) == (NEXT, 1, {NEXT})
    assert moved.starts_at == session.starts_at + A_WEEK
    assert moved.signup_closes_at == session.signup_closes_at + A_WEEK


def test_a_clash_changes_nothing_and_says_which_thing_on_which_day_and_when_it_is_free(by, session):
    make_hold(Hold.objects.get(thing__code="BWC-02").thing, 12, 12)  # the Saturday after, by somebody else
    with pytest.raises(Taken) as taken:
        move(by, session)
    assert taken.value.messages[0] == "BWC-02 is taken: Sat 26 Sep to Sun 27 Sep 2026."
    assert "BWC-01" not in " ".join(taken.value.messages)
    assert [free.span.starts for free in taken.value.next_free][0] == date(2026, 9, 28)
    assert stands(session) == (SATURDAY, 0, {SATURDAY})


def test_other_hours_on_the_same_day_leave_the_holds_alone(by, session):
    move(by, session, SATURDAY, time(9), TWO)
    assert stands(session) == (SATURDAY, 1, {SATURDAY})


def test_a_published_session_does_not_move_into_hours_that_are_too_short(by, session):
    with pytest.raises(PlanRefused, match="more than there are before cleaning up"):
        move(by, session, NEXT, TEN, time(11))
    assert stands(session) == (SATURDAY, 0, {SATURDAY})


def test_sign_up_closes_at_the_same_hour_on_the_wall_over_the_clock_change(by, session):
    moved = move(by, session, date(2026, 11, 1))  # the clocks go back in that night
    assert moved.signup_closes_at == datetime(2026, 11, 1, 0, 0, tzinfo=UTC)  # Saturday 18:00, still summer time
    assert moved.starts_at == datetime(2026, 11, 1, 17, 0, tzinfo=UTC)


def test_a_move_to_a_day_before_sign_up_opens_is_refused(by, session):
    ClassSession.objects.filter(pk=session.pk).update(signup_opens_at=datetime(2026, 9, 17, 12, 0, tzinfo=UTC))
    with pytest.raises(ValidationError, match="Sign-up closes after it opens"):
        move(by, session, date(2026, 9, 17), time(14), time(18))
    assert stands(session) == (SATURDAY, 0, {SATURDAY})


@pytest.mark.parametrize(
    ("day", "starts", "field"), [(date(2026, 9, 1), TEN, "day"), (date(2027, 3, 14), time(2, 30), "starts")]
)
def test_hours_that_cannot_be_are_refused_beside_their_field(by, session, day, starts, field):
    with pytest.raises(ValidationError) as refused:
        move(by, session, day, starts)
    assert list(refused.value.message_dict) == [field]


def test_supplies_that_do_not_keep_until_the_new_day_are_not_counted_on(by):
    keeper = make_keeper()
    pouches = jars.supply_add(by=keeper, name="Liquid pectin", unit="pouches")
    make_stock(pouches, 2, by=keeper, use_by=SATURDAY)
    session = make_session(by=by, revision=make_spread_with_pectin(), state=SessionState.DRAFT)
    gear.gear_gather(by=by, session=session, now=NOW)
    assert session.set_aside.count() == 1
    move(by, session)
    assert session.set_aside.count() == 0


def test_another_instructor_moves_nothing(session):
    with pytest.raises(PermissionDenied):
        move(make_instructor(), session)


def test_gear_that_was_handed_over_is_not_counted_on_for_a_later_day(by, session):
    thing = Hold.objects.get(thing__code="BWC-01").thing
    loan_hand_over(by=make_keeper(), thing=thing, person=by, due_on=SATURDAY, condition=Condition.GOOD, now=NOW)
    needs = gear_required(plan_of(session).hall)
    canners = [need for need in needs if need.kind == Kind.BOILING_WATER]
    assert not gear.gear_missing(session, canners)
    moved = move(by, session)
    assert len(gear.gear_missing(moved, canners)) == 1


def test_a_session_that_people_came_to_is_not_moved_any_more():
    session = make_session()
    came = make_called(session)
    with pytest.raises(ValidationError, match="came to it already"):
        session_move(by=came.session.created_by, session=session, day=NEXT, starts=TEN, ends=TWO, now=MORNING)
    assert stands(session)[0] == SATURDAY


def test_where_nobody_came_the_roll_is_called_anew_on_the_other_day():
    session = make_session()
    absent = make_called(session, came=0)
    session_move(by=session.created_by, session=session, day=NEXT, starts=TEN, ends=TWO, now=MORNING)
    absent.refresh_from_db()
    assert (stands(session)[0], absent.came) == (NEXT, None)
