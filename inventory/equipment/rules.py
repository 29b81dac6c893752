"""Sums with days. Pure: a span, which days of it are taken, and where the next free ones are."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from urllib.parse import urlsplit

from django.utils.translation import gettext_noop as noop

from inventory.equipment.choices import Measure
from recipes.engine.terms import Rule

DAY = timedelta(days=1)


@dataclass(frozen=True, order=True)
class Span:
    """Whole days, both ends included."""

    starts: date
    ends: date

    @property
    def length(self) -> int:
        return (self.ends - self.starts).days + 1

    def days(self) -> Iterator[date]:
        return days_between(self.starts, self.ends)

    def with_turnaround(self, days: int) -> Span:
        return Span(self.starts, self.ends + days * DAY)

    @classmethod
    def of(cls, starts: date, length: int) -> Span:
        return cls(starts, starts + (length - 1) * DAY)


def days_between(first: date, last: date) -> Iterator[date]:
    day = first
    while day <= last:
        yield day
        day += DAY


def free_spans(taken: Set[date], *, length: int, turnaround: int, window: Span) -> Iterator[Span]:
    """The first free span of `length` days in each gap between taken days, the earliest first.

    The days for cleaning must be free as well, but may lie behind the end of `window`.
    """
    start = window.starts
    while (span := Span.of(start, length)).ends <= window.ends:
        clash = last_taken(taken, span.with_turnaround(turnaround))
        if clash is None:
            yield span
            following = [day for day in taken if day > start]
            if not following:
                return
            clash = min(following)
        start = clash + DAY


def last_taken(taken: Set[date], span: Span) -> date | None:
    """The last day of the span that is taken; no span that begins on or before it can be free."""
    return max((day for day in span.days() if day in taken), default=None)


def runs(days: Iterable[date]) -> list[Span]:
    """Days put together into spans: the 3rd, 4th, 5th and 9th are two."""
    found: list[Span] = []
    for day in sorted(set(days)):
        if found and found[-1].ends + DAY == day:
            found[-1] = Span(found[-1].starts, day)
        else:
            found.append(Span(day, day))
    return found


# The code on a thing's label: how it is written, and how it is read from a typing hand or a scanner.

CODE_LENGTH = 20
NAME_LENGTH, PLACE_LENGTH, NOTE_LENGTH, CARE_LENGTH = 120, 120, 200, 4000
_WRITTEN = re.compile(r"[A-Z0-9]+(-[A-Z0-9]+)*")
_LAST_PART = re.compile(r"/t/([^/]+)/?$")


def code_written(text: str) -> str | None:
    """The code as a label prints it: capitals, digits and single dashes. None when it cannot be one."""
    code = re.sub(r"[\s_-]+", "-", text.strip()).strip("-").upper()
    return code if len(code) <= CODE_LENGTH and _WRITTEN.fullmatch(code) else None


def code_key(text: str) -> str:
    """Letters and digits only, in capitals: codes are compared without the dashes and spaces somebody typed."""
    return re.sub(r"[^A-Za-z0-9]", "", text).upper()


def code_scanned(text: str) -> str:
    """The code somebody typed, or the one in the address that a label's square holds."""
    found = _LAST_PART.search(urlsplit(text.strip()).path)
    return found[1] if found else text.strip()


# The rules of things lent: when an instrument's test passes and lapses, how long a hold may be.
#
# Pure: every function takes the days it needs and answers in plain values. A day is a day of the club's own calendar.

OWN_CHOICE = "a rule of this club"
EXTENSION = (
    "Iowa State University Extension, AnswerLine, 21 May 2024; Oregon State University Extension, Deschutes County;"
    " Ohio State University Extension, Morrow County"
)

GAUGE_YEARLY = Rule(
    "dial-gauge-tested-each-year",
    noop("A dial gauge is tested for accuracy every year; one whose test lapsed, or that was never tested, stays in."),
    EXTENSION,
)
GAUGE_TOLERANCE = Rule(
    "dial-gauge-within-2-psi",
    noop("A dial gauge that is off by more than 2 psi, high or low, is replaced. Up to 2 psi the setting is adjusted."),
    EXTENSION,
)
GAUGE_HIGH = Rule(
    "a-gauge-that-reads-high-underprocesses",
    noop("A gauge that reads high shows more pressure than there is: the food would be processed too little."),
    "Iowa State University Extension, AnswerLine, 21 May 2024",
)
GAUGE_WEIGHTED = Rule(
    "weighted-gauge-needs-no-test",
    noop("A weighted gauge needs no test; one that is chipped or broken is replaced."),
    "University of Missouri Extension; NC State Extension, Montgomery County",
)
GAUGE_SPAN = Rule(
    "dial-gauge-tested-where-it-is-used",
    noop("Three readings or more, reaching from 11 psi or less to 14 psi or more: the pressures of the dial tables."),
    f"the pressures: USDA Complete Guide to Home Canning, 2015; the number of readings: {OWN_CHOICE}",
)
PH_CALIBRATED = Rule(
    "ph-meter-calibrated",
    noop(
        "A pH meter agrees with two buffers, one near 4 and one near 7, within 0.1, at least every 90 days; whoever"
        " borrows it calibrates it again on the day of use."
    ),
    f"a buffer of known pH: 21 CFR 114.90; two of them, the 0.1 and the 90 days: {OWN_CHOICE}",
)
BRIX_CALIBRATED = Rule(
    "refractometer-calibrated",
    noop("A refractometer shows 0 with distilled water, within 0.5, at least once a year."),
    OWN_CHOICE,
)
THERMOMETER_TESTED = Rule(
    "thermometer-tested",
    noop(
        "A thermometer shows 0 °C (32 °F) in crushed ice and water, or the boiling point of the kitchen's altitude in"
        " boiling water, within 1 °C, at least once a year; one that may be off since (a fall) is tested again."
    ),
    f"the two points: a district health department's page (c-uphd.org) for the ice; the boiling point by altitude:"
    f" ISO 2533, IAPWS-IF97; within 1 °C: a food handlers' text; once a year: {OWN_CHOICE}",
)

