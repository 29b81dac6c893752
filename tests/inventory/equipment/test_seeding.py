"""The season for benchmarks: as many as asked, and nothing in it that the constraints would refuse."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from club.core.clock import club_day
from club.run.seeds import equipment_seed
from inventory.equipment.models import Hold, Loan, Thing
from tests.factories.members import make_person

pytestmark = [pytest.mark.long, pytest.mark.django_db]


def test_a_season_has_as_many_things_and_loans_as_asked_and_some_are_out_and_late():
    equipment_seed(things=42, loans=500, people=[make_person() for _ in range(3)], now=timezone.now())
    assert (Thing.objects.count(), Loan.objects.count(), Hold.objects.count()) == (42, 500, 500)
    assert Loan.objects.open().count() > 3
    assert 0 < Loan.objects.overdue(club_day(timezone.now())).count() < Loan.objects.open().count()


def test_a_season_is_refused_where_there_are_things_or_nobody():
    with pytest.raises(CommandError, match="no people"):
        call_command("seed_season", "--things", "1", "--loans", "1")
    make_person()
    call_command("seed_season", "--things", "2", "--loans", "3")
    with pytest.raises(CommandError, match="things here already"):
        call_command("seed_season", "--things", "1", "--loans", "1")
    assert Thing.objects.count() == 2
