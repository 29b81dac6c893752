"""The day's timeline: pots, canner loads and hands, so that nothing does two things at once and no jam waits.

Of all ways to give the burners their duties (some of them none), the one that ends soonest is taken, and among
those the one that needs least; so one more burner, canner or cook never makes a day longer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from recipes.engine.day_least import Least
from recipes.engine.loads import Load, Process, canner_loads
from recipes.engine.physics import Burner
from recipes.engine.process import altitude_refusal
from recipes.engine.rules import day_refusal
from recipes.engine.schedule.burners import Duty, Schedule
from recipes.engine.schedule.day import Paces
from recipes.engine.schedule.terms import Gear, PotWork, Timeline
from recipes.engine.terms import Altitude, Canner, Method, Refusal

MOST_BURNERS = 6  # of one kitchen, so that every duty can be tried
MOST_COOKS = 4  # who can find work in one kitchen; more are not given any

MOST_TRIES = 600  # pots that are put into a day to find the shortest, over all ways to use the burners

Numbered = tuple[int, Burner]


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
