"""Supplies that run low or lapse: the keepers are told once each time, and not when it was mended meanwhile."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import uuid4

import pytest
from django.core import mail
from django.utils import timezone

from club.core.clock import club_day
from club.members.choices import Role
from club.reminders import outbox as reminders_outbox
from club.reminders.models import Reminder, ReminderState
from club.reminders.services import RULES, with_titles
from inventory.jars import services as jars
from tests.factories.jars import make_keeper, make_stock, make_supply
from tests.factories.members import make_person
from tests.factories.reminders import awake

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper():
    return awake(make_keeper(name="Kit Keeper", email="keeper@example.test"))


def test_a_supply_that_runs_low_is_told_to_each_keeper_once_and_again_the_next_time(keeper):
    other, now = awake(make_person(Role.KEEPER)), timezone.now()
    make_person(Role.ORGANISER)
    pectin = make_supply("Pectin & co", by=keeper, low_level=3)
    make_stock(pectin, 5, by=keeper)
    reminders_outbox.gather(now)
    assert not Reminder.objects.exists()
    jars.supply_use(by=keeper, supply=pectin, count=3, token=uuid4())
    for _tick in range(2):
        reminders_outbox.gather(now)
    assert set(Reminder.objects.values_list("person", flat=True)) == {keeper.pk, other.pk}
    assert reminders_outbox.send_due(now + timedelta(seconds=1))["sent"] == 2
    letter = next(one for one in mail.outbox if one.to == [keeper.email])
    assert letter.subject == "Running low: Pectin & co"
    assert "Hello Kit," in letter.body
    assert "2 packets left" in letter.body
    assert pectin.get_absolute_url() in letter.body
    make_stock(pectin, 9, by=keeper)
    jars.supply_use(by=keeper, supply=pectin, count=9, token=uuid4())
    reminders_outbox.gather(now)
    assert Reminder.objects.filter(state=ReminderState.DUE).count() == 2


def test_what_was_bought_meanwhile_is_not_reminded_of(keeper):
    now = timezone.now()
    pectin = make_supply(by=keeper, low_level=3)
    make_stock(pectin, 1, by=keeper)
    reminders_outbox.gather(now)
    make_stock(pectin, 9, by=keeper)
    reminders_outbox.send_due(now + timedelta(seconds=1))
    assert [one.state for one in Reminder.objects.all()] == [ReminderState.SETTLED]
    assert mail.outbox == []


def test_a_lot_past_its_date_is_told_from_the_next_day_of_the_club_on_until_it_is_thrown_away(keeper):
    today = club_day()
    pectin = make_supply("Pectin", by=keeper)
    make_stock(pectin, 50, by=keeper)
    lot = make_stock(pectin, 4, by=keeper, use_by=today)
    midnight = datetime.combine(today + timedelta(days=1), datetime.min.time(), timezone.get_default_timezone())
    assert list(RULES["supply-past"].due(midnight - timedelta(seconds=1))) == []
    [due] = RULES["supply-past"].due(midnight)
    assert (due.person_id, due.due_at, due.occurrence) == (keeper.pk, midnight, today.isoformat())
    reminders_outbox.gather(midnight)
    reminder = Reminder.objects.get()
    [(_one, words)] = with_titles([reminder])
    assert words == "take what is past its date off the shelf, Pectin"
    assert RULES["supply-past"].still_due(reminder, midnight)
    assert "Take them off the shelf" in RULES["supply-past"].message(reminder, midnight).text
    jars.supply_spoil(by=keeper, lot=lot, count=4, token=uuid4())
    assert not RULES["supply-past"].still_due(reminder, midnight)


def test_who_is_no_keeper_any_more_is_not_written_to(keeper):
    now = timezone.now()
    make_stock(make_supply(by=keeper, low_level=3), 1, by=keeper)
    reminders_outbox.gather(now)
    reminder = Reminder.objects.get()
    assert RULES["supply-low"].still_due(reminder, now)
    keeper.groups.clear()
    assert not RULES["supply-low"].still_due(Reminder.objects.get(), now)
