"""How long the engine thinks about plans at the edge of what a page lets somebody ask.

    python -m tests.benchmarks.bench_plans [--plans 2000] [--seed 17] [--strict]

Plans of every tested recipe with large and odd numbers, and how the day grows with the loads. Seconds are those of this
process (CPU), so that a busy machine tells little less than a quiet one. With `--strict` the exit status is 1 where one
plan took half a second or more, or twice the loads more than three times as long.
"""

from __future__ import annotations

import argparse
import sys
from statistics import median
from time import process_time

from recipes.engine.plan import PlanRequest, plan_batch
from recipes.engine.terms import Canner, Pack
from tests.recipes.engine.days import HOME
from tests.recipes.engine.test_work import PLUMS, requests

WORST_S, TWICE = 0.5, 3.0
LOADS = (7, 15, 30, 60)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--plans", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--strict", action="store_true")
    told = parser.parse_args()
    took = []
    planned = 0
    for recipe, wanted in requests(told.plans, seed=told.seed):
        began = process_time()
        found = plan_batch(recipe, wanted)
        took.append((process_time() - began, recipe.slug, wanted))
        planned += found.day is not None
    took.sort(key=lambda one: -one[0])
    seconds = [one for one, _slug, _wanted in took]
    print(f"{told.plans} plans, {planned} with a day: median {median(seconds) * 1000:.1f} ms,", end=" ")
    print(f"99 of 100 under {seconds[len(seconds) // 100] * 1000:.0f} ms, worst {seconds[0] * 1000:.0f} ms")
    print(f"the worst: {took[0][1]}, {took[0][2]}")
    days = [_day(loads) for loads in LOADS]
    print("; ".join(f"{loads} loads {day * 1000:.0f} ms" for loads, day in zip(LOADS, days, strict=True)))
    steepest = max(later / earlier for earlier, later in zip(days, days[1:], strict=False))
    print(f"twice the loads take at most {steepest:.1f} times as long (bound {TWICE:.0f})")
    return 1 if told.strict and (seconds[0] >= WORST_S or steepest > TWICE) else 0


def _day(loads: int) -> float:
    """Of so many pots, each a load, at a stove of four burners with two canners and two cooks; the best of three."""
    wanted = PlanRequest(
        altitude=HOME, pots=loads, jar="quart", pack=Pack.HOT, canner=Canner.BOILING_WATER, canners=2, cooks=2
    )
    took = []
    for _ in range(3):
        began = process_time()
        assert len(plan_batch(PLUMS, wanted).loads) == loads
        took.append(process_time() - began)
    return min(took)


if __name__ == "__main__":
    sys.exit(main())
