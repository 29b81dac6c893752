"""How fast reminders go out, beside raw Celery tasks that send the same mails, and whether gathering stays flat.

    python -m tests.benchmarks.bench_reminders [--reminders 20000] [--past 1000000] [--pause-ms 5] [--strict]

Runs on a database of its own, made and dropped by the test runner: SQLite in a file, or the server that
DATABASE_URL names; over the broker of REDIS_URL, or an embedded one. The mail sink is a process of its own that takes
so many milliseconds for each mail, as a server does that writes it down. A worker is a Celery worker with one process.
Speed is counted from the first mail in the sink to the last. With `--strict` the exit status is 1 when a goal is
missed: half the speed of raw tasks, two workers 1.8 times one, gathering with all the past within 1.5 times that with
none, from the index alone.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
os.environ.setdefault("LOG_LEVEL", "WARNING")
django.setup()

from django.db import connection  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402
from django.utils import timezone  # noqa: E402
from kombu import Connection  # noqa: E402

from club.celery import app  # noqa: E402
from club.reminders import outbox as reminders_outbox  # noqa: E402
from club.reminders import tasks  # noqa: E402
from club.reminders.models import Reminder, ReminderState  # noqa: E402
from club.reminders.outbox import (  # noqa: E402
    AT_ONCE,
    known,
    mail_of,
)
from club.reminders.services import RULES  # noqa: E402
from club.run import broker  # noqa: E402
from club.run.children import end, spawn  # noqa: E402
from club.settings import broker_url  # noqa: E402
from tests.benchmarks import raw_mail  # noqa: E402
from tests.benchmarks.counting_sink import CountingSink, counting_sink  # noqa: E402
from tests.drills.mail_sink import free_port  # noqa: E402
from tests.drills.site import child_environment  # noqa: E402
from tests.factories.reminders import make_many_due  # noqa: E402

RULE = "gauge-due"
A_RUN_S = 45  # how long one `send` message works at most
FLAT = 1.5


class House:
    """Broker, sink and workers around the database of the benchmark."""

    def __init__(self, folder: Path, redis_url: str, sink: CountingSink, port: int) -> None:
        self.folder, self.url, self.sink = folder, broker_url(redis_url), sink
        self.environment = child_environment(folder, broker_url=redis_url, smtp_port=port) | {"LOG_LEVEL": "WARNING"}

    @contextmanager
    def workers(self, number: int) -> Iterator[None]:
        argv = [sys.executable, "-m", "celery", "-A", "tests.benchmarks.raw_mail", "worker", "-c", "1", "-l", "WARNING"]
        started = [
            spawn(
                [*argv, "-n", f"w{n}@bench", "--without-mingle", "--without-gossip"],
                log=self.folder / f"w{n}.log",
                env=self.environment,
            )
            for n in range(number)
        ]
        try:
            yield
        finally:
            end(started, patience=20)

    def rate(self, workers: int, mails: int, enqueue: Callable[[Connection], None]) -> float:
        """Mails a second, all of them in the sink."""
        self.sink.forget()
        with Connection(self.url) as line:
            app.control.purge(connection=line)
            enqueue(line)
        deadline = time.monotonic() + 60 + mails / 20
        with self.workers(workers):
            while self.sink.count < mails:
                assert time.monotonic() < deadline, f"{self.sink.count} of {mails} mails: {self.log()}"
                time.sleep(0.05)
        assert self.sink.count == mails, f"{self.sink.count} mails instead of {mails}"
        return self.sink.per_second

    def log(self) -> str:
        return "\n".join(log.read_text()[-2000:] for log in self.folder.glob("w*.log"))

    def outbox(self, workers: int, mails: int) -> float:
        Reminder.objects.all().delete()
        written = reminders_outbox.gather(timezone.now())
        assert written == mails, f"{written} reminders gathered"

        def enqueue(line: Connection) -> None:
            for _ in range(workers * (2 + mails // (50 * A_RUN_S))):
                tasks.send.apply_async(connection=line)

        rate = self.rate(workers, mails, enqueue)
        assert Reminder.objects.filter(state=ReminderState.SENT, attempts=1).count() == mails
        return rate

    def raw(self, workers: int, mails: int, *, keep: bool) -> float:
        now, row = timezone.now(), Reminder.objects.select_related("person")[0]
        message = RULES[RULE].message(row, now)
        told = {"subject": message.subject, "text": message.text, "html": message.html, "keep": keep}
        message_id = mail_of(row, RULES[RULE], message).extra_headers["Message-ID"]

        def enqueue(line: Connection) -> None:
            for n in range(mails):
                given = {**told, "to": f"keeper-{n}@example.test", "message_id": message_id}
                raw_mail.send.apply_async(kwargs=given, connection=line)

        return self.rate(workers, mails, enqueue)


@contextmanager
def a_house(pause_s: float) -> Iterator[House]:
    with tempfile.TemporaryDirectory(prefix="kettlehall-bench-") as name:
        folder, port = Path(name), free_port()
        with counting_sink(port, pause_s) as sink:
            if given := os.environ.get("REDIS_URL"):
                yield House(folder, given, sink, port)
            else:
                with broker.running(folder) as url:
                    yield House(folder, url, sink, port)


def measure_sending(reminders: int, pause_s: float, rounds: int) -> bool:
    """Prints; True when both goals are met."""
    make_many_due(reminders, now=timezone.now())
    ratios, scales = [], []
    with a_house(pause_s) as house:
        for _ in range(rounds):
            one, two = house.outbox(1, reminders), house.outbox(2, reminders)
            raw, raw_kept = house.raw(1, reminders, keep=False), house.raw(1, reminders, keep=True)
            ratios.append(one / raw)
            scales.append(two / one)
            told = [
                f"{connection.vendor}, {reminders:,} mails at {pause_s * 1000:.0f} ms: outbox {one:,.0f}/s",
                f"two workers {two:,.0f}/s ({two / one:.2f} times)",
                f"raw tasks {raw:,.0f}/s (ratio {one / raw:.2f})",
                f"raw tasks over a kept connection {raw_kept:,.0f}/s (ratio {one / raw_kept:.2f})",
            ]
            print("; ".join(told), flush=True)
    print(f"median ratio {median(ratios):.2f} (goal 0.5), two workers {median(scales):.2f} times one (goal 1.8)")
    return median(ratios) >= 0.5 and median(scales) >= 1.8


PAST = {
    "sqlite": "WITH RECURSIVE series(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM series WHERE n < %s) {insert} series",
    "postgresql": "{insert} generate_series(1, %s) AS series(n)",
}
INSERT = """
INSERT INTO reminders_reminder
  (rule, subject, occurrence, person_id, due_at, state, attempts, next_try_at, sent_at, last_error, headline, path,
   created_at)
