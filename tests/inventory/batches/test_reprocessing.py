from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Jar
from inventory.batches.rules import Need
from inventory.jars.models import LidLot
from recipes.engine.terms import Pack, Refusal
from recipes.models import Revision
from tests.factories.batches import NOW, make_batch_checked, make_batch_out, make_pressure_batch_out, make_recall
from tests.factories.members import make_person
from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db

AGAIN = NOW + timedelta(hours=16)


@pytest.fixture
def batch():
    """Four jars, looked at after 14 hours: 2 and 3 wait to be reprocessed."""
    return make_batch_checked(unsealed={2: "reprocess", 3: "reprocess"}, lid_code="OLD")


def told(batch, **changes):
    good = {
        "by": batch.made_by,
        "batch": batch,
        "minutes": 10,
        "lid_code": "NEW",
        "jars_out_at": AGAIN,
        "rims_sound": True,
        "now": AGAIN,
    }
    return {**good, **changes}


def refused_fields(batch, **changes):
    with pytest.raises(ValidationError) as refused:
        services.jars_reprocess(**told(batch, **changes))
    kept = Batch.objects.get(pk=batch.pk)
    assert (kept.state, kept.reprocessed_out_at) == (BatchState.CHECKED, None)
    assert set(Jar.objects.filter(number__in=[2, 3]).values_list("disposal", flat=True)) == {"reprocess"}
    return refused.value.message_dict


def test_jars_that_were_called_back_are_not_processed_again_and_no_time_is_shown(batch, client):
    make_recall(batch=batch)
    with pytest.raises(ValidationError, match="called back"):
        services.jars_reprocess(**told(batch))
    client.force_login(batch.made_by)
    page = client.get(reverse("batches:reprocess", args=[batch.lot_code])).content.decode()
    assert "called back" in page
    assert "The full time again" not in page
    assert "Or put away otherwise" in page


def test_a_jar_of_a_withdrawn_revision_that_did_not_seal_is_not_sent_to_reprocess():
    out = make_batch_out()
    assert out.reprocess_refusal(NOW) is None
    Revision.objects.update(state="withdrawn", withdrawn_at=NOW, withdrawn_reason="Too little acid.")
    out = Batch.objects.get(pk=out.pk)
    assert out.reprocess_refusal(NOW).code == "revision-withdrawn"
    with pytest.raises(ValidationError, match="withdrawn"):
        services.seals_record(
            by=out.made_by,
            batch=out,
            token=uuid4(),
            results={1: "unsealed", 2: "sealed", 3: "sealed", 4: "sealed"},
            disposals={1: "reprocess"},
            now=NOW + timedelta(hours=14),
        )


def test_of_reprocessed_jars_that_are_called_back_nobody_says_to_refrigerate_or_freeze_them(batch):
    again = services.jars_reprocess(**told(batch))
    assert again.reprocess_refusal(AGAIN).code == "reprocessed-once"
    make_recall(batch=again)
    assert again.reprocess_refusal(AGAIN).code == "called-back"


def test_reprocessed_jars_cool_again_under_their_new_lids(batch):
    again = services.jars_reprocess(**told(batch))
    assert (again.state, again.last_out_at) == (BatchState.OUT, AGAIN)
    old, new = LidLot.objects.get(code="OLD"), LidLot.objects.get(code="NEW")
    lids = {jar.number: (jar.seal, jar.disposal, jar.lid_lot, jar.failed_lid_lot) for jar in again.jars.all()}
    assert lids == {
        1: ("sealed", "shelf", old, None),
        2: ("unchecked", "", new, old),
        3: ("unchecked", "", new, old),
        4: ("sealed", "shelf", old, None),
    }
    assert list(Batch.objects.cooling(AGAIN)) == [batch]
    assert not Batch.objects.seals_due(AGAIN + timedelta(hours=12, seconds=-1)).exists()
    assert list(Batch.objects.seals_due(AGAIN + timedelta(hours=12))) == [batch]


def test_the_second_look_is_at_the_reprocessed_jars_alone(batch):
    services.jars_reprocess(**told(batch))
    look = {"by": batch.made_by, "batch": batch, "now": AGAIN + timedelta(hours=13)}
    with pytest.raises(ValidationError):
        services.seals_record(**look, token=uuid4(), results={1: "sealed", 2: "sealed", 3: "sealed", 4: "sealed"})
    services.seals_record(**look, token=uuid4(), results={2: "sealed", 3: "unsealed"}, disposals={3: "refrigerate"})
    assert Batch.objects.get().state == BatchState.CHECKED


