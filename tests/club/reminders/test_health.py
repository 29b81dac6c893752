"""The health page of organisers, and what /healthz says about the clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from club.reminders import outbox
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
    with django_assert_max_num_queries(8):
        assert client.get(PAGE).status_code == 200
