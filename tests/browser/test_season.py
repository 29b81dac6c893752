"""The season's plan and a club order in a real browser: a wish with a thumb, every page scanned."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from club.season.models import YearlyTarget
from club.season.services import household_set
from inventory.jars import services
from inventory.jars.models import LidStock, Movement, OrderEntry, OrderPayment, OrderPickup
from inventory.jars.services import LineFields
from tests.factories.jars import make_jars, make_keeper, make_supply
from tests.factories.members import PASSWORD, make_kitchen, make_person
from tests.factories.orders import LIDS, PINTS, make_arrived, make_order, make_ordered, pectin_line, wish
from tests.factories.recipes import make_revision
from tests.factories.season import make_shelf, make_target, use


@pytest.fixture
def household():
    """A kitchen with a shelf, wishes that are met, that are not, and that are refused."""
    ada = make_person(email="ada@example.test", name="Ada Plum")
    home = make_kitchen(ada, name="Plum Lane")
    spread, other = make_revision(title="Plum spread"), make_revision(title="Pear spread", produce=["pears"])
    make_shelf(ada, home, spread, 6, days=120, unsealed={1: "refrigerate"})
    make_shelf(ada, home, other, 4, days=200)
    make_shelf(ada, home, make_revision(title="Quince paste"), 3, days=30)
    use(ada, home, spread, 3)
    make_target(ada, home, spread, jars=24)
    make_target(ada, home, other, jars=4)
    make_target(ada, home, other, jars=2, jar_size="quart")
    make_jars(services.kitchen_place(home), 9, size="half-pint", by=ada)
    household_set(by=ada, kitchen=home, evening_minutes=180, lids_at_home=12, is_counted=True)
    return ada, home


def test_a_jar_is_opened_and_a_wish_noted_with_a_few_taps(visitor, household):
    ada, home = household
    visitor.sign_in(ada.email, PASSWORD)
    page = visitor.page
    page.get_by_role("link", name="The season's plan").click()
    page.wait_for_url(f"**/season/{home.pk}/")
    visitor.look("season")
    page.get_by_role("button", name="Opened Plum spread").click()
    page.get_by_text("Written down, the oldest jars first.").wait_for()
    assert Movement.objects.filter(reason="emptied").order_by("pk").last().count == 1
    page.get_by_role("link", name="Add something").click()
    visitor.look("season-wish")
    page.get_by_label("or any recipe of a kind").select_option(label="jam: pears")
    page.get_by_label("Jars a year").fill("8")
    page.get_by_role("button", name="Note it").click()
    page.wait_for_url(f"**/season/{home.pk}/")
    assert YearlyTarget.objects.get(kind="jam", produce="pears").jars == 8
    page.get_by_text("The same as a table").click()
    page.get_by_text("How we do it").click()
    visitor.look("season-open")


def test_the_season_of_a_kitchen_without_altitude_and_of_nobody(visitor):
    bo = make_person(email="bo@example.test", name="Bo Rower")
    visitor.sign_in(bo.email, PASSWORD)
    visitor.go("/season/")
    visitor.look("season-none")
    flat = make_kitchen(bo, name="New flat", altitude="")
    visitor.go(f"/season/{flat.pk}/")
    visitor.look("season-empty")
    make_target(bo, flat, make_revision(title="Plum spread"), jars=6)
    visitor.go(f"/season/{flat.pk}/")
    visitor.look("season-refused")
    assert "no process time can be given" in visitor.page.locator("main").inner_text()


def test_a_member_wishes_and_sees_her_bill(visitor):
    now, keeper = timezone.now(), make_keeper(name="Kit Keeper")
    order = make_order(by=keeper, now=now, freight_cents=1_250, discount_cents=300)
    wish(order, make_person(name="Bo Rower"), now=now, lids=3)
    ada = make_person(email="ada@example.test", name="Ada Plum")
    visitor.sign_in(ada.email, PASSWORD)
    page = visitor.page
    visitor.go("/jars/orders/")
    visitor.look("orders")
    page.get_by_role("link", name=order.title).click()
    page.get_by_label("How many of Regular lids").fill("2")
    page.get_by_label("How many of Pint jars").fill("1")
    page.get_by_role("button", name="Note my wishes").click()
    page.get_by_text("Your wishes are noted").wait_for()
    visitor.look("order-member")
    assert OrderEntry.objects.filter(member=ada).count() == 2
    assert "by weight, 4.96 kg of 5.5 kg" in page.locator("main").inner_text()
    visitor.go(f"/jars/orders/{order.pk}/members/{ada.pk}/")
    visitor.look("bill-member")


def test_a_keeper_brings_an_order_in_and_hands_it_out(visitor):
    now, keeper = timezone.now() - timedelta(days=2), make_keeper(email="keeper@example.test", name="Kit Keeper")
    pectin = make_supply("Powdered pectin", by=keeper)
    order = make_order(LIDS, PINTS, pectin_line(pectin), by=keeper, now=now, freight_cents=1_250)
    members = [make_person(name=name) for name in ("Ada Plum", "Bo Rower", "Cy Quince")]
    for n, member in enumerate(members):
        wish(order, member, now=now + timedelta(hours=n), lids=n + 2, jars=1, supply=2)
    visitor.sign_in(keeper.email, PASSWORD)
    page = visitor.page
    visitor.go(f"/jars/orders/{order.pk}/")
    visitor.look("order-keeper")
    page.get_by_role("button", name="It is sent to the supplier").click()
    page.get_by_role("link", name="It has arrived").click()
    page.get_by_label("How many came?").first.fill("7")
    page.get_by_label("Lot code on the box").fill("HJ-0902")
    visitor.look("order-arrive")
    page.get_by_role("button", name="Book it all").click()
    page.wait_for_url("**/pick-up/")
    visitor.look("pick-up")
    assert LidStock.objects.get().on_hand == 84
    page.get_by_role("button", name="Has it Ada Plum").click()
    page.get_by_text("Ada Plum has hers.").wait_for()
    page.get_by_role("link", name="Ada Plum").click()
    visitor.look("bill-keeper")
    page.get_by_role("button", name="Note it").click()
    page.get_by_text("Noted for Ada Plum.").wait_for()
    visitor.look("pick-up-later")
    assert OrderPickup.objects.get().member == OrderPayment.objects.get().member == members[0]
    assert "settled" in page.locator("tr", has_text="Ada Plum").inner_text()


def test_every_other_page_of_a_keeper_passes_the_scan(visitor, household):
    now, keeper = timezone.now(), make_keeper(email="keeper@example.test", name="Kit Keeper")
    order = make_order(by=keeper, now=now)
    done = make_order(LineFields("Lids", "box", 300, "lids", 12, 100), by=keeper, now=now, title="Over and done")
    ada, _home = household
    wish(done, ada, now=now, lids=1)
    make_arrived(done, by=keeper, now=now)
    services.order_pick_up(by=keeper, order=done, member=ada, token=uuid4())
    services.order_close(by=keeper, order=done)
    gone = make_order(by=keeper, now=now, title="Never came")
    services.order_cancel(by=keeper, order=gone, reason="The supplier shut down")
    sent = make_order(by=keeper, now=now, title="On its way")
    wish(sent, ada, now=now, jars=1)
    make_ordered(sent, by=keeper, now=now)
    visitor.sign_in(keeper.email, PASSWORD)
    pages = {
        "orders-all": "/jars/orders/",
        "order-new": "/jars/orders/new/?want=lids::30&want=jars:pint:14",
        "order-open": f"/jars/orders/{order.pk}/",
        "order-terms": f"/jars/orders/{order.pk}/terms/",
        "order-cancel": f"/jars/orders/{order.pk}/cancel/",
        "order-done": f"/jars/orders/{done.pk}/",
        "order-gone": f"/jars/orders/{gone.pk}/",
        "order-sent": f"/jars/orders/{sent.pk}/",
        "season-club": "/season/club/",
    }
    for name, path in pages.items():
        assert visitor.go(path).status == 200, path
        visitor.look(name)
    visitor.go("/season/club/")
    visitor.page.get_by_role("link", name="Open a club order with these lines").click()
    visitor.page.wait_for_url("**/orders/new/**")
    assert "Looked for:" in visitor.page.get_by_label("Note for members").input_value()
