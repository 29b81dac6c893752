"""The canner in the batch: named by its code or as one's own, its gauge tested, and its error in the setting."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from inventory.batches.rules import OwnGauge
from inventory.equipment.choices import Kind
from inventory.equipment.models import Thing
from inventory.equipment.services import (
    instrument_test_record,
    loan_return,
    own_canner_add,
    own_canner_change,
    own_canner_retire,
    thing_repair,
)
from recipes.engine.terms import Canner
from tests.factories.batches import NOW, beans, make_batch, make_batch_out, make_pressure_batch
from tests.factories.equipment import BAD, GOOD, TODAY, make_keeper, make_loan, make_test, make_thing, readings
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db

HIGH = readings(("5", "7"), ("11", "13"), ("15", "16.5"))  # 2 psi high at the most
LOW = readings(("5", "4"), ("11", "10"), ("15", "13"))


@pytest.fixture
def dial() -> Thing:
    """The club's, its gauge tested a month ago and 2 psi high."""
    thing = make_thing(Kind.DIAL_GAUGE, code="DGC-07", capacity={"pint": 8, "quart": 7})
    make_test(thing, TODAY - timedelta(days=30), readings=HIGH)
    return thing


def refused(**wanted) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as error:
        make_pressure_batch(**wanted)
    assert not Batch.objects.exists()
    return error.value.message_dict


# The setting


def test_a_gauge_that_reads_2_high_is_set_2_higher_than_the_table(dial):
    batch = make_pressure_batch(canner_code="dgc07")  # as a hand types it
    assert batch.canner_card == dial
    assert (batch.required_psi, batch.setting_psi) == (12, 14)
    assert (batch.gauge_tested_on, batch.gauge_reads_high_hundredths) == (TODAY - timedelta(days=30), 200)
    assert batch.plan["process"]["setting_psi"] == 14
    assert any(caution["code"] == "gauge-setting" for caution in batch.plan["cautions"])
    assert {load["setting_psi"] for load in batch.plan["loads"]} == {14}


def test_a_gauge_that_reads_low_at_every_point_is_set_as_the_table_says():
    thing = make_thing(Kind.DIAL_GAUGE)
    make_test(thing, readings=LOW)
    batch = make_pressure_batch(canner_code=thing.code)
    assert (batch.setting_psi, batch.gauge_reads_high_hundredths) == (12, -100)


def test_what_stands_in_it_at_once_is_its_card_s(dial):
    batch = make_pressure_batch(canner_code=dial.code, pots=1)
    assert all(sum(jar["count"] for jar in load["jars"]) <= 8 for load in batch.plan["loads"])


def test_a_log_below_the_corrected_setting_is_refused_and_at_it_written(dial):
    batch = make_pressure_batch(canner_code=dial.code)
    told = {"by": batch.made_by, "batch": batch, "jars": {"pint": 4}, "minutes": 20, "lid_code": "L-7"}
    out = NOW + timedelta(hours=2)
    with pytest.raises(ValidationError) as error:
        services.batch_log_process(**told, psi=Decimal("13.9"), jars_out_at=out, now=out)
    [said] = error.value.message_dict["psi"]
    assert "14 psi on this gauge" in said
    assert "12 in the table" in said
    assert Batch.objects.get().state == BatchState.STARTED
    logged = services.batch_log_process(**told, psi=Decimal(14), jars_out_at=out, now=out)
    assert (logged.processed_psi, logged.setting_psi) == (14, 14)


def test_the_database_itself_refuses_a_pressure_below_the_setting(dial):
    batch = make_pressure_batch(canner_code=dial.code)
    rows = Batch.objects.filter(pk=batch.pk)
    for wrong in (
        {"processed_psi": Decimal("13.9")},
        {"reprocessed_psi": Decimal(13)},
        {"setting_psi": 13},  # below the table and the error
        {"setting_psi": 11},
        {"setting_psi": None},
        {"gauge_tested_on": None},
        {"gauge_reads_high_hundredths": 201},
        {"gauge_reads_high_hundredths": None},
        {"canner": "weighted-gauge"},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**wrong)
    assert rows.update(setting_psi=15) == 1  # higher is safe


