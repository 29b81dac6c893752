"""The pages of food kept in stages: from the food's row to its labels, and what comes back beside its field."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Stage
from tests.factories.batches import APPLES, BEANS, finish, make_batch, make_ferment_done, make_staged
from tests.factories.members import make_kitchen, make_person
from tests.helpers import text_of
from tests.inventory.batches.test_stages import look, make_table, measure

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def client(sign_in, cook):
    return sign_in(cook)


def send(client, batch, page, **typed):
    """What is on the page's form, with what a person types; follows to the batch's own page."""
    address = reverse(f"batches:{page}", args=[batch.lot_code])
    form = client.get(address).context["form"]
    hidden = {name: form[name].value() for name in ("token", "number") if name in form.fields}
    return client.post(address, hidden | typed, follow=True)


def ferment(cook, **fields) -> Batch:
    """Kraut whose ferment began 22 days ago and an hour."""
    batch = make_staged(by=cook, began=timezone.now() - 22 * DAY - 2 * HOUR, **fields)
    finish(batch, at=timezone.now() - 22 * DAY - HOUR)
    return batch


@pytest.mark.parametrize(
    ("asked", "wanted"),
    [
        ({}, "sauerkraut"),
        ({"way": "dry", "q": "zucchini"}, "summer squash"),
        ({"way": "freeze", "q": "wax"}, "green beans"),
    ],
)
def test_foods_are_found_by_their_other_names_too(client, django_assert_max_num_queries, asked, wanted):
    with django_assert_max_num_queries(12):
        page = client.get(reverse("batches:keep"), asked)
    assert wanted in [row.food for row in page.context["rows"]]


def test_foods_and_own_batches_are_in_the_search_of_the_house(client, cook):
    batch = ferment(cook)

    found = client.get(reverse("desk:find"), {"q": "sauerkraut"}).context["found"]

    hits = {group.key: [hit.url for hit in group.hits] for group in found.groups}
    assert hits["foods"] == ["/batches/keep/ferment/sauerkraut/"]
    assert hits["kept"] == [batch.get_absolute_url()]


def test_a_food_that_no_table_has_is_said_so(client):
    assert client.get(reverse("batches:keep"), {"q": "moonfruit"}).context["rows"] == []
    for address in ("/batches/keep/ferment/moonfruit/", "/batches/keep/smoke/sauerkraut/"):
        assert client.get(address).status_code == 404


def test_beans_go_from_the_table_to_their_labels(client, cook):
    kitchen = make_kitchen(cook)
    address = reverse("batches:keep-start", args=["freeze", BEANS])
    page = client.get(address)
    assert "3 minutes" in text_of(page)
    token = page.context["form"]["token"].value()
    page = client.post(address, {"token": token, "weighed_g": "1.5 kg", "kitchen": kitchen.pk}, follow=True)
    batch = Batch.objects.get()
    assert page.context["running"].kind == "prepare"
    assert send(client, batch, "stage").context["running"].kind == "freeze"

    page = send(client, batch, "put-up", filled_bag="3", grams="1500 g")

    batch.refresh_from_db()
    assert (batch.state, batch.freezer_item.bags) == (BatchState.FROZEN, 3)
    assert "In the freezer" in text_of(page)
    labels = client.get(reverse("batches:labels", args=[batch.lot_code]))
    assert len(labels.context["labels"]) == 3
    assert client.get(batch.freezer_item.get_absolute_url()).status_code == 200


@pytest.mark.parametrize(
    ("field", "typed"),
    [("room_f", {"room_f": "40"}), ("weighed_g", {"weighed_g": "a heap"}), ("weighed_g", {"weighed_g": "200 kg"})],
)
def test_what_cannot_be_comes_back_beside_its_field_and_what_was_typed_stays(client, cook, field, typed):
    kitchen = make_kitchen(cook)
    address = reverse("batches:keep-start", args=["ferment", "sauerkraut"])
    token = client.get(address).context["form"]["token"].value()
    told = {"token": token, "weighed_g": "5 lb", "room_f": "22", "kitchen": kitchen.pk, "note": "From Nora"} | typed

    page = client.post(address, told)

    assert list(page.context["form"].errors) == [field]
    assert "From Nora" in page.content.decode()
    assert not Batch.objects.exists()


def test_a_whole_degree_celsius_stands_for_the_fahrenheit_it_rounds_to(client, cook):
    kitchen = make_kitchen(cook)
    address = reverse("batches:keep-start", args=["ferment", "sauerkraut"])
    token = client.get(address).context["form"]["token"].value()

    client.post(address, {"token": token, "weighed_g": "5 lb", "room_f": "21", "kitchen": kitchen.pk})  # 69.8 °F

    assert Batch.objects.get().plan["room_f"] == "70"


def test_kraut_is_looked_at_measured_ended_and_put_away(client, cook):
    batch = ferment(cook)
    page = client.get(batch.get_absolute_url())
    assert page.context["is_look_due"]
    page = send(client, batch, "look", scum="none", cover="under", smell="clean")
    assert not page.context["is_look_due"]
    assert send(client, batch, "stage").context["form"].errors["ended_at"]
    send(client, batch, "reading", measured="ph", value="4.8", by_strip="on")
    page = client.get(batch.get_absolute_url())
    assert page.context["readings"][0].rule is not None
    assert "not acid enough" in text_of(page)
    send(client, batch, "reading", measured="ph", value="3.5", by_strip="on")
    assert send(client, batch, "stage").context["running"] is None

    page = send(client, batch, "put-up", **{"filled_keeping-jar": "2", "grams": "2 kg"})

    batch.refresh_from_db()
    assert (batch.state, batch.ph_hundredths) == (BatchState.KEPT, 350)
    assert "Keep in the refrigerator" in text_of(client.get(reverse("batches:labels", args=[batch.lot_code])))


def test_dills_are_offered_their_table_and_come_to_the_stove(client, cook):
    make_table()
    batch = make_ferment_done(key="fermented-dills", by=cook, began=timezone.now() - 23 * DAY)
    assert client.get(batch.get_absolute_url()).context["table"] is not None

    page = send(client, batch, "can", pack="raw", jar="pint")

    batch.refresh_from_db()
    assert (batch.state, batch.required_minutes) == (BatchState.STARTED, 15)
    assert "15" in text_of(page)
    assert client.get(reverse("batches:log", args=[batch.lot_code])).status_code == 200


def test_a_refractometer_says_how_long_a_pot_boils_on(client, cook):
    batch = make_batch(by=cook, started_at=timezone.now() - HOUR)
    today = timezone.localdate()

    page = send(client, batch, "reading", measured="brix", value="50", own_calibrated_on=f"{today}")

    assert "Boil on for some" in page.context["readings"][0].says
    assert not page.context["batch"].is_staged


def test_drops_send_apples_back_to_the_drier(client, cook):
    batch = make_staged("dry", APPLES, by=cook, began=timezone.now() - 2 * DAY)
    finish(batch, at=timezone.now() - 2 * DAY)
    assert send(client, batch, "stage").context["form"].errors["passed"]
    send(client, batch, "stage", passed="on")

    page = send(client, batch, "look", moisture="drops")

    assert page.context["running"].kind == "dry"
    assert client.get(reverse("batches:look", args=[batch.lot_code])).status_code == 302


def test_a_batch_by_recipe_has_no_stages_and_one_in_stages_no_log_of_a_canner(client, cook):
    batch = ferment(cook)
    for page in ("log", "seals", "reprocess"):
        assert client.get(reverse(f"batches:{page}", args=[batch.lot_code])).status_code == 302
    assert client.get(reverse("batches:lots", args=[batch.lot_code])).status_code == 200
    assert client.get(reverse("batches:trace"), {"code": batch.lot_code}).status_code == 200
    assert client.get(reverse("batches:list"), {"show": "underway"}).context["page"].object_list[0] == batch


def test_the_desk_shows_what_is_under_way_in_as_few_queries(client, cook, django_assert_max_num_queries):
    for _n in range(4):
        ferment(cook)
    client.get("/")
    with django_assert_max_num_queries(22):
        cards = client.get("/").context["desk"].section("under-way").cards
    assert [card.tag for card in cards] == ["look at it today"] * 4


def test_a_page_asks_no_more_of_the_database_with_many_looks_and_readings(client, cook, django_assert_max_num_queries):
    batch = ferment(cook)
    client.get(batch.get_absolute_url())
    for day in range(1, 15):
        at = timezone.now() - timedelta(days=21 - day)
        look(batch, at=at)
        measure(batch, "4", at=at)

    with django_assert_max_num_queries(34):
        page = client.get(batch.get_absolute_url())

    assert len(page.context["looks"]) == 14
    assert Stage.objects.count() == 2
