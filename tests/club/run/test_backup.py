"""What a backup holds, how it comes back, and what is said of a file that is none."""

from __future__ import annotations

import json
import os
import resource
import secrets
import threading
import zipfile
from collections.abc import Callable
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction

from club.members.models import User
from club.reminders.models import BACKUP_JOB, Reminder, ReminderState
from club.run.audits import house_audit
from club.run.backup import (
    EVERY,
    MANIFEST,
    BackupError,
    backup_keep,
    backup_write,
    note,
    spare,
    turn_taken,
)
from club.run.envelope import HEAD, PIECE, TAG, ClosingWriter, Damaged, OpeningReader
from club.run.restore import archive_open, archive_restore, differences
from inventory.jars import services as jars
from inventory.jars.models import Balance, Movement
from inventory.jars.triggers import GUARDS
from tests.factories.jars import make_jars, make_keeper, make_lid_lot
from tests.factories.members import make_kitchen, make_person
from tests.factories.reminders import make_reminder, make_waiting_batch

NOW = datetime(2026, 11, 30, 12, tzinfo=UTC)
PASSPHRASE = "damson and quince"


@pytest.fixture(scope="module")
def whole(django_db_setup, django_db_blocker, tmp_path_factory) -> Path:
    """A backup of the test's database without rows of its own."""
    path = tmp_path_factory.mktemp("kept") / "whole.backup"
    with django_db_blocker.unblock():
        backup_write(path)
    return path