def test_batches_from_before_stay_as_they_are(dial):
    batch = make_pressure_batch()
    before = {"setting_psi": None, "gauge_tested_on": None, "gauge_reads_high_hundredths": None}
    assert Batch.objects.filter(pk=batch.pk).update(**before) == 1
    batch.refresh_from_db()
    assert [(need.psi, need.setting) for need in batch.tested_needs()] == [(12, 12)]


# No valid test, no start


@pytest.mark.parametrize(
    ("tests", "why"),
    [
        ([], "never tested"),
        ([(TODAY - timedelta(days=366), GOOD)], "more than a year old"),
        ([(date(2025, 9, 14), GOOD)], "more than a year old"),  # lapses on the day itself
        ([(TODAY - timedelta(days=30), BAD)], "failed its test"),
        ([(TODAY - timedelta(days=60), GOOD), (TODAY, BAD)], "failed its test"),
    ],
)
def test_without_a_good_test_no_batch_is_started(tests, why):
    thing = make_thing(Kind.DIAL_GAUGE, code="DGC-09")
    for tested_on, shown in tests:
        # As if each had been recorded on its own day.
        on = NOW - timedelta(days=(TODAY - tested_on).days)
        make_test(thing, tested_on, readings=shown, now=on)
    messages = refused(canner_code="DGC-09")
    assert list(messages) == ["canner_code"]
    assert why in messages["canner_code"][0]


def test_a_weighted_gauge_needs_no_test():
    thing = make_thing(Kind.WEIGHTED_GAUGE)
    batch = make_pressure_batch(canner=Canner.WEIGHTED_GAUGE, canner_code=thing.code)
    assert (batch.required_psi, batch.setting_psi, batch.gauge_tested_on) == (15, 15, None)


def test_a_batch_keyed_in_late_goes_by_the_test_of_its_day_but_not_past_a_failed_one(dial):
    began = NOW - timedelta(days=5)
    make_test(dial, TODAY - timedelta(days=1), readings=GOOD)
    batch = make_batch(**beans(started_at=began, canner_code=dial.code))
    assert batch.setting_psi == 14
    make_test(dial, TODAY, readings=BAD)
    with pytest.raises(ValidationError, match="failed its test"):
        make_batch(**beans(started_at=began, canner_code=dial.code))


def test_a_batch_keyed_in_late_is_refused_where_the_next_test_failed_though_a_new_gauge_passed(dial):
    make_test(dial, TODAY - timedelta(days=3), readings=BAD, now=NOW - timedelta(days=3))
    make_test(dial, TODAY - timedelta(days=1), readings=GOOD)
    for days, is_refused in ((5, True), (1, False)):
        wanted = beans(started_at=NOW - timedelta(days=days), canner_code=dial.code)
        if is_refused:
            with pytest.raises(ValidationError, match="failed the next test"):
                make_batch(**wanted)
        else:
            assert make_batch(**wanted).canner_card == dial


def log_refused(batch, out, **told) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as error:
        services.batch_log_process(
            by=batch.made_by,
            batch=batch,
            jars={"pint": 4},
            minutes=20,
            psi=batch.setting_psi,
            lid_code="L-7",
            jars_out_at=out,
            **{"now": out, **told},
        )
    assert Batch.objects.get(pk=batch.pk).state == BatchState.STARTED
    return error.value.message_dict


def test_a_gauge_that_failed_since_the_start_keeps_the_log_from_being_written(dial):
    batch = make_pressure_batch(canner_code=dial.code)
    make_test(dial, TODAY, readings=BAD, now=NOW + timedelta(hours=1))
    messages = log_refused(batch, NOW + timedelta(hours=2))
    assert list(messages) == ["jars_out_at"]
    assert "failed its test" in messages["jars_out_at"][0]
    assert "give the batch up here" in messages["jars_out_at"][0]
    given_up = services.batch_abandon(by=batch.made_by, batch=batch, reason="The gauge failed.")
    assert given_up.state == BatchState.ABANDONED


@pytest.mark.parametrize("has_card", [True, False])
def test_a_test_that_lapsed_before_the_jars_came_out_serves_no_log(has_card):
    tested_on = TODAY - timedelta(days=364)
    wanted = {"own_gauge": OwnGauge(tested_on, Decimal(0))}
    if has_card:
        thing = make_thing(Kind.DIAL_GAUGE)
        make_test(thing, tested_on, now=NOW - timedelta(days=364))
        wanted = {"canner_code": thing.code}
    batch = make_pressure_batch(**wanted)
    messages = log_refused(batch, NOW + timedelta(days=1))
    assert list(messages) == ["jars_out_at"]
    assert "more than a year old" in messages["jars_out_at"][0]


