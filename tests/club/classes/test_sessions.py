"""Sessions and series: made once, at hours that exist, and changed after publishing only where it is safe."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.classes.choices import SessionState
from club.classes.models import ClassSeries, ClassSession
from club.classes.services import sessions
from club.classes.services.sessions import SessionFields
from club.core.clock import weekly
from tests.factories.classes import NOW, SATURDAY, TEN, TWO, make_hall, make_instructor, make_session
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db


def fields(by, **told):
    return SessionFields(
        **{"title": "Plum spread", "hall": make_hall(), "starts": TEN, "ends": TWO, "instructors": [by], **told}
    )


def make(by, day=SATURDAY, token=None, **told):
    return sessions.session_make(by=by, fields=fields(by, **told), day=day, token=token or uuid4(), now=NOW)


def test_a_session_is_a_draft_at_its_hours_on_the_wall_with_the_usual_end_of_sign_up():
    by = make_instructor()
    session = make(by)
    assert session.state == SessionState.DRAFT
    assert session.starts_at == datetime(2026, 9, 19, 16, 0, tzinfo=UTC)
    assert session.ends_at == datetime(2026, 9, 19, 20, 0, tzinfo=UTC)
    assert session.signup_opens_at == NOW
    assert session.signup_closes_at == datetime(2026, 9, 19, 0, 0, tzinfo=UTC)  # Friday 18:00 on the wall
    assert list(session.instructors.all()) == [by]


def test_the_same_press_again_finds_the_session():
    by, token = make_instructor(), uuid4()
    assert make(by, token=token) == make(by, token=token)
    assert ClassSession.objects.count() == 1


def test_a_form_of_somebody_else_s_makes_no_session_and_no_series():
    token = uuid4()
    make(make_instructor(), token=token)
    other, days = make_instructor(), [SATURDAY, SATURDAY + timedelta(days=7)]
    with pytest.raises(ValidationError, match="used for something else"):
        make(other, token=token)
    sessions.series_make(by=make_instructor(), fields=fields(other), days=days, token=token, now=NOW)
    with pytest.raises(ValidationError, match="used for something else"):
        sessions.series_make(by=other, fields=fields(other), days=days, token=token, now=NOW)
    assert not ClassSession.objects.filter(created_by=other).exists()


def test_a_session_tomorrow_takes_sign_ups_until_it_begins():
    session = sessions.session_make(
        by=(by := make_instructor()),
        fields=fields(by),
        day=SATURDAY,
        token=uuid4(),
        now=NOW + timedelta(days=4, hours=8),
    )
    assert session.signup_closes_at == session.starts_at


def test_who_does_not_plan_makes_none():
    with pytest.raises(PermissionDenied):
        make(make_person())


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"title": "  "}, "title"),
        ({"hall": None}, "hall"),
        ({"ends": TEN}, "ends"),
        ({"day": date(2026, 9, 14), "starts": time(9)}, "day"),
        ({"day": date(2027, 11, 20)}, "day"),
        ({"day": date(2027, 3, 14), "starts": time(2, 30)}, "starts"),
        ({"day": date(2026, 11, 1), "starts": time(0, 30), "ends": time(1, 30)}, "ends"),
        ({"instructors": []}, "instructors"),
        ({"minimum_people": 0}, "minimum_people"),
        ({"signup_closes_at": NOW - timedelta(days=1)}, "signup_closes_at"),
        ({"signup_closes_at": NOW + timedelta(days=30)}, "signup_closes_at"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field_and_nothing_is_made(told, field):
    by = make_instructor()
    if "hall" in told:
        told = {"hall": make_kitchen(by)}
    with pytest.raises(ValidationError) as refused:
        make(by, **told)
    assert list(refused.value.message_dict) == [field]
    assert not ClassSession.objects.exists()


def test_only_who_may_plan_teaches():
    by = make_instructor()
    with pytest.raises(ValidationError, match="an organiser makes people instructors"):
        make(by, instructors=[by, make_person(name="Nell Sloe")])


def test_a_weekly_series_over_the_clock_change_keeps_its_hour():
    by, token = make_instructor(), uuid4()
    days = list(weekly(date(2026, 10, 24), 3))
    for _press in range(2):
        series = sessions.series_make(by=by, fields=fields(by), days=days, token=token, now=NOW)
    assert [session.day for session in series.sessions.all()] == days
    hours = [session.starts_at.hour for session in series.sessions.all()]
    assert hours == [16, 16, 17]  # in UTC; ten o'clock on the wall all the same
    assert ClassSeries.objects.count() == 1


def test_every_day_of_a_series_that_cannot_be_is_told_at_once_and_none_is_made():
    by = make_instructor()
    days = [date(2026, 9, 1), SATURDAY, date(2026, 11, 1)]
    with pytest.raises(ValidationError) as refused:
        sessions.series_make(
            by=by, fields=fields(by, starts=time(1, 30), ends=time(5)), days=days, token=uuid4(), now=NOW
        )
    told = refused.value.message_dict["days"]
    assert [sentence[:10] for sentence in told] == ["2026-09-01", "2026-11-01"]
    assert not ClassSession.objects.exists()


@pytest.mark.parametrize("count", [0, 31])
def test_a_series_has_some_days_and_not_a_year_of_them(count):
    by = make_instructor()
    with pytest.raises(ValidationError, match="from 1 to 30 days"):
        sessions.series_make(by=by, fields=fields(by), days=list(weekly(SATURDAY, count)), token=uuid4(), now=NOW)


def test_a_draft_changes_freely_and_calendars_hear_nothing():
    by = make_instructor()
    session, other = make_session(by=by, state=SessionState.DRAFT), make_instructor()
    hall = make_hall("Other hall", altitude="200 m")
    changed = sessions.session_change(
        by=by, session=session, hall=hall, price_note="12 a head", instructors=[by, other], minimum_people=3, now=NOW
    )
    assert (changed.hall, changed.price_note, changed.minimum_people, changed.sequence) == (hall, "12 a head", 3, 0)
    assert set(changed.instructors.all()) == {by, other}


def test_each_safe_change_of_a_published_session_counts_once_and_no_change_counts_nothing():
    by = make_instructor()
    session = make_session(by=by)
    for n, change in enumerate(
        (
            {"title": "Plums"},
            {"about": "All of it."},
            {"what_to_bring": "An apron"},
            {"instructors": [by, make_instructor()]},
        ),
        1,
    ):
        for _again in range(2):
            changed = sessions.session_change(by=by, session=session, now=NOW, **change)
            assert changed.sequence == n


@pytest.mark.parametrize(
    "change",
    [{"price_note": "30"}, {"minimum_people": 2}, {"skill": "pressure"}, {"signup_closes_at": NOW + timedelta(days=1)}],
)
def test_what_people_signed_up_for_stays_as_it_was_published(change):
    by = make_instructor()
    session = make_session(by=by)
    with pytest.raises(ValidationError) as refused:
        sessions.session_change(by=by, session=session, title="Other", now=NOW, **change)
    assert list(refused.value.message_dict) == list(change)
    session.refresh_from_db()
    assert (session.title, session.sequence) == ("Plum spread in a morning", 0)


@pytest.mark.parametrize("state", [SessionState.CANCELLED, SessionState.HELD])
def test_what_is_over_changes_no_more(state):
    by = make_instructor()
    told = {"cancelled_at": NOW, "cancel_reason": "Rain"} if state == SessionState.CANCELLED else {}
    session = make_session(by=by, state=state, **told)
    with pytest.raises(ValidationError):
        sessions.session_change(by=by, session=session, title="Other", now=NOW)


def test_an_instructor_of_another_session_changes_nothing():
    with pytest.raises(PermissionDenied):
        sessions.session_change(by=make_instructor(), session=make_session(), title="Mine", now=NOW)


@pytest.mark.parametrize(("day", "why"), [(date.max, "At most"), (date.min, "gone by")])
def test_a_day_at_either_end_of_the_calendar_is_refused_in_words(day, why):
    by = make_instructor()
    late = {"starts": time(22), "ends": time(23, 30)}
    with pytest.raises(ValidationError, match=why):
        make(by, day=day, **late)
    with pytest.raises(ValidationError, match=why):
        sessions.series_make(by=by, fields=fields(by, **late), days=list(weekly(day, 3)), token=uuid4(), now=NOW)


def test_a_title_is_one_line_however_it_was_sent():
    """It stands in the heads of mails and calendars."""
    by = make_instructor()
    title, wanted = "Plum spread\r\nBcc: somebody@example.com\u2028more", "Plum spread Bcc: somebody@example.com more"
    assert make(by, title=title, price_note="12\n13").title == wanted
    days = [SATURDAY, SATURDAY + timedelta(days=7)]
    series = sessions.series_make(by=by, fields=fields(by, title=title), days=days, token=uuid4(), now=NOW)
    assert {series.title, *series.sessions.values_list("title", flat=True)} == {wanted}
    assert ClassSession.objects.filter(price_note="12 13").exists()
