"""The hour and the zone at which the tests run, whatever the machine's clock says and the operator's environment names.

Mails wait for the end of quiet hours, days begin at the club's midnight, an hour is missing in March: a test that read
the clock on the wall would be red by night. So the clock stands at one moment when the tests are read, and goes on from
there; a test of other hours says which, as an argument `now` or by travelling.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import time_machine
from django.test import override_settings

ZONE = "America/Denver"
# A Monday at noon, after every moment that the factories name; no change of the clock for weeks on either side.
NOON = datetime(2026, 11, 30, 12, 0, tzinfo=ZoneInfo(ZONE))
# Another moment on the club's wall, as 2027-03-14T06:25: `prove --hours` runs the tests at several.
MOVED = "TEST_CLOCK"


def pin_zone() -> None:
    """Here, and for every process that a test starts. The settings were read before any of our lines ran."""
    os.environ["CLUB_TIME_ZONE"] = ZONE
    override_settings(TIME_ZONE=ZONE).enable()


def pin_hour() -> None:
    told = os.environ.get(MOVED)
    moment = datetime.fromisoformat(told).replace(tzinfo=ZoneInfo(ZONE)) if told else NOON
    time_machine.travel(moment.astimezone(UTC), tick=True).start()


def as_on_the_machine() -> time_machine.travel:
    return time_machine.travel(time_machine.escape_hatch.datetime.datetime.now(UTC), tick=True)
