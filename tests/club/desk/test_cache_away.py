"""With Redis away, who is signed in works on, and signing in says that it waits: never an error, never unguarded."""

from __future__ import annotations

import pytest

from tests.factories.members import PASSWORD, make_kitchen, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_redis(settings, tmp_path):
    location = f"unix://{tmp_path}/nobody-listens.sock"
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": location}}


def test_signing_in_waits_and_nobody_gets_in(client):
    person = make_person()
    answer = client.post("/accounts/login/", {"login": person.email, "password": PASSWORD})
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "60")
    assert "Nothing was changed" in answer.content.decode()
    assert client.get("/").status_code == 302


@pytest.mark.parametrize("page", ["/", "/recipes/", "/batches/", "/people/me/"])
def test_who_is_signed_in_works_on(client, page):
    person = make_person()
    make_kitchen(person)
    client.force_login(person)
    assert client.get(page).status_code == 200
