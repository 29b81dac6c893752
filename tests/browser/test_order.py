"""A club order: wished from with a thumb, brought in, and handed out."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from inventory.jars.models import LidStock, OrderEntry, OrderPayment, OrderPickup
from tests.factories.jars import make_keeper, make_supply
from tests.factories.members import make_person
from tests.factories.orders import LIDS, PINTS, make_order, pectin_line, wish


def test_a_member_wishes_and_a_keeper_brings_an_order_in_and_hands_it_out(visitor):
    now, keeper = timezone.now(), make_keeper(name="Kit Keeper")
    order = make_order(by=keeper, now=now, freight_cents=1_250, discount_cents=300)
    wish(order, make_person(name="Bo Rower"), now=now, lids=3)
    ada = make_person(email="ada@example.test", name="Ada Plum")
    visitor.sign_in(ada.email, "/jars/orders/")
    page = visitor.page
    page.get_by_role("link", name=order.title).click()
    page.get_by_label("How many of Regular lids").fill("2")
    page.get_by_label("How many of Pint jars").fill("1")
    page.get_by_role("button", name="Note my wishes").click()
    page.get_by_text("Your wishes are noted").wait_for()
    visitor.look("order-member")
    assert OrderEntry.objects.filter(member=ada).count() == 2
    assert "by weight, 4.96 kg of 5.5 kg" in visitor.text()

    # Another, two days later, at the keeper's.
    now -= timedelta(days=2)
    pectin = make_supply("Powdered pectin", by=keeper)
    order = make_order(LIDS, PINTS, pectin_line(pectin), by=keeper, now=now, freight_cents=1_250, title="Pectin too")
    members = [make_person(name=name) for name in ("Ada Pear", "Bo Rower", "Cy Quince")]
    for n, member in enumerate(members):
        wish(order, member, now=now + timedelta(hours=n), lids=n + 2, jars=1, supply=2)
    visitor.sign_in(keeper.email, f"/jars/orders/{order.pk}/")
    page.get_by_role("button", name="It is sent to the supplier").click()
    page.get_by_role("link", name="It has arrived").click()
    page.get_by_label("How many came?").first.fill("7")
    page.get_by_label("Lot code on the box").fill("HJ-0902")
    visitor.look("order-arrive")
    page.get_by_role("button", name="Book it all").click()
    page.wait_for_url("**/pick-up/")
    assert LidStock.objects.get().on_hand == 84
    page.get_by_role("button", name="Has it Ada Pear").click()
    page.get_by_text("Ada Pear has hers.").wait_for()
    page.get_by_role("link", name="Ada Pear").click()
    page.get_by_role("button", name="Note it").click()
    page.get_by_text("Noted for Ada Pear.").wait_for()
    visitor.look("pick-up-later")
    assert OrderPickup.objects.get().member == OrderPayment.objects.get().member == members[0]
    assert "settled" in page.locator("tr", has_text="Ada Pear").inner_text()
