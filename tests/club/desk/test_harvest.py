"""Harvest weeks and the evenings laid into them: pure sums, and what the published calendars hold."""

from __future__ import annotations

from datetime import date
from itertools import product

import pytest

from club.season.harvest import (
    Weeks,
    Wish,
    calendar_word,
    counted_weeks,
    lay_evenings,
    median_week,
    mondays_ahead,
    published,
    regions,
    week_of,
)

JANUARY = date(2027, 1, 11)  # a Monday
JULY = tuple(date.fromisocalendar(2027, week, 1) for week in range(27, 31))
AUGUST = tuple(date.fromisocalendar(2027, week, 1) for week in range(31, 35))


def wish(key: int, evenings: int, mondays=JULY, canner: str = "boiling-water") -> Wish:
    return Wish(key, evenings, 200, canner, mondays)


def lay(*wishes: Wish, weekdays=(5, 6), today=JANUARY):
    return lay_evenings(wishes, weekdays=weekdays, evening_minutes=240, today=today)


def test_every_calendar_line_has_weeks_a_source_and_a_mark():
    assert len(regions()) == 10
    for key in regions():
        for produce, lines in published(key).items():
            assert produce == produce.lower()
            for line in lines:
                assert 1 <= line.weeks.first <= 52
                assert 1 <= line.weeks.last <= 52
                assert line.source
                assert line.seen in ("seen-twice", "seen-once", "disputed", "memory")
                assert line.seen == "memory" or "memory" not in line.source


def test_a_dispute_is_kept_beside_the_line_that_was_seen_and_does_not_widen_it():
    peaches = published("california")["peaches"]
    assert [line.seen for line in peaches] == ["seen-once", "disputed"]
    assert counted_weeks(peaches) == (peaches[0].weeks,)
    assert len(counted_weeks(published("texas")["cantaloupe"])) == 2


def test_weeks_go_over_new_year():
    winter = Weeks(48, 9)
    assert [week in winter for week in (47, 48, 52, 1, 9, 10)] == [False, True, True, True, True, False]
    assert winter.days == (date(2025, 11, 24), date(2026, 3, 1))
    assert week_of(date(2026, 12, 31)) == 52  # a year of 53 weeks


@pytest.mark.parametrize(
    ("seen", "median"),
    [
        ({}, None),
        ({30: 1}, 30),
        ({29: 1, 31: 1}, 29),
        ({29: 1, 31: 3}, 31),
        ({51: 2, 1: 2, 3: 1}, 1),
        ({10: 0, 20: 2}, 20),
    ],
)
def test_the_median_week_counts_each_time_and_knows_that_january_follows_december(seen, median):
    assert median_week(seen) == median


def test_a_recipes_word_finds_its_line():
    known = ["corn", "tomatoes", "green beans"]
    assert [calendar_word(word, known) for word in ("sweet corn", "green beans", "green tomatoes", "stock")] == [
        "corn",
        "green beans",
        "tomatoes",
        "",
    ]


def test_the_next_harvest_is_what_is_left_of_this_one_or_that_of_next_year():
    weeks = [Weeks(27, 30)]
    assert mondays_ahead(weeks, JANUARY) == JULY
    assert mondays_ahead(weeks, date(2027, 7, 15)) == JULY[1:]
    assert mondays_ahead(weeks, date(2027, 8, 2))[0].year == 2028


def test_what_spoils_first_goes_first_and_no_evening_has_two_things():
    laid = lay(wish(1, 3, (*JULY, *AUGUST)), wish(2, 7))
    assert laid.left == {}
    assert len({*laid.days[1], *laid.days[2]}) == 10
    assert {day.isoweekday() for days in laid.days.values() for day in days} == {5, 6}
    assert max(laid.days[2]) < AUGUST[0]
    assert all(week.minutes <= week.there == 480 for week in laid.weeks)


def test_beans_and_peaches_in_the_same_weeks_are_said_in_january():
    clash = lay(wish(1, 5), wish(2, 5)).clash
    assert (clash.first, clash.last, clash.keys) == (JULY[0], JULY[-1], (1, 2))
    assert (clash.evenings, clash.there, clash.left) == (10, 8, 2)
    assert lay(wish(1, 2), wish(2, 2)).clash.left == 0  # every second evening
    assert lay(wish(1, 1), wish(2, 2)).clash is None
    assert lay(wish(1, 8), wish(2, 8, AUGUST)).clash.keys == (1, 2)
    assert lay(wish(1, 9)).left == {1: 1}


def test_days_that_are_past_are_none():
    laid = lay(wish(1, 8), today=date(2027, 7, 16))
    assert min(laid.days[1]) == date(2027, 7, 16)
    assert laid.left == {1: 2}


def test_a_day_is_found_for_everything_wherever_any_order_finds_one():
    """Against every way to give three things to the evenings of three weeks."""
    weeks = JULY[:3]
    for spans in product([(0, 1), (1, 2), (0, 3), (2, 3)], repeat=2):
        for counts in product((1, 2), repeat=2):
            wishes = [wish(key, n, weeks[a:b]) for key, ((a, b), n) in enumerate(zip(spans, counts, strict=True))]
            best = 0
            for given in product((None, 0, 1), repeat=3):
                fits = all(key is None or weeks[at] in wishes[key].mondays for at, key in enumerate(given))
                if fits and all(given.count(key) <= wishes[key].evenings for key in (0, 1)):
                    best = max(best, 3 - given.count(None))
            laid = lay(*wishes, weekdays=(6,))
            assert sum(map(len, laid.days.values())) == best