SELECT %s, CASE WHEN n %% 2 = 0 THEN %s ELSE 'thing:' || n END, 'past-' || n, %s, %s, 'sent', 1, %s, %s, '',
  'To test before Monday', '/equipment/', %s
FROM"""


def write_past(number: int, like: Reminder) -> None:
    """Sent ones of the same rule, half of them even about the same thing."""
    told = [like.rule, like.subject, like.person_id, *[like.due_at] * 4]
    sql = PAST[connection.vendor].format(insert=INSERT)
    with connection.cursor() as cursor:
        cursor.execute(sql, [number, *told] if connection.vendor == "sqlite" else [*told, number])
        cursor.execute("VACUUM ANALYZE reminders_reminder" if connection.vendor == "postgresql" else "ANALYZE")


def gather_seconds() -> float:
    took = []
    for _ in range(9):
        began = time.perf_counter()
        reminders_outbox.gather(timezone.now())
        took.append(time.perf_counter() - began)
    return median(took)


def measure_gathering(past: int) -> bool:
    """Prints; True when it is flat and the index alone answers. What is due is written already: the usual minute."""
    Reminder.objects.all().delete()
    reminders_outbox.gather(timezone.now())
    Reminder.objects.update(state=ReminderState.SENT)
    like, due = Reminder.objects.all()[0], Reminder.objects.count()
    before = gather_seconds()
    write_past(past, like)
    after = gather_seconds()
    now = timezone.now()
    asked = known(RULE, list(RULES[RULE].due(now))[:AT_ONCE])
    plan = asked.explain()
    print(
        f"{connection.vendor}: gathering {due:,} that are due takes {before * 1000:.0f} ms with no past, "
        f"{after * 1000:.0f} ms with {past:,} past reminders (ratio {after / before:.2f}, goal {FLAT})"
    )
    print("what is known already:", shown(plan))
    print("what waits:", shown(Reminder.objects.waiting(now)[:50].explain()))
    return after / before <= FLAT and ("Index Only Scan" in plan or "COVERING INDEX" in plan)


def shown(plan: str) -> str:
    return "\n  ".join(["", *(line[:200] for line in plan.splitlines())])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--reminders", type=int, default=20_000)
    parser.add_argument("--past", type=int, default=1_000_000)
    parser.add_argument("--pause-ms", type=float, default=5)
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--strict", action="store_true")
    options = parser.parse_args()
    made = setup_databases(verbosity=0, interactive=False)
    try:
        is_fast = measure_sending(options.reminders, options.pause_ms / 1000, options.rounds)
        is_flat = measure_gathering(options.past)
    finally:
        teardown_databases(made, verbosity=0)
    sys.exit(1 if options.strict and not (is_fast and is_flat) else 0)


if __name__ == "__main__":
    main()
