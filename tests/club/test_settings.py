from __future__ import annotations

import os
import subprocess
import sys

import pytest

from club.settings import DATA_UPLOAD_MAX_NUMBER_FIELDS, broker_url, cache_url
from recipes.forms.draft import MOST_ROWS
from recipes.forms.draft_fields import HeadForm, IngredientForm, ProcessForm


@pytest.mark.parametrize(
    ("redis_url", "broker", "cache"),
    [
        ("redis://host:6379/0", "redis://host:6379/0", "redis://host:6379/1"),
        ("redis://:secret@host:6379/4", "redis://:secret@host:6379/4", "redis://:secret@host:6379/5"),
        ("redis://host", "redis://host", "redis://host/1"),
        ("unix:///run/b.sock", "redis+socket:///run/b.sock?virtual_host=0", "unix:///run/b.sock?db=1"),
        ("unix:///run/b.sock?db=2", "redis+socket:///run/b.sock?virtual_host=2", "unix:///run/b.sock?db=3"),
    ],
)
def test_the_cache_never_lives_in_the_queues_database(redis_url, broker, cache):
    assert broker_url(redis_url) == broker
    assert cache_url(redis_url) == cache


def test_further_hosts_are_answered_beside_the_site_s_own(tmp_path):
    told = {"SITE_URL": "https://club.example.test", "ALLOWED_HOSTS": "www.example.test, old.example.test"}
    asked = [sys.executable, "-c", "from club import settings; print(*settings.ALLOWED_HOSTS)"]
    kept = {key: value for key, value in os.environ.items() if key != "DATABASE_URL"}
    done = subprocess.run(
        asked, env={**kept, **told, "KETTLEHALL_DATA": str(tmp_path)}, capture_output=True, text=True, check=True
    )
    assert {"club.example.test", "www.example.test", "old.example.test", "127.0.0.1"} <= set(done.stdout.split())


def test_the_longest_draft_form_is_taken_in():
    rows = len(IngredientForm.base_fields) + len(ProcessForm.base_fields)
    assert len(HeadForm.base_fields) + MOST_ROWS * rows < DATA_UPLOAD_MAX_NUMBER_FIELDS - 20
