"""Offering from a phone in under a minute, claiming for a pot, sharing out: done as people do, every page scanned."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.core.clock import club_day
from club.members.choices import Role
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share
from recipes.services import library_load
from tests.factories.fruit import KG, hours, make_claim, make_offer
from tests.factories.members import PASSWORD, make_person
from tests.published.library import LIBRARY

PHONE_OF_390 = {"width": 390, "height": 844}
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


def test_an_offer_is_made_on_a_phone_in_a_few_taps_and_its_rest_stays_folded(visitor, orchard):
    giver, _member, _plums, _apples = orchard
    page = visitor.page
    if page.viewport_size["width"] < 500:
        page.set_viewport_size(PHONE_OF_390)
    visitor.sign_in(giver.email, PASSWORD)
    visitor.go("/fruit/")
    visitor.look("fruit-list")
    actions = 0

    def act(do) -> None:
        nonlocal actions
        actions += 1
        do()

    act(page.get_by_role("link", name="Offer some").click)
    page.wait_for_url("**/fruit/new/")
    visitor.look("fruit-new")
    act(lambda: page.get_by_label("What", exact=False).first.select_option("plums"))
    act(lambda: page.get_by_label("How much").fill("7.5"))
    assert page.get_by_label("Where to pick it up").input_value() == "7 Orchard Row"  # as it was last time
    assert page.get_by_label("Day").first.input_value() == str(club_day(timezone.now()) + timedelta(days=1))
    assert not page.get_by_label("Frozen since").is_visible()
    act(page.get_by_role("button", name="Offer it").click)
    page.wait_for_url("**/fruit/offers/*/")
    assert actions <= MOST_ACTIONS
    offer = Offer.objects.latest("pk")
    assert (offer.units, offer.produce, offer.giver) == (7_500, "plums", giver)
    assert "It is offered." in page.locator("main").inner_text()
    visitor.look("fruit-own-offer")


def test_what_a_bucket_weighs_is_asked_and_the_fold_opens_where_it_is_wanted(visitor, orchard):
    giver, *_rest = orchard
    visitor.sign_in(giver.email, PASSWORD)
    page = visitor.page
    visitor.go("/fruit/new/")
    page.get_by_label("What", exact=False).first.select_option("plums")
    page.get_by_label("How much").fill("2")
    page.get_by_label("Of what").select_option("bucket")
    page.get_by_role("button", name="Offer it").click()
    each = page.get_by_label("What one full container weighs (kg)")
    each.wait_for(state="visible")
    assert "Weigh one and write it here" in page.locator("main").inner_text()
    visitor.look("fruit-new-refused")
    each.fill("8")
    page.get_by_role("button", name="Offer it").click()
    page.wait_for_url("**/fruit/offers/*/")
    assert Offer.objects.latest("pk").grams == 16 * KG


def test_a_claim_takes_the_least_amount_from_a_pot_and_a_share_is_explained_and_fetched(visitor, orchard):
    _giver, member, plums, apples = orchard
    visitor.sign_in(member.email, PASSWORD)
    page = visitor.page
    visitor.go(f"/fruit/offers/{plums.pk}/")
    visitor.look("fruit-offer")
    assert "7 Orchard Row" not in page.content()
    page.get_by_role("link", name="I would like some").click()
    page.wait_for_url("**/claim/")
    visitor.look("fruit-claim")
    page.get_by_role("link", name="plums", exact=False).first.click()
    page.wait_for_url("**recipe=**")
    visitor.look("fruit-claim-pot")
    least = page.get_by_label("Less than this is of no use to me (kg)").input_value()
    assert float(least) > 0
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Send the claim").click()
    page.wait_for_url(f"**/offers/{plums.pk}/")
    assert Claim.objects.get(offer=plums, person=member).least == round(float(least) * KG)
    visitor.look("fruit-claimed")
    visitor.go(f"/fruit/offers/{apples.pk}/")
    assert "7 Orchard Row" in page.locator("main").inner_text()
    assert "3 people asked" in page.locator("main").inner_text()
    visitor.look("fruit-share")
    visitor.go(f"/fruit/offers/{apples.pk}/result/")
    visitor.look("fruit-result")
    for name in ("mine", "season"):
        visitor.go(f"/fruit/{name}/")
        visitor.look(f"fruit-member-{name}")
    visitor.go(f"/fruit/offers/{apples.pk}/")
    page.get_by_role("button", name="I picked it up").click()
    page.get_by_text("Written down.").wait_for()
    assert Share.objects.get(offer=apples, person=member).stage == "picked-up"


def test_the_giver_shares_out_and_every_page_of_hers_passes_the_scan(visitor, orchard):
    giver, _member, plums, apples = orchard
    visitor.sign_in(giver.email, PASSWORD)
    page = visitor.page
    visitor.go(f"/fruit/offers/{plums.pk}/")
    visitor.look("fruit-giver-open")
    page.get_by_role("button", name="Close claims now and share it out").click()
    page.wait_for_url("**/result/")
    visitor.look("fruit-giver-result")
    for path in (
        f"offers/{apples.pk}/",
        f"offers/{apples.pk}/change/",
        f"offers/{apples.pk}/keep/",
        f"offers/{apples.pk}/take-back/",
        "mine/",
    ):
        assert visitor.go(f"/fruit/{path}").status == 200
        visitor.look(f"fruit-giver-{path.strip('/').replace('/', '-')}")


def test_an_organiser_reads_everybody_s_season(visitor, orchard):
    organiser = make_person(Role.ORGANISER, email="organiser@example.test")
    visitor.sign_in(organiser.email, PASSWORD)
    visitor.go("/fruit/season/")
    assert "Everybody" in visitor.page.locator("main").inner_text()
    visitor.look("fruit-season")


def test_the_rooms_fit_the_bar_of_a_phone_with_fruit_among_them(visitor, orchard):
    _giver, member, *_rest = orchard
    visitor.sign_in(member.email, PASSWORD)
    visitor.go("/fruit/")
    rooms = visitor.page.locator("nav.rooms a.room")
    width = visitor.page.viewport_size["width"]
    names = [rooms.nth(n).inner_text() for n in range(rooms.count())]
    assert "Fruit" in names
    assert rooms.filter(has_text="Fruit").get_attribute("aria-current") == "true"
    for n in range(rooms.count()):
        box = rooms.nth(n).bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
