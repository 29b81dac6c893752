"""List scheduling of one day on burners that each have one duty: under a canner or under a pot.

Pots are taken in the order given, each as early as it can be without waiting once it is cooked.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from recipes.engine.loads import Load
from recipes.engine.physics import Burner
from recipes.engine.schedule.day import Paces
from recipes.engine.schedule.terms import PotLoad, PotWork, Step, StepKind


class Duty(NamedTuple):
    """Which burners (numbers from 1) stand under canners and which under pots, and how many cooks work."""

    canners: tuple[tuple[int, Burner], ...]
    pots: tuple[tuple[int, Burner], ...]
    cooks: int


@dataclass(eq=False, repr=False)
class _Canner:
    number: int
    burner_number: int
    burner: Burner
    free: int = 0
    used: bool = False


@dataclass(eq=False, repr=False)
class _Ring:
    """A burner for pots, and from when it is free."""

    number: int
    burner: Burner
    free: int = 0


@dataclass(eq=False, repr=False)
class _Hands:
    """One cook, and the spans in which these hands are busy, in order."""

    number: int
    busy: list[tuple[int, int]] = field(default_factory=list)

    def earliest(self, after: int, minutes: int) -> int:
        """The first minute from `after` on with so many minutes free."""
        start = after
        # The spans never overlap: of those that begin by `after` only the last can reach beyond it.
        for index in range(max(bisect_left(self.busy, (after + 1,)) - 1, 0), len(self.busy)):
            begin, end = self.busy[index]
            if begin >= start + minutes:
                break
            start = max(start, end)
        return start

    def take(self, start: int, minutes: int) -> None:
        if minutes:
            insort(self.busy, (start, start + minutes))


class _Chain(NamedTuple):
    """One cook from lighting the ring to the last jar filled, without a break."""

    start: int
    cook: int
    stir: int
    fills: tuple[int, ...]
    canners: tuple[_Canner, ...]
    ring: _Ring | None
    hands: _Hands

    @property
    def minutes(self) -> int:
        return self.cook + self.stir + sum(self.fills)


class Schedule:
    """The day as it grows, pot by pot."""

    def __init__(self, paces: Paces, duty: Duty) -> None:
        self.paces = paces
        self.canners = [_Canner(index, number, burner) for index, (number, burner) in enumerate(duty.canners, 1)]
        self.rings = [_Ring(number, burner) for number, burner in duty.pots]
        self.cooks = [_Hands(number) for number in range(1, duty.cooks + 1)]
        self.steps: list[Step] = []
        self.loads: list[PotLoad] = []
        self.pot, self.work = 0, PotWork("", (), 0)
        self.finish = 0

    def add(self, number: int, work: PotWork, loads: Sequence[Load]) -> None:
        """The next pot. A pot that may not wait has no more loads than there are canners."""
        self.pot, self.work = number, work
        washed = self._by_hand(StepKind.WASH, 0, self.paces.wash(work))
        at_once = loads[: 1 if work.may_wait else len(loads)]
        chain = self._earliest_chain(washed, at_once)
        filled = self._carry_out(chain, at_once)
        for load in loads[len(at_once) :]:
            filled = self._fill_later(load, filled)
        if chain.ring is not None:
            cooked = chain.start + chain.cook
            if work.may_wait:
                self._step(StepKind.POT_WAITS, cooked, filled, burner=chain.ring.number)
            chain.ring.free = filled if work.may_wait else cooked

    def _earliest_chain(self, washed: int, loads: Sequence[Load]) -> _Chain:
        """Where to cook, stir and fill without a break, into canners that are ready, done soonest."""
        canners = sorted(self.canners, key=self._order)[: len(loads)]
        stir, fills = self.paces.stir(self.work), self.paces.fills(self.work, loads)
        chains = []
        for ring in self.rings if self.work.kg > 0 else [None]:
            cook = self.paces.cook(self.work, ring.burner) if ring else 0
            earliest = max(ring.free if ring else 0, washed + self.paces.sterilise_minutes - cook - stir)
            for index, canner in enumerate(canners):
                earliest = max(earliest, self._ready(canner) - cook - stir - sum(fills[:index]))
            for hands in self.cooks:
                start = hands.earliest(earliest, cook + stir + sum(fills))
                chains.append(_Chain(start, cook, stir, fills, tuple(canners), ring, hands))
        return min(chains, key=lambda chain: chain.start + chain.cook)

    def _carry_out(self, chain: _Chain, loads: Sequence[Load]) -> int:
        """Write the chain down, and what its canners do after it. Returns when the last jar is filled."""
        hands, cooked = chain.hands, chain.start + chain.cook
        hands.take(chain.start, chain.minutes)
        burner = chain.ring.number if chain.ring else None
        self._step(StepKind.COOK, chain.start, cooked, burner=burner, cook=hands.number)
        now = cooked + chain.stir
        self._step(StepKind.STIR, cooked, now, cook=hands.number)
        if not loads:
            self._step(StepKind.FILL, now, now + chain.fills[0], cook=hands.number)
        begun = []
        for load, canner, minutes in zip(loads, chain.canners, chain.fills, strict=bool(loads)):
            begun.append((self._fill(load, canner, now, minutes, hands), load, canner, now + minutes))
            now += minutes
        for number, load, canner, filled in begun:  # after all filling, which has the cook without a break
            self._process(load, number, canner, filled)
        return chain.start + chain.minutes

    def _fill_later(self, load: Load, filled: int) -> int:
        """A further load of a pot that is kept hot, as soon as a canner is ready. Returns when it is filled."""
        canner = min(self.canners, key=self._order)
        minutes = self.paces.fill(load)
        hands, start = self._first_free(max(filled, self._ready(canner)), minutes)
        number = self._fill(load, canner, start, minutes, hands)
        self._process(load, number, canner, start + minutes)
        return start + minutes

    def _fill(self, load: Load, canner: _Canner, start: int, minutes: int, hands: _Hands) -> int:
        """Fill jars beside a canner that is ready just when the first jar is. Returns the load's number."""
        number = len(self.loads) + 1
        self.loads.append(PotLoad(number, self.pot, canner.number, load))
        self._step(StepKind.FILL, start, start + minutes, load=number, cook=hands.number)
        jars_in = start - self.paces.sterilise_minutes
        heat = self.paces.heat_water(self.work, canner.burner, first=not canner.used)
        for kind, begin, end in (
            (StepKind.HEAT, jars_in - heat, jars_in),
            (StepKind.STERILISE, jars_in, start),
            (StepKind.KEEP_HOT, start, start + minutes),
        ):
            self._step(kind, begin, end, load=number, burner=canner.burner_number, canner=canner.number)
        return number

    def _process(self, load: Load, number: int, canner: _Canner, filled: int) -> None:
        now = filled
        for kind, minutes in self.paces.in_canner(self.work, load, canner.burner):
            self._step(kind, now, now + minutes, load=number, burner=canner.burner_number, canner=canner.number)
            now += minutes
        canner.free = self._by_hand(StepKind.OUT, now, self.paces.lift(load), number, canner)
        canner.used = True

    def _ready(self, canner: _Canner) -> int:
        """The first minute at which this canner can be hot, with the jars in it sterile where they must be."""
        heat = self.paces.heat_water(self.work, canner.burner, first=not canner.used)
        return canner.free + heat + self.paces.sterilise_minutes

    def _order(self, canner: _Canner) -> tuple[int, int]:
        return self._ready(canner), canner.number

    def _first_free(self, after: int, minutes: int) -> tuple[_Hands, int]:
        """The cook who can do it soonest, now busy with it, and when it begins."""
        hands = min(self.cooks, key=lambda each: (each.earliest(after, minutes), each.number))
        start = hands.earliest(after, minutes)
        hands.take(start, minutes)
        return hands, start

    def _by_hand(
        self, kind: StepKind, after: int, minutes: int, load: int | None = None, canner: _Canner | None = None
    ) -> int:
        """Work for whichever cook is free first. Returns when it is done."""
        hands, start = self._first_free(after, minutes)
        self._step(
            kind,
            start,
            start + minutes,
            load=load,
            burner=canner.burner_number if canner else None,
            canner=canner.number if canner else None,
            cook=hands.number,
        )
        return start + minutes

    def _step(
        self,
        kind: StepKind,
        start: int,
        end: int,
        *,
        load: int | None = None,
        burner: int | None = None,
        canner: int | None = None,
        cook: int | None = None,
    ) -> None:
        if end > start:
            self.finish = max(self.finish, end)
            self.steps.append(Step(kind, start, end, self.pot, load, burner, canner, cook))
