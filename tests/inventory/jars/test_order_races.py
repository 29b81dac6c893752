"""Presses on a club order at one moment, in real threads on the real database: one books, the others learn of it."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

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
)
from tests import helpers
from tests.factories.jars import make_keeper
from tests.factories.members import make_person
from tests.factories.orders import NOW, line_of, make_arrived, make_order, make_ordered, received_of, wish

pytestmark = pytest.mark.django_db(transaction=True)

RACERS = 4
race = partial(helpers.race, racers=RACERS, refusals=ValidationError)


@pytest.fixture
def keeper():
    made = make_keeper()
    made.has_perm("jars.run_orders")  # asked once here, so that no racer pays for it
    return made


@pytest.mark.parametrize("one_form", [True, False])
def test_an_arrival_pressed_in_four_places_is_booked_once(keeper, one_form):
    order = make_order(by=keeper)
    wish(order, make_person(), lids=2, jars=3)
    make_ordered(order, by=keeper)
    received, token = received_of(order), uuid4()

    def press(_number):
        told = token if one_form else uuid4()
        return services.order_arrive(by=keeper, order=order, received=received, token=told, now=NOW)

    got = race(press)
    assert got.count(None) == (RACERS if one_form else 1)
    assert (LidMovement.objects.count(), Movement.objects.count()) == (1, 1)
    assert LidStock.objects.get().on_hand == 24
    assert services.ledger_audit().is_sound


def test_four_who_hand_out_one_member_s_things_hand_them_out_once(keeper):
    order, ada = make_order(by=keeper), make_person()
    wish(order, ada, jars=2)
    make_arrived(order, by=keeper)
    got = race(lambda _n: services.order_pick_up(by=keeper, order=order, member=ada, token=uuid4(), now=NOW).pk)
    assert got == [OrderPickup.objects.get().pk] * RACERS
    assert Balance.objects.get(place=services.person_place(ada)).count == 24
    assert services.ledger_audit().is_sound


def test_wishes_that_meet_the_sending_off_are_whole_and_none_comes_after_it(keeper):
    order = make_order(by=keeper)
    wish(order, make_person(), lids=1)
    members = [make_person() for _ in range(RACERS)]
    for member in members:
        member.has_perm("batches.add_batch")
    wishes = {line_of(order, "lids").pk: 3, line_of(order, "jars").pk: 1}

    def press(number):
        if number == 0:
            return services.order_place(by=keeper, order=order, now=NOW)
        return services.order_entries_set(by=members[number], order=order, entries=wishes, now=NOW)

    got = race(press)
    assert got[0] is None
    for member, outcome in zip(members[1:], got[1:], strict=True):
        assert OrderEntry.objects.filter(member=member).count() == (2 if outcome is None else 0)
    assert ClubOrder.objects.get().state == "ordered"


def test_a_payment_form_sent_from_four_places_is_one_note(keeper):
    order, ada, token = make_order(by=keeper), make_person(), uuid4()
    wish(order, ada, lids=1)
    told = {"by": keeper, "order": order, "member": ada, "cents": 500, "token": token}
    got = race(lambda _n: services.order_payment_note(**told).pk)
    assert got == [OrderPayment.objects.get().pk] * RACERS


def test_one_member_s_two_phones_leave_one_wish_a_line(keeper):
    order, ada = make_order(by=keeper), make_person()
    ada.has_perm("batches.add_batch")
    line = line_of(order, "lids").pk

    def press(number):
        at = NOW + timedelta(minutes=number)
        return services.order_entries_set(by=ada, order=order, entries={line: number + 1}, now=at)

    assert race(press) == [None] * RACERS
    assert OrderEntry.objects.get().quantity in range(1, RACERS + 1)
