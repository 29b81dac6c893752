"""Lids and supplies by count: earliest first, nothing past its date, never below zero."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from club.core.clock import club_day
from inventory.jars import services
from inventory.jars.models import LidMovement, LidStock, Supply, SupplyLot, SupplyMovement
from inventory.jars.rules import Stock, take_in_order, use_first
from tests.factories.jars import make_lid_lot, make_stock, make_supply
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db

stocks = st.lists(
    st.tuples(st.integers(0, 20), st.none() | st.dates(date(2026, 1, 1), date(2026, 1, 20))), max_size=8
).map(lambda rows: [Stock(key, count, use_by) for key, (count, use_by) in enumerate(rows)])


@given(stocks, st.integers(1, 60))
def test_the_earliest_use_by_goes_first_and_nothing_past_its_date_is_taken(lots, wanted):
    today = date(2026, 1, 10)
    good = [lot for lot in lots if lot.use_by is None or lot.use_by >= today]
    taken = take_in_order(lots, wanted, today=today)
    if taken is None:
        assert sum(lot.count for lot in good) < wanted
        return
    by_key = {lot.key: lot for lot in lots}
    assert sum(count for _key, count in taken) == wanted
    assert all(0 < count <= by_key[key].count and by_key[key] in good for key, count in taken)
    last = by_key[taken[-1][0]].use_by or date.max
    emptied = {key for key, count in taken[:-1] if count == by_key[key].count}
    assert emptied == {key for key, _count in taken[:-1]}
    earlier = [lot for lot in good if lot.count and (lot.use_by or date.max) < last]
    assert {lot.key for lot in earlier} <= {key for key, _count in taken}


def test_what_does_not_spoil_is_used_last_and_empty_lots_are_left_out():
    lots = [
        Stock(1, 5, None),
        Stock(2, 5, date(2027, 1, 1)),
        Stock(3, 0, date(2026, 1, 1)),
        Stock(4, 1, date(2026, 6, 1)),
    ]
    assert [lot.key for lot in use_first(lots)] == [4, 2, 1]


def test_using_takes_from_the_lots_in_order_and_twice_is_once(keeper):
    today = club_day()
    pectin = make_supply(by=keeper)
    late = make_stock(pectin, 5, by=keeper, use_by=today + timedelta(days=400))
    soon = make_stock(pectin, 3, by=keeper, use_by=today)
    past = make_stock(pectin, 9, by=keeper, use_by=today - timedelta(days=1))
    token = uuid4()
    first = services.supply_use(by=keeper, supply=pectin, count=4, token=token)
    again = services.supply_use(by=keeper, supply=pectin, count=4, token=token)
    assert first == again
    assert [(part.lot, part.change) for part in first] == [(soon, -3), (late, -1)]
    assert dict(SupplyLot.objects.values_list("pk", "count")) == {late.pk: 4, soon.pk: 0, past.pk: 9}
    with pytest.raises(services.NotEnough) as refused:
        services.supply_use(by=keeper, supply=pectin, count=5, token=uuid4())
    assert refused.value.there == 4
    assert services.ledger_audit().is_sound


def test_the_same_use_by_comes_into_the_same_lot(keeper):
    pectin = make_supply(by=keeper)
    day = club_day() + timedelta(days=90)
    assert make_stock(pectin, 5, by=keeper, use_by=day) == make_stock(pectin, 2, by=keeper, use_by=day)
    assert SupplyLot.objects.get().count == 7


def test_a_vinegar_says_its_strength_and_nothing_else_has_one(keeper):
    vinegar, pectin = make_supply("Cider vinegar", by=keeper, kind="vinegar"), make_supply(by=keeper)
    buy = {"by": keeper, "count": 1}
    for supply, tenths in ((vinegar, None), (vinegar, 0), (vinegar, 1001), (pectin, 50)):
        with pytest.raises(ValidationError) as refused:
            services.supply_buy(**buy, supply=supply, strength_tenths=tenths, token=uuid4())
        assert list(refused.value.message_dict) == ["strength"]
    strong = services.supply_buy(**buy, supply=vinegar, strength_tenths=55, token=uuid4()).lot
    weak = services.supply_buy(**buy, supply=vinegar, strength_tenths=40, token=uuid4()).lot
    assert strong != weak
    assert (strong.strength_text, weak.strength_text) == ("5.5", "4")


def test_a_supply_is_low_from_its_level_and_remembers_since_when(keeper):
    pectin = make_supply(by=keeper, low_level=3)
    assert Supply.objects.get().low_since is None  # nothing was ever there to run low
    make_stock(pectin, 2, by=keeper)
    assert Supply.objects.get().low_since is not None
    make_stock(pectin, 3, by=keeper)
    assert Supply.objects.get().low_since is None
    services.supply_use(by=keeper, supply=pectin, count=2, token=uuid4())
    since = Supply.objects.get().low_since
    assert since is not None
    services.supply_use(by=keeper, supply=pectin, count=1, token=uuid4())
    assert Supply.objects.get().low_since == since


def test_what_is_past_its_date_does_not_count_as_enough(keeper):
    pectin = make_supply(by=keeper, low_level=3)
    make_stock(pectin, 50, by=keeper, use_by=club_day() - timedelta(days=1))
    counted = Supply.objects.with_counts(club_day()).get()
    assert (counted.usable, counted.past) == (0, 50)
    assert counted.low_since is not None


def test_a_supply_s_correction_is_a_new_movement(keeper):
    lot = make_stock(make_supply(by=keeper), 5, by=keeper)
    bought = SupplyMovement.objects.get()
    services.supply_correct(by=keeper, movement=bought, count=3, token=uuid4())
    lot.refresh_from_db()
    assert lot.count == 3
    services.supply_spoil(by=keeper, lot=lot, count=2, token=uuid4())
    spoilt = SupplyMovement.objects.get(reason="spoilt")
    services.supply_correct(by=keeper, movement=spoilt, count=1, token=uuid4())
    lot.refresh_from_db()
    assert lot.count == 2
    with pytest.raises(ValidationError, match="corrected already"):
        services.supply_correct(by=keeper, movement=bought, count=9, token=uuid4())
    assert services.ledger_audit().is_sound


def test_lids_are_bought_spoilt_and_corrected_and_add_up(keeper):
    lot = make_lid_lot()
    bought = services.lids_move(by=keeper, reason="bought", lot=lot, count=12, token=uuid4())
    spoilt = services.lids_move(by=keeper, reason="spoilt", lot=lot, count=5, token=uuid4())
    services.lids_correct(by=keeper, movement=spoilt, count=2, token=uuid4())
    services.lids_correct(by=keeper, movement=bought, count=24, token=uuid4())
    stock = LidStock.objects.get()
    assert (stock.bought, stock.spoilt, stock.used, stock.on_hand) == (24, 2, 0, 22)
    with pytest.raises(services.NotEnough):
        services.lids_move(by=keeper, reason="spoilt", lot=lot, count=23, token=uuid4())
    assert LidMovement.objects.count() == 4
    assert services.ledger_audit().is_sound


def test_the_database_holds_lids_and_supplies_above_zero_and_their_movements_still(keeper):
    lot, stock = make_lid_lot(), make_stock(make_supply(by=keeper), 3, by=keeper)
    services.lids_move(by=keeper, reason="bought", lot=lot, count=12, token=uuid4())
    for lie in (
        lambda: LidStock.objects.update(on_hand=11),
        lambda: LidStock.objects.update(on_hand=-1, bought=-1),
        lambda: SupplyLot.objects.filter(pk=stock.pk).update(count=-1),
        lambda: LidMovement.objects.update(count=1),
        lambda: LidMovement.objects.all().delete(),
        lambda: SupplyMovement.objects.update(change=1),
        lambda: SupplyMovement.objects.all().delete(),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            lie()
    assert LidStock.objects.update(on_hand=10, spoilt=2) == 1


def test_a_member_counts_neither_lids_nor_supplies(keeper):
    member, lot = make_person(), make_lid_lot()
    stock = make_stock(make_supply(by=keeper), 3, by=keeper)
    for act in (
        lambda: services.lids_move(by=member, reason="bought", lot=lot, count=1, token=uuid4()),
        lambda: services.lids_move(by=member, reason="spoilt", lot=lot, count=1, token=uuid4()),
        lambda: services.supply_add(by=member, name="Salt", unit="bags"),
        lambda: services.supply_buy(by=member, supply=stock.supply, count=1, token=uuid4()),
        lambda: services.supply_use(by=member, supply=stock.supply, count=1, token=uuid4()),
        lambda: services.supply_spoil(by=member, lot=stock, count=1, token=uuid4()),
    ):
        with pytest.raises(PermissionDenied):
            act()


@pytest.mark.parametrize(("name", "unit", "field"), [("", "x", "name"), ("x" * 81, "x", "name"), ("x", " ", "unit")])
def test_a_supply_has_a_name_and_a_unit(keeper, name, unit, field):
    with pytest.raises(ValidationError) as refused:
        services.supply_add(by=keeper, name=name, unit=unit)
    assert list(refused.value.message_dict) == [field]
    first = services.supply_add(by=keeper, name="Citric acid", unit="bags")
    assert services.supply_add(by=keeper, name="citric  ACID", unit="bags") == first


def test_what_a_keeper_says_it_is_is_never_dropped_for_what_is_known_of_that_name(keeper, sign_in):
    known = services.supply_add(by=keeper, name="Cider vinegar", unit="bottles")
    asked = {"name": "cider vinegar", "unit": "bottles", "low_level": 0, "kind": "vinegar"}
    with pytest.raises(ValidationError) as refused:
        services.supply_add(by=keeper, **asked)
    assert list(refused.value.message_dict) == ["kind"]
    client = sign_in(keeper)
    form = client.post(reverse("jars:supplies"), asked).context["form"]
    assert list(form.errors) == ["kind"]
    assert (form["name"].value(), form["kind"].value()) == ("cider vinegar", "vinegar")
    assert [(one.name, one.kind) for one in Supply.objects.all()] == [(known.name, "other")]
    # What is left open agrees with whatever is known.
    salt = services.supply_add(by=keeper, name="Salt", unit="bags", kind="salt")
    assert services.supply_add(by=keeper, name="Salt", unit="bags") == salt
    added = client.post(reverse("jars:supplies"), {"name": "salt", "unit": "bags", "low_level": 0})
    assert added.url == salt.get_absolute_url()


def test_a_household_s_supply_of_another_kind_is_not_taken_over_by_the_club(keeper):
    services.supply_add(by=make_person(), name="Lemon", unit="bottles", kind="juice", is_kept=False)
    with pytest.raises(ValidationError):
        services.supply_add(by=keeper, name="Lemon", unit="bottles", kind="vinegar")
    assert not Supply.objects.kept().exists()


def test_a_vinegar_of_unknown_strength_counts_as_nothing_to_use(keeper):
    supply = make_supply("Cider vinegar", by=keeper)
    make_stock(supply, 3, by=keeper)
    assert Supply.objects.with_counts(club_day()).get().usable == 3
    Supply.objects.update(kind="vinegar")  # nobody asked for its strength while it was something else
    assert Supply.objects.with_counts(club_day()).get().usable == 0
    assert not SupplyLot.objects.sound().exists()
    with pytest.raises(services.NotEnough):
        services.supply_use(by=keeper, supply=supply, count=1, token=uuid4())
