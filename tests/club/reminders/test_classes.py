"""Reminders about class sessions: to whom, at which hour, in which words, and not when it was settled meanwhile."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.test import Client

from club.classes.models import ClassSession, SignUp
from club.classes.services import seats
from club.classes.services.seats import seat_path
from club.classes.services.sessions import session_move
from club.reminders import outbox as reminders_outbox
from club.reminders.models import Reminder
from club.reminders.rules.classes import RULES as FAMILY
from club.reminders.services import RULES, with_titles
from tests.factories.classes import NOW, TEN, TWO, make_instructor, make_session, make_signup
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db

DENVER = ZoneInfo("America/Denver")
A_MINUTE, AN_HOUR = timedelta(minutes=1), timedelta(hours=1)
NEEDS = "Hazelnuts close my throat"


def wall(day: int, hour: int, minute: int = 0, *, month: int = 9) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=DENVER)


@pytest.fixture
def session():
    """Saturday 19 September, 10:00 to 14:00, of one seat; sign-up closes on Friday at ten."""
    return make_session(seats=1, what_to_bring="An apron", price_note="12 for fruit", now=wall(1, 12))


@pytest.fixture
def seated(session):
    """Who took the seat on the first of the month."""
    return seats.signup_place(by=make_person(), session=session, needs=NEEDS, now=wall(1, 12))


def called(now: datetime, rule: str) -> list[str]:
    """Who has been called by this rule up to `now`, by email, each once a call."""
    reminders_outbox.gather(now)
    return sorted(Reminder.objects.filter(rule=rule).values_list("person__email", flat=True))


def is_still_due(rule: str, now: datetime) -> bool:
    return RULES[rule].still_due(Reminder.objects.filter(rule=rule).latest("pk"), now)


def message(rule: str, now: datetime):
    return RULES[rule].message(Reminder.objects.filter(rule=rule).latest("pk"), now)


def test_a_seat_taken_is_noted_at_once_with_the_link_that_gives_it_up(seated):
    assert called(wall(1, 12), "class-seat") == [seated.person.email]
    told = message("class-seat", wall(1, 12))
    assert told.subject == "Your seat: Plum spread in a morning, Saturday 19 September"
    assert "Saturday 19 September, 10:00 to 14:00, Tallow Hall" in told.text
    assert told.link == "https://club.example.test" + seat_path(seated.pk)
    assert told.link in told.html
    assert is_still_due("class-seat", wall(2, 11))
    assert not is_still_due("class-seat", wall(2, 12))
    assert called(wall(3, 12), "class-seat") == [seated.person.email]


def test_a_week_before_at_nine_on_the_wall_a_class_is_called_next_week(seated):
    assert called(wall(12, 8, 59), "class-week") == []
    assert called(wall(12, 9), "class-week") == [seated.person.email]
    assert Reminder.objects.get(rule="class-week").due_at == wall(12, 9)
    told = message("class-week", wall(12, 9))
    assert told.subject == "Next week: Plum spread in a morning, Saturday 19 September"
    assert "Please bring: An apron" in told.text
    assert is_still_due("class-week", wall(18, 17, 59))
    assert not is_still_due("class-week", wall(18, 18))  # the evening before says it better


def test_who_took_the_seat_later_than_a_week_before_is_not_told_of_next_week(session):
    late = seats.signup_place(by=make_person(), session=session, now=wall(14, 12))
    assert called(wall(14, 13), "class-week") == []
    assert called(wall(18, 18), "class-tomorrow") == [late.person.email]


def test_the_day_before_at_six_she_reads_what_to_bring(seated):
    assert called(wall(18, 17, 59), "class-tomorrow") == []
    assert called(wall(18, 18), "class-tomorrow") == [seated.person.email]
    told = message("class-tomorrow", wall(18, 18))
    assert told.subject == "Tomorrow: Plum spread in a morning, 10:00"
    for said in ("Please bring: An apron", "Price: 12 for fruit", "Tallow Hall"):
        assert said in told.text
    assert message("class-tomorrow", wall(19, 7)).subject.startswith("Today: ")
    assert is_still_due("class-tomorrow", wall(19, 7, 59))
    assert not is_still_due("class-tomorrow", wall(19, 8))


def test_the_evening_before_is_six_on_the_wall_over_a_clock_change_and_two_hours_are_elapsed(session):
    """The clock goes back in the night before: 18:00 on the wall is 17 hours before a class at ten."""
    day = wall(1, 10, month=11)
    ClassSession.objects.filter(pk=session.pk).update(
        day=day.date(), starts_at=day.astimezone(UTC), ends_at=day.astimezone(UTC) + 4 * AN_HOUR
    )
    make_signup(session, now=wall(1, 12))
    for now in (wall(31, 18, month=10), wall(1, 9, 59, month=11)):
        reminders_outbox.gather(now)
    due = dict(Reminder.objects.values_list("rule", "due_at"))
    assert due["class-tomorrow"] == wall(31, 18, month=10)
    assert due["class-starting"] == day.astimezone(UTC) - 2 * AN_HOUR
    assert day.astimezone(UTC) - due["class-tomorrow"] == 17 * AN_HOUR


def test_two_hours_before_it_is_called_and_not_once_it_began(seated):
    assert called(wall(19, 7, 59), "class-starting") == []
    assert called(wall(19, 8), "class-starting") == [seated.person.email]
    assert message("class-starting", wall(19, 8)).subject == "At 10:00: Plum spread in a morning"
    assert is_still_due("class-starting", wall(19, 9, 59))
    assert not is_still_due("class-starting", wall(19, 10))
    assert not RULES["class-starting"].may_wait


def test_who_gave_up_her_seat_is_called_no_more(seated):
    for now in (wall(12, 9), wall(18, 18)):
        reminders_outbox.gather(now)
    seats.signup_cancel(by=seated.person, signup=seated, now=wall(18, 19))
    assert not is_still_due("class-week", wall(18, 17))
    assert not is_still_due("class-tomorrow", wall(18, 19))
    assert called(wall(19, 8), "class-starting") == []


def test_who_waits_hears_nothing_of_next_week_nor_tomorrow(session, seated):
    seats.signup_place(by=make_person(), session=session, now=wall(2, 12))
    for rule, now in {"class-week": wall(12, 9), "class-tomorrow": wall(18, 18), "class-starting": wall(19, 8)}.items():
        assert called(now, rule) == [seated.person.email]


def test_an_offer_is_told_at_once_by_day_and_called_again_with_a_quarter_of_the_time_left(session, seated):
    waits = seats.signup_place(by=make_person(), session=session, now=wall(2, 12))
    seats.signup_cancel(by=seated.person, signup=seated, now=wall(7, 18))
    assert called(wall(7, 18), "seat-offered") == [waits.person.email]
    told = message("seat-offered", wall(7, 18))
    assert told.subject == "A seat for you until Wednesday 9 September, 18:00: Plum spread in a morning"
    assert told.link.endswith(seat_path(waits.pk))
    assert called(wall(9, 7, 59), "seat-lapsing") == []
    assert called(wall(9, 8), "seat-lapsing") == [waits.person.email]  # 12 hours before would be six in the morning
    assert "goes to the next in line at Wednesday 9 September, 18:00" in message("seat-lapsing", wall(9, 8)).text
    assert is_still_due("seat-lapsing", wall(9, 17, 59))
    seats.seat_accept(by=waits.person, signup=waits, now=wall(9, 9))
    assert not is_still_due("seat-lapsing", wall(9, 9))
    assert not is_still_due("seat-offered", wall(9, 9))


def test_an_offer_made_by_night_is_told_in_the_morning(session, seated):
    waits = seats.signup_place(by=make_person(), session=session, now=wall(2, 12))
    seats.signup_cancel(by=seated.person, signup=seated, now=wall(18, 2))  # of four hours, from eight on
    assert called(wall(18, 7, 59), "seat-offered") == []
    assert called(wall(18, 8), "seat-offered") == [waits.person.email]
    assert called(wall(18, 11), "seat-lapsing") == [waits.person.email]
    assert not RULES["seat-offered"].may_wait
    assert not RULES["seat-lapsing"].may_wait


def test_an_offer_that_moved_on_is_told_to_the_next_alone(session, seated):
    first, second = (seats.signup_place(by=make_person(), session=session, now=wall(2, 12)) for _ in range(2))
    seats.signup_cancel(by=seated.person, signup=seated, now=wall(7, 12))
    reminders_outbox.gather(wall(7, 12))
    seats.seats_move_on(wall(9, 12))
    assert not is_still_due("seat-offered", wall(9, 12))
    assert called(wall(9, 12), "seat-offered") == sorted([first.person.email, second.person.email])


def test_every_instructor_is_told_two_days_before_closing_that_too_few_have_a_seat(session, seated):
    other = make_instructor(email="other@example.test")
    session.instructors.add(other, make_instructor(email="gone@example.test"))
    gone = session.instructors.get(email="gone@example.test")
    gone.is_active = False
    gone.save(update_fields=["is_active"])
    ClassSession.objects.filter(pk=session.pk).update(minimum_people=2)
    mails = sorted([session.instructors.order_by("pk")[0].email, other.email])
    assert called(wall(16, 9, 59), "class-minimum") == []
    assert called(wall(16, 10), "class-minimum") == mails
    told = message("class-minimum", wall(16, 10))
    assert told.subject == "1 of at least 2: Plum spread in a morning, Saturday 19 September"
    assert "Sign-up closes Friday 18 September, 10:00." in told.text
    assert told.link == f"https://club.example.test/classes/{session.pk}/"
    assert is_still_due("class-minimum", wall(18, 9, 59))
    assert not is_still_due("class-minimum", wall(18, 10))
    ClassSession.objects.filter(pk=session.pk).update(minimum_people=1)
    assert not is_still_due("class-minimum", wall(16, 11))


def test_places_count_and_not_sign_ups_and_only_those_with_a_seat(session):
    ClassSession.objects.filter(pk=session.pk).update(seats_total=4, minimum_people=2)
    session.refresh_from_db()
    make_signup(session, state="waiting", places=2, now=wall(1, 12))
    make_signup(session, state="cancelled", places=2, now=wall(1, 12))
    assert len(called(wall(16, 10), "class-minimum")) == 1
    make_signup(session, places=2, companion="Bo", now=wall(1, 12))
    assert not is_still_due("class-minimum", wall(16, 10))


def test_a_cancelled_session_is_told_to_everybody_with_an_open_sign_up_and_cannot_be_muted(session, seated):
    waits = seats.signup_place(by=make_person(), session=session, now=wall(2, 12))
    left = seats.signup_place(by=make_person(), session=session, now=wall(2, 12))
    seats.signup_cancel(by=left.person, signup=left, now=wall(2, 13))
    ClassSession.objects.filter(pk=session.pk).update(
        state="cancelled", cancelled_at=wall(15, 3), cancel_reason="The gas is off."
    )
    assert called(wall(15, 3), "class-cancelled") == sorted([seated.person.email, waits.person.email])
    told = message("class-cancelled", wall(15, 3))
    assert told.subject == "Cancelled: Plum spread in a morning, Saturday 19 September"
    assert "does not take place: The gas is off." in told.text
    assert (RULES["class-cancelled"].may_mute, RULES["class-cancelled"].may_wait) == (False, False)
    assert called(wall(18, 18), "class-tomorrow") == []
    assert not is_still_due("class-cancelled", wall(19, 14))


def test_a_moved_session_is_told_to_who_signed_up_before_each_time_it_moves(session, seated):
    def move(at: datetime, day: datetime) -> None:
        session_move(by=session.created_by, session=session, day=day.date(), starts=TEN, ends=TWO, now=at)

    move(wall(10, 12), wall(20, 10))
    late = seats.signup_place(by=make_person(), session=session, now=wall(10, 13))
    assert called(wall(10, 13), "class-moved") == [seated.person.email]
    told = message("class-moved", wall(10, 13))
    assert told.subject == "Other hours: Plum spread in a morning, now Sunday 20 September"
    assert "You keep your seat." in told.text
    move(wall(10, 14), wall(19, 10))  # and back again
    assert called(wall(10, 14), "class-moved") == sorted([seated.person.email] * 2 + [late.person.email])
    assert message("class-moved", wall(10, 14)).subject.endswith("now Saturday 19 September")
    first = Reminder.objects.filter(rule="class-moved").earliest("pk")
    assert not RULES["class-moved"].still_due(first, wall(10, 14))  # what was not sent yet is told once, as it is now
    assert (RULES["class-moved"].may_mute, RULES["class-moved"].may_wait) == (False, False)


def test_a_moved_session_is_called_anew_for_its_new_day(session, seated):
    reminders_outbox.gather(wall(12, 9))
    day = wall(26, 10)
    ClassSession.objects.filter(pk=session.pk).update(
        day=day.date(), starts_at=day, ends_at=day + 4 * AN_HOUR, moved_at=wall(13, 9)
    )
    assert not is_still_due("class-week", wall(13, 9))
    assert len(called(wall(19, 9), "class-week")) == 2


def test_who_left_the_club_is_called_no_more(session, seated):
    reminders_outbox.gather(wall(12, 9))
    seated.person.is_active = False
    seated.person.save(update_fields=["is_active"])
    assert not is_still_due("class-week", wall(12, 10))
    assert called(wall(18, 18), "class-tomorrow") == []


def test_from_the_mail_to_a_freed_seat_and_the_offer_of_it(session, seated):
    """The whole way: the mail goes out, its link is opened by somebody who is not signed in, the next is offered."""
    waits = seats.signup_place(by=make_person(), session=session, now=wall(2, 12))
    SignUp.objects.filter(pk=seated.pk).update(seated_at=NOW - AN_HOUR)
    day = datetime.now(UTC) + timedelta(days=9)
    ClassSession.objects.filter(pk=session.pk).update(starts_at=day, ends_at=day + AN_HOUR, signup_closes_at=day)
    reminders_outbox.gather(NOW)
    reminders_outbox.send_due(NOW)
    [sent] = [one for one in mail.outbox if one.to == [seated.person.email] and one.subject.startswith("Your seat")]
    link = next(line for line in sent.body.splitlines() if line.startswith("https://"))
    Client().post(link.removeprefix("https://club.example.test"), {"answer": "leave"})
    waits.refresh_from_db()
    assert waits.state == "offered"


def test_no_mail_says_what_was_written_for_the_instructors(session, seated):
    rows = {rule.name: rule.message for rule in FAMILY if rule.prefix == "seat:"}
    assert len(rows) == 8
    SignUp.objects.filter(pk=seated.pk).update(offered_at=NOW, offer_until=NOW + AN_HOUR)
    for name, write in rows.items():
        subject, person = f"seat:{seated.pk}", seated.person
        reminder = Reminder(rule=name, subject=subject, occurrence="", person=person, due_at=NOW)
        told = write(reminder, NOW)
        assert NEEDS not in told.text + told.html + told.subject, name
        assert told.link.endswith(seat_path(seated.pk)), name


def test_each_subject_is_named_by_its_session_with_two_queries(session, seated, django_assert_num_queries):
    ClassSession.objects.filter(pk=session.pk).update(minimum_people=2)
    for now in (wall(12, 9), wall(16, 10)):
        reminders_outbox.gather(now)
    named = {one.rule: text for one, text in with_titles(Reminder.objects.all())}
    assert named["class-week"] == "class next week, Plum spread in a morning"
    assert named["class-minimum"] == "too few people for a class, Plum spread in a morning"
    reminders = list(Reminder.objects.filter(rule__in=["class-week", "class-minimum"]))
    with django_assert_num_queries(2):
        with_titles(reminders * 20)


@pytest.mark.parametrize("rows", [1, 30])
def test_a_rule_asks_as_often_for_thirty_seats_as_for_one(rows, django_assert_max_num_queries):
    session = make_session(seats=60, minimum_people=60, now=wall(1, 12))
    for _ in range(rows):
        make_signup(session, now=wall(1, 12))
        make_signup(session, state="offered", now=wall(17, 12))
    for rule in FAMILY:
        with django_assert_max_num_queries(2):
            list(rule.due(wall(17, 13)))
