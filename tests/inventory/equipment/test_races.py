"""Presses at one moment, in real threads on the real database: one writes, the others learn of it."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from functools import partial
from uuid import uuid4

import pytest

from inventory.equipment import services
from inventory.equipment.models import ConditionNote, Hold, Loan, Thing, ThingDay, WaitingEntry
from tests import helpers
from tests.factories.equipment import NOW, day, make_hold, make_keeper, make_loan, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db(transaction=True)

RACERS = 4
race = partial(helpers.race, racers=RACERS, refusals=(services.AlreadyDone, services.Taken))


def test_one_form_pressed_in_four_places_is_one_hold():
    thing, person, token = make_thing(), make_person(), uuid4()
    person.has_perm("equipment.add_hold")
    got = race(lambda _n: make_hold(thing, by=person, token=token).pk)
    assert got == [Hold.objects.get().pk] * RACERS


def test_four_ticks_at_one_moment_make_one_offer_to_each_who_waits():
    keeper = make_keeper()
    things = [make_thing(by=keeper, turnaround_own=0) for _ in range(3)]
    holds = [make_hold(thing, 0, 20) for thing in things]
    for _ in range(5):
        wish = {"days": 21, "not_before": day(0), "not_after": day(20), "now": NOW}
        services.waiting_join(by=make_person(), kind=things[0].kind, **wish)
    Hold.objects.filter(pk__in=[hold.pk for hold in holds]).update(state="cancelled")
    ThingDay.objects.all().delete()  # freed behind the line's back, so that only the clock can offer
    race(lambda _n: services.waiting_move_on(NOW).offered)
    states = Counter(WaitingEntry.objects.values_list("state", flat=True))
    assert states == {"offered": 3, "waiting": 2}
    assert Hold.objects.filter(state="offered").count() == 3
    assert ThingDay.objects.count() == 3 * 21


def test_four_ticks_lapse_an_offer_once_and_pass_it_to_one():
    thing = make_thing(turnaround_own=0)
    for n in range(3):
        wish = {"days": 3, "not_before": day(0), "not_after": day(3), "now": NOW + timedelta(minutes=n)}
        services.waiting_join(by=make_person(), kind=thing.kind, **wish)
    later = NOW + timedelta(hours=24)
    moved = race(lambda _n: services.waiting_move_on(later))
    assert (sum(one.lapsed for one in moved), sum(one.offered for one in moved)) == (1, 1)
    states = list(WaitingEntry.objects.order_by("joined_at").values_list("state", flat=True))
    assert states == ["lapsed", "offered", "waiting"]


def test_taking_an_offer_while_it_lapses_only_one_happens():
    thing = make_thing()
    person, wish = make_person(), {"days": 1, "not_before": day(0), "not_after": day(3), "now": NOW}
    entry = services.waiting_join(by=person, kind=thing.kind, **wish)

    def press(number: int) -> str:
        if number % 2:
            services.waiting_move_on(NOW + timedelta(hours=24))
            return "moved"
        stale = WaitingEntry.objects.get(pk=entry.pk)
        return services.waiting_accept(by=person, entry=stale, now=NOW + timedelta(hours=23)).state

    race(press)
    entry.refresh_from_db()
    hold = Hold.objects.get()
    assert (entry.state, hold.state) in {("taken", "held"), ("lapsed", "cancelled")}
    assert ThingDay.objects.exists() is (hold.state == "held")


def test_four_returns_of_one_loan_are_one_return():
    loan, keeper = make_loan(), make_keeper()
    keeper.has_perm("equipment.keep_things")
    found = ["good", "worn", "good", "worn"]

    def press(number: int) -> str:
        stale = Loan.objects.select_related("thing", "hold").get(pk=loan.pk)
        return services.loan_return(by=keeper, loan=stale, condition=found[number], token=uuid4(), now=NOW).condition_in

    got = race(press)
    assert Counter(got)[services.AlreadyDone] == RACERS - 1
    [settled] = [one for one in got if isinstance(one, str)]
    assert Loan.objects.get().condition_in == settled
    assert ConditionNote.objects.filter(occasion="returned").count() == 1


def test_keeping_a_thing_longer_and_holding_those_days_only_one_happens():
    loan = make_loan(make_thing(turnaround_own=0), days=2)
    others = [make_person() for _ in range(RACERS)]

    def press(number: int) -> str:
        if number == 0:
            stale = Loan.objects.select_related("thing", "hold", "person").get(pk=loan.pk)
            services.loan_extend(by=stale.person, loan=stale, due_on=day(5), now=NOW)
            return "kept"
        make_hold(Thing.objects.get(pk=loan.thing_id), 4, 6, by=others[number])
        return "held"

    got = Counter(race(press))
    assert got[services.Taken] == RACERS - 1
    assert Loan.objects.get().due_on == (day(5) if got["kept"] else day(2))
    assert ThingDay.objects.filter(day=day(4)).count() == 1


def test_a_hand_over_and_a_cancelled_hold_never_leave_a_loan_without_its_days():
    hold, keeper = make_hold(make_thing(turnaround_own=0), 0, 2), make_keeper()
    keeper.has_perm("equipment.keep_things")

    def press(number: int) -> str:
        if number % 2:
            services.hold_cancel(by=hold.person, hold=Hold.objects.select_related("thing").get(pk=hold.pk), now=NOW)
            return "cancelled"
        make_loan(hold.thing, hold.person, by=keeper, days=2)
        return "out"

    race(press)
    loan = Loan.objects.select_related("hold").first()
    if loan is None:
        assert not ThingDay.objects.exists()
    else:
        assert loan.hold.state == "out"
        assert ThingDay.objects.filter(hold=loan.hold).count() == 3