def test_a_log_does_not_move_the_beginning_before_the_test_of_the_gauge():
    batch = make_pressure_batch(own_gauge=OwnGauge(TODAY, Decimal(0)))
    yesterday = NOW - timedelta(days=1)
    messages = log_refused(batch, yesterday + timedelta(hours=2), started_at=yesterday, now=NOW)
    assert list(messages) == ["started_at"]


# Which canner


def test_under_pressure_a_canner_is_named():
    assert list(refused(own_gauge=None)) == ["canner_code"]


@pytest.mark.parametrize(
    ("own", "field"),
    [
        (OwnGauge(), "own_tested_on"),
        (OwnGauge(reads_high=Decimal(1)), "own_tested_on"),
        (OwnGauge(tested_on=TODAY), "own_reads_high"),
        (OwnGauge(TODAY + timedelta(days=1), Decimal(0)), "own_tested_on"),
        (OwnGauge(TODAY - timedelta(days=365), Decimal(0)), "own_tested_on"),
        (OwnGauge(date(1, 1, 1), Decimal(0)), "own_tested_on"),
        (OwnGauge(TODAY, Decimal("2.5")), "own_reads_high"),
        (OwnGauge(TODAY, Decimal("-3")), "own_reads_high"),
    ],
)
def test_an_own_dial_gauge_without_a_card_wants_a_good_test(own, field):
    assert list(refused(own_gauge=own)) == [field]


def test_an_own_dial_gauge_without_a_card_is_corrected_as_well():
    batch = make_pressure_batch(own_gauge=OwnGauge(TODAY, Decimal("0.5")))
    assert (batch.canner_card, batch.setting_psi, batch.gauge_reads_high_hundredths) == (None, 13, 50)


def test_a_dial_gauge_that_has_a_card_is_named_by_it():
    by = make_person()
    kitchen = make_kitchen(by)
    card = {"kind": Kind.DIAL_GAUGE, "name": "Ours", "capacity": {"pint": 9}}
    own = own_canner_add(by=by, kitchen=kitchen, **card)
    typed = OwnGauge(TODAY, Decimal(0))
    messages = refused(by=by, kitchen=kitchen, own_gauge=typed)
    assert list(messages) == ["canner_code"]
    assert own.code in messages["canner_code"][0]
    own_canner_retire(by=by, thing=own)
    assert make_pressure_batch(by=by, kitchen=kitchen, own_gauge=typed).canner_card is None


def test_an_unknown_code_is_said_beside_its_field(dial):
    messages = refused(canner_code="DGC-99")
    assert "DGC-99" in messages["canner_code"][0]


def test_both_a_code_and_one_s_own_are_refused(dial):
    assert list(refused(canner_code=dial.code, own_gauge=OwnGauge(TODAY, Decimal(0)))) == ["canner_code"]


def test_the_other_gauge_than_the_plan_s_is_refused(dial):
    messages = refused(canner=Canner.WEIGHTED_GAUGE, canner_code=dial.code)
    assert "Plan again" in messages["canner_code"][0]


def test_what_is_in_repair_or_lacks_a_part_is_not_used(dial):
    loan = make_loan(dial)
    loan_return(by=make_keeper(), loan=loan, condition="good", missing_parts="the rack", now=NOW)
    assert "the rack" in refused(canner_code=dial.code)["canner_code"][0]
    thing_repair(by=make_keeper(), thing=dial, note="the handle")
    assert "in repair" in refused(canner_code=dial.code)["canner_code"][0]


def test_only_canners_and_only_those_of_the_club_and_of_one_s_own_household():
    stranger = make_person()
    theirs = own_canner_add(
        by=stranger,
        kitchen=make_kitchen(stranger),
        kind=Kind.WEIGHTED_GAUGE,
        name="Ours",
        capacity={"pint": 9},
    )
    pan = make_thing(Kind.PRESERVING_PAN)
    for code in (theirs.code, pan.code):
        assert list(refused(canner=Canner.WEIGHTED_GAUGE, canner_code=code)) == ["canner_code"]
    batch = make_batch(**beans(by=stranger, canner=Canner.WEIGHTED_GAUGE, canner_code=theirs.code))
    assert batch.canner_card == theirs


