"""Loans and holds: to whom, when by the club's clock, in which words, and not when it was settled meanwhile."""

from __future__ import annotations

from datetime import datetime

import pytest

from club.members.models import User
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from inventory.equipment import services as equipment
from inventory.equipment.choices import Kind
from inventory.equipment.models import Loan
from tests.club.reminders.helpers import DENVER, at, gathered, message, only
from tests.factories.equipment import day, make_hold, make_keeper, make_loan, make_test, make_thing

pytestmark = pytest.mark.django_db


def calls(rule: str) -> list[datetime]:
    return list(Reminder.objects.filter(rule=rule).order_by("due_at").values_list("due_at", flat=True))


def still_due(rule: str, now: datetime) -> list[bool]:
    return [RULES[rule].still_due(one, now) for one in Reminder.objects.filter(rule=rule).order_by("due_at")]


def test_a_loan_is_called_back_the_evening_before_at_six_by_the_club_s_clock():
    loan = make_loan(make_thing(name="Food mill"), days=3)
    assert gathered(at(2, 17, 59)) == []
    assert gathered(at(2, 18)) == [("loan-due", loan.person.email)]
    assert Reminder.objects.get().due_at == at(2, 18)
    told = message("loan-due", at(2, 18))
    assert told.subject == "Due back Thursday 17 September: Food mill"
    assert "nobody waits" in told.text
    assert told.link == "https://club.example.test/equipment/mine/"
    assert told.link in told.html


def test_on_the_day_at_eight_it_is_called_back_once_more():
    make_loan(make_thing(name="Food mill"), days=3)
    outbox.gather(at(2, 18))
    outbox.gather(at(3, 7, 59))
    assert calls("loan-due-today") == []
    for hour in (8, 9, 23):
        outbox.gather(at(3, hour))
    assert calls("loan-due-today") == [at(3, 8)]
    told = message("loan-due-today", at(3, 8))
    assert told.subject == "Due back today: Food mill"
    assert "today, Thursday 17 September" in told.text
    assert still_due("loan-due-today", at(3, 23)) == [True]
    assert still_due("loan-due-today", at(4, 0)) == [False]


def test_a_site_that_slept_until_the_morning_sends_only_that_mornings_call():
    make_loan(days=3)
    assert [rule for rule, _person in gathered(at(3, 8))] == ["loan-due-today"]


def test_the_evenings_call_is_not_sent_once_the_mornings_speaks():
    make_loan(days=3)
    outbox.gather(at(2, 18))
    assert still_due("loan-due", at(3, 7, 59)) == [True]
    assert still_due("loan-due", at(3, 8)) == [False]


def test_who_takes_a_thing_for_a_day_is_not_told_at_the_counter_when_it_is_due():
    make_loan(days=0, now=at(0, 12))
    make_loan(days=1, now=at(0, 19))
    assert gathered(at(0, 19, 1)) == []
    outbox.gather(at(1, 8))
    assert calls("loan-due-today") == [at(1, 8)]


def test_a_loan_returned_or_extended_meanwhile_is_not_called_back():
    returned, extended, kept = make_loan(days=3), make_loan(days=3), make_loan(days=3)
    outbox.gather(at(2, 18))
    assert still_due("loan-due", at(2, 18, 1)) == [True, True, True]
    equipment.loan_return(by=make_keeper(), loan=returned, condition="good", now=at(2, 18, 1))
    equipment.loan_extend(by=extended.person, loan=extended, due_on=day(6), now=at(2, 18, 1))
    due = {one.person: RULES["loan-due"].still_due(one, at(2, 18, 2)) for one in Reminder.objects.all()}
    assert due == {returned.person: False, extended.person: False, kept.person: True}
    assert ("loan-due", extended.person.email) in gathered(at(5, 18))
    assert calls("loan-due")[-1] == at(5, 18)  # of the new day


def test_overdue_is_told_the_morning_after_and_a_week_and_two_weeks_later_first_kindly_then_plainly():
    loan = make_loan(make_thing(name="Food mill"), days=3)
    assert "loan-overdue" not in dict(gathered(at(4, 8, 59)))
    with only("loan-overdue"):
        for morning in range(4, 60):
            outbox.gather(at(morning, 9))
    assert calls("loan-overdue") == [at(4, 9), at(11, 9), at(18, 9)]
    first, second, third = Reminder.objects.filter(rule="loan-overdue").order_by("due_at")
    kind, plain, plainer = (RULES["loan-overdue"].message(one, at(18, 9)) for one in (first, second, third))
    assert kind.subject == "Still with you? Food mill"
    assert "easily forgotten" in kind.text
    assert plain.subject == plainer.subject == "Overdue since Thursday 17 September: Food mill"
    assert "That is a week ago." in plain.text
    assert "That is 2 weeks ago." in plainer.text
    assert "easily forgotten" not in plain.text
    assert still_due("loan-overdue", at(4, 10)) == [True] * 3
    equipment.loan_return(by=make_keeper(), loan=loan, condition="good", now=at(5, 9))
    assert still_due("loan-overdue", at(5, 10)) == [False] * 3


