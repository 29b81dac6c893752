"""Looks at ferments, shakes of jars that condition, and stages that may be over."""

from __future__ import annotations

from datetime import timedelta

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES
from inventory.batches.services import batch_abandon
from tests.club.reminders.helpers import gathered, message, only
from tests.factories.batches import APPLES, NOW, finish, make_staged
from tests.inventory.batches.test_stages import look

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
DUE = NOW + HOUR + 2 * DAY  # two days after the ferment began


@pytest.fixture
def kraut():
    batch = make_staged()
    finish(batch, at=NOW + HOUR)
    return batch


def test_a_look_is_due_two_days_after_the_last_and_called_for_three_times(kraut):
    cook = kraut.made_by.email
    assert gathered(DUE - timedelta(seconds=1)) == []
    assert gathered(DUE) == [("ferment-look", cook)]
    outbox.gather(DUE + HOUR)
    assert Reminder.objects.count() == 1
    letter = message("ferment-look", DUE)
    assert kraut.lot_code in letter.subject
    assert "Oregon State" in letter.text
    assert letter.link.endswith(f"/batches/{kraut.lot_code}/look/")
    with only("ferment-look"):
        for days in range(1, 15):
            outbox.gather(DUE + days * DAY)
    assert Reminder.objects.filter(rule="ferment-look").count() == 3


def test_who_looked_meanwhile_is_not_called(kraut):
    outbox.gather(DUE)
    reminder = Reminder.objects.get()
    assert RULES["ferment-look"].still_due(reminder, DUE)

    look(kraut, at=DUE)

    assert not RULES["ferment-look"].still_due(reminder, DUE)


def test_a_jar_that_conditions_is_shaken_each_day_and_over_after_its_shortest_time():
    batch = make_staged("dry", APPLES)
    finish(batch, at=NOW)
    finish(batch, at=NOW, passed=True)
    assert [rule for rule, _who in gathered(NOW + DAY)] == ["jar-shake"]
    assert "Michigan State" in message("jar-shake", NOW + DAY).text
    look(batch, at=NOW + DAY, moisture="none")

    assert ("stage-over", batch.made_by.email) in gathered(NOW + 7 * DAY)

    assert "condition" in message("stage-over", NOW + 7 * DAY).text


def test_a_batch_given_up_asks_for_nothing(kraut):
    batch_abandon(by=kraut.made_by, batch=kraut, reason="Slimy", now=NOW + DAY)
    assert gathered(NOW + 30 * DAY) == []
