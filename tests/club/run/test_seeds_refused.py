"""Where no made-up season is laid down: beside people, on a site for others, without batches to put up again."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from club.members.models import User
from club.run.seeds import SEASON, SeedRefused, season_seed
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def test_a_season_is_refused_where_there_is_no_batch_to_put_up_again():
    with pytest.raises(SeedRefused, match="no demo club"):
        season_seed(SEASON, now=timezone.now(), password="a-made-up-password", tell=lambda told: None)
    assert not User.objects.exists()


def test_nobody_is_invented_on_a_site_for_others_or_beside_people(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("SMTP_HOST", "mail.example")
    with pytest.raises(CommandError, match="site for others"):
        call_command("seed_season", scale="small")
    make_person()
    with pytest.raises(CommandError, match="people here already"):
        call_command("seed_season", "--even-here", scale="small")
    assert User.objects.count() == 1