@contextmanager
def room_for(number: int):
    """No file of this process may grow beyond so many bytes: as good as a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (number, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def manifest_of(path: Path) -> dict:
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read(MANIFEST))


def rewritten(path: Path, into: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The same archive, well formed, with its members changed."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return into


def retold(**told: object) -> Callable[[Path, Path], Path]:
    def change(members: dict[str, bytes]) -> None:
        members[MANIFEST] = json.dumps(json.loads(members[MANIFEST]) | told).encode()

    return lambda path, into: rewritten(path, into, change)


def with_member(name: str, content: bytes) -> Callable[[Path, Path], Path]:
    return lambda path, into: rewritten(path, into, lambda members: members.update({name: content}))


def written(content: bytes) -> Callable[[Path, Path], Path]:
    def write(path: Path, into: Path) -> Path:
        into.write_bytes(content)
        return into

    return write


def cut(path: Path, into: Path) -> Path:
    into.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    return into


def one_letter_changed(path: Path, into: Path) -> Path:
    def change(members: dict[str, bytes]) -> None:
        name = "tables/auth_permission.jsonl"
        members[name] = members[name].replace(b"add", b"ads", 1)

    return rewritten(path, into, change)


def closed(path: Path, into: Path, *, less: int = 0) -> Path:
    held = BytesIO()
    closing = ClosingWriter(held, PASSPHRASE)
    closing.write(path.read_bytes())
    closing.finish()
    into.write_bytes(held.getvalue()[: len(held.getvalue()) - less])
    return into


def another_program(path: Path, into: Path) -> Path:
    with zipfile.ZipFile(into, "w") as archive:
        archive.writestr("shelf.csv", "a,b")
    return into


TABLE = "tables/jars_movement.jsonl"
LATER = (datetime.now(UTC) + timedelta(days=400)).isoformat()
BAD = {
    "no archive at all": (written(b"Dear committee"), "no backup of Kettlehall"),
    "an empty file": (written(b""), "no backup of Kettlehall"),
    "another program's archive": (another_program, "no backup of Kettlehall"),
    "another program's manifest": (retold(program="jamhouse"), "no backup of Kettlehall"),
    "cut off": (cut, "cut off or damaged"),
    "a letter changed": (one_letter_changed, "cut off or damaged"),
    "a manifest that is no JSON": (with_member(MANIFEST, b"{"), "cut off or damaged"),
    "a manifest of another shape": (retold(tables=[1]), "cut off or damaged"),
    "an older format": (retold(format=0), "format 0, and this code .* reads format 1"),
    "a newer format": (retold(format=2), "format 2, and this code .* reads format 1"),
    "newer code": (retold(code="99.1.0"), "99.1.0, which is newer .* Install that version"),
    "migrations of newer code": (retold(migrations=[["jars", "0999_not_yet"]]), "newer than this code"),
    "a clock that was set back": (retold(made_at=LATER), "Set the clock right first"),
    "a way out of the folder": (with_member("../../etc/cron.d/x", b"x"), "not as the manifest says"),
    "a bomb": (with_member(TABLE, b"[1]\n" * 2**21), "packed as no backup is"),
    "a manifest like a bomb": (with_member(MANIFEST, b" " * 2**23), "manifest.json is larger than one is"),
    "a wrong passphrase": (closed, "The passphrase does not open this backup"),
}


@pytest.mark.django_db
@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_whole_backup_of_ours_is_refused_in_a_sentence(name, whole, tmp_path):
    make, sentence = BAD[name]
    person = make_person()
    bad = make(whole, tmp_path / "bad.backup")
    with (
        pytest.raises(BackupError, match=f"(?s){sentence}"),
        archive_open(bad, passphrase="wrong") as archive,
    ):
        archive_restore(archive, replace=True, now=datetime.now(UTC))
    assert User.objects.get() == person


def test_a_closed_backup_opens_with_its_passphrase_alone_and_only_whole(whole, tmp_path):
    with pytest.raises(BackupError, match="--passphrase-file"), archive_open(closed(whole, tmp_path / "a")):
        pass
    with archive_open(closed(whole, tmp_path / "b"), passphrase=PASSPHRASE) as archive:
        archive.verify()
    for less in (1, TAG + 1):
        short = closed(whole, tmp_path / f"short-{less}", less=less)
        with pytest.raises(BackupError, match="cut off or damaged"), archive_open(short, passphrase=PASSPHRASE):
            pass


def test_pieces_of_a_closed_file_are_read_from_anywhere_and_none_may_be_missing(tmp_path):
    content, path = secrets.token_bytes(2 * PIECE + 5), tmp_path / "closed"
    with path.open("wb") as file:
        closing = ClosingWriter(file, PASSPHRASE)
        for start in range(0, len(content), 50_000):
            closing.write(content[start : start + 50_000])
        closing.finish()
    with path.open("rb") as file:
        opened = OpeningReader(file, PASSPHRASE)
        for at, number in ((0, 10), (PIECE - 3, 6), (2 * PIECE, 9), (-4, 9)):
            opened.seek(at, os.SEEK_SET if at >= 0 else os.SEEK_END)
            want = content[at:][:number]
            assert b"".join(iter(lambda: opened.read(3), b""))[: len(want)] == want
    path.write_bytes(path.read_bytes()[: HEAD + 2 * (PIECE + TAG)])  # whole pieces, the last one gone
    with path.open("rb") as file:
        opened = OpeningReader(file, PASSPHRASE)
        opened.seek(PIECE)
        with pytest.raises(Damaged):
            opened.read(1)


@pytest.mark.django_db
def test_every_table_of_the_house_is_in_it(whole):
    told = {table["model"]: table for table in manifest_of(whole)["tables"]}
    ours = {model._meta.label for model in apps.get_models(include_auto_created=True)}
    assert set(told) == ours
    assert oct(whole.stat().st_mode & 0o777) == "0o600"


def test_no_photograph_lies_outside_the_database():
    """A backup reads tables. Whoever keeps files beside them has to put those into it too."""
    kept = [
        field
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.FileField)
    ]
    assert kept == []


@pytest.mark.django_db
def test_a_full_disk_is_said_and_leaves_nothing(tmp_path):
    with room_for(5_000), pytest.raises(BackupError, match="no room for the backup .* older ones are as they were"):
        backup_write(tmp_path / "a.backup")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "a.backup").write_text("older")
    with pytest.raises(BackupError, match="never written over"):
        backup_write(tmp_path / "a.backup")
    assert (tmp_path / "a.backup").read_text() == "older"


@pytest.mark.django_db(transaction=True)
def test_a_disk_that_fills_while_restoring_changes_nothing(whole):
    if connection.vendor != "sqlite":
        pytest.skip("the server's disk is not this process's")
    person = make_person()
    with (
        archive_open(whole) as archive,
        room_for(20_000),
        pytest.raises(BackupError, match="no room on the disk"),
    ):
        archive_restore(archive, replace=True, now=datetime.now(UTC))
    assert User.objects.get() == person
    assert not list(Path(connection.settings_dict["NAME"]).parent.glob("*.restoring*"))


class Mover(threading.Thread):
    """Moves jars to and fro until it is told to stop."""

    def __init__(self, keeper, store, kitchen) -> None:
        super().__init__()
        self.keeper, self.places, self.is_over, self.moved = keeper, [store, kitchen], threading.Event(), 0

    def run(self) -> None:
        try:
            while not self.is_over.is_set():
                source, target = self.places[:: 1 if self.moved % 2 == 0 else -1]
                told = {"by": self.keeper, "reason": "moved", "size": "pint", "count": 3, "token": uuid4()}
                jars.jars_move(source=source, target=target, **told)
                self.moved += 1
        finally:
            connection.close()


@pytest.mark.long
@pytest.mark.django_db(transaction=True)
def test_what_was_backed_up_while_people_write_comes_back_row_by_row(tmp_path):
    keeper, path = make_keeper(), tmp_path / "house.backup"
    store, kitchen = jars.store_place(), jars.kitchen_place(make_kitchen(keeper))
    make_jars(store, 60, by=keeper)
    gone = make_lid_lot()
    last = gone.pk
    gone.delete()
    out = datetime.now(UTC) - timedelta(hours=13)
    reminder = make_reminder(make_waiting_batch(out), now=datetime.now(UTC))
    mover = Mover(keeper, store, kitchen)
    mover.start()
    try:
        before = mover.moved
        manifest = backup_write(path, passphrase=PASSPHRASE)
        assert mover.moved > before
    finally:
        mover.is_over.set()
        mover.join()
    # After the backup: the mail leaves, and somebody joins.
    Reminder.objects.filter(pk=reminder.pk).update(state=ReminderState.SENT, sent_at=datetime.now(UTC))
    make_person()

    with archive_open(path, passphrase=PASSPHRASE) as archive:
        with pytest.raises(BackupError, match="There are people in this database"):
            archive_restore(archive, replace=False, now=datetime.now(UTC))
        done = archive_restore(archive, replace=True, now=datetime.now(UTC))
        found = differences(archive)
    assert done.mail_noted == 1
    assert [line.partition(":")[0] for line in found] == ["reminders_reminder"]  # the one that was sent meanwhile
    assert Reminder.objects.get().state == ReminderState.SENT
    assert house_audit() == dict.fromkeys(done.audits, [])
    moves = next(table.rows for table in manifest.tables if table.table == Movement._meta.db_table)
    assert 1 <= Movement.objects.count() == moves
    assert sum(Balance.objects.values_list("count", flat=True)) == 0
    assert make_lid_lot().pk > last  # not the number of one that is gone
    with pytest.raises(IntegrityError), transaction.atomic():
        Movement.objects.update(count=9)


@pytest.mark.django_db
def test_the_audits_find_what_the_guards_would_not_have_let_in():
    make_jars(jars.store_place(), 5)
    assert not any(house_audit().values())
    connection.check_constraints()
    with connection.cursor() as cursor:
        for statement in GUARDS.drop_statements(connection.vendor):
            cursor.execute(statement)
    Balance.objects.update(is_inside=False)
    assert house_audit()["rows that guard each other"]


def test_seven_days_and_four_weeks_are_kept_and_always_the_one_just_made():
    names = {Path(f"{day}-{hour}"): NOW - timedelta(days=day, hours=hour) for day in range(60) for hour in (0, 6)}
    kept = set(names) - spare(names, newest=Path("0-0"))
    days = {names[path].date() for path in kept}
    assert len(kept) == len(days)  # the last of a day
    assert {NOW.date() - timedelta(days=day) for day in range(7)} <= days
    assert len({day.isocalendar()[:2] for day in days}) == 4
    assert len(kept) <= 7 + 3
    # Made by a clock that was set back: older than all, and kept.
    assert Path("late") not in spare(names | {Path("late"): NOW - timedelta(days=900)}, newest=Path("late"))


@pytest.mark.django_db
def test_one_worker_a_day_makes_the_backup_whatever_the_clock_was():
    assert not turn_taken(NOW)  # a new site: nothing is worth it yet
    later = NOW + timedelta(hours=1)
    assert turn_taken(later)
    assert not turn_taken(later)
    note(BACKUP_JOB, at=later, next_at=later + EVERY)
    assert not turn_taken(later + timedelta(hours=2))
    assert turn_taken(later + EVERY)
    assert turn_taken(NOW - timedelta(days=30))


@pytest.mark.django_db
def test_a_folder_keeps_backups_under_names_of_their_moments(tmp_path):
    path = backup_keep(tmp_path / "backups")
    assert path.name.startswith("kettlehall-2")
    assert [path] == list((tmp_path / "backups").iterdir())
