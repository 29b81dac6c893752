"""PostgreSQL is stopped in the middle of sending, once in good order and once as by a power cut. See conftest.py."""

from __future__ import annotations

import subprocess
import sys
import time

import psycopg
import pytest

from club.run.children import HOME
from tests.drills.own_postgres import OwnPostgres, own_postgres
from tests.drills.site import Site, child_environment

pytestmark = pytest.mark.worker

REMINDERS = 800
AWAY_S = 3
FILL = f"""
import django
django.setup()
from django.utils import timezone
from club.run.setup import tables_make
tables_make()
from tests.factories.reminders import make_many_due
make_many_due({REMINDERS}, now=timezone.now())
"""


@pytest.fixture
def postgres():
    with own_postgres() as one:
        yield one


@pytest.fixture
def site(postgres, broker_url, sink, tmp_path):
    given = child_environment(tmp_path / "data", broker_url=broker_url, smtp_port=sink.port, database_url=postgres.url)
    environment = {**given, "DJANGO_SETTINGS_MODULE": "club.settings"}
    subprocess.run([sys.executable, "-c", FILL], env=environment, cwd=HOME, check=True)
    one = Site(tmp_path / "data", environment, sink)
    yield one
    one.supervisor.stop()


def states(postgres: OwnPostgres) -> dict[str, int]:
    with psycopg.connect(postgres.url) as line:
        return dict(line.execute("SELECT state, count(*) FROM reminders_reminder GROUP BY state").fetchall())


def test_a_database_that_is_restarted_while_mails_go_out_loses_none_and_doubles_none(site, postgres, sink, tell):
    site.environment["REMINDER_LEASE_SECONDS"] = "40"
    sink.pause_s = 0.004
    site.start()
    began = time.monotonic()
    for how, after in (("fast", REMINDERS // 4), ("immediate", REMINDERS // 2)):
        site.wait_until(lambda after=after: len(sink.raw) >= after)
        postgres.stop(how)
        stopped_at = len(sink.raw)
        time.sleep(AWAY_S)
        assert len(sink.raw) <= stopped_at + 4  # what cannot be noted is not followed by another
        postgres.start()
    site.wait_until(lambda: states(postgres) == {"sent": REMINDERS})
    twice = len(sink.raw) - len(set(sink.message_ids))
    tell(
        f"database: stopped twice for {AWAY_S} s while {REMINDERS:,} reminders went out; all arrived, {twice} came "
        f"twice; {time.monotonic() - began:.0f} s in all"
    )
    assert len(set(sink.addressees)) == REMINDERS
    assert twice == 0
