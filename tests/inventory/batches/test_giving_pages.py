"""The pages of surplus jars: what everybody sees, what the giver sees, and each press."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.urls import reverse

from inventory.batches import services
from inventory.batches.models import Jar, JarClaim, JarOffer
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db
LIST = "/batches/to-give/"


@pytest.fixture
def giver():
    return make_person(name="Gita Giver")


@pytest.fixture
def taker():
    return make_person(name="Tom Taker")


@pytest.fixture
def batch(giver):
    return make_batch_checked(by=giver, kitchen=make_kitchen(giver, name="Secret Lane"))


@pytest.fixture
def offer(batch):
    return offered(batch)


def offered(batch, count=3):
    return services.jar_offer_make(by=batch.made_by, batch=batch, size="half-pint", count=count, token=uuid4())


def claimed(offer, by, count=2):
    return services.jar_claim_make(by=by, offer=offer, count=count, token=uuid4())


def page_of(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_holder_offers_from_her_batch(client, giver, batch):
    client.force_login(giver)
    path = reverse("batches:jar-offer-new", args=[batch.lot_code])
    assert path in page_of(client, batch.get_absolute_url())
    assert "matter of local law" in page_of(client, path)
    sent = {"token": str(uuid4()), "size": "half-pint", "count": "2", "by_choice": "", "note": "Saturdays"}
    for _twice in range(2):
        assert client.post(path, sent).status_code == 302
    assert JarOffer.objects.get().jars.count() == 2
    refused = client.post(path, {**sent, "token": str(uuid4()), "count": "9"})
    assert refused.context["form"].errors.get("count")


def test_a_batch_that_is_called_back_has_nothing_to_offer(client, giver, batch):
    make_recall(batch=batch)
    client.force_login(giver)
    assert "No jar of this batch can be offered" in page_of(
        client, reverse("batches:jar-offer-new", args=[batch.lot_code])
    )


def test_everybody_sees_lot_date_recipe_and_seal_but_not_the_kitchen(client, taker, batch, offer):
    client.force_login(taker)
    for path in (LIST, offer.get_absolute_url()):
        page = page_of(client, path)
        assert batch.lot_code in page
        assert batch.title in page
        assert "Gita Giver" in page
        assert "Secret Lane" not in page
        assert "local law" in page
    assert "sealed" in page


def test_asking_and_handing_over_take_a_press_each(client, giver, taker, offer):
    client.force_login(taker)
    ask = reverse("batches:jar-claim", args=[offer.pk])
    sent = {"token": str(uuid4()), "count": "2"}
    for _twice in range(2):
        assert client.post(ask, sent).status_code == 302
    claim = JarClaim.objects.get()
    assert "asked for" in page_of(client, offer.get_absolute_url())
    client.force_login(giver)
    assert "Tom Taker" in page_of(client, offer.get_absolute_url())
    hand = reverse("batches:jar-hand-over", args=[claim.pk])
    assert "Look at every seal again" in client.post(hand, {}, follow=True).content.decode()
    assert not Jar.objects.exclude(held_by=None).exists()
    assert "the jars are with Tom Taker now" in client.post(hand, {"seals_firm": "on"}, follow=True).content.decode()
    assert Jar.objects.filter(held_by=taker).count() == 2
    assert "settled before" in client.post(hand, {"seals_firm": "on"}, follow=True).content.decode()


def test_too_many_are_refused_beside_the_number(client, taker, offer):
    client.force_login(taker)
    page = client.post(reverse("batches:jar-claim", args=[offer.pk]), {"token": str(uuid4()), "count": "9"})
    assert page.context["form"].errors.get("count")


def test_who_asked_may_think_again_and_the_giver_may_decline(client, giver, taker, offer):
    client.force_login(taker)
    first = claimed(offer, taker)
    assert client.post(reverse("batches:jar-claim-withdraw", args=[first.pk])).status_code == 302
    second = claimed(offer, taker)
    assert client.post(reverse("batches:jar-claim-decline", args=[second.pk])).status_code == 403
    client.force_login(giver)
    assert client.post(reverse("batches:jar-claim-withdraw", args=[second.pk])).status_code == 403
    assert client.post(reverse("batches:jar-claim-decline", args=[second.pk])).status_code == 302
    assert list(JarClaim.objects.values_list("state", flat=True)) == ["withdrawn", "declined"]
    assert client.post(reverse("batches:jar-offer-close", args=[offer.pk])).status_code == 302


def test_an_offer_that_is_called_back_leaves_the_list_and_tells_its_giver(client, giver, taker, batch, offer):
    claim = claimed(offer, taker)
    make_recall(batch=batch)
    client.force_login(make_person())
    assert client.get(offer.get_absolute_url()).status_code == 404
    assert batch.lot_code not in page_of(client, LIST)
    client.force_login(giver)
    assert "neither given nor eaten" in page_of(client, offer.get_absolute_url())
    hand = reverse("batches:jar-hand-over", args=[claim.pk])
    assert "can no longer be given" in client.post(hand, {"seals_firm": "on"}, follow=True).content.decode()


def test_a_stranger_cannot_touch_a_claim_and_sees_no_closed_offer(client, giver, taker, offer):
    claim = claimed(offer, taker)
    for who in (make_person(), make_organiser()):
        client.force_login(who)
        assert "Tom Taker" not in page_of(client, offer.get_absolute_url())
        for name in ("jar-hand-over", "jar-claim-decline", "jar-claim-withdraw"):
            assert client.post(reverse(f"batches:{name}", args=[claim.pk])).status_code == 404
        assert client.post(reverse("batches:jar-offer-close", args=[offer.pk])).status_code == 403
    services.jar_offer_close(by=giver, offer=offer)
    assert client.get(offer.get_absolute_url()).status_code == 404
    client.force_login(taker)
    assert "went to others" in page_of(client, offer.get_absolute_url())


def test_wrong_methods_are_refused(client, giver, taker, offer):
    claim = claimed(offer, taker)
    client.force_login(giver)
    assert client.post(LIST).status_code == 405
    assert client.post(offer.get_absolute_url()).status_code == 405
    for name, pk in (("jar-claim", offer.pk), ("jar-offer-close", offer.pk), ("jar-hand-over", claim.pk)):
        assert client.get(reverse(f"batches:{name}", args=[pk])).status_code == 405


def test_the_pages_ask_the_same_number_of_questions_for_one_and_for_thirty(
    client, giver, taker, offer, django_assert_max_num_queries
):
    revision = make_revision()
    client.force_login(taker)
    claimed(offer, taker, 1)
    for count in (1, 30):
        while JarOffer.objects.count() < count:
            more = make_batch_checked(revision=revision)
            claimed(offered(more), taker, 1)
        with django_assert_max_num_queries(9):
            assert client.get(LIST).status_code == 200
    with django_assert_max_num_queries(12):
        assert client.get(offer.get_absolute_url()).status_code == 200
