"""The clock of the club goes forward and back under a running site: each reminder at its hour, once."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder, ReminderState
from tests.factories.equipment import make_loan
from tests.factories.reminders import awake, make_waiting_batch

pytestmark = pytest.mark.once  # the hours are reckoned before the database is asked

DENVER = ZoneInfo("America/Denver")
MINUTE = timedelta(minutes=1)
# In America/Denver, 2026: 02:00 becomes 03:00 on 8 March, and 02:00 becomes 01:00 on 1 November.
CHANGES = {"forward": datetime(2026, 3, 8, 9, 0, tzinfo=UTC), "back": datetime(2026, 11, 1, 8, 0, tzinfo=UTC)}


@pytest.fixture
def mail_to_sink(sink, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", sink.port, False


@pytest.mark.django_db
@pytest.mark.parametrize("change", CHANGES)
def test_over_a_clock_change_each_reminder_goes_out_at_its_minute_and_once(change, sink, mail_to_sink, tell):
    turn = CHANGES[change]
    # Jars that came out so that their twelve hours end every ten minutes over the hour around it.
    dues = [turn + timedelta(minutes=10 * n) for n in range(-3, 4)]
    for due in dues:
        make_waiting_batch(due - timedelta(hours=12))
    # A thing due back that day is called for at 18:00 on the wall the evening before; asked late, it is told at once.
    loan = make_loan(days=1, now=turn.astimezone(DENVER).replace(hour=12, minute=0) - timedelta(days=1))
    awake(loan.person)

    now, ticks = turn - timedelta(minutes=35), 0
    while now <= turn + timedelta(minutes=35):
        outbox.gather_and_send(now)
        now, ticks = now + MINUTE, ticks + 1

    seals = Reminder.objects.filter(rule="seal-check")
    late = [row.sent_at - row.due_at for row in seals]
    tell(
        f"clock goes {change}: {ticks} ticks over the change, {len(sink.raw)} mails, each once, the latest "
        f"{max(late).total_seconds():.0f} s after it was due"
    )
    assert sorted(seals.values_list("due_at", flat=True)) == dues
    assert all(timedelta(0) <= one < MINUTE for one in late)
    [called] = Reminder.objects.filter(rule="loan-due")
    assert called.due_at.astimezone(DENVER).strftime("%H:%M") == "18:00"
    assert not Reminder.objects.exclude(state=ReminderState.SENT, attempts=1).exists()
    assert len(sink.raw) == len(set(sink.message_ids)) == len(dues) + 1


@pytest.mark.django_db
def test_a_machine_whose_clock_is_set_back_an_hour_sends_nothing_twice_and_does_not_stand_still(
    sink, mail_to_sink, tell
):
    start = datetime(2026, 8, 14, 18, 0, tzinfo=UTC)
    make_waiting_batch(start - timedelta(hours=12))
    outbox.gather_and_send(start)
    make_waiting_batch(start - timedelta(hours=13))  # due at the very hour to which the clock is set back
    now = start - timedelta(hours=1)
    ticks = 0
    while len(sink.raw) < 2 and ticks < 70:
        outbox.gather_and_send(now)
        now, ticks = now + MINUTE, ticks + 1
    for n in range(70):
        outbox.gather_and_send(now + n * MINUTE)
    tell(f"clock set back an hour: the next reminder after {ticks} ticks, {len(sink.raw)} mails, each once")
    assert len(sink.raw) == len(set(sink.message_ids)) == 2
    assert ticks <= 2
