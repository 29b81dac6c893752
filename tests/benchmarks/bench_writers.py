"""Twenty who write at once on SQLite: how many writes a second, how long one waits, and what a safe commit costs.

    python -m tests.benchmarks.bench_writers [--writers 20] [--presses 50] [--strict]

Each writer is a process of its own that moves jars in the ledger, one press after another, with no pause between: as
many at once as a club of 300 never has. Once with every commit on the disk (synchronous=FULL, as a club's site has it)
and once without (NORMAL). With `--strict` the exit status is 1 when one press was refused, or when the longest wait of
a press was beyond five seconds.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import uuid
from statistics import median
from time import perf_counter, time
from typing import Any

LONGEST_S = 5.0
HEAD_START_S = 4.0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--writers", type=int, default=20)
    parser.add_argument("--presses", type=int, default=50)
    parser.add_argument("--strict", action="store_true")
    parser.add_argument("--press-from", type=float, help=argparse.SUPPRESS)
    told = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
    os.environ.setdefault("LOG_LEVEL", "ERROR")
    if told.press_from:
        print(json.dumps(_press(told.presses, told.press_from)))
        return 0
    os.environ.pop("DATABASE_URL", None)
    is_well = True
    for synchronous in ("FULL", "NORMAL"):
        with tempfile.TemporaryDirectory(prefix="kettlehall-writers-") as folder:
            is_well &= _measure(folder, synchronous, told)
    return 1 if told.strict and not is_well else 0


def _measure(folder: str, synchronous: str, told: argparse.Namespace) -> bool:
    environment = os.environ | {"KETTLEHALL_DATA": folder, "BENCH_SYNCHRONOUS": synchronous}
    subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)
    argv = [sys.executable, "-m", "tests.benchmarks.bench_writers", "--presses", str(told.presses)]
    subprocess.run([*argv, "--press-from", "1"], env=environment, check=True, stdout=subprocess.DEVNULL)  # makes rows
    argv += ["--press-from", str(time() + HEAD_START_S + told.writers / 2)]
    children = [subprocess.Popen(argv, env=environment, stdout=subprocess.PIPE, text=True) for _ in range(told.writers)]
    found = [json.loads(child.communicate()[0]) for child in children]
    waits = sorted(wait for one in found for wait in one["waits"])
    refused = sum(one["refused"] for one in found)
    began, ended = min(one["began"] for one in found), max(one["ended"] for one in found)
    print(
        f"synchronous={synchronous}: {told.writers} writers, {len(waits)} presses, {refused} refused; "
        f"{len(waits) / (ended - began):,.0f} a second; a press waits {median(waits) * 1000:.0f} ms in the middle, "
        f"{waits[int(len(waits) * 0.99) - 1] * 1000:.0f} ms at the 99th of 100, {waits[-1] * 1000:.0f} ms at most"
    )
    return not refused and waits[-1] <= LONGEST_S


def _press(presses: int, begin_at: float) -> dict[str, Any]:
    """One writer: `begin_at` is a moment of the clock, so that all begin together."""
    from django.conf import settings

    commit = f"PRAGMA journal_mode=WAL; PRAGMA synchronous={os.environ['BENCH_SYNCHRONOUS']};"
    settings.DATABASES["default"]["OPTIONS"]["init_command"] = commit
    import django

    django.setup()
    from django.db import OperationalError

    from club.members.models import User
    from inventory.jars import services

    keeper = User.objects.filter(email="bench@example.test").first()
    keeper = keeper or User.objects.create_superuser("bench@example.test", name="Bench")
    store, person = services.store_place(), services.person_place(keeper)

    def move(reason: str, count: int, source: Any, target: Any) -> None:
        services.jars_move(
            by=keeper, reason=reason, size="pint", count=count, source=source, target=target, token=uuid.uuid4()
        )

    if begin_at == 1:
        for _ in range(20):
            move("bought", 9_999, services.outside_place("bought"), store)
        return {}
    waits, refused = [], 0
    while time() < begin_at:
        pass
    began = time()
    for _ in range(presses):
        pressed = perf_counter()
        try:
            move("lent", 1, store, person)
        except OperationalError:
            refused += 1
        waits.append(perf_counter() - pressed)
    return {"waits": waits, "refused": refused, "began": began, "ended": time()}


if __name__ == "__main__":
    sys.exit(main())
