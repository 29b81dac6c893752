"""Holds: who may, which days, and what the one who comes second is told."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.choices import Role
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold, ThingDay
from tests.factories.equipment import NOW, TODAY, day, make_hold, make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def test_a_hold_takes_its_days_and_the_days_for_cleaning():
    hold = make_hold(make_thing(turnaround_own=2), 3, 5)
    assert list(hold.taken_days.values_list("day", flat=True)) == [day(n) for n in range(3, 8)]
    assert hold.kept_until == day(7)


def test_a_day_of_a_thing_cannot_be_written_twice_by_anybody():
    hold = make_hold(make_thing(), 3, 5)
    with pytest.raises(IntegrityError), transaction.atomic():
        ThingDay.objects.create(thing=hold.thing, day=day(4), hold=hold)


@pytest.mark.parametrize(("first", "last"), [(1, 3), (5, 7), (4, 4), (1, 9), (6, 7), (2, 2)])
def test_whoever_comes_second_is_refused_and_told_the_next_free_dates(first, last):
    """Days 3 to 5 are held and day 6 is for cleaning; day 2 would leave no day to clean before that."""
    thing = make_thing(turnaround_own=1)
    make_hold(thing, 3, 5)
    with pytest.raises(services.Taken) as refused:
        make_hold(thing, first, last)
    told = " ".join(refused.value.messages)
    assert f"{thing.code} is taken" in told
    assert refused.value.next_free[0].span.starts >= day(first)
    assert "Next free for" in told
    assert Hold.objects.count() == 1


def test_the_next_free_dates_are_free():
    thing = make_thing(turnaround_own=1)
    make_hold(thing, 3, 5)
    make_hold(thing, 10, 12)
    with pytest.raises(services.Taken) as refused:
        make_hold(thing, 4, 6)
    spans = [free.span for free in refused.value.next_free]
    assert [(one.starts, one.ends) for one in spans] == [(day(14), day(16))]
    make_hold(thing, 14, 16)
    make_hold(thing, 7, 8)  # two days and one to clean fit between; three do not


def test_the_loser_is_told_what_else_is_free_on_those_days():
    first, other = make_thing(), make_thing()
    make_hold(first, 0, 2)
    with pytest.raises(services.Taken, match=f"Free on your days: {other.code}"):
        make_hold(first, 1, 2)


def test_holds_side_by_side_both_stand():
    thing = make_thing(turnaround_own=1)
    make_hold(thing, 0, 1)
    make_hold(thing, 3, 4)
    assert Hold.objects.count() == 2


def test_the_first_free_one_of_a_kind_is_held_and_the_last_refusal_names_dates():
    things = sorted((make_thing(), make_thing()), key=lambda one: one.code)
    person = make_person()
    span = {"kind": things[0].kind, "starts": day(0), "ends": day(1), "now": NOW}
    got = [services.hold_place_first_free(by=person, **span).thing for _ in range(2)]
    assert got == things
    with pytest.raises(services.Taken, match="none is free") as refused:
        services.hold_place_first_free(by=person, **span)
    assert refused.value.next_free[0].span.starts == day(3)


def test_of_a_kind_with_gauges_one_that_may_go_out_is_held_first():
    untested, tested = sorted((make_thing(Kind.DIAL_GAUGE) for _ in range(2)), key=lambda one: one.code)
    make_test(tested)
    span = {"kind": Kind.DIAL_GAUGE, "starts": day(0), "ends": day(1), "now": NOW}
    assert services.hold_place_first_free(by=make_person(), **span).thing == tested
    assert services.hold_place_first_free(by=make_person(), **span).thing == untested  # it may be tested by then


def test_the_same_form_twice_is_one_hold():
    thing, person, token = make_thing(), make_person(), uuid4()
    first = make_hold(thing, by=person, token=token)
    assert make_hold(thing, by=person, token=token) == first
    again = services.hold_place_first_free(by=person, kind=thing.kind, starts=day(0), ends=day(2), token=token, now=NOW)
    assert again == first
    assert Hold.objects.count() == 1


def test_another_s_token_finds_no_hold_of_theirs():
    thing, token = make_thing(), uuid4()
    make_hold(thing, token=token)
    with pytest.raises(services.Taken):
        make_hold(thing, by=make_person(), token=token)


@pytest.mark.parametrize(
    ("first", "last", "field"), [(-1, 2, "starts"), (3, 2, "ends"), (0, 60, "ends"), (401, 402, "starts")]
)
def test_days_that_make_no_sense_are_refused_beside_their_field(first, last, field):
    with pytest.raises(ValidationError) as refused:
        make_hold(make_thing(), first, last)
    assert field in refused.value.message_dict
    assert not ThingDay.objects.exists()


def test_who_may_hold_for_whom():
    thing, member, instructor = make_thing(), make_person(), make_person(Role.INSTRUCTOR)
    with pytest.raises(PermissionDenied):
        make_hold(thing, by=member, person=instructor)
    with pytest.raises(PermissionDenied):
        make_hold(thing, by=member, purpose="Class")
    assert make_hold(thing, 0, 1, by=instructor, purpose="Class: plums").purpose == "Class: plums"
    assert make_hold(thing, 5, 6, by=make_keeper(), person=member).person == member


def test_what_is_in_repair_or_retired_is_not_held():
    keeper = make_keeper()
    thing = make_thing()
    services.thing_repair(by=keeper, thing=thing, note="The rack is bent.", now=NOW)
    with pytest.raises(ValidationError, match="in repair"):
        make_hold(thing)
    services.thing_retire(by=keeper, thing=thing, note="Rusted through.", now=NOW)
    with pytest.raises(ValidationError, match="retired"):
        make_hold(thing)
    assert not Hold.objects.exists()


def test_a_stale_page_does_not_hold_what_went_to_repair_meanwhile():
    thing = make_thing()
    stale = type(thing).objects.get(pk=thing.pk)
    services.thing_repair(by=make_keeper(), thing=thing, note="Bent.", now=NOW)
    with pytest.raises(ValidationError, match="in repair"):
        make_hold(stale)
    assert not ThingDay.objects.exists()


def test_a_thing_that_should_be_back_is_not_promised_for_tomorrow():
    thing = make_thing(turnaround_own=1)
    make_loan(thing, days=2)
    later = NOW.replace(day=20)
    with pytest.raises(services.Taken):
        services.hold_place(by=make_person(), thing=thing, starts=day(7), ends=day(8), now=later)
    assert services.hold_place(by=make_person(), thing=thing, starts=day(8), ends=day(9), now=later)


def test_cancelling_frees_the_days_once_and_for_all():
    hold = make_hold()
    stranger = make_person()
    with pytest.raises(PermissionDenied):
        services.hold_cancel(by=stranger, hold=hold)
    services.hold_cancel(by=hold.person, hold=hold, now=NOW)
    services.hold_cancel(by=hold.person, hold=hold, now=NOW)
    assert not ThingDay.objects.exists()
    assert make_hold(hold.thing).starts == TODAY


def test_a_hold_that_was_collected_is_not_cancelled():
    hold = make_hold()
    make_loan(hold.thing, hold.person)
    with pytest.raises(services.AlreadyDone, match="handed over"):
        services.hold_cancel(by=hold.person, hold=hold, now=NOW)
    assert ThingDay.objects.exists()
