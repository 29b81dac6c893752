"""Figures for Prometheus: closed without the token, and right with it."""

from __future__ import annotations

import pytest
from django.conf import settings as project
from django.urls import reverse

from club.run import metrics
from tests.factories.members import make_organiser

pytestmark = pytest.mark.django_db

PAGE = reverse("metrics")
TOKEN = "a token of thirty characters .."


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One for the whole process: the package opens its files once."""
    return tmp_path_factory.mktemp("metrics")


@pytest.fixture
def counting(settings, folder, monkeypatch):
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(folder))
    monkeypatch.setattr("club.reminders.outbox.broker_state", lambda: "ok")
    monkeypatch.setattr(metrics, "queue_length", lambda: 3)
    settings.METRICS_TOKEN = TOKEN
    settings.MIDDLEWARE = [*project.MIDDLEWARE[:1], "club.run.metrics.MetricsMiddleware", *project.MIDDLEWARE[1:]]


def asked(client, **headers):
    return client.get(PAGE, headers=headers)


def test_it_is_off_until_somebody_sets_a_token(client, settings):
    settings.METRICS_TOKEN = ""
    assert asked(client).status_code == 404
    assert asked(client, Authorization="Bearer ").status_code == 404


@pytest.mark.parametrize("sent", [{}, {"Authorization": "Bearer another"}, {"Authorization": f"Basic {TOKEN}"}])
def test_without_the_token_there_is_nothing_for_anybody(client, counting, sent):
    client.force_login(make_organiser())
    assert asked(client, **sent).status_code == 404


def test_with_the_token_it_tells_pages_queries_and_how_the_house_does(client, counting):
    before = counted("kettlehall_requests_total", client)
    client.get(reverse("account_login"))
    client.get("/people/invitation/one-secret/")
    told = asked(client, Authorization=f"Bearer {TOKEN}").text
    assert 'route="people/invitation/<str:token>/"' in told
    assert "secret" not in told
    assert "kettlehall_queue_length 3.0" in told
    assert "kettlehall_dead_letters 0.0" in told
    assert "kettlehall_backup_age_seconds" not in told
    assert counted("kettlehall_requests_total", client) >= before
    assert 'kettlehall_request_seconds_count{route="accounts/login/"}' in told
    assert "kettlehall_queries_total" in told


def counted(name: str, client) -> float:
    told = asked(client, Authorization=f"Bearer {TOKEN}").text
    return sum(float(line.rpartition(" ")[2]) for line in told.splitlines() if line.startswith(name))
