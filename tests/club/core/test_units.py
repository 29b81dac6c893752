"""A figure that safety hangs on is said in both units, the reader's first."""

from __future__ import annotations

from fractions import Fraction

import pytest

from club.core.units import METRIC, US, both, reader_units, reading_in
from club.members.rules import altitude_words
from recipes.engine import altitude_from_text
from recipes.engine.keeping import heat_text
from recipes.presentation import band_words, headspace_text, heat_words, pressure_text, prose, temperature_text


def test_the_reader_is_known_only_as_long_as_the_page_is_made():
    asked = []
    with reading_in(lambda: asked.append(1) or US):
        assert not asked  # nobody looks a person up for a page without figures
        assert both("1 m", "3 ft") == "3 ft (1 m)"
    assert reader_units() == ""
    assert (both("1 m", "3 ft"), both("1 m", "3 ft", usual=US)) == ("1 m (3 ft)", "3 ft (1 m)")


@pytest.mark.parametrize(
    ("figure", "metric", "us"),
    [
        (lambda: pressure_text(11), "76 kPa (11 psi)", "11 psi (76 kPa)"),
        (lambda: headspace_text(Fraction(1, 4)), "6 mm (1/4 in)", "1/4 in (6 mm)"),
        (lambda: temperature_text(100.0), "100.0 °C (212.0 °F)", "212.0 °F (100.0 °C)"),
        (lambda: altitude_words(altitude_from_text("1040 m")), "1,040 m (3,412.1 ft)", "3,412.1 ft (1,040 m)"),
        (lambda: heat_words(70, 75), "21 to 24 °C (70 to 75 °F)", heat_text(70, 75)),
        (lambda: band_words("every altitude"), "every altitude", "every altitude"),
    ],
)
def test_each_figure_stands_first_in_the_readers_units(figure, metric, us):
    with reading_in(METRIC):
        assert figure() == metric
    with reading_in(US):
        assert figure() == us


@pytest.mark.parametrize(
    ("printed", "metric"),
    [
        ("Leave 1/4 inch of headspace.", "Leave 6 mm (1/4 inch) of headspace."),
        ("Cover with one to two inches of water.", "Cover with 2.5 to 5 cm (one to two inches) of water."),
        ("Fill to 1/4 inch (6 mm) below the rim.", "Fill to 6 mm (1/4 inch) below the rim."),
        ("Heat to 180 °F.", "Heat to 82 °C (180 °F)."),
        ("At -18 °C (0 °F) or colder.", "At -18 °C (0 °F) or colder."),
        ("Put 2 in each jar, half a minute apart.", "Put 2 in each jar, half a minute apart."),
    ],
)
def test_a_metric_reader_finds_metric_figures_first_in_prose_too(printed, metric):
    assert prose(printed, METRIC) == metric
    assert prose(printed, US) == prose(printed) == printed
