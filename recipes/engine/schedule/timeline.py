"""The day's timeline: pots, canner loads and hands, so that nothing does two things at once and no jam waits.

Of all ways to give the burners their duties (some of them none), the one that ends soonest is taken, and among
those the one that needs least; so one more burner, canner or cook never makes a day longer.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import ceil
from typing import NamedTuple

from recipes.engine.loads import Load, Process, canner_loads
from recipes.engine.physics import Burner
from recipes.engine.process import altitude_refusal
from recipes.engine.rules import day_refusal
from recipes.engine.schedule.day import Paces
from recipes.engine.schedule.terms import Gear, PotLoad, PotWork, Step, StepKind, Timeline
from recipes.engine.terms import Altitude, Canner, Method, Refusal

MOST_BURNERS = 6  # of one kitchen, so that every duty can be tried
MOST_COOKS = 4  # who can find work in one kitchen; more are not given any

MOST_TRIES = 600  # pots that are put into a day to find the shortest, over all ways to use the burners

Numbered = tuple[int, Burner]


class Duty(NamedTuple):
    """Which burners (numbers from 1) stand under canners and which under pots, and how many cooks work."""

    canners: tuple[tuple[int, Burner], ...]
    pots: tuple[tuple[int, Burner], ...]
    cooks: int


def day_timeline(
    pots: Sequence[PotWork],
    processes: Mapping[str, Process],
    gear: Gear,
    altitude: Altitude | None,
    *,
    sterilise_minutes: int = 0,
    finish: int | None = None,
    earliest: int | None = None,
) -> Timeline | Refusal:
    """The day from minute 0 on, or, with a `finish`, back from that minute and not before `earliest`.

    `processes` names the tested process of each jar size; it is empty where nothing is processed (freezer).
    `sterilise_minutes` is 0 where empty jars need only be clean and hot.
    """
    if (problem := altitude_refusal(altitude)) is not None:
        return problem
    assert altitude is not None  # noqa: S101 - refused above
    loads = _loads_by_pot(pots, processes, gear)
    if isinstance(loads, Refusal):
        return loads
    if (problem := _gear_refusal(pots, loads, gear)) is not None:
        return problem
    day = _soonest(pots, loads, Paces(gear, altitude, sterilise_minutes if processes else 0))
    return day if finish is None else _ending_at(day, finish, earliest)


def timeline_as_list(timeline: Timeline) -> list[dict[str, object]]:
    """The steps as plain values for JSON; minutes count from the start of the day."""
    return [
        {
            "what": step.kind.value,
            "start_min": step.start,
            "end_min": step.end,
            "pot": step.pot,
            "load": step.load,
            "burner": step.burner,
            "canner": step.canner,
            "cook": step.cook,
        }
        for step in timeline.steps
    ]


def _loads_by_pot(
    pots: Sequence[PotWork], processes: Mapping[str, Process], gear: Gear
) -> list[tuple[Load, ...]] | Refusal:
    found: list[tuple[Load, ...]] = []
    for pot in pots:
        counts = {jar.size: jar.count for jar in pot.jars} if processes else {}
        loads = canner_loads(counts, processes, gear.capacity)
        if isinstance(loads, Refusal):
            return loads
        found.append(loads)
    return found


def _gear_refusal(pots: Sequence[PotWork], loads: Sequence[Sequence[Load]], gear: Gear) -> Refusal | None:
    if not pots:
        return day_refusal("no-pots", "POT-ALONE", "There is nothing to cook: plan at least one pot.")
    if gear.cooks < 1:
        return day_refusal("no-cook", "NO-WAIT", "Nobody is there to cook. Add at least one cook.")
    if len(gear.burners) > MOST_BURNERS:
        return day_refusal(
            "too-many-burners", "BURNER-EACH", f"Plan for at most {MOST_BURNERS} burners at a time, one kitchen each."
        )
    every = [load for of_pot in loads for load in of_pot]
    return _canner_refusal(every, gear) or _burner_refusal(pots, every, gear) or _wait_refusal(pots, loads, gear)


def _canner_refusal(loads: Sequence[Load], gear: Gear) -> Refusal | None:
    if not loads:
        return None
    if gear.canners < 1:
        return day_refusal(
            "no-canner", "LOAD-CAPACITY", "These jars are processed, and there is no canner. Borrow one."
        )
    needed = Method.BOILING_WATER if gear.kind is Canner.BOILING_WATER else Method.PRESSURE
    if any(load.process.method is not needed for load in loads):
        return day_refusal(
            "canner-kind",
            "LOAD-PROCESS",
            f"These jars are not processed in a {gear.kind.value} canner. Take the other.",
        )
    return None


def _burner_refusal(pots: Sequence[PotWork], loads: Sequence[Load], gear: Gear) -> Refusal | None:
    needed = (1 if loads else 0) + (1 if any(pot.kg > 0 for pot in pots) else 0)
    if len(gear.burners) >= needed:
        return None
    if not gear.burners:
        return day_refusal("no-burner", "BURNER-EACH", "There is no burner to cook on. Add at least one.")
    return day_refusal(
        "one-burner",
        "BURNER-EACH",
        "One burner cannot heat a canner and cook a pot: the pot would wait for water. Find a second burner.",
    )


def _wait_refusal(pots: Sequence[PotWork], loads: Sequence[Sequence[Load]], gear: Gear) -> Refusal | None:
    """A spread goes into canners at once: as many as its jars need."""
    canners = _canners_at_most(pots, gear)
    for pot, of_pot in zip(pots, loads, strict=True):
        if not pot.may_wait and len(of_pot) > canners:
            return day_refusal(
                "pot-over-canner",
                "NO-WAIT",
                f"The jars of {pot.name} need {len(of_pot)} canner loads at once, and {canners} can be hot. Use jars "
                f"that fit one load, another canner and burner, or put what does not fit into the refrigerator.",
            )
    return None


def _canners_at_most(pots: Sequence[PotWork], gear: Gear) -> int:
    cooking = any(pot.kg > 0 for pot in pots)
    return min(gear.canners, len(gear.burners) - (1 if cooking else 0))


def _soonest(pots: Sequence[PotWork], loads: Sequence[tuple[Load, ...]], paces: Paces) -> Timeline:
    """The day that ends soonest; of equal ones that of the first duty, which needs least.

    What promises most is tried first, and nothing that cannot be better any more. After MOST_TRIES pots in all the
    best found so far is taken: each is a sound day, only perhaps not the shortest.
    """
    least = Least(paces, pots, loads)
    duties = sorted((least.finish(duty), order, duty) for order, duty in enumerate(_duties(pots, loads, paces.gear)))
    best: tuple[int, int, Schedule] | None = None
    tries = 0
    for promised, order, duty in duties:
        if best is not None and (tries >= MOST_TRIES or promised > best[0]):
            break
        schedule = Schedule(paces, duty)
        for number, (pot, of_pot) in enumerate(zip(pots, loads, strict=True), 1):
            schedule.add(number, pot, of_pot)
            tries += 1
            if best is not None and (schedule.finish, order) >= best[:2]:
                break  # further pots only make it longer
        else:
            best = schedule.finish, order, schedule
    assert best is not None  # noqa: S101 - the refusals have seen to it that there is a duty
    found = best[2]
    steps = sorted(found.steps, key=lambda step: (step.start, step.end, step.pot, step.load or 0))
    return Timeline(tuple(steps), tuple(found.loads), 0, found.finish)


def _duties(pots: Sequence[PotWork], loads: Sequence[Sequence[Load]], gear: Gear) -> Iterator[Duty]:
    """Every way to use burners and cooks that could matter, from the fewest on; burners that are alike count once.

    A cook stays with a pot, so there are no more pots on the heat than cooks, but for those kept hot for a canner.
    """
    cooked = sum(1 for pot in pots if pot.kg > 0)
    waiting = any(pot.may_wait for pot in pots)
    at_once = max((len(of_pot) for pot, of_pot in zip(pots, loads, strict=True) if not pot.may_wait), default=0)
    total = sum(map(len, loads))
    burners: list[Numbered] = sorted(enumerate(gear.burners, 1), key=lambda each: (-each[1].usable_watts, each[0]))
    most_canners = min(_canners_at_most(pots, gear), total)
    for cooks in range(1, min(gear.cooks, MOST_COOKS) + 1):
        for canners in range(max(at_once, min(1, total)), most_canners + 1):
            most_pots = min(cooked, cooks + (canners if waiting else 0))
            for under_canners in _unlike(burners, canners):
                rest = [burner for burner in burners if burner not in under_canners]
                for count in range(min(1, cooked), min(len(rest), most_pots) + 1):
                    yield from (Duty(under_canners, under_pots, cooks) for under_pots in _unlike(rest, count))


def _unlike(burners: Sequence[Numbered], count: int) -> Iterator[tuple[Numbered, ...]]:
    seen = set()
    for chosen in combinations(burners, count):
        alike = tuple(burner for _, burner in chosen)
        if alike not in seen:
            seen.add(alike)
            yield chosen


def _ending_at(day: Timeline, finish: int, earliest: int | None) -> Timeline | Refusal:
    start = finish - day.minutes
    if earliest is not None and start < earliest:
        return day_refusal(
            "not-enough-time",
            "FINISH",
            f"This takes {day.minutes} minutes, {earliest - start} more than there are. Finish later, cook fewer pots, "
            f"or find more canners, burners or hands.",
        )
    moved = tuple(step._replace(start=step.start + start, end=step.end + start) for step in day.steps)
    return Timeline(moved, day.loads, start, finish)


# The shortest that a day can be.


class Least:
    """How soon a day can end at best with a duty, reckoned without planning it: never later than its true end.

    A day waits for three things, each reckoned on its own: canners, rings and hands.
    """

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
    known = list(places)
    if not known or not count:
        return 0
    together = ceil(min(total for total, _ in known) / len(known))
    at_full_pace = count / sum(1 / shortest for _, shortest in known)
    return max(together, ceil(at_full_pace - 1e-9))


# The day as it grows: each burner has one duty, under a canner or under a pot. Pots are taken in the order given, each
# as early as it can be without waiting once it is cooked.


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
