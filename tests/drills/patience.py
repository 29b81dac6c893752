"""Waiting for real processes: as long as something still happens, on however busy a machine.

A drill that gives a fixed minute fails when the machine is shared. So patience begins anew with each sign of progress,
and ends when nothing moved for `patience` seconds, or, should something turn in circles, after `AT_MOST_S`.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

PATIENCE_S = 120.0
AT_MOST_S = 900.0
SIGN_EVERY_S = 0.5
TICKS_A_SECOND = os.sysconf("SC_CLK_TCK")


def nothing() -> None:
    """For a wait in which nothing can be seen to move before it is over."""


def wait_until(
    what: Callable[[], bool],
    *,
    sign: Callable[[], object] = nothing,
    patience: float = PATIENCE_S,
    at_most: float = AT_MOST_S,
    otherwise: Callable[[], str] = str,
    pause: float = 0.1,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """`sign` returns what changes while there is progress; `otherwise` what to say when there was none."""
    began = moved_at = signed_at = clock()
    seen = sign()
    while not what():
        now = clock()
        if now - signed_at >= SIGN_EVERY_S:
            signed_at, before, seen = now, seen, sign()
            if seen != before:
                moved_at = now
        if now - moved_at > patience:
            raise AssertionError(f"nothing moved for {patience:.0f} s\n{otherwise()}")
        if now - began > at_most:
            raise AssertionError(f"still not so after {at_most:.0f} s, though something moved\n{otherwise()}")
        sleep(pause)


def seconds_worked(pids: Iterable[int]) -> int:
    """Whole seconds of processor time that these processes had, those that ended left out; 0 without /proc."""
    ticks = 0
    for pid in pids:
        try:
            after_name = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        ticks += int(after_name[11]) + int(after_name[12])
    return ticks // TICKS_A_SECOND


def sizes(files: Iterable[Path]) -> Sequence[int]:
    """How long each file is: a log that grows is a sign of progress."""
    return [path.stat().st_size for path in files]
