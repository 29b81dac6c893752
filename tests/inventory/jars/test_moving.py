"""Moving jars, correcting, deposits: who may, what is refused, and what is written."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction

from inventory.jars import services
from inventory.jars.models import Balance, Deposit, DepositNote, Movement, Place
from inventory.jars.rules import SHAPES, cents_back, shape_fits
from inventory.jars.triggers import GUARDS
from tests.factories.batches import make_batch_out
from tests.factories.jars import make_jars, make_keeper, make_loan
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db


def there(place, state="empty", size="pint"):
    return sum(Balance.objects.filter(place=place, state=state, size=size).values_list("count", flat=True))


def move(by, reason, source, target, **more):
    told = {"size": "pint", "count": 1, "token": uuid4(), **more}
    return services.jars_move(by=by, reason=reason, source=source, target=target, **told)


def test_what_is_bought_is_there_and_the_account_says_so(keeper):
    store = services.store_place()
    make_jars(store, 12, by=keeper)
    assert there(store) == 12
    assert there(services.outside_place("bought")) == -12
    assert Balance.objects.sums_by_size() == {"pint": 0}


def test_no_place_gives_more_than_it_has_and_says_how_many_there_are(keeper):
    store, person = services.store_place(), services.person_place(make_person())
    make_jars(store, 3, by=keeper)
    with pytest.raises(services.NotEnough) as refused:
        move(keeper, "lent", store, person, count=4)
    assert refused.value.there == 3
    assert "3 of these" in refused.value.message_dict["count"][0]
    assert Movement.objects.count() == 1
    move(keeper, "lent", store, person, count=3)
    assert (there(store), there(person)) == (0, 3)


def test_the_same_form_twice_is_one_movement_and_another_use_of_it_is_refused(keeper):
    store, token = services.store_place(), uuid4()
    bought = services.outside_place("bought")
    first = move(keeper, "bought", bought, store, token=token)
    assert move(keeper, "bought", bought, store, token=token) == first
    with pytest.raises(ValidationError, match="used for something else"):
        move(keeper, "bought", bought, store, token=token, count=2)
    assert there(store) == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"count": 0}, "count"),
        ({"count": 10_000}, "count"),
        ({"size": "bucket"}, "size"),
        ({"reason": "filled"}, "reason"),
        ({"reason": "corrected"}, "reason"),
        ({"reason": "stolen"}, "reason"),
        ({"reason": "given"}, "reason"),  # bought jars come in; they are not given away from the shop
        ({"state": "full"}, "reason"),
        ({"note": "x" * 201}, "note"),
        ({"deposit_cents": 50}, "deposit_cents"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(keeper, changes, field):
    told = {"reason": "bought", "source": services.outside_place("bought"), "target": services.store_place()}
    with pytest.raises(ValidationError) as refused:
        move(keeper, **(told | changes))
    assert list(refused.value.message_dict) == [field]
    assert not Movement.objects.exists()
    assert move(keeper, **told).count == 1


def test_full_jars_keep_their_lot_wherever_they_go(keeper):
    batch = make_batch_out()
    kitchen = services.kitchen_place(batch.kitchen)
    person = services.person_place(make_person())
    full = {"size": "half-pint", "state": "full"}
    with pytest.raises(ValidationError) as refused:
        move(keeper, "lent", kitchen, person, **full)
    assert "lot" in refused.value.message_dict
    move(keeper, "lent", kitchen, person, **full, batch_id=batch.pk)
    assert Balance.objects.get(place=person).batch == batch
    returned = move(keeper, "returned", person, services.store_place(), **full, batch_id=batch.pk)
    assert (returned.source_state, returned.target_state, returned.batch) == ("full", "empty", batch)
    assert there(services.store_place(), size="half-pint") == 1


def test_a_member_moves_her_own_jars_and_no_others():
    cook, keeper = make_person(), make_keeper()
    mine = services.kitchen_place(make_kitchen(cook))
    theirs = services.kitchen_place(make_kitchen(make_person()))
    store = services.store_place()
    for place in (mine, theirs, store):
        make_jars(place, 5, by=keeper)
    assert move(cook, "broken", mine, services.outside_place("broken")).by == cook
    for place in (theirs, store):
        with pytest.raises(PermissionDenied):
            move(cook, "broken", place, services.outside_place("broken"))
        with pytest.raises(PermissionDenied):
            move(cook, "moved", place, mine)
    with pytest.raises(PermissionDenied):
        move(cook, "lent", mine, services.person_place(cook), deposit_cents=1)


def test_who_may_see_a_place():
    cook, keeper = make_person(), make_keeper()
    mine = {services.kitchen_place(make_kitchen(cook)), services.person_place(cook)}
    others = {services.store_place(), services.person_place(keeper)}
    services.outside_place("bought")
    assert set(Place.objects.usable_by(cook)) == mine
    assert set(Place.objects.usable_by(keeper)) == mine | others


@pytest.mark.parametrize("right", [0, 3, 8])
def test_a_correction_is_a_new_movement_that_mends_the_count(keeper, right):
    store = services.store_place()
    wrong = make_jars(store, 5, by=keeper)
    token = uuid4()
    mended = services.jars_correct(by=keeper, movement=wrong, count=right, token=token)
    again = services.jars_correct(by=keeper, movement=wrong, count=right, token=token)
    assert mended == again
    assert there(store) == right
    wrong.refresh_from_db()
    assert (wrong.count, mended.corrects, mended.reason) == (5, wrong, "corrected")
    with pytest.raises(ValidationError, match="corrected already"):
        services.jars_correct(by=keeper, movement=wrong, count=1, token=uuid4())
    assert services.ledger_audit().is_sound


def test_a_correction_may_itself_be_corrected_and_never_takes_what_is_gone(keeper):
    store = services.store_place()
    bought = make_jars(store, 5, by=keeper)
    mended = services.jars_correct(by=keeper, movement=bought, count=2, token=uuid4())
    services.jars_correct(by=keeper, movement=mended, count=1, token=uuid4())
    assert there(store) == 4
    later = make_jars(store, 6, by=keeper)
    move(keeper, "broken", store, services.outside_place("broken"), count=9)
    with pytest.raises(services.NotEnough):
        services.jars_correct(by=keeper, movement=later, count=0, token=uuid4())


def test_only_who_wrote_it_or_keeps_the_ledger_corrects():
    cook, fellow = make_person(), make_person()
    place = services.kitchen_place(make_kitchen(cook, fellow))
    mine = make_jars(place, 2, by=cook)
    with pytest.raises(PermissionDenied):
        services.jars_correct(by=fellow, movement=mine, count=1, token=uuid4())
    assert services.jars_correct(by=cook, movement=mine, count=1, token=uuid4()).count == 1
    assert make_jars(place, 2, by=cook)


def test_a_deposit_is_taken_with_the_loan_and_given_back_to_the_last_cent(keeper):
    person = make_person()
    make_loan(person, 3, by=keeper, deposit_cents=50)
    make_loan(person, 4, by=keeper, deposit_cents=25)
    held = Deposit.objects.get()
    assert (held.person, held.jars, held.cents) == (person, 7, 250)
    place, store = services.person_place(person), services.store_place()
    for _n in range(7):
        move(keeper, "returned", place, store)
    held.refresh_from_db()
    assert (held.jars, held.cents) == (0, 0)
    assert sum(DepositNote.objects.values_list("cents", flat=True)) == 0
    assert not Deposit.objects.open().exists()
    assert services.ledger_audit().is_sound


def test_a_jar_lent_without_deposit_gives_none_back(keeper):
    person = make_person()
    make_loan(person, 2, by=keeper)
    move(keeper, "returned", services.person_place(person), services.store_place(), count=2)
    assert not DepositNote.objects.exists()


def test_a_deposit_is_closed_once_with_a_reason(keeper):
    person = make_person()
    make_loan(person, 2, by=keeper, deposit_cents=75)
    told = {"by": keeper, "person": person, "size": "pint"}
    with pytest.raises(ValidationError):
        services.deposit_settle(**told, token=uuid4(), note=" ")
    token = uuid4()
    for _press in range(2):
        services.deposit_settle(**told, token=token, note="Kept: both broke.")
    assert DepositNote.objects.filter(cents=-150, jars=-2).count() == 1
    with pytest.raises(ValidationError, match="no deposit"):
        services.deposit_settle(**told, token=uuid4(), note="Again.")
    with pytest.raises(PermissionDenied):
        services.deposit_settle(**{**told, "by": person}, token=uuid4(), note="Mine.")


@pytest.mark.parametrize(("cents", "jars"), [(100, 3), (1, 7), (0, 2), (99_999, 13)])
def test_shares_of_a_deposit_sum_to_the_whole(cents, jars):
    left, given = cents, 0
    for out in range(jars, 0, -1):
        back = cents_back(cents=left, jars=out, returned=1)
        left, given = left - back, given + back
    assert (left, given) == (0, cents)


def test_a_reason_that_is_not_known_fits_nothing():
    assert not shape_fits("stolen", source="store", target="member", found="empty", left="empty", is_same_place=False)
    assert shape_fits("lent", source="store", target="member", found="empty", left="empty", is_same_place=False)
    assert not shape_fits("lent", source="member", target="store", found="empty", left="empty", is_same_place=False)
    assert {shape.stays for shape in SHAPES.values()} == {True, False}


# What the database itself refuses


def test_a_movement_is_never_changed_or_deleted(keeper):
    movement = make_jars(services.store_place(), 5, by=keeper)
    for change in (
        lambda: Movement.objects.filter(pk=movement.pk).update(count=6),
        lambda: Movement.objects.filter(pk=movement.pk).update(note="x"),
        lambda: Movement.objects.filter(pk=movement.pk).delete(),
    ):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            change()
    assert Movement.objects.get().count == 5


def test_the_guards_are_in_the_migrated_database():
    if connection.vendor == "sqlite":
        sql = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    else:
        sql = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    with connection.cursor() as cursor:
        cursor.execute(sql)
        assert {row[0] for row in cursor.fetchall()} >= set(GUARDS.names)


def test_the_database_lets_no_inside_place_below_zero_and_outside_ones_only(keeper):
    make_jars(services.store_place(), 5, by=keeper)
    inside = Balance.objects.filter(is_inside=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        inside.update(count=-1)
    assert inside.update(count=0) == 1
    assert Balance.objects.filter(is_inside=False).update(count=-7) == 1


def test_no_balance_calls_an_inside_place_outside(keeper):
    store = services.store_place()
    make_jars(store, 5, by=keeper)
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.filter(place=store).update(is_inside=False)
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.create(place=store, is_inside=False, size="quart", state="empty", count=-1)
    assert Balance.objects.create(place=store, is_inside=True, size="quart", state="empty", count=0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"size": "bucket"},
        {"state": "full"},
        {"state": "glued"},
    ],
)
def test_a_balance_that_cannot_be_is_refused(wrong):
    good = {"place": services.store_place(), "is_inside": True, "size": "pint", "state": "empty", "count": 1}
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.create(**(good | wrong))
    Balance.objects.create(**good)
    with pytest.raises(IntegrityError), transaction.atomic():
        Balance.objects.create(**good)


def test_the_audit_finds_what_was_tampered_with(keeper):
    make_jars(services.store_place(), 5, by=keeper)
    assert services.ledger_audit().is_sound
    Balance.objects.filter(is_inside=True).update(count=4)
    audit = services.ledger_audit()
    assert audit.sums == {"pint": -1}
    assert any("sum over all places" in problem for problem in audit.problems)
    assert any("4 kept, 5 by the movements" in problem for problem in audit.problems)
