"""The whole way, with nothing pretended: beat, broker, worker, database, mail server."""

from __future__ import annotations

import os
import signal
from datetime import timedelta

import pytest
from django.utils import timezone

from club.reminders.models import Reminder, ReminderState
from club.run import site
from tests.factories.reminders import make_waiting_batch

pytestmark = pytest.mark.worker


def ripe_batch():
    """Its jars came out twelve hours and a minute ago."""
    return make_waiting_batch(timezone.now() - timedelta(hours=12, minutes=1))


def is_sent() -> bool:
    return Reminder.objects.filter(state=ReminderState.SENT).exists()


def test_a_real_worker_sends_the_seal_reminder_once_however_often_the_clock_ticks(drill_site, sink):
    batch = ripe_batch()
    drill_site.start()
    drill_site.wait_until(is_sent)
    [message] = sink.got
    assert message["To"] == batch.made_by.email
    assert batch.lot_code in message["Subject"]
    assert f"http://drill.example.test/batches/{batch.lot_code}/seals/" in message.get_body(("plain",)).get_content()

    # A second one falls due: the worker asks every rule again, and the first stays at one mail.
    second = ripe_batch()
    drill_site.wait_until(lambda: len(sink.got) >= 2)
    assert [m["To"] for m in sink.got] == [batch.made_by.email, second.made_by.email]


def test_a_worker_killed_with_a_mail_in_its_hand_is_followed_by_one_that_sends_it(drill_site, sink):
    ripe_batch()
    sink.hold.set()  # the server has the mail and does not say so
    drill_site.start()
    drill_site.wait_until(lambda: len(sink.got) == 1)
    os.killpg(drill_site.process_of("worker").pid, signal.SIGKILL)
    sink.hold.clear()

    # Nobody knows whether it arrived. While the lease runs it is nobody's; we wind the clock on by moving the lease.
    assert Reminder.objects.get().state == ReminderState.SENDING
    Reminder.objects.update(leased_until=timezone.now() - timedelta(seconds=1))
    drill_site.wait_until(is_sent)  # the supervisor has put another worker in its place
    assert Reminder.objects.get().attempts == 2
    first, second = sink.message_ids
    assert first == second  # so that a mailbox can drop the one that came twice


@pytest.mark.once
def test_a_worker_killed_while_idle_is_replaced_and_nothing_is_missed(drill_site, sink):
    drill_site.start()
    first = ripe_batch()
    drill_site.wait_until(lambda: len(sink.got) == 1)
    os.killpg(drill_site.process_of("worker").pid, signal.SIGKILL)
    second = ripe_batch()
    drill_site.wait_until(lambda: len(sink.got) == 2)
    assert [m["To"] for m in sink.got] == [first.made_by.email, second.made_by.email]


@pytest.mark.once
def test_reminders_wait_for_a_worker_that_starts_late(drill_site, sink):
    ripe_batch()
    drill_site.start(site.beat())
    drill_site.start(site.worker())
    drill_site.wait_until(is_sent)
    assert len(sink.got) == 1
