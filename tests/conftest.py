from __future__ import annotations

import gc
import os
import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from hypothesis import settings as hypothesis_settings

from club.members.models import User
from club.run.setup import every_guard, guards_install
from tests import clock, helpers

# A property is true or false; how long a busy machine takes to say so is no part of it.
hypothesis_settings.register_profile("untimed", deadline=None)
hypothesis_settings.register_profile(helpers.QUICK, deadline=None, max_examples=helpers.FEW)
hypothesis_settings.load_profile("untimed")  # `--hypothesis-profile` names another

# Playwright's sync API runs an event loop in the test's thread; Django would refuse to touch the database there.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

# Before a test module is imported: many of them note the time as they are.
clock.pin_zone()
clock.pin_hour()

DRILLS = Path(__file__).parent / "drills"
PAGES = re.compile("page|views")
DATABASES = {"db", "transactional_db", "django_db_setup"}
FIGURES = "figure of a drill"
OF_ROLES = {"django_content_type", "auth_permission", "auth_group", "auth_group_permissions"}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes(config: pytest.Config, specs: Sequence[Any]) -> None:
    """A data folder for each worker of `-n`; pytest-django already gives each a database of its own."""
    for spec in specs:
        folder = Path(settings.DATA_DIR) / "workers" / spec.id
        (folder / "static").mkdir(parents=True, exist_ok=True, mode=0o700)
        spec.env["KETTLEHALL_DATA"] = str(folder)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """A module has one process, for some fill a database once; the drills have one together: they share a broker."""
    from xdist.scheduler import LoadFileScheduling  # only with `-n`

    class Scheduling(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return "drills" if nodeid.startswith("tests/drills/") else super()._split_scope(nodeid)

    return Scheduling(config, log)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Iterator[None]:
    for item in items:
        if item.path.stem.endswith("races"):
            item.add_marker(pytest.mark.race)
        elif item.path.stem.endswith("_fuzz"):
            item.add_marker(pytest.mark.fuzz)
        elif PAGES.search(item.path.stem):
            item.add_marker(pytest.mark.page)
        if (
            item.get_closest_marker("django_db")
            or item.get_closest_marker("worker")
            or DATABASES.intersection(getattr(item, "fixturenames", ()))
        ):
            item.add_marker(pytest.mark.database)  # pytest-django lets no other test near one
    yield
    # The longest first: a second process has all the others meanwhile.
    items.sort(key=lambda item: not item.path.is_relative_to(DRILLS))


def pytest_collection_finish(session: pytest.Session) -> None:
    """Ten thousand tests and what they import stay as long as the process: nobody looks through them for garbage."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None) -> None:
    """The tables are made from the models, as those of a new site are.

    That migrations make the same is a test: `tests/club/run/test_upgrade.py`.
    """
    connection.settings_dict["TEST"]["MIGRATE"] = False


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """Beside its tables, what migrations write in a database: the triggers, and that none of them waits."""
    with django_db_blocker.unblock():
        if not MigrationRecorder(connection).applied_migrations():  # else kept from the run before
            guards_install()


@pytest.fixture
def tell(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Say what a drill measured; all is printed together at the end, also when everything passed."""
    return partial(record_property, FIGURES)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    reports = [one for kind in ("passed", "failed") for one in terminalreporter.stats.get(kind, [])]
    told = [line for one in reports if one.when == "call" for name, line in one.user_properties if name == FIGURES]
    if told:
        terminalreporter.section("figures of the drills")
        for line in told:
            terminalreporter.write_line(str(line))


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
    settings.PASSWORD_HASHERS = helpers.HASHERS
    settings.NOTE_KEYS = [helpers.NOTE_KEY]


@pytest.fixture
def sign_in() -> Callable[[User], Client]:
    """A client signed in as that person."""
    return helpers.signed_in


@pytest.fixture(scope="session", autouse=True)
def flush_is_quick_and_lifts_the_guards():
    """A transactional test ends with every table emptied, but those that `migrate` fills again: roles and their rights.

    On SQLite that is a DELETE, which the guards refuse.
    """
    operations = type(connection.ops)
    flush = operations.sql_flush

    def sql_flush(self, style, tables, **options):
        statements = flush(self, style, [table for table in tables if table not in OF_ROLES], **options)
        if self.connection.vendor != "sqlite" or User._meta.db_table not in tables:
            return statements
        for guard in every_guard():
            statements = [*guard.drop_statements("sqlite"), *statements, *guard.create_statements("sqlite")]
        return statements

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(operations, "sql_flush", sql_flush)
        patch.setattr("django.core.management.commands.flush.emit_post_migrate_signal", lambda *args, **options: None)
        yield
