from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.choices import BatchState, Disposal, Seal
from inventory.batches.models import Batch, Jar
from inventory.jars.models import LidLot
from tests.factories.batches import (
    NOW,
    make_batch,
    make_batch_out,
    make_freezer_revision,
    make_pressure_batch,
    make_pressure_batch_out,
    without_lots,
)
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db

OUT = NOW + timedelta(hours=2)


def told(batch, **changes):
    """The arguments of a log that succeeds for the spread; a test changes the one thing it is about."""
    good = {
        "by": batch.made_by,
        "batch": batch,
        "jars": {"half-pint": 5},
        "jars_out_at": OUT,
        "minutes": 10,
        "lid_code": "L-7",
        "lid_maker": "Tin Works",
        "lots": without_lots(batch),
        "now": OUT,
    }
    return {**good, **changes}


def refused_fields(**arguments):
    with pytest.raises(ValidationError) as refused:
        services.batch_log_process(**arguments)
    assert Batch.objects.get().state == BatchState.STARTED
    assert not Jar.objects.exists()
    return refused.value.message_dict


def test_the_log_makes_the_jars_under_their_lids():
    batch = services.batch_log_process(**told(make_batch(), jars={"half-pint": 3, "quarter-pint": 2}, note="Foamed."))
    assert batch.state == BatchState.OUT
    assert (batch.processed_minutes, batch.jars_out_at, batch.note) == (10, OUT, "Foamed.")
    jars = list(batch.jars.all())
    assert [jar.number for jar in jars] == [1, 2, 3, 4, 5]
    assert [jar.size for jar in jars] == ["quarter-pint"] * 2 + ["half-pint"] * 3
    assert {jar.seal for jar in jars} == {Seal.UNCHECKED}
    assert {(jar.lid_lot, jar.place, jar.disposal) for jar in jars} == {(LidLot.objects.get(), batch.kitchen, "")}


def test_less_than_the_tested_minutes_is_refused_and_says_what_to_do():
    messages = refused_fields(**told(make_batch(), minutes=9))
    assert list(messages) == ["minutes"]
    said = messages["minutes"][0]
    for part in ("10 minutes", "1,040 m", "3,412.1 ft", "Within 2 hours", "refrigerator", "food.unl.edu"):
        assert part in said
    assert not LidLot.objects.exists()


def test_more_than_the_tested_minutes_is_fine():
    assert services.batch_log_process(**told(make_batch(), minutes=11)).processed_minutes == 11


def test_less_than_the_tested_pressure_is_refused():
    batch = make_pressure_batch()
    low = told(batch, jars={"pint": 8}, minutes=20, psi=Decimal("11.9"))
    messages = refused_fields(**low)
    assert list(messages) == ["psi"]
    assert "20 minutes at 12 psi" in messages["psi"][0]
    logged = services.batch_log_process(**(low | {"psi": Decimal("12.0")}))
    assert logged.processed_psi == Decimal("12.0")


def test_another_tested_pressure_of_the_table_counts_as_reached():
    rows = [
        {**VEGETABLE["process"][0], "minutes": minutes, "dial_psi": [[2000, psi], [8000, psi + 1]]}
        for minutes, psi in ((40, 11), (25, 13))
    ]
    batch = make_pressure_batch(revision=make_revision(base=VEGETABLE, process=rows))
    assert (batch.required_minutes, batch.required_psi) == (40, 12)
    low = told(batch, jars={"pint": 8}, minutes=25, psi=Decimal(13))
    said = refused_fields(**low)["minutes"][0]
    assert "40 minutes at 12 psi, or 25 minutes at 14 psi" in said
    logged = services.batch_log_process(**(low | {"psi": Decimal(14)}))
    assert (logged.required_minutes, logged.required_psi) == (25, 14)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"minutes": None}, "minutes"),
        ({"minutes": 0}, "minutes"),
        ({"minutes": 601}, "minutes"),
        ({"psi": Decimal(10)}, "psi"),
        ({"jars": {}}, "jars"),
        ({"jars": {"half-pint": 0}}, "jars"),
        ({"jars": {"half-pint": -1}}, "jars_half-pint"),
        ({"jars": {"pint": 1}}, "jars_pint"),
        ({"jars": {"bucket": 1}}, "jars"),
        ({"jars": {"half-pint": 8}}, "jars_half-pint"),
        ({"lid_code": " "}, "lid_code"),
        ({"jars_out_at": OUT + timedelta(minutes=3)}, "jars_out_at"),
        ({"jars_out_at": NOW - timedelta(minutes=1)}, "jars_out_at"),
        ({"started_at": OUT + timedelta(hours=1)}, "started_at"),
        ({"started_at": OUT - timedelta(days=31)}, "started_at"),
        ({"process_started_at": NOW - timedelta(minutes=1)}, "process_started_at"),
        ({"process_started_at": OUT + timedelta(seconds=1)}, "process_started_at"),
        ({"process_started_at": OUT - timedelta(minutes=9)}, "process_started_at"),
    ],
)
def test_a_wrong_figure_is_refused_beside_its_field_and_nothing_is_written(changes, field):
    assert field in refused_fields(**told(make_batch(), **changes))


