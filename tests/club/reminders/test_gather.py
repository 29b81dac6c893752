from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection

from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.outbox import known
from club.reminders.services import RULES
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch
from tests.factories.members import make_person
from tests.factories.reminders import make_waiting_batch

pytestmark = pytest.mark.django_db

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)


def hours(number: float) -> datetime:
    return OUT + timedelta(hours=number)


def rules_written() -> list[str]:
    return list(Reminder.objects.order_by("due_at").values_list("rule", flat=True))


def test_nothing_is_due_before_twelve_hours():
    make_waiting_batch(OUT)
    assert outbox.gather(hours(12) - timedelta(seconds=1)) == 0
    assert not Reminder.objects.exists()


def test_at_twelve_hours_the_maker_is_due_a_look_at_the_seals():
    batch = make_waiting_batch(OUT)
    assert outbox.gather(hours(12)) == 1
    reminder = Reminder.objects.get()
    assert (reminder.rule, reminder.person, reminder.due_at) == ("seal-check", batch.made_by, hours(12))


def test_gathering_twice_writes_once():
    make_waiting_batch(OUT)
    assert [outbox.gather(hours(12)), outbox.gather(hours(12.1)), outbox.gather(hours(19))] == [1, 0, 0]
    assert Reminder.objects.count() == 1


def test_a_gather_that_raced_another_keeps_the_first(monkeypatch):
    make_waiting_batch(OUT)
    outbox.gather(hours(12))
    # The other process wrote between our look and our write: we see nothing known, and the key decides.
    monkeypatch.setattr(Reminder.objects, "filter", lambda *a, **k: Reminder.objects.none())
    outbox.gather(hours(12))
    monkeypatch.undo()
    assert Reminder.objects.count() == 1


def test_at_twenty_hours_a_second_call_is_due_if_nothing_was_recorded():
    make_waiting_batch(OUT)
    outbox.gather(hours(12))
    assert outbox.gather(hours(20)) == 1
    assert rules_written() == ["seal-check", "seal-second-call"]


def test_a_batch_looked_at_gets_no_second_call():
    batch = make_waiting_batch(OUT)
    outbox.gather(hours(12))
    Batch.objects.filter(pk=batch.pk).update(state=BatchState.CHECKED, checked_at=hours(13))
    assert outbox.gather(hours(20)) == 0


def test_a_site_that_slept_until_the_second_call_sends_only_that():
    make_waiting_batch(OUT)
    assert outbox.gather(hours(21)) == 1
    assert rules_written() == ["seal-second-call"]


def test_a_second_call_is_due_after_reprocessing_lapsed_but_not_weeks_later():
    make_waiting_batch(OUT)
    assert outbox.gather(hours(24 * 7)) == 0
    assert outbox.gather(hours(24 * 7 - 1)) == 1


def test_reprocessed_jars_are_due_a_look_of_their_own():
    batch = make_waiting_batch(OUT)
    outbox.gather(hours(12))
    again = hours(15)
    Batch.objects.filter(pk=batch.pk).update(reprocessed_out_at=again, reprocessed_minutes=10)
    assert outbox.gather(hours(26)) == 0
    assert outbox.gather(hours(27)) == 1
    assert Reminder.objects.latest("due_at").due_at == hours(27)


def test_a_person_who_left_is_due_nothing():
    batch = make_waiting_batch(OUT)
    type(batch.made_by).objects.update(is_active=False)
    assert outbox.gather(hours(13)) == 0


@pytest.mark.parametrize("state", [BatchState.ABANDONED, BatchState.CHECKED])
def test_a_batch_that_is_not_out_is_due_nothing(state):
    make_waiting_batch(OUT)
    Batch.objects.update(state=state, abandoned_at=OUT, abandoned_reason="The lids were the wrong ones.")
    assert outbox.gather(hours(13)) == 0


def test_twelve_hours_are_elapsed_hours_over_a_clock_change():
    # In Denver the clock goes back on 1 November 2026 at 02:00: 12 hours after 18:00 it shows 05:00, not 06:00.
    out = datetime(2026, 10, 31, 18, 0, tzinfo=ZoneInfo("America/Denver"))
    make_waiting_batch(out)
    assert outbox.gather(datetime(2026, 11, 1, 4, 59, tzinfo=ZoneInfo("America/Denver"))) == 0
    assert outbox.gather(datetime(2026, 11, 1, 5, 0, tzinfo=ZoneInfo("America/Denver"))) == 1


def test_a_rule_that_breaks_does_not_silence_the_others(monkeypatch):
    make_waiting_batch(OUT)
    broken, order = RULES["seal-check"], list(RULES)
    assert order.index(broken.name) < order.index("seal-second-call")  # the broken one is asked first

    def explode(now):
        raise RuntimeError("this rule is broken")

    monkeypatch.setattr(broken, "due", explode)
    with pytest.raises(RuntimeError, match="this rule is broken"):
        outbox.gather(hours(20))
    assert rules_written() == ["seal-second-call"]


@pytest.mark.parametrize("batches", [1, 30])
def test_gathering_asks_as_many_queries_for_thirty_batches_as_for_one(batches, django_assert_max_num_queries):
    person = make_person()
    for _ in range(batches):
        make_waiting_batch(OUT, by=person)
    # a question for each rule, one more for recalls, and what is known and written of the batches' one
    with django_assert_max_num_queries(len(RULES) + 5):
        assert outbox.gather(hours(12)) == batches


def test_what_is_known_already_is_read_from_the_unique_key_alone():
    make_waiting_batch(OUT)
    outbox.gather(hours(12))
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:  # a table of one row needs no index
            cursor.execute("SET LOCAL enable_seqscan = off")
            cursor.execute("SET LOCAL enable_bitmapscan = off")
    plan = known("seal-check", list(RULES["seal-check"].due(hours(12)))).explain()
    assert {"sqlite": "COVERING INDEX", "postgresql": "Index Only Scan"}[connection.vendor] in plan


def test_more_than_a_statement_holds_is_gathered_in_parts(monkeypatch):
    monkeypatch.setattr(outbox, "AT_ONCE", 2)
    for n in range(5):
        make_waiting_batch(OUT - timedelta(seconds=n))
    assert outbox.gather(hours(12)) == 5
    assert outbox.gather(hours(12)) == 0
