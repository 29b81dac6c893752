"""A process is found in the table or refused with what to do; never guessed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.document import recipe_from_document
from recipes.engine.process import (
    Process,
    ProcessFound,
    process_choices,
    process_for,
    sterilise_minutes,
)
from recipes.engine.rules import RULES
from recipes.engine.terms import Altitude, Canner, Method, MinutesBand, Pack, PressureBand, Refusal, Seen
from tests.recipes.engine.samples import snap_beans, strawberry_jam

JAM = recipe_from_document(strawberry_jam()).process
BEANS = recipe_from_document(snap_beans()).process
HOME = Altitude.from_feet(3412)


def jam(rows=JAM, *, jar="half-pint", pack=None, canner=None, altitude=HOME):
    return process_for(rows, jar=jar, pack=pack, canner=canner, altitude=altitude)


def beans(rows=BEANS, *, jar="quart", pack=Pack.HOT, canner=Canner.DIAL_GAUGE, altitude=HOME):
    return process_for(rows, jar=jar, pack=pack, canner=canner, altitude=altitude)


def code(found: ProcessFound | Refusal) -> str:
    assert isinstance(found, Refusal), found
    assert found.source == RULES[found.rule].source
    assert found.message.endswith(".")
    return found.code


def test_a_found_process_says_where_it_comes_from():
    found = jam()
    assert isinstance(found, ProcessFound)
    assert (found.method, found.minutes, found.pack, found.jar) == (Method.BOILING_WATER, 10, Pack.HOT, "half-pint")
    assert found.band == "1,001 to 6,000 ft (305 to 1,828 m)"
    assert found.source == JAM[0].source
    assert found.headspace_in == Fraction(1, 4)
    assert found.rule.name == "TESTED-ONLY"


def test_pressure_carries_its_gauge_and_ten_minutes_of_venting():
    dial, weighted = beans(), beans(canner=Canner.WEIGHTED_GAUGE)
    assert (dial.minutes, dial.pressure_psi, dial.gauge, dial.vent_minutes) == (25, 12, "dial", 10)
    assert (weighted.minutes, weighted.pressure_psi, weighted.gauge) == (25, 15, "weighted")


@pytest.mark.parametrize(
    ("feet", "minutes", "band"),
    [
        (Fraction(0), 5, "0 to 1,000 ft (0 to 304 m)"),
        (Fraction(1000), 5, "0 to 1,000 ft (0 to 304 m)"),
        (1000 + Fraction(1, 10**9), 10, "1,001 to 6,000 ft (305 to 1,828 m)"),
        (Fraction(6000), 10, "1,001 to 6,000 ft (305 to 1,828 m)"),
        (6000 + Fraction(1, 10**9), 15, "above 6,000 ft (above 1,828 m)"),
    ],
)
def test_a_height_above_a_limit_by_any_amount_is_in_the_next_band(feet, minutes, band):
    found = jam(altitude=Altitude.from_feet(feet))
    assert (found.minutes, found.band) == (minutes, band)


def test_an_altitude_stored_in_metres_is_compared_exactly_in_feet():
    # 304.8 m is exactly 1,000 ft; a tenth of a millimetre more is not.
    assert jam(altitude=Altitude(Fraction("304.8"))).minutes == 5
    assert jam(altitude=Altitude(Fraction("304.8001"))).minutes == 10


def test_an_unknown_altitude_is_refused_with_what_to_do():
    found = jam(altitude=None)
    assert code(found) == "altitude-unknown"
    assert "Find it on a map" in found.message


@pytest.mark.parametrize("metres", [-431, 5001])
def test_an_impossible_altitude_is_refused(metres):
    assert code(jam(altitude=Altitude(Fraction(metres)))) == "altitude-out-of-range"


def test_below_sea_level_is_the_first_band_with_a_caution():
    found = jam(altitude=Altitude(Fraction(-300)))
    assert found.minutes == 5
    assert [caution.code for caution in found.cautions] == ["below-sea-level"]


@pytest.mark.parametrize(("metres", "warned"), [("274.8", False), ("274.9", True), ("304.8", True), ("304.81", False)])
def test_an_altitude_just_under_a_limit_is_cautioned(metres, warned):
    found = jam(altitude=Altitude(Fraction(metres)))
    assert ("near-band-edge" in [caution.code for caution in found.cautions]) is warned


def test_a_smaller_jar_takes_the_next_larger_tested_one():
    only_pints = [row for row in JAM if row.jar == "pint"]
    found = jam(only_pints, jar="quarter-pint")
    assert (found.jar, found.tested_jar) == ("quarter-pint", "pint")
    assert jam(JAM, jar="quarter-pint").tested_jar == "half-pint"


def test_a_larger_jar_than_tested_is_refused():
    for jar in ("pint-and-half", "quart", "half-gallon"):
        found = jam(jar=jar)
        assert code(found) == "jar-too-large"
        assert "half-pint or pint" in found.message


def test_an_unknown_jar_is_refused():
    assert code(jam(jar="bucket")) == "jar-unknown"


def test_one_pack_is_taken_and_several_are_asked_for():
    assert jam(pack=None).pack is Pack.HOT
    found = beans(pack=None)
    assert code(found) == "pack-unknown"
    assert "hot or raw" in found.message


def test_a_pack_that_was_not_tested_is_refused():
    assert code(jam(pack=Pack.RAW)) == "pack-not-tested"
    assert code(jam(pack=Pack.NOT_STATED)) == "pack-not-tested"


def test_a_source_that_names_no_pack_needs_none():
    rows = [replace(row, pack=Pack.NOT_STATED) for row in JAM]
    assert jam(rows).pack is Pack.NOT_STATED


def test_boiling_water_for_a_pressure_recipe_is_refused_by_rule():
    found = beans(canner=Canner.BOILING_WATER)
    assert code(found) == "pressure-only"
    assert found.rule == "LOWACID-METHOD"


def test_a_pressure_recipe_asks_which_gauge():
    found = beans(canner=None)
    assert code(found) == "canner-unknown"
    assert "dial" in found.message
    assert "weighted" in found.message


def test_a_gauge_without_printed_pressures_is_refused():
    rows = [replace(row, dial=()) for row in BEANS]
    assert code(beans(rows)) == "gauge-not-tested"
    assert code(jam(canner=Canner.DIAL_GAUGE)) == "boiling-water-only"


def test_both_methods_in_one_table_are_told_apart_by_the_canner():
    rows = [*JAM, replace(BEANS[0], pack=Pack.HOT)]
    assert jam(rows, jar="pint").method is Method.BOILING_WATER
    assert jam(rows, jar="pint", canner=Canner.DIAL_GAUGE).method is Method.PRESSURE


@pytest.mark.parametrize("seen", [Seen.MEMORY, Seen.PARTLY_MEMORY, Seen.DISPUTED, Seen.SUSPECT])
def test_a_row_that_was_not_seen_in_print_is_never_used(seen):
    assert code(jam([replace(row, seen=seen) for row in JAM])) == "process-not-seen"
    half_pint, pint = JAM
    assert code(jam([half_pint, replace(pint, seen=seen)], jar="pint")) == "process-not-seen"
    assert jam([replace(half_pint, seen=seen), pint]).tested_jar == "pint"


def test_no_rows_at_all_is_a_refusal():
    assert code(jam([])) == "no-process"


WEIGHTED_ONLY = replace(
    BEANS[0], dial=(), weighted=(PressureBand(1000, 15), PressureBand(None, None)), minutes=10, jar="quart"
)


def test_a_pressure_that_is_not_recommended_here_is_refused():
    weighted = {"canner": Canner.WEIGHTED_GAUGE}
    assert beans([WEIGHTED_ONLY], **weighted, altitude=Altitude.from_feet(1000)).pressure_psi == 15
    assert code(beans([WEIGHTED_ONLY], **weighted)) == "altitude-above-table"


def test_a_pressure_good_at_every_altitude_is_preferred_and_the_other_is_named():
    rows = [WEIGHTED_ONLY, *BEANS]
    found = beans(rows, canner=Canner.WEIGHTED_GAUGE, altitude=Altitude.from_feet(900))
    assert (found.minutes, found.pressure_psi) == (25, 10)
    assert [(other.minutes, other.pressure_psi) for other in found.others] == [(10, 15)]
    assert beans(rows, canner=Canner.WEIGHTED_GAUGE).others == ()


def test_the_order_of_rows_changes_nothing():
    rows = [WEIGHTED_ONLY, *BEANS, *JAM]
    for canner in Canner:
        assert beans(rows, canner=canner) == beans(list(reversed(rows)), canner=canner)


def test_choices_name_what_the_seen_rows_allow():
    choices = process_choices([*BEANS, replace(JAM[0], seen=Seen.MEMORY)])
    assert choices.packs == (Pack.HOT, Pack.RAW)
    assert choices.tested_jars == ("pint", "quart")
    assert choices.jars == ("quarter-pint", "half-pint", "twelve-ounce", "pint", "pint-and-half", "quart")
    assert choices.canners == (Canner.DIAL_GAUGE, Canner.WEIGHTED_GAUGE)
    assert process_choices([]).jars == ()


def test_jars_are_sterilised_only_for_a_boiling_water_process_under_ten_minutes():
    low = jam(altitude=Altitude.from_feet(900))
    assert Process.of(low).needs_sterile_jars
    assert not Process.of(jam()).needs_sterile_jars
    short = beans([replace(row, minutes=8) for row in BEANS])
    assert not Process.of(short).needs_sterile_jars


@pytest.mark.parametrize(
    ("feet", "minutes"), [(-500, 10), (0, 10), (1000, 10), (1001, 11), (2000, 11), (2001, 12), (3412, 13), (8000, 17)]
)
def test_sterilising_takes_a_minute_more_for_each_thousand_feet(feet, minutes):
    assert sterilise_minutes(Altitude.from_feet(feet)) == minutes


altitudes = st.fractions(min_value=-1400, max_value=16400, max_denominator=100).map(Altitude.from_feet)
rising = st.lists(st.integers(min_value=1, max_value=20), min_size=4, max_size=4).map(sorted)


@given(rising, altitudes, altitudes)
def test_a_higher_kitchen_never_gets_a_shorter_time(minutes, one, other):
    bands = tuple(MinutesBand(upper, m) for upper, m in zip((1000, 3000, 6000, None), minutes, strict=True))
    low, high = sorted((one, other), key=lambda altitude: altitude.metres)
    rows = [replace(JAM[0], minutes_bands=bands)]
    assert jam(rows, altitude=low).minutes <= jam(rows, altitude=high).minutes


@given(
    st.lists(st.tuples(rising, st.integers(min_value=1, max_value=90)), min_size=1, max_size=3),
    st.sampled_from([Canner.DIAL_GAUGE, Canner.WEIGHTED_GAUGE]),
    altitudes,
    altitudes,
)
def test_a_higher_kitchen_never_gets_a_lower_pressure_nor_a_shorter_time_under_it(choices, canner, one, other):
    low, high = sorted((one, other), key=lambda altitude: altitude.metres)
    rows = [
        replace(
            BEANS[0],
            minutes=minutes,
            dial=tuple(PressureBand(u, p) for u, p in zip((2000, 4000, 6000, 8000), psi, strict=True)),
            weighted=(PressureBand(1000, psi[0]), PressureBand(None, psi[3])),
        )
        for psi, minutes in choices
    ]
    lower, higher = (beans(rows, jar="pint", canner=canner, altitude=altitude) for altitude in (low, high))
    if isinstance(higher, Refusal):
        assert code(higher) == "altitude-above-table"
        assert high.feet > 8000
    else:
        assert isinstance(lower, ProcessFound)
        assert lower.pressure_psi <= higher.pressure_psi
        assert lower.minutes <= higher.minutes
