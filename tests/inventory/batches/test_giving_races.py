"""Surplus jars and recalls at one moment, in real threads on the real database."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError

from inventory.batches import services
from inventory.batches.models import Batch, Jar, OfferedJar, Recall
from inventory.batches.tracing import holders
from inventory.jars.services import ledger_audit
from recipes.services import revision_withdraw
from tests.factories.batches import make_batch_checked
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.inventory.batches.test_races import RACERS, race

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def batch():
    giver = make_person()
    return make_batch_checked(by=giver, kitchen=make_kitchen(giver))


def offered(batch, count, **fields):
    told = {"by": batch.made_by, "batch": batch, "size": "half-pint", "count": count, "token": uuid4(), **fields}
    return services.jar_offer_make(**told)


def refused(press: Any) -> Any:
    """The press, with a refusal as an answer."""

    def pressed(number: int) -> Any:
        try:
            return press(number)
        except ValidationError as error:
            return type(error)

    return pressed


def test_four_people_racing_for_the_last_two_jars_one_has_them(batch):
    offer, people = offered(batch, 2), [make_person() for _n in range(RACERS)]
    got = race(refused(lambda n: services.jar_claim_make(by=people[n], offer=offer, count=2, token=uuid4()).person_id))
    assert got.count(ValidationError) == RACERS - 1
    assert OfferedJar.objects.exclude(claim=None).count() == 2


def test_four_offers_of_the_same_four_jars_offer_them_once(batch):
    got = race(refused(lambda n: offered(batch, 4).pk))
    assert got.count(ValidationError) == RACERS - 1
    assert OfferedJar.objects.count() == 4


def test_jars_promised_to_four_by_choice_are_handed_over_once(batch):
    offer = offered(batch, 4, by_choice=True)
    claims = [services.jar_claim_make(by=make_person(), offer=offer, count=3, token=uuid4()) for _n in range(RACERS)]
    race(refused(lambda n: services.jars_hand_over(by=offer.giver, claim=claims[n], seals_firm=True).pk))
    assert Jar.objects.exclude(held_by=None).count() == 3
    assert ledger_audit().problems == []


def test_a_recall_and_a_hand_over_at_one_moment_leave_nobody_unreached(batch):
    taker, organiser = make_person(), make_organiser()
    offer = offered(batch, 2)
    claim = services.jar_claim_make(by=taker, offer=offer, count=2, token=uuid4())

    def press(number: int) -> Any:
        if number % 2:
            return services.recall_open(by=organiser, batch=batch, reason="Spoiled.", token=uuid4())
        return services.jars_hand_over(by=offer.giver, claim=claim, seals_firm=True)

    race(refused(press))
    recall = Recall.objects.get()
    has_them = Jar.objects.filter(held_by=taker).exists()
    assert (taker in holders(recall)) == has_them


def test_four_that_see_one_withdrawal_open_one_recall(batch):
    revision_withdraw(by=make_organiser(), revision=batch.revision, reason="Too little acid.")
    race(lambda _n: services.recalls_follow_withdrawals(now=batch.started_at))
    assert Recall.objects.count() == 1
    assert Batch.objects.recalled().count() == 1
