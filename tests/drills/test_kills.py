"""Senders are killed at random while reminders go out: ten thousand by night, one thousand while somebody waits."""

from __future__ import annotations

import os
import random
import signal
import time
from collections import Counter, defaultdict

import pytest
from django.utils import timezone

from club.reminders.models import Reminder, ReminderState
from tests.drills.processes import children_of
from tests.drills.site import Site
from tests.factories.reminders import make_many_due
from tests.helpers import IS_WHOLE

pytestmark = pytest.mark.worker

REMINDERS, KILLS = (10_000, 50) if IS_WHOLE else (1_000, 8)
WHOLE_WORKERS = 2  # of the kills: the worker with all its processes; the others hit one process that sends
LEASE_S = 8


class Killer:
    """Kills at moments that are spread at random over the mails that go out, so that most die with work in hand."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.at = sorted(random.sample(range(100, int(REMINDERS * 0.95)), KILLS))
        self.whole = set(random.sample(range(KILLS), WHOLE_WORKERS))
        self.kills = 0

    def look(self, got: int) -> bool:
        """Kill when the next moment has come; True when all is done."""
        if self.kills < KILLS and got >= self.at[self.kills]:
            time.sleep(random.uniform(0, 0.02))
            self.kill()
        return self.kills == KILLS and not Reminder.objects.exclude(state=ReminderState.SENT).exists()

    def kill(self) -> None:
        worker = self.site.process_of("worker")
        senders = [] if worker.poll() is not None else [pid for pid, _line in children_of(worker.pid)]
        if not senders:  # the last one was a whole worker, and the next is not there yet
            return
        if self.kills in self.whole:
            os.killpg(worker.pid, signal.SIGKILL)
        else:
            os.kill(random.choice(senders), signal.SIGKILL)
        self.kills += 1


def test_none_of_a_great_many_reminders_is_lost_to_killed_senders(drill_site, sink, tell):
    make_many_due(REMINDERS, now=timezone.now())
    drill_site.environment["REMINDER_LEASE_SECONDS"] = str(LEASE_S)
    killer, began = Killer(drill_site), time.monotonic()
    drill_site.start()
    drill_site.wait_until(lambda: len(sink.raw) >= REMINDERS or killer.look(len(sink.raw)))
    drill_site.wait_until(lambda: killer.look(len(sink.raw)))
    took = time.monotonic() - began

    ids, of_person = sink.message_ids, defaultdict(set)
    for message_id, person in zip(ids, sink.addressees, strict=True):
        of_person[person].add(message_id)
    twice = len(ids) - len(set(ids))
    tries = Counter(Reminder.objects.values_list("attempts", flat=True))
    tell(
        f"kills: {len(of_person):,} of {REMINDERS:,} reminders arrived, {killer.kills} senders killed, {twice} mails "
        f"came twice, under one Message-ID each; {took:.0f} s; rows by tries {dict(sorted(tries.items()))}"
    )
    assert killer.kills >= KILLS
    assert len(of_person) == REMINDERS  # none is lost
    assert all(len(each) == 1 for each in of_person.values())  # whatever came twice has the same Message-ID
    assert twice <= killer.kills
    assert Reminder.objects.filter(state=ReminderState.SENT).count() == REMINDERS
