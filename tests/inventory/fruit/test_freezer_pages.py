"""The freezer's pages: quick to fill in, private, and one press from a plan."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from club.core.clock import club_day
from inventory.fruit.models import FreezerItem
from tests.factories.freezer import make_freezer_item
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db
LIST, ADD = "/fruit/freezer/", "/fruit/freezer/add/"


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def kitchen(cook):
    return make_kitchen(cook)


def lot(cook, kitchen, **fields):
    today = club_day()
    return make_freezer_item(
        by=cook, kitchen=kitchen, **{"frozen_on": today - timedelta(days=300), "now": None, **fields}
    )


def filled(kitchen, /, **changes):
    told = {"token": str(uuid4()), "what": "plums", "grams": "2.4 kg", "frozen_on": str(club_day()), "state": "fruit"}
    return {**told, "kitchen": str(kitchen.pk), **changes}


def test_four_fields_put_a_lot_on_the_list(client, cook, kitchen):
    client.force_login(cook)
    assert client.get(ADD).status_code == 200
    assert client.post(ADD, filled(kitchen), follow=True).status_code == 200
    item = FreezerItem.objects.get()
    assert (item.grams_left, item.bags, item.put_in_by) == (2400, None, cook)


@pytest.mark.parametrize(("text", "grams"), [("800", 800), ("1.5 kg", 1500), ("3 lb", 1360), ("12 oz", 340)])
def test_a_weight_is_taken_as_people_write_it(client, cook, kitchen, text, grams):
    client.force_login(cook)
    client.post(ADD, filled(kitchen, grams=text))
    assert FreezerItem.objects.get().grams == grams


@pytest.mark.parametrize(
    ("field", "text"), [("grams", "3 cups"), ("grams", "many"), ("what", ""), ("kitchen", "999999")]
)
def test_what_cannot_be_read_is_refused_and_the_rest_stays(client, cook, kitchen, field, text):
    client.force_login(cook)
    page = client.post(ADD, filled(kitchen, **{"note": "by the stairs", field: text}))
    assert page.status_code == 200
    assert page.context["form"].errors.get(field)
    assert "by the stairs" in page.content.decode()
    assert not FreezerItem.objects.exists()


def test_the_list_is_the_oldest_first_and_says_what_is_past_its_best(client, cook, kitchen):
    today = club_day()
    lot(cook, kitchen, what="newer", frozen_on=today - timedelta(days=10))
    lot(cook, kitchen, what="older", frozen_on=today - timedelta(days=400))
    client.force_login(cook)
    page = client.get(LIST).content.decode()
    assert page.index("older") < page.index("newer")
    assert page.count("past its best") == 1


def test_a_lot_leads_to_the_plan_of_a_fitting_recipe_with_its_amount_filled_in(client, cook, kitchen):
    revision = make_revision(
        ingredients=[
            {"item": "plums", "role": "fruit", "amount": "2", "unit": "lb"},
            {"item": "sugar", "role": "sugar", "amount": "600", "unit": "g"},
            {"item": "lemon juice", "prep": "bottled", "role": "acid", "amount": "2", "unit": "tbsp"},
        ]
    )
    item = lot(cook, kitchen)
    client.force_login(cook)
    page = client.get(item.get_absolute_url()).content.decode()
    address = f"{reverse('recipes:plan', args=[revision.recipe.slug])}?kitchen={kitchen.pk}&amp;fruit=2.4+kg"
    assert address in page
    assert "thaw all the way" in page
    assert "the juice it lost" in page
    plan = client.get(address.replace("&amp;", "&"))
    assert plan.context["plan"].ok
    item.refresh_from_db()
    assert item.grams_left == 2400  # to plan takes nothing out


def test_fruit_with_sugar_is_not_planned(client, cook, kitchen):
    make_revision()
    item = lot(cook, kitchen, with_sugar=True)
    client.force_login(cook)
    page = client.get(item.get_absolute_url())
    assert page.context["fits"] == []
    assert "cannot be planned by its weight" in page.content.decode()


def test_taking_out_is_a_press_of_its_own(client, cook, kitchen):
    item = lot(cook, kitchen)
    client.force_login(cook)
    sent = {"token": str(uuid4()), "grams": "1 kg", "bags": "1", "reason": "used"}
    path = reverse("fruit:freezer-take", args=[item.pk])
    for _twice in range(2):
        assert client.post(path, sent).status_code == 302
    item.refresh_from_db()
    assert (item.grams_left, item.bags_left) == (1400, 2)
    page = client.post(path, {**sent, "token": str(uuid4()), "grams": "9 kg"})
    assert page.context["form"].errors.get("grams")


def test_what_is_written_can_be_changed(client, cook, kitchen):
    item = lot(cook, kitchen)
    client.force_login(cook)
    path = reverse("fruit:freezer-change", args=[item.pk])
    assert 'value="2400 g"' in client.get(path).content.decode()
    assert client.post(path, filled(kitchen, what="greengages", bags="3")).status_code == 302
    item.refresh_from_db()
    assert item.what == "greengages"


@pytest.mark.parametrize("role", ["stranger", "organiser"])
def test_another_households_freezer_is_not_there(client, cook, kitchen, role):
    item = lot(cook, kitchen, what="secret damsons")
    client.force_login(make_organiser() if role == "organiser" else make_person())
    assert "secret damsons" not in client.get(LIST).content.decode()
    for name in ("freezer-item", "freezer-change"):
        assert client.get(reverse(f"fruit:{name}", args=[item.pk])).status_code == 404
    assert client.post(reverse("fruit:freezer-take", args=[item.pk]), {}).status_code == 404


def test_wrong_methods_are_refused(client, cook, kitchen):
    item = lot(cook, kitchen)
    client.force_login(cook)
    assert client.post(LIST).status_code == 405
    assert client.post(item.get_absolute_url()).status_code == 405
    assert client.get(reverse("fruit:freezer-take", args=[item.pk])).status_code == 405


@pytest.mark.parametrize("count", [1, 30])
def test_the_pages_ask_the_same_number_of_questions_for_one_and_for_thirty(
    client, cook, kitchen, count, django_assert_max_num_queries
):
    items = [lot(cook, kitchen) for _n in range(count)]
    for _n in range(count):
        make_revision()
    client.force_login(cook)
    with django_assert_max_num_queries(8):
        assert len(client.get(LIST).context["rows"]) == count
    with django_assert_max_num_queries(8):
        assert len(client.get(items[0].get_absolute_url()).context["fits"]) == count
