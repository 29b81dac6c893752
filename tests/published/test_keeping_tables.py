"""Tables of drying, freezing, fermenting, brines and syrups against a second, bare copy of their figures.

The copies beside this test (keep_drying.csv, keep_freezing.csv, keep_other.csv) hold figures only, and were written
from what was read, not from the tables.
"""

from __future__ import annotations

from collections import Counter

import pytest

from tests.published.library import LIBRARY, exact, figures, rows_of

TABLES = (
    "drying",
    "drying-rules",
    "freezing",
    "freezing-headspace",
    "freezing-rules",
    "ferments",
    "brines",
    "syrups-canning",
    "syrups-freezing",
)
MARKS = {"seen-twice", "seen-once", "disputed", "memory"}

# Columns of a table whose figures stand in keep_other.csv, in that order; blank ones are left out there.
COLUMNS = {
    "syrups-canning": "percent_sugar water_cups_9_pints sugar_cups_9_pints water_cups_7_quarts sugar_cups_7_quarts",
    "syrups-freezing": "percent_sugar sugar_cups water_cups yield_cups",
    "ferments": "temperature_f_low temperature_f_high days_low days_high ph_end_low ph_end_high",
    "brines": "salt goes_with_amount vinegar temperature_f_low temperature_f_high hours_low hours_high",
    "drying-rules": "figure",
    "freezing-rules": "figure",
}


def table(name: str) -> list[dict[str, str]]:
    return rows_of(LIBRARY / f"{name}.csv")


def between(low: str, high: str, *, same: bool = False) -> str:
    """A range as one text; `same` keeps both ends of a range of one figure."""
    return f"{low}-{high}" if high and (same or low != high) else low


def bare(name: str) -> Counter[tuple[str, str]]:
    if name == "freezing-headspace":
        printed: dict[str, list[str]] = {}
        for row in table(name):
            printed.setdefault(f"{row['pack']} {row['opening']}", []).append(row["headspace_in"])
        return Counter((key, " ".join(heads)) for key, heads in printed.items())
    found: Counter[tuple[str, str]] = Counter()
    for row in table(name):
        key = f"{row['food']} {row['band']}" if name == "ferments" else row.get("name") or row["product"]
        columns = COLUMNS[name].split()[: 2 if row.get("band", "").startswith("too") else None]
        found[key, " ".join(row[column] for column in columns if row[column])] += 1
    return found


def test_every_dried_food_has_its_printed_blanching_heat_and_hours() -> None:
    found = Counter(
        (
            row["food"],
            row["piece"],
            between(row["water_blanch_min_low"], row["water_blanch_min_high"], same=True),
            between(row["steam_blanch_min_low"], row["steam_blanch_min_high"], same=True),
            between(row["temperature_f"], row["temperature_f_high"]),
            between(row["hours_low"], row["hours_high"]),
        )
        for row in table("drying")
    )

    assert found == Counter(tuple(row.values()) for row in figures("keep_drying"))
    assert len({row["food"] for row in table("drying")}) >= 25


def test_every_frozen_food_has_its_printed_blanching_pack_headspace_and_months() -> None:
    found = Counter(
        (
            row["food"],
            row["piece"],
            row["pack"],
            between(row["blanch_min"], row["blanch_min_high"]),
            between(row["steam_blanch_min"], row["steam_blanch_min_high"]),
            row["cool_min"],
            row["syrup_percent"],
            row["headspace_in"],
            between(row["months_low"], row["months_high"]),
        )
        for row in table("freezing")
    )

    assert found == Counter(tuple(row.values()) for row in figures("keep_freezing"))
    assert len({row["food"] for row in table("freezing")}) >= 25


@pytest.mark.parametrize("name", ["freezing-headspace", *COLUMNS])
def test_every_other_table_has_its_printed_figures(name: str) -> None:
    assert bare(name) == Counter((row["name"], row["figures"]) for row in figures("keep_other") if row["table"] == name)


@pytest.mark.parametrize("name", TABLES)
def test_each_row_says_who_printed_it_where_and_how_far_it_was_seen(name: str) -> None:
    for row in table(name):
        assert row["seen"] in MARKS, row
        assert (row["source"] and row["place"]) or row["seen"] == "memory", row
        assert row["seen"] != "memory" or not row.get("figure"), f"from memory, and shown as a figure: {row}"


@pytest.mark.parametrize("name", ["drying", "freezing", "ferments", "brines"])
def test_no_range_runs_backwards_and_every_figure_is_a_number(name: str) -> None:
    for row in table(name):
        for column, low in row.items():
            if column.endswith(("_low", "_min")) and low:
                high = row.get(column.removesuffix("_low") + "_high") if column.endswith("_low") else None
                assert exact(high or low) >= exact(low) >= 0, (row, column)


def test_kimchi_has_no_way_into_a_canner() -> None:
    (kimchi,) = [row for row in table("ferments") if row["food"] == "kimchi"]

    assert kimchi["then"] == "the refrigerator"
    assert "no tested canning" in kimchi["warning"]
