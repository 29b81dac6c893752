"""Offering from a phone in under a minute, claiming for a pot, sharing out and fetching, done as people do."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.core.clock import club_day
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share
from recipes.services import library_load
from tests.factories.fruit import KG, hours, make_claim, make_offer
from tests.factories.members import make_person
from tests.published.library import LIBRARY

# Taps, keys and choices of the quick form, each counted as two seconds, are well under a minute.
MOST_ACTIONS = 12


@pytest.fixture
def orchard():
    """Something open, something shared out, and the people of both."""
    now = timezone.now()
    today = club_day(now)
    giver = make_person(email="giver@example.test", name="Gundula Baum")
    member = make_person(email="member@example.test", name="Mina Quince")
    library_load(paths=[LIBRARY])
    told = {
        "about_where": "by the mill",
        "grown": "never sprayed",
        "windows": (hours(2, today=today), hours(3, today=today)),
    }
    plums = make_offer(by=giver, now=now, name="Italian", **told)
    make_claim(plums, 9 * KG, by=make_person(name="Otto"), now=now)
    apples = make_offer(by=giver, now=now, produce="apples", container="half-bushel", amount=3, kept=1, **told)
    for person, asked, least in ((member, 2, 1), (make_person(name="Otto"), 1, 1), (make_person(name="Pia"), 2, 2)):
        make_claim(apples, asked, least, by=person, now=now)
    services.offer_share_out(by=giver, offer=apples)
    return giver, member, plums, apples


def test_fruit_is_offered_in_a_few_taps_claimed_for_a_pot_shared_out_and_fetched(visitor, orchard):
    giver, member, plums, apples = orchard
    page = visitor.page
    visitor.sign_in(giver.email, "/fruit/")
    actions = 0

    def act(do) -> None:
        nonlocal actions
        actions += 1
        do()

    act(page.get_by_role("link", name="Offer some").click)
    page.wait_for_url("**/fruit/new/")
    act(lambda: page.get_by_label("What", exact=False).first.select_option("plums"))
    act(lambda: page.get_by_label("How much").fill("7.5"))
    assert page.get_by_label("Where to pick it up").input_value() == "7 Orchard Row"  # as it was last time
    assert page.get_by_label("Day").first.input_value() == str(club_day(timezone.now()) + timedelta(days=1))
    assert not page.get_by_label("Frozen since").is_visible()  # the rest stays folded
    act(page.get_by_role("button", name="Offer it").click)
    page.wait_for_url("**/fruit/offers/*/")
    assert actions <= MOST_ACTIONS
    offer = Offer.objects.latest("pk")
    assert (offer.units, offer.produce, offer.giver) == (7_500, "plums", giver)
    assert "It is offered." in visitor.text()

    visitor.go("/fruit/new/")
    page.get_by_label("What", exact=False).first.select_option("plums")
    page.get_by_label("How much").fill("2")
    page.get_by_label("Of what").select_option("bucket")
    page.get_by_role("button", name="Offer it").click()
    each = page.get_by_label("What one full container weighs (kg)")
    each.wait_for(state="visible")  # the fold opens where it is wanted
    assert "Weigh one and write it here" in visitor.text()
    visitor.look("fruit-new-refused")
    each.fill("8")
    page.get_by_role("button", name="Offer it").click()
    page.wait_for_url("**/fruit/offers/*/")
    assert Offer.objects.latest("pk").grams == 16 * KG

    visitor.sign_in(member.email, f"/fruit/offers/{plums.pk}/")
    assert "7 Orchard Row" not in page.content()
    assert page.locator("nav.rooms a.room", has_text="Sharing").get_attribute("aria-current") == "true"
    page.get_by_role("link", name="I would like some").click()
    page.wait_for_url("**/claim/")
    page.get_by_role("link", name="plums", exact=False).first.click()
    page.wait_for_url("**recipe=**")
    visitor.look("fruit-claim-pot")
    least = page.get_by_label("The least that is of use to me (kg)").input_value()
    assert float(least) > 0
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Send the claim").click()
    page.wait_for_url(f"**/offers/{plums.pk}/")
    assert Claim.objects.get(offer=plums, person=member).least == round(float(least) * KG)
    visitor.go(f"/fruit/offers/{apples.pk}/")
    said = visitor.text()
    assert "7 Orchard Row" in said
    assert "3 people asked" in said
    page.get_by_role("button", name="I picked it up").click()
    page.get_by_text("Written down.").wait_for()
    assert Share.objects.get(offer=apples, person=member).stage == "picked-up"

    visitor.sign_in(giver.email, f"/fruit/offers/{plums.pk}/")
    page.get_by_role("button", name="Close claims now and share it out").click()
    page.wait_for_url("**/result/")
    visitor.look("fruit-giver-result")
