"""Every printed process row, looked up at and just across each edge of its altitude bands."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby

import pytest

from recipes.engine import PlanRequest, ProcessFound, plan_batch, process_for
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import Altitude, Canner, Refusal
from tests.published.tables import boiling_water_row, minutes_bands, pressure_bands, pressure_row, printed
from tests.recipes.engine.samples import strawberry_jam

BOILING_WATER = printed("process_boiling_water.csv")
PRESSURE = printed("process_pressure.csv")
A_HAIR_FT = Fraction(1, 1000)


def name(row: dict[str, str]) -> str:
    return "-".join(row[key] for key in ("food", "variant", "pack", "jar"))


def edges(bands):
    """Altitudes in feet with what the printed row says there: both ends of each band and its middle."""
    lower = Fraction(-1000)
    for upper, figure in bands:
        top = Fraction(upper) if upper is not None else Fraction(16_000)
        for feet in (lower + A_HAIR_FT, (lower + top) / 2, top):
            yield feet, figure
        lower = top


def look_up(rows, row, canner, feet):
    return process_for(rows, jar=row.jar, pack=row.pack, canner=canner, altitude=Altitude.from_feet(feet))


def test_the_files_hold_as_many_rows_as_were_printed():
    assert (len(BOILING_WATER), len(PRESSURE)) == (142, 166)
    assert sum(boiling_water_row(row).seen.is_seen for row in BOILING_WATER) == 132
    assert sum(pressure_row(row).seen.is_seen for row in PRESSURE) == 160


@pytest.mark.parametrize("line", BOILING_WATER, ids=name)
def test_a_boiling_water_row_is_found_at_every_edge_of_its_bands(line):
    row = boiling_water_row(line)
    for feet, minutes in edges(minutes_bands(line)):
        found = look_up([row], row, Canner.BOILING_WATER, feet)
        if not row.seen.is_seen:
            assert isinstance(found, Refusal)
            assert found.code == "process-not-seen"
        else:
            assert isinstance(found, ProcessFound), feet
            assert (found.minutes, found.pressure_psi, found.vent_minutes) == (minutes, None, 0), feet


@pytest.mark.parametrize("line", PRESSURE, ids=name)
def test_a_pressure_row_is_found_at_every_edge_of_its_bands_on_both_gauges(line):
    row = pressure_row(line)
    for canner, bands in zip((Canner.DIAL_GAUGE, Canner.WEIGHTED_GAUGE), pressure_bands(line), strict=True):
        for feet, psi in edges(bands):
            found = look_up([row], row, canner, feet)
            if not row.seen.is_seen:
                assert isinstance(found, Refusal)
                assert found.code == "process-not-seen"
            elif psi is None:
                assert isinstance(found, Refusal)
                assert found.code == "altitude-above-table"
            else:
                assert isinstance(found, ProcessFound), feet
                assert (found.minutes, found.pressure_psi) == (int(line["minutes"]), psi), feet
                assert found.vent_minutes == 10


@pytest.mark.parametrize("line", [line for line in PRESSURE if line["dial_psi_0_2000"]], ids=name)
def test_a_dial_gauge_above_8000_feet_is_refused(line):
    row = pressure_row(line)
    found = look_up([row], row, Canner.DIAL_GAUGE, 8000 + A_HAIR_FT)
    assert isinstance(found, Refusal)
    assert found.code == ("altitude-above-table" if row.seen.is_seen else "process-not-seen")


def choices_by_jar():
    seen = [line for line in PRESSURE if pressure_row(line).seen.is_seen]
    for key, lines in groupby(sorted(seen, key=name), key=name):
        group = list(lines)
        if len(group) > 1:
            yield pytest.param(group, id=key)


@pytest.mark.parametrize("lines", list(choices_by_jar()))
def test_of_several_printed_pressures_the_gentlest_is_taken_and_the_others_are_named(lines):
    rows = [pressure_row(line) for line in lines]
    for feet, others in ((500, len(rows) - 1), (1500, len(rows) - 2 if len(rows) == 3 else len(rows) - 1)):
        found = look_up(rows, rows[0], Canner.WEIGHTED_GAUGE, feet)
        assert isinstance(found, ProcessFound)
        assert found.minutes == max(row.minutes for row in rows)
        assert found.pressure_psi == (5 if feet == 500 else 10)
        assert len(found.others) == others


def planned(row, canner, feet):
    """A plan whose recipe has nothing of its own but this printed row."""
    carrier = replace(recipe_from_document(strawberry_jam()), method=row.method, process=(row,))
    wish = PlanRequest(altitude=Altitude.from_feet(feet), pots=1, jar=row.jar, pack=row.pack, canner=canner)
    return plan_batch(carrier, wish)


@pytest.mark.parametrize("line", BOILING_WATER, ids=name)
def test_a_plan_gives_the_printed_minutes_at_every_band(line):
    row = boiling_water_row(line)
    for feet, minutes in edges(minutes_bands(line)):
        found = planned(row, None, feet)
        assert found.ok is row.seen.is_seen
        assert (found.process and found.process.minutes) == (minutes if row.seen.is_seen else None)
        assert found.sterilise_jars == (minutes < 10 if row.seen.is_seen else None)


@pytest.mark.parametrize("line", PRESSURE, ids=name)
def test_a_plan_gives_the_printed_pressure_at_every_band(line):
    row = pressure_row(line)
    for canner, bands in zip((Canner.DIAL_GAUGE, Canner.WEIGHTED_GAUGE), pressure_bands(line), strict=True):
        for feet, psi in edges(bands):
            found = planned(row, canner, feet)
            expected = psi if row.seen.is_seen else None
            assert (found.process and found.process.pressure_psi) == expected
            assert found.ok is (expected is not None)
