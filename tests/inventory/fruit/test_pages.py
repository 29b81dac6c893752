"""Every page of offers, claims and shares by everybody who might ask; who reads what; query bounds that stay flat."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.members.choices import Role
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, OfferPhoto, Share, SharingRound
from recipes.services import library_load
from tests.factories.fruit import KG, hours, make_claim, make_offer
from tests.factories.members import make_organiser, make_person
from tests.helpers import addresses_of, text_of
from tests.inventory.equipment.test_things import picture
from tests.published.library import LIBRARY

pytestmark = pytest.mark.django_db

EVERYBODYS = ["list", "new", "mine", "season"]
OF_AN_OFFER = ["offer", "claim", "result"]
GIVERS = ["change", "keep-back", "take-back", "photo-change"]
ADDRESS = "7 Orchard Row"


url = addresses_of("fruit")


def now():
    return timezone.now()


def offered(**told) -> Offer:
    """An offer of this very day, to be picked up the day after tomorrow."""
    usual = {"windows": (hours(today=club_day(now())),), "about_where": "by the mill", "where": ADDRESS}
    return make_offer(now=now(), **(usual | told))


def claimed(offer: Offer, asked: int = 5 * KG, **told) -> Claim:
    return make_claim(offer, asked, now=now(), **told)


def shared(offer: Offer) -> None:
    services.offer_share_out(by=offer.giver, offer=offer)


def typed(**told) -> dict[str, str]:
    day = club_day(now()) + timedelta(days=2)
    usual = {
        "token": str(uuid4()),
        "produce": "plums",
        "amount": "12.5",
        "unit": "kg",
        "day": day.isoformat(),
        "starts": "16:00",
        "ends": "18:00",
        "where": ADDRESS,
        "state": "",
    }
    return usual | told


@pytest.fixture
def offer():
    return offered()


@pytest.fixture
def member(sign_in):
    return sign_in(make_person())


# Who may


@pytest.mark.parametrize("page", EVERYBODYS)
def test_every_member_reads_the_pages_of_the_room_and_nobody_else(page, member, client):
    assert member.get(url(page)).status_code == 200
    assert client.get(url(page)).status_code == 302
    assert member.put(url(page)).status_code == 405


@pytest.mark.parametrize("page", OF_AN_OFFER)
def test_an_offer_s_pages_are_everybody_s_until_it_is_taken_back(page, offer, member, sign_in):
    giver, organiser = sign_in(offer.giver), sign_in(make_organiser())
    assert member.get(url(page, offer.pk)).status_code == 200
    assert member.get(url(page, 4_040)).status_code == 404
    services.offer_take_back(by=offer.giver, offer=offer, reason="Frost")
    assert member.get(url(page, offer.pk)).status_code == 404
    assert organiser.get(url(page, offer.pk)).status_code == (302 if page == "claim" else 200)
    assert giver.get(url(page, offer.pk)).status_code == (302 if page == "claim" else 200)


def test_nobody_is_shown_a_form_to_claim_their_own_fruit(offer, sign_in):
    giver = sign_in(offer.giver)
    assert url("claim", offer.pk) not in giver.get(url("offer", offer.pk)).text
    answer = giver.get(url("claim", offer.pk), follow=True)
    assert answer.redirect_chain == [(url("offer", offer.pk), 302)]
    assert "This is your own fruit." in text_of(answer)
    assert 'name="asked"' not in answer.text
    for sent in (claim_typed(offer), {}):
        assert giver.post(url("claim", offer.pk), sent).status_code == 403
    assert not Claim.objects.exists()


@pytest.mark.parametrize("page", GIVERS)
def test_the_giver_and_organisers_run_an_offer_other_members_do_not(page, offer, sign_in):
    assert sign_in(offer.giver).get(url(page, offer.pk)).status_code == 200
    assert sign_in(make_organiser()).get(url(page, offer.pk)).status_code == 200
    for role in (Role.MEMBER, Role.INSTRUCTOR, Role.KEEPER):
        assert sign_in(make_person(role)).get(url(page, offer.pk)).status_code == 403
    assert sign_in(make_person()).get(url(page, 4_040)).status_code == 404


@pytest.mark.parametrize("page", ["share-out", "share-again"])
def test_sharing_out_is_pressed_by_the_giver_and_organisers_with_a_post(page, offer, member, sign_in, client):
    claimed(offer)
    assert member.post(url(page, offer.pk)).status_code == 403
    assert client.post(url(page, offer.pk)).url.startswith(reverse("account_login"))
    assert sign_in(offer.giver).get(url(page, offer.pk)).status_code == 405
    assert not Share.objects.exists()
    assert sign_in(make_organiser()).post(url(page, offer.pk)).status_code == 302
    assert Share.objects.exists() is (page == "share-out")


def test_another_s_claim_and_share_are_not_to_be_found(offer, member, sign_in):
    claim = claimed(offer)
    assert member.post(url("claim-withdraw", claim.pk)).status_code == 404
    assert sign_in(offer.giver).post(url("claim-withdraw", claim.pk)).status_code == 403
    shared(offer)
    share = Share.objects.get()
    for what in ("picked-up", "missed", "give-back"):
        assert member.post(url("share-note", share.pk), {"what": what}).status_code == 404
    assert sign_in(offer.giver).post(url("share-note", share.pk), {"what": "give-back"}).status_code == 403
    assert sign_in(claim.person).post(url("share-note", share.pk), {"what": "missed"}).status_code == 403
    assert Share.objects.get().stage == "promised"


# Who reads what


def test_where_it_is_reaches_those_who_get_a_share_and_nobody_before(offer, member, sign_in):
    claim, missed = claimed(offer, 12 * KG, least=12 * KG), claimed(offer, 12 * KG, least=12 * KG)
    people = {
        "stranger": member,
        "claimant": sign_in(claim.person),
        "other": sign_in(missed.person),
        "giver": sign_in(offer.giver),
        "organiser": sign_in(make_organiser()),
    }

    def who_reads() -> set[str]:
        pages = [url("offer", offer.pk), url("list"), url("claim", offer.pk), url("result", offer.pk), url("mine")]
        return {name for name, one in people.items() if any(ADDRESS in text_of(one.get(page)) for page in pages)}

    assert who_reads() == {"giver", "organiser"}
    assert "by the mill" in text_of(member.get(url("offer", offer.pk)))
    shared(offer)
    winner = "claimant" if Share.objects.get().claim == claim else "other"
    assert who_reads() == {"giver", "organiser", winner}
    share = Share.objects.get()
    services.share_give_back(by=share.person, share=share)
    assert winner not in who_reads()


def test_the_address_is_not_carried_to_the_next_offer_of_somebody_else(offer, member, sign_in):
    assert ADDRESS not in member.get(url("new")).content.decode()
    assert ADDRESS in sign_in(offer.giver).get(url("new")).content.decode()


def test_names_of_those_who_claim_are_the_giver_s_and_the_organisers_to_read(offer, member, sign_in):
    claim = claimed(offer, by=make_person(name="Clara Quincetree"))
    claimed(offer)
    pages = [url("offer", offer.pk), url("result", offer.pk)]

    def read_name(client: Client) -> bool:
        return any("Clara" in text_of(client.get(page)) for page in pages)

    for step in (lambda: None, lambda: shared(offer)):
        step()
        assert not read_name(member)
        assert read_name(sign_in(offer.giver))
        assert read_name(sign_in(make_organiser()))
    told = text_of(member.get(url("offer", offer.pk)))
    assert "2 claims, together for 10 kg." in told
    assert "Claim 1" in text_of(member.get(url("result", offer.pk)))
    own = text_of(sign_in(claim.person).get(url("result", offer.pk)))
    assert "You" in own
    assert "Claim 1" in own or "Claim 2" in own


def test_everybody_s_season_is_for_organisers_and_one_s_own_for_oneself(offer, sign_in):
    claim = claimed(offer, by=make_person(name="Clara Quincetree"))
    shared(offer)
    own = text_of(sign_in(claim.person).get(url("season")))
    assert "You had 5 kg" in own
    assert "Everybody" not in own
    assert "You gave 5 kg" in text_of(sign_in(offer.giver).get(url("season")))
    assert "Clara Quincetree 5 kg 0 g" in text_of(sign_in(make_organiser()).get(url("season")))


# Offering


def test_what_how_much_when_and_where_are_enough_to_offer_something(sign_in):
    person = make_person()
    answer = sign_in(person).post(url("new"), typed())
    offer = Offer.objects.get()
    assert answer.url == offer.get_absolute_url()
    assert (offer.giver, offer.units, offer.unit_g, offer.where) == (person, 12_500, 1, ADDRESS)
    told = text_of(sign_in(person).get(answer.url))
    assert "12.5 kg" in told
    assert "An estimate for what keeps in a cool place (common practice, no source)" in told


def test_the_same_offer_sent_twice_is_one(member):
    form = typed()
    assert [member.post(url("new"), form).status_code for _ in range(2)] == [302, 302]
    assert Offer.objects.count() == 1


def test_pounds_bushels_and_everything_folded_away_arrive(sign_in):
    visitor = sign_in(make_person(units="us"))
    day = club_day(now()) + timedelta(days=3)
    more = {
        "unit": "bushel",
        "amount": "3",
        "kept": "1",
        "name": "Italian",
        "each": "50",
        "about_where": "by the mill",
        "grown": "never sprayed",
        "note": "Bring boxes",
        "use_by": day.isoformat(),
        "closes_at": f"{club_day(now()) + timedelta(days=1)}T12:00",
        "day_2": day.isoformat(),
        "starts_2": "09:00",
        "ends_2": "10:00",
        "photo": SimpleUploadedFile("plums.png", picture().read(), "image/png"),
    }
    visitor.post(url("new"), typed(**more))
    offer = Offer.objects.get()
    assert (offer.units, offer.kept, offer.container, offer.unit_g) == (3, 1, "bushel", 22_680)
    assert (offer.windows.count(), offer.use_by, offer.has_own_use_by) == (2, day, True)
    told = text_of(visitor.get(offer.get_absolute_url()))
    for words in ("Plums, Italian", "2 bushels (100 lb)", "never sprayed", "Bring boxes", "So says the giver."):
        assert words in told
    assert visitor.get(url("photo", offer.pk))["Content-Type"] == "image/jpeg"


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"unit": "bucket", "amount": "2"}, "No table we know says what 1 bucket of this weighs"),
        ({"unit": "bushel", "amount": "2.5"}, "Containers are counted whole"),
        ({"starts": "18:00", "ends": "16:00"}, "The pick-up ends before it begins."),
        ({"day_2": "2026-09-20"}, "A time to pick up has a day, from and to."),
        ({"state": "frozen"}, "Say since when it is frozen."),
        ({"where": ""}, "This field is required."),
        ({"amount": "-3"}, "Ensure this value is greater than or equal to 0."),
    ],
)
def test_what_is_refused_is_said_and_what_was_typed_stays(wrong, said, member):
    answer = member.post(url("new"), typed(**({"note": "Bring boxes"} | wrong)))
    assert answer.status_code == 200
    assert said in text_of(answer)
    assert "Bring boxes" in text_of(answer)
    assert not Offer.objects.exists()


def test_a_file_that_is_no_picture_is_refused_beside_its_field(member, offer, sign_in):
    file = SimpleUploadedFile("plums.svg", b"<svg/>", "image/svg+xml")
    assert "no picture that can be read" in text_of(member.post(url("new"), typed(photo=file)))
    file.seek(0)
    giver = sign_in(offer.giver)
    assert "no picture that can be read" in text_of(giver.post(url("photo-change", offer.pk), {"photo": file}))
    assert giver.get(url("photo", offer.pk)).status_code == 404
    real = SimpleUploadedFile("plums.png", picture().read(), "image/png")
    assert giver.post(url("photo-change", offer.pk), {"photo": real}).status_code == 302
    assert OfferPhoto.objects.get().offer == offer
    assert f'src="{url("photo", offer.pk)}' in giver.get(url("offer", offer.pk)).content.decode()


def test_keeping_back_and_taking_back_from_their_pages(offer, sign_in):
    giver = sign_in(offer.giver)
    assert giver.post(url("keep-back", offer.pk), {"kept": "2.5"}).status_code == 302
    assert Offer.objects.get().kept == 2_500
    assert "So much cannot be kept" in text_of(giver.post(url("keep-back", offer.pk), {"kept": "12"}))
    assert "This field is required." in text_of(giver.post(url("take-back", offer.pk), {"reason": ""}))
    assert giver.post(url("take-back", offer.pk), {"reason": "Frost"}).url == url("mine")
    assert "Taken back: Frost" in text_of(giver.get(url("offer", offer.pk)))
    assert giver.post(url("keep-back", offer.pk), {"kept": "1"}).status_code == 302
    assert Offer.objects.get().kept == 2_500


def test_what_is_said_of_an_offer_is_changed_and_what_was_typed_stays_when_refused(offer, sign_in):
    giver = sign_in(offer.giver)
    told = {"where": "8 Orchard Row", "use_by": offer.use_by.isoformat(), "note": "Ring twice"}
    assert giver.post(url("change", offer.pk), told).url == url("offer", offer.pk)
    changed = Offer.objects.get()
    assert (changed.where, changed.about_where, changed.note, changed.has_own_use_by) == (
        "8 Orchard Row",
        "",
        "Ring twice",
        False,
    )
    wrong = told | {"use_by": "2020-01-01", "note": "Ring thrice"}
    answer = text_of(giver.post(url("change", offer.pk), wrong))
    assert "That day has gone by" in answer
    assert "Ring thrice" in answer
    assert Offer.objects.get().note == "Ring twice"
    services.offer_take_back(by=offer.giver, offer=offer, reason="Frost")
    assert "This offer was taken back." in text_of(giver.post(url("change", offer.pk), told, follow=True))


# Claiming


def claim_typed(offer: Offer, **told) -> dict[str, object]:
    return {"asked": "5", "windows": [one.pk for one in offer.windows.all()]} | told


def test_a_claim_is_sent_changed_and_withdrawn(offer, sign_in):
    person = make_person()
    visitor = sign_in(person)
    assert "I would like some" in text_of(visitor.get(url("offer", offer.pk)))
    assert visitor.post(url("claim", offer.pk), claim_typed(offer, least="2")).url == url("offer", offer.pk)
    assert "You asked for 5 kg; less than 2 kg is of no use to you." in text_of(visitor.get(url("offer", offer.pk)))
    assert 'value="5"' in visitor.get(url("claim", offer.pk)).content.decode()
    visitor.post(url("claim", offer.pk), claim_typed(offer, asked="4"))
    claim = Claim.objects.get()
    assert (claim.person, claim.asked, claim.least) == (person, 4 * KG, 1)
    visitor.post(url("claim-withdraw", claim.pk))
    assert Claim.objects.get().stage == "withdrawn"


def test_a_reader_of_us_units_claims_pounds_and_all_of_it_is_never_too_much(offer, sign_in):
    visitor = sign_in(make_person(units="us"))
    visitor.post(url("claim", offer.pk), claim_typed(offer, asked="26.46"))  # 12,002 g of 12,000
    assert Claim.objects.get().asked == 12 * KG


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"asked": "13"}, "There is not so much of it."),
        ({"least": "6"}, "The least of use is no more than what would help."),
        ({"windows": []}, "This field is required."),
        ({"asked": "0"}, "Say how much would help."),
    ],
)
def test_a_claim_that_makes_no_sense_is_refused_and_stays_typed(wrong, said, offer, member):
    answer = member.post(url("claim", offer.pk), claim_typed(offer, **({"note": "for a class"} | wrong)))
    assert said in text_of(answer)
    assert "for a class" in answer.content.decode()
    assert not Claim.objects.exists()


def test_the_giver_cannot_claim_and_who_comes_late_is_told(offer, member, sign_in):
    assert sign_in(offer.giver).post(url("claim", offer.pk), claim_typed(offer)).status_code == 403
    Offer.objects.update(closes_at=now() - timedelta(minutes=1))
    for answer in (
        member.post(url("claim", offer.pk), claim_typed(offer), follow=True),
        member.get(url("claim", offer.pk), follow=True),  # no form that would be refused
    ):
        assert "Claims have closed." in text_of(answer)
    assert "shared out within minutes" in text_of(answer)


def test_the_least_amount_of_one_pot_of_a_recipe_is_one_press_away(sign_in):
    library_load(paths=[LIBRARY])
    offer, visitor = offered(produce="strawberries"), sign_in(make_person())
    page = text_of(visitor.get(url("claim", offer.pk)))
    assert "1.4 kg" in page
    answer = visitor.get(url("claim", offer.pk), {"recipe": "strawberry-jam-powdered"})
    assert "takes about 1.4 kg as it comes" in text_of(answer)
    assert answer.context["form"].initial["least"] * 1000 == 1_400
    form = claim_typed(offer, least="1.4", recipe="strawberry-jam-powdered")
    visitor.post(url("claim", offer.pk), form)
    assert Claim.objects.get().recipe.slug == "strawberry-jam-powdered"


# Sharing


def test_pressing_share_out_twice_gives_one_result_that_is_explained_to_each(offer, sign_in):
    small, large = claimed(offer, 4 * KG), claimed(offer, 9 * KG)
    giver = sign_in(offer.giver)
    for _ in range(2):
        assert giver.post(url("share-out", offer.pk)).url == url("result", offer.pk)
    assert SharingRound.objects.count() == 1
    told = text_of(sign_in(large.person).get(url("offer", offer.pk)))
    assert "Your share: 8 kg" in told
    assert "You asked for 9 kg. 2 people asked, and 12 kg was there to share." in told
    assert "the same as everybody who wanted more" in told
    assert "You get all that you asked for: 4 kg." in text_of(sign_in(small.person).get(url("offer", offer.pk)))


def test_who_gets_nothing_reads_why(offer, sign_in):
    pot = claimed(offer, 12 * KG, least=11 * KG)
    claimed(offer, 6 * KG, least=2 * KG)
    claimed(offer, 6 * KG, least=2 * KG)
    shared(offer)
    told = text_of(sign_in(pot.person).get(url("offer", offer.pk)))
    assert "less than 11 kg is of no use to you" in told
    assert "So you get nothing." in told


def test_a_share_is_picked_up_or_given_back_from_the_offer_s_page(offer, sign_in):
    stays, leaves = claimed(offer, 9 * KG), claimed(offer, 9 * KG)
    shared(offer)
    back, kept = Share.objects.get(claim=leaves), Share.objects.get(claim=stays)
    sign_in(leaves.person).post(url("share-note", back.pk), {"what": "give-back"})
    answer = sign_in(stays.person).post(url("share-note", kept.pk), {"what": "picked-up"}, follow=True)
    assert "Your share: 9 kg" in text_of(answer)
    assert "picked up" in text_of(answer)
    again = sign_in(stays.person).post(url("share-note", kept.pk), {"what": "give-back"}, follow=True)
    assert "That was noted before: picked up." in text_of(again)
    sign_in(stays.person).post(url("share-note", kept.pk), {"what": "eaten"})
    assert Share.objects.get(pk=kept.pk).stage == "picked-up"


def test_what_is_left_is_shared_out_again_by_the_giver_once_for_two_presses(offer, sign_in):
    claimed(offer, 5 * KG)
    shared(offer)
    giver = sign_in(offer.giver)
    for _ in range(2):
        giver.post(url("share-again", offer.pk), {"after": "1"})
    giver.post(url("share-again", offer.pk), {"after": "x"})
    assert SharingRound.objects.count() == 2


# As often for thirty as for one


@pytest.mark.parametrize("count", [1, 30])
def test_the_list_and_my_fruit_ask_as_often_for_thirty_offers_as_for_one(count, sign_in, django_assert_max_num_queries):
    person = make_person()
    visitor = sign_in(person)
    for _ in range(count):
        claimed(offered(), by=person)
        offered(by=person)
        done = offered()
        claimed(done, by=person)
        shared(done)
    for page in ("list", "mine"):
        visitor.get(url(page))
        with django_assert_max_num_queries(11):
            visitor.get(url(page))


@pytest.mark.parametrize("count", [1, 30])
def test_an_offer_s_pages_ask_as_often_for_thirty_claims_as_for_one(
    count, offer, sign_in, django_assert_max_num_queries
):
    for _ in range(count):
        claimed(offer)
    giver, organiser = sign_in(offer.giver), sign_in(make_organiser())

    def look() -> None:
        for visitor in (giver, organiser):
            for page in (url("offer", offer.pk), url("result", offer.pk), url("season")):
                visitor.get(page)
                with django_assert_max_num_queries(16):
                    assert visitor.get(page).status_code == 200

    look()
    shared(offer)
    look()


def test_a_round_that_nobody_can_count_is_no_round(offer, sign_in):
    shared(offer)
    answer = sign_in(offer.giver).post(url("share-again", offer.pk), {"after": "9" * 5000})
    assert answer.status_code == 302
    assert offer.sharing_rounds.count() == 1
