"""How the drills wait: patience begins anew with each sign of progress, and has an end all the same."""

from __future__ import annotations

from itertools import count

import pytest

from tests.drills.patience import wait_until


class Clock:
    """Goes on by ten seconds at each pause."""

    now = 0.0

    def __call__(self) -> float:
        return self.now

    def sleep(self, _seconds: float) -> None:
        self.now += 10


@pytest.fixture
def clock():
    return Clock()


def test_what_moves_is_waited_for_longer_than_patience_lasts(clock):
    steps = count()
    wait_until(lambda: clock.now >= 500, sign=lambda: next(steps), patience=60, clock=clock, sleep=clock.sleep)
    assert clock.now == 500


def test_where_nothing_moves_patience_ends_and_says_what_was_found(clock):
    with pytest.raises(AssertionError, match="nothing moved for 60 s\nthe end of a log"):
        wait_until(lambda: False, patience=60, otherwise=lambda: "the end of a log", clock=clock, sleep=clock.sleep)
    assert clock.now == 70


def test_patience_begins_anew_with_a_sign_and_not_before(clock):
    with pytest.raises(AssertionError, match="nothing moved"):
        wait_until(lambda: False, sign=lambda: clock.now >= 50, patience=60, clock=clock, sleep=clock.sleep)
    assert clock.now == 50 + 70


def test_what_turns_in_circles_is_not_waited_for_for_ever(clock):
    steps = count()
    with pytest.raises(AssertionError, match="still not so after 300 s"):
        wait_until(lambda: False, sign=lambda: next(steps), at_most=300, clock=clock, sleep=clock.sleep)
