"""Surplus jars: only sealed ones, only once, never a recalled one, and the ledger follows them to their new holder."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from inventory.batches import services
from inventory.batches.models import Jar, JarClaim, JarOffer, OfferedJar
from inventory.batches.services.giving import jars_to_give
from inventory.batches.tracing import holders
from inventory.jars.models import Balance
from inventory.jars.services import jars_correct, jars_move, kitchen_place, ledger_audit, outside_place, person_place
from recipes.services import revision_withdraw
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.jars import make_keeper
from tests.factories.members import make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def giver():
    return make_person(name="Gita Giver")


@pytest.fixture
def taker():
    return make_person(name="Tom Taker")


@pytest.fixture
def batch(giver):
    """Four half-pints, of which the second did not seal."""
    return make_batch_checked(by=giver, kitchen=make_kitchen(giver), unsealed={2: "refrigerate"})


def offered(batch, count=3, **fields):
    told = {"by": batch.made_by, "batch": batch, "size": "half-pint", "count": count, "token": uuid4(), **fields}
    return services.jar_offer_make(**told)


def claimed(offer, by, count=2, **fields):
    return services.jar_claim_make(**{"by": by, "offer": offer, "count": count, "token": uuid4(), **fields})


def handed(claim, **fields):
    return services.jars_hand_over(**{"by": claim.offer.giver, "claim": claim, "seals_firm": True, **fields})


def full_with(person):
    rows = Balance.objects.filter(place__person=person, state="full")
    return sum(rows.values_list("count", flat=True))


def recall_lot(batch):
    make_recall(batch=batch)


def recall_lids(batch):
    make_recall(lid_lot=batch.lid_lot)


def withdraw(batch):
    revision_withdraw(by=make_organiser(), revision=batch.revision, reason="Too little acid.")


every_recall = pytest.mark.parametrize("called_back", [recall_lot, recall_lids, withdraw])


def test_only_sealed_jars_of_ones_own_are_offered(batch, taker):
    assert [jar.number for jar in jars_to_give(batch, "half-pint")] == [1, 3, 4]
    with pytest.raises(ValidationError):
        offered(batch, 4)
    for stranger in (taker, make_organiser()):
        with pytest.raises(PermissionDenied):
            offered(batch, by=stranger)
    assert offered(batch).jars.count() == 3


def test_a_jar_is_in_one_live_offer_and_the_database_says_so_too(batch):
    first = offered(batch, 2)
    with pytest.raises(ValidationError):
        offered(batch, 2)
    second = offered(batch, 1)
    with pytest.raises(IntegrityError), transaction.atomic():
        OfferedJar.objects.create(offer=second, jar=first.jars.first().jar)


def test_jars_that_were_eaten_by_the_ledger_are_not_offered(batch, giver):
    place = kitchen_place(batch.kitchen)
    jars_move(
        by=giver,
        reason="emptied",
        size="half-pint",
        count=2,
        source=place,
        target=place,
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
    )
    assert len(jars_to_give(batch, "half-pint")) == 1


def test_the_same_form_twice_makes_one_offer_and_one_claim(batch, taker):
    token = uuid4()
    offer = offered(batch, token=token)
    assert offered(batch, token=token) == offer
    assert claimed(offer, taker, token=token) == claimed(offer, taker, token=token)
    assert (JarOffer.objects.count(), JarClaim.objects.count()) == (1, 1)


def test_who_comes_first_has_them(batch, taker):
    offer = offered(batch)
    claimed(offer, taker, 2)
    with pytest.raises(ValidationError):
        claimed(offer, make_person(), 2)
    assert claimed(offer, make_person(), 1).count == 1


def test_where_the_giver_chooses_all_may_ask_and_she_gives_to_whom_she_will(batch, taker):
    offer, other = offered(batch, by_choice=True), make_person()
    claimed(offer, taker, 3)
    chosen = claimed(offer, other, 3)
    handed(chosen)
    assert Jar.objects.filter(held_by=other).count() == 3
    offer.refresh_from_db()
    assert offer.state == "closed"
    assert JarClaim.objects.get(person=taker).state == "declined"


def test_nobody_asks_for_her_own_households_jars_or_twice(batch, giver, taker):
    offer = offered(batch)
    with pytest.raises(ValidationError):
        claimed(offer, giver)
    claimed(offer, taker, 1)
    with pytest.raises(ValidationError):
        claimed(offer, taker, 1)


def test_handed_over_the_jars_move_in_the_ledger_and_a_recall_reaches_the_new_holder(batch, taker):
    claim = handed(claimed(offered(batch), taker, 2))
    assert claim.state == "handed"
    assert full_with(taker) == 2
    assert ledger_audit().problems == []
    assert [row.kitchen for row in Jar.objects.filter(held_by=taker).whereabouts()] == ["Tom Taker"]
    assert taker in holders(make_recall(batch=batch))


def test_thrown_away_by_the_new_holder_they_leave_her_place_and_nobody_elses(batch, taker):
    handed(claimed(offered(batch), taker, 2))
    recall = make_recall(batch=batch)
    services.recall_answer(
        by=taker, recall=recall, batch=batch, outcome="discarded", jars=2, token=uuid4(), now=timezone.now()
    )
    assert full_with(taker) == 0
    assert Balance.objects.get(place__kitchen=batch.kitchen, state="full").count == 1
    assert Jar.objects.filter(held_by=taker, disposal="discard").count() == 2


def test_without_another_look_at_the_seals_nothing_changes_hands(batch, taker):
    claim = claimed(offered(batch), taker)
    with pytest.raises(ValidationError):
        handed(claim, seals_firm=False)
    assert full_with(taker) == 0


def test_a_second_press_hands_nothing_over_again(batch, taker):
    claim = claimed(offered(batch), taker, 1)
    handed(claim)
    with pytest.raises(services.AlreadyDone):
        handed(claim)
    assert full_with(taker) == 1


def test_only_the_givers_household_hands_over_declines_and_closes(batch, taker):
    claim = claimed(offered(batch), taker)
    for act in (
        lambda who: handed(claim, by=who),
        lambda who: services.jar_claim_decline(by=who, claim=claim),
        lambda who: services.jar_offer_close(by=who, offer=claim.offer),
    ):
        for stranger in (taker, make_organiser()):
            with pytest.raises(PermissionDenied):
                act(stranger)
    with pytest.raises(PermissionDenied):
        services.jar_claim_withdraw(by=claim.offer.giver, claim=claim)


@every_recall
def test_a_jar_called_back_is_not_offered(batch, called_back):
    called_back(batch)
    with pytest.raises(ValidationError):
        offered(batch, 1)


@every_recall
def test_a_jar_called_back_meanwhile_is_not_asked_for(batch, taker, called_back):
    offer = offered(batch)
    called_back(batch)
    with pytest.raises(ValidationError):
        claimed(offer, taker, 1)
    assert not JarOffer.objects.open().sound().exists()


@every_recall
@pytest.mark.parametrize("by_choice", [False, True])
def test_a_jar_called_back_meanwhile_does_not_change_hands(batch, taker, called_back, by_choice):
    claim = claimed(offered(batch, by_choice=by_choice), taker, 2)
    called_back(batch)
    with pytest.raises(ValidationError):
        handed(claim)
    claim.refresh_from_db()
    assert (claim.state, full_with(taker)) == ("asked", 0)
    assert not Jar.objects.exclude(held_by=None).exists()


def test_of_two_lids_in_a_batch_only_the_bad_ones_stay(batch, taker):
    other = make_batch_checked(lid_code="LID 9").lid_lot
    Jar.objects.filter(batch=batch, number=3).update(lid_lot=other)
    make_recall(lid_lot=batch.lid_lot)
    assert [jar.number for jar in jars_to_give(batch, "half-pint")] == [3]


def test_kept_jars_are_free_again_when_somebody_declines_or_withdraws(batch, taker):
    offer, other = offered(batch), make_person()
    services.jar_claim_decline(by=offer.giver, claim=claimed(offer, taker, 3))
    services.jar_claim_withdraw(by=other, claim=claimed(offer, other, 3))
    assert claimed(offer, taker, 3).count == 3


def test_a_closed_offer_gives_nothing_and_frees_its_jars(batch, taker):
    offer = offered(batch)
    claim = claimed(offer, taker, 2)
    services.jar_offer_close(by=offer.giver, offer=offer)
    with pytest.raises(services.AlreadyDone):
        handed(claim)
    with pytest.raises(services.AlreadyDone):
        services.jar_offer_close(by=offer.giver, offer=offer)
    with pytest.raises(ValidationError):
        claimed(offer, make_person(), 1)
    assert len(jars_to_give(batch, "half-pint")) == 3


@pytest.mark.parametrize("call_back", [recall_lot, recall_lids, withdraw])
def test_no_recalled_jar_leaves_by_the_ledger_s_own_pages_either(batch, taker, call_back):
    """Given away or lent; where it is set apart may be written down, and the recall follows it there."""
    home, keeper = kitchen_place(batch.kitchen), make_keeper()

    def move(by, reason, target, count=1):
        told = {"state": "full", "batch_id": batch.pk, "size": "half-pint", "token": uuid4()}
        jars_move(by=by, reason=reason, source=home, target=target, count=count, **told)

    call_back(batch)
    for by, reason, target in (
        (batch.made_by, "given", outside_place("given-away")),
        (keeper, "lent", person_place(taker)),
    ):
        with pytest.raises(ValidationError, match=f"Lot {batch.lot_code} is called back"):
            move(by, reason, target)
    move(batch.made_by, "moved", person_place(batch.made_by))
    assert (full_with(taker), full_with(batch.made_by)) == (0, 1)


@every_recall
@pytest.mark.parametrize("reason", ["given", "lent", "moved"])
def test_no_correction_hands_on_more_jars_that_are_called_back(batch, taker, called_back, reason, client):
    home, keeper = kitchen_place(batch.kitchen), make_keeper()
    target = outside_place("given-away") if reason == "given" else person_place(taker)
    told = {"state": "full", "batch_id": batch.pk, "size": "half-pint", "count": 2}
    first = jars_move(by=keeper, reason=reason, source=home, target=target, token=uuid4(), **told)

    def full_at_home():
        return Balance.objects.get(place=home, state="full", batch=batch).count

    called_back(batch)
    client.force_login(keeper)
    path = reverse("jars:correct", args=[first.pk])
    refused = client.post(path, {"count": "3", "note": "it was more", "token": str(uuid4())})
    assert refused.status_code == 200
    assert "count" in refused.context["form"].errors
    assert full_at_home() == 1
    # What never went comes back, and does not go by correcting that correction.
    back = jars_correct(by=keeper, movement=first, count=1, token=uuid4())
    with pytest.raises(ValidationError, match=f"Lot {batch.lot_code} is called back"):
        jars_correct(by=keeper, movement=back, count=0, token=uuid4())
    assert full_at_home() == 2
    assert jars_correct(by=keeper, movement=back, count=2, token=uuid4()).count == 1
    assert full_at_home() == 3


@every_recall
def test_a_member_moves_no_recalled_jar_to_another_household(batch, called_back):
    other = make_kitchen(batch.made_by, make_person())
    told = {"state": "full", "batch_id": batch.pk, "size": "half-pint", "count": 1, "token": uuid4()}
    move = {"by": batch.made_by, "reason": "moved", "source": kitchen_place(batch.kitchen), **told}
    called_back(batch)
    with pytest.raises(ValidationError, match=f"Lot {batch.lot_code} is called back"):
        jars_move(target=kitchen_place(other), **move)


def test_a_cleared_lot_is_given_away_in_the_ledger_again(batch):
    recall = make_recall(batch=batch)
    services.recall_close(by=recall.opened_by, recall=recall, note="The laboratory found it sound.", is_cleared=True)
    told = {"state": "full", "batch_id": batch.pk, "size": "half-pint", "token": uuid4(), "count": 1}
    source, target = kitchen_place(batch.kitchen), outside_place("given-away")
    assert jars_move(by=batch.made_by, reason="given", source=source, target=target, **told).count == 1