def test_after_three_weeks_each_keeper_is_told_once_whom_to_ring():
    keepers = [make_keeper(email=f"k{n}@example.test") for n in range(2)]
    loan = make_loan(make_thing(name="Food mill", by=keepers[0]), days=3, by=keepers[0])
    outbox.gather(at(25, 8, 59))
    assert calls("loan-overdue-keepers") == []
    with only("loan-overdue-keepers"):
        for morning in range(25, 80):
            outbox.gather(at(morning, 9))
    assert calls("loan-overdue-keepers") == [at(25, 9)] * 2
    told = message("loan-overdue-keepers", at(25, 9))
    assert told.subject == "Not back after three weeks: Food mill"
    assert "from Ada Plum on Thursday 17 September" in told.text
    assert loan.person.email in told.text
    assert told.link == "https://club.example.test/equipment/overdue/"
    assert still_due("loan-overdue-keepers", at(25, 10)) == [True] * 2
    keepers[0].groups.clear()
    assert sorted(still_due("loan-overdue-keepers", at(25, 10))) == [False, True]
    equipment.loan_return(by=keepers[1], loan=loan, condition="good", now=at(25, 11))
    assert still_due("loan-overdue-keepers", at(25, 12)) == [False] * 2


def test_the_keepers_hear_of_a_thing_whose_borrower_has_left_and_the_borrower_does_not():
    keeper = make_keeper()
    loan = make_loan(make_thing(by=keeper), days=3, by=keeper)
    User.objects.filter(pk=loan.person_id).update(is_active=False)
    assert gathered(at(10, 9)) == []
    assert gathered(at(25, 9)) == [("loan-overdue-keepers", keeper.email)]


def test_a_hold_is_ready_the_evening_before_it_begins():
    hold = make_hold(make_thing(name="Food mill", place="top shelf"), 3, 5)
    assert gathered(at(2, 17, 59)) == []
    assert gathered(at(2, 18)) == [("hold-ready", hold.person.email)]
    assert calls("hold-ready") == [at(2, 18)]
    told = message("hold-ready", at(2, 18))
    assert told.subject == "Ready for you on Thursday 17 September: Food mill"
    assert "from Thursday 17 September to Saturday 19 September" in told.text
    assert "It stands in: top shelf." in told.text
    assert told.link == "https://club.example.test/equipment/mine/"
    assert still_due("hold-ready", at(3, 23)) == [True]
    assert still_due("hold-ready", at(4, 0)) == [False]


def test_a_hold_laid_down_for_today_needs_no_reminding():
    make_hold(first=0, last=2, now=at(0, 12))
    assert gathered(at(0, 12, 1)) == []


@pytest.mark.parametrize("how", ["out", "in repair", "untested"])
def test_a_hold_whose_thing_is_not_there_to_be_fetched_is_not_ready(how):
    keeper = make_keeper()
    thing = make_thing(Kind.DIAL_GAUGE, by=keeper)
    make_test(thing, by=keeper)
    make_hold(thing, 5, 6)
    if how == "out":
        loan = make_loan(thing, days=2, by=keeper)
    elif how == "in repair":
        equipment.thing_repair(by=keeper, thing=thing, note="The handle is loose.", now=at(1, 9))
    else:
        thing.tests.all().delete()
    outbox.gather(at(4, 18))
    assert calls("hold-ready") == []
    if how == "out":
        equipment.loan_return(by=keeper, loan=loan, condition="good", now=at(5, 9))
        outbox.gather(at(5, 9, 1))
        assert calls("hold-ready") == [at(4, 18)]  # late, as the thing was


def test_a_hold_cancelled_or_fetched_meanwhile_is_not_called():
    keeper = make_keeper()
    cancelled, fetched, waits = (make_hold(make_thing(by=keeper), 3, 5) for _ in range(3))
    outbox.gather(at(2, 18))
    equipment.hold_cancel(by=cancelled.person, hold=cancelled, now=at(2, 18, 1))
    make_loan(fetched.thing, fetched.person, days=2, by=keeper, now=at(3, 9))
    due = {one.person: RULES["hold-ready"].still_due(one, at(3, 10)) for one in Reminder.objects.all()}
    assert {person: due[person] for person in (cancelled.person, fetched.person, waits.person)} == {
        cancelled.person: False,
        fetched.person: False,
        waits.person: True,
    }


def test_six_in_the_evening_is_six_on_the_wall_after_the_clock_was_put_back():
    # In Denver the clock goes back on 1 November 2026.
    make_loan(days=2, now=datetime(2026, 10, 31, 12, tzinfo=DENVER))
    outbox.gather(datetime(2026, 11, 1, 17, 59, tzinfo=DENVER))
    assert calls("loan-due") == []
    outbox.gather(datetime(2026, 11, 1, 18, 0, tzinfo=DENVER))
    assert calls("loan-due") == [datetime(2026, 11, 1, 18, 0, tzinfo=DENVER)]


@pytest.mark.parametrize("rows", [1, 30])
def test_each_rule_costs_two_queries_at_most_for_one_row_and_for_thirty(rows, django_assert_max_num_queries):
    keeper = make_keeper()
    for _ in range(rows):
        make_loan(make_thing(by=keeper), days=3, by=keeper)
        make_hold(make_thing(by=keeper), 20, 21)
    hours = {
        "loan-due": at(2, 18),
        "loan-due-today": at(3, 8),
        "loan-overdue": at(4, 9),
        "loan-overdue-keepers": at(25, 9),
        "hold-ready": at(19, 18),
    }
    for rule, hour in hours.items():
        with django_assert_max_num_queries(2):
            assert len(list(RULES[rule].due(hour))) == rows, rule


def test_the_list_of_reminders_says_what_each_is_about():
    make_loan(make_thing(code="MIL-7"), days=1)
    make_hold(make_thing(code="CAN-2"), 1, 2)
    outbox.gather(at(0, 18))
    told = sorted(about for _reminder, about in with_titles(Reminder.objects.all()))
    assert told == ["bring a thing back, MIL-7", "collect a thing that you hold, CAN-2"]
    assert Loan.objects.count() == 1
