"""What the last test of a dial gauge does to its setting: the table's pressure and the measured error, never less.

Sources: up to 2 psi, high or low, the pressure used is changed, and beyond that the gauge is replaced: Iowa State
University Extension, AnswerLine, 21 May 2024; University of Missouri Extension; Clemson HGIC 2021. The example of 12
where 11 is asked and the gauge reads 1 high: the USDA guide as quoted at sbcanning.com. A low reading over-processes:
Iowa State, Greene County. Rounded up to a whole psi and never below the table: the club's own rule.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from recipes.engine import PlanRequest, gauge_refusal, gauge_setting, plan_as_dict, plan_batch, process_for
from recipes.engine.document import recipe_from_document
from recipes.engine.terms import Altitude, Canner, Pack, Refusal
from tests.recipes.engine.samples import snap_beans

BEANS = recipe_from_document(snap_beans())
HOME = Altitude(F(1040))  # 3,412 ft: 12 psi by a dial gauge, 15 by a weighted one


@pytest.mark.parametrize(
    ("table", "reads_high", "setting"),
    [
        (11, "1", 12),  # the printed example
        (13, "2", 15),
        (11, "0", 11),
        (11, "0.5", 12),  # up, not to the nearest
        (11, "0.01", 12),
        (14, "2", 16),
        (11, "-1", 11),  # reads low: as the table says
        (12, "-2", 12),
        (11, None, 11),
    ],
)
def test_the_setting_is_the_table_s_pressure_and_what_the_gauge_reads_high_rounded_up(table, reads_high, setting):
    assert gauge_setting(table, None if reads_high is None else F(reads_high)) == setting


@pytest.mark.parametrize("hundredths", range(-250, 251, 7))
def test_the_true_pressure_is_never_below_the_table_and_never_a_whole_psi_above_what_is_needed(hundredths):
    error = F(hundredths, 100)
    for table in range(5, 16):
        true = gauge_setting(table, error) - error
        assert true >= table
        assert gauge_setting(table, error) - table - max(0, error) < 1


@pytest.mark.parametrize(
    ("reads_high", "is_replaced"),
    [("2", False), ("2.01", True), ("-2", False), ("-2.01", True), ("0", False), ("8", True)],
)
def test_a_gauge_more_than_2_psi_out_either_way_is_replaced(reads_high, is_replaced):
    refused = gauge_refusal(F(reads_high))
    assert (refused is not None) is is_replaced
    found = beans(F(reads_high))
    assert isinstance(found, Refusal) is is_replaced
    if refused is not None:
        assert (refused.code, refused.rule) == ("gauge-replaced", "PC-GAUGE-TOL")
        assert "Iowa State" in refused.source


def beans(reads_high, canner=Canner.DIAL_GAUGE):
    wanted = {"jar": "quart", "pack": Pack.HOT, "canner": canner, "altitude": HOME}
    return process_for(BEANS.process, **wanted, reads_high=reads_high)


def test_the_table_s_pressure_stays_beside_the_setting():
    found = beans(F(3, 2))
    assert (found.pressure_psi, found.setting_psi) == (12, 14)


def test_a_weighted_gauge_has_no_error_to_correct():
    found = beans(F(2), Canner.WEIGHTED_GAUGE)
    assert (found.pressure_psi, found.setting_psi, found.reads_high) == (15, 15, None)


def plan(reads_high):
    wanted = {"altitude": HOME, "pots": 1, "jar": "quart", "pack": Pack.HOT, "canner": Canner.DIAL_GAUGE}
    return plan_batch(BEANS, PlanRequest(**wanted, reads_high=reads_high), revision=1)


@pytest.mark.parametrize(
    ("reads_high", "codes"),
    [
        (None, {"gauge-test"}),
        (F(0), set()),
        (F(1, 2), {"gauge-setting"}),
        (F(2), {"gauge-setting", "gauge-doubtful"}),
        (F(-1, 2), {"gauge-setting"}),
        (F(-1), {"gauge-setting", "gauge-doubtful"}),
    ],
)
def test_a_plan_says_what_the_gauge_asks_for(reads_high, codes):
    said = {caution.code: caution.message for caution in plan(reads_high).cautions}
    assert {code for code in said if code.startswith("gauge")} == codes
    if reads_high == 2:
        assert said["gauge-setting"] == "Set 14 psi where the table says 12: this gauge reads 2 psi high."


def test_the_setting_is_in_every_load_of_the_plan_and_in_its_json():
    made = plan(F(2))
    written = plan_as_dict(made)
    assert written["process"]["pressure_psi"] == 12
    assert (written["process"]["setting_psi"], written["process"]["gauge_reads_high_psi"]) == (14, 2)
    assert {(load["pressure_psi"], load["setting_psi"]) for load in written["loads"]} == {(12, 14)}


def test_a_worn_gauge_refuses_the_plan_and_shows_no_process():
    made = plan(F(5, 2))
    assert [refusal.code for refusal in made.refusals] == ["gauge-replaced"]
    assert made.process is None
    assert not made.loads
