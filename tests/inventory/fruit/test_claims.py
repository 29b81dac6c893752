"""Claims: one a person, changed and withdrawn until it is shared, and what one pot of a recipe needs."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.core.errors import AlreadyDone
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share
from inventory.fruit.suggestions import pot_needs_g, pots_of
from recipes.models import Recipe
from recipes.services import library_load
from tests.factories.fruit import KG, NOW, hours, make_bushels, make_claim, make_offer, share_out
from tests.factories.members import make_person
from tests.published.library import LIBRARY

pytestmark = pytest.mark.django_db


def test_a_person_has_one_claim_on_an_offer_which_she_changes():
    offer, person = make_offer(), make_person()
    make_claim(offer, by=person)
    claim = make_claim(offer, 3 * KG, 2 * KG, by=person, note="for chutney")
    assert Claim.objects.get() == claim
    assert (claim.asked, claim.least, claim.note) == (3 * KG, 2 * KG, "for chutney")


def test_a_withdrawn_claim_gets_nothing_and_can_be_made_again():
    offer = make_offer()
    claim = make_claim(offer)
    services.claim_withdraw(by=claim.person, claim=claim, now=NOW)
    services.claim_withdraw(by=claim.person, claim=claim, now=NOW)
    assert Claim.objects.get().stage == "withdrawn"
    again = make_claim(offer, by=claim.person)
    assert (again.pk, again.stage) == (claim.pk, "open")
    services.claim_withdraw(by=claim.person, claim=again, now=NOW)
    assert share_out(offer) == {}


@pytest.mark.parametrize(
    ("field", "asked", "least"),
    [("asked", 0, 1), ("asked", 12 * KG + 1, 1), ("least", 2 * KG, 3 * KG), ("least", 2 * KG, 0)],
)
def test_amounts_that_make_no_sense_are_refused_beside_their_field(field, asked, least):
    with pytest.raises(ValidationError) as caught:
        make_claim(make_offer(), asked, least)
    assert set(caught.value.message_dict) == {field}


def test_a_claim_names_a_time_of_this_offer_that_is_still_ahead():
    offer, other = make_offer(windows=(hours(2), hours(5)), closes_at=NOW + timedelta(days=4)), make_offer()
    early, late = offer.windows.all()
    for windows in ([], [other.windows.get().pk]):
        with pytest.raises(ValidationError, match="time at which you can come"):
            make_claim(offer, windows=windows)
    with pytest.raises(ValidationError):
        make_claim(offer, windows=[early.pk], now=NOW + timedelta(days=3))
    claim = make_claim(offer, windows=[early.pk, late.pk], now=NOW + timedelta(days=3))
    assert list(claim.windows.all()) == [late]


def test_the_giver_does_not_claim_her_own_fruit_and_nobody_withdraws_another_s_claim():
    offer = make_offer()
    with pytest.raises(PermissionDenied):
        make_claim(offer, by=offer.giver)
    with pytest.raises(PermissionDenied):
        services.claim_withdraw(by=offer.giver, claim=make_claim(offer), now=NOW)


def test_claims_close_at_their_moment():
    offer = make_offer()
    make_claim(offer, now=offer.closes_at - timedelta(seconds=1))
    with pytest.raises(AlreadyDone):
        make_claim(offer, now=offer.closes_at)


def test_a_claim_is_not_changed_once_it_has_a_share_but_given_back():
    offer = make_offer()
    claim = make_claim(offer)
    share_out(offer)
    with pytest.raises(AlreadyDone):
        make_claim(Offer.objects.get(), 2 * KG, by=claim.person)
    with pytest.raises(AlreadyDone):
        services.claim_withdraw(by=claim.person, claim=claim, now=NOW)
    assert Share.objects.get().units == 5 * KG


def test_what_is_left_after_the_sharing_goes_to_a_late_claim_at_once_and_no_more_than_that():
    offer = make_offer()
    make_claim(offer)
    share_out(offer)
    with pytest.raises(ValidationError):
        make_claim(Offer.objects.get(), 8 * KG)
    late = make_claim(Offer.objects.get(), 7 * KG)
    assert Share.objects.get(claim=late).units == 7 * KG
    with pytest.raises(AlreadyDone):
        make_claim(Offer.objects.get(), 1 * KG)


def test_who_got_nothing_can_lower_the_least_amount_and_have_what_is_left():
    offer = make_bushels(3)
    make_claim(offer, 1)
    make_claim(offer, 1)
    pot = make_claim(offer, 3, 3)
    share_out(offer)
    assert not Share.objects.filter(claim=pot).exists()
    make_claim(Offer.objects.get(), 1, by=pot.person)
    assert Share.objects.get(claim=pot).units == 1


def test_the_database_refuses_a_second_claim_and_one_below_its_least():
    claim = make_claim(make_offer())
    with pytest.raises(IntegrityError), transaction.atomic():
        Claim.objects.create(offer=claim.offer, person=claim.person, asked=1, made_at=NOW, changed_at=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        Claim.objects.filter(pk=claim.pk).update(least=claim.asked + 1)


# What one pot needs


@pytest.fixture
def library():
    library_load(paths=[LIBRARY])


def need(slug: str, produce: str, state: str = "fresh") -> int | None:
    return pot_needs_g(Recipe.objects.get(slug=slug).current.tested, produce, state)


def test_a_recipe_that_weighs_its_fruit_takes_it_as_bought(library):
    assert need("plums-halved", "plums") == 6_400  # 14 lb a canner load of seven quarts: 6,350.3 g
    assert need("corn-whole-kernel", "corn") == 14_300  # 31 1/2 lb in husks: 14,288 g


def test_a_recipe_that_measures_cups_takes_more_by_what_is_cut_away(library):
    # 5 1/2 cups crushed at 232 g is 1,276 g; caps and stems are 6 per cent of what is picked: 1,357 g
    assert need("strawberry-jam-powdered", "strawberries") == 1_400


def test_juice_is_for_recipes_that_measure_juice_and_fruit_for_the_others(library):
    assert need("grape-jelly-powdered", "grapes", "juice") == 1_300  # 5 cups at 253 g
    assert need("grape-jelly-powdered", "grapes") is None
    assert need("strawberry-jam-powdered", "strawberries", "juice") is None


def test_the_recipes_that_fit_an_offer_say_what_a_pot_takes_in_its_containers(library, django_assert_num_queries):
    offer = make_offer(produce="strawberries", container="quart", amount=10)
    with django_assert_num_queries(1):
        pots = {one.recipe.slug: one for one in pots_of(offer)}
    jam = pots["strawberry-jam-powdered"]
    assert (jam.grams, jam.units) == (1_400, 3)  # a quart box holds 624 g
    assert "apples-sliced" not in pots


def test_what_is_not_in_the_library_has_no_recipe(library):
    assert pots_of(make_offer(produce="other", name="medlars")) == []
