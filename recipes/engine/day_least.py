"""How soon a day can end at best with a duty, reckoned without planning it: never later than its true end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import ceil

from recipes.engine.loads import Load
from recipes.engine.physics import Burner
from recipes.engine.schedule.burners import Duty
from recipes.engine.schedule.day import Paces
from recipes.engine.schedule.terms import PotWork


class Least:
    """The three things that a day waits for, each on its own: canners, rings and hands."""

    def __init__(self, paces: Paces, pots: Sequence[PotWork], loads: Sequence[Sequence[Load]]) -> None:
        self._loads = sum(map(len, loads))
        self._cooked = sum(1 for pot in pots if pot.kg > 0)
        # On each burner: what all loads take of a canner, and what the shortest takes.
        self._in_canner: dict[Burner, tuple[int, int]] = {}
        # On each burner: what all pots take to cook, and what the shortest takes.
        self._on_ring: dict[Burner, tuple[int, int]] = {}
        for burner in set(paces.gear.burners):
            taken = [
                paces.heat_water(pot, burner, first=False)
                + paces.sterilise_minutes
                + paces.fill(load)
                + sum(minutes for _, minutes in paces.in_canner(pot, load, burner))
                for pot, of_pot in zip(pots, loads, strict=True)
                for load in of_pot
            ]
            cooking = [paces.cook(pot, burner) for pot in pots if pot.kg > 0]
            self._in_canner[burner] = sum(taken), min(taken, default=0)
            self._on_ring[burner] = sum(cooking), min(cooking, default=0)
        self._by_hand = sum(
            paces.wash(pot) + paces.stir(pot) + sum(paces.fills(pot, of_pot)) + sum(map(paces.lift, of_pot))
            for pot, of_pot in zip(pots, loads, strict=True)
        )

    def finish(self, duty: Duty) -> int:
        canners = [self._in_canner[burner] for _, burner in duty.canners]
        rings = [self._on_ring[burner] for _, burner in duty.pots]
        cooking = min(
            (total for total, _ in rings), default=0
        )  # all of it on the strongest ring, with a cook beside it
        return max(
            _shared(canners, self._loads), _shared(rings, self._cooked), -(-(self._by_hand + cooking) // duty.cooks)
        )


def _shared(places: Iterable[tuple[int, int]], count: int) -> int:
    """So many things over places of which each takes (all of them, the shortest): the time that it takes at least."""
    told = list(places)
    if not told or not count:
        return 0
    together = ceil(min(total for total, _ in told) / len(told))
    at_full_pace = count / sum(1 / shortest for _, shortest in told)
    return max(together, ceil(at_full_pace - 1e-9))
