from __future__ import annotations

import os
import re
import subprocess
import sys
from datetime import date

import pytest
from django.db import connection
from django.utils.formats import date_format
from django.utils.translation import to_language

from club.settings import BASE_DIR, DATA_UPLOAD_MAX_NUMBER_FIELDS, broker_url, cache_url, languages_in
from recipes.forms.drafts import MOST_ROWS, HeadForm, IngredientForm, ProcessForm


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


OLDER, OLDEST = "0123456789abcdefghijklmnopq" * 2, "zyxwvutsrqponmlkjihgfedcba9" * 2


def under(tmp_path, code: str, **told: str) -> str:
    """What `code` prints with these variables, and a data folder of its own."""
    ours = {"DATABASE_URL", "DJANGO_ALLOW_ASYNC_UNSAFE"}  # the latter for browsers in tests alone
    kept = {key: value for key, value in os.environ.items() if key not in ours}
    environment = {**kept, **told, "KETTLEHALL_DATA": str(tmp_path), "DJANGO_SETTINGS_MODULE": "club.settings"}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    return done.stdout + done.stderr


def test_further_hosts_are_answered_beside_the_site_s_own_and_under_https_no_localhost(tmp_path):
    hosts = "from club import settings; print(*settings.ALLOWED_HOSTS)"
    told = {"SITE_URL": "https://club.example.test", "ALLOWED_HOSTS": "www.example.test, old.example.test"}
    assert set(under(tmp_path, hosts, **told).split()) == {"club.example.test", "www.example.test", "old.example.test"}
    assert {"127.0.0.1", "localhost"} <= set(under(tmp_path, hosts, SITE_URL="http://club.example.test").split())


def test_production_passes_the_deploy_check_and_its_cookies_are_of_this_host_alone(tmp_path):
    told = {"SITE_URL": "https://club.example.test", "SECRET_KEY": "k" * 25 + "0123456789abcdefghijklmnopq"}
    told |= {"SECRET_KEY_FALLBACKS": f"{OLDER}, {OLDEST}", "REQUIRE_SECOND_FACTOR": "1", "BEHIND_PROXY": "1"}
    checked = "import sys; from django.core.management import execute_from_command_line as run; run(sys.argv)"
    said = under(
        tmp_path, checked.replace("sys.argv", "['manage.py', 'check', '--deploy', '--fail-level', 'WARNING']"), **told
    )
    assert "no issues" in said
    without = under(
        tmp_path,
        checked.replace("sys.argv", "['manage.py', 'check', '--deploy']"),
        **told,
        DATABASE_URL=f"sqlite:///{tmp_path}/club.sqlite3",
    )
    assert "kettlehall.W001" in without
    assert "NOTE_KEYS is not set" in without
    names = ["SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME", "KNOWN_DEVICE_COOKIE_NAME", "SECRET_KEY_FALLBACKS"]
    shown = under(tmp_path, f"from club import settings; print(*(getattr(settings, n) for n in {names}))", **told)
    assert shown.split() == ["__Host-sessionid", "__Host-csrftoken", "__Host-known", f"['{OLDER}',", f"'{OLDEST}']"]


def test_the_longest_draft_form_is_taken_in():
    rows = len(IngredientForm.base_fields) + len(ProcessForm.base_fields)
    assert len(HeadForm.base_fields) + MOST_ROWS * rows < DATA_UPLOAD_MAX_NUMBER_FIELDS - 20


@pytest.mark.parametrize(
    ("catalogues", "offered"),
    [
        ([], ["en"]),
        (["fr/LC_MESSAGES/django.po"], ["en"]),  # not compiled: nothing is read from it
        (["fr/LC_MESSAGES/django.mo"], ["en", "fr"]),
        (["pt_BR/LC_MESSAGES/django.mo", "en/LC_MESSAGES/django.mo"], ["en", "pt-br"]),
    ],
)
def test_a_language_is_offered_when_it_has_a_catalogue(tmp_path, catalogues, offered):
    for name in catalogues:
        made = tmp_path / name
        made.parent.mkdir(parents=True)
        made.touch()
    assert [code for code, _name in languages_in(tmp_path)] == offered


@pytest.mark.django_db
@pytest.mark.parametrize("asked", ["fr", "fr-CA,fr;q=0.9", "de, fr;q=0.8, en;q=0.1"])
def test_a_page_claims_no_language_that_it_is_not_written_in(client, settings, asked):
    written = {settings.LANGUAGE_CODE} | {to_language(made.parts[-3]) for made in BASE_DIR.glob("club/locale/*/*/*.mo")}
    page = client.get("/accounts/login/", headers={"Accept-Language": asked})
    (said,) = re.findall(r"<html[^>]* lang=\"([^\"]+)\"", page.text)
    assert page.status_code == 200
    assert page["Content-Language"] == said
    assert said in written
    assert {code for code, _name in settings.LANGUAGES} == written


@pytest.mark.skipif(connection.vendor != "sqlite", reason="SQLite's own setting")
def test_a_commit_on_sqlite_is_on_the_disk_before_it_is_answered(db):
    with connection.cursor() as cursor:
        assert cursor.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
        assert cursor.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_day_left_to_the_language_is_written_as_the_pages_write_it():
    assert date_format(date(2026, 11, 5), "DATE_FORMAT") == "5 Nov 2026"


@pytest.mark.parametrize(
    ("told", "sender"),
    [
        ({"CLUB_NAME": "Jars, Lids & Co"}, '"Jars, Lids & Co" <kettlehall@localhost>'),
        ({"CLUB_NAME": "Jars", "MAIL_FROM": "us@jars.example.test"}, "us@jars.example.test"),
    ],
)
def test_mails_come_from_the_club_s_name_unless_told_otherwise(tmp_path, told, sender):
    environment = {**os.environ, "KETTLEHALL_DATA": str(tmp_path), **told}
    asked = [sys.executable, "-c", "from club import settings; print(settings.DEFAULT_FROM_EMAIL)"]
    answer = subprocess.run(asked, env=environment, capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == sender
