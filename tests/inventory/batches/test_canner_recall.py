"""A gauge that fails its test: which batches are in doubt, and a recall of what was processed in a canner."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import Batch, Jar, Recall
from inventory.batches.tracing import affected_jars, holders, holdings, in_doubt, is_called_back, recalls_of, trace
from inventory.equipment.choices import Kind
from inventory.equipment.models import gauge_doubts
from inventory.equipment.services import own_canner_add
from recipes.engine.terms import Canner
from tests.factories.batches import NOW, beans, make_batch, make_batch_checked, make_batch_out, make_recall
from tests.factories.equipment import BAD, GOOD, TODAY, make_test, make_thing
from tests.factories.members import make_kitchen, make_person
from tests.helpers import text_of

pytestmark = pytest.mark.django_db


def ago(days):
    return NOW - timedelta(days=days)


def gauge_tested(thing, days, readings):
    return make_test(thing, TODAY - timedelta(days=days), readings=readings, now=ago(days))


def put_up(thing, days, **fields):
    return make_batch_checked(**beans(out_at=ago(days), canner_code=thing.code, **fields))


def close(recall, **told):
    return services.recall_close(by=recall.opened_by, recall=recall, note="Every jar was thrown away.", **told)


@pytest.fixture
def dial():
    """Good 100 and 40 days ago, failed yesterday, mended and good today; a batch in each stretch."""
    thing = make_thing(Kind.DIAL_GAUGE, code="DGC-03")
    gauge_tested(thing, 100, GOOD)
    thing.first = put_up(thing, 60)
    gauge_tested(thing, 40, GOOD)
    thing.second = put_up(thing, 30)
    thing.third = put_up(thing, 10)
    gauge_tested(thing, 1, BAD)
    return thing


def test_what_went_by_the_last_good_test_is_in_doubt_and_nothing_else(dial):
    [doubt] = gauge_doubts(dial)
    assert (doubt.failed.tested_on, doubt.good.tested_on) == (TODAY - timedelta(days=1), TODAY - timedelta(days=40))
    recall = make_recall(canner=dial)
    assert set(in_doubt(recall)) == {dial.second, dial.third}
    assert set(affected_jars(recall).values_list("batch", flat=True)) == {dial.second.pk, dial.third.pk}
    assert {one.batch_id for one in holdings([recall])} == {dial.second.pk, dial.third.pk}
    assert set(Batch.objects.recalled()) == {dial.second, dial.third}
    assert set(holders(recall)) == {dial.second.made_by, dial.third.made_by}
    assert [is_called_back(batch) for batch in (dial.first, dial.second, dial.third)] == [False, True, True]
    assert recalls_of(dial.second) == [recall]
    assert recalls_of(dial.first) == []


def test_after_a_new_gauge_passed_the_doubt_stays_with_the_old_and_new_batches_are_free(dial):
    gauge_tested(dial, 0, GOOD)
    assert gauge_doubts(dial)[0].good.tested_on == TODAY - timedelta(days=40)
    later = make_batch_out(**beans(out_at=NOW + timedelta(hours=3), canner_code=dial.code))
    recall = make_recall(canner=dial, now=NOW + timedelta(hours=4))
    assert later not in in_doubt(recall)
    assert not is_called_back(later)


def test_recalled_jars_are_not_to_give_and_are_again_once_they_were_found_sound(dial):
    assert Jar.objects.to_give().filter(batch=dial.second).exists()
    recall = make_recall(canner=dial)
    assert not Jar.objects.to_give().filter(batch=dial.second).exists()
    services.recall_close(by=recall.opened_by, recall=recall, note="The laboratory says so.", is_cleared=True)
    assert Jar.objects.to_give().filter(batch=dial.second).exists()


def test_a_failure_that_was_called_back_leaves_the_next_recall_to_the_new_gauge(dial):
    first = make_recall(canner=dial)
    close(first, now=NOW)
    assert first.canner_tested_on == TODAY - timedelta(days=40)
    gauge_tested(dial, 0, GOOD)
    later = make_batch_out(**beans(out_at=NOW + timedelta(hours=3), canner_code=dial.code))
    again = make_recall(canner=dial, now=NOW + timedelta(hours=4))
    assert again.canner_tested_on == TODAY
    assert set(in_doubt(again)) == {later}


def test_without_a_good_test_before_every_batch_is_in_doubt(dial):
    dial.tests.filter(verdict="passed").delete()
    recall = make_recall(canner=dial)
    assert set(in_doubt(recall)) == {dial.first, dial.second, dial.third}


def test_what_began_before_a_good_test_was_recorded_is_in_doubt_with_what_went_by_it():
    thing = make_thing(Kind.DIAL_GAUGE, code="DGC-05")
    gauge_tested(thing, 100, GOOD)
    before = put_up(thing, 50)
    since = put_up(thing, 30)
    make_test(thing, TODAY - timedelta(days=40), now=ago(20))
    after = put_up(thing, 10)
    gauge_tested(thing, 1, BAD)
    recall = make_recall(canner=thing)
    assert recall.canner_tested_on == TODAY - timedelta(days=40)
    assert set(in_doubt(recall)) == {since, after}
    assert set(Batch.objects.recalled()) == {since, after}
    assert [recalls_of(batch) for batch in (before, since, after)] == [[], [recall], [recall]]


def test_a_good_test_recorded_after_the_failed_one_shifts_no_doubt(dial):
    make_test(dial, TODAY - timedelta(days=5), now=NOW)
    assert gauge_doubts(dial)[0].good.tested_on == TODAY - timedelta(days=40)
    assert dial.second in in_doubt(make_recall(canner=dial))


def test_of_a_weighted_gauge_every_pressure_batch_before_the_recall():
    thing = make_thing(Kind.WEIGHTED_GAUGE)
    weighted = {"canner": Canner.WEIGHTED_GAUGE}
    before = put_up(thing, 5, **weighted)
    in_water = make_batch_out(out_at=ago(5), canner_code=thing.code)
    recall = make_recall(canner=thing, now=ago(2))
    close(recall, now=ago(1.5))
    after = put_up(thing, 1, **weighted)
    assert set(in_doubt(recall)) == {before}
    assert set(Batch.objects.recalled()) == {before}
    assert [is_called_back(batch) for batch in (before, in_water, after)] == [True, False, False]


@pytest.mark.parametrize(
    ("kind", "gauge"),
    [(Kind.DIAL_GAUGE, Canner.DIAL_GAUGE), (Kind.WEIGHTED_GAUGE, Canner.WEIGHTED_GAUGE)],
)
def test_under_an_open_recall_no_pressure_batch_is_started_in_the_canner(kind, gauge):
    thing = make_thing(kind)
    wanted = {"canner_code": thing.code, "canner": gauge}
    if gauge is Canner.DIAL_GAUGE:
        gauge_tested(thing, 30, GOOD)
    make_batch_out(**beans(out_at=ago(5), **wanted))
    recall = make_recall(canner=thing, now=ago(1))
    with pytest.raises(ValidationError) as error:
        make_batch(**beans(**wanted))
    assert list(error.value.message_dict) == ["canner_code"]
    assert "called back" in error.value.message_dict["canner_code"][0]
    assert make_batch(canner_code=thing.code).canner_card == thing  # in boiling water no gauge counts
    if gauge is Canner.DIAL_GAUGE:
        gauge_tested(thing, 0, GOOD)
    else:
        close(recall, now=NOW)
    assert make_batch(**beans(**wanted)).canner_card == thing


def test_a_log_that_moves_the_beginning_frees_no_batch_from_the_recall():
    thing = make_thing(Kind.WEIGHTED_GAUGE)
    batch = make_batch(**beans(canner=Canner.WEIGHTED_GAUGE, canner_code=thing.code))
    recall = make_recall(canner=thing, now=NOW + timedelta(minutes=30))
    out = NOW + timedelta(hours=2)
    batch = services.batch_log_process(
        by=batch.made_by,
        batch=batch,
        jars={"pint": 4},
        minutes=batch.required_minutes,
        psi=batch.setting_psi,
        lid_code="L-7",
        started_at=NOW + timedelta(minutes=31),
        jars_out_at=out,
        now=out,
    )
    assert set(in_doubt(recall)) == {batch}
    assert {one.batch_id for one in holdings([recall])} == {batch.pk}
    assert set(Batch.objects.recalled()) == {batch}
    assert recalls_of(batch) == [recall]


def test_one_open_recall_a_canner_and_the_database_says_so(dial):
    recall = make_recall(canner=dial)
    with pytest.raises(ValidationError, match="called back already"):
        make_recall(canner=dial)
    for wrong in ({"canner": None}, {"batch": dial.first}, {"kind": "batch"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Recall.objects.filter(pk=recall.pk).update(**wrong)


def test_a_household_calls_back_from_its_own_canner_and_nobody_else_does(dial):
    by, stranger = make_person(), make_person()
    kitchen = make_kitchen(by)
    own = own_canner_add(by=by, kitchen=kitchen, kind=Kind.DIAL_GAUGE, name="Ours", capacity={"pint": 9})
    asked = {"reason": "It reads wrong.", "now": NOW}
    for who, canner in ((stranger, own), (by, dial)):
        with pytest.raises(PermissionDenied):
            services.recall_open(by=who, canner=canner, token=uuid4(), **asked)
    assert services.recall_open(by=by, canner=own, token=uuid4(), **asked).canner == own


def test_a_canner_s_code_traces_to_its_batches_and_jars(dial):
    found = trace(make_person(Role.INSTRUCTOR), "dgc 03")
    assert found.canners == [dial]
    assert set(found.batches) == {dial.first, dial.second, dial.third}
    assert sum(row.count for row in found.whereabouts) == 12
    assert trace(make_person(), "DGC-03") is None


# Each failed test by itself


@pytest.fixture
def twice_failed(dial):
    """Failed 20 days ago as well, between the second and the third batch; both failures have a batch in doubt."""
    dial.tests.filter(verdict="failed").delete()
    gauge_tested(dial, 20, BAD)
    gauge_tested(dial, 15, GOOD)
    Batch.objects.filter(pk=dial.third.pk).update(gauge_tested_on=TODAY - timedelta(days=15))
    gauge_tested(dial, 1, BAD)
    return dial


def test_every_failed_test_has_its_own_batches_in_doubt_and_its_own_open_recall(twice_failed, sign_in):
    dial, client = twice_failed, sign_in(make_person(Role.INSTRUCTOR))
    address = reverse("batches:canner", args=[dial.code])
    shown = client.get(address).context["suspect"]
    assert [one["batches"] for one in shown] == [[dial.third], [dial.second]]
    newest = make_recall(canner=dial)
    assert newest.canner_tested_on == TODAY - timedelta(days=15)
    older = make_recall(canner=dial)  # the newest that was not called back yet
    assert older.canner_tested_on == TODAY - timedelta(days=40)
    assert [one["recall"] for one in client.get(address).context["suspect"]] == [newest, older]
    assert set(Batch.objects.recalled()) == {dial.second, dial.third}
    with pytest.raises(ValidationError, match="called back already"):
        make_recall(canner=dial, canner_tested_on=older.canner_tested_on)
    page = client.get(reverse("batches:recall-new"), {"kind": "canner", "code": dial.code})
    typed = {"token": uuid4(), "kind": "canner", "code": dial.code, "reason": "Wrong."}
    page = client.post(page.request["PATH_INFO"], {**typed, "tested_on": f"{older.canner_tested_on:%Y-%m-%d}"})
    assert "called back already" in page.context["form"].errors["code"][0]


def test_the_database_has_one_open_recall_of_a_canner_by_each_test_and_one_without(twice_failed):
    first = make_recall(canner=twice_failed)
    other = make_recall(canner=twice_failed)
    for day in (first.canner_tested_on, None):
        Recall.objects.filter(pk=first.pk).update(canner_tested_on=day)
        with pytest.raises(IntegrityError), transaction.atomic():
            Recall.objects.filter(pk=other.pk).update(canner_tested_on=day)


def test_a_recall_names_no_test_that_the_gauge_did_not_pass(dial):
    with pytest.raises(ValidationError, match="passed no test"):
        make_recall(canner=dial, canner_tested_on=TODAY - timedelta(days=1))


# The page


def test_the_page_lists_what_is_in_doubt_and_offers_to_call_it_back(dial, sign_in):
    address = reverse("batches:canner", args=["DGC-03"])
    keeper = make_person(Role.INSTRUCTOR)
    client = sign_in(keeper)
    page = client.get(address)
    [shown] = page.context["suspect"]
    assert set(shown["batches"]) == {dial.second, dial.third}
    assert set(page.context["page"]) == {dial.first, dial.second, dial.third}
    assert "kind=canner&amp;code=DGC-03" in page.content.decode()
    recall = make_recall(canner=dial)
    page = client.get(address)
    assert page.context["recall"] == recall
    assert "These jars are called back" in text_of(page)
    assert sign_in(make_person()).get(address).status_code == 404
    assert client.get(reverse("batches:canner", args=["DGC-99"])).status_code == 404


def test_a_household_sees_its_own_and_a_failed_test_leads_there(sign_in):
    by = make_person()
    own = own_canner_add(by=by, kitchen=make_kitchen(by), kind=Kind.DIAL_GAUGE, name="Ours", capacity={"pint": 9})
    client = sign_in(by)
    address = reverse("equipment:own-canner-test", args=[own.code])
    typed = {"token": uuid4(), "tested_on": "2026-09-14", "reference": "the county's"}
    for number, (reference, shown) in enumerate([("5", "9"), ("11", "15"), ("15", "19")], start=1):
        typed |= {f"reference_{number}": reference, f"shown_{number}": shown}
    response = client.post(address, typed)
    assert response.url == reverse("batches:canner", args=[own.code])
    assert client.get(response.url).status_code == 200
    assert client.get(reverse("batches:recall-new") + f"?kind=canner&code={own.code}").status_code == 200


@pytest.mark.parametrize("many", [1, 12])
def test_the_page_costs_the_same_for_one_batch_and_for_many(many, sign_in, django_assert_max_num_queries):
    thing = make_thing(Kind.DIAL_GAUGE, code="DGC-04")
    gauge_tested(thing, 40, GOOD)
    for _one in range(many):
        make_batch_out(**beans(out_at=ago(3), canner_code=thing.code))
    gauge_tested(thing, 1, BAD)
    client = sign_in(make_person(Role.INSTRUCTOR))
    client.get(reverse("batches:canner", args=[thing.code]))
    with django_assert_max_num_queries(12):
        client.get(reverse("batches:canner", args=[thing.code]))
