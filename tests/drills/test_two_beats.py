"""Two beats and four workers: twice the ticks, the same work, and all hands send."""

from __future__ import annotations

import os
import re
import time
from dataclasses import replace

import pytest
from django.utils import timezone

from club.reminders.models import PeriodicJob, Reminder, ReminderState
from club.run import site
from club.run.supervisor import Part
from tests.factories.reminders import make_many_due

pytestmark = pytest.mark.worker

REMINDERS = 1_200
WORKERS = 4
TALKING = ("--loglevel", "INFO")


def worker(number: int) -> Part:
    one = site.worker()
    argv = [*one.argv, "-c", "1", "-n", f"w{number}@drill", *TALKING]
    return replace(one, name=f"worker-{number}", argv=tuple(argv))


def test_two_beats_and_four_workers_send_each_reminder_once(drill_site, sink, tell, tmp_path):
    # All are there first, so that none starts when the work is done.
    drill_site.start(*(worker(n) for n in range(WORKERS)))
    logs = [drill_site.data_dir / "log" / f"worker-{n}.log" for n in range(WORKERS)]
    drill_site.wait_until(lambda: all(" ready." in log.read_text() for log in logs))
    make_many_due(REMINDERS, now=timezone.now())
    sink.pause_s = 0.003
    began, rounds = time.monotonic(), set()

    def is_done() -> bool:
        rounds.update(PeriodicJob.objects.values_list("began_at", flat=True))
        return Reminder.objects.filter(state=ReminderState.SENT).count() == REMINDERS

    beat = replace(site.beat(), argv=(*site.beat().argv, *TALKING))
    drill_site.start(beat)
    # The second beat keeps its own notes, as one on another machine would.
    drill_site.environment["KETTLEHALL_DATA"] = str(tmp_path / "second")
    os.mkdir(tmp_path / "second")
    drill_site.start(replace(beat, name="beat-2"))
    drill_site.wait_until(is_done)
    took = time.monotonic() - began

    ticks = sum(len(re.findall("Scheduler: Sending due task", log.read_text())) for log in beat_logs(drill_site))
    hands = [len(re.findall(r"Reminder \d+ sent", log.read_text())) for log in logs]
    tell(
        f"two beats, four workers: {REMINDERS:,} reminders in {took:.1f} s, each once; by worker {hands}; "
        f"{ticks} ticks, {len(rounds)} rounds"
    )
    assert len(sink.raw) == len(set(sink.addressees)) == REMINDERS
    assert not Reminder.objects.exclude(attempts=1).exists()
    assert all(hands)
    assert ticks > 0
    assert len(rounds) <= took / 0.75 + 2  # as many as one beat's, though a second beat ticks between


def beat_logs(drill_site):
    return [drill_site.data_dir / "log" / f"{name}.log" for name in ("beat", "beat-2")]
