"""Every GET page as each role of the demo, beside a bare view behind the same sign-in, at demo and at season size.

    python -m tests.benchmarks.bench_pages DEMO_URL SEASON_URL [--rounds 5] [--rows 20] [--only /jars/] [--strict]

Two databases: one with the demo alone (`migrate`, `load_library`, `load_demo`; without DATABASE_URL, so it is the file
in KETTLEHALL_DATA), one laid down by `seed_season`. Links are followed as each person, one address for each view. A
page's time is its best of the rounds, each beside one of the bare view, in one process and without a network; what is
written is taken back. Growth is the slope in logarithms of that ratio over the number of jars. Files to take away are
told apart from pages.

With `--strict` the exit status is 1 where a bound is missed: the median page at most 4 times the bare view, the worst
at most 12, growth at most 0.05, no more queries at season size than at demo size, gathering under half a second.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
from collections import deque
from dataclasses import asdict, dataclass
from html.parser import HTMLParser
from math import log
from statistics import median
from time import perf_counter
from typing import Any
from urllib.parse import urljoin, urlsplit

MEDIAN, WORST, GROWTH, GATHERING_S = 4.0, 12.0, 0.05, 0.5


@dataclass(frozen=True)
class Measured:
    """One page as one role: its best and the bare view's in seconds, its queries and its bytes."""

    role: str
    view: str
    address: str
    seconds: float
    bare: float
    queries: int
    length: int
    is_file: bool

    @property
    def ratio(self) -> float:
        return self.seconds / self.bare


class Links(HTMLParser):
    def __init__(self, address: str, text: str) -> None:
        super().__init__()
        self.address, self.found = address, list[str]()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        href = dict(attrs).get("href") if tag == "a" else None
        if href:
            self.found.append(urljoin(self.address, href).partition("#")[0])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("urls", nargs="+", metavar="DATABASE_URL")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--rows", type=int, default=20, help="How many of the worst are shown.")
    parser.add_argument("--only", default="", help="Addresses that begin so.")
    parser.add_argument("--strict", action="store_true")
    parser.add_argument("--measure", action="store_true", help=argparse.SUPPRESS)
    told = parser.parse_args()
    if told.measure:
        print(json.dumps(measure(told.rounds, told.only)))
        return 0
    found = [_in_a_process(url, told) for url in told.urls]
    return report(found, rows=told.rows, strict=told.strict)


def _in_a_process(url: str, told: argparse.Namespace) -> dict[str, Any]:
    argv = [sys.executable, "-m", "tests.benchmarks.bench_pages", url, "--measure"]
    argv += ["--rounds", str(told.rounds), "--only", told.only]
    given = os.environ | {"SECRET_KEY": "of a benchmark", "LOG_LEVEL": "CRITICAL", "DATABASE_URL": url}
    made = subprocess.run(argv, env=given, stdout=subprocess.PIPE, check=True)
    answer: dict[str, Any] = json.loads(made.stdout)
    return answer


