"""How many jar movements a second, beside raw INSERTs of the same row on the same database, in one run.

    python -m tests.benchmarks.bench_ledger [--movements 1000] [--strict]

On the database that the settings name; everything is rolled back, or on SQLite done in a file of its own. Each
movement is a transaction of its own, as is each INSERT. With `--strict` the exit status is 1 when the ledger
manages less than a fifth of the raw INSERTs: a movement is one INSERT, two balances and their checks.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import uuid
from time import perf_counter

LEAST = 0.2


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--movements", type=int, default=1000)
    parser.add_argument("--strict", action="store_true")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if "DATABASE_URL" not in os.environ:
            os.environ["KETTLEHALL_DATA"] = folder
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
        import django

        django.setup()
        from django.test.utils import setup_databases, teardown_databases

        config = setup_databases(verbosity=0, interactive=False)
        try:
            return measure(told.movements, strict=told.strict)
        finally:
            teardown_databases(config, verbosity=0)


def measure(movements: int, *, strict: bool) -> int:
    from django.db import connection, transaction
    from django.utils import timezone

    from club.members.models import User
    from inventory.jars import services
    from inventory.jars.models import Movement

    keeper = User.objects.create_superuser("bench@example.test", name="Bench")
    store, person = services.store_place(), services.person_place(keeper)
    bought = services.outside_place("bought")
    now = timezone.now()

    def move(reason: str, count: int, source: object, target: object) -> Movement:
        return services.jars_move(
            by=keeper, reason=reason, size="pint", count=count, source=source, target=target, token=uuid.uuid4()
        )

    first = move("bought", 9_999, bought, store)
    row = {field.column: field.get_db_prep_save(getattr(first, field.attname), connection) for field in _fields()}
    columns = list(row)
    marks = ", ".join(["%s"] * len(columns))
    insert = f"INSERT INTO jars_movement ({', '.join(columns)}) VALUES ({marks})"
    token = Movement._meta.get_field("token")

    began = perf_counter()
    for _n in range(movements):
        row["token"] = token.get_db_prep_save(uuid.uuid4(), connection)
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(insert, list(row.values()))
    raw = movements / (perf_counter() - began)

    began = perf_counter()
    for _n in range(movements):
        move("lent", 1, store, person)
    ours = movements / (perf_counter() - began)

    ratio = ours / raw
    print(f"{connection.vendor}, {movements} each, {now:%Y-%m-%d}")
    print(f"raw INSERTs       {raw:10,.0f} a second")
    print(f"jars_move         {ours:10,.0f} a second")
    print(f"ratio             {ratio:10.2f}   (least wanted {LEAST})")
    return 1 if strict and ratio < LEAST else 0


def _fields() -> list[object]:
    from inventory.jars.models import Movement

    return [field for field in Movement._meta.concrete_fields if not field.primary_key]


if __name__ == "__main__":
    sys.exit(main())
