from __future__ import annotations

import os
from collections.abc import Callable, Iterator

import pytest
from django.db.backends.sqlite3.base import DatabaseWrapper
from django.test import Client
from hypothesis import settings as hypothesis_settings

from club.members.models import User
from inventory.jars.triggers import GUARDS as LEDGER_GUARDS
from recipes import triggers as recipes_triggers
from tests import clock
from tests.helpers import signed_in

# A property is true or false; how long a busy machine takes to say so is no part of it.
hypothesis_settings.register_profile("untimed", deadline=None)
hypothesis_settings.load_profile("untimed")

# Playwright's sync API runs an event loop in the test's thread; Django would refuse to touch the database there.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

# Before a test module is imported: many of them note the time as they are.
clock.pin_zone()
clock.pin_hour()


@pytest.fixture(autouse=True)
def clock_of_the_machine(request: pytest.FixtureRequest) -> Iterator[None]:
    """A test that starts real processes shares a clock with them: that of the machine."""
    if request.node.get_closest_marker("worker") is None:
        yield
        return
    with clock.as_on_the_machine():
        yield


@pytest.fixture(autouse=True)
def plain_parts(settings):
    """Unit tests need neither a broker for the cache nor a collected static folder."""
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def sign_in() -> Callable[[User], Client]:
    """A client signed in as that person."""
    return signed_in


@pytest.fixture(scope="session", autouse=True)
def flush_lifts_the_guards():
    """A transactional test ends with every table emptied; on SQLite that is a DELETE, which the guards refuse."""
    operations = DatabaseWrapper.ops_class
    flush = operations.sql_flush

    def sql_flush(self, style, tables, **options):
        statements = flush(self, style, tables, **options)
        if recipes_triggers.TABLE not in tables:
            return statements
        for guard in (recipes_triggers.GUARDS, LEDGER_GUARDS):
            statements = [*guard.drop_statements("sqlite"), *statements, *guard.create_statements("sqlite")]
        return statements

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(operations, "sql_flush", sql_flush)
        yield
