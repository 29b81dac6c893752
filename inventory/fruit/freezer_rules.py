"""How long fruit in a freezer keeps at its best, and how it is measured for a recipe. Quality, not safety.

Pure: dates in, plain values out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from django.utils.translation import gettext_noop as noop

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
class Keeping:
    """`soon_from` and `best_until` are days; from `best_until` on the fruit is past its best."""

    soon_from: date
    best_until: date
    rule: Rule

    def age(self, today: date) -> Age:
        if today >= self.best_until:
            return Age.PAST
        return Age.SOON if today >= self.soon_from else Age.GOOD


def keeping(frozen_on: date, *, produce: str = "", with_sugar: bool = False) -> Keeping:
    """How long a lot keeps at its best. `produce` is the recipes' own word, "" where it is unknown."""
    months, rule = (SUGARED_MONTHS if with_sugar else PLAIN_MONTHS), AT_BEST
    if produce in CITRUS_FRUIT:
        months, rule = CITRUS_MONTHS, CITRUS
    return Keeping(months_later(frozen_on, months[0]), months_later(frozen_on, months[1]), rule)


def months_later(day: date, months: int) -> date:
    """The same day so many months on; the last of the month where there is none."""
    year, month = divmod(day.month - 1 + months, 12)
    first = date(day.year + year, month + 1, 1)
    following = date(first.year + (first.month == 12), first.month % 12 + 1, 1)
    return first.replace(day=min(day.day, (following - first).days))
