"""With Redis away the whole site works: signing in too, and wrong passwords are counted all the same."""

from __future__ import annotations

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client

from club.run import cache as run_cache
from tests.drills.mail_sink import free_port
from tests.factories.members import PASSWORD, make_kitchen, make_person

pytestmark = pytest.mark.django_db

BACKEND = "club.run.cache.RedisOrMemoryCache"


@pytest.fixture(autouse=True, params=["socket", "port"])
def no_redis(request, settings, tmp_path):
    """Nobody listens, on a unix socket or on a port."""
    where = {"socket": f"unix://{tmp_path}/nobody-listens.sock", "port": f"redis://127.0.0.1:{free_port()}/1"}
    settings.CACHES = {"default": {"BACKEND": BACKEND, "LOCATION": where[request.param]}}
    cache.clear()


def sign_in(client, email, password):
    return client.post("/accounts/login/", {"login": email, "password": password})


def test_one_can_sign_in(client):
    person = make_person()
    make_kitchen(person)
    assert client.get("/accounts/login/").status_code == 200
    assert sign_in(client, person.email, PASSWORD).status_code == 302
    assert client.get("/people/me/").status_code == 200


def test_after_five_wrong_passwords_even_the_right_one_waits(client):
    person = make_person()
    for _try in range(5):
        assert "Too many" not in sign_in(client, person.email, "wrong password here").text
    assert "Too many failed login attempts" in sign_in(client, person.email, PASSWORD).text
    assert client.get("/people/me/").status_code == 302


def test_a_device_that_is_known_is_not_locked_out_by_strangers(client):
    person = make_person()
    sign_in(client, person.email, PASSWORD)
    client.post("/accounts/logout/")
    for number in range(30):
        told = {"login": person.email, "password": "wrong password here"}
        Client().post("/accounts/login/", told, REMOTE_ADDR=f"10.2.{number}.1")
    assert "Too many failed login attempts" in sign_in(Client(), person.email, PASSWORD).text
    assert sign_in(client, person.email, PASSWORD).status_code == 302


def test_a_code_comes_by_mail_and_its_number_is_counted(client):
    person = make_person()
    for _try in range(4):
        Client().post("/accounts/login/code/", {"email": person.email})
    assert len(mail.outbox) == 3


def test_a_password_can_be_asked_for_anew(client):
    assert client.post("/accounts/password/reset/", {"email": make_person().email}).status_code == 302


@pytest.mark.parametrize("page", ["/", "/recipes/", "/batches/", "/people/me/"])
def test_who_is_signed_in_works_on(client, page):
    person = make_person()
    make_kitchen(person)
    client.force_login(person)
    assert client.get(page).status_code == 200


def test_redis_is_asked_once_and_then_left_alone_for_a_while(monkeypatch):
    asked = []
    get = run_cache.RedisCache.get

    def count(self, *given, **named):
        asked.append(given)
        return get(self, *given, **named)

    monkeypatch.setattr(run_cache.RedisCache, "get", count)
    cache._away_until = 0.0  # clearing it above was its first answer
    cache.set("kept", 7)
    assert [cache.get("kept") for _ in range(10)] == [7] * 10
    assert asked == []
    cache._away_until = 0.0
    assert cache.get("kept") == 7
    assert len(asked) == 1
