"""Data of every version so far comes up with today's code: a backup of its demo club, restored and looked at.

A new version adds a file to `tests/club/run/versions`: `python3 manage.py backup` of a fresh demo, named by the day.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.urls import reverse

from club.members.models import User
from club.run.audits import house_audit
from club.run.demo import SIGN_INS
from club.run.restore import archive_open, archive_restore
from inventory.batches.models import Batch

pytestmark = [pytest.mark.long, pytest.mark.django_db(transaction=True)]

VERSIONS = sorted((Path(__file__).parent / "versions").glob("*.backup"))
PAGES = ("desk:home", "batches:list", "recipes:list", "jars:home", "equipment:list", "classes:list", "reminders:health")


@pytest.mark.parametrize("file", VERSIONS, ids=lambda file: file.stem)
def test_data_of_an_older_version_comes_up_with_this_code_in_place_of_a_damaged_file(file, sign_in):
    if connection.vendor == "sqlite":
        connection.close()
        with open(connection.settings_dict["NAME"], "r+b") as database:
            database.write(b"\0" * 9_000)
    with archive_open(file) as archive:
        done = archive_restore(archive, replace=True, now=archive.made_at)
    assert done.migrated
    call_command("makemigrations", check_changes=True, dry_run=True, verbosity=0)
    assert house_audit() == dict.fromkeys(done.audits, [])
    organiser = sign_in(User.objects.get(email=SIGN_INS[0][0]))
    batch = Batch.objects.latest("pk")
    addresses = [*(reverse(page) for page in PAGES), batch.get_absolute_url()]
    assert {address: organiser.get(address).status_code for address in addresses} == dict.fromkeys(addresses, 200)
