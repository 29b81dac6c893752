"""Households with jars on their shelves, and what they go through in a year."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from django.utils import timezone

from club.members.models import Kitchen, User
from club.season import services
from club.season.models import YearlyTarget
from inventory.batches.models import Batch
from inventory.jars.models import Movement
from recipes.models import Revision
from tests.factories.batches import make_batch_checked


def ago(days: float) -> datetime:
    return timezone.now() - timedelta(days=days)


def make_shelf(
    by: User, kitchen: Kitchen, revision: Revision, jars: int = 4, *, days: float = 60, **more: Any
) -> Batch:
    """A checked batch of so many half-pints, so many days ago."""
    return make_batch_checked(
        by=by, kitchen=kitchen, revision=revision, jars={"half-pint": jars}, out_at=ago(days), **more
    )


def make_target(
    by: User, kitchen: Kitchen, revision: Revision | None = None, jars: int = 12, **more: Any
) -> YearlyTarget:
    recipe = revision.recipe if revision else None
    return services.target_set(by=by, kitchen=kitchen, recipe=recipe, jars=jars, **{"jar_size": "half-pint"} | more)


def use(
    by: User, kitchen: Kitchen, revision: Revision, count: int, what: str = "emptied", **more: Any
) -> list[Movement]:
    told = {"size": "half-pint", "token": uuid4()} | more
    return services.jars_used(by=by, kitchen=kitchen, recipe_id=revision.recipe_id, what=what, count=count, **told)
