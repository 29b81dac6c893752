"""Heating is mass times heat capacity times degrees, over what the burner gives."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.engine.physics import EFFICIENCY, Burner, minutes_to_boil_off, minutes_to_heat

KETTLE = Burner(watts=1000, efficiency=1)


def test_a_kilogram_of_water_from_20_to_100_takes_335_seconds_at_a_kilowatt():
    assert minutes_to_heat(1, 20, 100, KETTLE) == 6  # 5.59 minutes, never rounded down
    assert minutes_to_heat(100, 20, 100, KETTLE) == 559


def test_half_the_efficiency_takes_twice_as_long():
    assert minutes_to_heat(100, 20, 100, Burner(1000, 0.5)) == 1118


def test_boiling_away_a_kilogram_takes_over_five_times_what_heating_it_took():
    assert minutes_to_boil_off(1, KETTLE) == 38


def test_water_that_is_hot_enough_takes_no_time():
    assert minutes_to_heat(5, 97, 95, KETTLE) == 0


def test_every_kind_of_burner_names_its_source():
    assert all(figure.source for figure in EFFICIENCY.values())
    assert Burner.of_kind("gas").usable_watts < Burner.of_kind("induction").usable_watts


@pytest.mark.parametrize(("watts", "efficiency"), [(0, 0.5), (-5, 0.5), (2000, 0), (2000, 1.1), (60_000, 0.5)])
def test_a_burner_that_cannot_be_is_refused(watts, efficiency):
    with pytest.raises(ValueError, match="burner"):
        Burner(watts, efficiency)


@given(st.floats(0, 50), st.floats(0, 50), st.floats(0, 100))
def test_more_to_heat_never_takes_less_time(kg, more, to_c):
    assert minutes_to_heat(kg + more, 10, to_c, KETTLE) >= minutes_to_heat(kg, 10, to_c, KETTLE)
