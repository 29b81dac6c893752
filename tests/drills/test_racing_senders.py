"""Several processes gather and send at the same moment, on the database this suite runs on."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.reminders.models import Reminder, ReminderState
from tests.drills.racing import all_at_once
from tests.drills.site import child_environment
from tests.factories.members import make_person
from tests.factories.reminders import make_waiting_batch

pytestmark = pytest.mark.worker

SENDERS = 3
REMINDERS = 40
SENDER = """
import sys, time, pathlib, django
django.setup()
from django.utils import timezone
from club.reminders import outbox
here = pathlib.Path(sys.argv[1])
(here / f"ready-{sys.argv[2]}").touch()
while not (here / "go").exists():
    time.sleep(0.001)
outbox.gather_and_send(timezone.now())
"""


def test_processes_racing_for_the_same_reminders_send_each_once(transactional_db, sink, tmp_path):
    person = make_person()
    for _ in range(REMINDERS):
        make_waiting_batch(timezone.now() - timedelta(hours=13), by=person)
    environment = child_environment(tmp_path, broker_url="redis://127.0.0.1:1", smtp_port=sink.port)
    environment["DJANGO_SETTINGS_MODULE"] = "club.settings"
    all_at_once(SENDER, [[str(n)] for n in range(SENDERS)], here=tmp_path, environment=environment)
    assert Reminder.objects.filter(state=ReminderState.SENT, attempts=1).count() == REMINDERS
    assert Reminder.objects.count() == REMINDERS
    assert len(sink.got) == REMINDERS
    assert len(set(sink.message_ids)) == REMINDERS
