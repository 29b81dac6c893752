"""In which units a page is read, as Django knows in which language: by whoever asks for it, "" where nobody does.

A figure that safety hangs on is said in both; which stands first is the reader's. Papers and terminals have no reader:
they say a figure as `both` is told to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

METRIC, US = "metric", "us"

_reader: ContextVar[Callable[[], str] | None] = ContextVar("units of the reader", default=None)


@contextmanager
def reading_in(units: str | Callable[[], str]) -> Iterator[None]:
    """For as long as this lasts: units, or what tells them once a figure asks."""
    token = _reader.set(units if callable(units) else lambda: units)
    try:
        yield
    finally:
        _reader.reset(token)


def reader_units() -> str:
    """ "metric", "us", or "" where nobody reads."""
    asked = _reader.get()
    return asked() if asked else ""


def both(metric: str, us: str, *, usual: str = METRIC) -> str:
    """ "76 kPa (11 psi)" for a metric reader, "11 psi (76 kPa)" for the other; as `usual` says where nobody reads."""
    first, second = (metric, us) if (reader_units() or usual) == METRIC else (us, metric)
    return f"{first} ({second})"
