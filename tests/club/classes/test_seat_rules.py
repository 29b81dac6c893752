"""Whose turn it is and how long an offer stands: cases by hand, and fairness over thousands of invented lines."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from club.classes.rules import (
    LAST_OFFER_BEFORE,
    OFFER_STANDS,
    SHORT_OFFER,
    Hours,
    Waiter,
    day_hours_after,
    lapsing_notice_at,
    next_in_line,
    offer_notice_at,
    offer_until,
    singles_may_pass,
)

DENVER = ZoneInfo("America/Denver")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")  # its summer time is half an hour


def wall(day: int, hour: int, minute: int = 0, *, month: int = 9, zone: ZoneInfo = DENVER) -> datetime:
    return datetime(2026, month, day, hour, minute, tzinfo=zone)


# Saturday 19 September, 10:00; sign-up closes the day before at 10:00, so that the last day begins on the 17th.
HOURS = Hours(wall(19, 10), wall(18, 10), DENVER)


def waiters(*places: int) -> list[Waiter]:
    return [Waiter(number, wanted) for number, wanted in enumerate(places)]


def chosen(places: tuple[int, ...], free: int, *, passing: bool = False) -> list[int]:
    return [one.key for one in next_in_line(waiters(*places), free, singles_may_pass=passing)]


def test_the_line_is_served_in_order_until_the_seats_are_gone():
    assert chosen((1, 1, 1), 2) == [0, 1]
    assert chosen((2, 1, 1), 3) == [0, 1]
    assert chosen((1, 2), 3) == [0, 1]
    assert chosen((1,), 0) == []
    assert chosen((), 3) == []


def test_one_seat_waits_for_a_second_when_a_party_of_two_is_next():
    assert chosen((2, 1), 1) == []
    assert chosen((1, 2, 1), 2) == [0]


def test_near_the_day_one_seat_goes_past_the_party_to_the_next_who_comes_alone():
    assert chosen((2, 2, 1, 1), 1, passing=True) == [2]
    assert chosen((2, 1), 2, passing=True) == [0]
    assert not singles_may_pass(wall(16, 9, 59), HOURS)
    assert singles_may_pass(wall(16, 10), HOURS)


@pytest.mark.parametrize(
    ("made", "until"),
    [
        (wall(10, 15), wall(12, 15)),  # 48 hours
        (wall(10, 2), wall(12, 2)),  # also by night: there is time enough by day
        (wall(15, 13), wall(17, 13)),
        (wall(16, 10), wall(17, 14)),  # 48 hours would reach far into the last day: its first four hours at most
        (wall(17, 10), wall(17, 14)),
        (wall(17, 16, 59), wall(17, 20, 59)),
        (wall(17, 17), wall(17, 21)),
        (wall(17, 19), wall(18, 10)),  # two hours in the evening, two in the morning
        (wall(18, 2), wall(18, 12)),  # the night does not count
        (wall(18, 22), wall(19, 10)),  # the session begins first
        (wall(19, 7, 59), wall(19, 10)),
    ],
)
def test_an_offer_stands_48_hours_and_on_the_last_day_four_by_day(made, until):
    assert offer_until(made, HOURS) == until


def test_nothing_is_offered_in_the_last_two_hours():
    assert offer_until(wall(19, 8), HOURS) is None
    assert offer_until(wall(20, 8), HOURS) is None


def test_48_hours_are_elapsed_hours_over_a_clock_change():
    hours = Hours(wall(14, 10, month=11), wall(13, 10, month=11), DENVER)
    made = wall(31, 12, month=10)  # the clock goes back in the night after
    until = offer_until(made, hours)
    assert until == made.astimezone(UTC) + OFFER_STANDS
    assert until.astimezone(DENVER).hour == 11


def test_the_night_ends_at_eight_by_the_hall_s_clock_on_the_day_the_clock_changes_too():
    made = wall(31, 20, month=10)
    assert day_hours_after(made, SHORT_OFFER, DENVER) == wall(1, 11, month=11)
    odd = wall(3, 20, month=10, zone=LORD_HOWE)  # half an hour goes missing in the night after
    assert day_hours_after(odd, SHORT_OFFER, LORD_HOWE) == wall(4, 11, month=10, zone=LORD_HOWE)


def test_who_is_offered_a_seat_by_night_is_told_in_the_morning_unless_that_is_too_late():
    assert offer_notice_at(wall(10, 15), wall(12, 15), DENVER) == wall(10, 15)
    assert offer_notice_at(wall(10, 23), wall(12, 23), DENVER) == wall(11, 8)
    assert offer_notice_at(wall(18, 2), wall(18, 12), DENVER) == wall(18, 8)
    assert offer_notice_at(wall(18, 22), wall(19, 10), DENVER) == wall(18, 22)


def test_the_second_call_comes_with_a_quarter_of_the_time_left_by_day_where_it_can():
    assert lapsing_notice_at(wall(10, 20), wall(12, 20), DENVER) == wall(12, 8)
    assert lapsing_notice_at(wall(17, 10), wall(17, 14), DENVER) == wall(17, 13)
    assert lapsing_notice_at(wall(10, 15), wall(12, 15), DENVER) == wall(12, 8)  # a quarter would be three at night
    assert lapsing_notice_at(wall(10, 8, 30), wall(12, 8, 30), DENVER) == wall(11, 20, 30)
    assert lapsing_notice_at(wall(18, 2), wall(18, 12), DENVER) == wall(18, 11)  # of the four hours since it was told


minutes = st.integers(0, 20 * 24 * 60)
zones = st.sampled_from([DENVER, LORD_HOWE, ZoneInfo("Asia/Kathmandu"), ZoneInfo("UTC")])


@given(start=minutes, closing=st.integers(-6 * 60, 10 * 24 * 60), first=minutes, second=minutes, zone=zones)
def test_an_offer_ends_after_it_was_made_by_the_start_and_in_the_order_of_making(start, closing, first, second, zone):
    begin = datetime(2026, 10, 20, tzinfo=UTC)
    starts = begin + timedelta(minutes=start)
    hours = Hours(starts, starts - timedelta(minutes=closing), zone)
    early, late = (begin + timedelta(minutes=one) for one in sorted((first, second)))
    ends = [offer_until(made, hours) for made in (early, late)]
    for made, until in zip((early, late), ends, strict=True):
        assert (until is None) == (made >= starts - LAST_OFFER_BEFORE)
        if until is not None:
            assert made + min(SHORT_OFFER, starts - made) <= until <= min(starts, made + OFFER_STANDS)
            assert made <= offer_notice_at(made, until, zone) < until
            assert offer_notice_at(made, until, zone) < lapsing_notice_at(made, until, zone) < until
    if None not in ends:
        assert ends[0] <= ends[1]


@given(
    seats=st.integers(1, 6),
    events=st.lists(st.tuples(st.sampled_from(["join", "free"]), st.integers(1, 2), st.integers(0, 50)), max_size=60),
    passing_from=st.integers(0, 60),
)
def test_no_seat_is_sold_twice_nobody_is_overtaken_and_no_seat_lies_idle(seats, events, passing_from):
    """A hall as a model: people join the line, others give their seats back, and the rule is asked after each."""
    taken: dict[int, int] = {}
    line: list[Waiter] = []
    for number, (what, places, which) in enumerate(events):
        if what == "join":
            line.append(Waiter(number, places))
        elif taken:
            del taken[sorted(taken)[which % len(taken)]]
        passing = number >= passing_from
        free = seats - sum(taken.values())
        picked = next_in_line(line, free, singles_may_pass=passing)
        for one in picked:
            ahead = [other for other in line if other.key < one.key and other not in picked]
            # Overtaken are parties of two alone, by somebody alone, and only under the rule that says so.
            assert not ahead or (passing and one.places == 1 and all(other.places == 2 for other in ahead))
        taken |= {one.key: one.places for one in picked}
        line = [one for one in line if one not in picked]
        free = seats - sum(taken.values())
        assert free >= 0
        if free and line:
            assert (line[0].places, free) == (2, 1)
            assert not passing or all(one.places == 2 for one in line)
