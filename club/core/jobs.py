"""Periodic work on many rows: one that breaks holds up none of the others."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import TypeVar

log = logging.getLogger(__name__)

Item = TypeVar("Item")
Done = TypeVar("Done")


def one_by_one(items: Iterable[Item], act: Callable[[Item], Done]) -> list[Done]:
    """What `act` gives for each, in their order. An error is logged, and raised when all had their turn."""
    done: list[Done] = []
    errors: list[Exception] = []
    for item in items:
        try:
            done.append(act(item))
        except Exception as error:
            log.exception("%r could not move on", item)
            errors.append(error)
    if errors:
        raise errors[0]
    return done
