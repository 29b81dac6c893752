"""Of jars that are called back, or whose recipe was withdrawn, nothing is printed, kept or offered."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from inventory.batches import services
from inventory.batches.models import Batch, Jar
from inventory.batches.presentation import labels_of
from inventory.equipment.choices import Kind
from inventory.jars.services import jars_correct, jars_move, kitchen_place, outside_place
from recipes.engine.terms import Canner
from recipes.services import revision_withdraw
from tests.factories.batches import (
    NOW,
    beans,
    make_batch,
    make_batch_checked,
    make_batch_out,
    make_freezer_revision,
    make_recall,
)
from tests.factories.equipment import make_thing
from tests.factories.members import make_organiser, make_person

pytestmark = pytest.mark.django_db

KEEPING = (
    "Best before",
    "keep them cool",
    "cool, dark",
    "Keep frozen",
    "label the",
    "label them",
    "never stands on a shelf",
    "may be kept",
    "Can still be had",
    "refrigerate",
)


def recall_batch(batch):
    make_recall(batch=batch)


def recall_lids(batch):
    make_recall(lid_lot=batch.lid_lot)


def withdraw(batch):
    revision_withdraw(by=make_organiser(), revision=batch.revision, reason="Too little acid.")


every_way = pytest.mark.parametrize("call_back", [recall_batch, recall_lids, withdraw])


@pytest.fixture
def cook():
    return make_person()


def ago(**span):
    return timezone.now() - timedelta(**span)


def page(client, name, batch, **query):
    return client.get(reverse(f"batches:{name}", args=[batch.lot_code]), query)


def says_nothing_of_keeping(answer):
    said = answer.content.decode()
    return answer.status_code == 200 and "called back" in said and not [one for one in KEEPING if one in said]


@every_way
def test_no_label_is_printed_sealed_or_not_looked_at(client, cook, call_back):
    client.force_login(cook)
    for batch in (make_batch_checked(by=cook), make_batch_out(by=cook)):
        assert labels_of(Batch.objects.get(pk=batch.pk), every=True)
        call_back(batch)
        for query in ({}, {"which": "all"}):
            answer = page(client, "labels", batch, **query)
            assert answer.context["labels"] == []
            assert says_nothing_of_keeping(answer)
        if call_back is recall_lids:
            break  # the second batch is under the same lids: called back already


@every_way
def test_the_batchs_page_offers_no_label_no_shelf_and_no_gift(client, cook, call_back):
    batch = make_batch_checked(by=cook)
    client.force_login(cook)
    paths = [reverse(f"batches:{name}", args=[batch.lot_code]) for name in ("labels", "jar-offer-new")]
    before = page(client, "detail", batch).content.decode()
    assert "keep them cool" in before
    assert all(path in before for path in paths)
    call_back(batch)
    answer = page(client, "detail", batch)
    assert says_nothing_of_keeping(answer)
    assert not [path for path in paths if path in answer.content.decode()]


def test_a_freezer_batch_that_is_called_back_is_not_kept_frozen(client, cook):
    batch = make_batch_out(by=cook, revision=make_freezer_revision())
    recall_batch(batch)
    client.force_login(cook)
    for name in ("detail", "labels"):
        assert says_nothing_of_keeping(page(client, name, batch))


def test_a_batch_on_the_stove_of_a_withdrawn_recipe_says_to_fill_no_more(client, cook):
    batch = make_batch(by=cook)
    client.force_login(cook)
    assert "Fill no more jars" not in page(client, "detail", batch).content.decode()
    withdraw(batch)
    assert "Fill no more jars" in page(client, "detail", batch).content.decode()


@every_way
def test_the_pages_of_giving_say_nothing_of_keeping_either(client, cook, call_back):
    batch = make_batch_checked(by=cook)
    offer = services.jar_offer_make(by=cook, batch=batch, size="half-pint", count=2, token=uuid4())
    client.force_login(cook)
    assert "cool, dark" in client.get(offer.get_absolute_url()).content.decode()
    call_back(batch)
    assert says_nothing_of_keeping(client.get(offer.get_absolute_url()))
    assert says_nothing_of_keeping(page(client, "jar-offer-new", batch))


@every_way
def test_an_unsealed_jar_that_is_called_back_is_thrown_away_and_kept_nowhere(client, cook, call_back):
    batch = make_batch_out(by=cook, out_at=ago(hours=14))
    call_back(batch)
    client.force_login(cook)
    answer = page(client, "seals", batch)
    assert says_nothing_of_keeping(answer)
    assert [key for key, _label in answer.context["form"].fields["disposal_1"].choices] == ["discard"]
    found = dict.fromkeys((2, 3, 4), "sealed") | {1: "unsealed"}
    told = {"by": cook, "batch": batch, "results": found, "token": uuid4()}
    for kept in ("refrigerate", "freeze", "reprocess"):
        with pytest.raises(ValidationError) as refused:
            services.seals_record(**told, disposals={1: kept})
        assert set(refused.value.message_dict) == {"disposal_1"}
    services.seals_record(**told, disposals={1: "discard"})
    assert Jar.objects.get(batch=batch, number=1).disposal == "discard"


def test_a_jar_that_waited_to_be_reprocessed_is_thrown_away_once_it_is_called_back(client, cook):
    batch = make_batch_checked(by=cook, out_at=ago(hours=15), unsealed={1: "reprocess"})
    recall_batch(batch)
    client.force_login(cook)
    assert says_nothing_of_keeping(page(client, "detail", batch))
    path = reverse("batches:put-away", args=[batch.lot_code])
    refused = client.post(path, {"disposal_1": "freeze"})
    assert "disposal_1" in refused.context["away"].errors
    with pytest.raises(ValidationError):
        services.jars_put_away(by=cook, batch=batch, disposals={1: "refrigerate"})
    assert client.post(path, {"disposal_1": "discard"}).status_code == 302
    assert Jar.objects.get(batch=batch, number=1).disposal == "discard"


def test_a_batch_that_was_cleared_has_its_labels_again(cook):
    batch = make_batch_checked(by=cook)
    recall = make_recall(batch=batch)
    assert labels_of(batch) == []
    services.recall_close(by=recall.opened_by, recall=recall, note="Laboratory: sound.", is_cleared=True)
    assert len(labels_of(batch)) == 4


def test_a_batch_that_no_recall_reaches_keeps_its_labels(cook):
    make_recall(batch=make_batch_checked(by=cook))
    assert len(labels_of(make_batch_checked(by=cook))) == 4


@pytest.mark.parametrize("jars", [1, 30])
def test_the_pages_of_a_recalled_batch_cost_the_same_for_one_jar_and_for_30(
    client, cook, jars, django_assert_max_num_queries
):
    batch = make_batch_out(by=cook, out_at=ago(hours=13), pots=5, jars={"half-pint": jars})
    make_recall(batch=batch)
    client.force_login(cook)
    for name in ("detail", "labels", "seals"):
        with django_assert_max_num_queries(17):
            assert page(client, name, batch).status_code == 200


def given_away(batch, count=1):
    told = {"by": batch.made_by, "reason": "given", "size": batch.jar_size, "state": "full", "batch_id": batch.pk}
    places = {"source": kitchen_place(batch.kitchen), "target": outside_place("given-away")}
    return jars_move(
        **told, **places, count=count, token=uuid4(), at=NOW + timedelta(days=1), now=NOW + timedelta(days=1)
    )


@pytest.mark.parametrize("beside", [False, True])
def test_the_ledger_gives_away_no_jar_of_a_canner_that_is_called_back(beside):
    codes = [make_thing(Kind.WEIGHTED_GAUGE).code for _one in range(2)]
    batch = make_batch(**beans(canner=Canner.WEIGHTED_GAUGE, canner_code=", ".join(codes)))
    out = NOW + timedelta(hours=2)
    told = {"jars": {"pint": 4}, "minutes": 20, "psi": 15, "lid_code": "L", "jars_out_at": out, "now": out}
    batch = services.batch_log_process(
        by=batch.made_by, batch=batch, psi_beside={batch.canners_beside.get().pk: 15}, **told
    )
    given_away(batch)
    canner = batch.canners_beside.get().card if beside else batch.canner_card
    make_recall(canner=canner, now=NOW + timedelta(hours=5))
    with pytest.raises(ValidationError, match="called back"):
        given_away(batch)


def test_the_ledger_gives_away_no_more_than_stands_there_beside_what_is_set_aside():
    batch = make_batch_checked()
    services.jars_set_aside(
        by=batch.made_by,
        batch=batch,
        situation="siphoned-half",
        jars=[1, 2, 3],
        token=uuid4(),
        now=NOW + timedelta(hours=15),
    )
    with pytest.raises(ValidationError, match="3 of these jars are set aside") as refused:
        given_away(batch, 2)
    assert list(refused.value.message_dict) == ["count"]
    given = given_away(batch, 1)
    with pytest.raises(ValidationError):
        given_away(batch, 1)
    with pytest.raises(ValidationError, match="set aside"):
        jars_correct(by=batch.made_by, movement=given, count=2, token=uuid4())
