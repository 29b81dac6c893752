"""How long fruit in a freezer keeps at its best, and how it is measured for a recipe. Quality, not safety.

Pure: dates in, plain values out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from django.utils.translation import gettext_noop as noop

from inventory.fruit.produce import FROZEN, JUICE
from recipes.engine.terms import Rule

AT_BEST = Rule(
    "frozen-fruit-best-within-8-to-12-months",
    noop(
        "At -18 °C (0 °F) or colder, fruit is at its best for 8 to 12 months; without sugar it loses sooner. After"
        " that it is not unsafe, only less good."
    ),
    "USDA, Canning, Freezing and Storing Garden Produce",
)
CITRUS = Rule(
    "frozen-citrus-best-within-4-months",
    noop("Oranges, lemons and other citrus fruit are at their best for 4 to 6 months; here the shorter time counts."),
    "Michigan State University Extension, Preserving Food Safely 01600508",
)
AFTER_THAWING = Rule(
    "frozen-fruit-measured-after-thawing",
    noop("Let the fruit thaw all the way and measure it then: half frozen, the same cup holds another amount."),
    "Oregon State University Extension Service, Ask Extension 837301",
)
WITH_ITS_JUICE = Rule(
    "frozen-fruit-measured-with-its-juice",
    noop("Measure the fruit together with the juice it lost: a recipe counts on that liquid for its set."),
    "Ask Extension 577737 (Clackamas County, Oregon)",
)
BY_WEIGHT = Rule(
    "frozen-fruit-weighs-the-same",
    noop(
        "Weighed, it is the same frozen or thawed. In cups it is not, and sources disagree when to measure; what the"
        " recipe itself says of frozen fruit comes first."
    ),
    "measured before thawing: Kansas State University Research and Extension, You Asked It, June 2024; after it: Oregon"
    " State University, as above",
)
THAWED_PACKS = Rule(
    "thawed-produce-is-not-packed-in-pieces",
    noop(
        "Thawed produce is softer and goes into a jar more tightly than what the process was tested with, so it may"
        " stay under-processed. Cook it through: into a jam, a jelly, a sauce or a juice."
    ),
    "Kansas State University Research and Extension, You Asked It, June 2024 (E. Andress, University of Georgia)",
)
NO_ADDED_SUGAR = Rule(
    "frozen-fruit-with-sugar-is-not-planned",
    noop(
        "Tested recipes measure fruit without sugar. What was frozen with sugar cannot be planned by its weight: eat it"
        " as it is, or bake with it."
    ),
    "common practice, no source",
)
MEASURE_RULES = (AFTER_THAWING, WITH_ITS_JUICE, BY_WEIGHT)

# Kinds of recipe in which the produce is cooked through before it goes into a jar.
COOKED_THROUGH = frozenset({"butter", "chutney", "jam", "jelly", "juice", "marmalade", "preserve", "sauce", "syrup"})

# Months after freezing: from the first the fruit should be used soon, from the second it is past its best.
PLAIN_MONTHS = (8, 12)
SUGARED_MONTHS = (10, 12)  # the first of them: our own choice within the published span
CITRUS_MONTHS = (3, 4)  # the first of them: our own choice
CITRUS_FRUIT = frozenset({"oranges", "lemons", "limes", "grapefruit", "mandarins"})


class Age(StrEnum):
    GOOD = "good"
    SOON = "soon"
    PAST = "past"


@dataclass(frozen=True)
class ShelfLife:
    """`soon_from` and `best_until` are days; from `best_until` on the fruit is past its best."""

    soon_from: date
    best_until: date
    rule: Rule

    def age(self, today: date) -> Age:
        if today >= self.best_until:
            return Age.PAST
        return Age.SOON if today >= self.soon_from else Age.GOOD


def shelf_life(frozen_on: date, *, produce: str = "", with_sugar: bool = False) -> ShelfLife:
    """How long a lot keeps at its best. `produce` is the recipes' own word, "" where it is unknown."""
    months, rule = (SUGARED_MONTHS if with_sugar else PLAIN_MONTHS), AT_BEST
    if produce in CITRUS_FRUIT:
        months, rule = CITRUS_MONTHS, CITRUS
    return ShelfLife(months_later(frozen_on, months[0]), months_later(frozen_on, months[1]), rule)


def months_later(day: date, months: int) -> date:
    """The same day so many months on; the last of the month where there is none."""
    year, month = divmod(day.month - 1 + months, 12)
    first = date(day.year + year, month + 1, 1)
    following = date(first.year + (first.month == 12), first.month % 12 + 1, 1)
    return first.replace(day=min(day.day, (following - first).days))


# How long fruit keeps, when claims close, and other figures of the room. None of them makes anything safe to eat.
#
# The days below are for a cool place, from picking or pressing, with sound fruit. They are estimates by which to hurry,
# and nobody printed them for us: common practice, no source.

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
    """Of what is fresh or pressed; what is frozen keeps by `shelf_life`."""
    if state == JUICE:
        return KEEPS_JUICE
    return KEEPS_FRESH.get(produce, KEEPS_UNKNOWN)


def use_by_estimate(produce: str, state: str, since: date) -> date:
    """`since`: the day it was picked, pressed or frozen; for fresh fruit on a tree the day of the first pick-up."""
    if state == FROZEN:
        return shelf_life(since, produce=produce).best_until
    return since + timedelta(days=keeps_days(produce, state))


def use_by_source(produce: str, frozen_on: date | None) -> str:
    """Where the estimate is from; `frozen_on` is None for what is fresh or pressed."""
    return KEEPS_SOURCE if frozen_on is None else shelf_life(frozen_on, produce=produce).rule.source


def closing_moment(first_window: datetime, now: datetime) -> datetime:
    """Some hours ahead of the first pick-up; where that is near, half-way there. Both in UTC."""
    usual = first_window - CLOSES_BEFORE
    return usual if usual >= now + SOONEST_CLOSE else now + (first_window - now) / 2


def season_of(day: date) -> int:
    """A season is a calendar year: what somebody had last year plays no part. Our own choice, no source."""
    return day.year
