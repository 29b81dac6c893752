"""The jar room in a real browser: lending with a thumb, and every page scanned."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

from django.utils import timezone

from club.core.clock import club_day
from inventory.jars import services
from inventory.jars.models import Balance, Deposit, LidMovement, Movement, SupplyMovement
from tests.factories.batches import make_batch_checked
from tests.factories.jars import make_jars, make_keeper, make_lid_lot, make_loan, make_stock, make_supply
from tests.factories.members import PASSWORD, make_kitchen, make_person


def test_jars_are_lent_with_a_few_taps(visitor):
    keeper, borrower = make_keeper(email="keeper@example.test"), make_person(name="Bo Rower")
    make_jars(services.store_place(), 12, by=keeper)
    visitor.sign_in(keeper.email, PASSWORD)
    visitor.go("/jars/")
    visitor.scan()
    page = visitor.page
    page.get_by_role("link", name="lent", exact=True).click()
    visitor.scan()
    page.get_by_label("pint (473 ml)", exact=True).check()
    page.get_by_label("How many?").fill("6")
    page.get_by_label("To", exact=False).last.select_option(label="Bo Rower")
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url("**/jars/places/**")
    visitor.scan()
    assert Balance.objects.get(place__person=borrower).count == 6


def test_every_page_of_the_room_passes_the_scan(visitor):
    keeper = make_keeper(email="all@example.test")
    kitchen = make_kitchen(keeper)
    make_batch_checked(by=keeper, kitchen=kitchen, out_at=timezone.now() - timedelta(hours=30), unsealed={1: "freeze"})
    make_batch_checked(by=keeper, kitchen=kitchen, out_at=timezone.now() - timedelta(hours=30), lid_code="LID 2")
    make_loan(make_person(name="Bo Rower"), 3, by=keeper, deposit_cents=50)
    lids = services.lids_move(by=keeper, reason="bought", lot=make_lid_lot("BOX 9"), count=12, token=uuid4())
    vinegar = make_supply("Cider vinegar", by=keeper, kind="vinegar")
    past = make_stock(vinegar, 2, by=keeper, use_by=club_day() - timedelta(days=1))
    services.jars_correct(by=keeper, movement=Movement.objects.get(reason="lent"), count=2, token=uuid4())
    visitor.sign_in(keeper.email, PASSWORD)
    lots = list(LidMovement.objects.order_by().values_list("lot", flat=True).distinct())[:2]
    paths = [
        "/jars/",
        "/jars/?show=members",
        services.kitchen_place(kitchen).get_absolute_url(),
        "/jars/movements/",
        f"/jars/movements/{Movement.objects.first().pk}/correct/",
        "/jars/move/broken/",
        "/jars/move/bought/",
        "/jars/deposits/",
        f"/jars/deposits/{Deposit.objects.get().pk}/settle/",
        "/jars/lids/",
        f"/jars/lids/movements/{lids.pk}/correct/",
        "/jars/supplies/",
        vinegar.get_absolute_url(),
        f"/jars/supplies/lots/{past.pk}/spoil/",
        f"/jars/supplies/movements/{SupplyMovement.objects.get().pk}/correct/",
        "/jars/counts/",
        "/jars/exports/",
        f"/batches/lids/?a={lots[0]}&b={lots[1]}",
    ]
    for path in paths:
        assert visitor.go(path).status == 200, path
        visitor.scan()
