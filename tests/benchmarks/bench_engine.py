"""How fast the engine is, beside a bare baseline in the same process.

    python -m tests.benchmarks.bench_engine [--strict]

Reads fixtures/library. A ratio says how many times longer than the baseline something took, so that two
machines can be compared. With `--strict` the exit status is 1 when something is over its limit.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from statistics import median
from time import perf_counter

from recipes.engine.jars import JAR_UNITS, SEVEN_QUART, UNIT_ML, jar_mix, jar_mixes
from recipes.engine.mass_balance import pot_balance
from recipes.engine.plan import PlanRequest, plan_batch
from recipes.engine.process import Process, process_choices, sizes_allowed
from recipes.engine.quantities import JAR_ML
from recipes.engine.schedule import USUAL_GEAR, day_timeline, pot_works
from recipes.engine.terms import Altitude, Method, Pack, TestedRecipe
from recipes.library import read_library

ROOT = Path(__file__).resolve().parents[2]
LIBRARY = ROOT / "fixtures" / "library"
FEET = (0, 1001, 3412, 6001, 8500)
SIX_SIZES = ("quart", "pint-and-half", "pint", "twelve-ounce", "half-pint", "quarter-pint")
HOME = Altitude.from_feet(3412)

# Each in a process of its own, after what a bare Python script of this kind imports anyway.
BARE = "bisect, collections.abc, dataclasses, enum, fractions, functools, itertools, math, re, typing"
ENTRY = "recipes.engine.plan"
CHANGES = f"{ENTRY}, recipes.engine.changes"
# Processor time, so that others at work on the machine do not count.
SECONDS = """
from time import process_time
start = process_time()
import {bare}
between = process_time()
import {engine}
print(between - start, process_time() - between)
"""
BYTES = """
import {bare}, tracemalloc
tracemalloc.start()
import {engine}
print(tracemalloc.get_traced_memory()[1])
"""


@dataclass(frozen=True)
class Result:
    """One line of the report, in `unit`; `ratio` is to its baseline."""

    what: str
    value: float
    unit: str
    limit: float
    ratio: str

    @property
    def within(self) -> bool:
        return self.value <= self.limit

    def __str__(self) -> str:
        verdict = "within" if self.within else "OVER"
        return (
            f"{self.what:<46} {self.value:>8.2f} {self.unit:<2} {verdict:>6} {self.limit:g} {self.unit:<3} {self.ratio}"
        )


def main() -> int:
    recipes = [entry.recipe for entry in read_library([LIBRARY]).recipes if entry.recipe.is_tested]
    bare = typical(bare_baseline for _ in range(50))
    print(f"baseline: a thousand exact products and sums, {bare * 1000:.2f} ms; {len(recipes)} recipes\n")
    results = [*timed(recipes, bare), *imported()]
    for result in results:
        print(result)
    return 1 if "--strict" in sys.argv[1:] and not all(result.within for result in results) else 0


def timed(recipes: list[TestedRecipe], bare: float) -> Iterator[Result]:
    jam = next(recipe for recipe in recipes if recipe.slug == "strawberry-jam-liquid")
    yield in_ms("one plan, median", typical((lambda: plan_at(jam, HOME)) for _ in range(200)), 2, bare)
    whole = took(lambda: [plan_at(recipe, Altitude.from_feet(feet)) for recipe in recipes for feet in FEET])
    yield Result(f"the library at {len(FEET)} altitudes", whole, "s", 1, f"{whole / bare:.1f} x baseline")
    mixes = [took(mix) for mix in mixes_of_two_hundred(300)]
    yield in_ms("jar mix, 200 jars of 6 sizes, median", median(mixes), 1, bare)
    yield in_ms("jar mix, 19 of 20 take no longer than", sorted(mixes)[len(mixes) * 19 // 20], 10, bare)
    yield in_ms("a day of three pots, median", typical(three_pots(jam) for _ in range(50)), 2, bare)


def bare_baseline() -> Fraction:
    total = Fraction(0)
    for number in range(1, 1001):
        total += Fraction(number, 16) * Fraction(3, 4)
    return total


def plan_at(recipe: TestedRecipe, altitude: Altitude) -> object:
    return plan_batch(recipe, PlanRequest(altitude=altitude, pots=2, pack=a_pack(recipe), canner=a_canner(recipe)))


def a_pack(recipe: TestedRecipe) -> Pack | None:
    return next(iter(process_choices(recipe.process).packs), None)


def a_canner(recipe: TestedRecipe):
    return next(iter(process_choices(recipe.process).canners), None)


def mixes_of_two_hundred(times: int) -> Iterator[Callable[[], object]]:
    """Other volumes and other empties each time, the same on every run; small jars and large of two times."""
    chance = random.Random(7)
    allowed = {size: Process(Method.BOILING_WATER, 10 + 5 * (JAR_ML[size] > JAR_ML["pint"])) for size in SIX_SIZES}
    for _ in range(times):
        cuts = sorted(chance.sample(range(1, 200), len(SIX_SIZES) - 1))
        empties = dict(zip(SIX_SIZES, map(int.__sub__, [*cuts, 200], [0, *cuts]), strict=True))
        most = sum(JAR_UNITS[size] * count for size, count in empties.items())
        volume = UNIT_ML * chance.randint(1, most) + chance.randint(0, 100)
        yield lambda volume=volume, empties=empties: jar_mix(volume, allowed, SEVEN_QUART, empties)


def three_pots(recipe: TestedRecipe) -> Callable[[], object]:
    found = sizes_allowed(recipe.process, pack=Pack.HOT, canner=None, altitude=HOME)
    allowed = {size: Process.of(process) for size, process in found.items()}
    mixes = jar_mixes(JAR_ML["half-pint"] * 8, 3, allowed, SEVEN_QUART)
    assert isinstance(mixes, tuple)
    pots = pot_works(recipe, mixes, pot_balance(recipe), pack=Pack.HOT)
    return lambda: day_timeline(pots, allowed, USUAL_GEAR, HOME)


def imported() -> Iterator[Result]:
    """The engine's import in a fresh process with its bytecode there, and the memory that it takes at most."""
    with tempfile.TemporaryDirectory() as cache:
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": cache, "PYTHONDONTWRITEBYTECODE": ""}
        for what, engine in (("the engine: plan", ENTRY), ("plan and changes", CHANGES)):
            runs = [fresh(SECONDS, engine, environment) for _ in range(12)][1:]  # the first writes the bytecode
            bare, seconds = min(run[0] for run in runs), min(run[1] for run in runs)
            ratio = f"{seconds / bare:.1f} x the standard library's part"
            yield Result(f"import of {what}, best of 11", seconds * 1000, "ms", 30, ratio)
            (size,) = fresh(BYTES, engine, environment)
            yield Result(f"memory of {what}", size / 1e6, "MB", 10, "")


def fresh(script: str, engine: str, environment: dict[str, str]) -> tuple[float, ...]:
    """The numbers that a script prints in a process of its own."""
    command = [sys.executable, "-c", script.format(bare=BARE, engine=engine)]
    run = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=True)
    return tuple(float(number) for number in run.stdout.split())


def in_ms(what: str, seconds: float, limit_ms: float, bare: float) -> Result:
    return Result(what, seconds * 1000, "ms", limit_ms, f"{seconds / bare:.2f} x baseline")


def typical(works: Iterable[Callable[[], object]]) -> float:
    return median(took(work) for work in works)


def took(work: Callable[[], object]) -> float:
    start = perf_counter()
    work()
    return perf_counter() - start


if __name__ == "__main__":
    sys.exit(main())
