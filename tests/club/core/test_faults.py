"""What a full disk, a damaged file and a busy database are called, and what a person reads of them."""

from __future__ import annotations

import errno
import os
import sqlite3
import subprocess
import sys

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import OperationalError, connection
from django.db.migrations.recorder import MigrationRecorder
from django.urls import reverse

from club.core import faults
from club.core.faults import Fault, fault_of
from club.run.children import HOME
from tests.factories.members import make_person


def of_sqlite(statement: str, tmp_path) -> Exception:
    """What SQLite itself raises for it, in a database of one page that may not grow."""
    database = sqlite3.connect(tmp_path / "one.sqlite3", timeout=0)
    with pytest.raises(sqlite3.Error) as caught:
        database.executescript(f"PRAGMA max_page_count=2; CREATE TABLE IF NOT EXISTS notes (text); {statement}")
    return caught.value


def wrapped(cause: BaseException) -> OperationalError:
    error = OperationalError(str(cause))
    error.__cause__ = cause
    return error


def test_a_full_disk_is_told_by_sqlites_own_error(tmp_path):
    assert fault_of(wrapped(of_sqlite("INSERT INTO notes VALUES (zeroblob(100000))", tmp_path))) is Fault.FULL


def test_a_file_that_is_no_database_is_damaged(tmp_path):
    (tmp_path / "one.sqlite3").write_bytes(b"a shopping list" * 1000)
    assert fault_of(of_sqlite("SELECT 1", tmp_path)) is Fault.DAMAGED


def test_a_database_that_others_hold_is_busy(tmp_path):
    with sqlite3.connect(tmp_path / "one.sqlite3", isolation_level=None) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert fault_of(of_sqlite("SELECT 1", tmp_path)) is Fault.BUSY


@pytest.mark.parametrize(
    ("state", "fault"), [("53100", Fault.FULL), ("53300", Fault.BUSY), ("25006", Fault.SHUT), ("57P01", Fault.AWAY)]
)
def test_postgresqls_errors_are_told_by_their_codes(state, fault):
    cause = Exception("as psycopg raises it")
    cause.sqlstate = state
    assert fault_of(wrapped(cause)) is fault


def test_the_systems_errors_are_told_by_their_numbers():
    assert fault_of(OSError(errno.ENOSPC, "No space left on device")) is Fault.FULL
    assert fault_of(OSError(errno.ENOENT, "No such file")) is None


def test_an_error_of_ours_is_no_fault_of_the_disk():
    assert fault_of(wrapped(sqlite3.OperationalError("no such table: jars"))) is None
    assert fault_of(ValueError("x")) is None


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("SQLITE_FULL", "Nothing can be saved just now"),
        ("SQLITE_BUSY", "Many people are writing just now"),
        ("SQLITE_CORRUPT", "cannot reach its records"),
    ],
)
def test_a_press_that_meets_a_fault_gets_a_page_that_says_so(client, monkeypatch, name, sentence):
    cause = sqlite3.OperationalError("as SQLite raises it")
    cause.sqlite_errorname = name

    def refuse(*args, **named):
        raise wrapped(cause)

    monkeypatch.setattr("club.reminders.views.inbox_read_all", refuse)
    client.force_login(make_person())
    client.raise_request_exception = False
    answer = client.post(reverse("reminders:read-all"))
    assert (answer.status_code, answer["Retry-After"]) == (503, "30")
    assert sentence in answer.text

    monkeypatch.setattr("club.reminders.views.inbox_read_all", lambda **named: 1 / 0)
    assert client.post(reverse("reminders:read-all")).status_code == 500


@pytest.mark.django_db
def test_code_and_database_of_one_age_lack_nothing():
    assert faults.migrations_missing_and_unknown() == ([], [])
    faults.require_no_newer_database()


@pytest.mark.django_db
def test_a_database_from_newer_code_is_refused_by_name():
    MigrationRecorder.Migration.objects.create(app="members", name="0999_of_next_year")
    MigrationRecorder.Migration.objects.create(app="a_room_taken_down", name="0001_initial")
    with pytest.raises(ImproperlyConfigured, match=r"members.0999_of_next_year.*restore"):
        faults.require_no_newer_database()


@pytest.mark.django_db
@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL looks after its own files")
def test_a_sound_file_is_found_sound():
    assert faults.damage_found() == ""


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (
            OSError(errno.ENOSPC, "No space left on device", "/house/mail/1"),
            "The disk that holds /house/mail/1 is full.",
        ),
        (PermissionError(errno.EACCES, "Permission denied", "/house/secret"), "/house/secret may not be opened"),
        (ValueError("x"), ""),
    ],
)
def test_whoever_runs_a_command_reads_what_and_where(error, sentence):
    assert faults.sentence_about(error).startswith(sentence)
    assert bool(faults.sentence_about(error)) == bool(sentence)


def test_a_damaged_database_is_named_with_the_way_back(tmp_path):
    (tmp_path / "one.sqlite3").write_bytes(b"a shopping list" * 1000)
    told = faults.sentence_about(wrapped(of_sqlite("SELECT 1", tmp_path)))
    assert told.startswith(f"The database {connection.settings_dict['NAME']}")
    assert "is damaged" in told
    assert "manage.py restore" in told


def test_a_data_folder_that_cannot_be_used_is_one_sentence(tmp_path):
    (tmp_path / "folder").write_text("no folder")
    left_out = {"DATABASE_URL", "SECRET_KEY"}
    environment = {name: value for name, value in os.environ.items() if name not in left_out}
    environment |= {"KETTLEHALL_DATA": str(tmp_path / "folder" / "data"), "KETTLEHALL_OWN_ENVIRONMENT": "1"}
    command = [sys.executable, str(HOME / "manage.py"), "up"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr.startswith(f"The data folder {tmp_path / 'folder' / 'data'} cannot be used")
    assert len(done.stderr.splitlines()) == 1
