"""One connection for many mails, over a real socket: reused, opened anew when it broke, and never in the way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder, ReminderState
from tests.drills.mail_sink import MailSink, mail_sink
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)
NOW = OUT + timedelta(hours=12)


@pytest.fixture
def sink(settings):
    with mail_sink() as one:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", one.port, False
        yield one


def make_due(number: int) -> list[Reminder]:
    return [make_reminder(make_waiting_batch(OUT + timedelta(seconds=n)), now=NOW) for n in range(number)]


def addresses(sink: MailSink) -> list[str]:
    return [message["To"] for message in sink.got]


def test_a_run_talks_over_one_connection(sink):
    make_due(5)
    assert outbox.send_due(NOW) == {ReminderState.SENT: 5}
    assert (len(sink.got), sink.connections) == (5, 1)


def test_after_so_many_mails_a_connection_is_left(sink, monkeypatch):
    monkeypatch.setattr(outbox, "MAILS_A_CONNECTION", 2)
    make_due(5)
    assert outbox.send_due(NOW) == {ReminderState.SENT: 5}
    assert sink.connections == 3


def test_a_server_that_hangs_up_after_each_mail_is_called_again(sink):
    sink.hang_up_after = 1
    due = make_due(3)
    assert outbox.send_due(NOW) == {ReminderState.SENT: 3}
    assert addresses(sink) == [one.person.email for one in due]
    assert sink.connections == 3


@pytest.mark.parametrize("answer", ["450 The box is full", "550 No such box here"])
def test_one_refused_address_leaves_the_line_to_the_others(sink, answer):
    first, second, third = make_due(3)
    sink.refused = {second.person.email: answer}
    assert outbox.send_due(NOW)[ReminderState.SENT] == 2
    assert addresses(sink) == [first.person.email, third.person.email]
    assert sink.connections == 1


def test_a_server_that_goes_in_mid_mail_ends_the_run_and_the_others_keep_their_tries(sink):
    due = make_due(3)
    sink.drop = True
    outbox.send_due(NOW)
    for one in due:
        one.refresh_from_db()
    assert [one.attempts for one in due] == [1, 0, 0]
    assert [one.state for one in due] == [ReminderState.DUE] * 3
    sink.drop = False
    assert outbox.send_due(NOW + timedelta(minutes=2)) == {ReminderState.SENT: 3}
    assert len(set(addresses(sink))) == 3
