"""The health page of organisers, and what /healthz says about the clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db.migrations.recorder import MigrationRecorder
from django.urls import reverse
from django.utils import timezone

from club.reminders import outbox
from club.reminders.models import BACKUP_JOB, TEST_JOB, PeriodicJob
from club.reminders.outbox import round_begin, round_end
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

PAGE = reverse("reminders:health")
PAST = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)


@pytest.fixture(autouse=True)
def broker_answers(monkeypatch):
    monkeypatch.setattr(outbox, "broker_state", lambda: "ok")


@pytest.fixture
def organiser(client):
    client.force_login(make_organiser())


def ticked(ago: timedelta) -> None:
    at = timezone.now() - ago
    round_begin(now=at)
    round_end(began=at, now=at)


def late(ago: timedelta) -> None:
    make_reminder(make_waiting_batch(timezone.now() - timedelta(hours=12) - ago), now=PAST)


def test_monitors_are_told_how_long_ago_the_rules_were_asked(client):
    assert client.get("/healthz").json()["last_tick_s_ago"] is None
    ticked(timedelta(minutes=7))
    assert 415 <= client.get("/healthz").json()["last_tick_s_ago"] <= 450


def test_monitors_are_told_how_much_waits(client):
    late(timedelta(minutes=1))
    assert client.get("/healthz").json()["reminders_waiting"] == 1


def test_all_is_well_when_the_clock_ticks_and_nothing_is_late(client, organiser):
    ticked(timedelta(seconds=30))
    late(timedelta(minutes=2))
    page = client.get(PAGE).text
    assert "All is well" in page
    assert "2 minutes" in page


def test_a_clock_that_stands_still_is_said(client, organiser):
    ticked(timedelta(minutes=10))
    page = client.get(PAGE).text
    assert "Needs a hand" in page
    assert "whether the worker and the beat are running" in page


def test_a_clock_that_never_ticked_is_said(client, organiser):
    page = client.get(PAGE).text
    assert "never" in page
    assert "Needs a hand" in page


def test_mail_that_is_late_while_the_clock_ticks_points_to_the_mail_server(client, organiser):
    ticked(timedelta(seconds=30))
    late(timedelta(minutes=40))
    page = client.get(PAGE).text
    assert "40 minutes" in page
    assert "the mail server is away or slow" in page


def test_a_broker_that_is_gone_is_said(client, organiser, monkeypatch):
    monkeypatch.setattr(outbox, "broker_state", lambda: "gone")
    ticked(timedelta(seconds=30))
    assert "The broker does not answer" in client.get(PAGE).text


def test_a_site_that_does_its_work_is_ready(client):
    ticked(timedelta(seconds=30))
    answer = client.get("/healthz/ready")
    assert answer.status_code == 200
    assert answer.json() == {**answer.json(), "ready": True, "reasons": [], "migrations": "ok", "disk": "ok"}


def late_tick(monkeypatch) -> None:
    ticked(timedelta(minutes=10))


def full_broker(monkeypatch) -> None:
    monkeypatch.setattr(outbox, "broker_state", lambda: "full")


def full_disk(monkeypatch) -> None:
    monkeypatch.setattr(outbox, "LEAST_ROOM_BYTES", 1 << 62)


def a_migration_to_come(monkeypatch) -> None:
    MigrationRecorder.Migration.objects.filter(app="reminders").latest("name").delete()


def a_process_that_saw_no_round(monkeypatch) -> None:
    monkeypatch.setattr(outbox, "PROCESS_BEGAN", outbox.PROCESS_BEGAN - 3600)


@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        (late_tick, "the reminders' last round is late"),
        (full_broker, "the broker takes nothing more"),
        (full_disk, "the disk is full"),
        (a_migration_to_come, "migrations are missing"),
        (a_process_that_saw_no_round, "the reminders' last round is late"),
    ],
)
def test_a_site_that_lacks_something_is_alive_and_not_ready(client, organiser, monkeypatch, fault, reason):
    fault(monkeypatch)
    answer = client.get("/healthz/ready")
    assert answer.status_code == 503
    assert reason in answer.json()["reasons"]
    assert client.get("/healthz/live").status_code == 200
    assert "Needs a hand" in client.get(PAGE).text


def test_a_database_newer_than_the_code_is_said_and_keeps_old_code_at_work(client, organiser):
    ticked(timedelta(seconds=30))
    MigrationRecorder.Migration.objects.create(app="reminders", name="0999_of_next_year")
    answer = client.get("/healthz/ready")
    assert (answer.status_code, answer.json()["migrations"]) == (200, "newer")
    assert "not of one version" in client.get(PAGE).text


def test_being_alive_asks_nobody(client, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert client.get("/healthz/live").json() == {"alive": True}


def test_the_last_backup_and_the_last_trial_of_one_are_shown(client, organiser, settings):
    assert client.get("/healthz").json()["last_backup_s_ago"] is None
    ticked(timedelta(seconds=30))
    assert "All is well" in client.get(PAGE).text  # where none is made by itself, none is missed
    now = timezone.now()
    PeriodicJob.objects.create(name=BACKUP_JOB, free_at=now, ended_at=now - timedelta(hours=70))
    PeriodicJob.objects.create(name=TEST_JOB, free_at=now, ended_at=now - timedelta(days=9, hours=1))
    page = client.get(PAGE).text
    assert "70 hours ago" in page
    assert "9 days ago" in page
    assert client.get("/healthz").json()["last_restore_test_s_ago"] >= 9 * 86_400
    settings.BACKUP_DIR = "/backups"
    page = client.get(PAGE).text
    assert "Needs a hand" in page
    assert "No backup was made since the day before yesterday" in page


def test_the_page_is_for_organisers(client):
    assert client.get(PAGE).status_code == 302
    client.force_login(make_person())
    assert client.get(PAGE).status_code == 403


def test_the_page_takes_no_post(client, organiser):
    assert client.post(PAGE).status_code == 405


@pytest.mark.parametrize("rows", [1, 30])
def test_the_page_asks_as_many_queries_for_thirty_rows_as_for_one(
    client, organiser, rows, django_assert_max_num_queries
):
    for _ in range(rows):
        late(timedelta(minutes=1))
    with django_assert_max_num_queries(9):
        assert client.get(PAGE).status_code == 200
