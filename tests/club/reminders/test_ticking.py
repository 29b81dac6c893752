"""Two clocks, a clock that was wrong, a round whose holder died: the rules are asked once a minute all the same."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from club.reminders import outbox
from club.reminders.models import Tick
from club.reminders.outbox import last_tick, tick_begin, tick_end

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
        outbox.tick(NOW + n * MINUTE)
        outbox.tick(NOW + n * MINUTE + 20 * SECOND)
    assert asked == [NOW + n * MINUTE for n in range(3)]


def test_while_a_round_lasts_no_other_begins(asked):
    assert tick_begin(now=NOW)
    assert tick_begin(now=NOW + MINUTE) is False


def test_a_round_whose_holder_died_is_followed_by_another():
    tick_begin(now=NOW)
    assert tick_begin(now=NOW + 2 * MINUTE) is True


def test_the_holder_of_a_round_that_was_taken_over_ends_nothing():
    tick_begin(now=NOW)
    tick_begin(now=NOW + 2 * MINUTE)
    tick_end(began=NOW, now=NOW + 2 * MINUTE + SECOND)
    assert tick_begin(now=NOW + 3 * MINUTE) is False
    assert last_tick(NOW + 3 * MINUTE) is None


def test_a_clock_that_was_a_year_ahead_does_not_stop_the_rounds():
    tick_begin(now=NOW + timedelta(days=365))
    assert tick_begin(now=NOW) is True


def test_a_round_that_broke_is_over_all_the_same(monkeypatch):
    def explode(now):
        raise RuntimeError("no rule today")

    monkeypatch.setattr(outbox, "gather", explode)
    with pytest.raises(RuntimeError):
        outbox.tick(NOW)
    assert last_tick(NOW + MINUTE) is not None
    assert tick_begin(now=NOW + MINUTE) is True


def test_there_is_one_row_however_many_rounds(asked):
    for n in range(3):
        outbox.tick(NOW + n * MINUTE)
    tick = Tick.objects.get()
    assert (tick.began_at, tick.free_at) == (NOW + 2 * MINUTE, NOW + 2 * MINUTE + 45 * SECOND)


def test_only_the_holder_of_a_round_calls_for_more_senders(asked):
    called: list[int] = []
    outbox.tick(NOW, call_senders=called.append)
    outbox.tick(NOW, call_senders=called.append)
    assert called == [0]
