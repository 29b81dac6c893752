"""Who may take which row, and what a row that was put off, held back or given back remembers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from uuid import uuid4

import pytest
from django.core import mail
from django.core.mail import EmailMessage
from django.db import OperationalError, connection
from django.db.models import QuerySet

from club.reminders import outbox as reminders_outbox
from club.reminders.models import Reminder, ReminderState
from club.reminders.outbox import (
    MOST_LEASED,
    UNKNOWN,
    Route,
    lease_begin,
    lease_time,
    reminder_begin_sending,
    reminder_note,
)
from club.reminders.services import RULES
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)
NOW = OUT + timedelta(hours=12, minutes=1)
LEASE_OVER = NOW + lease_time() + timedelta(seconds=1)


@pytest.fixture
def due() -> Reminder:
    return make_reminder(make_waiting_batch(OUT), now=NOW)


def many_due(number: int, first: Reminder) -> None:
    """Rows of the same batch under other hours: enough for taking, and settled as soon as their rule is asked."""
    Reminder.objects.bulk_create(
        Reminder(
            rule=first.rule,
            subject=first.subject,
            occurrence=str(n),
            person=first.person,
            due_at=first.due_at + timedelta(seconds=n + 1),
            next_try_at=NOW,
        )
        for n in range(number)
    )


def in_hand() -> Reminder:
    [row] = lease_begin(now=NOW, most=1)
    assert reminder_begin_sending(reminder=row, now=NOW)
    return row


def test_a_basket_holds_the_longest_waits_and_no_two_baskets_the_same(due):
    many_due(MOST_LEASED + 5, due)
    first, second = lease_begin(now=NOW), lease_begin(now=NOW)
    assert (len(first), len(second)) == (MOST_LEASED, 6)
    assert first[0] == due
    assert max(row.due_at for row in first) < min(row.due_at for row in second)
    assert lease_begin(now=NOW) == []


@pytest.mark.parametrize("rows", [1, 30])
def test_taking_a_basket_asks_as_many_queries_for_thirty_rows_as_for_one(due, rows, django_assert_max_num_queries):
    many_due(rows - 1, due)
    with django_assert_max_num_queries(5):  # begin, take, mark, end, the roles
        found = lease_begin(now=NOW)
        assert len([row.person.role_names for row in found]) == rows


def test_a_run_sends_more_than_one_basket(due):
    many_due(2 * MOST_LEASED, due)
    assert reminders_outbox.send_due(NOW) == {ReminderState.SENT: 1, ReminderState.SETTLED: 2 * MOST_LEASED}


def break_after_the_first(monkeypatch, error: Exception) -> None:
    """The first row is sent; taking the second in hand raises."""
    take, calls = reminders_outbox.reminder_begin_sending, iter([True, False])

    def sometimes(*, reminder, now):
        if next(calls):
            return take(reminder=reminder, now=now)
        raise error

    monkeypatch.setattr(reminders_outbox, "reminder_begin_sending", sometimes)


def test_when_a_run_breaks_off_the_rest_of_its_basket_is_due_again_at_once(due, monkeypatch):
    many_due(3, due)
    break_after_the_first(monkeypatch, RuntimeError("the worker is told to stop"))
    with pytest.raises(RuntimeError):
        reminders_outbox.send_due(NOW)
    told = Reminder.objects.order_by("due_at").values_list("state", "attempts", "lease")
    assert list(told) == [(ReminderState.SENT, 1, None), *[(ReminderState.DUE, 0, None)] * 3]


def test_a_run_takes_nothing_when_its_time_is_over(due):
    assert reminders_outbox.send_due(NOW, run_for=timedelta(0)) == {}
    due.refresh_from_db()
    assert (due.state, due.lease) == (ReminderState.DUE, None)


def test_a_basket_given_back_leaves_what_is_in_hand_or_another_s(due):
    many_due(3, due)
    rows = lease_begin(now=NOW)
    reminder_begin_sending(reminder=rows[0], now=NOW)
    Reminder.objects.filter(pk=rows[1].pk).update(lease=uuid4())
    reminders_outbox.lease_release(rows)
    told = Reminder.objects.order_by("due_at").values_list("state", flat=True)
    assert list(told) == [ReminderState.SENDING, ReminderState.LEASED, ReminderState.DUE, ReminderState.DUE]


def test_a_rule_that_could_not_be_asked_for_want_of_a_database_is_asked_again_at_once(due, monkeypatch):
    make_reminder(make_waiting_batch(OUT + timedelta(seconds=10)), now=NOW)

    def away(reminder, now):
        raise OperationalError("the server closed the connection")

    with monkeypatch.context() as broken:
        broken.setattr(RULES[due.rule], "still_due", away)
        assert reminders_outbox.send_due(NOW) == {ReminderState.DUE: 1}  # and the run is over
    assert reminders_outbox.send_due(NOW + timedelta(seconds=1)) == {ReminderState.SENT: 2}


def test_a_kind_that_must_not_come_twice_is_held_back_when_nobody_knows(due, monkeypatch):
    monkeypatch.setattr(RULES[due.rule], "after_lost_lease", "hold")
    in_hand()
    assert reminders_outbox.send_due(LEASE_OVER) == {}
    due.refresh_from_db()
    assert (due.state, due.last_error) == (ReminderState.DEAD, UNKNOWN)
    assert mail.outbox == []


def test_such_a_kind_goes_out_when_its_sender_died_before_it_was_in_hand(due, monkeypatch):
    monkeypatch.setattr(RULES[due.rule], "after_lost_lease", "hold")
    lease_begin(now=NOW)
    assert reminders_outbox.send_due(LEASE_OVER) == {ReminderState.SENT: 1}


def test_what_is_held_back_does_not_keep_the_rest_from_going_out(due, monkeypatch):
    monkeypatch.setattr(RULES[due.rule], "after_lost_lease", "hold")
    many_due(MOST_LEASED, due)
    Reminder.objects.exclude(pk=due.pk).update(state=ReminderState.SENDING, lease=uuid4(), leased_until=NOW)
    Reminder.objects.filter(pk=due.pk).update(due_at=NOW)
    assert reminders_outbox.send_due(LEASE_OVER)[ReminderState.SENT] == 1
    assert Reminder.objects.dead().count() == MOST_LEASED


@pytest.fixture
def put_off(due, monkeypatch) -> datetime:
    """Until when the one row is put off."""
    until = NOW + timedelta(hours=6)
    monkeypatch.setattr(reminders_outbox, "route_for", lambda reminder, rule, now: Route(not_before=until))
    assert reminders_outbox.send_due(NOW) == {ReminderState.DUE: 1}
    return until


def test_what_is_put_off_keeps_its_tries_and_goes_out_at_its_hour(due, put_off, monkeypatch):
    due.refresh_from_db()
    assert (due.attempts, due.not_before, due.next_try_at) == (0, put_off, put_off)
    assert mail.outbox == []
    assert reminders_outbox.send_due(put_off - timedelta(seconds=1)) == {}
    monkeypatch.setattr("club.reminders.rules.batches.FirstLook.before", timedelta(days=7))
    assert reminders_outbox.send_due(put_off) == {ReminderState.SENT: 1}  # the same answer, which is in the past now
    due.refresh_from_db()
    assert due.attempts == 1


def test_what_is_put_off_is_late_only_after_its_hour(due, put_off):
    late = Reminder.objects.lateness
    assert [late(NOW + timedelta(hours=5)), late(put_off)] == [timedelta(0)] * 2
    assert late(put_off + timedelta(minutes=7)) == timedelta(minutes=7)


def test_a_sender_thought_dead_speaks_for_nothing_though_the_tries_are_the_same_again(due, put_off):
    Reminder.objects.update(next_try_at=NOW)
    slow = in_hand()
    [row] = lease_begin(now=LEASE_OVER)
    reminder_begin_sending(reminder=row, now=LEASE_OVER)
    Reminder.objects.update(attempts=slow.attempts)
    reminder_note(reminder=slow, state=ReminderState.SENT)
    due.refresh_from_db()
    assert (due.state, due.lease) == (ReminderState.SENDING, row.lease)


def test_the_note_of_a_mail_that_left_waits_for_the_database(due, monkeypatch):
    row = in_hand()
    update, broken = QuerySet.update, iter([True, True, False])

    def sometimes(self, **changes):
        if next(broken):
            raise OperationalError("the server closed the connection")
        return update(self, **changes)

    monkeypatch.setattr(QuerySet, "update", sometimes)
    monkeypatch.setattr(reminders_outbox, "PAUSES_S", (0, 0, 0))
    # The test's own transaction lives on the connection; a worker has none open.
    closed: list[bool] = []
    worker = SimpleNamespace(in_atomic_block=False, close=lambda: closed.append(True))
    monkeypatch.setattr(reminders_outbox, "connection", worker)
    reminder_note(reminder=row, state=ReminderState.SENT)
    due.refresh_from_db()
    assert (due.state, len(closed)) == (ReminderState.SENT, 2)


def test_each_mail_is_noted_before_the_next_is_in_hand(due, monkeypatch):
    make_reminder(make_waiting_batch(OUT + timedelta(seconds=10)), now=NOW)
    in_hand_at_once, send = [], EmailMessage.send

    def look(self, fail_silently=False):
        in_hand_at_once.append(Reminder.objects.filter(state=ReminderState.SENDING).count())
        return send(self, fail_silently)

    monkeypatch.setattr(EmailMessage, "send", look)
    assert reminders_outbox.send_due(NOW) == {ReminderState.SENT: 2}
    assert in_hand_at_once == [1, 1]


def long_past(due: Reminder) -> None:
    """Much that was sent long ago, and the database told of it: for few rows no index is worth its while."""
    sent = {"state": ReminderState.SENT, "sent_at": OUT, "next_try_at": OUT, "due_at": OUT, "person": due.person}
    Reminder.objects.bulk_create(
        Reminder(rule="seal-check", subject=f"batch:{10**9 + n}", occurrence="long ago", **sent) for n in range(5_000)
    )
    with connection.cursor() as cursor:
        cursor.execute(f"ANALYZE {Reminder._meta.db_table}")


@pytest.mark.parametrize("what", ["waiting", "late", "dead"])
def test_what_is_asked_each_minute_reads_a_small_index_whatever_was_sent(due, what):
    asked = {
        "waiting": lambda: Reminder.objects.waiting(NOW).select_related("person")[:MOST_LEASED],
        "late": lambda: Reminder.objects.late(NOW),
        "dead": lambda: Reminder.objects.dead().order_by(),
    }[what]()
    long_past(due)
    assert f"reminders_{'dead' if what == 'dead' else 'live'}" in asked.explain()


def test_more_hands_are_wanted_for_more_than_a_basketful(due):
    assert reminders_outbox.senders_wanted(NOW) == 0
    many_due(MOST_LEASED, due)
    assert reminders_outbox.senders_wanted(NOW) == 1
    many = 20 * MOST_LEASED
    Reminder.objects.all().delete()
    many_due(many, due)
    assert reminders_outbox.senders_wanted(NOW) == reminders_outbox.MOST_SENDERS - 1
