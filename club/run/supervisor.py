"""Keeps the parts of a running site alive, and ends them all together.

A part that falls is started again after a growing pause: nobody sits beside the laptop at three in the morning when
a reminder falls due. A part that cannot stay up several times in a row ends the whole site with the last lines of
its log: half a site that looks well is worse than none.
"""

from __future__ import annotations

import contextlib
import signal
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import NoReturn

from club.run.children import end, spawn

FALLS_ALLOWED = 5
STEADY_AFTER_S = 60.0  # up for so long, an earlier fall is forgotten
LONGEST_PAUSE_S = 30.0
LOG_KEPT_BYTES = 5_000_000


class PartFailed(Exception):
    """A part could not be kept up; the message carries the end of its log."""


@dataclass(frozen=True)
class Part:
    name: str
    argv: tuple[str, ...]
    env: Mapping[str, str] | None = None


@dataclass
class Running:
    part: Part
    process: subprocess.Popen[bytes]
    started: float
    falls: int = 0
    start_again_at: float | None = None


def pause_after(falls: int) -> float:
    """Seconds before the next start: 1, 2, 4, 8 ... after so many falls in a row."""
    return min(LONGEST_PAUSE_S, 2.0 ** (falls - 1))


def last_lines(log: Path, count: int = 12) -> str:
    with log.open(encoding="utf-8", errors="replace") as lines:
        return "".join(deque(lines, maxlen=count)).rstrip()


def say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


@dataclass
class Supervisor:
    log_dir: Path
    announce: Callable[[str], None] = say
    clock: Callable[[], float] = time.monotonic
    running: list[Running] = field(default_factory=list)

    def start(self, part: Part) -> subprocess.Popen[bytes]:
        log = self._log(part)
        if log.exists() and log.stat().st_size > LOG_KEPT_BYTES:
            log.replace(log.with_suffix(".log.1"))
        process = spawn(part.argv, log=log, env=part.env)
        self.running.append(Running(part, process, self.clock()))
        return process

    def look(self) -> None:
        """One look at every part: notes a fall, starts again what has waited long enough. Raises PartFailed."""
        now = self.clock()
        for one in self.running:
            if one.start_again_at is not None:
                if now >= one.start_again_at:
                    one.process = spawn(one.part.argv, log=self._log(one.part), env=one.part.env)
                    one.started, one.start_again_at = now, None
            elif one.process.poll() is not None:
                self._note_fall(one, now)

    def _note_fall(self, one: Running, now: float) -> None:
        one.falls = 1 if now - one.started >= STEADY_AFTER_S else one.falls + 1
        if one.falls > FALLS_ALLOWED:
            raise PartFailed(f"{one.part.name} fell {one.falls} times in a row.\n{self._tail(one.part)}")
        wait = pause_after(one.falls)
        one.start_again_at = now + wait
        self.announce(f"{one.part.name} stopped (exit status {one.process.returncode}); again in {wait:.0f} s.")

    def require_all_up(self) -> None:
        """While the site is starting a fall is not mended but told: it is a wrong setting, most often."""
        for one in self.running:
            if one.process.poll() is not None:
                raise PartFailed(f"{one.part.name} did not start.\n{self._tail(one.part)}")

    def stop(self, *, patience: float = 15.0) -> None:
        """The newest first; the broker, started before all, last, so that the others can still give back their work."""
        if self.running:
            first, *others = [one.process for one in self.running]
            end(others[::-1], patience=patience)
            end([first], patience=patience)
            self.running.clear()

    def _log(self, part: Part) -> Path:
        return self.log_dir / f"{part.name}.log"

    def _tail(self, part: Part) -> str:
        log = self._log(part)
        return f"The end of {log}:\n{last_lines(log)}"


# Ctrl-C, a polite kill and a closed terminal all mean the same: stop, and clean up.

ASKED_BY = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class StopAsked(BaseException):
    """Not an error, so nothing that catches errors may swallow it."""


def _stop(number: int, frame: FrameType | None) -> NoReturn:
    raise StopAsked


@contextlib.contextmanager
def until_asked_to_stop() -> Iterator[None]:
    """The block runs until it ends or a signal asks; a signal ends it quietly."""
    for one in ASKED_BY:
        signal.signal(one, _stop)
    with contextlib.suppress(StopAsked):
        yield


def ignore_further_signals() -> None:
    """For the clean-up, which has its own limit of time: a second Ctrl-C would only leave something behind."""
    for one in ASKED_BY:
        signal.signal(one, signal.SIG_IGN)
