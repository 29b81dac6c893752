"""Gear for a session: held where it is free, fit and tested; jars, lids and supplies set aside within what is there."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.classes.choices import SessionState
from club.classes.models import SessionGear, SetAside
from club.classes.planning import gear_required, plan_of
from club.classes.presentation import jars_to_buy, to_buy
from club.classes.services import gear, sessions
from club.classes.services.gear import piece_of, shelves
from inventory.equipment import services as things
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold
from inventory.jars import services as jars
from tests.factories.classes import NOW, SATURDAY, make_hall, make_instructor, make_session, make_station
from tests.factories.equipment import BAD, GOOD, make_hold, make_loan, make_test, make_thing
from tests.factories.jars import make_jars, make_keeper, make_lid_lot, make_stock, make_supply
from tests.factories.members import make_person
from tests.factories.recipes import SPREAD, VEGETABLE, make_revision, make_spread_with_pectin

pytestmark = pytest.mark.django_db
TWELVE = {"half-pint": 12}


def draft(by, **told):
    return make_session(by=by, **{"state": SessionState.DRAFT, **told})


def beans(by, **told):
    session = draft(by, stations=0)
    make_station(
        session, revision=make_revision(base=VEGETABLE), jar_size="pint", pack="hot", canner="dial-gauge", **told
    )
    return session


def held(session) -> list[str]:
    return sorted(SessionGear.objects.filter(session=session).values_list("hold__thing__code", flat=True))


def aside(session) -> dict[tuple[str, str], int]:
    return {(row.what, row.key): row.quantity for row in SetAside.objects.filter(session=session)}


def test_what_a_station_needs_follows_from_its_plan():
    session = draft(make_instructor())
    make_station(session, pots=2, burners_w=[2000, 2000, 2000], cooks=2)
    wanted = gear_required(plan_of(session).hall)
    by_station = {n: sorted(need.kind for need in wanted if need.station == n) for n in (1, 2)}
    assert by_station[1] == [
        Kind.BOILING_WATER,
        Kind.FUNNEL,
        Kind.JAR_LIFTER,
        Kind.PRESERVING_PAN,
        Kind.THERMOMETER,
    ]
    assert by_station[2].count(Kind.BOILING_WATER) == 1
    assert [need.jars for need in wanted if need.kind == Kind.BOILING_WATER] == [{"half-pint": 5}, {"half-pint": 5}]


def test_a_freezer_recipe_takes_no_canner():
    session = draft(make_instructor(), revision=make_revision(method="freezer", process=None, process_seen=None))
    assert Kind.BOILING_WATER not in {need.kind for need in gear_required(plan_of(session).hall)}


def test_one_press_holds_the_first_free_thing_of_each_kind_for_the_day_and_names_what_is_missing():
    by = make_instructor()
    taken = make_thing(code="BWC-01", capacity=TWELVE)
    make_hold(taken, 4, 5)
    for code, kind in (("BWC-02", Kind.BOILING_WATER), ("BWC-03", Kind.BOILING_WATER), ("LIF-01", Kind.JAR_LIFTER)):
        make_thing(kind, code=code, capacity=TWELVE if kind == Kind.BOILING_WATER else {})
    session = draft(by)
    done = gear.gear_gather(by=by, session=session, now=NOW)
    assert held(session) == ["BWC-02", "LIF-01"]
    assert sorted(need.kind for need in done.missing) == [Kind.FUNNEL, Kind.PRESERVING_PAN, Kind.THERMOMETER]
    hold = Hold.objects.get(thing__code="BWC-02")
    assert (hold.starts, hold.ends, hold.person, hold.purpose) == (
        SATURDAY,
        SATURDAY,
        by,
        "class: Plum spread in a morning",
    )


def test_a_second_press_only_adds_what_was_lacking():
    by = make_instructor()
    make_thing(code="BWC-01", capacity=TWELVE)
    session = draft(by)
    assert gear.gear_gather(by=by, session=session, now=NOW).held == 1
    make_thing(Kind.FUNNEL, code="FUN-01", capacity={})
    assert gear.gear_gather(by=by, session=session, now=NOW).held == 1
    assert held(session) == ["BWC-01", "FUN-01"]


def test_a_canner_too_small_for_the_loads_or_of_unknown_size_is_passed_over():
    by = make_instructor()
    make_thing(code="BWC-01", capacity={"half-pint": 4})
    make_thing(code="BWC-02", capacity={})
    make_thing(code="BWC-03", capacity={"pint": 9})
    make_thing(code="BWC-04", capacity={"half-pint": 5})
    session = draft(by)
    gear.gear_gather(by=by, session=session, now=NOW)
    assert held(session) == ["BWC-04"]


@pytest.mark.parametrize(
    ("tested_on", "reading_ok", "is_held"),
    [
        (date(2026, 9, 1), True, True),
        (date(2025, 9, 20), True, True),  # good to the day itself
        (date(2025, 9, 19), True, False),  # lapses on the day
        (date(2026, 9, 1), False, False),
        (None, True, False),
    ],
)
def test_a_dial_gauge_is_held_only_when_its_test_is_good_on_the_day(tested_on, reading_ok, is_held):
    by = make_instructor()
    dial = make_thing(Kind.DIAL_GAUGE, code="DGC-01", capacity={"pint": 9})
    if tested_on:
        make_test(dial, tested_on, readings=GOOD if reading_ok else BAD)
    session = beans(by)
    done = gear.gear_gather(by=by, session=session, now=NOW)
    assert held(session) == (["DGC-01"] if is_held else [])
    assert (Kind.DIAL_GAUGE in {need.kind for need in done.missing}) is not is_held


def test_a_gauge_that_failed_after_it_was_held_keeps_the_session_from_being_published():
    by = make_instructor()
    dial = make_thing(Kind.DIAL_GAUGE, code="DGC-01", capacity={"pint": 9})
    make_test(dial, date(2026, 9, 1))
    session = beans(by)
    gear.gear_gather(by=by, session=session, now=NOW)
    make_test(dial, date(2026, 9, 14), readings=BAD)
    with pytest.raises(sessions.PlanRefused, match="DGC-01 is held for this session: failed its test"):
        sessions.session_publish(by=by, session=session, now=NOW)


def test_empties_come_from_the_hall_first_then_from_the_store_and_lids_from_the_oldest_lot():
    by, keeper = make_instructor(), make_keeper()
    hall = make_hall()
    session = draft(by, hall=hall, stations=2)  # ten half-pints
    make_jars(jars.kitchen_place(hall), 4, size="half-pint", by=keeper)
    make_jars(jars.store_place(), 20, size="half-pint", by=keeper)
    make_jars(jars.store_place(), 20, size="pint", by=keeper)
    old, new = make_lid_lot(created_at=NOW - timedelta(days=9)), make_lid_lot(created_at=NOW)
    for lot, count in ((new, 50), (old, 7)):
        jars.lids_move(by=keeper, reason="bought", lot=lot, count=count, token=uuid4())
    gear.gear_gather(by=by, session=session, now=NOW)
    rows = [(row.what, row.key, row.place and row.place.kind, row.quantity) for row in SetAside.objects.all()]
    assert sorted(rows, key=str) == sorted(
        [
            ("jar", "half-pint", "kitchen", 4),
            ("jar", "half-pint", "store", 6),
            ("lid", str(old.pk), None, 7),
            ("lid", str(new.pk), None, 3),
        ],
        key=str,
    )
    assert jars_to_buy(plan_of(session).plans, "metric", SetAside.objects.all()) == []


def test_what_one_session_set_aside_another_does_not_count_on():
    by, keeper = make_instructor(), make_keeper()
    make_jars(jars.store_place(), 8, size="half-pint", by=keeper)
    first, second = draft(by), draft(by)
    for session in (first, second, first):
        gear.gear_gather(by=by, session=session, now=NOW)
    assert aside(first) == {("jar", "half-pint"): 5}
    assert aside(second) == {("jar", "half-pint"): 3}
    (bought,) = jars_to_buy(plan_of(second).plans, "metric", second.set_aside.all())
    assert (bought.item, bought.need, bought.bought) == ("empty jars, half-pint (237 ml)", "2", "1 × box of 12")
    gear.gear_release(by=by, session=first, now=NOW)
    gear.gear_gather(by=by, session=second, now=NOW)
    assert aside(second) == {("jar", "half-pint"): 5}


def test_what_a_session_set_aside_is_free_again_when_it_is_over():
    by, keeper = make_instructor(), make_keeper()
    make_jars(jars.store_place(), 5, size="half-pint", by=keeper)
    first = draft(by)
    gear.gear_gather(by=by, session=first, now=NOW)
    later = draft(by, day=SATURDAY + timedelta(days=7))
    assert [each.free for each in shelves(later, first.ends_at - timedelta(minutes=1))] == [0]
    assert [each.free for each in shelves(later, first.ends_at)] == [5]


def test_supplies_are_set_aside_in_whole_pieces_that_can_be_compared_and_are_good_on_the_day():
    by, keeper = make_instructor(), make_keeper()
    session = draft(by, revision=make_spread_with_pectin(), stations=3)
    pouches = jars.supply_add(by=keeper, name="Liquid pectin", unit="pouches")
    make_stock(pouches, 2, by=keeper, use_by=SATURDAY)
    make_stock(pouches, 9, by=keeper, use_by=SATURDAY - timedelta(days=1))  # past its date by then
    vague = make_supply("Sugar", by=keeper)  # counted in "packets": of how much?
    make_stock(vague, 9, by=keeper)
    gear.gear_gather(by=by, session=session, now=NOW)
    assert aside(session) == {("supply", str(pouches.pk)): 2}
    bought = {
        each.item: each
        for each in to_buy(plan_of(session).plans, "metric", session.set_aside.all(), shelves(session, NOW))
    }
    assert (bought["liquid pectin"].need, bought["liquid pectin"].bought) == ("1 pouch", "1 × box of 2 pouches")
    assert bought["sugar"].need == "1.8 kg"
    assert bought["lids"].need == "15"


def test_a_weak_vinegar_is_never_counted_on():
    by, keeper = make_instructor(), make_keeper()
    lines = [*SPREAD["ingredients"], {"item": "cider vinegar", "role": "acid", "amount": "2", "unit": "cup"}]
    session = draft(by, revision=make_revision(ingredients=lines))
    vinegar = jars.supply_add(by=keeper, name="Cider vinegar", unit="bottles of 1 l", kind="vinegar")
    jars.supply_buy(by=keeper, supply=vinegar, count=4, strength_tenths=40, token=uuid4())
    gear.gear_gather(by=by, session=session, now=NOW)
    assert aside(session) == {}
    jars.supply_buy(by=keeper, supply=vinegar, count=4, strength_tenths=50, token=uuid4())
    gear.gear_gather(by=by, session=session, now=NOW)
    assert aside(session) == {("supply", str(vinegar.pk)): 1}


@pytest.mark.parametrize(
    ("unit", "holds"),
    [
        ("bottles of 1 l", (1, "l")),
        ("pouches", (1, "pouch")),
        ("bags of 2 kg", (2, "kg")),
        ("handfuls", None),
        ("l", None),
    ],
)
def test_what_one_piece_holds_is_read_from_its_words_or_not_known(unit, holds):
    found = piece_of(unit)
    assert (found and (found.value, found.unit)) == holds


def test_releasing_frees_the_holds_but_not_what_was_handed_over():
    by = make_instructor()
    make_thing(code="BWC-01", capacity=TWELVE)
    make_thing(Kind.FUNNEL, code="FUN-01", capacity={})
    session = draft(by)
    gear.gear_gather(by=by, session=session, now=NOW)
    funnel = Hold.objects.get(thing__code="FUN-01")
    make_loan(funnel.thing, by, now=session.starts_at)
    assert Hold.objects.get(pk=funnel.pk).state == "out"
    for freed in (1, 0):
        assert gear.gear_release(by=by, session=session, now=session.starts_at) == freed
    assert held(session) == ["FUN-01"]


def test_a_colleague_of_the_session_may_let_go_what_the_other_instructor_held():
    by, other = make_instructor(), make_instructor()
    make_thing(code="BWC-01", capacity=TWELVE)
    session = draft(by)
    session.instructors.add(other)
    gear.gear_gather(by=by, session=session, now=NOW)
    assert gear.gear_release(by=other, session=session, now=NOW) == 1


def test_another_instructor_gathers_and_releases_nothing():
    session, other = draft(make_instructor()), make_instructor()
    for press in (gear.gear_gather, gear.gear_release):
        with pytest.raises(PermissionDenied):
            press(by=other, session=session, now=NOW)


def test_a_cancelled_session_holds_nothing_any_more():
    by = make_instructor()
    session = draft(by)
    sessions.session_cancel(by=by, session=session, reason="Rain", now=NOW)
    with pytest.raises(ValidationError, match="cancelled"):
        gear.gear_gather(by=by, session=session, now=NOW)


def test_a_member_cannot_let_go_a_class_hold():
    by = make_instructor()
    make_thing(code="BWC-01", capacity=TWELVE)
    session = draft(by)
    gear.gear_gather(by=by, session=session, now=NOW)
    with pytest.raises(PermissionDenied):
        things.hold_cancel(by=make_person(), hold=Hold.objects.get(), now=NOW)


def test_nothing_is_kept_for_a_station_that_is_refused():
    by, keeper = make_instructor(), make_keeper()
    make_thing(code="BWC-01", capacity=TWELVE)
    make_jars(jars.store_place(), 20, size="half-pint", by=keeper)
    session = draft(by, hall=make_hall(altitude=""))
    done = gear.gear_gather(by=by, session=session, now=NOW)
    assert (done.held, done.set_aside, done.missing) == (0, 0, ())
    assert to_buy(plan_of(session).cookable, "metric", [], []) == []
