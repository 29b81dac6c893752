"""Sharing out through the services: who gets what, once, and what becomes of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from club.core.errors import AlreadyDone
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share, SharingRound
from tests.factories.fruit import KG, NOW, hours, make_bushels, make_claim, make_offer, share_out
from tests.factories.members import make_organiser, make_person

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(days=1)
AFTER_PICK_UP = NOW + timedelta(days=2, hours=7)


def test_three_claims_on_twelve_kilograms_share_them_fairly():
    offer = make_offer()
    small, one, other = make_claim(offer, 2 * KG), make_claim(offer, 5 * KG), make_claim(offer, 9 * KG)
    assert share_out(offer) == {small.pk: 2 * KG, one.pk: 5 * KG, other.pk: 5 * KG}
    offer.refresh_from_db()
    assert (offer.stage, offer.shared, offer.left, offer.rounds) == ("shared", 12 * KG, 0, 1)
    assert Share.objects.get(claim=small).grams == 2 * KG


def test_what_the_giver_keeps_back_is_not_shared():
    offer = make_offer(kept=4 * KG)
    claim = make_claim(offer, 8 * KG)
    other = make_claim(offer, 8 * KG)
    assert share_out(offer) == {claim.pk: 4 * KG, other.pk: 4 * KG}


def test_fruit_in_containers_is_shared_in_whole_ones():
    offer = make_bushels(3)
    claims = [make_claim(offer, 2) for _ in range(2)]
    shares = share_out(offer)
    assert sorted(shares.values()) == [1, 2]
    assert sum(share.grams for share in Share.objects.all()) == 3 * offer.unit_g == 3 * 25_401
    assert set(shares) == {claim.pk for claim in claims}


def test_of_two_who_ask_the_same_who_had_less_this_season_gets_the_odd_bushel():
    rich, poor = make_person(), make_person()
    before = make_offer()
    make_claim(before, 5 * KG, by=rich)
    share_out(before)
    for _ in range(5):  # whatever the lot says
        offer = make_bushels(3)
        make_claim(offer, 2, by=rich)
        wanted = make_claim(offer, 2, by=poor)
        Share.objects.filter(person=poor).delete()
        assert share_out(offer)[wanted.pk] == 2


def test_what_was_had_in_another_year_or_given_back_or_missed_does_not_count():
    person, now = make_person(), NOW - timedelta(days=365)
    last_year = make_offer(now=now, windows=(hours(today=now.date()),))
    make_claim(last_year, by=person, now=now)
    share_out(last_year, now=now)
    back = make_offer()
    make_claim(back, by=person)
    share_out(back)
    services.share_give_back(by=person, share=Share.objects.get(offer=back), now=NOW)
    assert Share.objects.had_by([person.pk], NOW) == {person.pk: 0}
    kept = make_offer()
    make_claim(kept, 3 * KG, by=person)
    share_out(kept)
    assert Share.objects.had_by([person.pk], NOW) == {person.pk: 3 * KG}
    assert Share.objects.had_by([person.pk], NOW, but=kept.pk) == {person.pk: 0}


def test_two_presses_of_share_out_give_one_result():
    offer = make_offer()
    make_claim(offer)
    first = services.offer_share_out(by=offer.giver, offer=offer, now=NOW)
    stale = Offer.objects.get(pk=offer.pk)
    assert services.offer_share_out(by=make_organiser(), offer=stale, now=LATER) == first
    assert SharingRound.objects.count() == Share.objects.count() == 1


def test_the_clock_shares_out_what_has_closed_once_and_leaves_what_is_open():
    closed, still_open = make_offer(), make_offer(windows=(hours(5),))
    make_claim(closed)
    assert services.offers_share_due(closed.closes_at - timedelta(seconds=1)) == 0
    assert services.offers_share_due(closed.closes_at) == 1
    assert services.offers_share_due(closed.closes_at) == 0
    assert Offer.objects.get(pk=still_open.pk).stage == "open"
    assert SharingRound.objects.get().by is None


def test_only_the_giver_and_organisers_share_out_and_note_what_was_not_fetched():
    offer = make_offer()
    claim = make_claim(offer)
    for nobody in (make_person(), claim.person):
        with pytest.raises(PermissionDenied):
            services.offer_share_out(by=nobody, offer=offer, now=NOW)
    share_out(offer)
    share = Share.objects.get()
    with pytest.raises(PermissionDenied):
        services.share_note_missed(by=claim.person, share=share, now=AFTER_PICK_UP)
    with pytest.raises(PermissionDenied):
        services.share_note_picked_up(by=make_person(), share=share, now=LATER)
    with pytest.raises(PermissionDenied):
        services.share_give_back(by=offer.giver, share=share, now=LATER)


def test_a_share_is_for_the_first_window_ahead_that_suits():
    offer = make_offer(windows=(hours(2), hours(3), hours(4)))
    second, third = list(offer.windows.all())[1:]
    claim = make_claim(offer, windows=[third.pk, second.pk])
    share_out(offer)
    assert Share.objects.get(claim=claim).window == second


def test_who_can_come_only_when_it_is_over_gets_nothing():
    offer = make_offer(windows=(hours(2), hours(4)))
    early, late = offer.windows.all()
    gone = make_claim(offer, windows=[early.pk])
    comes = make_claim(offer, windows=[late.pk])
    assert share_out(offer, now=NOW + timedelta(days=3)) == {comes.pk: 5 * KG}
    assert str(gone.pk) not in SharingRound.objects.get().parts


def test_what_is_given_back_goes_at_once_to_those_who_still_want_some():
    offer = make_offer()
    leaves, stays = make_claim(offer, 6 * KG, 2 * KG), make_claim(offer, 9 * KG, 2 * KG)
    pot = make_claim(offer, 12 * KG, 10 * KG)
    assert share_out(offer) == {leaves.pk: 6 * KG, stays.pk: 6 * KG}
    services.share_give_back(by=leaves.person, share=Share.objects.get(claim=leaves), now=LATER)
    shares = {share.claim_id: (share.units, share.stage) for share in Share.objects.all()}
    assert shares == {leaves.pk: (6 * KG, "given-back"), stays.pk: (9 * KG, "promised")}
    offer.refresh_from_db()
    assert (offer.shared, offer.left, offer.rounds) == (9 * KG, 3 * KG, 2)
    assert SharingRound.objects.get(number=2).parts[str(pot.pk)]["why"] == "no-room"


def test_giving_back_twice_frees_the_fruit_once_and_not_after_it_was_fetched():
    offer = make_offer()
    claim = make_claim(offer)
    share_out(offer)
    share = Share.objects.get(claim=claim)
    services.share_give_back(by=claim.person, share=share, now=LATER)
    services.share_give_back(by=claim.person, share=Share.objects.get(), now=LATER)
    offer.refresh_from_db()
    assert (offer.shared, offer.rounds) == (0, 2)
    with pytest.raises(AlreadyDone):
        services.share_note_picked_up(by=offer.giver, share=share, now=LATER)


def test_what_nobody_fetched_can_be_shared_out_again_by_pressing_twice_once():
    offer = make_offer(windows=(hours(2), hours(5)))
    early, late = offer.windows.all()
    missed = make_claim(offer, 9 * KG, windows=[early.pk])
    other = make_claim(offer, 9 * KG, windows=[late.pk])
    share_out(offer)
    share = Share.objects.get(claim=missed)
    with pytest.raises(AlreadyDone):
        services.share_note_missed(by=offer.giver, share=share, now=LATER)
    services.share_note_missed(by=offer.giver, share=share, now=AFTER_PICK_UP)
    for _ in range(2):
        again = services.offer_share_again(by=offer.giver, offer=offer, after_round=1, now=AFTER_PICK_UP)
        assert again.number == 2
    assert Share.objects.get(claim=other).units == 9 * KG
    offer.refresh_from_db()
    assert (offer.rounds, offer.left) == (2, 3 * KG)


def test_fetched_after_all_counts_again_unless_it_was_shared_out_meanwhile():
    offer = make_offer(windows=(hours(2), hours(5)))
    early, late = offer.windows.all()
    claim = make_claim(offer, 8 * KG, windows=[early.pk])
    other = make_claim(offer, 12 * KG, windows=[late.pk])
    share_out(offer)
    share = Share.objects.get(claim=claim)
    services.share_note_missed(by=offer.giver, share=share, now=AFTER_PICK_UP)
    services.share_note_picked_up(by=offer.giver, share=share, now=AFTER_PICK_UP)
    offer.refresh_from_db()
    assert (share.stage, offer.shared) == ("picked-up", 12 * KG)
    Share.objects.filter(pk=share.pk).update(stage="promised", noted_at=None, noted_by=None)
    services.share_note_missed(by=offer.giver, share=share, now=AFTER_PICK_UP)
    services.offer_share_again(by=offer.giver, offer=offer, after_round=1, now=AFTER_PICK_UP)
    assert Share.objects.get(claim=other).units == 12 * KG
    with pytest.raises(AlreadyDone):
        services.share_note_picked_up(by=offer.giver, share=share, now=AFTER_PICK_UP)


def test_what_was_fetched_is_gone_and_no_later_round_gives_it_again():
    offer = make_offer()
    fetched, back = make_claim(offer, 5 * KG), make_claim(offer, 5 * KG)
    share_out(offer)
    services.share_note_picked_up(by=fetched.person, share=Share.objects.get(claim=fetched), now=LATER)
    services.share_give_back(by=back.person, share=Share.objects.get(claim=back), now=LATER)
    late = make_claim(Offer.objects.get(pk=offer.pk), 7 * KG, now=LATER)
    assert Share.objects.get(claim=late).units == 7 * KG
    offer.refresh_from_db()
    assert (offer.shared, offer.left) == (12 * KG, 0)


def test_a_promise_to_somebody_who_left_the_club_is_not_given_away_twice():
    offer = make_offer()
    gone, back, stays = make_claim(offer, 4 * KG), make_claim(offer, 4 * KG), make_claim(offer, 9 * KG)
    share_out(offer)
    gone.person.is_active = False
    gone.person.save()
    services.share_give_back(by=back.person, share=Share.objects.get(claim=back), now=LATER)
    offer.refresh_from_db()
    assert Share.objects.get(claim=stays).units == 8 * KG
    assert offer.shared == 12 * KG


def test_the_database_refuses_more_shares_than_there_is_fruit():
    offer = make_offer()
    with pytest.raises(IntegrityError), transaction.atomic():
        Offer.objects.filter(pk=offer.pk).update(shared=12 * KG + 1)


def test_an_offer_that_nobody_claimed_is_shared_out_to_nobody_and_can_still_be_claimed():
    offer = make_offer()
    assert share_out(offer) == {}
    claim = make_claim(Offer.objects.get(pk=offer.pk), 3 * KG, now=LATER)
    assert Share.objects.get(claim=claim).units == 3 * KG
    assert Claim.objects.get().stage == "open"


@pytest.mark.parametrize("claims", [1, 30])
def test_sharing_asks_the_database_as_often_for_thirty_claims_as_for_one(claims, django_assert_max_num_queries):
    offer = make_offer(amount=200 * KG)
    for _ in range(claims):
        make_claim(offer)
    with django_assert_max_num_queries(14):
        share_out(offer)
    assert Share.objects.count() == claims
