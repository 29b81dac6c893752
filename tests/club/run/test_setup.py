"""`setup`: what stands between the code and an open site, and the backup before tables change."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db.migrations.recorder import MigrationRecorder

from club.reminders.models import BACKUP_JOB, PeriodicJob
from club.run import setup
from club.run.backup import backups_in
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def called(monkeypatch, settings, tmp_path) -> list[str]:
    """The commands that a setup would run, in order; none of them is run."""
    calls: list[str] = []
    monkeypatch.setattr(setup, "call_command", lambda name, **told: calls.append(name))
    settings.DATA_DIR, settings.BACKUP_DIR = tmp_path, str(tmp_path / "backups")
    return calls


def a_migration_waits() -> None:
    MigrationRecorder.Migration.objects.filter(app="reminders").latest("name").delete()


def test_tables_change_only_when_a_backup_of_the_people_in_them_was_made(called, settings, tmp_path):
    make_person()
    a_migration_waits()
    said = StringIO()
    call_command("setup", stdout=said)
    assert called == ["migrate", "load_library", "collectstatic"]
    (kept,) = backups_in(tmp_path / "backups")
    assert f"python3 manage.py restore {kept} --replace" in said.getvalue()
    assert PeriodicJob.objects.get(name=BACKUP_JOB).ended_at is not None

    called.clear()
    (tmp_path / "file").write_text("no folder")
    settings.BACKUP_DIR = str(tmp_path / "file")
    with pytest.raises(CommandError, match="The tables are as they were"):
        call_command("setup", stdout=StringIO())
    assert called == []
    call_command("setup", "--no-backup", stdout=StringIO())
    assert called[0] == "migrate"


def test_where_nothing_waits_nothing_is_changed_or_kept(called, tmp_path):
    make_person()
    call_command("setup", stdout=StringIO())
    assert "migrate" not in called
    assert backups_in(tmp_path / "backups") == {}


def test_a_database_newer_than_the_code_is_left_alone(called):
    MigrationRecorder.Migration.objects.create(app="reminders", name="0999_of_next_year")
    with pytest.raises(CommandError, match="made by newer code"):
        call_command("setup", stdout=StringIO())
    assert called == []


def test_what_a_site_for_others_lacks_is_said(called, monkeypatch, settings):
    monkeypatch.delenv("SMTP_HOST", raising=False)
    settings.BACKUP_DIR = ""
    settings.SITE_URL = "http://club.example.test"
    told = " ".join(setup.advice())
    assert all(word in told for word in ("https://", "SMTP_HOST", "BACKUP_DIR", "createsuperuser"))
