"""Prices: kept, the last one counts, noted by keepers and organisers only, once per form."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from club.core.money import money_text
from recipes.forms.plans import PriceForm
from recipes.models import Price
from recipes.services import price_note
from tests.factories.prices import make_price

pytestmark = pytest.mark.django_db

PRICES = "/recipes/prices/"
NOW = timezone.now()


@pytest.fixture
def keeper(make_person):
    return make_person("keeper")


def note(by, **changes):
    return price_note(**{"by": by, "item": "sugar", "package": "2 kg", "cents": 299, "token": uuid.uuid4(), **changes})


def form_data(**changes):
    return {"item": "Sugar", "package": "2 kg", "price": "2.99", "token": str(uuid.uuid4()), **changes}


def test_a_thing_is_known_by_one_spelling(keeper):
    noted = note(keeper, item="  Crème   Sugar ")
    assert noted.item == "creme sugar"
    assert Price.objects.known_of(["Crème sugar"]) == {"Crème sugar": noted}


def test_the_price_noted_last_counts_and_the_others_are_kept(keeper):
    make_price(by=keeper, cents=300, at=NOW - timedelta(days=2))
    last = make_price(by=keeper, cents=350, at=NOW)
    same_moment = make_price(by=keeper, item="salt", cents=100, at=NOW)
    after = make_price(by=keeper, item="salt", cents=120, at=NOW)
    assert set(Price.objects.current()) == {last, after}
    assert same_moment in Price.objects.all()
    assert Price.objects.count() == 4


@pytest.mark.parametrize("role", ["member", "instructor"])
def test_only_keepers_and_organisers_note_prices(make_person, role):
    with pytest.raises(PermissionDenied):
        note(make_person(role))
    assert note(make_person("organiser")).cents == 299


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"item": "  "}, "item"),
        ({"item": "x" * 81}, "item"),
        ({"package": "a sack"}, "package"),
        ({"package": "4"}, "package"),
        ({"cents": 0}, "price"),
        ({"cents": -5}, "price"),
        ({"cents": 10_000_001}, "price"),
    ],
)
def test_what_is_no_price_is_refused_by_field(keeper, changes, field):
    with pytest.raises(ValidationError) as refused:
        note(keeper, **changes)
    assert set(refused.value.message_dict) == {field}
    assert not Price.objects.exists()


def test_the_database_refuses_a_price_of_nothing(keeper):
    with pytest.raises(IntegrityError), transaction.atomic():
        make_price(by=keeper, cents=0)


def test_a_form_sent_twice_notes_one_price(client, keeper):
    client.force_login(keeper)
    data = form_data()
    for _ in range(2):
        assert client.post(PRICES, data).status_code == 302
    assert Price.objects.get().cents == 299


def test_a_token_of_somebody_else_notes_nothing(keeper, make_person):
    noted = note(keeper)
    with pytest.raises(ValidationError):
        note(make_person("keeper"), token=noted.token)
    assert Price.objects.get() == noted


@pytest.mark.parametrize(
    ("typed", "cents"), [("4.99", 499), ("4,99", 499), ("5", 500), ("0.5", 50), (" 12.30 ", 1230), ("1.005", None)]
)
def test_money_is_read_exactly(typed, cents):
    form = PriceForm(form_data(price=typed))
    assert form.is_valid() is (cents is not None)
    if cents is not None:
        assert form.written()["cents"] == cents


@pytest.mark.parametrize("bad", ["", "-1", "1e3", "٣", "four", "1.2.3", "$4"])
def test_what_is_no_money_is_said_beside_its_field_and_what_was_typed_stays(client, keeper, bad):
    client.force_login(keeper)
    response = client.post(PRICES, form_data(price=bad, package="4 lb"))
    assert set(response.context["form"].errors) == {"price"}
    assert 'value="4 lb"' in response.content.decode()
    assert not Price.objects.exists()


def test_a_member_reads_prices_and_has_no_form(client, member, keeper):
    make_price(by=keeper, cents=120_499)
    client.force_login(member)
    page = client.get(PRICES).content.decode()
    assert "1,204.99" in page
    assert 'name="price"' not in page
    assert client.post(PRICES, form_data()).status_code == 403
    assert Price.objects.count() == 1


def test_an_empty_list_says_what_to_do_and_the_form_is_filled_in_from_the_address(client, keeper):
    client.force_login(keeper)
    response = client.get(PRICES, {"item": "strawberries"})
    assert "No price is noted yet" in response.content.decode()
    assert 'value="strawberries"' in response.content.decode()


@pytest.mark.parametrize("rows", [1, 30])
def test_the_page_asks_as_often_with_one_price_as_with_thirty(client, keeper, rows, django_assert_max_num_queries):
    for number in range(rows):
        make_price(by=keeper, item=f"thing {number}")
    client.force_login(keeper)
    with django_assert_max_num_queries(6):
        assert len(client.get(PRICES).context["prices"]) == rows


def test_money_is_written_with_two_places():
    assert (money_text(5), money_text(1_234_567)) == ("0.05", "12,345.67")
