"""What an answer to a recall does: to the very jars it is about, to the ledger of their place, and to nothing else."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from club.members.choices import Role
from inventory.batches import services
from inventory.batches.models import Batch, Jar, JarOffer, OfferedJar
from inventory.batches.presentation import labels_of
from inventory.batches.tracing import holdings, waiting
from inventory.jars.models import Balance
from inventory.jars.services import jars_move, kitchen_place, ledger_audit, outside_place, person_place, store_place
from recipes.presentation import Reach, reach_of
from tests.factories.batches import NOW, make_batch_checked, make_batch_out, make_freezer_revision, make_recall
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=30)


@pytest.fixture
def maker():
    return make_person(name="Mona Maker")


@pytest.fixture
def batch(maker):
    """Four jars on the shelf of her own kitchen."""
    return make_batch_checked(by=maker)


@pytest.fixture(autouse=True)
def books_are_sound():
    yield
    assert ledger_audit().is_sound


def answer(by, recall, batch, outcome, jars=0, **fields):
    told = {"by": by, "recall": recall, "batch": batch, "outcome": outcome, "jars": jars, "now": LATER}
    return services.recall_answer(**{"token": uuid4(), **told, **fields})


def move(batch, target, *, count=1, by=None):
    jars_move(
        by=by or make_person(Role.KEEPER),
        reason="moved",
        size="half-pint",
        count=count,
        source=kitchen_place(batch.kitchen),
        target=target,
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
        at=LATER,
        now=LATER,
    )


def fates(batch):
    return Counter(batch.jars.values_list("disposal", flat=True))


def full(batch):
    """Full jars of the lot by kind of place."""
    rows = Balance.objects.there().filter(batch=batch, state="full")
    return dict(rows.values_list("place__kind", "count"))


@pytest.mark.parametrize(
    ("outcome", "becomes", "left"),
    [
        ("discarded", "discard", {"kitchen": 1}),
        ("eaten", "gone", {"kitchen": 1}),
        ("returned", "returned", {"kitchen": 1, "store": 3}),
        ("set-apart", "shelf", {"kitchen": 4}),
    ],
)
def test_an_answer_is_booked_to_as_many_jars_and_to_the_ledger_and_once(batch, maker, outcome, becomes, left):
    recall, token = make_recall(batch=batch), uuid4()
    first = answer(maker, recall, batch, outcome, 3, token=token)
    assert answer(maker, recall, batch, outcome, 3, token=token) == first
    meant = Jar.objects.filter(answer=first)
    assert list(meant.order_by("number").values_list("number", "disposal")) == [(n, becomes) for n in (1, 2, 3)]
    assert Jar.objects.get(batch=batch, number=4).answer is None
    assert full(batch) == left


def test_none_left_empties_the_place_by_the_books_as_well(batch, maker):
    answer(maker, make_recall(batch=batch), batch, "none-left")
    assert fates(batch) == {"gone": 4}
    assert full(batch) == {}


def test_none_left_in_a_hall_says_nothing_until_who_made_them_says_so_too(maker):
    host = make_person(name="Hanna Host")
    batch = make_batch_checked(by=maker, kitchen=make_kitchen(host, is_hall=True))
    recall = make_recall(batch=batch)
    answer(host, recall, batch, "none-left")
    assert (fates(batch), full(batch)) == ({"shelf": 4}, {"kitchen": 4})
    answer(maker, recall, batch, "discarded", 3)
    assert (fates(batch), full(batch)) == ({"shelf": 1, "discard": 3}, {"kitchen": 1})
    answer(maker, recall, batch, "none-left")
    assert (fates(batch), full(batch)) == ({"gone": 1, "discard": 3}, {})


def test_set_apart_a_jar_says_so_until_it_is_thrown_away_or_cleared(batch, maker):
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "set-apart", 2)
    apart = [jar.number for jar in batch.jars.select_related("answer__recall").order_by("number") if jar.is_set_apart]
    assert apart == [1, 2]
    answer(maker, recall, batch, "eaten", 1)  # that was none of those set apart
    answer(maker, recall, batch, "discarded", 2)  # and these were
    assert dict(batch.jars.values_list("number", "disposal")) == {1: "discard", 2: "discard", 3: "gone", 4: "shelf"}
    answer(maker, recall, batch, "set-apart", 5)
    services.recall_close(by=recall.opened_by, recall=recall, note="Laboratory: sound.", is_cleared=True)
    jar = Jar.objects.get(batch=batch, number=4)
    assert not jar.is_set_apart
    assert list(Jar.objects.filter(batch=batch).to_give()) == [jar]


def test_what_was_brought_back_is_the_keepers_to_answer_for(batch, maker):
    keeper = make_person(Role.KEEPER)
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "returned", 4)
    [held] = waiting([recall])
    assert (held.where, held.jars, held.people) == ("store", 4, {keeper.pk})
    assert reach_of(batch.revision) == Reach(4, 1)
    with pytest.raises(ValidationError) as refused:
        answer(keeper, recall, batch, "returned", 4)
    assert set(refused.value.message_dict) == {"outcome"}
    answer(keeper, recall, batch, "discarded", 4)
    assert (fates(batch), full(batch), waiting([recall])) == ({"discard": 4}, {}, [])


def test_jars_moved_by_hand_leave_the_place_that_answers_whoever_is_first(batch, maker):
    """The ledger has one with a friend and three at home; the batch's own rows are four at home."""
    friend = make_person(name="Fay Friend")
    move(batch, person_place(friend))
    recall = make_recall(batch=batch)
    assert {one.where.split()[0]: one.jars for one in holdings([recall])} == {"kitchen": 3, "person": 1}
    answer(friend, recall, batch, "discarded", 1)
    assert (fates(batch), full(batch)) == ({"shelf": 3, "discard": 1}, {"kitchen": 3})
    answer(maker, recall, batch, "eaten", 3)
    assert (fates(batch), full(batch)) == ({"gone": 3, "discard": 1}, {})


