"""Ctrl-C, a polite kill and a closed terminal all mean the same: stop, and clean up."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from types import FrameType
from typing import NoReturn

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