def measure(rounds: int, only: str) -> dict[str, Any]:
    """In a process of its own, whose settings name the database."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
    import logging

    import django
    from django.conf import settings

    logging.disable(logging.ERROR)  # who may not see a page is told so; it is no fault of the page
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}
    settings.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    settings.ROOT_URLCONF = "tests.benchmarks.bare_urls"
    settings.ALLOWED_HOSTS.append("testserver")
    settings.SECURE_SSL_REDIRECT = False
    django.setup()

    from django.db import transaction
    from django.utils import timezone

    from club.reminders.outbox import gather
    from club.run.demo import SIGN_INS
    from inventory.batches.models import Jar

    pages: list[dict[str, Any]] = []
    with transaction.atomic():
        gathered = gather(timezone.now())
        took = []
        for _ in range(rounds):
            began = perf_counter()
            gather(timezone.now())
            took.append(perf_counter() - began)
        for email, role in SIGN_INS:
            pages += (asdict(one) for one in _pages(email, role, rounds, only))
        transaction.set_rollback(True)
    return {"jars": Jar.objects.count(), "first": gathered, "gathering": median(took), "pages": pages}


def _pages(email: str, role: str, rounds: int, only: str) -> list[Measured]:
    from django.test import Client
    from django.urls import Resolver404, resolve

    from club.members.models import User
    from tests.club.test_every_page_needs_sign_in import EVERY, address_of

    client = Client()
    client.force_login(User.objects.get(email=email))
    plain = (address_of(regex, pattern) for name, regex, pattern in EVERY if "(?P<" not in regex)
    waiting, seen = deque(address for address in plain if address), set[str]()
    found = []
    while waiting:
        address = waiting.popleft()
        path = urlsplit(address).path
        try:
            view = resolve(path).view_name
        except Resolver404:
            continue
        if view in seen or view.startswith(("admin:", "account_")) or path == "/bare/":
            continue
        answer = client.get(address)
        if answer.status_code in (301, 302):
            waiting.appendleft(urljoin(address, answer["Location"]))
        if answer.status_code != 200:
            continue
        seen.add(view)
        text = answer.getvalue().decode(errors="replace")
        if answer["Content-Type"].startswith("text/html"):
            waiting.extend(link for link in Links(address, text).found if link.startswith("/"))
        if path.startswith(only):
            found.append(_measured(client, role, view, address, rounds))
    return found


def _measured(client: Any, role: str, view: str, address: str, rounds: int) -> Measured:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    asking = []
    for _ in range(2):  # once a minute a request also notes that its session was seen: that is no cost of the page
        with CaptureQueriesContext(connection) as asked:
            answer = client.get(address)
            length = len(answer.getvalue())
        asking.append(len(asked))  # a later request would empty the log
    queries = min(asking)
    is_file = "Content-Disposition" in answer or not answer["Content-Type"].startswith("text/html")
    pages, bares = [], []
    for _ in range(1 if is_file else rounds):
        for one, took in (("/bare/", bares), (address, pages)):
            began = perf_counter()
            client.get(one).getvalue()
            took.append(perf_counter() - began)
    return Measured(role, view, address, min(pages), min(bares), queries, length, is_file)


def report(found: list[dict[str, Any]], *, rows: int, strict: bool) -> int:
    sizes = [one["jars"] for one in found]
    by_size = [{(page["role"], page["view"]): Measured(**page) for page in one["pages"]} for one in found]
    failures = []
    for jars, one, pages in zip(sizes, found, by_size, strict=True):
        shown = sorted((page for page in pages.values() if not page.is_file), key=lambda page: -page.ratio)
        ratios = [page.ratio for page in shown]
        print(
            f"\n{jars:,} jars: {len(shown)} role-pages; median {median(ratios):.2f} times the bare view (bound", end=""
        )
        print(
            f" {MEDIAN:.0f}), worst {max(ratios):.1f} (bound {WORST:.0f}), {sum(r > WORST for r in ratios)} beyond it"
        )
        print(f"gathering {one['gathering'] * 1000:.0f} ms (bound {GATHERING_S * 1000:.0f}), the first time", end="")
        print(f" {one['first']:,} written")
        for page in shown[:rows]:
            print(f"  {page.ratio:7.1f}  {page.seconds * 1000:8.1f} ms  {page.queries:3} queries  ", end="")
            print(f"{page.length / 1024:6.0f} kB  {page.view:32} {page.role:24} {page.address}")
        for page in sorted((page for page in pages.values() if page.is_file), key=lambda page: -page.seconds)[:4]:
            print(f"  file: {page.seconds:.2f} s, {page.length / 1e6:.1f} MB, {page.address} ({page.role})")
        if median(ratios) > MEDIAN or max(ratios) > WORST or one["gathering"] > GATHERING_S:
            failures.append(f"{jars:,} jars")
    if len(found) > 1 and sizes[-1] > sizes[0]:
        failures += _growth(by_size[0], by_size[-1], log(sizes[-1] / sizes[0]), rows)
    print("\n" + ("missed: " + "; ".join(failures) if failures else "every bound is kept"))
    return 1 if strict and failures else 0


def _growth(small: dict[Any, Measured], large: dict[Any, Measured], span: float, rows: int) -> list[str]:
    both = [(small[key], large[key]) for key in small.keys() & large.keys() if not small[key].is_file]
    slopes = sorted(((log(b.ratio / a.ratio) / span, a, b) for a, b in both), key=lambda one: -one[0])
    beyond = [one for one in slopes if one[0] > GROWTH]
    asking = [(a, b) for a, b in both if b.queries > a.queries]
    print(
        f"\ngrowth: {len(both)} role-pages at both sizes, {len(beyond)} beyond {GROWTH}; {len(asking)} ask more queries"
    )
    for slope, a, b in slopes[:rows]:
        print(f"  {slope:6.3f}  {a.seconds * 1000:8.1f} -> {b.seconds * 1000:8.1f} ms  {a.view:32} {a.role}")
    for a, b in asking:
        print(f"  queries {a.queries} -> {b.queries}  {a.view:32} {a.role}")
    return [f"growth of {len(beyond)} pages"] * bool(beyond) + [f"queries of {len(asking)} pages"] * bool(asking)


if __name__ == "__main__":
    sys.exit(main())
