"""Holds that belong together move to other days all together, or stay where they are."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from club.members.choices import Role
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold, ThingDay, WaitingEntry
from inventory.equipment.services import holds as services_holds
from tests.factories.equipment import NOW, TODAY, day, make_hold, make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def class_holds(by, *things):
    return [make_hold(thing, 5, 5, by=by, purpose="class: plums") for thing in things]


def move(by, holds, first, last=None):
    fresh = list(Hold.objects.filter(pk__in=[hold.pk for hold in holds]).select_related("thing"))
    services.holds_move(by=by, holds=fresh, starts=day(first), ends=day(first if last is None else last), now=NOW)


def days_of(hold) -> list[int]:
    return [(row.day - TODAY).days for row in ThingDay.objects.filter(hold=hold)]


def test_every_hold_moves_with_its_days_for_cleaning():
    by = make_person(Role.INSTRUCTOR)
    canner, funnel = class_holds(by, make_thing(), make_thing(Kind.FUNNEL, capacity={}))
    move(by, [canner, funnel], 9)
    assert (days_of(canner), days_of(funnel)) == ([9, 10], [9])
    canner.refresh_from_db()
    assert (canner.starts, canner.ends, canner.kept_until) == (day(9), day(9), day(10))


def test_a_move_by_one_day_is_not_in_its_own_way():
    by = make_person(Role.INSTRUCTOR)
    (canner,) = class_holds(by, make_thing())
    move(by, [canner], 6)
    assert days_of(canner) == [6, 7]


def test_one_thing_taken_leaves_all_where_they_are_and_names_it_with_its_next_free_days():
    by = make_person(Role.INSTRUCTOR)
    first, second = make_thing(code="BWC-01"), make_thing(code="BWC-02")
    holds = class_holds(by, first, second)
    make_hold(second, 9, 10)
    with pytest.raises(services.Taken) as taken:
        move(by, holds, 9)
    assert taken.value.messages[0] == "BWC-02 is taken: Wed 23 Sep to Thu 24 Sep 2026."
    assert "BWC-01" not in " ".join(taken.value.messages)
    assert taken.value.next_free[0].span.starts == day(12)
    assert [days_of(hold) for hold in holds] == [[5, 6], [5, 6]]


def test_the_day_for_cleaning_must_be_free_as_well():
    by = make_person(Role.INSTRUCTOR)
    thing = make_thing()
    holds = class_holds(by, thing)
    make_hold(thing, 10, 12)
    with pytest.raises(services.Taken):
        move(by, holds, 9)


def test_a_gauge_that_lapses_before_the_new_day_does_not_move():
    by = make_person(Role.INSTRUCTOR)
    dial = make_thing(Kind.DIAL_GAUGE, code="DGC-01")
    make_test(dial, TODAY - timedelta(days=358))  # good until day 6
    holds = class_holds(by, dial)
    with pytest.raises(services.Taken, match="The test of DGC-01 lapses on"):
        move(by, holds, 9)
    assert days_of(holds[0]) == [5, 6]


def test_what_was_handed_over_does_not_move_and_holds_the_others_back():
    by = make_person(Role.INSTRUCTOR)
    out, held = class_holds(by, make_thing(), make_thing())
    make_loan(out.thing, by, now=NOW + timedelta(days=5))
    with pytest.raises(ValidationError, match="was handed over or cancelled"):
        move(by, [held, out], 20)
    assert days_of(held) == [5, 6]


def test_a_thing_that_should_be_back_is_not_counted_on_for_tomorrow():
    by = make_person(Role.INSTRUCTOR)
    thing = make_thing()
    make_loan(thing, days=1, now=NOW - timedelta(days=4))
    hold = make_hold(thing, 5, 5, by=by, purpose="class: plums")
    with pytest.raises(services.Taken):
        move(by, [hold], 1)


def test_who_waits_is_offered_the_days_that_came_free():
    by = make_person(Role.INSTRUCTOR)
    (hold,) = class_holds(by, make_thing())
    wish = {"days": 1, "not_before": day(5), "not_after": day(6), "now": NOW}
    entry = services.waiting_join(by=make_person(), kind=hold.thing.kind, **wish)
    assert entry.state == "waiting"
    move(by, [hold], 20)
    assert WaitingEntry.objects.get().state == "offered"


def test_a_colleague_may_move_what_is_held_for_a_class_and_not_what_is_held_for_oneself():
    by, other = make_person(Role.INSTRUCTOR), make_person(Role.INSTRUCTOR)
    (for_class,) = class_holds(by, make_thing())
    own = make_hold(make_thing(), 5, 5, by=by)
    move(other, [for_class], 9)
    for mover, hold in ((other, own), (make_person(), for_class)):
        with pytest.raises(PermissionDenied):
            move(mover, [hold], 9)
    move(make_keeper(), [own], 9)
    assert days_of(own) == [9, 10]


def test_a_day_gone_by_is_refused():
    by = make_person(Role.INSTRUCTOR)
    with pytest.raises(ValidationError, match="gone by"):
        move(by, class_holds(by, make_thing()), -1)


def test_a_day_taken_after_it_was_looked_at_moves_nothing_either(monkeypatch):
    by = make_person(Role.INSTRUCTOR)
    holds = class_holds(by, make_thing(), make_thing(code="BWC-02"))
    make_hold(holds[1].thing, 9, 9)
    looked, look = [], services_holds._clear_check
    monkeypatch.setattr(services_holds, "_clear_check", lambda *asked: looked and look(*asked) or looked.append(asked))
    with pytest.raises(services.Taken, match="BWC-02 is taken"):
        move(by, holds, 9)
    assert len(looked) == 1
    assert [days_of(hold) for hold in holds] == [[5, 6], [5, 6]]
