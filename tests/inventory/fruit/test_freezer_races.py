"""Two of a household at the freezer at one moment, in real threads on the real database."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from inventory.fruit.services import freezer_item_take
from tests.factories.freezer import make_freezer_item
from tests.inventory.batches.test_races import RACERS, race

pytestmark = pytest.mark.django_db(transaction=True)


def test_of_four_who_take_all_of_a_lot_one_has_it():
    item = make_freezer_item()

    def press(_number: int) -> object:
        try:
            return freezer_item_take(by=item.put_in_by, item=item, grams=2400, token=uuid4()).grams
        except ValidationError as error:
            return type(error)

    assert sorted(map(str, race(press))) == sorted(map(str, [2400, *[ValidationError] * (RACERS - 1)]))
    item.refresh_from_db()
    assert (item.grams_left, item.takings.count()) == (0, 1)
