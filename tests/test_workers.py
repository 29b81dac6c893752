"""Tests that run side by side: each process has a data folder and a database of its own."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from execnet import XSpec

from tests.conftest import pytest_xdist_setupnodes


def test_each_worker_is_given_a_data_folder_of_its_own(pytestconfig, tmp_path, settings):
    settings.DATA_DIR = tmp_path
    workers = [XSpec(f"popen//id=gw{number}") for number in range(3)]
    pytest_xdist_setupnodes(pytestconfig, workers)
    folders = [Path(one.env["KETTLEHALL_DATA"]) for one in workers]
    assert len(set(folders)) == 3
    assert all(folder.is_relative_to(tmp_path) and (folder / "static").is_dir() for folder in folders)


@pytest.mark.skipif("PYTEST_XDIST_WORKER" not in os.environ, reason="this run has one process")
@pytest.mark.django_db
def test_this_worker_uses_its_own():
    worker = os.environ["PYTEST_XDIST_WORKER"]
    assert settings.DATA_DIR.name == worker
    assert connection.settings_dict["NAME"].endswith(worker)
    if connection.vendor == "sqlite":
        assert Path(connection.settings_dict["NAME"]).is_relative_to(settings.DATA_DIR)