def test_a_jar_is_reprocessed_once(batch):
    services.jars_reprocess(**told(batch))
    with pytest.raises(services.AlreadyDone):
        services.jars_reprocess(**told(batch))
    with pytest.raises(ValidationError) as refused:
        services.seals_record(
            by=batch.made_by,
            batch=batch,
            token=uuid4(),
            results={2: "unsealed", 3: "sealed"},
            disposals={2: "reprocess"},
            now=AGAIN + timedelta(hours=13),
        )
    assert "once" in refused.value.message_dict["disposal_2"][0]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"minutes": 9}, "minutes"),
        ({"minutes": None}, "minutes"),
        ({"psi": Decimal(5)}, "psi"),
        ({"rims_sound": False}, "rims_sound"),
        ({"lid_code": ""}, "lid_code"),
        ({"jars_out_at": AGAIN + timedelta(minutes=5)}, "jars_out_at"),
        ({"jars_out_at": NOW + timedelta(minutes=9)}, "jars_out_at"),
        ({"jars_out_at": NOW + timedelta(hours=24, seconds=1), "now": NOW + timedelta(hours=25)}, "jars_out_at"),
    ],
)
def test_anything_short_of_a_full_reprocess_in_time_is_refused(batch, changes, field):
    assert list(refused_fields(batch, **changes)) == [field]


def test_out_again_at_24_hours_sharp_is_in_time_and_may_be_keyed_in_later(batch):
    sharp = NOW + timedelta(hours=24)
    assert (
        services.jars_reprocess(**told(batch, jars_out_at=sharp, now=sharp + timedelta(hours=5))).last_out_at == sharp
    )


def test_nothing_is_reprocessed_where_no_jar_waits():
    for other in (make_batch_out(), make_batch_checked(unsealed={1: "freeze"})):
        with pytest.raises(services.AlreadyDone):
            services.jars_reprocess(**told(other))


def test_another_s_jars_are_not_reprocessed(batch):
    with pytest.raises(PermissionDenied):
        services.jars_reprocess(**told(batch, by=make_person()))


def test_a_pressure_batch_is_reprocessed_at_full_pressure():
    beans = make_pressure_batch_out()
    found = {1: "unsealed", 2: "sealed", 3: "sealed", 4: "sealed"}
    look = {"by": beans.made_by, "batch": beans, "token": uuid4(), "now": NOW + timedelta(hours=14)}
    services.seals_record(**look, results=found, disposals={1: "reprocess"})
    with pytest.raises(ValidationError) as refused:
        services.jars_reprocess(**told(beans, minutes=20, psi=Decimal(11)))
    assert list(refused.value.message_dict) == ["psi"]
    assert services.jars_reprocess(**told(beans, minutes=20, psi=Decimal(12))).reprocessed_psi == 12


def test_a_raw_pack_is_reprocessed_by_the_hot_pack_and_never_for_less():
    assert make_pressure_batch_out(pack=Pack.RAW).reprocess_need() == Need(20, 12, 12)
    longer = [{**row, "minutes": 35} if row["pack"] == "hot" else row for row in VEGETABLE["process"]]
    revision = make_revision(base=VEGETABLE, process=longer)
    assert make_pressure_batch_out(pack=Pack.RAW, revision=revision).reprocess_need() == Need(35, 12, 12)


def test_without_a_tested_hot_pack_nothing_is_reprocessed():
    raw_only = [row for row in VEGETABLE["process"] if row["pack"] == "raw"]
    beans = make_pressure_batch_out(pack=Pack.RAW, revision=make_revision(base=VEGETABLE, process=raw_only))
    refusal = beans.reprocess_need()
    assert isinstance(refusal, Refusal)
    assert refusal.code == "no-hot-pack"
    with pytest.raises(ValidationError) as refused:
        services.seals_record(
            by=beans.made_by,
            batch=beans,
            token=uuid4(),
            results={1: "unsealed", 2: "sealed", 3: "sealed", 4: "sealed"},
            disposals={1: "reprocess"},
            now=NOW + timedelta(hours=14),
        )
    assert list(refused.value.message_dict) == ["disposal_1"]


@pytest.mark.parametrize("changes", [{"kind": "pie-filling"}, {"produce": ["winter squash"]}])
def test_pie_filling_and_squash_are_not_reprocessed(changes):
    refusal = make_batch_out(revision=make_revision(**changes)).reprocess_refusal(NOW + timedelta(hours=13))
    assert refusal is not None
    assert refusal.code == "not-reprocessed"
    assert make_batch_out(revision=make_revision()).reprocess_refusal(NOW + timedelta(hours=13)) is None


@pytest.mark.parametrize(
    "lie", [{"reprocessed_minutes": 9}, {"reprocessed_out_at": NOW}, {"reprocessed_minutes": None}]
)
def test_the_database_itself_refuses_a_half_reprocess(batch, lie):
    services.jars_reprocess(**told(batch))
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(**lie)
    assert Batch.objects.filter(pk=batch.pk).update(reprocessed_minutes=12) == 1


def test_minutes_without_measure_are_refused_like_any_wrong_figure(batch):
    assert "minutes" in refused_fields(batch, minutes=10**18)
