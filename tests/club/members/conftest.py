from __future__ import annotations

import time
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.utils import timezone

from tests.factories.members import make_organiser, make_person
from tests.helpers import just_asked


@pytest.fixture(autouse=True)
def no_earlier_tries():
    """Sign-in tries are counted in the cache, which lives longer than a test."""
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def member(db):
    return make_person()


@pytest.fixture
def organiser(db):
    return make_organiser(name="Olga Quince")


@pytest.fixture
def member_client(client, member):
    client.force_login(member)
    return client


@pytest.fixture
def organiser_client(client, organiser):
    client.force_login(organiser)
    return just_asked(client)


@pytest.fixture
def days_later(monkeypatch):
    """Put both clocks forward: Django's, and the one that stamps signatures."""

    def go(days: float) -> None:
        now, seconds = timezone.now() + timedelta(days=days), time.time() + days * 86_400
        monkeypatch.setattr("django.utils.timezone.now", lambda: now)
        monkeypatch.setattr("django.core.signing.time.time", lambda: seconds)

    return go
