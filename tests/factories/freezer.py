"""Lots in a freezer for tests, put there by the room's own service."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any
from uuid import uuid4

from club.members.models import Kitchen, User
from inventory.fruit.models import FreezerItem
from inventory.fruit.services import FreezerFields, freezer_item_add
from tests.factories.members import make_kitchen, make_person

NOW = datetime(2026, 11, 2, 18, 0, tzinfo=UTC)
FROZEN_ON = date(2026, 7, 12)


def make_freezer_item(
    *, by: User | None = None, kitchen: Kitchen | None = None, now: datetime = NOW, **fields: Any
) -> FreezerItem:
    """2.4 kg of plums in three bags, frozen in July, unless told otherwise."""
    by = by or make_person()
    told = {"what": "plums", "frozen_on": FROZEN_ON, "grams": 2400, "bags": 3, **fields}
    written = FreezerFields(kitchen=kitchen or make_kitchen(by), **told)
    return freezer_item_add(by=by, fields=written, token=uuid4(), now=now)
