"""What a running site is made of: its lock, its parts, and how to tell that it answers."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import ipaddress
import json
import os
import shutil
import socket
import sys
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from club.core.faults import Fault, sentence_for
from club.run.supervisor import Part, Supervisor

TASK_PROCESSES = 2
ROOM_TO_START_BYTES = 30_000_000
LAST_REQUESTS_S = 12.0  # gunicorn's graceful_timeout and a little more
MOST_IN_QUEUE = 2048  # connections that wait to be accepted; as many as gunicorn has


class SiteError(Exception):
    """The site cannot start here; the message says why and what to do."""


@contextlib.contextmanager
def only_one(data_dir: Path) -> Iterator[None]:
    """Hold the data folder's lock. The kernel lets go of it when we die, so a killed site leaves nothing to clear."""
    with (data_dir / "up.lock").open("a+") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            who = lock.read().strip() or "unknown"
            raise SiteError(
                f"Kettlehall is already running from {data_dir} (process {who}). "
                f"Stop that one first, or set KETTLEHALL_DATA to another folder."
            ) from None
        lock.truncate(0)
        lock.write(str(os.getpid()))
        lock.flush()
        yield


@contextlib.contextmanager
def listening(host: str, port: int, *, patience: float = LAST_REQUESTS_S) -> Iterator[socket.socket]:
    """The site's port, ours for as long as the block lasts: whatever becomes of a web server, nobody else has it
    meanwhile, and browsers wait in its queue until the next one reads.

    A site that was killed a moment ago may still answer its last requests: for that long it is asked again. Raises
    SiteError where the port stays taken, or cannot be ours at all.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    deadline = time.monotonic() + patience
    with socket.socket(family) as port_of_ours:
        port_of_ours.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        while True:
            try:
                port_of_ours.bind((host, port))
                port_of_ours.listen(MOST_IN_QUEUE)
                break
            except OSError as error:
                if error.errno == errno.EADDRINUSE and time.monotonic() < deadline:
                    time.sleep(0.2)
                    continue
                raise SiteError(
                    f"Port {port} on {host} cannot be used ({error.strerror}). Choose another: --port {port + 1}"
                ) from None
        yield port_of_ours


def web(listener: socket.socket) -> Part:
    number = listener.fileno()
    how = ("--config", "python:club.run.web", "--bind", f"fd://{number}")
    return Part("web", (sys.executable, "-m", "gunicorn", *how, "club.wsgi:application"), sockets=(number,))


def _celery(*arguments: str) -> tuple[str, ...]:
    level = os.environ.get("LOG_LEVEL", "WARNING")
    return (sys.executable, "-m", "celery", "-A", "club", *arguments, "--loglevel", level)


def worker() -> Part:
    # Mingle and gossip are for many workers that watch each other; without them the start is a second shorter.
    return Part("worker", _celery("worker", "-c", str(TASK_PROCESSES), "--without-mingle", "--without-gossip"))


def beat() -> Part:
    return Part("beat", (sys.executable, "-m", "club.run.beat"))


def address(host: str, port: int) -> str:
    """Where a browser on this machine finds the site."""
    near = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    return f"http://[{near}]:{port}" if ":" in near else f"http://{near}:{port}"


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach what listens on `host`."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def told_by(host: str, port: int, page: str, *, site_host: str, patience: float = 5.0) -> dict[str, Any] | None:
    """What a health page says, whatever its status; None when nobody answers in time, or not in JSON."""
    request = urllib.request.Request(f"{address(host, port)}/{page}", headers={"Host": site_host})
    try:
        try:
            with urllib.request.urlopen(request, timeout=patience) as answer:
                said = json.load(answer)
        except urllib.error.HTTPError as refused:
            with refused:
                said = json.load(refused)
    except (urllib.error.URLError, OSError, ValueError):
        return None
    return said if isinstance(said, dict) else None


def answers(host: str, port: int, *, site_host: str) -> bool:
    """True when the site itself says that its database is there, not merely that somebody listens."""
    said = told_by(host, port, "healthz", site_host=site_host)
    return said is not None and said.get("database") == "ok"


ASK_EVERY_S = 15.0
MOST_SILENT = 4  # asked in vain so often, a part hangs
# Longer than any one task may run: whoever ends no round in this time hangs, or hears nothing from the broker.
ROUND_PATIENCE_S = 420.0


def rounds_stand_still(found: Mapping[str, Any], *, patience_s: float) -> bool:
    """No round ended for so long, by the site's health, though database and broker speak."""
    ago = found.get("last_tick_s_ago")
    can_work = found.get("database") == "ok" and found.get("broker") == "ok"
    return can_work and (ago is None or ago > patience_s)


@dataclass
class Watch:
    """Asks running parts whether they work. One that only seems to run is ended, and the supervisor starts it again."""

    supervisor: Supervisor
    readiness: Callable[[], dict[str, Any] | None]
    broker_speaks: Callable[[], bool]
    round_patience_s: float = ROUND_PATIENCE_S
    silent: Counter[str] = field(default_factory=Counter)
    reasons: list[str] = field(default_factory=list)
    asked_at: float | None = None

    def look(self) -> None:
        """Asks every ASK_EVERY_S; in between it does nothing."""
        now = self.supervisor.clock()
        if self.asked_at is not None and now < self.asked_at + ASK_EVERY_S:
            return
        found = self.readiness()
        self._note("broker", self.broker_speaks())
        self._note("web", found is not None)
        if found is not None:
            self._tell(found.get("reasons", []))
            self._look_at_rounds(found)
        self.asked_at = self.supervisor.clock()

    def _note(self, part: str, speaks: bool) -> None:
        self.silent[part] = 0 if speaks or not self.supervisor.seconds_up(part) else self.silent[part] + 1
        if self.silent[part] >= MOST_SILENT:
            self.silent[part] = 0
            self.supervisor.end_one(part, "did not answer")

    def _tell(self, reasons: list[str]) -> None:
        if reasons != self.reasons:
            self.reasons = reasons
            why = "; ".join(reasons)
            self.supervisor.announce(f"The site is not ready: {why}." if reasons else "The site is ready again.")

    def _look_at_rounds(self, found: dict[str, Any]) -> None:
        """A worker that takes no message, or a beat that sends none: which, nobody can tell from outside."""
        up_for = min(self.supervisor.seconds_up(part) for part in ("worker", "beat"))
        if up_for > self.round_patience_s and rounds_stand_still(found, patience_s=self.round_patience_s):
            for part in ("worker", "beat"):
                self.supervisor.end_one(part, "ended no round of reminders for minutes")


def require_room(data_dir: Path) -> None:
    """SiteError where the site could not even begin to write."""
    free = shutil.disk_usage(data_dir).free
    if free < ROOM_TO_START_BYTES:
        raise SiteError(
            f"{sentence_for(Fault.FULL, data_dir)} Free: {free // 1_000_000} MB; the start wants "
            f"{ROOM_TO_START_BYTES // 1_000_000}."
        )


def require_own(data_dir: Path) -> None:
    """SiteError for a folder of somebody else's: what we wrote into it, they could not read afterwards."""
    owner = data_dir.stat().st_uid
    if owner != os.getuid():
        raise SiteError(sentence_for(Fault.SHUT, f"The data folder {data_dir} (of user {owner})"))
