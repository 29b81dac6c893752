"""Static files are collected when something changed, and only then."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from django.core.management import call_command


@pytest.fixture
def folder(settings, tmp_path: Path) -> Path:
    """What is collected, from one folder with one file."""
    source = tmp_path / "source"
    source.mkdir()
    (source / "kettle.css").write_text("a{}")
    settings.STATICFILES_DIRS, settings.STATIC_ROOT = [source], tmp_path / "static"
    settings.STATICFILES_FINDERS = ["django.contrib.staticfiles.finders.FileSystemFinder"]
    return tmp_path


def collect() -> None:
    call_command("collectstatic", interactive=False, verbosity=0)


def test_a_second_time_nothing_is_written_until_a_file_changes_or_the_collection_was_cut_short(folder: Path):
    collect()
    made = folder / "static" / "kettle.css"
    assert made.read_text() == "a{}"
    made.write_text("touched by hand")
    collect()
    assert made.read_text() == "touched by hand"
    source, later = folder / "source" / "kettle.css", made.stat().st_mtime + 60
    source.write_text("a{color:red}")
    os.utime(source, (later, later))  # Django leaves what was collected later than it was changed
    collect()
    assert made.read_text() == "a{color:red}"
    (folder / "static" / ".collected").unlink()
    made.unlink()
    collect()
    assert made.read_text() == "a{color:red}"
