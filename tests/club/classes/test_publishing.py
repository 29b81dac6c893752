"""Publishing: every refusal at once, and none published that cannot be taught; cancelling lets everything go."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.classes.choices import SessionState
from club.classes.models import ClassSession, SetAside
from club.classes.planning import plan_of, session_minutes
from club.classes.services import gear, sessions
from club.classes.services.sessions import PlanRefused
from inventory.batches.services import batch_abandon
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold
from inventory.equipment.services import loan_return, parts_settle
from tests.factories.class_day import MORNING, make_cooking
from tests.factories.classes import NOW, make_hall, make_instructor, make_session, make_station
from tests.factories.equipment import make_keeper, make_loan, make_thing
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db


def draft(by, **told):
    return make_session(by=by, **{"state": SessionState.DRAFT, **told})


def refused(by, session, now=NOW) -> list[str]:
    with pytest.raises(PlanRefused) as caught:
        sessions.session_publish(by=by, session=session, now=now)
    assert ClassSession.objects.get(pk=session.pk).state == SessionState.DRAFT
    assert len(caught.value.messages) == len(caught.value.refusals)
    return [each.refusal.code for each in caught.value.refusals]


def test_a_draft_that_can_be_taught_is_published_once():
    by = make_instructor()
    session = draft(by)
    for now in (NOW, NOW + timedelta(hours=1)):
        published = sessions.session_publish(by=by, session=session, now=now)
    assert (published.state, published.published_at, published.sequence) == (SessionState.PUBLISHED, NOW, 0)


def test_every_refusal_comes_at_once():
    by = make_instructor()
    beans = make_revision(base=VEGETABLE)
    session = draft(by, hall=make_hall(power_limit_w=7000), ends=time(11, 30), minimum_people=30)
    make_station(session, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge")
    make_station(session, jar_size="quart")
    assert refused(by, session) == [
        "too-few-seats",
        "hall-power",
        "not-enough-time",
        "not-enough-time",
        "jar-too-large",
    ]


@pytest.mark.parametrize(
    ("told", "code"),
    [
        ({"hall": {"altitude": ""}}, "altitude-unknown"),
        ({"hall": {"power_limit_w": 3999}}, "hall-power"),
        ({"stations": 0}, "no-station"),
        ({"ends": time(11)}, "not-enough-time"),
    ],
)
def test_what_cannot_be_taught_is_not_published(told, code):
    by = make_instructor()
    hall = make_hall(**told.pop("hall", {}))
    assert refused(by, draft(by, hall=hall, **told)) == [code]


def test_an_unknown_limit_of_the_hall_refuses_nothing_and_the_plan_says_it_is_unknown():
    by = make_instructor()
    session = draft(by, hall=make_hall(power_limit_w=None))
    assert sessions.session_publish(by=by, session=session, now=NOW).is_published
    assert plan_of(session).hall.power.limit_w is None


def test_a_recipe_withdrawn_in_the_meantime_is_not_published():
    by = make_instructor()
    revision = make_revision()
    session = draft(by, revision=revision)
    revision.state, revision.withdrawn_at, revision.withdrawn_reason = "withdrawn", NOW, "The test was repeated."
    revision.save()
    assert refused(by, session) == ["revision-withdrawn"]


def test_a_session_gone_by_or_shut_to_everybody_is_not_published():
    by = make_instructor()
    session = draft(by)
    assert refused(by, session, session.starts_at) == ["gone-by"]
    assert refused(by, session, session.signup_closes_at) == ["sign-up-closed"]


def test_another_instructor_neither_publishes_nor_cancels():
    session, other = draft(make_instructor()), make_instructor()
    for press in (
        lambda: sessions.session_publish(by=other, session=session),
        lambda: sessions.session_cancel(by=other, session=session, reason="No"),
    ):
        with pytest.raises(PermissionDenied):
            press()


def test_cancelling_says_why_lets_the_gear_go_and_is_heard_of_once():
    by = make_instructor()
    make_thing(Kind.BOILING_WATER, capacity={"half-pint": 12})
    session = draft(by)
    gear.gear_gather(by=by, session=session, now=NOW)
    sessions.session_publish(by=by, session=session, now=NOW)
    for reason in ("  The well   is dry. ", "Another reason"):
        cancelled = sessions.session_cancel(by=by, session=session, reason=reason, now=NOW)
    assert (cancelled.state, cancelled.cancel_reason, cancelled.sequence) == ("cancelled", "The well is dry.", 1)
    assert list(Hold.objects.values_list("state", flat=True)) == ["cancelled"]
    assert not SetAside.objects.exists()


@pytest.mark.parametrize("reason", ["", "   ", "x" * 301])
def test_a_session_is_not_called_off_without_a_word(reason):
    by = make_instructor()
    with pytest.raises(ValidationError) as caught:
        sessions.session_cancel(by=by, session=make_session(by=by), reason=reason, now=NOW)
    assert list(caught.value.message_dict) == ["reason"]


def test_a_session_over_a_clock_change_counts_the_minutes_that_pass():

    plain = make_session(starts=time(0, 30), ends=time(4, 0))
    forward = make_session(day=date(2027, 3, 14), starts=time(0, 30), ends=time(4, 0))
    assert session_minutes(plain) == (30, 240)
    assert session_minutes(forward) == (90, 240)


def test_twelve_stations_are_planned_in_as_many_queries_as_one(django_assert_max_num_queries):
    for count in (1, 12):
        session = ClassSession.objects.select_related("hall").get(pk=make_session(stations=count).pk)
        with django_assert_max_num_queries(1):
            assert len(plan_of(session).plans) == count


def test_what_was_cooked_in_is_closed_and_not_called_off_unless_every_batch_was_given_up():
    cooking = make_cooking()
    session, by = cooking.station.session, cooking.station.session.created_by
    told = {"by": by, "session": session, "reason": "The power went.", "now": MORNING}
    with pytest.raises(ValidationError, match="Close it, or give up"):
        sessions.session_cancel(**told)
    assert ClassSession.objects.get(pk=session.pk).state == SessionState.PUBLISHED
    batch_abandon(by=by, batch=cooking.batch, reason="No power.")
    assert sessions.session_cancel(**told).state == SessionState.CANCELLED


def test_a_thing_held_for_it_that_came_back_without_a_part_keeps_it_from_being_published():
    by = make_instructor()
    thing = make_thing(capacity={"half-pint": 12})
    session = draft(by)
    gear.gear_gather(by=by, session=session, now=NOW)
    assert Hold.objects.get().thing == thing
    loan = make_loan(thing, now=NOW, days=0)
    loan_return(by=make_keeper(), loan=loan, condition="good", missing_parts="the rack", is_ready=True, now=NOW)
    assert refused(by, session) == ["part-missing"]
    parts_settle(by=make_keeper(), thing=thing, outcome="back", now=NOW)
    assert sessions.session_publish(by=by, session=session, now=NOW).state == SessionState.PUBLISHED
