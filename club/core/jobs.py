"""Work that the clock does on many things: one that breaks holds up none of the others."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

log = logging.getLogger(__name__)

Thing = TypeVar("Thing")
Done = TypeVar("Done")


def one_by_one(things: Iterable[Thing], act: Callable[[Thing], Done]) -> list[Done]:
    """What `act` gives for each, in their order. An error is logged, and raised when all had their turn."""
    done: list[Done] = []
    errors: list[Exception] = []
    for thing in things:
        try:
            done.append(act(thing))
        except Exception as error:
            log.exception("%r could not move on", thing)
            errors.append(error)
    if errors:
        raise errors[0]
    return done
