"""Over a real socket to a real mail server: what leaves the house, and what its refusals do."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder, ReminderState
from tests.drills.mail_sink import free_port, mail_sink
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)
NOW = OUT + timedelta(hours=12)


@pytest.fixture
def due(settings) -> Reminder:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_USE_TLS = False
    settings.DEFAULT_FROM_EMAIL = "The club <club@example.test>"
    return make_reminder(make_waiting_batch(OUT), now=NOW)


def test_the_mail_arrives_in_two_forms_with_its_headers(due, settings):
    with mail_sink() as sink:
        settings.EMAIL_PORT = sink.port
        assert outbox.send_due(NOW) == {ReminderState.SENT: 1}
    [message] = sink.got
    assert message["To"] == due.person.email
    assert message["From"] == "The club <club@example.test>"
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["Message-ID"].endswith("@club.example.test>")
    assert message.get_content_type() == "multipart/alternative"
    for kind in ("plain", "html"):
        assert "/seals/" in message.get_body((kind,)).get_content()


@pytest.mark.parametrize(
    ("answer", "state"),
    [("550 No such box here", ReminderState.DEAD), ("450 The box is full", ReminderState.DUE)],
)
def test_the_servers_refusal_decides_whether_it_is_tried_again(due, settings, answer, state):
    with mail_sink(answer_to_recipient=answer) as sink:
        settings.EMAIL_PORT = sink.port
        assert outbox.send_due(NOW) == {state: 1}
    due.refresh_from_db()
    assert answer[4:] in due.last_error
    assert sink.got == []


def test_where_nobody_listens_the_reminder_waits(due, settings):
    settings.EMAIL_PORT = free_port()
    assert outbox.send_due(NOW) == {ReminderState.DUE: 1}
    due.refresh_from_db()
    assert due.next_try_at > NOW
