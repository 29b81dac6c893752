from __future__ import annotations

import os

import pytest
from django.db.backends.sqlite3.base import DatabaseWrapper
from hypothesis import settings as hypothesis_settings

from inventory.jars import guards as jar_guards
from recipes import guards

# A property is true or false; how long a busy machine takes to say so is no part of it.
hypothesis_settings.register_profile("untimed", deadline=None)
hypothesis_settings.load_profile("untimed")

# Playwright's sync API runs an event loop in the test's thread; Django would refuse to touch the database there.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")


@pytest.fixture(autouse=True)
def plain_parts(settings):
    """Unit tests need neither a broker for the cache nor a collected static folder."""
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(scope="session", autouse=True)
def flush_lifts_the_guards():
    """A transactional test ends with every table emptied; on SQLite that is a DELETE, which the guards refuse."""
    operations = DatabaseWrapper.ops_class
    flush = operations.sql_flush

    def sql_flush(self, style, tables, **options):
        statements = flush(self, style, tables, **options)
        if guards.TABLE not in tables:
            return statements
        for guard in (guards, jar_guards):
            statements = [*guard.drop_statements("sqlite"), *statements, *guard.create_statements("sqlite")]
        return statements

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(operations, "sql_flush", sql_flush)
        yield
