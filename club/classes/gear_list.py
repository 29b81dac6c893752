"""Which things of the equipment room a session needs, from its plan. Pure: the engine's plan in, plain values out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from inventory.equipment.kinds import Kind
from recipes.engine.rules import NO_SOURCE
from recipes.engine.stations import HallPlan, Station
from recipes.engine.terms import Canner, Method, Rule

GEAR_RULE = Rule(
    "CLASS-GEAR",
    "A station takes a canner for each that its plan uses, a jar lifter and a funnel, a pan for each burner under a "
    "pot, and a thermometer where the recipe ends at a temperature.",
    NO_SOURCE,
)
CANNER_KINDS: Mapping[Canner, Kind] = {
    Canner.BOILING_WATER: Kind.BOILING_WATER,
    Canner.DIAL_GAUGE: Kind.DIAL_GAUGE,
    Canner.WEIGHTED_GAUGE: Kind.WEIGHTED_GAUGE,
}


@dataclass(frozen=True)
class GearNeed:
    """One thing of a kind, for a station. `jars` is the most that go into it at once by size; empty for no canner."""

    kind: Kind
    station: int
    jars: Mapping[str, int] = field(default_factory=dict)

    @property
    def room(self) -> int:
        return sum(self.jars.values())

    def is_met_by(self, capacity: Mapping[str, int]) -> bool:
        """Whether a thing of this capacity takes the loads; one that does not say how many jars it takes does not."""
        return all(capacity.get(size, 0) >= count for size, count in self.jars.items())


def gear_needs(hall: HallPlan) -> tuple[GearNeed, ...]:
    """One entry for each thing; of a kind those that need the most room first, so that they choose first."""
    found = [need for station in hall.stations for need in _needs(station)]
    order = {kind: number for number, kind in enumerate(Kind)}
    return tuple(sorted(found, key=lambda need: (order[need.kind], -need.room, need.station)))


def matched(needs: Sequence[GearNeed], capacities: Sequence[Mapping[str, int]]) -> dict[int, int]:
    """Which need gets which thing of its kind, by their places in the two rows: as many as can be met at all.

    A canner that takes pints only must not be left over because the one that takes every jar went to the pints. Needs
    choose in their order; one that finds nothing makes another move over where that other finds something else.
    """
    has: dict[int, int] = {}  # the need that has each thing

    def seat(need: int, asked: set[int]) -> bool:
        for thing, capacity in enumerate(capacities):
            if thing in asked or not needs[need].is_met_by(capacity):
                continue
            asked.add(thing)
            if thing not in has or seat(has[thing], asked):
                has[thing] = need
                return True
        return False

    for need in range(len(needs)):
        seat(need, set())
    return {need: thing for thing, need in has.items()}


def _needs(station: Station) -> Iterator[GearNeed]:
    plan = station.plan
    if not plan.ok or not plan.jars:
        return
    if plan.recipe.method is not Method.FREEZER:
        yield from _canners(station)
        yield GearNeed(Kind.JAR_LIFTER, station.number)
    yield GearNeed(Kind.FUNNEL, station.number)
    pans = {step.burner for step in plan.day.steps if step.burner and step.canner is None} if plan.day else set()
    for _ in pans:
        yield GearNeed(Kind.PRESERVING_PAN, station.number)
    if plan.recipe.endpoint_f_above_boiling is not None:
        yield GearNeed(Kind.THERMOMETER, station.number)


def _canners(station: Station) -> Iterator[GearNeed]:
    """As many as the loads are shared over, each for the largest load that goes into it."""
    plan = station.plan
    kind = _kind(station)
    if kind is None:
        return
    most: dict[int, dict[str, int]] = {}
    for load in plan.loads:
        held = most.setdefault(load.canner or 1, {})
        for jar in load.jars:
            held[jar.size] = max(held.get(jar.size, 0), jar.count)
    for jars in most.values():
        yield GearNeed(kind, station.number, jars)


def _kind(station: Station) -> Kind | None:
    """By the process that was found; None where there is none, and so no plan to keep a canner for."""
    process = station.plan.process
    if process is None:
        return None
    if process.method is Method.BOILING_WATER:
        return Kind.BOILING_WATER
    return CANNER_KINDS[Canner.DIAL_GAUGE if process.gauge == "dial" else Canner.WEIGHTED_GAUGE]
