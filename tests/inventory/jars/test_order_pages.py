"""The pages of the club orders, by everybody who might ask; and 30 members cost no more queries than one."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from uuid import uuid4

import pytest
from django.contrib.auth.models import Group
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from inventory.jars import services
from inventory.jars.models import ClubOrder, LidStock, OrderEntry, OrderLine, OrderPayment, OrderPickup
from tests.factories.jars import make_supply
from tests.factories.members import make_organiser, make_person
from tests.factories.orders import LIDS, PINTS, line_of, make_arrived, make_order, make_ordered, wish
from tests.helpers import refused_fields, text_of

pytestmark = pytest.mark.django_db

NOW = timezone.now()
FOR_RUNNERS = ["order-terms", "order-cancel", "order-arrive", "order-pick-up", "order-pick-up-csv"]
PRESSES = ["order-line-add", "order-place", "order-close"]


def new_order(*lines, **fields):
    return make_order(*lines, now=NOW, **fields)


@pytest.fixture
def ada():
    return make_person(name="Ada")


@pytest.fixture
def order(keeper, ada):
    made = new_order(by=keeper, freight_cents=900)
    wish(made, ada, now=NOW, lids=2, jars=1)
    return made


def at(name, *args):
    return reverse(f"jars:{name}", args=args)


# Who sees what


def test_every_member_sees_the_orders_and_who_is_none_finds_nothing(order, ada, keeper, sign_in):
    outsider = make_person()
    outsider.groups.remove(Group.objects.get(name=Role.MEMBER.value))
    for path in (at("orders"), at("order", order.pk)):
        assert order.title in text_of(sign_in(ada).get(path))
    assert order.title not in text_of(sign_in(outsider).get(at("orders")))
    assert sign_in(outsider).get(at("order", order.pk)).status_code == 404
    assert sign_in(outsider).post(at("order-wish", order.pk)).status_code == 404
    assert sign_in(keeper).get(at("order", 999_999)).status_code == 404


@pytest.mark.parametrize("page", FOR_RUNNERS)
def test_who_runs_orders_opens_its_pages_and_a_member_does_not(page, order, ada, keeper, sign_in):
    for runner in (keeper, make_organiser()):
        assert sign_in(runner).get(at(page, order.pk)).status_code == 200
    for role in (Role.MEMBER, Role.INSTRUCTOR):
        assert sign_in(make_person(role)).get(at(page, order.pk)).status_code == 403
    assert sign_in(keeper).get(at(page, 999_999)).status_code == 404


@pytest.mark.parametrize("page", PRESSES)
def test_a_member_presses_nothing_that_runs_an_order_and_nothing_is_read_there(page, order, ada, keeper, sign_in):
    assert sign_in(ada).post(at(page, order.pk)).status_code == 403
    assert sign_in(keeper).get(at(page, order.pk)).status_code == 405
    assert sign_in(keeper).post(at(page, order.pk)).status_code != 403


def test_a_bill_is_the_member_s_own_and_the_runner_s_and_nobody_else_s(order, ada, keeper, sign_in):
    path = at("order-bill", order.pk, ada.pk)
    for person in (ada, keeper):
        assert "2 at 3.49" in text_of(sign_in(person).get(path))
    assert sign_in(make_person()).get(path).status_code == 404
    assert sign_in(keeper).get(at("order-bill", order.pk, keeper.pk)).status_code == 404  # she ordered nothing
    for page in ("order-paid", "order-fetched"):
        assert sign_in(ada).post(at(page, order.pk, ada.pk)).status_code == 403
        assert sign_in(keeper).get(at(page, order.pk, ada.pk)).status_code == 405


def test_nobody_is_sent_to_sign_in(order):
    assert Client().get(at("order", order.pk)).url.startswith(reverse("account_login"))


def test_a_member_does_not_see_who_else_ordered_and_the_runner_does(order, ada, keeper, sign_in):
    bo = make_person(name="Bo Rower")
    wish(order, bo, now=NOW, lids=1)
    assert "Bo Rower" not in text_of(sign_in(ada).get(at("order", order.pk)))
    assert "Bo Rower" in text_of(sign_in(keeper).get(at("order", order.pk)))


# Opening


def rows_typed(*rows, total=3):
    names = ("name", "unit", "price", "kind", "pieces", "jar_size", "supply", "grams")
    told = {"line-TOTAL_FORMS": total, "line-INITIAL_FORMS": 0}
    for n in range(total):
        values = dict(zip(names, rows[n], strict=True)) if n < len(rows) else {"pieces": 1}
        told |= {f"line-{n}-{name}": value for name, value in values.items()}
    return told


def order_typed(**fields):
    closes = timezone.localtime(NOW + timedelta(days=5)).strftime("%Y-%m-%dT%H:%M")
    base = {"title": "Lids", "closes_at": closes, "freight_by": "weight", "discount_by": "value", "short_by": "first"}
    return base | {"freight": "12,50", "token": uuid4()} | fields


LIDS_TYPED = ("Wide lids", "box of 12", "4.29", "lids", "12", "", "", "200")


def test_an_order_is_opened_with_the_lines_that_were_filled_in(keeper, sign_in):
    answer = sign_in(keeper).post(at("order-new"), order_typed() | rows_typed(LIDS_TYPED))
    order = ClubOrder.objects.get()
    assert answer.url == order.get_absolute_url()
    assert order.freight_cents == 1_250
    line = order.lines.get()
    assert (line.name, line.price_cents, line.pieces, line.grams) == ("Wide lids", 429, 12, 200)


def test_what_was_typed_stays_where_a_line_is_refused_and_nothing_is_opened(keeper, sign_in):
    heavy = (*LIDS_TYPED[:-1], "")
    answer = sign_in(keeper).post(at("order-new"), order_typed() | rows_typed(heavy))
    assert "Line 1: Freight or discount is shared by weight" in text_of(answer)
    assert 'value="Wide lids"' in answer.content.decode()
    assert not ClubOrder.objects.exists()


def test_a_member_opens_no_order(ada, sign_in):
    assert sign_in(ada).get(at("order-new")).status_code == 403
    assert sign_in(ada).post(at("order-new"), order_typed()).status_code == 403


def test_an_address_fills_lines_in_and_what_it_cannot_say_is_left_out(keeper, sign_in):
    make_supply("Powdered pectin", by=keeper)
    wants = ["lids::30", "jars:pint:14", "jars:bucket:3", "supply:powdered pectin:9", "lids::x", "<b>::1"]
    page = sign_in(keeper).get(at("order-new"), {"want": wants}).content.decode()
    assert "30 lids (3 boxes)" in page
    assert "14 pint (473 ml) (2 boxes)" in page
    assert 'value="powdered pectin"' in page
    assert "bucket" not in page
    assert "<b>" not in page


# Wishing


def test_a_member_notes_her_wishes_and_takes_them_back(order, ada, sign_in):
    lids, jars = line_of(order, "lids"), line_of(order, "jars")
    answer = sign_in(ada).post(at("order-wish", order.pk), {f"line_{lids.pk}": "5", f"line_{jars.pk}": ""})
    assert answer.url == order.get_absolute_url()
    assert dict(OrderEntry.objects.values_list("line__kind", "quantity")) == {"lids": 5}


def test_a_wish_that_is_no_number_is_told_beside_its_line(order, ada, sign_in):
    lids = line_of(order, "lids")
    answer = sign_in(ada).post(at("order-wish", order.pk), {f"line_{lids.pk}": "many"})
    assert answer.status_code == 422
    assert refused_fields(answer) == {f"line_{lids.pk}"}


def test_once_it_is_ordered_the_page_takes_no_wishes(order, ada, keeper, sign_in):
    assert "Note my wishes" in text_of(sign_in(ada).get(at("order", order.pk)))
    make_ordered(order, by=keeper, now=NOW)
    assert "Note my wishes" not in text_of(sign_in(ada).get(at("order", order.pk)))
    answer = sign_in(ada).post(at("order-wish", order.pk), {f"line_{line_of(order, 'lids').pk}": "5"})
    assert answer.status_code == 422
    assert "takes no more wishes" in text_of(answer)


def test_once_its_time_is_up_an_order_says_so_and_takes_no_wishes(ada, keeper, sign_in):
    late = make_order(by=keeper, now=NOW - timedelta(days=9), days=7)
    for path in (at("orders"), at("order", late.pk)):
        page = text_of(sign_in(ada).get(path))
        assert "time is up, to be sent off" in page
        assert "Note my wishes" not in page


# Running


def test_lines_are_added_and_taken_out_on_the_page(order, keeper, sign_in):
    client, line = sign_in(keeper), {"name": "Bands", "unit": "dozen", "price": "2", "kind": "lids", "pieces": "12"}
    client.post(at("order-line-add", order.pk), line | {"grams": "90", "token": uuid4()})
    bands = OrderLine.objects.get(name="Bands")
    refused = client.post(at("order-line-add", order.pk), line | {"token": uuid4()})
    assert refused_fields(refused) == {"grams"}
    client.post(at("order-line-remove", bands.pk))
    assert not OrderLine.objects.filter(name="Bands").exists()


def test_an_order_goes_from_wishes_to_everybody_having_hers(order, ada, keeper, sign_in):
    client = sign_in(keeper)
    client.post(at("order-place", order.pk))
    lids, jars = line_of(order, "lids"), line_of(order, "jars")
    typed = {"token": uuid4(), f"units_{lids.pk}": "1", f"units_{jars.pk}": "1"}
    refused = client.post(at("order-arrive", order.pk), typed)
    assert refused_fields(refused) == {f"lid_code_{lids.pk}"}
    assert not LidStock.objects.exists()
    answer = client.post(at("order-arrive", order.pk), typed | {f"lid_code_{lids.pk}": "BX 9"})
    assert answer.url == at("order-pick-up", order.pk)
    assert LidStock.objects.get().on_hand == 12
    bill = text_of(client.get(at("order-bill", order.pk, ada.pk)))
    assert "1 of 2 asked for came" in bill
    assert "27.48" in bill  # 3.49 and 14.99, and all of the freight
    client.post(at("order-paid", order.pk, ada.pk), {"token": uuid4(), "cents": "27.48"})
    assert OrderPayment.objects.get().cents == 2_748
    client.post(at("order-fetched", order.pk, ada.pk))
    client.post(at("order-close", order.pk))
    order.refresh_from_db()
    assert order.state == "closed"


def test_what_is_given_back_is_noted_below_zero(order, ada, keeper, sign_in):
    path = at("order-paid", order.pk, ada.pk)
    sign_in(keeper).post(path, {"token": uuid4(), "cents": "5", "is_back": "on"})
    assert OrderPayment.objects.get().cents == -500
    assert sign_in(keeper).post(path, {"token": uuid4(), "cents": "much"}).status_code == 422


def test_a_cancelled_order_says_why(order, ada, keeper, sign_in):
    sign_in(keeper).post(at("order-cancel", order.pk), {"reason": "No stock"})
    assert "Cancelled: No stock" in text_of(sign_in(ada).get(at("order", order.pk)))


def test_costs_change_on_their_page(order, keeper, sign_in):
    typed = {"freight": "10", "freight_by": "value", "discount": "", "discount_by": "evenly", "short_by": "pro-rata"}
    sign_in(keeper).post(at("order-terms", order.pk), typed)
    order.refresh_from_db()
    assert (order.freight_cents, order.freight_by, order.short_by) == (1_000, "value", "pro-rata")


def test_costs_of_a_thousand_and_more_are_shown_as_they_can_be_sent_again(keeper, sign_in):
    order, client = new_order(LIDS, by=keeper, freight_cents=123_456), sign_in(keeper)
    shown = client.get(at("order-terms", order.pk)).context["form"]
    typed = {name: shown[name].value() for name in shown.fields}
    assert client.post(at("order-terms", order.pk), typed).status_code == 302
    order.refresh_from_db()
    assert order.freight_cents == 123_456


def test_the_pick_up_list_says_what_is_left_over_and_who_has_hers(order, ada, keeper, sign_in):
    make_arrived(order, by=keeper, now=NOW, lids=5)
    page = text_of(sign_in(keeper).get(at("order-pick-up", order.pk)))
    assert "3 × Regular lids" in page
    sign_in(keeper).post(at("order-fetched", order.pk, ada.pk))
    assert OrderPickup.objects.get().member == ada


def test_the_pick_up_file_holds_a_row_a_thing_and_no_formula(keeper, sign_in):
    eve = make_person(name="=HYPERLINK(1)")
    order = new_order(LIDS, PINTS, by=keeper)
    wish(order, eve, now=NOW, lids=2, jars=1)
    answer = sign_in(keeper).get(at("order-pick-up-csv", order.pk))
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode())))
    assert [(row["what"], row["gets"], row["pays"]) for row in rows] == [
        ("Regular lids", "2", "6.98"),
        ("Pint jars", "1", "14.99"),
        ("in all", "", "21.97"),
    ]
    assert {row["member"] for row in rows} == {"'=HYPERLINK(1)"}


# Bounds


@pytest.mark.parametrize(("page", "bound"), [("order", 14), ("order-pick-up", 12), ("order-arrive", 10)])
def test_thirty_members_cost_no_more_queries_than_one(
    page, bound, order, keeper, sign_in, django_assert_max_num_queries
):
    client = sign_in(keeper)
    with django_assert_max_num_queries(bound):
        client.get(at(page, order.pk))
    for n in range(29):
        member = make_person(name=f"Member {n}")
        wish(order, member, now=NOW, lids=1, jars=1)
        services.order_payment_note(by=keeper, order=order, member=member, cents=100, token=uuid4())
    with django_assert_max_num_queries(bound):
        client.get(at(page, order.pk))


def test_thirty_orders_cost_no_more_queries_than_one(order, ada, keeper, sign_in, django_assert_max_num_queries):
    client = sign_in(ada)
    with django_assert_max_num_queries(8):
        client.get(at("orders"))
    for _n in range(29):
        wish(new_order(by=keeper), ada, now=NOW, lids=1)
    with django_assert_max_num_queries(8):
        assert text_of(client.get(at("orders"))).count("You wish for") == 30
