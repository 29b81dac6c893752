"""Frozen fruit past its best: told once, at nine by the club's clock, to whoever put it in."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from inventory.fruit.models import FreezerItem
from inventory.fruit.services import freezer_item_take
from tests.club.reminders.helpers import only
from tests.factories.freezer import make_freezer_item
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
DENVER = ZoneInfo("America/Denver")
FROZEN = date(2025, 7, 12)
MORNING = datetime(2026, 7, 12, 9, 0, tzinfo=DENVER)
NIGHT = datetime(2026, 7, 12, 4, 30, tzinfo=ZoneInfo("UTC"))  # the evening before in Denver


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def item(cook):
    kitchen = make_kitchen(cook, make_person(name="Fellow"))
    return make_freezer_item(by=cook, kitchen=kitchen, frozen_on=FROZEN, now=MORNING - timedelta(days=300))


def gathered(now: datetime) -> list[str]:
    outbox.gather(now)
    return sorted(Reminder.objects.filter(rule="freezer-ageing").values_list("person__name", flat=True))


def is_still_due(now: datetime = MORNING) -> bool:
    return RULES["freezer-ageing"].still_due(Reminder.objects.get(rule="freezer-ageing"), now)


def test_it_may_be_muted_and_waits():
    assert (RULES["freezer-ageing"].may_mute, RULES["freezer-ageing"].may_wait) == (True, True)


def test_it_is_told_once_on_the_morning_it_passes_to_whoever_put_it_in(item):
    assert gathered(NIGHT) == []
    assert gathered(MORNING - timedelta(minutes=1)) == []
    assert gathered(MORNING) == ["Cook"]
    with only("freezer-ageing"):
        for days in range(1, 60, 5):
            gathered(MORNING + timedelta(days=days))
    assert gathered(MORNING) == ["Cook"]
    assert Reminder.objects.get(rule="freezer-ageing").due_at == MORNING


def test_what_is_keyed_in_late_is_told_from_then_on_and_not_as_late(cook):
    keyed_in = MORNING + timedelta(days=3)
    make_freezer_item(by=cook, frozen_on=FROZEN, now=keyed_in)
    assert gathered(keyed_in) == ["Cook"]
    assert Reminder.objects.get(rule="freezer-ageing").due_at == keyed_in


def test_a_list_of_an_old_freezer_sends_nothing(cook):
    make_freezer_item(by=cook, frozen_on=FROZEN - timedelta(days=31))
    assert gathered(MORNING) == []


def test_what_keeps_for_another_time_is_told_at_its_own(cook):
    lemons = make_freezer_item(by=cook, frozen_on=date(2026, 3, 12))
    FreezerItem.objects.filter(pk=lemons.pk).update(produce="lemons")
    make_freezer_item(by=cook, frozen_on=date(2026, 3, 12))
    assert gathered(MORNING) == ["Cook"]
    assert Reminder.objects.get(rule="freezer-ageing").subject == f"freezer:{lemons.pk}"


def test_what_was_taken_out_or_mended_meanwhile_is_not_told(item, cook):
    gathered(MORNING)
    assert is_still_due()
    FreezerItem.objects.filter(pk=item.pk).update(frozen_on=FROZEN + timedelta(days=20))
    assert not is_still_due()
    FreezerItem.objects.filter(pk=item.pk).update(frozen_on=FROZEN)
    freezer_item_take(by=cook, item=item, grams=2400, token=uuid4())
    assert not is_still_due()


def test_who_left_the_kitchen_or_the_club_is_not_told(item, cook):
    gathered(MORNING)
    item.kitchen.people.remove(cook)
    assert not is_still_due()
    item.kitchen.people.add(cook)
    assert is_still_due()
    type(cook).objects.filter(pk=cook.pk).update(is_active=False)
    assert not is_still_due()


def test_the_mail_says_what_where_and_that_it_is_no_danger(item):
    gathered(MORNING)
    reminder = Reminder.objects.get(rule="freezer-ageing")
    told = RULES["freezer-ageing"].message(reminder, MORNING)
    assert told.subject == "Past its best in the freezer: plums"
    assert "2.4 kg of plums in Plum Lane" in told.text
    assert "not unsafe" in told.text
    assert told.link == f"https://club.example.test/fruit/freezer/{item.pk}/"
    assert [text for _one, text in with_titles([reminder])] == ["fruit past its best in the freezer, plums"]


def test_asking_takes_one_question_however_many_lots(item, cook, django_assert_num_queries):
    for _n in range(10):
        make_freezer_item(by=cook, frozen_on=FROZEN)
    with django_assert_num_queries(1):
        assert len(list(RULES["freezer-ageing"].due(MORNING))) == 11
