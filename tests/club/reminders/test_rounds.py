"""Two clocks, a clock that was wrong, a round whose holder died: the rules are asked once a minute all the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from club.reminders import outbox
from club.reminders.models import PeriodicJob
from club.reminders.outbox import JOB, round_begin, round_end, since_ended

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SECOND = timedelta(seconds=1)


@pytest.fixture
def asked(monkeypatch) -> list[datetime]:
    """When the rules were asked."""
    hours: list[datetime] = []
    monkeypatch.setattr(outbox, "gather", hours.append)
    return hours


def test_a_second_clock_that_ticks_with_the_first_asks_nothing(asked):
    for n in range(3):
        outbox.gather_and_send(NOW + n * MINUTE)
        outbox.gather_and_send(NOW + n * MINUTE + 20 * SECOND)
    assert asked == [NOW + n * MINUTE for n in range(3)]


def test_while_a_round_lasts_no_other_begins(asked):
    assert round_begin(now=NOW)
    assert round_begin(now=NOW + MINUTE) is False


def test_a_round_whose_holder_died_is_followed_by_another():
    round_begin(now=NOW)
    assert round_begin(now=NOW + 2 * MINUTE) is True


def test_the_holder_of_a_round_that_was_taken_over_ends_nothing():
    round_begin(now=NOW)
    round_begin(now=NOW + 2 * MINUTE)
    round_end(began=NOW, now=NOW + 2 * MINUTE + SECOND)
    assert round_begin(now=NOW + 3 * MINUTE) is False
    assert since_ended(NOW + 3 * MINUTE) == {}


def test_a_clock_that_was_a_year_ahead_does_not_stop_the_rounds():
    round_begin(now=NOW + timedelta(days=365))
    assert round_begin(now=NOW) is True


def test_a_round_that_broke_is_over_all_the_same(monkeypatch):
    def explode(now):
        raise RuntimeError("no rule today")

    monkeypatch.setattr(outbox, "gather", explode)
    with pytest.raises(RuntimeError):
        outbox.gather_and_send(NOW)
    assert JOB in since_ended(NOW + MINUTE)
    assert round_begin(now=NOW + MINUTE) is True


def test_there_is_one_row_however_many_rounds(asked):
    for n in range(3):
        outbox.gather_and_send(NOW + n * MINUTE)
    tick = PeriodicJob.objects.get()
    assert (tick.began_at, tick.free_at) == (NOW + 2 * MINUTE, NOW + 2 * MINUTE + 45 * SECOND)


def test_only_the_holder_of_a_round_calls_for_more_senders(asked):
    called: list[int] = []
    outbox.gather_and_send(NOW, call_senders=called.append)
    outbox.gather_and_send(NOW, call_senders=called.append)
    assert called == [0]
