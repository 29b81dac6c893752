"""A station as a wish to the engine: its pots, jars, pack and gear."""

from __future__ import annotations

from django.utils.translation import gettext as _

from club.classes.models import Station
from recipes.engine.loads import Capacity, capacity
from recipes.engine.rules import NO_SOURCE
from recipes.engine.terms import Canner, Pack
from recipes.planning import PlanWish


def wish_of(station: Station) -> PlanWish:
    """What the batch of this station is planned from. What the station does not say is left to the engine."""
    return PlanWish(
        pots=station.pots,
        jar=station.jar_size or None,
        pack=Pack(station.pack) if station.pack else None,
        canner=Canner(station.canner) if station.canner else None,
        canners=station.canners,
        burners=len(station.burners_w) or None,
        cooks=station.cooks,
        stove=station.stove,
        capacity=_capacity(station),
    )


def _capacity(station: Station) -> Capacity | None:
    jars = {size.replace("-", "_"): count for size, count in station.capacity.items() if count}
    return capacity(_("the station's canner"), NO_SOURCE, **jars) if jars else None
