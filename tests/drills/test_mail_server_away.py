"""The mail server is away, then has no time, then knows some people no longer: what can arrive arrives, once."""

from __future__ import annotations

import random

import pytest
from django.db.models import Max, Sum
from django.utils import timezone

from club.reminders.models import LIVE, UNDER_LEASE, Reminder, ReminderState
from tests.drills.mail_sink import MailSink, listening
from tests.drills.site import Site, child_environment
from tests.factories.reminders import make_many_due

pytestmark = [pytest.mark.worker, pytest.mark.once]  # what a mail server answers is the same on any database

REMINDERS = 300
GONE_FOR_GOOD = 25


@pytest.fixture
def site_and_sink(transactional_db, tmp_path, broker_url):
    sink = MailSink()
    environment = child_environment(tmp_path / "data", broker_url=broker_url, smtp_port=sink.port)
    site = Site(tmp_path / "data", environment, sink)
    yield site, sink
    site.supervisor.stop()


def wind_on() -> None:
    """As if the waits after failures were over; the machine's clock stays as it is."""
    Reminder.objects.filter(state=ReminderState.DUE).update(next_try_at=timezone.now())


def all_out() -> bool:
    """Wound on each time: a mail hung up on just before the server came back waits its minute like any other."""
    wind_on()
    return not Reminder.objects.late(timezone.now()).exists()


def tries() -> int:
    return Reminder.objects.aggregate(sum=Sum("attempts"))["sum"] or 0


def all_tried_since(before: int) -> bool:
    in_hand = Reminder.objects.filter(state__in=UNDER_LEASE)
    return tries() >= before + REMINDERS and not in_hand.exists()


def test_a_mail_server_that_is_away_then_busy_then_refuses_some(site_and_sink, tell):
    site, sink = site_and_sink
    keepers = make_many_due(REMINDERS, now=timezone.now())
    gone = {one.email: "550 No such box here" for one in random.sample(keepers, GONE_FOR_GOOD)}

    site.start()
    site.wait_until(lambda: Reminder.objects.count() == REMINDERS and tries() >= 4)  # nobody listens: some runs end
    away = Reminder.objects.aggregate(tries=Sum("attempts"), most=Max("attempts"))
    assert away["tries"] < REMINDERS  # a run ends with its first failure; the others keep their tries

    with listening(sink):
        sink.answer_to_recipient = "451 Too busy, come again"
        before = tries()
        wind_on()
        site.wait_until(lambda: all_tried_since(before))
        assert not Reminder.objects.exclude(state=ReminderState.DUE).exists()
        assert sink.raw == []

        sink.answer_to_recipient, sink.drop = None, True
        before = tries()
        wind_on()
        site.wait_until(lambda: tries() >= before + 2)
        assert not Reminder.objects.exclude(state__in=LIVE).exists()

        sink.drop, sink.refused, sink.pause_s = False, gone, 0.005
        site.wait_until(all_out)
    dead = Reminder.objects.dead()
    tell(
        f"mail server: away ({away['tries']} tries of {REMINDERS} mails), busy ({sink.refusals['451']} refusals), "
        f"hung up, then {len(sink.raw)} arrived once and {dead.count()} of {GONE_FOR_GOOD} refused for good are shown"
    )
    assert {row.person.email for row in dead} == set(gone)
    assert all("550" in row.last_error or "No such box" in row.last_error for row in dead)
    assert sorted(sink.addressees) == sorted({one.email for one in keepers} - set(gone))
    assert Reminder.objects.filter(state=ReminderState.SENT).count() == REMINDERS - GONE_FOR_GOOD
