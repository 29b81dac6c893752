"""What the season may count on from a household's freezer."""

from __future__ import annotations

from django.db.models import Sum

from club.members.models import Kitchen
from inventory.fruit.models import FreezerItem, FreezerState


def frozen_grams(kitchen: Kitchen) -> dict[str, int]:
    """Grams by produce, as recipes name it. No pot is weighed by juice, nor by fruit frozen with sugar."""
    lots = FreezerItem.objects.there().filter(kitchen=kitchen, state=FreezerState.FRUIT, with_sugar=False)
    return dict(lots.exclude(produce="").order_by().values_list("produce").annotate(grams=Sum("grams_left")))
