"""What may be offered, what it weighs, how long it keeps, when claims close, and taking it back."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, time, timedelta
from uuid import uuid4

import pytest
from django.conf import settings as site
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from PIL import Image

from club.core.clock import Doubled, moment_of
from inventory.fruit import rules, services
from inventory.fruit.models import Offer, OfferPhoto, Share
from inventory.fruit.produce import CONTAINERS, OTHER, PARTS, POUNDS, PRODUCE, container_weight, containers_words
from inventory.fruit.rules import shelf_life
from inventory.fruit.services import Hours
from recipes.engine.quantities import POUND_G
from tests.factories.fruit import KG, NOW, TODAY, hours, make_bushels, make_claim, make_offer, offer_fields, share_out
from tests.factories.members import make_organiser, make_person
from tests.inventory.equipment.test_things import picture

pytestmark = pytest.mark.django_db

# Where a name of the printed table is another than ours.
PRINTED_AS = {
    "apples": ("apples", "apples, sliced"),
    "beets": ("beets, without tops",),
    "blackberries": ("blackberries", "berries, whole (not strawberries)"),
    "blueberries": ("blueberries", "berries, whole (not strawberries)"),
    "carrots": ("carrots, without tops",),
    "cherries": ("cherries", "cherries, sweet or sour"),
    "corn": ("corn, whole kernel, in husks",),
    "cucumbers": ("cucumbers, pickling",),
    "currants": ("berries, whole (not strawberries)",),
    "gooseberries": ("berries, whole (not strawberries)",),
    "grapes": ("grapes, whole", "grapes, eastern"),
    "green beans": ("beans, snap",),
    "green tomatoes": ("tomatoes, whole or halved",),
    "lima beans": ("beans, lima, in pods",),
    "peas": ("peas, green, in pods",),
    "potatoes": ("potatoes, white",),
    "raspberries": ("raspberries", "berries, whole (not strawberries)"),
    "tomatoes": ("tomatoes", "tomatoes, whole or halved"),
}


def table(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((site.BASE_DIR / "fixtures" / "foods" / name).open(encoding="utf-8")))


def refused(**told) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as caught:
        make_offer(**told)
    assert not Offer.objects.exists()
    return caught.value.message_dict


# Containers


@pytest.mark.parametrize(("produce", "container"), sorted(POUNDS))
def test_every_container_s_weight_stands_in_the_printed_table_with_its_source_and_was_seen(produce, container):
    pounds, source = POUNDS[produce, container]
    printed = [
        row
        for row in table("produce.csv")
        if row["produce"] in PRINTED_AS.get(produce, (produce,))
        and (row["unit"], row["weight_lb"]) == (container, pounds)
        and row["source"].startswith(source)
    ]
    assert printed
    assert {row["confidence"] for row in printed} <= {"seen-twice", "seen-once"}


@pytest.mark.parametrize("produce", [key for key, one in PRODUCE.items() if one.refuse_pct is not None])
def test_what_is_thrown_away_is_usda_s_figure(produce):
    one = PRODUCE[produce]
    printed = [row for row in table("refuse.csv") if row["source"] == one.refuse_source]
    assert [int(row["refuse_pct"]) for row in printed] == [one.refuse_pct]


def test_a_peck_is_a_quarter_and_a_half_bushel_a_half_of_a_printed_bushel():
    bushel = 56 * float(POUND_G)
    assert container_weight("plums", "bushel").grams == round(bushel)
    assert container_weight("plums", "half-bushel").grams == round(bushel / 2)
    assert container_weight("plums", "peck").grams == round(bushel / 4)
    assert "56 lb a bushel" in container_weight("plums", "peck").source
    assert set(PARTS) < set(CONTAINERS)


@pytest.mark.parametrize(("produce", "container"), [("plums", "bucket"), ("figs", "bushel"), (OTHER, "bushel")])
def test_what_no_table_prints_has_no_weight(produce, container):
    assert container_weight(produce, container) is None


def test_a_quart_of_juice_weighs_four_printed_cups_and_frozen_fruit_in_a_box_is_not_guessed():
    assert container_weight("apples", "quart", "juice").grams == 4 * 248
    assert container_weight("plums", "quart", "juice") is None
    assert container_weight("apples", "bushel", "juice") is None
    assert container_weight("strawberries", "quart", "frozen") is None


def test_every_container_can_be_counted_in_words():
    assert [containers_words(one, 1)[:2] for one in CONTAINERS] == ["1 "] * len(CONTAINERS)
    assert containers_words("box", 3) == "3 boxes"


def test_a_bushel_is_weighed_by_its_table_and_the_giver_s_own_scale_goes_before_it():
    by_table, by_scale = make_bushels(3), make_bushels(3, each_g=23_000)
    assert (by_table.unit_g, by_table.grams) == (25_401, 76_203)
    assert "USDA" in by_table.weight_source
    assert (by_scale.unit_g, by_scale.weight_source) == (23_000, "weighed by the giver")


def test_a_container_without_a_weight_is_refused_and_the_page_says_to_weigh_it():
    told = refused(container="bucket", amount=2)
    assert "Weigh one" in told["each_g"][0]
    assert make_offer(container="bucket", amount=2, each_g=9 * KG).grams == 18 * KG


# What must be said


@pytest.mark.parametrize(
    ("field", "told"),
    [
        ("produce", {"produce": "moonberries"}),
        ("name", {"produce": OTHER}),
        ("where", {"where": "  "}),
        ("amount", {"amount": 0}),
        ("amount", {"amount": rules.MOST_GRAMS + 1}),
        ("amount", {"amount": 100, "container": "sack"}),
        ("each_g", {"container": "bag", "each_g": 0}),
        ("kept", {"kept": 12 * KG}),
        ("kept", {"kept": -1}),
        ("state", {"state": "rotten"}),
        ("frozen_on", {"state": "frozen"}),
        ("frozen_on", {"state": "frozen", "frozen_on": TODAY + timedelta(days=1)}),
        ("use_by", {"use_by": TODAY - timedelta(days=1)}),
        ("use_by", {"state": "frozen", "frozen_on": TODAY - timedelta(days=400)}),
        ("windows", {"windows": ()}),
        ("windows", {"windows": (hours(0, 9, 11),)}),
        ("windows", {"windows": (hours(2, 18, 16),)}),
        ("windows", {"windows": (hours(90),)}),
        ("windows", {"windows": tuple(hours(1 + n) for n in range(9))}),
        ("closes_at", {"closes_at": NOW}),
        ("closes_at", {"closes_at": NOW + timedelta(days=3)}),
        ("note", {"note": "x" * 501}),
    ],
)
def test_what_does_not_make_sense_is_refused_beside_its_field(field, told):
    assert set(refused(**told)) == {field}


def test_an_hour_that_a_clock_change_leaves_out_is_refused():
    spring = datetime(2027, 3, 10, 18, tzinfo=UTC)
    gap = Hours(date(2027, 3, 14), time(2, 30), time(4))
    with pytest.raises(ValidationError, match="clocks change"):
        services.offer_make(by=make_person(), fields=offer_fields(windows=(gap,)), now=spring)
    zone = timezone.get_default_timezone()
    assert moment_of(gap.day, gap.ends, zone, doubled=Doubled.FIRST) == datetime(2027, 3, 14, 10, tzinfo=UTC)


def test_the_same_form_twice_is_one_offer_and_another_person_s_token_is_not_found():
    person, token = make_person(), uuid4()
    assert make_offer(by=person, token=token) == make_offer(by=person, token=token)
    assert Offer.objects.get().windows.count() == 1


def test_who_is_no_member_any_more_offers_nothing():
    person = make_person()
    person.is_active = False
    with pytest.raises(PermissionDenied):
        make_offer(by=person)


# How long it keeps, when claims close


def test_fresh_plums_keep_five_days_from_the_first_pick_up_by_our_estimate():
    offer = make_offer(windows=(hours(4), hours(2)))
    assert (offer.use_by, offer.has_own_use_by) == (TODAY + timedelta(days=2 + 5), False)


def test_frozen_fruit_keeps_as_long_as_in_a_freezer_of_one_s_own_and_juice_three_days():
    frozen_on = TODAY - timedelta(days=100)
    frozen = make_offer(state="frozen", frozen_on=frozen_on)
    assert frozen.use_by == frozen_on.replace(year=2027) == shelf_life(frozen_on, produce=frozen.produce).best_until
    citrus = make_offer(produce="lemons", state="frozen", frozen_on=frozen_on)
    assert citrus.use_by == date(2026, 10, 6)  # four months after 6 June
    assert make_offer(state="juice").use_by == TODAY + timedelta(days=5)


def test_the_giver_may_name_another_day_and_it_is_told_as_hers():
    offer = make_offer(use_by=TODAY + timedelta(days=20))
    assert (offer.use_by, offer.has_own_use_by) == (TODAY + timedelta(days=20), True)


def test_every_known_produce_has_an_estimate_and_what_is_unknown_keeps_no_longer_than_most():
    assert set(rules.KEEPS_FRESH) == set(PRODUCE) - {OTHER}
    assert rules.keeps_days(OTHER, "fresh") <= sorted(rules.KEEPS_FRESH.values())[len(rules.KEEPS_FRESH) // 2]


def test_claims_close_four_hours_before_the_first_pick_up_or_halfway_where_that_is_near():
    offer = make_offer()
    assert offer.closes_at == offer.windows.get().starts_at - timedelta(hours=4)
    soon = make_offer(windows=(hours(0, 14, 16),))  # in two hours
    assert soon.closes_at == NOW + timedelta(hours=1)


def test_the_database_refuses_an_offer_of_nothing_and_a_frozen_one_without_a_day():
    offer = make_offer()
    for wrong in ({"units": 0}, {"state": "frozen"}, {"produce": OTHER}, {"unit_g": 500}, {"kept": 12 * KG + 1}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Offer.objects.filter(pk=offer.pk).update(**wrong)


# Pictures


def test_a_picture_comes_with_the_offer_and_where_it_was_taken_is_left_out():
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (45.0, 30.0, 0.0)}
    services.offer_make(by=make_person(), fields=offer_fields(), photo=picture(form="JPEG", exif=exif), now=NOW)
    with Image.open(io.BytesIO(bytes(OfferPhoto.objects.get().jpeg))) as kept:
        assert (kept.format, dict(kept.getexif())) == ("JPEG", {})


def test_an_offer_with_a_file_that_is_no_picture_is_not_made():
    with pytest.raises(ValidationError):
        services.offer_make(by=make_person(), fields=offer_fields(), photo=io.BytesIO(b"<svg/>"), now=NOW)
    assert not Offer.objects.exists()


# Changing what is said, keeping some back, taking it back


def test_only_the_giver_and_organisers_change_what_is_said_and_another_day_is_then_hers():
    offer = make_offer()
    day = TODAY + timedelta(days=1)
    with pytest.raises(PermissionDenied):
        services.offer_change(by=make_person(), offer=offer, where="Elsewhere", use_by=day, now=NOW)
    services.offer_change(by=make_organiser(), offer=offer, where="Elsewhere", use_by=day, now=NOW)
    offer = Offer.objects.get()
    assert (offer.where, offer.use_by, offer.has_own_use_by) == ("Elsewhere", day, True)
    with pytest.raises(ValidationError):
        services.offer_change(by=offer.giver, offer=offer, where=" ", use_by=day, now=NOW)


def test_the_giver_keeps_back_what_is_not_promised_and_no_more():
    offer = make_offer()
    services.offer_keep_back(by=offer.giver, offer=offer, kept=2 * KG, now=NOW)
    make_claim(offer, 7 * KG)
    share_out(offer)
    services.offer_keep_back(by=offer.giver, offer=offer, kept=5 * KG, now=NOW)
    assert Offer.objects.get().left == 0
    with pytest.raises(ValidationError):
        services.offer_keep_back(by=offer.giver, offer=offer, kept=5 * KG + 1, now=NOW)
    with pytest.raises(PermissionDenied):
        services.offer_keep_back(by=make_person(), offer=offer, kept=0, now=NOW)


def test_an_offer_taken_back_frees_its_promises_says_why_and_is_shared_no_more():
    offer = make_offer()
    make_claim(offer)
    share_out(offer)
    with pytest.raises(ValidationError):
        services.offer_take_back(by=offer.giver, offer=offer, reason=" ", now=NOW)
    with pytest.raises(PermissionDenied):
        services.offer_take_back(by=make_person(), offer=offer, reason="Wasps", now=NOW)
    services.offer_take_back(by=make_organiser(), offer=offer, reason="Wasps got at it", now=NOW)
    services.offer_take_back(by=offer.giver, offer=offer, reason="again", now=NOW)
    offer.refresh_from_db()
    assert (offer.stage, offer.taken_back_reason, offer.shared) == ("taken-back", "Wasps got at it", 0)
    assert Share.objects.get().stage == "given-back"
    with pytest.raises(services.AlreadyDone):
        services.offer_keep_back(by=offer.giver, offer=offer, kept=0, now=NOW)
    with pytest.raises(services.AlreadyDone):
        make_claim(offer)
    assert services.offers_share_due(NOW + timedelta(days=9)) == 0


def test_an_offer_taken_back_before_the_sharing_is_not_shared_out():
    offer = make_offer()
    services.offer_take_back(by=offer.giver, offer=offer, reason="Frost", now=NOW)
    with pytest.raises(services.AlreadyDone):
        services.offer_share_out(by=offer.giver, offer=offer, now=NOW)


# Who may see


def test_everybody_sees_what_is_offered_and_what_was_taken_back_only_those_it_concerns():
    offer = make_offer()
    claimant, other, organiser = make_claim(offer).person, make_person(), make_organiser()
    for person in (offer.giver, claimant, other, organiser):
        assert Offer.objects.visible_to(person).filter(pk=offer.pk).exists()
    services.offer_take_back(by=offer.giver, offer=offer, reason="Frost", now=NOW)
    seen = [Offer.objects.visible_to(one).exists() for one in (offer.giver, claimant, other, organiser)]
    assert seen == [True, True, False, True]


def test_the_list_holds_what_can_be_claimed_the_soonest_to_spoil_first():
    apples = make_offer(produce="apples")
    plums = make_offer()
    closed = make_offer(closes_at=NOW + timedelta(hours=1))
    gone = make_offer()
    make_claim(gone, 12 * KG)
    share_out(gone)
    rest = make_offer(produce="figs")
    share_out(rest)
    now = NOW + timedelta(hours=2)
    assert list(Offer.objects.claimable(now).spoils_first()) == [rest, plums, apples]
    assert closed not in Offer.objects.claimable(now)
    assert not Offer.objects.claimable(NOW + timedelta(days=3)).exists()


def test_a_form_of_somebody_else_s_offers_nothing():
    token = uuid4()
    make_offer(token=token)
    with pytest.raises(ValidationError, match="used for something else"):
        make_offer(token=token)
    assert Offer.objects.count() == 1


@pytest.mark.parametrize(("day", "why"), [(date.max, "too far ahead"), (date.min, "gone by")])
def test_a_pick_up_at_either_end_of_the_calendar_is_refused_in_words(day, why):
    with pytest.raises(ValidationError, match=why):
        make_offer(windows=(Hours(day, time(22), time(23, 30)),))
