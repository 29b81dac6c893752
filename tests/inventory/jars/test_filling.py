"""What a batch's log does to jars and lids, from the stove to the seal check."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from inventory.batches import services as batches
from inventory.jars import services
from inventory.jars.models import Balance, LidLot, LidMovement, LidStock, Movement
from tests.factories.batches import NOW, make_batch, make_batch_checked, make_batch_out, make_freezer_revision
from tests.factories.jars import make_jars
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db

SIZE = "half-pint"


def there(batch, state):
    place = services.kitchen_place(batch.kitchen)
    rows = Balance.objects.filter(place=place, state=state, size=SIZE)
    return sum(rows.values_list("count", flat=True))


def reasons():
    return list(Movement.objects.order_by("pk").values_list("reason", "count"))


def test_filling_turns_counted_empties_into_full_jars_of_the_lot():
    cook = make_person()
    kitchen = make_kitchen(cook)
    make_jars(services.kitchen_place(kitchen), 10, size=SIZE, by=cook)
    batch = make_batch_out(by=cook, kitchen=kitchen)
    assert (there(batch, "empty"), there(batch, "full")) == (6, 4)
    assert reasons() == [("bought", 10), ("filled", 4)]
    assert Movement.objects.get(reason="filled").batch == batch


def test_a_household_that_counts_no_jars_is_not_held_up_and_the_ledger_says_so():
    cook = make_person()
    kitchen = make_kitchen(cook)
    make_jars(services.kitchen_place(kitchen), 1, size=SIZE, by=cook)
    batch = make_batch_out(by=cook, kitchen=kitchen)
    assert (there(batch, "empty"), there(batch, "full")) == (0, 4)
    assert reasons() == [("bought", 1), ("found", 3), ("filled", 4)]
    assert services.ledger_audit().is_sound


def test_each_filled_jar_takes_a_lid_of_the_lot_and_a_reprocessed_one_takes_another():
    batch = make_batch_checked(unsealed={1: "reprocess"}, lid_code="OLD")
    stock = LidStock.objects.get(lot__code="OLD")
    assert (stock.bought, stock.used, stock.on_hand) == (4, 4, 0)
    out = NOW + timedelta(hours=15)
    batches.jars_reprocess(
        by=batch.made_by, batch=batch, minutes=10, lid_code="NEW", jars_out_at=out, rims_sound=True, now=out
    )
    new = LidStock.objects.get(lot__code="NEW")
    assert (new.bought, new.used) == (1, 1)
    assert there(batch, "full") == 4
    assert set(LidMovement.objects.filter(reason="used").values_list("batch", flat=True)) == {batch.pk}
    assert services.ledger_audit().is_sound


def test_lids_on_hand_are_used_before_any_are_found(keeper):

    lot = services.lid_lot_get_or_add(by=keeper, code="LID 1")
    services.lids_move(by=keeper, reason="bought", lot=lot, count=12, token=uuid4())
    make_batch_out(lid_code="LID 1")
    stock = LidStock.objects.get(lot=lot)
    assert (stock.bought, stock.used, stock.on_hand) == (12, 4, 8)
    assert not LidMovement.objects.filter(reason="found").exists()


def test_a_freezer_recipe_fills_jars_and_takes_no_lids():
    batch = make_batch_out(revision=make_freezer_revision())
    assert there(batch, "full") == 4
    assert not LidMovement.objects.exists()


@pytest.mark.parametrize(
    ("disposal", "full", "empty"), [("refrigerate", 3, 1), ("discard", 3, 1), ("freeze", 4, 0), ("reprocess", 4, 0)]
)
def test_a_jar_that_did_not_seal_comes_back_empty_or_stays_full(disposal, full, empty):
    batch = make_batch_checked(unsealed={1: disposal})
    assert (there(batch, "full"), there(batch, "empty")) == (full, empty)
    assert services.ledger_audit().is_sound


def test_a_broken_jar_leaves_the_club_for_good():
    batch = make_batch_checked(broken=(2, 3))
    assert (there(batch, "full"), there(batch, "empty")) == (2, 0)
    gone = Balance.objects.get(place=services.outside_place("broken"))
    assert (gone.count, gone.batch) == (2, batch)


def test_an_early_look_that_finds_a_broken_jar_books_it_once():
    batch = make_batch_out()

    early, later = NOW + timedelta(hours=1), NOW + timedelta(hours=14)
    found = {1: "broken", 2: "sealed", 3: "sealed", 4: "sealed"}
    batches.seals_record(by=batch.made_by, batch=batch, token=uuid4(), results=found, now=early)
    del found[1]
    batches.seals_record(by=batch.made_by, batch=batch, token=uuid4(), results=found, now=later)
    assert there(batch, "full") == 3
    assert Balance.objects.get(place=services.outside_place("broken")).count == 1


@pytest.mark.parametrize(
    ("first", "then", "full", "empty"),
    [("freeze", "discard", 3, 1), ("refrigerate", "freeze", 4, 0), ("refrigerate", "discard", 3, 1)],
)
def test_a_jar_put_away_otherwise_is_followed(first, then, full, empty):
    batch = make_batch_checked(unsealed={1: first})
    batches.jars_put_away(by=batch.made_by, batch=batch, disposals={1: then})
    assert (there(batch, "full"), there(batch, "empty")) == (full, empty)
    assert services.ledger_audit().is_sound


def test_a_full_jar_that_was_moved_on_is_emptied_where_it_stands(keeper):

    batch = make_batch_out()
    friend = services.person_place(make_person())
    services.jars_move(
        by=keeper,
        reason="lent",
        size=SIZE,
        count=4,
        state="full",
        batch_id=batch.pk,
        source=services.kitchen_place(batch.kitchen),
        target=friend,
        token=uuid4(),
    )
    found = {n: "unsealed" if n == 1 else "sealed" for n in range(1, 5)}
    batches.seals_record(
        by=batch.made_by,
        batch=batch,
        token=uuid4(),
        results=found,
        disposals={1: "discard"},
        now=NOW + timedelta(hours=14),
    )
    held = dict(Balance.objects.filter(place=friend).values_list("state", "count"))
    assert held == {"full": 3, "empty": 1}


def test_a_log_that_is_refused_moves_nothing():
    batch, out = make_batch(), NOW + timedelta(hours=2)
    batches.batch_abandon(by=batch.made_by, batch=batch, reason="Scorched.")
    told = {"jars": {SIZE: 4}, "jars_out_at": out, "minutes": 10, "lid_code": "L", "now": out}
    with pytest.raises(batches.AlreadyDone):
        batches.batch_log_process(by=batch.made_by, batch=batch, **told)
    assert not Movement.objects.exists()
    assert not LidLot.objects.filter(stock__isnull=False).exists()
