"""A batch cooked in several canners: each is named, each gauge corrects its own setting, and each finds the batch."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, CannerBeside, Jar
from inventory.batches.tracing import affected_jars, is_called_back, recalls_of, trace
from inventory.equipment.choices import Kind
from recipes.engine.terms import Canner
from tests.factories.batches import NOW, make_batch, make_pressure_batch, make_recall
from tests.factories.equipment import BAD, GOOD, TODAY, make_test, make_thing, readings
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

HIGH = readings(("5", "7"), ("11", "13"), ("15", "16.5"))  # 2 psi high at the most
RIGHT = readings(("5", "5"), ("11", "11"), ("15", "15"))


@pytest.fixture
def two():
    """The first is right, the second 2 psi high."""
    right = make_thing(Kind.DIAL_GAUGE, code="DGC-01", capacity={"pint": 9, "quart": 7})
    high = make_thing(Kind.DIAL_GAUGE, code="DGC-02", capacity={"pint": 8})
    make_test(right, TODAY - timedelta(days=30), readings=RIGHT)
    make_test(high, TODAY - timedelta(days=20), readings=HIGH)
    return right, high


@pytest.fixture
def batch(two):
    return make_pressure_batch(canner_code="dgc-01, DGC02")


def log(batch, psi, beside, **told):
    out = NOW + timedelta(hours=2)
    told = {"jars": {"pint": 4}, "minutes": 20, "lid_code": "L-7", "jars_out_at": out, "now": out, **told}
    by_row = {batch.canners_beside.get().pk: beside}
    return services.batch_log_process(by=batch.made_by, batch=batch, psi=psi, psi_beside=by_row, **told)


def test_each_canner_has_the_setting_of_its_own_gauge(two, batch):
    right, high = two
    assert (batch.canner_card, batch.setting_psi) == (high, 14)
    [beside] = batch.canners_beside.all()
    assert (beside.card, beside.table_psi, beside.setting_psi) == (right, 12, 12)
    assert (beside.gauge_tested_on, beside.gauge_reads_high_hundredths) == (TODAY - timedelta(days=30), 0)
    assert all(sum(jar["count"] for jar in load["jars"]) <= 8 for load in batch.plan["loads"])


@pytest.mark.parametrize(("psi", "beside", "wrong"), [(14, 11, "beside"), (13, 12, "psi"), (14, None, "beside")])
def test_a_log_below_the_setting_of_any_of_them_is_refused(batch, psi, beside, wrong):
    with pytest.raises(ValidationError) as error:
        log(batch, psi, beside)
    field = f"psi_{batch.canners_beside.get().pk}" if wrong == "beside" else "psi"
    assert list(error.value.message_dict) == [field]
    assert Batch.objects.get().state == BatchState.STARTED
    logged = log(batch, 14, Decimal("12.0"))
    assert (logged.state, logged.canners_beside.get().processed_psi) == (BatchState.OUT, 12)


def test_without_a_good_test_of_any_of_them_no_batch_is_started(two):
    make_thing(Kind.DIAL_GAUGE, code="DGC-03")
    make_thing(Kind.WEIGHTED_GAUGE, code="WGC-01")
    for code, said in (
        ("DGC-01, DGC-03", "never tested"),
        ("DGC-01, WGC-01", "Plan again"),
        ("DGC-01, dgc 01", "named twice"),
        ("DGC-01, DGC-99", "DGC-99"),
    ):
        with pytest.raises(ValidationError) as error:
            make_pressure_batch(canner_code=code)
        assert said in error.value.message_dict["canner_code"][0]
    assert not Batch.objects.exists()


def test_a_gauge_that_failed_since_the_start_keeps_the_log_from_being_written(two, batch):
    make_test(two[0], TODAY, readings=BAD, now=NOW + timedelta(hours=1))
    with pytest.raises(ValidationError) as error:
        log(batch, 14, 12)
    assert "DGC-01 failed its test" in error.value.message_dict["jars_out_at"][0]


@pytest.mark.parametrize("which", [0, 1])
def test_trace_and_recall_find_the_batch_by_each_of_them(which, two, batch):
    canner = two[which]
    log(batch, 14, 12)
    make_test(canner, TODAY, readings=BAD, now=NOW + timedelta(hours=5))
    assert list(trace(make_person(Role.INSTRUCTOR), canner.code).batches) == [batch]
    recall = make_recall(canner=canner, now=NOW + timedelta(hours=6))
    assert affected_jars(recall).count() == 4
    assert Jar.objects.recalled().count() == 4
    batch = Batch.objects.get()
    assert recalls_of(batch) == [recall]
    assert is_called_back(batch)
    services.recall_close(by=recall.opened_by, recall=recall, note="A laboratory says so.", is_cleared=True)
    assert not Jar.objects.recalled().exists()


def test_a_recall_by_another_test_leaves_the_batch_alone(two, batch):
    log(batch, 14, 12)
    make_test(two[0], TODAY - timedelta(days=10), readings=GOOD, now=NOW + timedelta(days=1))
    recall = make_recall(canner=two[0], canner_tested_on=TODAY - timedelta(days=10), now=NOW - timedelta(days=1))
    assert not affected_jars(recall).exists()
    assert not Jar.objects.recalled().exists()
    assert recalls_of(batch) == []


def test_the_database_itself_refuses_a_pressure_below_the_setting_of_another_canner(batch):
    rows = CannerBeside.objects.all()
    for wrong in (
        {"processed_psi": Decimal("11.9")},
        {"setting_psi": 11},
        {"setting_psi": None},
        {"table_psi": None},
        {"gauge_reads_high_hundredths": 1},
        {"gauge_reads_high_hundredths": None},
        {"gauge_tested_on": None},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(**wrong)


def test_in_boiling_water_several_are_named_and_no_gauge_counts():
    for code in ("BW-1", "BW-2"):
        make_thing(Kind.BOILING_WATER, code=code, capacity={"half-pint": 7})
    batch = make_batch(canner_code="BW-1, BW-2")
    assert [batch.canner_card.code, *(row.card.code for row in batch.canners_beside.all())] == ["BW-1", "BW-2"]
    assert batch.canners_beside.get().setting_psi is None


def test_weighted_gauges_are_logged_each(two):
    for code in ("WG-1", "WG-2"):
        make_thing(Kind.WEIGHTED_GAUGE, code=code)
    batch = make_pressure_batch(canner=Canner.WEIGHTED_GAUGE, canner_code="WG-1, WG-2")
    with pytest.raises(ValidationError) as error:
        log(batch, 15, 10)
    assert list(error.value.message_dict) == [f"psi_{batch.canners_beside.get().pk}"]
    assert log(batch, 15, 15).state == BatchState.OUT


def test_the_pages_ask_for_each_pressure_and_say_each_setting(sign_in):
    cook = make_person()
    kitchen, beans, day = make_kitchen(cook), make_revision(base=VEGETABLE), timezone.localdate()
    for code, shown in (("DGC-01", RIGHT), ("DGC-02", HIGH)):
        make_test(make_thing(Kind.DIAL_GAUGE, code=code), day - timedelta(days=9), readings=shown, now=timezone.now())
    asked = {"revision": beans.pk, "kitchen": kitchen.pk, "pots": 1, "jar": "pint", "pack": "hot"}
    address = reverse("batches:start", query={"canner": "dial-gauge", **asked})
    client = sign_in(cook)
    assert client.post(address, {"token": uuid4(), "canner_code": "DGC-01, DGC-02"}).status_code == 302
    batch = Batch.objects.get()
    Batch.objects.update(started_at=timezone.now() - timedelta(hours=3))
    row = batch.canners_beside.get()
    for name in ("batches:detail", "batches:log"):
        said = text_of(client.get(reverse(name, args=[batch.lot_code])))
        assert "And in DGC-01" in said
        assert "Set 14 where the table says 12" in said
    out = timezone.localtime() - timedelta(minutes=5)
    typed = {"minutes": "20", "psi": "14", "jars_pint": "4", "lid_code": "L-7", "jars_out_at": f"{out:%Y-%m-%dT%H:%M}"}
    page = client.post(reverse("batches:log", args=[batch.lot_code]), {**typed, f"psi_{row.pk}": "11"})
    assert list(page.context["form"].errors) == [f"psi_{row.pk}"]
    page = client.post(reverse("batches:log", args=[batch.lot_code]), {**typed, f"psi_{row.pk}": "12"})
    assert page.status_code == 302
