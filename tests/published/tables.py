"""Published process figures, read from the CSV files beside this one.

`process_boiling_water.csv` and `process_pressure.csv` hold one printed row each: food, pack and jar with
its minutes or pressures by altitude in feet, the page it was read on, and how far it was checked. The
figures are those of the USDA Complete Guide to Home Canning and NCHFP, as each row's `source` says.
"""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

from recipes.engine.terms import Method, MinutesBand, Pack, PressureBand, ProcessRow, Seen, TestedSource

HERE = Path(__file__).parent


def printed(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def boiling_water_row(row: dict[str, str]) -> ProcessRow:
    return _row(row, Method.BOILING_WATER, minutes_bands=tuple(MinutesBand(*band) for band in minutes_bands(row)))


def minutes_bands(row: dict[str, str]) -> list[tuple[int | None, int]]:
    return [
        (int(row[f"alt_max_ft_{n}"]) if row[f"alt_max_ft_{n}"] else None, int(row[f"min_{n}"]))
        for n in (1, 2, 3, 4)
        if row[f"min_{n}"]
    ]


def pressure_row(row: dict[str, str]) -> ProcessRow:
    dial, weighted = (tuple(PressureBand(*band) for band in bands) for bands in pressure_bands(row))
    return _row(row, Method.PRESSURE, minutes=int(row["minutes"]), dial=dial, weighted=weighted)


def pressure_bands(row: dict[str, str]) -> tuple[list[tuple[int | None, int | None]], ...]:
    dial = [(upper, _psi(row[f"dial_psi_{low}_{upper}"])) for low, upper in DIAL if row[f"dial_psi_{low}_{upper}"]]
    weighted = [(1000, _psi(row["weighted_psi_0_1000"])), (None, _psi(row["weighted_psi_above_1000"]))]
    return dial, weighted


DIAL = ((0, 2000), (2001, 4000), (4001, 6000), (6001, 8000))


def _psi(text: str) -> int | None:
    return None if text == "not-recommended" else int(text)


def _row(row: dict[str, str], method: Method, **figures: object) -> ProcessRow:
    return ProcessRow(
        method=method,
        pack=Pack.NOT_STATED if row["pack"] == "-" else Pack(row["pack"]),
        jar=row["jar"],
        seen=Seen(row["confidence"]),
        source=TestedSource(row["source"], "", row["source_url_or_doc"]),
        headspace_in=Fraction(row["headspace_in"].split("-")[-1]),
        **figures,
    )
