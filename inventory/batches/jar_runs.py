"""Jars in a row that share everything are shown as one line: a full canner is often eighteen times the same."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from inventory.batches.models import Jar


@dataclass(frozen=True)
class JarRun:
    """Jars `first` to `last`, both included; `jar` is one of them and speaks for all."""

    first: int
    last: int
    jar: Jar

    @property
    def count(self) -> int:
        return self.last - self.first + 1


def jar_runs(jars: Iterable[Jar]) -> list[JarRun]:
    """`jars` by ascending number, without gaps; every jar is in exactly one run."""
    runs = (list(run) for _fate, run in groupby(jars, key=_fate))
    return [JarRun(run[0].number, run[-1].number, run[0]) for run in runs]


def _fate(jar: Jar) -> tuple[object, ...]:
    return jar.size, jar.seal, jar.disposal, jar.place_id, jar.held_by_id, jar.lid_lot_id, jar.failed_lid_lot_id
