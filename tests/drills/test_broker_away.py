"""The broker is killed and comes back: what it was told it still knows, and no reminder is lost."""

from __future__ import annotations

import subprocess
import time
from datetime import timedelta
from pathlib import Path

import pytest
import redis
from django.utils import timezone
from kombu import Connection

from club.reminders.models import Reminder
from club.reminders.tasks import tick
from club.run import broker
from club.run.children import end, spawn
from club.settings import broker_url as celery_url
from tests.drills.site import Site, child_environment
from tests.factories.reminders import make_waiting_batch

pytestmark = pytest.mark.worker


class OwnBroker:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.url = f"unix://{broker.socket_path(folder)}"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.process = spawn(broker.command(self.folder), log=self.folder / "broker.log")
        broker.wait_until_ready(self.folder, self.process)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()


@pytest.fixture
def own_broker(tmp_path):
    one = OwnBroker(tmp_path / "broker")
    one.start()
    yield one
    end([one.process], patience=5)


def queued(url: str) -> int:
    with redis.from_url(url) as client:
        return client.llen("celery")


def test_a_killed_broker_still_knows_every_message_it_took(own_broker):
    with Connection(celery_url(own_broker.url)) as connection:
        for _ in range(40):
            tick.apply_async(connection=connection)
    assert queued(own_broker.url) == 40
    own_broker.kill()
    own_broker.start()
    assert queued(own_broker.url) == 40


def test_a_reminder_that_fell_due_while_the_broker_was_away_goes_out_when_it_is_back(
    transactional_db, own_broker, sink, tmp_path
):
    site = Site(tmp_path / "data", child_environment(tmp_path / "data", broker_url=own_broker.url, smtp_port=sink.port))
    try:
        site.start()
        make_waiting_batch(timezone.now() - timedelta(hours=12, minutes=1))
        site.wait_until(lambda: len(sink.got) == 1)

        own_broker.kill()
        make_waiting_batch(timezone.now() - timedelta(hours=12, minutes=1))
        time.sleep(3)  # several ticks that reach nobody
        assert Reminder.objects.count() == 1
        own_broker.start()
        site.wait_until(lambda: len(sink.got) == 2)
        assert len(set(sink.message_ids)) == 2
    finally:
        site.supervisor.stop()
