"""How long fruit keeps, when claims close, and other figures of the room. None of them makes anything safe to eat.

The days below are for a cool place, from picking or pressing, with sound fruit. They are estimates by which to hurry,
and nobody printed them for us: common practice, no source.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from inventory.fruit.containers import FROZEN, JUICE
from inventory.fruit.freezer_rules import keeping

KEEPS_SOURCE = "common practice, no source"

# Days that fresh produce keeps in a cool place.
KEEPS_FRESH: dict[str, int] = {
    "apples": 30,
    "apricots": 4,
    "asparagus": 3,
    "beets": 14,
    "blackberries": 2,
    "blueberries": 7,
    "cabbage": 21,
    "carrots": 21,
    "cherries": 4,
    "corn": 1,
    "crab apples": 14,
    "cranberries": 21,
    "cucumbers": 4,
    "currants": 4,
    "figs": 2,
    "gooseberries": 5,
    "grapes": 6,
    "green beans": 4,
    "green tomatoes": 10,
    "lemons": 21,
    "lima beans": 3,
    "nectarines": 4,
    "okra": 3,
    "onions": 60,
    "oranges": 14,
    "peaches": 4,
    "pears": 7,
    "peas": 2,
    "peppers": 7,
    "plums": 5,
    "potatoes": 60,
    "quinces": 21,
    "raspberries": 2,
    "rhubarb": 7,
    "strawberries": 2,
    "tomatoes": 5,
    "zucchini": 5,
}
KEEPS_UNKNOWN = 3  # fresh produce that the table does not know: rather too early
KEEPS_JUICE = 3  # pressed and kept cold

# Of offers and claims: our own choices, no source.
CLOSES_BEFORE = timedelta(hours=4)  # ahead of the first pick-up: time to read the mail and set out
SOONEST_CLOSE = timedelta(minutes=30)  # nobody sees an offer that closes at once
MOST_WINDOWS = 8
FURTHEST_AHEAD = timedelta(days=60)
USE_BY_WARNING = timedelta(days=2)
MOST_UNITS = 9_999
MOST_GRAMS = 2_000_000  # two tonnes: a slip of the pen


def keeps_days(produce: str, state: str) -> int:
    """Of what is fresh or pressed; what is frozen keeps by freezer_rules."""
    if state == JUICE:
        return KEEPS_JUICE
    return KEEPS_FRESH.get(produce, KEEPS_UNKNOWN)


def use_by_estimate(produce: str, state: str, since: date) -> date:
    """`since`: the day it was picked, pressed or frozen; for fresh fruit on a tree the day of the first pick-up."""
    if state == FROZEN:
        return keeping(since, produce=produce).best_until
    return since + timedelta(days=keeps_days(produce, state))


def use_by_source(produce: str, frozen_on: date | None) -> str:
    """Where the estimate is from; `frozen_on` is None for what is fresh or pressed."""
    return KEEPS_SOURCE if frozen_on is None else keeping(frozen_on, produce=produce).rule.source


def closing_moment(first_window: datetime, now: datetime) -> datetime:
    """Some hours ahead of the first pick-up; where that is near, half-way there. Both in UTC."""
    usual = first_window - CLOSES_BEFORE
    return usual if usual >= now + SOONEST_CLOSE else now + (first_window - now) / 2


def season_of(day: date) -> int:
    """A season is a calendar year: what somebody had last year plays no part. Our own choice, no source."""
    return day.year