def test_an_answer_at_home_leaves_alone_what_stands_elsewhere(batch, maker):
    friend = make_person(name="Fay Friend")
    move(batch, person_place(friend), count=2)
    move(batch, store_place())
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "discarded", 4)  # more than there are by the books
    assert full(batch) == {"member": 2, "store": 1}
    assert {one.where.split()[0] for one in waiting([recall])} == {"person", "store"}


def test_what_went_out_of_the_club_stays_called_back_when_the_household_has_none_left(batch, maker):
    """Only who gave it away knows where it is; the household's "none left" does not take it off the list."""
    jars_move(
        by=maker,
        reason="given",
        size="half-pint",
        count=2,
        source=kitchen_place(batch.kitchen),
        target=outside_place("given-away"),
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
        at=LATER,
        now=LATER,
    )
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "none-left", where=f"kitchen {batch.kitchen_id}")
    assert fates(batch) == {"gone": 2, "shelf": 2}
    [held] = waiting([recall])
    assert (held.where, held.jars) == (f"gave {maker.pk}", 2)


def test_of_a_lid_lot_only_its_own_jars_change(maker):
    batch = make_batch_checked(by=maker, unsealed={2: "reprocess"})
    Jar.objects.filter(batch=batch, number=2).update(lid_lot=make_batch_checked(lid_code="LID 9").lid_lot)
    recall = make_recall(lid_lot=batch.lid_lot)
    answer(maker, recall, batch, "none-left")
    assert dict(batch.jars.values_list("number", "disposal")) == {1: "gone", 2: "reprocess", 3: "gone", 4: "gone"}
    assert full(batch) == {"kitchen": 1}


def test_jars_that_nobody_had_looked_at_yet_need_no_look_once_all_are_gone(maker):
    batch = make_batch_out(by=maker)
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "discarded", 3)
    assert Batch.objects.get(pk=batch.pk).state == "out"
    assert [jar.number for jar in Batch.objects.get(pk=batch.pk).jars_to_look_at()] == [4]
    answer(maker, recall, batch, "eaten", 1)
    assert Batch.objects.get(pk=batch.pk).state == "checked"
    assert not Batch.objects.seals_due(LATER).exists()
    assert set(batch.jars.values_list("seal", flat=True)) == {"unchecked"}


def test_frozen_jars_are_thrown_away_as_well_and_have_no_label_any_more(maker):
    batch = make_batch_out(by=maker, revision=make_freezer_revision())
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "discarded", 4)
    services.recall_close(by=recall.opened_by, recall=recall, note="Laboratory: sound.", is_cleared=True)
    assert (fates(batch), labels_of(Batch.objects.get(pk=batch.pk))) == ({"discard": 4}, [])


def test_an_offer_ends_for_what_was_thrown_away(batch, maker):
    services.jar_offer_make(by=maker, batch=batch, size="half-pint", count=3, token=uuid4())
    recall = make_recall(batch=batch)
    answer(maker, recall, batch, "discarded", 2)
    services.recall_close(by=recall.opened_by, recall=recall, note="Laboratory: sound.", is_cleared=True)
    assert OfferedJar.objects.filter(is_live=True).count() == 1
    assert JarOffer.objects.for_list().get().left == 1


def test_the_database_keeps_a_jar_from_being_gone_without_an_answer(batch):
    for disposal in ("gone", "returned"):
        with pytest.raises(IntegrityError, match="jar_is_gone_or_returned_by_an_answer"), transaction.atomic():
            Jar.objects.filter(batch=batch).update(disposal=disposal)


@pytest.mark.parametrize("jars", [1, 12])
def test_an_answer_costs_no_more_questions_for_many_lots(maker, jars, django_assert_max_num_queries):
    batch = make_batch_checked(by=maker, pots=3, jars={"half-pint": jars})
    recall = make_recall(batch=batch)
    with django_assert_max_num_queries(45 + jars):  # each jar by an update of its own
        answer(maker, recall, batch, "discarded", jars)