TWO_LAYERS = Rule(
    "two-layers-with-a-rack-between",
    noop(
        "Two layers of jars may be processed at once, in boiling water or under pressure, with a rack between them so"
        " that water or steam gets around each jar; in boiling water it stands an inch over the upper ones."
    ),
    "NCHFP, canning questions, as quoted by Utah State University's askaggie.org and healthycanning.com",
)
PARTS_WHOLE = Rule(
    "lent-with-all-its-parts",
    noop(
        "A thing of which a part is missing or damaged stays in until a keeper writes down that the part is back,"
        " replaced or mended, or withdraws the thing."
    ),
    OWN_CHOICE,
)
PARTS_YEARLY = Rule(
    "canner-parts-looked-at-each-year",
    noop(
        "Before the season look at each part of a canner: the gasket soft and without cracks, the vent clear, the"
        " safety plug soft and whole, the rack there, the weight its own and not chipped. What is worn is replaced."
    ),
    "Penn State Extension, Pressure Canner Checklist, 2024; Clemson HGIC, Time to Inspect Your Pressure Canner, 2021;"
    " University of Missouri Extension (a chipped weight)",
)

# Our own choices: they keep a slip of the pen from blocking a thing for years.
LONGEST_DAYS = 60
FURTHEST_AHEAD_DAYS = 400
MOST_TURNAROUND_DAYS = 30
MOST_JARS = 99  # of one size, at once
OLDEST_TEST_YEAR = 1900  # an earlier year is a slip, and the sums with days end at year 1
MOST_CENTS = 100_000_00  # of a deposit
OFFER_STANDS = timedelta(hours=24)
KEYED_IN_LATE = timedelta(days=30)
# Before a test lapses the keepers are told twice.
MONTH_BEFORE = timedelta(days=30)
WEEK_BEFORE = timedelta(days=7)


@dataclass(frozen=True)
class Reading:
    """What the reference said and what the instrument showed, in the instrument's own measure."""

    reference: Decimal
    shown: Decimal

    @property
    def error(self) -> Decimal:
        """Exact; above zero the instrument reads high."""
        return self.shown - self.reference


@dataclass(frozen=True)
class TestRule:
    """How an instrument is tested: largest error allowed, readings wanted, the stretch they must reach over."""

    tolerance: Decimal
    fewest: int
    lowest_at_most: Decimal
    highest_at_least: Decimal
    good_for_days: int | None  # None: to the same date next year
    rules: tuple[Rule, ...]


TEST_RULES: dict[Measure, TestRule] = {
    Measure.PSI: TestRule(Decimal(2), 3, Decimal(11), Decimal(14), None, (GAUGE_TOLERANCE, GAUGE_SPAN, GAUGE_YEARLY)),
    Measure.PH: TestRule(Decimal("0.1"), 2, Decimal("4.1"), Decimal("6.8"), 90, (PH_CALIBRATED,)),
    Measure.BRIX: TestRule(Decimal("0.5"), 1, Decimal(0), Decimal(0), None, (BRIX_CALIBRATED,)),
    # Either point alone will do: a freezer's thermometer is never boiled, a candy thermometer knows no ice.
    Measure.CELSIUS: TestRule(Decimal(1), 1, Decimal(101), Decimal(0), None, (THERMOMETER_TESTED,)),
}


def worst_error(readings: Iterable[Reading]) -> Decimal:
    """The error that is furthest from zero, with its sign; of two as far the one that reads high."""
    return max((one.error for one in readings), key=lambda error: (abs(error), error))


def has_passed(readings: Iterable[Reading], measure: Measure) -> bool:
    """Replaced only when the error exceeds the tolerance: an error of exactly 2 psi still passes."""
    return abs(worst_error(readings)) <= TEST_RULES[measure].tolerance


def highest_error(readings: Iterable[Reading]) -> Decimal:
    """The most it shows above the truth; below zero where it reads low at every reading."""
    return max(one.error for one in readings)


def reads_high_by(readings: Iterable[Reading]) -> Decimal:
    """The most it shows above the truth, or zero: what the setting is raised by."""
    return max(highest_error(readings), Decimal(0))


def is_enough(readings: Iterable[Reading], measure: Measure) -> bool:
    """Whether the readings are as many as wanted, at different points, and reach over the stretch of use."""
    rule, points = TEST_RULES[measure], {one.reference for one in readings}
    return len(points) >= rule.fewest and min(points) <= rule.lowest_at_most and max(points) >= rule.highest_at_least


def lapses_on(tested_on: date, measure: Measure) -> date:
    """The first day on which the test is no longer good."""
    days = TEST_RULES[measure].good_for_days
    return tested_on + timedelta(days=days) if days else year_after(tested_on)


def year_after(day: date) -> date:
    """The same date next year; 29 February gives 28 February, so that a year is never longer than a year."""
    try:
        return day.replace(year=day.year + 1)
    except ValueError:
        return day.replace(year=day.year + 1, day=28)
