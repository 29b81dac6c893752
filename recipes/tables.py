"""Process rows laid out as people read them: a table per pack and gauge, bands downwards, jars across."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.utils.translation import gettext as _

from recipes.engine.process_bands import band_text, find_band
from recipes.engine.terms import (
    Altitude,
    Method,
    MinutesBand,
    Pack,
    PressureBand,
    ProcessRow,
    ProcessTable,
    TestedRecipe,
)
from recipes.engine.units import JAR_SIZES
from recipes.measures import headspace_text, pressure_text, source_words
from recipes.words import JARS, PACKS

Bands = Sequence[MinutesBand] | Sequence[PressureBand]


@dataclass(frozen=True)
class BandLine:
    """One altitude band: its limits in feet and metres, and one figure for each jar."""

    text: str
    is_here: bool
    figures: tuple[str, ...]


@dataclass(frozen=True)
class BandTable:
    """One table. `is_above` says that the kitchen is higher than its last band."""

    caption: str
    jars: tuple[str, ...]
    lines: tuple[BandLine, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    is_above: bool


@dataclass(frozen=True)
class _Kind:
    """One sort of table: its title, the bands a row has for it, and what is said once for all of its rows."""

    title: str
    bands_of: Callable[[ProcessRow], Bands]
    usual: TestedRecipe | ProcessTable


def band_tables(
    rows: Iterable[ProcessRow], altitude: Altitude | None, usual: TestedRecipe | ProcessTable
) -> list[BandTable]:
    """Every row that was seen in print, in as few tables as their packs, gauges and bands allow.

    The headspace and source of `usual`, which the page says once, are left out of the tables.
    """
    seen = sorted((row for row in rows if row.seen.is_seen), key=lambda row: JAR_SIZES.index(row.jar))
    boiling = [row for row in seen if row.method is Method.BOILING_WATER]
    pressure = [row for row in seen if row.method is Method.PRESSURE]
    return [
        *_tables(boiling, altitude, _Kind(_("Boiling water"), lambda row: row.minutes_bands, usual)),
        *_tables(pressure, altitude, _Kind(_("Pressure, dial gauge"), lambda row: row.dial, usual)),
        *_tables(pressure, altitude, _Kind(_("Pressure, weighted gauge"), lambda row: row.weighted, usual)),
    ]


def _tables(rows: list[ProcessRow], altitude: Altitude | None, kind: _Kind) -> list[BandTable]:
    groups: dict[tuple[Pack, tuple[int | None, ...]], list[ProcessRow]] = {}
    for row in rows:
        limits = tuple(band.upper_ft for band in kind.bands_of(row))
        if limits:
            groups.setdefault((row.pack, limits), []).append(row)
    return [_table(limits, group, altitude, kind) for (_pack, limits), group in groups.items()]


def _table(limits: tuple[int | None, ...], rows: list[ProcessRow], altitude: Altitude | None, kind: _Kind) -> BandTable:
    here = find_band(limits, altitude) if altitude else None
    lines = tuple(
        BandLine(
            text=band_text(limits[index - 1] if index else None, upper),
            is_here=here is not None and here.index == index,
            figures=tuple(_figure(kind.bands_of(row)[index]) for row in rows),
        )
        for index, upper in enumerate(limits)
    )
    return BandTable(
        caption=f"{kind.title}, {PACKS[rows[0].pack]}",
        jars=tuple(_jar(row, kind.usual.headspace_in) for row in rows),
        lines=lines,
        notes=_unique(row.note for row in rows),
        sources=_unique(source_words(row.source) for row in rows if row.source != kind.usual.source),
        is_above=altitude is not None and here is None,
    )


def _figure(band: MinutesBand | PressureBand) -> str:
    if isinstance(band, MinutesBand):
        return _("%(minutes)s min") % {"minutes": band.minutes}
    return _("not recommended") if band.psi is None else pressure_text(band.psi)


def _jar(row: ProcessRow, usual_in: Fraction) -> str:
    """A column's head: the jar, the minutes that hold at every altitude, and a headspace that is not the usual one."""
    parts = [str(JARS[row.jar])]
    if row.minutes is not None:
        parts.append(_("%(minutes)s min") % {"minutes": row.minutes})
    if row.headspace_in != usual_in:
        parts.append(_("headspace %(space)s") % {"space": headspace_text(row.headspace_in)})
    return ", ".join(parts)


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))
