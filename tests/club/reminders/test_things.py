"""Reminders about things lent: to whom, when, in kind words, and not when it was settled meanwhile."""

from __future__ import annotations

from datetime import UTC, timedelta

import pytest

from club.members.choices import Role
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from inventory.equipment import services as equipment
from inventory.equipment.choices import Kind
from inventory.equipment.models import Loan, WaitingEntry
from tests.club.reminders.helpers import at, gathered, message, run_periodic_jobs
from tests.factories.equipment import BAD, NOW, TODAY, day, make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def test_each_keeper_is_told_of_a_lapsing_test_a_month_and_a_week_before():
    keepers = sorted(make_keeper(email=f"k{n}@example.test").email for n in range(2))
    make_person(Role.ORGANISER)
    thing = make_thing(Kind.DIAL_GAUGE, by=make_keeper(email="k2@example.test"), code="DGC-9")
    keepers.append("k2@example.test")
    tested = make_test(thing, by=thing.condition_notes.get().by)
    lapses = (tested.lapses_on - TODAY).days
    assert gathered(at(lapses - 30, 8, 59)) == []
    assert gathered(at(lapses - 30, 9)) == [("gauge-due", one) for one in keepers]
    assert len(gathered(at(lapses - 8, 9))) == 3
    assert len(gathered(at(lapses - 7, 9))) == 6
    told = message("gauge-due", at(lapses - 7, 9))
    assert "DGC-9" in told.subject
    assert "Tuesday 14 September" in told.text
    assert told.link.endswith("/equipment/t/DGC-9/test/")


def test_a_test_made_anew_settles_the_call():
    keeper = make_keeper()
    thing = make_thing(Kind.DIAL_GAUGE, by=keeper)
    make_test(thing, by=keeper)
    outbox.gather(at(340, 9))
    [call] = Reminder.objects.all()
    assert RULES["gauge-due"].still_due(call, at(340, 9))
    make_test(thing, day(340), by=keeper, now=at(340, 9))
    assert not RULES["gauge-due"].still_due(call, at(340, 10))


def test_a_failed_or_lapsed_test_is_no_lapsing_one():
    keeper = make_keeper()
    make_test(make_thing(Kind.DIAL_GAUGE, by=keeper), readings=BAD, by=keeper)
    make_test(make_thing(Kind.DIAL_GAUGE, by=keeper), by=keeper)
    assert gathered(at(366, 9)) == []


def test_an_offer_is_told_at_once_and_not_after_it_moved_on():
    thing, person = make_thing(name="Dehydrator"), make_person()
    equipment.waiting_join(by=person, kind=thing.kind, days=2, not_before=day(0), not_after=day(9), now=NOW)
    assert gathered(NOW) == [("thing-offer", person.email)]
    told = message("thing-offer", NOW)
    assert "Monday 14 September to Tuesday 15 September" in told.text
    assert "until Tuesday 15 September, 12:00 (MDT)" in told.text
    [call] = Reminder.objects.all()
    assert RULES["thing-offer"].still_due(call, NOW + timedelta(hours=23))
    assert not RULES["thing-offer"].still_due(call, NOW + timedelta(hours=24))


def test_the_periodic_job_moves_the_lines_on(mailoutbox):
    thing = make_thing()
    first, second = make_person(), make_person()
    for person in (first, second):
        told = {"kind": thing.kind, "days": 1, "not_before": day(0), "not_after": day(1), "now": NOW}
        equipment.waiting_join(by=person, **told)
    assert run_periodic_jobs(NOW + timedelta(hours=24)) == []
    assert [entry.state for entry in WaitingEntry.objects.order_by("pk")] == ["lapsed", "offered"]
    assert [mail.to for mail in mailoutbox] == [[second.email]]


def test_a_line_that_cannot_move_does_not_hold_up_the_mails(monkeypatch, mailoutbox):
    make_loan(days=1)

    def broken(now):
        raise RuntimeError("no line today")

    monkeypatch.setattr("inventory.equipment.tasks.waiting_move_on", broken)
    [error] = run_periodic_jobs(at(0, 18))
    assert str(error) == "no line today"
    assert len(mailoutbox) == 1


def test_the_list_of_reminders_says_what_each_is_about(django_assert_max_num_queries):
    loan = make_loan(make_thing(code="MIL-7"), days=1)
    outbox.gather(at(0, 18).astimezone(UTC))
    with django_assert_max_num_queries(6):
        [(_reminder, about)] = with_titles(Reminder.objects.all())
    assert about == "bring a thing back, MIL-7"
    assert Loan.objects.get() == loan
