"""The invented season: what the services would have written, and every balance right."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from club.run.seeds import ledger_seed
from inventory.jars import services
from inventory.jars.models import Balance, Movement
from inventory.jars.rules import SHAPES, shape_fits
from tests.factories.batches import make_batch_out
from tests.factories.jars import make_jars, make_keeper
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db


def test_a_seeded_season_is_sound_and_every_movement_fits_its_reason():
    keeper = make_keeper()
    batch = make_batch_out()
    make_jars(services.store_place(), 5, by=keeper)
    before = Movement.objects.count()
    told = {
        "by": keeper,
        "places": [
            services.store_place(),
            services.kitchen_place(make_kitchen()),
            services.kitchen_place(make_kitchen()),
        ],
        "people": [services.person_place(make_person()), services.person_place(make_person())],
        "lots": [batch.pk],
        "until": timezone.now(),
    }
    assert ledger_seed(movements=3000, **told) == 3000
    assert Movement.objects.count() == before + 3000
    assert services.ledger_audit().problems == []
    assert not Balance.objects.filter(is_inside=True, count__lt=0).exists()
    seeded = Movement.objects.select_related("source", "target").order_by("pk")[before:]
    assert {movement.reason for movement in seeded} == set(SHAPES) - {"found", "missing"}
    for movement in seeded:
        assert shape_fits(
            movement.reason,
            source=movement.source.kind,
            target=movement.target.kind,
            found=movement.source_state,
            left=movement.target_state,
            is_same_place=movement.source_id == movement.target_id,
        )


def test_the_command_asks_twice_and_reports():
    with pytest.raises(CommandError, match="--yes"):
        call_command("seed_ledger", movements=10)
    with pytest.raises(CommandError, match="nobody yet"):
        call_command("seed_ledger", "--yes", movements=10)
    make_keeper()
    out = StringIO()
    call_command("seed_ledger", "--yes", movements=500, kitchens=3, stdout=out)
    assert "500 movements" in out.getvalue()
    assert "The books are sound" in out.getvalue()
    assert Movement.objects.count() == 500
