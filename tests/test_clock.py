"""The tests have their own hour and zone, whatever the machine and the operator say."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.utils import timezone

from tests import clock

ASKED = "from django.conf import settings; from django.utils import timezone; print(settings.TIME_ZONE, timezone.now())"
AT_IMPORT = timezone.now()


def of_a_child(tmp_path) -> tuple[str, datetime]:
    told = {"DJANGO_SETTINGS_MODULE": "club.settings", "KETTLEHALL_DATA": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", ASKED], env={**os.environ, **told}, capture_output=True, text=True, check=True
    )
    zone, _space, moment = done.stdout.strip().partition(" ")
    return zone, datetime.fromisoformat(moment)


def test_the_zone_is_the_tests_own_here_and_in_a_child(tmp_path):
    assert settings.TIME_ZONE == timezone.get_default_timezone_name() == clock.ZONE
    assert of_a_child(tmp_path)[0] == clock.ZONE


def test_the_clock_goes_on_from_the_moment_that_was_pinned_and_had_it_when_the_tests_were_read():
    told = os.environ.get(clock.MOVED)
    pinned = datetime.fromisoformat(told).replace(tzinfo=ZoneInfo(clock.ZONE)) if told else clock.NOON
    assert pinned <= AT_IMPORT <= timezone.now() < pinned + timedelta(days=1)
    assert datetime.now(UTC) - timezone.now() < timedelta(seconds=1)


@pytest.mark.worker
def test_a_test_with_real_processes_has_their_clock(tmp_path):
    assert abs(timezone.now() - of_a_child(tmp_path)[1]) < timedelta(minutes=1)
