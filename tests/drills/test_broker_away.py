"""The broker is killed and comes back: what it was told it still knows, and no reminder is lost."""

from __future__ import annotations

import shutil
import subprocess
import time
from datetime import timedelta
from pathlib import Path

import pytest
import redis
from django.core.cache import cache
from django.utils import timezone
from kombu import Connection

from club.reminders.models import Reminder, ReminderState
from club.reminders.tasks import gather_and_send
from club.run import broker
from club.run.children import end, spawn
from club.settings import broker_url as celery_url
from club.settings import cache_url
from tests.drills.site import Site, child_environment
from tests.factories.reminders import make_many_due, make_waiting_batch

pytestmark = pytest.mark.worker

MANY, MORE = 400, 5


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

    def forget_everything(self) -> None:
        shutil.rmtree(self.folder / "broker")


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
            gather_and_send.apply_async(connection=connection)
    assert queued(own_broker.url) == 40
    own_broker.kill()
    own_broker.start()
    assert queued(own_broker.url) == 40


def test_a_reminder_that_fell_due_while_the_broker_was_away_goes_out_when_it_is_back(
    transactional_db, own_broker, sink, tmp_path
):
    environment = child_environment(tmp_path / "data", broker_url=own_broker.url, smtp_port=sink.port)
    site = Site(tmp_path / "data", environment, sink)
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


def test_a_broker_that_falls_in_mid_run_and_comes_back_empty_costs_no_reminder(
    transactional_db, own_broker, sink, tmp_path, tell
):
    environment = child_environment(tmp_path / "data", broker_url=own_broker.url, smtp_port=sink.port)
    site = Site(tmp_path / "data", environment, sink)
    make_many_due(MANY, now=timezone.now())
    sink.pause_s = 0.005
    try:
        site.start()
        site.wait_until(lambda: len(sink.raw) >= MANY // 4)
        own_broker.kill()
        own_broker.forget_everything()
        fallen_at = len(sink.raw)
        # The senders who are at it need no broker.
        site.wait_until(lambda: not Reminder.objects.exclude(state=ReminderState.SENT).exists())
        for _ in range(MORE):
            make_waiting_batch(timezone.now() - timedelta(hours=12, minutes=1))
        time.sleep(2)
        began = time.monotonic()
        own_broker.start()
        site.wait_until(lambda: len(sink.raw) >= MANY + MORE)
        tell(
            f"broker: killed after {fallen_at} of {MANY} reminders, the others went out without it; {MORE} fell due "
            f"meanwhile and went out {time.monotonic() - began:.1f} s after it was back, empty; none twice"
        )
        site.wait_until(lambda: Reminder.objects.filter(state=ReminderState.SENT).count() == MANY + MORE)
        assert len(sink.raw) == len(set(sink.message_ids)) == MANY + MORE
    finally:
        site.supervisor.stop()


def test_the_cache_is_redis_again_when_redis_is_back(own_broker, settings):
    settings.CACHES = {
        "default": {"BACKEND": "club.run.cache.RedisOrMemoryCache", "LOCATION": cache_url(own_broker.url)}
    }
    cache.set("kept", "in Redis")
    own_broker.kill()
    assert cache.get("kept") is None  # as from an empty cache
    cache.set("kept", "in memory")
    assert cache.get("kept") == "in memory"
    own_broker.start()
    cache._away_until = 0.0  # as if the wait were over
    cache.set("kept", "in Redis again")
    with redis.from_url(cache_url(own_broker.url)) as client:
        assert client.keys("*kept") != []
