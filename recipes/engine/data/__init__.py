"""The engine's tables and texts: CSV files beside this module, each with its source in a column, read once."""

from __future__ import annotations

import csv
from collections.abc import Iterator


def rows(name: str) -> Iterator[dict[str, str]]:
    """The rows of one file, by the names in its first line. Raises `FileNotFoundError`.

    A plain file, as packages are installed unpacked: `importlib.resources` takes as long to load as half the engine.
    """
    with open(f"{__path__[0]}/{name}", encoding="utf-8", newline="") as file:
        lines = csv.reader(file)
        names = next(lines)
        yield from (dict(zip(names, line, strict=True)) for line in lines)
