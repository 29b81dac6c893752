from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from club.reminders.models import PeriodicJob
from club.reminders.outbox import JOB
from club.run import broker
from club.run.site import ROUND_PATIENCE_S

pytestmark = pytest.mark.django_db


@pytest.fixture
def with_broker(tmp_path, settings):
    with broker.running(tmp_path) as settings.REDIS_URL:
        yield


def round_ended(seconds_ago):
    then = timezone.now() - timedelta(seconds=seconds_ago)
    PeriodicJob.objects.update_or_create(name=JOB, defaults={"free_at": then, "began_at": then, "ended_at": then})


def test_rounds_that_go_on_are_left_alone(with_broker, capsys):
    round_ended(seconds_ago=ROUND_PATIENCE_S - 60)
    call_command("rounds")
    assert "go on" in capsys.readouterr().out


@pytest.mark.parametrize("seconds_ago", [None, ROUND_PATIENCE_S + 60])
def test_rounds_that_stand_still_are_told_by_the_exit(with_broker, seconds_ago):
    if seconds_ago:
        round_ended(seconds_ago)
    with pytest.raises(CommandError, match="No round of reminders has ended for 7 minutes"):
        call_command("rounds")


def test_without_a_broker_nobody_is_started_again(settings, capsys):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    call_command("rounds")
    assert "wait for" in capsys.readouterr().out
