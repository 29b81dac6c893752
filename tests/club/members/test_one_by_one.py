"""Work that the clock does on many things."""

from __future__ import annotations

import pytest

from club.core.jobs import one_by_one


def test_what_breaks_holds_up_none_of_the_others_and_its_error_is_raised_at_last(caplog):
    turns = []

    def act(number):
        turns.append(number)
        if number % 2:
            raise RuntimeError(f"not {number}")

    with pytest.raises(RuntimeError, match="not 1"):  # the first of them
        one_by_one([0, 1, 2, 3], act)
    assert turns == [0, 1, 2, 3]
    assert [record.getMessage() for record in caplog.records] == ["1 could not move on", "3 could not move on"]


def test_where_nothing_breaks_what_came_of_each_is_told_in_order():
    assert one_by_one([3, 1, 2], lambda number: number * 10) == [30, 10, 20]
    assert one_by_one([], str) == []
