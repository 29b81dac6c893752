"""`python3 manage.py prove`: every check there is, the test suite last, so that its closing line closes the output."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from argparse import ArgumentParser
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management import BaseCommand

BIN = Path(sys.executable).parent
TEMPLATES = ("club", "recipes", "inventory")


def tool(name: str, *arguments: str) -> list[str]:
    return [str(BIN / name), *arguments]


# The longest first: they run beside each other.
CHECKS: Mapping[str, list[str]] = {
    "types": tool("mypy", "-p", "club", "-p", "recipes", "-p", "inventory"),
    "format": tool("ruff", "format", "--check", "."),
    "lint": tool("ruff", "check", "."),
    "who imports whom": tool("lint-imports"),
    "templates, format": tool("djlint", "--check", *TEMPLATES),
    "templates, lint": tool("djlint", "--lint", *TEMPLATES),
    "migrations": [sys.executable, "manage.py", "makemigrations", "--check", "--dry-run"],
}
LEFT_OUT_WHEN_QUICK = ("-m", "not (worker or browser or race or fuzz or long)", "--hypothesis-profile=quick")
LEFT_OUT_WITHOUT_FAKETIME = ("-m", "not worker")
# A test process for each core; which tests must share one is said in `tests/conftest.py`.
SIDE_BY_SIDE = ("-n", "auto", "--no-loadscope-reorder")


@dataclass(frozen=True)
class Hour:
    """A moment on the wall of the tests' zone, and the zone that an operator's environment names meanwhile."""

    moment: str
    zone: str


# Four hours of the day in three zones. The clock goes forward on the second day and back on the third.
HOURS = (
    Hour("2026-12-08T03:00", "America/Denver"),
    Hour("2027-03-14T06:25", "Europe/Dublin"),
    Hour("2027-11-07T22:30", "Pacific/Auckland"),
    Hour("2028-02-29T12:00", "America/Denver"),
)
ZONE_OF_THE_TESTS = ZoneInfo("America/Denver")  # tests/clock.py pins it


class Command(BaseCommand):
    help = "Run every check, then the tests. After `--`, arguments for pytest: prove --tests-only -- -k seals"
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--quick",
            action="store_true",
            help="Leave out what takes long: real workers, browsers, races, fuzzing, tests marked long.",
        )
        parser.add_argument("--tests-only", action="store_true", help="Only the tests, none of the other checks.")
        parser.add_argument(
            "--hours",
            action="store_true",
            help="Only the tests, once at each of four hours and in three zones, days of clock change among them, and "
            "the whole of what otherwise is a sample. "
            "Those with real workers need Debian's faketime, which moves the clock of every process they start.",
        )
        parser.add_argument("pytest_arguments", nargs="*", metavar="-- ...", help="Handed to pytest.")

    def handle(
        self, *args: Any, quick: bool, tests_only: bool, hours: bool, pytest_arguments: list[str], **options: Any
    ) -> None:
        try:
            if hours:
                self.prove_hours(quick, pytest_arguments)
            self.prove(quick, tests_only, pytest_arguments)
        except KeyboardInterrupt:
            self.say("\nStopped before the end: nothing is proved.")
            sys.exit(130)  # what a shell gives for Ctrl-C

    def prove(self, quick: bool, tests_only: bool, pytest_arguments: list[str]) -> None:
        failed = [] if tests_only else self.run_checks()
        self.say_what_is_left_out(quick)
        if failed:
            # Told before the tests: their closing line is the last one, and would otherwise look like the verdict.
            self.say(f"Failed before the tests: {', '.join(failed)}. The exit status will say so.")
        arguments = [*(LEFT_OUT_WHEN_QUICK if quick else ()), *pytest_arguments]
        status = self.run_tests(arguments)
        sys.exit(status or (1 if failed else 0))

    def prove_hours(self, quick: bool, pytest_arguments: list[str]) -> None:
        faketime = shutil.which("faketime")
        self.say_what_is_left_out(quick)
        if not (quick or faketime):
            self.say("NO FAKETIME on this machine: the tests with real workers are left out.")
        left_out = LEFT_OUT_WHEN_QUICK if quick else () if faketime else LEFT_OUT_WITHOUT_FAKETIME
        failed = []
        for hour in HOURS:
            self.say(f"== {hour.moment}, CLUB_TIME_ZONE={hour.zone}")
            ahead = datetime.fromisoformat(hour.moment).replace(tzinfo=ZONE_OF_THE_TESTS).timestamp() - time.time()
            moved = [faketime, "-f", f"{ahead:+.0f}s"] if faketime else []
            environment = {"TEST_CLOCK": hour.moment, "CLUB_TIME_ZONE": hour.zone, "TEST_WHOLE": "1"}
            if self.run_tests([*left_out, *pytest_arguments], within=moved, environment=environment) != 0:
                failed.append(hour.moment)
        self.say(f"{len(HOURS) - len(failed)} of {len(HOURS)} hours passed. Failed: {', '.join(failed) or 'none'}")
        sys.exit(1 if failed else 0)

    def run_checks(self) -> list[str]:
        """Every check, as many at a time as there are cores; the names of those that failed."""
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            passed = list(pool.map(self.passes, CHECKS))
        return [name for name, is_passed in zip(CHECKS, passed, strict=True) if not is_passed]

    def passes(self, name: str) -> bool:
        began = time.monotonic()
        done = subprocess.run(
            CHECKS[name],
            cwd=settings.BASE_DIR,
            env={**os.environ, "KETTLEHALL_OWN_ENVIRONMENT": "1"},
            capture_output=True,
            text=True,
        )
        verdict = "ok" if done.returncode == 0 else "FAILED"
        line = f"{name:<20} {verdict:<7} {time.monotonic() - began:5.1f} s"
        self.say(line if done.returncode == 0 else f"{line}\n{(done.stdout + done.stderr).rstrip()}")
        return done.returncode == 0

    def say_what_is_left_out(self, quick: bool) -> None:
        if quick:
            self.say("QUICK: tests with real workers and browsers, races, fuzzing and long tests are left out.")
        elif not (os.environ.get("CHROMIUM") or shutil.which("chromium")):
            required = os.environ.get("KETTLEHALL_REQUIRE_BROWSER") == "1"
            self.say(f"NO CHROMIUM on this machine: the browser tests will {'fail' if required else 'be skipped'}.")

    def run_tests(
        self, arguments: Sequence[str], *, within: Sequence[str] = (), environment: Mapping[str, str] | None = None
    ) -> int:
        """In a data folder that lives as long as the run: a proof never touches the club's own data."""
        with tempfile.TemporaryDirectory(prefix="kettlehall-prove-") as data_dir:
            (Path(data_dir) / "static").mkdir()
            return subprocess.run(
                [*within, sys.executable, "-m", "pytest", *SIDE_BY_SIDE, *arguments],
                cwd=settings.BASE_DIR,
                env={
                    **os.environ,
                    **(environment or {}),
                    "KETTLEHALL_OWN_ENVIRONMENT": "1",
                    "KETTLEHALL_DATA": data_dir,
                },
            ).returncode

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
