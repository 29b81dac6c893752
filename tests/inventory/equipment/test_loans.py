"""Loans: what blocks a hand-over, whose hold it uses, and what a return and an extension do to the days."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.choices import Role
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import ConditionNote, Hold, Loan, Thing, ThingDay
from tests.factories.equipment import BAD, NOW, TODAY, day, make_hold, make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def days_taken(thing: Thing) -> list[int]:
    return [(one - TODAY).days for one in ThingDay.objects.filter(thing=thing).values_list("day", flat=True)]


def give_back(loan: Loan, *, after: int = 2, **told):
    told = {"condition": "good", "now": NOW + timedelta(days=after), **told}
    return services.loan_return(by=make_keeper(), loan=loan, **told)


def test_handing_over_records_the_condition_and_by_whom():
    keeper, person = make_keeper(), make_person()
    loan = make_loan(person=person, by=keeper, note="A dent in the lid.", condition="worn", deposit_cents=2000)
    note = ConditionNote.objects.filter(occasion="handed-over").get()
    assert (loan.person, loan.handed_over_by, loan.deposit_cents) == (person, keeper, 2000)
    assert (note.condition, note.note, note.by) == ("worn", "A dent in the lid.", keeper)
    assert days_taken(loan.thing) == [0, 1, 2, 3, 4]


@pytest.mark.parametrize("role", [Role.INSTRUCTOR, Role.ORGANISER, Role.MEMBER])
def test_only_keepers_hand_over_and_take_back(role):
    person = make_person(role)
    loan = make_loan()
    with pytest.raises(PermissionDenied):
        make_loan(make_thing(), by=person)
    with pytest.raises(PermissionDenied):
        services.loan_return(by=person, loan=loan, condition="good")


def test_a_hold_of_somebody_else_blocks_the_hand_over_and_says_when():
    thing = make_thing()
    make_hold(thing, 2, 4)
    with pytest.raises(services.Taken, match=f"{thing.code} is taken"):
        make_loan(thing, days=3)
    assert not Loan.objects.exists()
    assert services.latest_due(thing, make_person(), TODAY) == day(0)
    make_loan(thing, days=0)  # back today, cleaned tomorrow, held from the day after


def test_one_s_own_hold_becomes_the_loan():
    hold = make_hold(make_thing(), 0, 2)
    loan = make_loan(hold.thing, hold.person, days=2)
    hold.refresh_from_db()
    assert (loan.hold, hold.state) == (hold, "out")
    assert Hold.objects.count() == 1
    assert days_taken(hold.thing) == [0, 1, 2, 3]


def test_collected_early_and_kept_longer_the_hold_moves_with_the_loan():
    hold = make_hold(make_thing(), 2, 3, purpose="")
    loan = make_loan(hold.thing, hold.person, days=5)
    assert (loan.hold, days_taken(hold.thing)) == (hold, [0, 1, 2, 3, 4, 5, 6])


def test_a_hold_for_a_class_hands_its_purpose_on():
    hold = make_hold(by=make_person(Role.INSTRUCTOR), purpose="Class: plums")
    assert make_loan(hold.thing, hold.person, days=2).purpose == "Class: plums"


def test_a_thing_is_out_once():
    loan = make_loan()
    with pytest.raises(services.AlreadyDone, match="is out"):
        make_loan(loan.thing)
    other = make_hold(loan.thing, 20, 21)
    with pytest.raises(IntegrityError), transaction.atomic():
        Loan.objects.create(
            thing=loan.thing,
            hold=other,
            token=uuid4(),
            person=loan.person,
            due_on=day(21),
            handed_over_at=NOW,
            handed_over_by=loan.handed_over_by,
            condition_out="good",
        )


def test_the_same_press_twice_is_one_loan_and_one_return():
    thing, person, token = make_thing(), make_person(), uuid4()
    loan = make_loan(thing, person, token=token)
    assert make_loan(thing, person, token=token) == loan
    back = uuid4()
    assert give_back(loan, token=back) == give_back(loan, token=back)
    with pytest.raises(services.AlreadyDone, match="was taken back"):
        give_back(loan, token=uuid4())
    assert ConditionNote.objects.filter(occasion="returned").count() == 1


def test_a_dial_gauge_never_tested_stays_in():
    with pytest.raises(ValidationError, match="never tested"):
        make_loan(make_thing(Kind.DIAL_GAUGE))


def test_a_failed_gauge_stays_in_until_it_passes():
    thing = make_thing(Kind.DIAL_GAUGE)
    make_test(thing, day(-10))
    make_test(thing, day(-1), readings=BAD)
    with pytest.raises(ValidationError, match="failed its test"):
        make_loan(thing)
    make_test(thing, day(0))
    assert make_loan(thing).pk


@pytest.mark.parametrize(("tested", "days", "goes_out"), [(-365, 0, False), (-364, 0, True), (-364, 1, False)])
def test_a_gauge_goes_out_only_while_its_test_is_good_to_the_end_of_the_loan(tested, days, goes_out):
    thing = make_thing(Kind.DIAL_GAUGE)
    make_test(thing, day(tested), now=NOW - timedelta(days=30))
    if goes_out:
        assert make_loan(thing, days=days).pk
    else:
        with pytest.raises(ValidationError, match="lapses on"):
            make_loan(thing, days=days)
        assert not Loan.objects.exists()


def test_a_weighted_gauge_needs_no_test():
    assert make_loan(make_thing(Kind.WEIGHTED_GAUGE)).pk


def test_what_is_in_repair_is_not_handed_over_even_to_its_holder():
    hold = make_hold()
    services.thing_repair(by=make_keeper(), thing=hold.thing, note="Leaks.", now=NOW)
    with pytest.raises(ValidationError, match="in repair"):
        make_loan(hold.thing, hold.person)
    hold.refresh_from_db()
    assert hold.state == "held"


def test_a_return_frees_the_days_not_used_and_keeps_those_for_cleaning():
    loan = make_loan(make_thing(turnaround_own=2), days=10)
    give_back(loan, after=3)
    assert days_taken(loan.thing) == [0, 1, 2, 3, 4, 5]
    assert make_hold(loan.thing, 6, 7).pk


def test_what_comes_back_clean_may_go_out_again_the_same_day():
    loan = make_loan(make_thing(turnaround_own=1), days=5)
    give_back(loan, after=0, is_ready=True)
    assert days_taken(loan.thing) == []
    assert make_loan(loan.thing).pk


def test_late_cleaning_gives_way_to_a_hold_that_was_there_first():
    thing = make_thing(turnaround_own=1)
    loan = make_loan(thing, days=2)
    make_hold(thing, 4, 5)
    give_back(loan, after=4)
    assert [one.hold.state for one in ThingDay.objects.filter(thing=thing, day=day(4))] == ["held"]


def test_what_comes_back_broken_goes_to_repair_and_says_why():
    loan = make_loan()
    with pytest.raises(ValidationError, match="Say what is broken"):
        give_back(loan, condition="broken")
    give_back(loan, condition="broken", missing_parts="the rack")
    thing = Thing.objects.get(pk=loan.thing_id)
    assert (thing.state, thing.state_note) == ("in-repair", "missing: the rack")
    assert Loan.objects.get().missing_parts == "the rack"


def test_a_loan_is_kept_longer_only_when_nobody_holds_the_days():
    loan = make_loan(make_thing(turnaround_own=1), days=3)
    services.loan_extend(by=loan.person, loan=loan, due_on=day(5), now=NOW)
    assert days_taken(loan.thing) == [0, 1, 2, 3, 4, 5, 6]
    make_hold(loan.thing, 9, 10)
    with pytest.raises(services.Taken):
        services.loan_extend(by=loan.person, loan=loan, due_on=day(8), now=NOW)
    assert Loan.objects.get().due_on == day(5)
    assert days_taken(loan.thing) == [0, 1, 2, 3, 4, 5, 6, 9, 10, 11]


def test_a_loan_is_not_kept_longer_while_somebody_waits_for_its_kind():
    loan = make_loan(days=3)
    services.waiting_join(by=make_person(), kind=loan.thing.kind, days=3, not_before=day(0), not_after=day(4), now=NOW)
    with pytest.raises(ValidationError, match="Somebody waits"):
        services.loan_extend(by=loan.person, loan=loan, due_on=day(5), now=NOW)


def test_nobody_else_and_no_shorter_and_nothing_returned_is_extended():
    loan = make_loan(days=3)
    with pytest.raises(PermissionDenied):
        services.loan_extend(by=make_person(), loan=loan, due_on=day(5), now=NOW)
    with pytest.raises(ValidationError):
        services.loan_extend(by=loan.person, loan=loan, due_on=day(3), now=NOW)
    stale = Loan.objects.get()
    give_back(loan)
    with pytest.raises(services.AlreadyDone):
        services.loan_extend(by=stale.person, loan=stale, due_on=day(5), now=NOW)


def test_overdue_is_what_was_due_before_today():
    loan = make_loan(days=1)
    assert not Loan.objects.overdue(day(1)).exists()
    assert list(Loan.objects.overdue(day(2))) == [loan]


def test_a_hand_over_with_another_loan_s_form_is_refused_and_not_taken_for_done():
    token, thing = uuid4(), make_thing()
    make_loan(make_thing(), token=token)
    with pytest.raises(ValidationError):
        make_loan(thing, token=token)
    assert not Loan.objects.filter(thing=thing).exists()
