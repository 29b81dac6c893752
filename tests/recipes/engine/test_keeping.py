"""Ways of keeping that take days: salt by weight, days by temperature, months by store, water balance."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest

from recipes.engine import keeping
from recipes.engine.keeping import Between, PhVerdict, StageKind, StagePlan
from recipes.engine.terms import Altitude, Refusal
from recipes.library import keeping_tables

pytestmark = pytest.mark.once
TABLES = keeping_tables()
KRAUT, DILLS, KIMCHI = (TABLES.ferments[key] for key in ("sauerkraut", "fermented-dills", "kimchi"))
APPLES = TABLES.dried["apples-rings-or-slices-1-8-in"]
BEANS = TABLES.frozen["green-beans-whole-or-1-to-2-in-pieces-dry"]


def test_salt_goes_by_weight_in_the_printed_share_and_is_never_less():
    # 3 tbsp of a salt of 292 g a cup are 54.75 g to 5 lb of cabbage.
    assert keeping.weighed_in(KRAUT.brine, 2268).salt_g == (55, 55)
    assert keeping.weighed_in(KRAUT.brine, 1000).salt_g == (25, 25)  # 24.14 g
    assert keeping.weighed_in(KIMCHI.brine, 1000).salt_g == (20, 50)  # 2 to 5 percent
    dills = keeping.weighed_in(DILLS.brine, 1815)  # 4 lb and a little: 1/2 cup salt, 8 cups water, 1/4 cup vinegar
    assert (dills.salt_g[0], dills.water_ml, dills.vinegar_ml) == (147, 1893, 60)
    with pytest.raises(ValueError, match="nothing"):
        keeping.weighed_in(KRAUT.brine, 0)


@pytest.mark.parametrize(
    ("room_f", "days"),
    [(70, (21, 28)), (75, (21, 28)), (60, (35, 42)), (65, (35, 42)), (67, None), (59, None), (76, None)],
)
def test_the_days_of_a_ferment_go_by_the_printed_temperatures_and_between_them_nothing_is_said(room_f, days):
    found = keeping.band_for(KRAUT, Fraction(room_f))

    if days is None:
        assert isinstance(found, Refusal)
        assert found.message
        assert found.source
    else:
        assert not isinstance(found, Refusal)
        assert found.days == days


def test_stages_follow_each_other_by_their_shortest_and_longest_times():
    began = datetime(2026, 9, 14, 8, tzinfo=UTC)
    stages = [
        StagePlan(StageKind.DRY, timedelta(hours=6), timedelta(hours=12)),
        StagePlan(StageKind.CONDITION, timedelta(days=7), timedelta(days=10)),
    ]

    dry, condition = keeping.stage_dates(stages, began)

    assert (dry.ends_from, dry.ends_by) == (began + timedelta(hours=6), began + timedelta(hours=12))
    assert condition.begins == dry.ends_from
    assert condition.ends_by == began + timedelta(hours=12, days=10)
    kinds = [stage.kind for stage in keeping.drying_stages(APPLES, TABLES.rules, pasteurise=True)]
    assert kinds == [StageKind.PREPARE, StageKind.DRY, StageKind.CONDITION, StageKind.PASTEURISE]


def test_months_go_by_the_next_warmer_printed_temperature_and_above_the_last_none_is_said():
    months = {f: span.low for f, span in APPLES.months.items()}

    assert keeping.store_months("apples", months, Fraction(60)) == 12
    assert keeping.store_months("apples", months, Fraction(61)) == 6
    too_warm = keeping.store_months("apples", months, Fraction(81))
    assert isinstance(too_warm, Refusal)
    assert "80" in too_warm.message


def test_what_was_not_blanched_has_no_printed_months():
    assert keeping.freezer_months(BEANS, blanched=True) == 8
    unblanched = keeping.freezer_months(BEANS, blanched=False)
    assert isinstance(unblanched, Refusal)
    assert unblanched.code == "keeps-unblanched"
    assert unblanched.message


def test_blanching_is_a_minute_longer_from_5000_ft():
    printed = Between(Fraction(3), Fraction(3))

    assert keeping.blanch_minutes(printed, TABLES.rules, Altitude.from_feet(4999)) == (3, 3)
    assert keeping.blanch_minutes(printed, TABLES.rules, Altitude.from_feet(5000)) == (4, 4)


@pytest.mark.parametrize(
    ("months", "until"),
    [(12, date(2027, 8, 31)), (6, date(2027, 2, 28)), (18, date(2028, 2, 29)), ("1/2", date(2026, 9, 15))],
)
def test_best_by_is_the_same_day_so_many_months_on(months, until):
    assert keeping.best_by(date(2026, 8, 31), Fraction(months)) == until


def test_dried_food_weighs_its_dry_matter_and_the_water_left():
    # 1,000 g of apples with 85.56 percent water hold 144.4 g of matter: 180.5 g at 20 percent water.
    left = keeping.dry_yield(1000, 85.56, keeping.DRY_WATER["fruit"])

    assert round(left.best, 1) == 180.5
    assert left.low < left.best <= left.high
    with pytest.raises(ValueError, match="water"):
        keeping.dry_yield(1000, 100, keeping.DRY_WATER["fruit"])


@pytest.mark.parametrize(
    ("ph", "verdict"),
    [("3.6", PhVerdict.FINISHED), ("3.61", PhVerdict.ACID), ("4.6", PhVerdict.ACID), ("4.61", PhVerdict.TOO_HIGH)],
)
def test_a_ph_above_the_limit_is_never_fine(ph, verdict):
    assert keeping.ph_verdict(KRAUT, Fraction(ph)) is verdict


def test_rows_that_nobody_read_in_print_and_meat_are_left_out():
    assert all(one.cited.seen.is_seen for one in [*TABLES.dried.values(), *TABLES.frozen.values()])
    assert "unblanched-months" not in TABLES.rules.figures
    assert not any(one.kind == "meat" for one in TABLES.dried.values())
    assert len(TABLES.dried) >= 25
    assert len(TABLES.frozen) >= 25
