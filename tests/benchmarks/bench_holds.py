"""How many holds a second the service places, beside raw INSERTs of the same rows under the same constraint.

    python -m tests.benchmarks.bench_holds [--holds 2000] [--strict]

Runs on a database of its own, made and dropped by the test runner: SQLite in a file, or the server that
DATABASE_URL names. Both sides write one hold of three days and its day of cleaning in a transaction of its own;
the raw side sends two INSERT statements with plain values and checks nothing. With `--strict` the exit status is 1
when the service reaches less than half.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from datetime import date, timedelta
from statistics import median
from time import perf_counter
from uuid import uuid4

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
django.setup()

from django.db import connection, transaction  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402
from django.utils import timezone  # noqa: E402

from club.core.clock import club_day  # noqa: E402
from inventory.equipment import services  # noqa: E402
from inventory.equipment.models import Hold, ThingDay  # noqa: E402
from tests.factories.equipment import make_keeper, make_thing  # noqa: E402
from tests.factories.members import make_person  # noqa: E402

DAYS = 3
GAP = DAYS + 1
ROUNDS = 5
A_THING_TAKES = 90
HOLD_COLUMNS = "thing_id, token, person_id, purpose, starts, ends, kept_until, state, placed_by_id, placed_at"


def spans(holds: int, things: int) -> list[tuple[int, date, date]]:
    """(number of the thing, first day, last day): none touches another."""
    today = club_day(timezone.now())
    per_thing = -(-holds // things)
    made = ((n // per_thing, today + timedelta(days=n % per_thing * GAP)) for n in range(holds))
    return [(thing, first, first + timedelta(days=DAYS - 1)) for thing, first in made]


def raw_place(thing_id: int, person_id: int, first: date, last: date) -> None:
    token, now = uuid4(), timezone.now()
    kept = last + timedelta(days=1)
    told = [thing_id, token.hex if connection.vendor == "sqlite" else token, person_id, "", first, last, kept]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {Hold._meta.db_table} ({HOLD_COLUMNS}) VALUES (%s,%s,%s,%s,%s,%s,%s,%s,%s,%s) RETURNING id",
            [*told, "held", person_id, now],
        )
        hold_id = cursor.fetchone()[0]
        rows = [(thing_id, first + timedelta(days=n), hold_id) for n in range(GAP)]
        marks = ",".join(["(%s,%s,%s)"] * len(rows))
        cursor.execute(
            f"INSERT INTO {ThingDay._meta.db_table} (thing_id, day, hold_id) VALUES {marks}",
            [value for row in rows for value in row],
        )


def per_second(place: Callable[[int, date, date], object], wanted: list[tuple[int, date, date]]) -> float:
    ThingDay.objects.all().delete()
    Hold.objects.all().delete()
    began = perf_counter()
    for thing, first, last in wanted:
        place(thing, first, last)
    took = perf_counter() - began
    assert ThingDay.objects.count() == len(wanted) * GAP, "rows are missing: nothing was measured"
    return len(wanted) / took


def measure(holds: int) -> tuple[float, float]:
    """Holds a second by the service and by raw INSERTs: the median of rounds that take turns."""
    keeper, person = make_keeper(), make_person()
    things = [make_thing(by=keeper, turnaround_own=1) for _ in range(-(-holds // A_THING_TAKES))]
    wanted = spans(holds, len(things))

    def by_service(n: int, first: date, last: date) -> Hold:
        return services.hold_place(by=person, thing=things[n], starts=first, ends=last)

    ours, raw = [], []
    for _ in range(ROUNDS):
        ours.append(per_second(by_service, wanted))
        raw.append(per_second(lambda n, first, last: raw_place(things[n].pk, person.pk, first, last), wanted))
    return median(ours), median(raw)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--holds", type=int, default=2000)
    parser.add_argument("--strict", action="store_true")
    options = parser.parse_args()
    made = setup_databases(verbosity=0, interactive=False)
    try:
        ours, raw = measure(options.holds)
    finally:
        teardown_databases(made, verbosity=0)
    print(f"{connection.vendor}: hold_place {ours:,.0f}/s, raw INSERTs {raw:,.0f}/s, ratio {ours / raw:.2f}")
    sys.exit(1 if options.strict and ours < raw / 2 else 0)


if __name__ == "__main__":
    main()
