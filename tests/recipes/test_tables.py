"""Process rows laid out: every seen figure in its band, the kitchen's band marked, and nothing that was not seen."""

from __future__ import annotations

import tomllib

import pytest
from django.conf import settings

from recipes.engine import altitude_from_text
from recipes.engine.document import process_table_from_document, recipe_from_document
from recipes.presentation import band_tables
from tests.factories.recipes import SOURCE, SPREAD, VEGETABLE, recipe_document


def tables_of(document, altitude=None):
    recipe = recipe_from_document(document)
    return band_tables(recipe.process, altitude and altitude_from_text(altitude), recipe)


def row(jar, minutes, **more):
    return {**SPREAD["process"][0], "jar": jar, "minutes": minutes, **more}


@pytest.mark.parametrize(
    ("altitude", "index"),
    [("-100 m", 0), ("1000 ft", 0), ("1000.1 ft", 1), ("6000 ft", 1), ("1828.8 m", 1), ("1828.81 m", 2), ("5000 m", 2)],
)
def test_the_band_of_the_kitchen_is_marked_to_the_foot(altitude, index):
    (table,) = tables_of(SPREAD, altitude)
    assert [line.is_here for line in table.lines].index(True) == index
    assert sum(line.is_here for line in table.lines) == 1
    assert not table.is_above


def test_no_band_is_marked_without_an_altitude():
    (table,) = tables_of(SPREAD)
    assert not any(line.is_here for line in table.lines)
    assert not table.is_above


def test_rows_of_other_bands_stand_in_a_table_of_their_own():
    rows = [row("half-pint", [[1000, 5], ["above", 15]]), row("pint", [[1000, 5], [3000, 10], ["above", 15]])]
    tables = tables_of(recipe_document(process=rows))
    assert [len(table.lines) for table in tables] == [2, 3]
    assert [table.jars for table in tables] == [("half-pint (237 ml)",), ("pint (473 ml)",)]


def test_rows_that_nobody_saw_are_left_out():
    rows = [row("half-pint", [["above", 5]]), row("pint", [["above", 99]], seen="disputed")]
    (table,) = tables_of(recipe_document(process=rows))
    assert [line.figures for line in table.lines] == [("5 min",)]


def test_a_kitchen_above_a_dial_gauge_table_is_told_and_the_weighted_one_still_serves():
    dial_hot, dial_raw, weighted_hot, weighted_raw = tables_of(VEGETABLE, "2600 m")
    assert dial_hot.is_above
    assert dial_raw.is_above
    assert not any(line.is_here for line in dial_hot.lines)
    assert [line.figures for line in weighted_hot.lines if line.is_here] == [("15 psi (104 kPa)",) * 2]
    assert not weighted_raw.is_above


def test_what_is_not_recommended_is_said():
    weighted = [[1000, 15], ["above", "not-recommended"]]
    rows = [{**VEGETABLE["process"][0], "weighted_psi": weighted}]
    *_, table = tables_of(recipe_document(VEGETABLE, process=rows))
    assert [line.figures for line in table.lines] == [("15 psi (104 kPa)",), ("not recommended",)]


def test_headspace_and_source_are_in_the_table_only_where_they_differ():
    other = {**SOURCE, "title": "Another Leaflet"}
    rows = [row("half-pint", [["above", 5]]), row("pint", [["above", 5]], headspace_in="1/2", source=other)]
    (table,) = tables_of(recipe_document(process=rows))
    assert table.jars == ("half-pint (237 ml)", "pint (473 ml), headspace 1/2 in (13 mm)")
    assert table.sources == ("Another Leaflet, 2nd, 2015, page 7",)


def test_every_seen_figure_of_the_published_library_is_shown_once():
    """Counted from the files as they are, without our reader."""
    for file in sorted((settings.BASE_DIR / "fixtures" / "library").glob("*.toml")):
        document = tomllib.loads(file.read_text())
        for entry in document.get("recipe", []):
            recipe = recipe_from_document(entry)
            check(entry.get("process", []), band_tables(recipe.process, None, recipe))
        for entry in document.get("process_table", []):
            table = process_table_from_document(entry)
            check(entry["rows"], band_tables(table.rows, None, table))


def check(rows, tables):
    printed = []
    for entry in rows:
        if entry["seen"] not in ("seen-once", "seen-twice"):
            continue
        bands = entry["minutes"] if isinstance(entry["minutes"], list) else []
        pressures = [*entry.get("dial_psi", []), *entry.get("weighted_psi", [])]
        printed += [f"{figure} min" for _, figure in bands]
        printed += ["not recommended" if psi == "not-recommended" else f"{psi} psi" for _, psi in pressures]
    shown = [figure.split(" (")[0] for table in tables for line in table.lines for figure in line.figures]
    assert sorted(shown) == sorted(printed)
