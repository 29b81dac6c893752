"""Two hundred members at once on the main pages: errors, waits, and pages for each second of the servers' CPU.

    python -m tests.benchmarks.bench_members DATABASE_URL [--members 200] [--pages 10] [--conn-max-age 60] [--strict]

On a database laid down by `seed_season`, under gunicorn as production runs it. Each member has one connection that
stays open and asks again as soon as the answer is there, which is far more than a member does. CPU is that of gunicorn
and its workers, so that what else the machine does counts little; a database server's own is not in it. With
`--strict` the exit status is 1 on any answer but 200, or where the main pages give less than a third of the bare
view's answers for each second of CPU.
"""

from __future__ import annotations

import argparse
import http.client
import os
import socket
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from time import monotonic, perf_counter, sleep
from typing import Any

SHARE = 1 / 3
BARE = "/bare/"
MAIN = ("/", "/recipes/", "/batches/", "/pantry/", "/equipment/", "/classes/", "/sharing/", "/people/me/")
TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Measured:
    """All members' answers at one or several addresses: waits in seconds, CPU seconds of the servers."""

    waits: list[float]
    statuses: Counter[str]
    cpu: float

    @property
    def a_cpu_second(self) -> float:
        return self.statuses["200"] / self.cpu


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("url", metavar="DATABASE_URL")
    parser.add_argument("--members", type=int, default=200)
    parser.add_argument("--pages", type=int, default=8, help="How many each member asks for.")
    parser.add_argument("--conn-max-age", type=int, default=60, help="0: a connection to the database for each page.")
    parser.add_argument("--strict", action="store_true")
    told = parser.parse_args()
    given = {"DATABASE_URL": told.url, "SECRET_KEY": "of a benchmark", "LOG_LEVEL": "ERROR"}
    os.environ |= given | {"DJANGO_SETTINGS_MODULE": "club.settings"}
    os.environ["BENCH_CONN_MAX_AGE"] = str(told.conn_max_age)
    cookies = _sign_in(told.members)
    with tempfile.TemporaryDirectory(prefix="kettlehall-members-") as folder, socket.create_server(("", 0)) as free:
        port = free.getsockname()[1]
        free.close()
        os.environ["KETTLEHALL_DATA"] = folder
        argv = [sys.executable, "-m", "gunicorn", "--config", "python:club.run.web", "--bind", f"127.0.0.1:{port}"]
        server = subprocess.Popen([*argv, "tests.benchmarks.bare_wsgi"])
        try:
            return _report(port, cookies, told, server.pid)
        finally:
            server.terminate()
            server.wait(30)


def _sign_in(members: int) -> list[str]:
    import django

    django.setup()
    from django.conf import settings
    from django.test import Client

    from club.members.models import User

    people = list(User.objects.filter(is_active=True, email__endswith="@season.example").order_by("pk")[:members])
    if len(people) < members:
        raise SystemExit(f"Only {len(people)} members are there: lay down a season first.")
    cookies = []
    for person in people:
        client = Client()
        client.force_login(person)
        cookies.append(f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}")
    return cookies


def _report(port: int, cookies: list[str], told: argparse.Namespace, master: int) -> int:
    _until_it_answers(port)
    _all_at_once(port, cookies[:8], [BARE, *MAIN], 9, master)  # what a worker's first pages cost is no part of it
    bare = _all_at_once(port, cookies, [BARE], told.pages, master)
    shares, is_well = [], True
    for what, addresses in (("bare view", [BARE]), ("main pages", list(MAIN))):
        found = bare if addresses == [BARE] else _all_at_once(port, cookies, addresses, told.pages, master)
        shares.append(found.a_cpu_second / bare.a_cpu_second)
        waits = sorted(found.waits)
        others = {status: count for status, count in found.statuses.items() if status != "200"}
        is_well &= not others
        print(
            f"{what:12} {found.a_cpu_second:6.0f} a CPU second, {shares[-1]:5.2f} of the bare view; waits "
            f"{median(waits) * 1000:5.0f} ms in the middle, {waits[int(len(waits) * 0.99) - 1] * 1000:5.0f} ms at the "
            f"99th of 100; {len(waits)} answers, {sum(others.values())} errors {others or ''}",
            flush=True,
        )
    return 1 if told.strict and (not is_well or shares[-1] < SHARE) else 0


def _until_it_answers(port: int) -> None:
    until = monotonic() + 60
    while monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
        except OSError:
            sleep(0.2)
        else:
            return
    raise SystemExit("The server did not start.")


def _all_at_once(port: int, cookies: list[str], addresses: list[str], pages: int, master: int) -> Measured:
    before = _cpu_of(master)
    with ThreadPoolExecutor(len(cookies)) as pool:
        found = list(pool.map(lambda n: _one_member(port, cookies[n], addresses, pages, n), range(len(cookies))))
    cpu = _cpu_of(master) - before
    statuses = Counter(status for _waits, seen in found for status in seen)
    return Measured([wait for waits, _seen in found for wait in waits], statuses, cpu)


def _one_member(port: int, cookie: str, addresses: list[str], pages: int, first: int) -> tuple[list[float], list[str]]:
    waits, statuses = [], []
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    for n in range(pages):
        began = perf_counter()
        try:
            address = addresses[(first + n) % len(addresses)]
            line.request("GET", address, headers={"Cookie": cookie, "Accept-Encoding": "gzip"})
            answer = line.getresponse()
            answer.read()
            statuses.append(str(answer.status))
        except (OSError, http.client.HTTPException) as error:
            statuses.append(type(error).__name__)
            line.close()
        waits.append(perf_counter() - began)
    line.close()
    return waits, statuses


def _cpu_of(master: int) -> float:
    """Seconds that gunicorn and its workers have computed so far."""
    found: Any = 0.0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it has ended since
        if int(stat.parent.name) == master or int(fields[1]) == master:
            found += (int(fields[11]) + int(fields[12])) / TICKS
    return float(found)


if __name__ == "__main__":
    sys.exit(main())
