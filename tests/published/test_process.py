"""Every printed process row, looked up at and just across each edge of its altitude bands."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import groupby

import pytest

from recipes.engine import PlanRequest, ProcessFound, plan_batch, process_for
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import Altitude, Canner, Method, Refusal
from tests.published.tables import boiling_water_row, minutes_bands, pressure_bands, pressure_row, printed
from tests.recipes.engine.samples import strawberry_jam

BOILING_WATER = printed("process_boiling_water.csv")
PRESSURE = printed("process_pressure.csv")
A_HAIR_FT = Fraction(1, 1000)
DIALS = 150  # rows with a figure for the dial gauge
CHOICES = 16  # jars for which several pressures are printed


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


def bands_of(row, lines):
    """Every canner, altitude and printed figure of a row, with what to say when the answer is another."""
    for line in lines:
        printed_row = row(line)
        kinds = (
            ((Canner.BOILING_WATER, minutes_bands(line)),)
            if printed_row.method is Method.BOILING_WATER
            else zip((Canner.DIAL_GAUGE, Canner.WEIGHTED_GAUGE), pressure_bands(line), strict=True)
        )
        for canner, bands in kinds:
            for feet, figure in edges(bands):
                yield (
                    line,
                    printed_row,
                    canner,
                    feet,
                    figure,
                    f"{name(line)}, {canner.value} at {float(feet):,.3f} feet",
                )


def test_each_boiling_water_row_is_found_at_every_edge_of_its_bands():
    asked = Counter()
    for line, row, canner, feet, minutes, where in bands_of(boiling_water_row, BOILING_WATER):
        found = look_up([row], row, canner, feet)
        if not row.seen.is_seen:
            assert isinstance(found, Refusal), where
            assert found.code == "process-not-seen", where
        else:
            assert isinstance(found, ProcessFound), where
            assert (found.minutes, found.pressure_psi, found.vent_minutes) == (minutes, None, 0), where
        asked[id(line)] += 1
    assert_all_were_asked(asked, BOILING_WATER, minutes_bands)


def test_each_pressure_row_is_found_at_every_edge_of_its_bands_on_both_gauges():
    asked = Counter()
    for line, row, canner, feet, psi, where in bands_of(pressure_row, PRESSURE):
        found = look_up([row], row, canner, feet)
        if not row.seen.is_seen:
            assert isinstance(found, Refusal), where
            assert found.code == "process-not-seen", where
        elif psi is None:
            assert isinstance(found, Refusal), where
            assert found.code == "altitude-above-table", where
        else:
            assert isinstance(found, ProcessFound), where
            assert (found.minutes, found.pressure_psi) == (int(line["minutes"]), psi), where
            assert found.vent_minutes == 10, where
        asked[id(line)] += 1
    assert_all_were_asked(asked, PRESSURE, bands_on_both_gauges)


def bands_on_both_gauges(line):
    return [band for bands in pressure_bands(line) for band in bands]


def assert_all_were_asked(asked, lines, bands):
    """Three altitudes for each band of each row of the file: nothing was passed over."""
    assert asked == {id(line): 3 * len(bands(line)) for line in lines}
    assert min(asked.values()) >= 3


def test_a_dial_gauge_above_8000_feet_is_refused():
    with_dial = [line for line in PRESSURE if line["dial_psi_0_2000"]]
    assert len(with_dial) == DIALS
    for line in with_dial:
        row = pressure_row(line)
        found = look_up([row], row, Canner.DIAL_GAUGE, 8000 + A_HAIR_FT)
        assert isinstance(found, Refusal), name(line)
        assert found.code == ("altitude-above-table" if row.seen.is_seen else "process-not-seen"), name(line)


def choices_by_jar():
    seen = [line for line in PRESSURE if pressure_row(line).seen.is_seen]
    groups = [list(lines) for _key, lines in groupby(sorted(seen, key=name), key=name)]
    return [group for group in groups if len(group) > 1]


def test_of_several_printed_pressures_the_gentlest_is_taken_and_the_others_are_named():
    groups = choices_by_jar()
    assert len(groups) == CHOICES
    for lines in groups:
        rows, where = [pressure_row(line) for line in lines], name(lines[0])
        for feet, others in ((500, len(rows) - 1), (1500, len(rows) - 2 if len(rows) == 3 else len(rows) - 1)):
            found = look_up(rows, rows[0], Canner.WEIGHTED_GAUGE, feet)
            assert isinstance(found, ProcessFound), where
            assert found.minutes == max(row.minutes for row in rows), where
            assert found.pressure_psi == (5 if feet == 500 else 10), where
            assert len(found.others) == others, where


def planned(row, canner, feet):
    """A plan whose recipe has nothing of its own but this printed row."""
    carrier = replace(recipe_from_document(strawberry_jam()), method=row.method, process=(row,))
    wish = PlanRequest(altitude=Altitude.from_feet(feet), pots=1, jar=row.jar, pack=row.pack, canner=canner)
    return plan_batch(carrier, wish)


@pytest.mark.long
def test_a_plan_gives_the_printed_minutes_at_every_band():
    asked = Counter()
    for line, row, _canner, feet, minutes, where in bands_of(boiling_water_row, BOILING_WATER):
        found = planned(row, None, feet)
        assert found.ok is row.seen.is_seen, where
        assert (found.process and found.process.minutes) == (minutes if row.seen.is_seen else None), where
        assert found.sterilise_jars == (minutes < 10 if row.seen.is_seen else None), where
        asked[id(line)] += 1
    assert_all_were_asked(asked, BOILING_WATER, minutes_bands)


@pytest.mark.long
def test_a_plan_gives_the_printed_pressure_at_every_band():
    asked = Counter()
    for line, row, canner, feet, psi, where in bands_of(pressure_row, PRESSURE):
        found = planned(row, canner, feet)
        expected = psi if row.seen.is_seen else None
        assert (found.process and found.process.pressure_psi) == expected, where
        assert found.ok is (expected is not None), where
        asked[id(line)] += 1
    assert_all_were_asked(asked, PRESSURE, bands_on_both_gauges)
