"""`pip install .`: the wheel holds every file of the packages, the library and the demo, and runs by itself."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from django.conf import settings

pytestmark = pytest.mark.long  # built once

PACKAGES = ("club", "recipes", "inventory")
CARRIED = {"fixtures/library": "club/fixtures/library", "fixtures/demo": "club/fixtures/demo"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Built by the back end itself, as pip would, without an environment that must be fetched first."""
    into = tmp_path_factory.mktemp("wheel")
    ask = "import sys, hatchling.build as back_end; back_end.build_wheel(sys.argv[1])"
    subprocess.run([sys.executable, "-c", ask, str(into)], cwd=settings.BASE_DIR, check=True, capture_output=True)
    (built,) = into.glob("kettlehall-*.whl")
    return built


def files_under(folder: Path) -> set[str]:
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_wheel_holds_each_file_of_the_packages_and_nothing_else(wheel):
    expected = {f"{name}/{file}" for name in PACKAGES for file in files_under(settings.BASE_DIR / name)}
    expected |= {f"{to}/{file}" for here, to in CARRIED.items() for file in files_under(settings.BASE_DIR / here)}
    held = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    assert held == expected
    for kind in ("templates/base.html", "static/club/look.css", "migrations/0001_initial.py", "library/jams.toml"):
        assert any(name.endswith(kind) for name in held), kind


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    into = tmp_path_factory.mktemp("site-packages")
    zipfile.ZipFile(wheel).extractall(into)
    return into


def run(installed: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    kept = {name: value for name, value in os.environ.items() if name not in ("KETTLEHALL_DATA", "DATABASE_URL")}
    told = {**kept, "PYTHONPATH": str(installed), "DJANGO_SETTINGS_MODULE": "club.settings", **environment}
    command = [sys.executable, "-m", "django", *arguments]
    return subprocess.run(command, cwd=installed.parent, env=told, capture_output=True, text=True)


def test_an_installed_copy_finds_its_library_and_its_look(installed, tmp_path):
    yields = run(installed, "yields", KETTLEHALL_DATA=str(tmp_path))
    assert "strawberry-jam-liquid" in yields.stdout, yields.stderr
    look = run(
        installed, "findstatic", "club/look.css", "bootstrap/css/bootstrap.min.css", KETTLEHALL_DATA=str(tmp_path)
    )
    assert str(installed / "club" / "static" / "club" / "look.css") in look.stdout
    assert "bootstrap.min.css" in look.stdout


def test_an_installed_copy_asks_where_to_keep_its_data(installed):
    refused = run(installed, "yields")
    assert refused.returncode != 0
    assert "Set KETTLEHALL_DATA to a folder of the site's own" in refused.stderr
    assert not (installed / ".kettlehall").exists()