def test_every_problem_is_told_at_once():
    batch = make_batch()
    wrong = told(batch, minutes=1, jars={"half-pint": 99}, lid_code="", jars_out_at=OUT + timedelta(hours=1))
    assert set(refused_fields(**wrong)) == {"minutes", "jars_half-pint", "lid_code", "jars_out_at"}


def test_the_ceiling_is_the_stated_yield_and_a_jar_a_pot():
    batch = make_batch(pots=2)
    said = refused_fields(**told(batch, jars={"half-pint": 15}))["jars_half-pint"][0]
    assert "14" in said
    assert services.batch_log_process(**told(batch, jars={"half-pint": 14})).jars.count() == 14


def test_ten_minutes_do_not_fit_between_start_and_out_and_a_late_keyed_batch_says_when_it_began():
    batch = make_batch(started_at=OUT - timedelta(minutes=9))
    assert list(refused_fields(**told(batch))) == ["started_at"]
    logged = services.batch_log_process(**told(batch, started_at=OUT - timedelta(hours=2)))
    assert logged.started_at == OUT - timedelta(hours=2)


def test_times_in_the_doubled_hour_are_compared_by_what_passed_and_not_by_the_wall():
    club = ZoneInfo("America/Denver")
    began = datetime(2026, 11, 1, 1, 5, tzinfo=club)
    batch = make_batch(started_at=began)
    # 01:50 before the clocks went back, 01:10 after: twenty minutes on.
    process_began = datetime(2026, 11, 1, 1, 50, tzinfo=club)
    out = datetime(2026, 11, 1, 1, 10, fold=1, tzinfo=club)
    night = {"process_started_at": process_began, "jars_out_at": out, "now": out + timedelta(hours=1)}
    assert list(refused_fields(**told(batch, **night, minutes=21))) == ["process_started_at"]
    assert services.batch_log_process(**told(batch, **night, minutes=20)).processed_minutes == 20


def test_a_batch_is_logged_once_and_the_second_press_is_told_so():
    batch = make_batch()
    services.batch_log_process(**told(batch))
    with pytest.raises(services.AlreadyDone):
        services.batch_log_process(**told(batch))
    assert Jar.objects.count() == 5


def test_a_batch_given_up_is_not_logged():
    batch = make_batch()
    services.batch_abandon(by=batch.made_by, batch=batch, reason="Scorched.")
    with pytest.raises(services.AlreadyDone):
        services.batch_log_process(**told(batch))


def test_a_freezer_batch_goes_to_the_freezer_without_process_or_seal_check():
    batch = make_batch(revision=make_freezer_revision())
    frozen = told(batch, minutes=None, lid_code="")
    assert list(refused_fields(**(frozen | {"minutes": 10}))) == ["minutes"]
    logged = services.batch_log_process(**frozen)
    assert logged.state == BatchState.FROZEN
    assert {(jar.seal, jar.disposal) for jar in logged.jars.all()} == {(Seal.NONE, Disposal.FREEZE)}
    assert logged.window is None
    assert not Batch.objects.seals_due(OUT + timedelta(days=2)).exists()
    assert not Batch.objects.cooling(OUT).exists()


def test_who_shares_the_kitchen_may_log_and_who_only_traces_may_not():
    cook, fellow, keeper = make_person(), make_person(), make_person(Role.KEEPER)
    batch = make_batch(by=cook, kitchen=make_kitchen(cook, fellow))
    for other in (keeper, make_person()):
        with pytest.raises(PermissionDenied):
            services.batch_log_process(**told(batch, by=other))
    assert services.batch_log_process(**told(batch, by=fellow)).state == BatchState.OUT


@pytest.mark.parametrize(
    "lie",
    [
        {"processed_minutes": 9},
        {"processed_minutes": None},
        {"jars_out_at": None},
        {"lid_lot": None},
        {"jars_out_at": NOW - timedelta(days=1)},
        {"required_minutes": None},
    ],
)
def test_the_database_itself_refuses_a_process_below_the_tested(lie):
    batch = make_batch_out()
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(**lie)
    assert Batch.objects.filter(pk=batch.pk).update(processed_minutes=12) == 1


def test_the_database_itself_refuses_a_pressure_below_the_tested():
    batch = make_pressure_batch_out()
    for lie in (Decimal("11.9"), None):
        with pytest.raises(IntegrityError), transaction.atomic():
            Batch.objects.filter(pk=batch.pk).update(processed_psi=lie)
    assert Batch.objects.filter(pk=batch.pk).update(processed_psi=Decimal(13)) == 1
