"""Process rows laid out as people read them: a table per pack and gauge, bands downwards, jars across."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from recipes.engine.process_bands import band_text, find_band
from recipes.engine.terms import Altitude, Method, MinutesBand, Pack, PressureBand, ProcessRow
from recipes.engine.units import JAR_SIZES
from recipes.measures import headspace_text, pressure_text
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


def band_tables(rows: Iterable[ProcessRow], altitude: Altitude | None) -> list[BandTable]:
    """Every row that was seen in print, in as few tables as their packs, gauges and bands allow."""
    seen = sorted((row for row in rows if row.seen.is_seen), key=lambda row: JAR_SIZES.index(row.jar))
    boiling = [row for row in seen if row.method is Method.BOILING_WATER]
    pressure = [row for row in seen if row.method is Method.PRESSURE]
    return [
        *_tables(boiling, _("Boiling water"), lambda row: row.minutes_bands, altitude),
        *_tables(pressure, _("Pressure, dial gauge"), lambda row: row.dial, altitude),
        *_tables(pressure, _("Pressure, weighted gauge"), lambda row: row.weighted, altitude),
    ]


def _tables(
    rows: list[ProcessRow], title: str, bands_of: Callable[[ProcessRow], Bands], altitude: Altitude | None
) -> list[BandTable]:
    groups: dict[tuple[Pack, tuple[int | None, ...]], list[ProcessRow]] = {}
    for row in rows:
        limits = tuple(band.upper_ft for band in bands_of(row))
        if limits:
            groups.setdefault((row.pack, limits), []).append(row)
    return [
        _table(f"{title}, {PACKS[pack]}", limits, group, bands_of, altitude) for (pack, limits), group in groups.items()
    ]


def _table(
    caption: str,
    limits: tuple[int | None, ...],
    rows: list[ProcessRow],
    bands_of: Callable[[ProcessRow], Bands],
    altitude: Altitude | None,
) -> BandTable:
    here = find_band(limits, altitude) if altitude else None
    lines = tuple(
        BandLine(
            text=band_text(limits[index - 1] if index else None, upper),
            is_here=here is not None and here.index == index,
            figures=tuple(_figure(bands_of(row)[index]) for row in rows),
        )
        for index, upper in enumerate(limits)
    )
    return BandTable(
        caption=caption,
        jars=tuple(_jar(row) for row in rows),
        lines=lines,
        notes=_unique(row.note for row in rows),
        sources=_unique(source_text(row) for row in rows),
        is_above=altitude is not None and here is None,
    )


def _figure(band: MinutesBand | PressureBand) -> str:
    if isinstance(band, MinutesBand):
        return _("%(minutes)s min") % {"minutes": band.minutes}
    return _("not recommended") if band.psi is None else pressure_text(band.psi)


def _jar(row: ProcessRow) -> str:
    """A column's head: the jar, what holds at every altitude, and the headspace."""
    parts = [str(JARS[row.jar])]
    if row.minutes is not None:
        parts.append(_("%(minutes)s min") % {"minutes": row.minutes})
    parts.append(_("headspace %(space)s") % {"space": headspace_text(row.headspace_in)})
    return ", ".join(parts)


def source_text(row: ProcessRow) -> str:
    return ", ".join(part for part in (row.source.title, row.source.edition, row.source.place) if part)


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))