@pytest.mark.parametrize(
    ("kind", "is_fine"),
    [(Kind.BOILING_WATER, True), (Kind.STEAM, True), (Kind.WEIGHTED_GAUGE, True)],
)
def test_in_boiling_water_a_canner_may_be_named(kind, is_fine):
    thing = make_thing(kind, capacity={"half-pint": 12})
    assert make_batch(canner_code=thing.code).canner_card == thing


def test_in_boiling_water_nothing_hangs_on_the_gauge():
    thing = make_thing(Kind.DIAL_GAUGE, capacity={"half-pint": 12})  # never tested
    assert make_batch(canner_code=thing.code).canner_card == thing


# A household's own card


def test_a_household_keeps_the_card_of_its_own_canner_with_its_tests():
    by = make_person()
    kitchen = make_kitchen(by)
    card = {"kind": Kind.DIAL_GAUGE, "name": "The big one", "capacity": {"pint": 9}}
    token = uuid4()
    own = own_canner_add(by=by, kitchen=kitchen, token=token, **card)
    assert own.code == "OWN-01"
    assert own_canner_add(by=by, kitchen=kitchen, token=token, **card) == own
    assert own_canner_add(by=by, kitchen=kitchen, **card).code == "OWN-02"
    assert not Thing.objects.exists()  # nothing that is lent
    instrument_test_record(by=by, thing=own, tested_on=TODAY, readings=HIGH, reference="the county's", now=NOW)
    assert make_batch(**beans(by=by, kitchen=kitchen, canner_code="own-01")).setting_psi == 14
    own_canner_change(by=by, thing=own, name="The old one", capacity={"pint": 8, "quart": 7})
    own.refresh_from_db()
    assert (own.name, own.capacity) == ("The old one", {"pint": 8, "quart": 7})
    own_canner_retire(by=by, thing=own)
    with pytest.raises(ValidationError):
        make_batch(**beans(by=by, kitchen=kitchen, canner_code="OWN-01"))


def test_nobody_else_keeps_tests_or_changes_it(dial):
    by, stranger = make_person(), make_person()
    card = {"kind": Kind.DIAL_GAUGE, "name": "The big one", "capacity": {"pint": 9}}
    own = own_canner_add(by=by, kitchen=make_kitchen(by), **card)
    test = {"tested_on": TODAY, "readings": GOOD, "reference": "x", "now": NOW}
    for act in (
        lambda: own_canner_add(by=stranger, kitchen=own.household, **card),
        lambda: own_canner_change(by=stranger, thing=own, name="Mine", capacity={"pint": 1}),
        lambda: own_canner_retire(by=stranger, thing=own),
        lambda: own_canner_retire(by=by, thing=dial),
        lambda: instrument_test_record(by=stranger, thing=own, **test),
        lambda: instrument_test_record(by=by, thing=dial, **test),
    ):
        with pytest.raises(PermissionDenied):
            act()


def test_a_reprocess_goes_by_the_same_setting(dial):
    batch = make_batch_out(**beans(canner_code=dial.code))
    need = batch.reprocess_need()
    assert (need.psi, need.setting) == (12, 14)


def test_sizes_in_two_layers_stand_twice_as_many_at_once():
    """Two layers with a rack between: NCHFP, canning questions (as quoted). Twice one layer follows from the card."""
    tested = {"tested_on": TODAY, "readings": GOOD}
    flat = make_thing(Kind.DIAL_GAUGE, capacity={"pint": 2})
    tall = make_thing(Kind.DIAL_GAUGE, capacity={"pint": 2}, two_layers=["pint"])
    make_test(flat, **tested)
    make_test(tall, **tested)
    assert (flat.at_once, tall.at_once) == ({"pint": 2}, {"pint": 4})
    most = [
        max(sum(jar["count"] for jar in load["jars"]) for load in batch.plan["loads"])
        for batch in (make_pressure_batch(canner_code=thing.code) for thing in (flat, tall))
    ]
    assert most == [2, 4]
