"""Keeps the parts of a running site alive, and ends them all together.

A part that falls is started again after a growing pause, for as long as it takes: nobody sits beside the laptop at
three in the morning when a reminder falls due, and pages are read on while the worker is down. Each fall is said, and
every so many in a row with the end of the part's log.
"""

from __future__ import annotations

import contextlib
import os
import shutil
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

from club.run.children import end, is_group_left, kill_group, spawn

STEADY_AFTER_S = 60.0  # up for so long, an earlier fall is forgotten
LONGEST_PAUSE_S = 30.0
TOLD_EVERY = 5  # falls in a row: then with the end of the log
ORPHANS_HAVE_S = 60.0  # for what a fallen part has in hand: longer than a sender's run of mails
LOG_KEPT_BYTES = 5_000_000
OLD_LOGS = 3


class PartFailed(Exception):
    """A part did not start; the message carries the end of its log."""


@dataclass(frozen=True)
class Part:
    name: str
    argv: tuple[str, ...]
    env: Mapping[str, str] | None = None
    sockets: tuple[int, ...] = ()  # file numbers that it inherits


@dataclass
class Running:
    part: Part
    process: subprocess.Popen[bytes]
    started: float
    falls: int = 0
    start_again_at: float | None = None
    orphans: dict[int, float] = field(default_factory=dict)  # groups of its earlier processes, and when they must end


def pause_after(falls: int) -> float:
    """Seconds before the next start: 1, 2, 4, 8 ... after so many falls in a row."""
    return min(LONGEST_PAUSE_S, 2.0 ** (falls - 1))


def last_lines(log: Path, count: int = 12) -> str:
    try:
        with log.open(encoding="utf-8", errors="replace") as lines:
            return "".join(deque(lines, maxlen=count)).rstrip()
    except OSError as error:
        return f"({error.strerror})"


def bound_log(log: Path) -> None:
    """A log that grew too long is copied aside and begins anew, while its part writes on: it appends, so it follows.

    The oldest copy goes. On a full disk there is none: then the room is worth more than the story.
    """
    try:
        if log.stat().st_size <= LOG_KEPT_BYTES:
            return
        copies = [log.with_suffix(f".log.{number}") for number in range(1, OLD_LOGS + 1)]
        for older, newer in zip(copies[:0:-1], copies[-2::-1], strict=True):
            if newer.exists():
                newer.replace(older)
        try:
            shutil.copyfile(log, copies[0])
        except OSError:
            copies[0].unlink(missing_ok=True)
        os.truncate(log, 0)
    except OSError:  # no log to look at
        return


def say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


@dataclass
class Supervisor:
    log_dir: Path
    announce: Callable[[str], None] = say
    clock: Callable[[], float] = time.monotonic
    running: list[Running] = field(default_factory=list)

    def start(self, part: Part) -> subprocess.Popen[bytes]:
        one = Running(part, self._spawn(part), self.clock())
        self.running.append(one)
        return one.process

    def look(self) -> None:
        """One look at every part: notes a fall, starts again what has waited long enough, ends orphans, bounds logs."""
        now = self.clock()
        for one in self.running:
            if one.start_again_at is not None:
                if now >= one.start_again_at:
                    self._start_again(one, now)
            elif one.process.poll() is not None:
                self._note_fall(one, now, f"{one.part.name} stopped (exit status {one.process.returncode})")
            self._end_orphans(one, now)
            bound_log(self._log(one.part))

    def end_one(self, name: str, why: str) -> None:
        """A part that runs and does nothing: it is ended whole, and starts again like one that fell."""
        for one in self.running:
            if one.part.name == name and one.start_again_at is None:
                end([one.process], patience=5)
                kill_group(one.process.pid)
                self._note_fall(one, self.clock(), f"{name} {why} and was ended")

    def seconds_up(self, name: str) -> float:
        """Since its last start; 0 while it is down."""
        of_name = (one for one in self.running if one.part.name == name and one.start_again_at is None)
        return min((self.clock() - one.started for one in of_name), default=0.0)

    def _spawn(self, part: Part) -> subprocess.Popen[bytes]:
        return spawn(part.argv, log=self._log(part), env=part.env, sockets=part.sockets)

    def _start_again(self, one: Running, now: float) -> None:
        try:
            one.process = self._spawn(one.part)
        except OSError as error:  # no memory, no more processes, no room for a log
            self._note_fall(one, now, f"{one.part.name} could not be started ({error.strerror})")
        else:
            one.started, one.start_again_at = now, None

    def _note_fall(self, one: Running, now: float, what: str) -> None:
        one.falls = 1 if now - one.started >= STEADY_AFTER_S else one.falls + 1
        one.orphans[one.process.pid] = now + ORPHANS_HAVE_S
        wait = pause_after(one.falls)
        one.start_again_at = now + wait
        self.announce(f"{what}; again in {wait:.0f} s.")
        if one.falls % TOLD_EVERY == 0:
            self.announce(f"{one.part.name} fell {one.falls} times in a row. {self._tail(one.part)}")

    @staticmethod
    def _end_orphans(one: Running, now: float) -> None:
        for group, until in list(one.orphans.items()):
            if not is_group_left(group):
                del one.orphans[group]
            elif now >= until:
                kill_group(group)

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
            for one in self.running:
                for group in one.orphans:
                    kill_group(group)
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
