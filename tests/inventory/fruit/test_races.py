"""Presses at one moment, in real threads on the real database: one result, never more given than there is."""

from __future__ import annotations

from functools import partial
from typing import Any
from uuid import uuid4

import pytest
from django.db.models import Sum

from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share, SharingRound
from tests import helpers
from tests.factories.fruit import KG, NOW, make_claim, make_offer, share_out
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db(transaction=True)

RACERS = 4
race = partial(helpers.race, racers=RACERS, refusals=services.AlreadyDone)


def test_one_form_pressed_in_four_places_is_one_offer():
    person, token = make_person(), uuid4()
    got = race(lambda _n: make_offer(by=person, token=token).pk)
    assert got == [Offer.objects.get().pk] * RACERS


def test_four_who_share_out_at_one_moment_find_one_result():
    offer = make_offer()
    for _ in range(3):
        make_claim(offer)
    giver = offer.giver
    got = race(lambda _n: services.offer_share_out(by=giver, offer=Offer.objects.get(pk=offer.pk), now=NOW).pk)
    assert got == [SharingRound.objects.get().pk] * RACERS
    assert Share.objects.aggregate(units=Sum("units"))["units"] == Offer.objects.get().shared == 12 * KG


def test_claims_that_come_while_it_is_shared_out_are_in_it_or_get_what_is_left():
    offer = make_offer()
    make_claim(offer)
    people = [make_person() for _ in range(RACERS)]
    giver = offer.giver

    def press(number: int) -> Any:
        mine = Offer.objects.get(pk=offer.pk)
        if number == 0:
            return services.offer_share_out(by=giver, offer=mine, now=NOW).number
        return make_claim(mine, 2 * KG, by=people[number]).pk

    race(press)
    given = Share.objects.active().aggregate(units=Sum("units"))["units"]
    offer.refresh_from_db()
    assert given == offer.shared <= 12 * KG
    assert Share.objects.count() == Claim.objects.count() == RACERS


def test_a_share_given_back_in_four_places_is_freed_once():
    offer = make_offer()
    leaves, stays = make_claim(offer, 9 * KG), make_claim(offer, 9 * KG)
    share_out(offer)
    person = leaves.person

    def press(_number: int) -> None:
        services.share_give_back(by=person, share=Share.objects.select_related("offer").get(claim=leaves), now=NOW)

    race(press)
    offer.refresh_from_db()
    assert (offer.rounds, offer.shared, Share.objects.get(claim=stays).units) == (2, 9 * KG, 9 * KG)


def test_giving_back_and_fetching_at_one_moment_end_in_one_of_them():
    offer = make_offer()
    claim = make_claim(offer, 9 * KG)
    share_out(offer)
    person, giver = claim.person, offer.giver

    def press(number: int) -> Any:
        share = Share.objects.select_related("offer").get()
        if number % 2:
            return services.share_give_back(by=person, share=share, now=NOW)
        return services.share_note_picked_up(by=giver, share=share, now=NOW)

    race(press)
    offer.refresh_from_db()
    stage = Share.objects.get().stage
    assert offer.shared == (9 * KG if stage == "picked-up" else 0)
