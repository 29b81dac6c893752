"""The made-up season for measuring: as many as asked, and nothing in it that services or constraints would refuse."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.utils import timezone

from club.classes.models import ClassSession, SignUp
from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import User
from club.reminders.models import Reminder
from club.run.seeds import Scale, SeedRefused, season_seed
from inventory.batches.models import Batch, Jar
from inventory.equipment.models import Hold, Loan, Thing
from inventory.fruit.models import Offer, Share
from inventory.jars import services
from inventory.jars.models import Balance, Movement
from inventory.jars.models.ledger import MovementQuerySet
from inventory.jars.rules import SHAPES, shape_fits
from tests.factories.batches import make_batch_out
from tests.factories.members import make_kitchen, make_person
from tests.helpers import filled_once

pytestmark = pytest.mark.django_db
SCALE = Scale(
    households=3,
    people=6,
    batches=60,
    jars=301,
    movements=900,
    things=42,
    loans=200,
    sessions=3,
    offers=4,
    reminders=100,
)
TOLD: dict[str, Any] = {"password": "a-made-up-password", "tell": lambda told: None}


@dataclass(frozen=True)
class Before:
    """What was there before the season: a batch, and the last movement of the ledger."""

    batch: Batch
    movement: Movement

    @property
    def moved_since(self) -> MovementQuerySet:
        return Movement.objects.filter(pk__gt=self.movement.pk)


@pytest.fixture(scope="module")
def season(django_db_setup: None, django_db_blocker: Any) -> Iterator[Before]:
    """Laid down upon one batch of a small club."""
    with filled_once(django_db_blocker):
        for role in (Role.ORGANISER, Role.KEEPER, Role.INSTRUCTOR):
            make_person(role)
        make_kitchen(is_hall=True)
        batch = make_batch_out()
        before = Movement.objects.latest("pk")
        season_seed(SCALE, now=timezone.now(), **TOLD)
        yield Before(batch, before)


def test_a_season_has_as_many_as_asked(season: Before):
    mine = Batch.objects.exclude(pk=season.batch.pk)
    assert User.objects.filter(email__endswith="@season.example").count() == SCALE.people
    assert (mine.count(), season.moved_since.count()) == (SCALE.batches, SCALE.movements)
    given_up = SCALE.jars - Jar.objects.exclude(batch=season.batch).count()
    assert 0 < given_up < 20  # of batches that were given up or are on the stove
    assert (Thing.objects.count(), Loan.objects.count(), Hold.objects.count()) == (42, 200, 200)
    assert (ClassSession.objects.count(), Offer.objects.count(), Reminder.objects.count()) == (3, 4, 100)
    assert SignUp.objects.exists()
    assert Share.objects.exists()


def test_some_loans_are_out_and_some_of_those_are_late(season: Before):
    assert 0 < Loan.objects.overdue(club_day(timezone.now())).count() < Loan.objects.open().count()


def test_the_books_are_sound_and_every_movement_fits_its_reason(season: Before):
    assert services.ledger_audit().problems == []
    assert not Balance.objects.filter(is_inside=True, count__lt=0).exists()
    seeded = list(season.moved_since.select_related("source", "target"))
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


def test_a_season_is_laid_down_once(season: Before):
    with pytest.raises(SeedRefused, match="season here already"):
        season_seed(SCALE, now=timezone.now(), **TOLD)
