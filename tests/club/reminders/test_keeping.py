"""Jars that wait: to be processed again before it is too late, and to be eaten within their year."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from club.members.choices import Role
from club.members.models import User
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES
from inventory.batches.models import Batch
from inventory.batches.services import jars_put_away
from inventory.jars import services as jars
from inventory.jars.models import Balance, Place
from tests.club.reminders.helpers import only
from tests.factories.batches import make_batch_checked, make_batch_out, make_freezer_revision, make_recall
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db

DENVER = ZoneInfo("America/Denver")
OUT = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)  # noon in the club's zone


def hours(number: float) -> datetime:
    return OUT + timedelta(hours=number)


def told_of(rule: str, now: datetime) -> list[User]:
    outbox.gather(now)
    return [one.person for one in Reminder.objects.filter(rule=rule).select_related("person").order_by("person")]


def still_due(now: datetime) -> list[bool]:
    return [RULES[one.rule].still_due(one, now) for one in Reminder.objects.exclude(rule__startswith="seal")]


# --- the last two hours of reprocessing


def test_two_hours_before_reprocessing_lapses_the_maker_is_told_of_the_jars_that_wait():
    batch = make_batch_checked(out_at=OUT, unsealed={1: "reprocess", 2: "reprocess", 3: "refrigerate"})
    assert told_of("reprocess-closing", hours(22) - timedelta(seconds=1)) == []
    assert told_of("reprocess-closing", hours(22)) == [batch.made_by]
    assert told_of("reprocess-closing", hours(23)) == [batch.made_by]
    reminder = Reminder.objects.get(rule="reprocess-closing")
    assert reminder.due_at == hours(22)
    message = RULES["reprocess-closing"].message(reminder, hours(22))
    assert "2 jars of" in message.text
    assert "lapses on Tuesday 15 September, 12:00 (MDT)" in message.text
    assert "the same full time, a new prepared lid" in message.text
    assert message.link == f"https://club.example.test/batches/{batch.lot_code}/reprocess/"


def test_it_lapses_at_24_hours_sharp_and_is_not_told_after():
    make_batch_checked(out_at=OUT, unsealed={1: "reprocess"})
    outbox.gather(hours(23))
    assert still_due(hours(24) - timedelta(seconds=1)) == [True]
    assert still_due(hours(24)) == [False]
    Reminder.objects.all().delete()
    assert told_of("reprocess-closing", hours(24)) == []


def test_the_two_hours_are_elapsed_hours_over_a_clock_change():
    out = datetime(2026, 10, 31, 12, 0, tzinfo=DENVER).astimezone(UTC)
    make_batch_checked(out_at=out, unsealed={1: "reprocess"})
    assert told_of("reprocess-closing", datetime(2026, 11, 1, 8, 59, tzinfo=DENVER)) == []
    assert len(told_of("reprocess-closing", datetime(2026, 11, 1, 9, 0, tzinfo=DENVER))) == 1  # 22 hours, not 21


def test_jars_that_were_called_back_are_not_called_to_be_processed_again():
    batch = make_batch_checked(out_at=OUT, unsealed={1: "reprocess"})
    outbox.gather(hours(22))
    assert still_due(hours(22)) == [True]
    make_recall(batch=batch, now=hours(22))
    assert still_due(hours(22)) == [False]


def test_jars_put_away_meanwhile_are_not_called():
    batch = make_batch_checked(out_at=OUT, unsealed={1: "reprocess"})
    outbox.gather(hours(22))
    assert still_due(hours(22.1)) == [True]
    jars_put_away(by=batch.made_by, batch=batch, disposals={1: "refrigerate"}, now=hours(22.2))
    assert still_due(hours(22.3)) == [False]


def test_a_batch_without_a_jar_to_reprocess_is_not_called():
    make_batch_checked(out_at=OUT, unsealed={1: "freeze"})
    make_batch_checked(out_at=OUT)
    assert told_of("reprocess-closing", hours(22)) == []


def test_the_last_two_hours_cannot_wait_for_the_morning():
    assert not RULES["reprocess-closing"].may_wait


# --- a year on the shelf

A_YEAR_ON = datetime(2027, 9, 15, 9, 0, tzinfo=DENVER)  # the morning after 14 September 2027


def test_the_morning_after_its_year_the_cooks_of_the_kitchen_are_told_once_a_batch():
    cook, other = make_person(), make_person()
    batch = make_batch_checked(out_at=OUT, by=cook, kitchen=make_kitchen(cook, other))
    make_person(Role.KEEPER)
    assert told_of("jars-past-a-year", A_YEAR_ON - timedelta(seconds=1)) == []
    assert told_of("jars-past-a-year", A_YEAR_ON) == [cook, other]
    with only("jars-past-a-year"):
        for days in range(1, 60):
            outbox.gather(A_YEAR_ON + timedelta(days=days))
    assert Reminder.objects.filter(rule="jars-past-a-year").count() == 2
    reminder = Reminder.objects.filter(rule="jars-past-a-year").first()
    message = RULES["jars-past-a-year"].message(reminder, A_YEAR_ON)
    assert batch.lot_code in message.subject
    assert "at their best until 14 September 2027" in message.text
    assert "Health Canada 2012" in message.text
    assert message.link == f"https://club.example.test/batches/{batch.lot_code}/"


def test_whoever_was_given_full_jars_is_told_and_whoever_has_none_left_is_not():
    cook, guest = make_person(), make_person()
    batch = make_batch_checked(out_at=OUT, by=cook, kitchen=make_kitchen(cook))
    move_all(batch, jars.person_place(guest))
    assert told_of("jars-past-a-year", A_YEAR_ON) == [guest]
    assert still_due(A_YEAR_ON) == [True]
    move_all(batch, jars.outside_place("given-away"), reason="given")
    assert still_due(A_YEAR_ON) == [False]


def test_of_jars_that_were_called_back_nobody_is_told_to_eat_them_first():
    cook = make_person()
    batch = make_batch_checked(out_at=OUT, by=cook, kitchen=make_kitchen(cook))
    assert told_of("jars-past-a-year", A_YEAR_ON) == [cook]
    make_recall(batch=batch, now=A_YEAR_ON)
    assert still_due(A_YEAR_ON) == [False]
    Reminder.objects.all().delete()
    assert told_of("jars-past-a-year", A_YEAR_ON) == []


def test_jars_in_the_store_or_in_a_hall_are_the_keepers():
    cook, keeper = make_person(), make_person(Role.KEEPER)
    batch = make_batch_checked(out_at=OUT, by=cook, kitchen=make_kitchen(cook))
    move_all(batch, jars.store_place())
    hall = make_kitchen(is_hall=True)
    in_hall = make_batch_checked(out_at=OUT, by=make_person(), kitchen=hall)
    assert told_of("jars-past-a-year", A_YEAR_ON) == [keeper, keeper]
    assert still_due(A_YEAR_ON) == [True, True]
    assert {one.subject for one in Reminder.objects.all()} == {f"batch:{batch.pk}", f"batch:{in_hall.pk}"}


def test_jars_of_somebody_who_left_are_the_keepers():
    cook, guest, keeper = make_person(), make_person(), make_person(Role.KEEPER)
    batch = make_batch_checked(out_at=OUT, by=cook, kitchen=make_kitchen(cook))
    move_all(batch, jars.person_place(guest))
    User.objects.filter(pk=guest.pk).update(is_active=False)
    assert told_of("jars-past-a-year", A_YEAR_ON) == [keeper]


def test_empty_jars_frozen_ones_and_those_never_shelved_have_no_year():
    cook = make_person()
    kitchen = make_kitchen(cook)
    eaten = make_batch_checked(out_at=OUT, by=cook, kitchen=kitchen)
    Balance.objects.filter(batch=eaten).update(count=0)
    make_batch_out(out_at=OUT, by=cook, kitchen=kitchen, revision=make_freezer_revision())
    make_batch_checked(out_at=OUT, by=cook, kitchen=kitchen, unsealed=dict.fromkeys(range(1, 5), "freeze"))
    make_batch_out(out_at=OUT, by=cook, kitchen=kitchen)  # nobody ever looked at its seals
    assert told_of("jars-past-a-year", A_YEAR_ON) == []
    make_batch_checked(out_at=OUT, by=cook, kitchen=kitchen)
    assert told_of("jars-past-a-year", A_YEAR_ON) == [cook]


@pytest.mark.parametrize(
    ("out", "first_morning"),
    [
        ("2024-02-28", "2025-03-01"),
        ("2024-02-29", "2025-03-01"),
        ("2024-03-01", "2025-03-02"),
        ("2027-02-28", "2028-02-29"),
        ("2027-03-01", "2028-03-02"),
    ],
)
def test_the_year_ends_by_the_calendar_leap_days_too(out, first_morning):
    cook = make_person()
    make_batch_checked(out_at=datetime.fromisoformat(out).replace(hour=12, tzinfo=DENVER), by=cook)
    morning = datetime.fromisoformat(first_morning).replace(hour=9, tzinfo=DENVER)
    assert told_of("jars-past-a-year", morning - timedelta(minutes=1)) == []
    assert told_of("jars-past-a-year", morning) == [cook]


def test_a_site_that_slept_for_a_month_says_it_and_one_that_slept_for_longer_does_not():
    cook = make_person()
    make_batch_checked(out_at=OUT, by=cook)
    assert told_of("jars-past-a-year", A_YEAR_ON + timedelta(days=31)) == []
    assert told_of("jars-past-a-year", A_YEAR_ON + timedelta(days=29)) == [cook]


@pytest.mark.parametrize("rows", [1, 30])
def test_gathering_costs_the_same_for_thirty_batches_as_for_one(rows, django_assert_max_num_queries):
    cook = make_person()
    kitchen = make_kitchen(cook)
    for _ in range(rows):
        make_batch_checked(out_at=OUT, by=cook, kitchen=kitchen)
    with django_assert_max_num_queries(2):
        assert len(list(RULES["jars-past-a-year"].due(A_YEAR_ON))) == rows
    with django_assert_max_num_queries(1):
        assert list(RULES["reprocess-closing"].due(A_YEAR_ON)) == []


def move_all(batch: Batch, target: Place, reason: str = "moved") -> None:
    """All the full jars of the batch, from where they stand, by somebody who may and is no keeper to be told."""
    mover, _made = User.objects.get_or_create(email="mover@example.test", is_superuser=True)
    for balance in Balance.objects.there().filter(batch=batch, state="full"):
        told = {"size": balance.size, "count": balance.count, "state": "full", "batch_id": batch.pk}
        jars.jars_move(by=mover, reason=reason, source=balance.place, target=target, token=uuid4(), **told)
