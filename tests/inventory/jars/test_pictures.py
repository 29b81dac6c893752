"""The picture of failure rates: in proportion, in words, and nothing in it that a name could smuggle in."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from inventory.batches.charts import RateBar, rates_svg, scale_top
from inventory.batches.statistics import rate

SVG = "{http://www.w3.org/2000/svg}"


def bar(label, failed, of):
    return RateBar(label, rate(failed, of))


@pytest.mark.parametrize(
    ("counts", "top"), [([(0, 400)], 10), ([(8, 24)], 60), ([(0, 24), (8, 24)], 60), ([(5, 5)], 100)]
)
def test_the_scale_ends_at_the_next_ten_above_the_highest_whisker(counts, top):
    assert scale_top([bar("A", *pair) for pair in counts]) == top


def test_dots_stand_in_proportion_and_few_data_is_an_open_dot():
    svg = ElementTree.fromstring(rates_svg([bar("A", 0, 40), bar("B", 20, 40), bar("C", 5, 10)], title="Rates"))
    none, half, few = svg.iter(f"{SVG}circle")
    middle = [float(dot.get("cx")) for dot in (none, half, few)]
    assert middle[0] < middle[1] == middle[2]
    assert [dot.get("fill") for dot in (none, half, few)] == ["currentColor", "currentColor", "none"]


def test_the_whole_picture_is_said_in_words_and_styled_by_attributes_only():
    source = rates_svg([bar("<b>&", 8, 24)], title="Rates")
    svg = ElementTree.fromstring(source)
    assert "<b>&: 8 of 24 failed, likely 18 to 53 %." in svg.find(f"{SVG}desc").text
    assert "<b>" not in source
    assert not re.search(r"style|<script|\son\w+=", source)
    assert (svg.get("width"), svg.get("height")) == ("100%", None)
    assert svg.get("viewBox")
