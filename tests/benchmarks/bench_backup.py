"""A backup while people write, the database wiped, all of it back: how long, how much memory, every row the same.

    KETTLEHALL_DATA=... python -m tests.benchmarks.bench_backup FILE --wipe [--writers 4]

On the database that the settings name, with whatever is in it (a demo, a season of `seed_season`), while no site runs
on it. What the writers do after the backup's moment is gone afterwards. Exit status 1 where a row differs.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter
from uuid import uuid4

MEGABYTE = 1_000_000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--wipe", action="store_true", help="yes, this database may be wiped")
    parser.add_argument("--writers", type=int, default=4)
    parser.add_argument("--writer", type=int, help=argparse.SUPPRESS)
    told = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
    import django

    django.setup()
    if told.writer is not None:
        return write_until_told(told.writer)
    if not told.wipe:
        parser.error("the database is wiped on the way: say --wipe")
    return drill(told.file, writers=told.writers)


def write_until_told(number: int) -> int:
    """Jars bought and broken, a movement after the other, until the input ends; then how many."""
    import threading

    from club.members.models import User
    from inventory.jars import services

    is_over = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), is_over.set()), daemon=True).start()
    keeper = User.objects.create_superuser(f"writer-{number}-{uuid4().hex[:8]}@example.test", name=f"Writer {number}")
    store, bought, broken = services.store_place(), services.outside_place("bought"), services.outside_place("broken")
    moved = 0
    while not is_over.is_set():
        reason, source, target = [("bought", bought, store), ("broken", store, broken)][moved % 2]
        services.jars_move(by=keeper, reason=reason, size="pint", count=2, source=source, target=target, token=uuid4())
        moved += 1
        if moved == 1:
            print("at work", flush=True)
    print(moved)
    return 0


def drill(file: Path, *, writers: int) -> int:
    from club.run.backup import backup_write
    from club.run.restore import archive_open, archive_restore, differences

    command = [sys.executable, "-m", "tests.benchmarks.bench_backup", str(file), "--writer"]
    at_work = [
        subprocess.Popen([*command, str(number)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for number in range(writers)
    ]
    for writer in at_work:
        writer.stdout.readline()  # it is at work
    began = perf_counter()
    manifest = backup_write(file)
    took = perf_counter() - began
    moved = [int(writer.communicate()[0]) for writer in at_work]
    plain = sum(table.bytes for table in manifest.tables) / MEGABYTE
    print(f"backed up {manifest.rows:,} rows in {took:.1f} s while {writers} writers moved jars {sum(moved):,} times")
    print(f"{file.stat().st_size / MEGABYTE:.1f} MB, {plain:.1f} MB unpacked; {memory_mb():.0f} MB of memory at most")
    with archive_open(file) as archive:
        began = perf_counter()
        done = archive_restore(archive, replace=True, now=datetime.now(UTC))
        print(f"restored in {perf_counter() - began:.1f} s, audits passed: {', '.join(done.audits)}")
        began = perf_counter()
        found = differences(archive)
        print(f"compared row by row in {perf_counter() - began:.1f} s; {memory_mb():.0f} MB of memory at most")
    print("\n".join(found) or "every row is the same")
    return 1 if found or not all(moved) else 0


def memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / MEGABYTE


if __name__ == "__main__":
    sys.exit(main())
