"""A club order from the first wish to the last jar fetched: who may, what is booked, and everything once."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.choices import Role
from inventory.jars import services
from inventory.jars.models import (
    Balance,
    ClubOrder,
    LidMovement,
    LidStock,
    Movement,
    OrderEntry,
    OrderPayment,
    OrderPickup,
    SupplyLot,
)
from inventory.jars.models.orders import bills_for, entries_of, line_sums, member_sums
from inventory.jars.services import LineFields, NotEnough, Received, Terms
from tests.factories.jars import make_supply
from tests.factories.members import make_organiser, make_person
from tests.factories.orders import (
    LIDS,
    NOW,
    PINTS,
    line_of,
    make_arrived,
    make_order,
    make_ordered,
    pectin_line,
    received_of,
    wish,
)

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(days=8)


@pytest.fixture
def ada():
    return make_person(name="Ada")


@pytest.fixture
def bo():
    return make_person(name="Bo")


def units_of(order):
    return {
        (wish.member.name, wish.line.kind): (wish.quantity, wish.got) for wish in entries_of(ClubOrder(pk=order.pk))
    }


# Opening and changing


def test_keepers_and_organisers_run_orders_and_members_and_instructors_do_not(keeper):
    for by in (keeper, make_organiser()):
        assert make_order(by=by).state == "open"
    for role in (Role.MEMBER, Role.INSTRUCTOR):
        with pytest.raises(PermissionDenied):
            make_order(by=make_person(role))


def test_the_same_form_sent_twice_opens_one_order_with_its_lines_once(keeper):
    token = uuid4()
    for _press in range(2):
        services.order_open(
            by=keeper, title="Lids", closes_at=LATER, token=token, lines=[LIDS, PINTS], terms=Terms(), now=NOW
        )
    order = ClubOrder.objects.get()
    assert [line.kind for line in order.lines.all()] == ["lids", "jars"]


def test_an_order_with_a_line_that_is_wrong_is_not_opened_at_all(keeper):
    wrong = LineFields(name="Jars", unit="tray", price_cents=100, kind="jars", grams=10)
    with pytest.raises(ValidationError, match="Line 2: Say which size"):
        make_order(LIDS, wrong, by=keeper)
    assert not ClubOrder.objects.exists()


def test_wishes_cannot_end_before_they_begin(keeper):
    with pytest.raises(ValidationError, match="past already"):
        make_order(by=keeper, days=0)


def test_what_is_shared_by_weight_needs_the_weight_of_every_line(keeper):
    light = LineFields(name="Lids", unit="box", price_cents=100, kind="lids", pieces=12)
    with pytest.raises(ValidationError, match="say what one unit weighs"):
        make_order(light, by=keeper, freight_cents=500, freight_by="weight")
    order = make_order(light, by=keeper, freight_cents=500, freight_by="value")
    with pytest.raises(ValidationError, match="no weight yet"):
        services.order_terms_change(by=keeper, order=order, terms=Terms(freight_cents=1, freight_by="weight"))


def test_a_vinegar_is_not_ordered_so_as_its_strength_is_on_each_bottle(keeper):
    vinegar = make_supply("Cider vinegar", by=keeper, kind="vinegar")
    with pytest.raises(ValidationError, match="strength"):
        make_order(pectin_line(vinegar), by=keeper)


def test_a_line_goes_while_nobody_wishes_for_it_and_not_after(keeper, ada):
    order = make_order(by=keeper)
    wish(order, ada, lids=1)
    services.order_line_remove(by=keeper, line=line_of(order, "jars"))
    with pytest.raises(ValidationError, match="wishes for it"):
        services.order_line_remove(by=keeper, line=line_of(order, "lids"))
    assert [line.kind for line in order.lines.all()] == ["lids"]


def test_a_line_is_added_once_by_its_token_and_none_once_the_order_is_placed(keeper, ada):
    order, token = make_order(LIDS, by=keeper), uuid4()
    for _press in range(2):
        services.order_line_add(by=keeper, order=order, fields=PINTS, token=token)
    assert order.lines.count() == 2
    wish(order, ada, lids=1)
    make_ordered(order, by=keeper)
    with pytest.raises(ValidationError, match="no more wishes"):
        services.order_line_add(by=keeper, order=order, fields=LIDS, token=uuid4())


# Wishing


def test_a_member_changes_her_wish_until_the_order_closes_and_not_after(keeper, ada):
    order = make_order(by=keeper)
    wish(order, ada, lids=2, jars=1)
    wish(order, ada, lids=1, jars=0)
    assert units_of(order) == {("Ada", "lids"): (1, None)}
    with pytest.raises(ValidationError, match="no more wishes"):
        wish(order, ada, now=LATER, lids=5)
    make_ordered(order, by=keeper)
    with pytest.raises(ValidationError, match="no more wishes"):
        wish(order, ada, lids=5)
    assert units_of(order) == {("Ada", "lids"): (1, None)}


def test_who_wishes_for_more_goes_to_the_end_of_the_line_and_who_wishes_for_less_stays(keeper, ada):
    order = make_order(by=keeper)
    wish(order, ada, lids=3)
    wish(order, ada, now=NOW + timedelta(hours=1), lids=2)
    assert OrderEntry.objects.get().asked_at == NOW
    wish(order, ada, now=NOW + timedelta(hours=2), lids=4)
    assert OrderEntry.objects.get().asked_at == NOW + timedelta(hours=2)


def test_a_wish_for_a_line_of_another_order_is_refused_and_none_is_written(keeper, ada):
    order, other = make_order(by=keeper), make_order(by=keeper)
    wishes = {line_of(order, "lids").pk: 1, line_of(other, "lids").pk: 1}
    with pytest.raises(ValidationError, match="not in the order"):
        services.order_entries_set(by=ada, order=order, entries=wishes, now=NOW)
    assert not OrderEntry.objects.exists()


@pytest.mark.parametrize("quantity", [-1, 501])
def test_a_wish_is_a_number_that_can_be_meant(keeper, ada, quantity):
    with pytest.raises(ValidationError, match="from 0 to 500"):
        wish(make_order(by=keeper), ada, lids=quantity)


def test_an_order_nobody_wishes_from_is_not_placed(keeper):
    with pytest.raises(ValidationError, match="nothing to order"):
        services.order_place(by=keeper, order=make_order(by=keeper), now=NOW)


# Arriving


def test_what_arrives_is_lids_by_lot_jars_in_the_store_and_supplies_on_their_shelf(keeper, ada, bo):
    pectin = make_supply("Pectin", by=keeper)
    order = make_order(LIDS, PINTS, pectin_line(pectin), by=keeper)
    wish(order, ada, lids=2, jars=1, supply=6)
    wish(order, bo, lids=1)
    make_arrived(order, by=keeper)
    assert {stock.lot.code: stock.on_hand for stock in LidStock.objects.all()} == {"BOX 7": 36}
    assert line_of(order, "lids").lid_lot.code == "BOX 7"
    assert Balance.objects.get(place=services.store_place()).count == 12
    assert SupplyLot.objects.get(supply=pectin).count == 6
    assert units_of(order) == {
        ("Ada", "lids"): (2, 2),
        ("Ada", "jars"): (1, 1),
        ("Ada", "supply"): (6, 6),
        ("Bo", "lids"): (1, 1),
    }
    assert services.ledger_audit().is_sound


def test_an_organiser_books_an_arrival_though_she_does_not_keep_the_ledger(ada):
    organiser = make_organiser()
    order = make_order(by=organiser)
    wish(order, ada, lids=1, jars=1)
    make_arrived(order, by=organiser)
    assert LidStock.objects.get().on_hand == 12
    with pytest.raises(PermissionDenied):
        services.order_pick_up(by=ada, order=order, member=ada, token=uuid4())


def test_an_arrival_pressed_twice_books_once_and_another_form_is_told(keeper, ada):
    order, token = make_order(by=keeper), uuid4()
    wish(order, ada, lids=1, jars=2)
    make_ordered(order, by=keeper)
    for _press in range(2):
        services.order_arrive(by=keeper, order=order, received=received_of(order), token=token, now=NOW)
    assert LidMovement.objects.count() == 1
    assert Movement.objects.count() == 1
    with pytest.raises(ValidationError, match="Only an order that was sent"):
        services.order_arrive(by=keeper, order=order, received=received_of(order), token=uuid4(), now=NOW)
    assert LidMovement.objects.count() == 1


def test_an_arrival_with_one_thing_wrong_books_nothing(keeper, ada):
    order = make_order(PINTS, LIDS, by=keeper)
    wish(order, ada, lids=1, jars=2)
    make_ordered(order, by=keeper)
    received = {**received_of(order), line_of(order, "lids").pk: Received(1)}
    with pytest.raises(ValidationError) as refused:
        services.order_arrive(by=keeper, order=order, received=received, token=uuid4(), now=NOW)
    assert f"lid_code_{line_of(order, 'lids').pk}" in refused.value.message_dict
    order.refresh_from_db()
    assert order.state == "ordered"
    assert not Movement.objects.exists()
    assert not LidMovement.objects.exists()


def test_every_line_says_how_many_came(keeper, ada):
    order = make_order(by=keeper)
    wish(order, ada, lids=1)
    make_ordered(order, by=keeper)
    with pytest.raises(ValidationError, match="0 for none"):
        services.order_arrive(by=keeper, order=order, received={}, token=uuid4(), now=NOW)


def test_of_a_short_delivery_who_asked_first_is_served_first(keeper, ada, bo):
    order = make_order(by=keeper, short_by="first")
    wish(order, bo, now=NOW, lids=3)
    wish(order, ada, now=NOW + timedelta(hours=1), lids=3)
    make_arrived(order, by=keeper, lids=4)
    assert units_of(order) == {("Bo", "lids"): (3, 3), ("Ada", "lids"): (3, 1)}


def test_of_a_short_delivery_in_proportion_each_gets_her_part_in_whole_units(keeper, ada, bo):
    order = make_order(by=keeper, short_by="pro-rata")
    wish(order, bo, now=NOW, lids=6)
    wish(order, ada, now=NOW + timedelta(hours=1), lids=2)
    make_arrived(order, by=keeper, lids=4)
    assert units_of(order) == {("Bo", "lids"): (6, 3), ("Ada", "lids"): (2, 1)}


def test_nobody_gets_more_than_she_asked_for_says_the_database(keeper, ada):
    order = make_order(by=keeper)
    wish(order, ada, lids=2)
    with pytest.raises(IntegrityError), transaction.atomic():
        OrderEntry.objects.update(got=3)


# Bills


def test_bills_are_of_what_came_and_sum_to_goods_freight_and_discount(keeper, ada, bo):
    order = make_order(by=keeper, freight_cents=1_001, discount_cents=333)
    wish(order, ada, lids=2, jars=1)
    wish(order, bo, now=NOW + timedelta(hours=1), lids=3)
    before = bills_for(order, entries_of(order))
    assert sum(bill.total_cents for bill in before.values()) == 5 * 349 + 1_499 + 1_001 - 333
    make_arrived(order, by=keeper, lids=4)
    bills = bills_for(order, entries_of(order))
    assert bills[ada.pk].goods_cents == 2 * 349 + 1_499
    assert bills[bo.pk].goods_cents == 2 * 349
    assert sum(bill.total_cents for bill in bills.values()) == 4 * 349 + 1_499 + 1_001 - 333
    # 360 g of lids and a tray of 4,600 g for Ada, 360 g of lids for Bo.
    assert (bills[ada.pk].freight.basis, bills[bo.pk].freight.basis) == (4_960, 360)


def test_who_went_short_of_everything_pays_no_freight_by_weight_but_her_head_s_part_evenly(keeper, ada, bo):
    order = make_order(by=keeper, freight_cents=1_000, freight_by="weight")
    wish(order, ada, now=NOW, lids=2)
    wish(order, bo, now=NOW + timedelta(hours=1), lids=2)
    make_arrived(order, by=keeper, lids=2)
    assert bills_for(order, entries_of(order))[bo.pk].total_cents == 0
    services.order_terms_change(by=keeper, order=order, terms=Terms(freight_cents=1_000, freight_by="evenly"))
    order.refresh_from_db()
    assert bills_for(order, entries_of(order))[bo.pk].total_cents == 500


def test_payments_are_notes_that_add_up_and_one_press_is_one_note(keeper, ada):
    order, token = make_order(by=keeper), uuid4()
    wish(order, ada, lids=2)
    for _press in range(2):
        services.order_payment_note(by=keeper, order=order, member=ada, cents=500, token=token)
    services.order_payment_note(by=keeper, order=order, member=ada, cents=-100, token=uuid4())
    assert OrderPayment.objects.count() == 2
    (row,) = member_sums(order, entries_of(order))
    assert (row.paid_cents, row.owed_cents) == (400, 2 * 349 - 400)
    with pytest.raises(PermissionDenied):
        services.order_payment_note(by=ada, order=order, member=ada, cents=100, token=uuid4())
    with pytest.raises(ValidationError, match="ordered nothing"):
        services.order_payment_note(by=keeper, order=order, member=keeper, cents=100, token=uuid4())


# Fetching and closing


def test_who_fetches_hers_has_her_jars_under_her_name_and_the_club_has_that_much_less(keeper, ada, bo):
    pectin = make_supply("Pectin", by=keeper)
    order = make_order(PINTS, pectin_line(pectin), by=keeper)
    wish(order, ada, jars=1, supply=6)
    wish(order, bo, jars=2, supply=1)
    make_arrived(order, by=keeper)
    for _press in range(2):
        services.order_pick_up(by=keeper, order=order, member=ada, token=uuid4(), now=NOW)
    assert OrderPickup.objects.count() == 1
    assert Balance.objects.get(place=services.person_place(ada)).count == 12
    assert Balance.objects.get(place=services.store_place()).count == 24
    assert SupplyLot.objects.get().count == 1
    assert services.ledger_audit().is_sound


def test_what_the_store_gave_away_meanwhile_is_not_fetched_and_nothing_is_written(keeper, ada, bo):
    order = make_order(PINTS, by=keeper)
    wish(order, ada, jars=1)
    make_arrived(order, by=keeper)
    store = services.store_place()
    services.jars_move(
        by=keeper, reason="moved", size="pint", count=5, source=store, target=services.person_place(bo), token=uuid4()
    )
    with pytest.raises(NotEnough):
        services.order_pick_up(by=keeper, order=order, member=ada, token=uuid4(), now=NOW)
    assert not OrderPickup.objects.exists()
    assert Balance.objects.get(place=store).count == 7


def test_an_order_closes_when_everybody_has_hers_and_not_before(keeper, ada, bo):
    order = make_order(LIDS, by=keeper)
    wish(order, ada, lids=1)
    wish(order, bo, now=NOW + timedelta(hours=1), lids=1)
    make_arrived(order, by=keeper, lids=1)  # Bo gets none, and is not waited for
    with pytest.raises(ValidationError, match="Ada"):
        services.order_close(by=keeper, order=order)
    services.order_pick_up(by=keeper, order=order, member=ada, token=uuid4(), now=NOW)
    for _press in range(2):
        services.order_close(by=keeper, order=order)
    order.refresh_from_db()
    assert order.state == "closed"
    with pytest.raises(ValidationError, match="bills stay"):
        services.order_terms_change(by=keeper, order=order, terms=Terms())


def test_an_order_is_cancelled_with_a_reason_until_the_goods_are_there(keeper, ada):
    order = make_order(by=keeper)
    wish(order, ada, lids=1)
    with pytest.raises(ValidationError, match="Write something"):
        services.order_cancel(by=keeper, order=order, reason=" ")
    services.order_cancel(by=keeper, order=order, reason="The supplier shut down")
    order.refresh_from_db()
    assert (order.state, order.cancelled_reason) == ("cancelled", "The supplier shut down")
    other = make_order(by=keeper)
    wish(other, ada, lids=1)
    make_arrived(other, by=keeper)
    with pytest.raises(ValidationError, match="arrived"):
        services.order_cancel(by=keeper, order=other, reason="Too late")


def test_a_person_sees_what_she_wished_and_what_all_wished(keeper, ada, bo):
    order = make_order(LIDS, by=keeper)
    wish(order, ada, lids=2)
    wish(order, bo, lids=3)
    (row,) = line_sums(order, entries_of(order), ada)
    assert (row.asked, row.mine, row.got) == (5, 2, None)
