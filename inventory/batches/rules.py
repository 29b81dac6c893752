"""The rules of what follows the stove, each with its source. Unknown means no."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Any, NamedTuple

from django.utils.translation import gettext_noop as noop

from club.core.clock import in_utc
from inventory.equipment.choices import Kind
from recipes.engine import MASS_BALANCE
from recipes.engine.quantities import JAR_ML, JAR_SIZES
from recipes.engine.terms import Canner, Rule, StatedYield

# Lot codes: the year and day a batch was put up, and three letters that keep the day's batches apart.

# Own choice: no vowels (no words), and nothing that handwriting confuses (0 O, 1 I L, 2 Z, 5 S, 8 B, U V).
ALPHABET = "34679CDFGHJKMNPQRTVWXY"
SALTS = len(ALPHABET) ** 3

_TYPED = re.compile(rf"([0-9]{{5}})([{ALPHABET}]{{3}})")


def lot_code(day: date, salt: int) -> str:
    """`YYDDD-XXX`: two-digit year, day of the year, and `salt` (0 to SALTS - 1) in the alphabet."""
    if not 0 <= salt < SALTS:
        raise ValueError(f"salt must be between 0 and {SALTS - 1}")
    high, low = divmod(salt, len(ALPHABET))
    first, second = divmod(high, len(ALPHABET))
    return f"{day:%y%j}-{ALPHABET[first]}{ALPHABET[second]}{ALPHABET[low]}"


def lot_code_typed(text: str) -> str | None:
    """What somebody read off a label, as we write it; None when it cannot be a lot code of ours."""
    found = _TYPED.fullmatch(bare(text))
    return f"{found[1]}-{found[2]}" if found else None


_JAR_TYPED = re.compile(rf"([0-9]{{5}})([{ALPHABET}]{{3}})([0-9]{{1,3}})?")


def jar_code_typed(text: str) -> tuple[str, int | None] | None:
    """ "26334-G4K / 2", as a jar's label prints it: the lot code and the jar's number, None where no number is given.

    None when it cannot be a code of ours.
    """
    found = _JAR_TYPED.fullmatch(bare(text))
    return (f"{found[1]}-{found[2]}", int(found[3]) if found[3] else None) if found else None


_PART = re.compile(rf"([0-9]{{3,5}})([{ALPHABET}]{{0,2}})")
_TAIL = re.compile(rf"[{ALPHABET}]{{3}}")


def lot_code_begun(text: str) -> str | None:
    """The beginning of a lot code, as we write it: at least the year and one figure of the day."""
    found = _PART.fullmatch(bare(text))
    if not found or (found[2] and len(found[1]) < 5):
        return None
    return f"{found[1]}-{found[2]}" if found[2] else found[1]


def lot_code_end(text: str) -> str | None:
    """The three letters that a lot code ends with; what people read out."""
    found = bare(text)
    return found if _TAIL.fullmatch(found) else None


_FRUIT = re.compile(r"(frozen|shared)[\s-]*([0-9]{1,9})", re.IGNORECASE)


def fruit_code_typed(text: str) -> tuple[str, int] | None:
    """ "frozen-12" or "shared 7": fruit out of a freezer or a share, by the kind of a recall and its number."""
    found = _FRUIT.fullmatch(text.strip())
    return (found[1].lower(), int(found[2])) if found else None


def bare(text: str) -> str:
    """Letters and digits only, in capitals: how a code is compared, whatever dashes and spaces were typed."""
    return re.sub(r"[\W_]", "", text).upper()


# The rules of what follows the stove: when seals are looked at, when reprocessing lapses, how many jars a pot gives.
#
# Pure: every function takes the moments it needs, `now` among them, and answers in plain values. Hours are elapsed
# hours, so the sums are done in UTC; a clock change between the canner and the seal check moves nothing.

COOL_MIN = timedelta(hours=12)
SECOND_CALL = timedelta(hours=20)
REPROCESS_WINDOW = timedelta(hours=24)
UNSAFE_WINDOW = timedelta(hours=2)
# Beside the counted minutes, for heating up, venting and cooling down; a rule of this club.
CANNER_SLACK = timedelta(hours=1)
UNSEALED_FREEZE_HEADSPACE_IN = Fraction(3, 2)
BEST_WITHIN_YEARS = 1
KEYED_IN_LATE = timedelta(days=30)
# A phone's clock may run ahead of the server's; a time more than this ahead is a slip.
CLOCK_SLACK = timedelta(minutes=2)
# Slips of the pen, not rules of the trade: no published process is longer, no home canner is worked higher.
MOST_MINUTES = 600
MOST_PSI = 25

USDA = "USDA Complete Guide to Home Canning, 2015"

SEAL_LOOK = Rule(
    "seals-12-to-24-hours",
    noop(
        "Leave the jars undisturbed and look at each seal 12 to 24 hours after they came out; never retighten a band."
    ),
    f"{USDA}; University of Missouri Extension; Purdue Extension HHS-810-W",
)
SECOND_CALL_RULE = Rule(
    "second-call-at-20-hours",
    noop("Nothing recorded 20 hours after the jars came out: ask once more, while there is time to reprocess."),
    "a rule of this club",
)
REPROCESS = Rule(
    "reprocess-within-24-hours",
    noop(
        "An unsealed jar may be reprocessed within 24 hours of the first processing: the same full time, a new prepared"
        " lid, and a jar whose rim is sound."
    ),
    f"{USDA}; Michigan State University Extension 01600593; University of Nebraska-Lincoln; NCHFP",
)
REPROCESS_HOT = Rule(
    "reprocess-only-a-hot-pack",
    noop(
        "Reprocess only where a tested hot-pack process exists: empty the jar, reheat the contents and fill it again."
        " Pie filling and squash are not reprocessed."
    ),
    "NCHFP canning questions; University of Nebraska-Lincoln",
)
REPROCESS_ONCE = Rule(
    "reprocess-once",
    noop("A jar is reprocessed once. If it does not seal then, refrigerate it, freeze it or throw it away."),
    "a rule of this club",
)
REFRIGERATE = Rule(
    "refrigerate-and-use-within-days",
    noop("An unsealed jar may be kept in the refrigerator and used within several days."),
    f"{USDA}; Michigan State University Extension 01600593; University of Nebraska-Lincoln",
)
FREEZE = Rule(
    "freeze-with-1-5-inch-headspace",
    noop("An unsealed jar may be frozen: take contents out until 1 1/2 inches of headspace are free."),
    f"{USDA}; Michigan State University Extension 01600593; University of Nebraska-Lincoln",
)
STOOD_TOO_LONG = Rule(
    "unsealed-past-24-hours",
    noop("An unsealed jar that has stood in the room for more than 24 hours is thrown away, untasted."),
    "Iowa State University Extension, AnswerLine; Ask Extension, Oregon",
)
UNDERPROCESSED = Rule(
    "put-right-within-2-hours",
    noop("Jars processed for too short a time are processed again in full, or refrigerated, within 2 hours."),
    "University of Nebraska-Lincoln, food.unl.edu",
)
LOW_TEMPERATURE = Rule(
    "low-temperature-for-the-whole-time",
    noop(
        "Low-temperature pasteurisation counts only while a tested thermometer shows 180 °F (82 °C) or more in the"
        " water; if it falls below at any moment, the whole time is counted anew. Above 185 °F (85 °C) pickles soften."
    ),
    "USDA AIB 539, as NCHFP prints it; Michigan State University Extension, Preserving Food Safely 01600856",
)
WATER_READ_EVERY = timedelta(minutes=5)  # our own choice, no source: how long the water may go unread
BEST_WITHIN = Rule(
    "best-within-a-year",
    noop("Sealed jars are at their best within a year, in a cool, dark and dry place."),
    "UC ANR; Health Canada 2012; Purdue Extension HHS-810-W",
)
BEST_SPREADS = Rule(
    "spreads-best-within-a-year",
    noop("Jams, jellies and other sweet spreads are at their best within a year."),
    "University of Missouri Extension GH1461",
)
# By kind of recipe, where a source speaks of that kind; the others go by BEST_WITHIN. Both are a year.
BEST_BY_KIND = dict.fromkeys(("jam", "jelly", "marmalade", "preserve", "conserve", "butter"), BEST_SPREADS)
JAR_CEILING = Rule(
    "no-more-jars-than-the-pots-give",
    noop(
        "A pot fills what its source states, or what it weighs; one jar a pot more is taken as a generous ladle, beyond"
        " that as an error."
    ),
    "stated yield of the tested source, or the mass balance where that is more; one jar a pot more: common practice, no"
    " source",
)


# Which canner a process goes by, of the kinds that are under pressure.
GAUGE_OF: dict[str, Canner] = {Kind.DIAL_GAUGE: Canner.DIAL_GAUGE, Kind.WEIGHTED_GAUGE: Canner.WEIGHTED_GAUGE}


@dataclass(frozen=True)
class OwnGauge:
    """A household's own pressure canner without a card here, as its people say.

    A dial gauge has the day of its test and how many psi it read high (below zero: low); a weighted one neither.
    """

    tested_on: date | None = None
    reads_high: Decimal | None = None


# Foods whose jars are never processed a second time (REPROCESS_HOT), beside pie fillings.
NOT_REPROCESSED = ("squash", "pumpkin")


@dataclass(frozen=True)
class Need:
    """A tested process as two figures: minutes, and the pressure they hold for (None in boiling water).

    `setting` is what this gauge must show for that pressure; it is the table's where no gauge was named.
    """

    minutes: int
    psi: int | None
    setting: int | None

    def met_by(self, minutes: int, psi: Decimal | int | None) -> bool:
        """`psi` as the gauge showed it."""
        return minutes >= self.minutes and (self.setting is None or (psi is not None and psi >= self.setting))


@dataclass(frozen=True)
class SealWindow:
    """The moments that hang on the hour the jars came out; all aware, in UTC."""

    opens: datetime
    second_call: datetime
    reprocess_until: datetime


class Phase(StrEnum):
    COOLING = "cooling"  # before 12 hours: seals may still be drawing down
    DUE = "due"
    LATE = "late"  # from 20 hours: the second call
    LAPSED = "lapsed"  # from 24 hours: too late to reprocess


def seal_window(jars_out_at: datetime) -> SealWindow:
    """The window that opens with `jars_out_at` (aware). ValueError for a time without a zone."""
    out = in_utc(jars_out_at)
    return SealWindow(opens=out + COOL_MIN, second_call=out + SECOND_CALL, reprocess_until=out + REPROCESS_WINDOW)


def phase(window: SealWindow, now: datetime) -> Phase:
    """Where `now` falls. Each moment belongs to what begins with it: at 24 hours sharp reprocessing has lapsed."""
    at = in_utc(now)
    if at < window.opens:
        return Phase.COOLING
    if at < window.second_call:
        return Phase.DUE
    return Phase.LATE if at < window.reprocess_until else Phase.LAPSED


def looked_at_from(now: datetime) -> datetime:
    """Jars that came out at this moment or before want their look at `now`."""
    return in_utc(now) - COOL_MIN


def elapsed(since: datetime, until: datetime) -> timedelta:
    """Elapsed time between two aware moments. Python's own difference of two times in one zone is wall time."""
    return in_utc(until) - in_utc(since)


def best_before(day: date) -> date:
    """The last day of "within a year" of `day`; 29 February gives 28 February."""
    try:
        return day.replace(year=day.year + BEST_WITHIN_YEARS)
    except ValueError:
        return day.replace(year=day.year + BEST_WITHIN_YEARS, day=28)


def sizes_covered(process_jar: str) -> tuple[str, ...]:
    """Jar sizes a process covers: its own and every smaller one, small to large. None for an unknown size."""
    return tuple(JAR_SIZES[: JAR_SIZES.index(process_jar) + 1]) if process_jar in JAR_SIZES else ()


def most_ml(
    printed: Iterable[StatedYield], *, planned_ml: Fraction, pots: int, printed_pots: Fraction, jar: str
) -> Fraction:
    """The most that can have been filled, in ml: the high end of any yield that is printed, or what was planned or
    weighed where that is more; and one `jar` a pot besides.

    `printed_pots` is how often the printed recipe was cooked: half pots count half. Where the stated yield was not
    seen in print the bound is twice as wide (our own choice, no source): a doubtful figure must not call an honest
    count a lie.
    """
    a_pot = max(stated.high * JAR_ML[stated.jar] * (1 if stated.seen.is_seen else 2) for stated in printed)
    return max(printed_pots * a_pot, planned_ml) + pots * JAR_ML[jar]


def planned_high_ml(plan: Mapping[str, Any]) -> Fraction:
    """Of a plan as a batch keeps it, the volume for all pots in ml: what its jars hold, or the high end of the mass
    balance where that is more. A class of food is too wide to count jars by."""
    jars = filled_ml({jar["size"]: jar["count"] for jar in plan.get("jars", ())})
    found = plan.get("yield", {})
    weighed = found["volume_high_ml"] if found.get("basis") == MASS_BALANCE else 0
    return max(jars, Fraction(str(weighed)))


def filled_ml(jars: Mapping[str, int]) -> Fraction:
    """Nominal volume of so many jars by size, in ml."""
    return sum((JAR_ML[size] * count for size, count in jars.items()), Fraction(0))


# What goes with giving jars away, each sentence with its source.

LOCAL_LAW = Rule(
    "giving-jars-local-law",
    noop(
        "Whether home-canned food may be given away or sold, to whom and with what label, is a matter of local law: the"
        " club knows it, this site does not. Ask an organiser before you give jars beyond the club, and never sell one"
        " on the word of this page."
    ),
    "a rule of this club",
)
LOOK_AGAIN = Rule(
    "giving-jars-look-at-the-seal-again",
    noop(
        "Just before a jar changes hands look at it again: the lid firm and drawn down, nothing leaking, nothing"
        " cloudy or foaming that was not so. In doubt it stays, and nobody tastes it."
    ),
    "NC State University, FAQ 489; Michigan State University Extension 01600953",
)
GIVING_RULES = (LOCAL_LAW, LOOK_AGAIN, BEST_WITHIN)

# What to do with jars that are called back, each sentence with its source; and how often somebody is asked.

# Our own choices, no source: an answer is asked for again every third day, ten times; then an organiser telephones.
ASK_AGAIN_AFTER = timedelta(days=3)
MOST_CALLS = 10

NOT_EATEN = Rule(
    "recalled-jars-are-not-eaten",
    noop("Eat nothing from these jars and taste nothing: food that can make you ill may look and smell right."),
    "Clemson University Extension HGIC, discarding spoiled or improperly canned foods",
)
HELD_APART = Rule(
    "recalled-jars-are-held-apart",
    noop("Mark the jars, put them where nobody takes them for others, and leave them closed."),
    "a rule of this club",
)
THROWN_AWAY = Rule(
    "recalled-jars-are-thrown-away-sealed",
    noop(
        "To throw away a jar that is still sealed, leave it closed, put it into a strong bag, close the bag and put"
        " it into the rubbish, where neither people nor animals get at it."
    ),
    "Clemson University Extension HGIC, discarding spoiled or improperly canned foods",
)
OPEN_ONES = Rule(
    "recalled-jars-open-or-leaking",
    noop(
        "A jar that is open or leaks: do not touch the food with bare hands. Ask the local food-safety authority how"
        " to make it harmless, and do as it says."
    ),
    "Clemson University Extension HGIC, discarding spoiled or improperly canned foods",
)
ATE_SOME = Rule(
    "recalled-jars-somebody-ate-some",
    noop(
        "If somebody ate from such a jar and feels unwell, ask a doctor at once and say what was eaten. Blurred sight,"
        " a dry mouth or trouble with swallowing or speaking is an emergency."
    ),
    "Illinois Poison Center; Maine CDC; Grant County Health District, Washington",
)
AUTHORITY = Rule(
    "recalled-jars-local-authority",
    noop("What the local food-safety authority says comes before anything on this page."),
    "a rule of this club",
)

WHAT_TO_DO = (NOT_EATEN, HELD_APART, THROWN_AWAY, OPEN_ONES, ATE_SOME, AUTHORITY)

# Why an unsealed jar is not processed again, by code: the rule, and what is said to a person.
REPROCESS_REFUSALS: dict[str, tuple[Rule, str]] = {
    "revision-withdrawn": (
        NOT_EATEN,
        noop("This recipe was withdrawn: its jars are not processed again, and nobody eats from them."),
    ),
    "called-back": (
        NOT_EATEN,
        noop("These jars are called back: they are not processed again, and nobody eats from them."),
    ),
    "reprocessed-once": (
        REPROCESS_ONCE,
        noop(
            "These jars were reprocessed once already. Within 24 hours refrigerate or freeze what did not seal; later"
            " throw it away."
        ),
    ),
    "reprocess-lapsed": (
        REPROCESS,
        noop("Reprocessing lapsed 24 hours after the jars came out: what stood unsealed is thrown away, untasted."),
    ),
    "no-process": (REPROCESS, noop("A freezer recipe has no process to repeat.")),
    "not-reprocessed": (
        REPROCESS_HOT,
        noop(
            "Pie filling, squash and pumpkin are not reprocessed. Within 24 hours refrigerate or freeze the jar; later"
            " throw it away."
        ),
    ),
    "no-hot-pack": (
        REPROCESS_HOT,
        noop("No hot pack of this recipe was tested, and a reprocessed jar is reheated: put the jar away otherwise."),
    ),
}

# Food kept in stages that take days.

# Above it food is taken for low in acid (LOWACID-METHOD): no ferment is kept or canned as acid food.
MOST_PH_HUNDREDTHS = 460
MOST_WEIGHED_G = 100_000  # a slip of the pen beyond: no household salts or dries more at once
MOST_CONTAINERS = 200
# Days that one stage takes at most, and so how long after its beginning somebody may still write of it.
LONGEST_STAGE = timedelta(days=120)
READINGS_IN_HUNDREDTHS = {"ph": (0, 1400), "brix": (0, 9500), "temperature": (-4000, 20000)}

PH_AT_THE_END = Rule(
    "ferment-ends-with-a-ph",
    noop(
        "A ferment is finished by its pH, not by its days alone: it is measured before the food is canned or put into"
        " the refrigerator, and at more than 4.6 it is neither."
    ),
    "pH 4.6: Health Canada 2012; that every finished ferment is measured: a rule of this club",
)
PH_TOO_HIGH = Rule(
    "ferment-above-its-limit",
    noop(
        "Too little acid: do not taste it, can it or put it away. Leave it in its printed temperature, with its cover,"
        " and measure again after two days. If the printed days are over and it is still above, throw it away."
    ),
    "a rule of this club",
)
SPOILT = Rule(
    "ferment-is-thrown-away-when-spoilt",
    noop("Slimy food, much mould or a bad smell: throw the ferment away, untasted."),
    "Oregon State University Extension SP 50-745; USDA AIB 539",
)
DROPS = Rule(
    "dried-food-with-drops-is-dried-on",
    noop("Drops on the lid, or pieces that stick: it is not dry enough. Dry it on, or it will mould."),
    "Michigan State University Extension, Preserving Food Safely 01600529",
)
UNBLANCHED = Rule(
    "unblanched-says-so",
    noop("Vegetables frozen without blanching say so on their label: colour and taste go sooner."),
    "USDA, Canning, Freezing and Storing Garden Produce; how long they keep: no printed figure was found",
)
CALIBRATED = Rule(
    "reading-of-a-calibrated-instrument",
    noop("A reading is taken down only from an instrument whose test is good on that day."),
    "a rule of this club",
)
# Until a thermometer or a meter of one's own wants another calibration, in days.
OWN_CALIBRATION_DAYS = 90


# Low-temperature pasteurisation: the water's temperatures through its minutes.


@dataclass(frozen=True)
class WaterReading:
    """Degrees F at a moment, put right by what the thermometer read high at its test."""

    at: datetime
    f: Fraction


class WaterGap(NamedTuple):
    """From `since` on nothing shows that the water was hot enough; `coldest` where a reading shows that it was not."""

    since: datetime
    coldest: Fraction | None = None


def water_held(readings: Sequence[WaterReading], *, began: datetime, minutes: int, low_f: int) -> WaterGap | None:
    """What is missing for so many minutes at `low_f` or more; None: it was read often enough, and hot enough, from the
    beginning to the end. Moments in UTC."""
    ends = began + timedelta(minutes=minutes)
    inside = sorted((one for one in readings if began <= one.at <= ends + WATER_READ_EVERY), key=lambda one: one.at)
    last = began
    for one in inside:
        if one.at - last > WATER_READ_EVERY:
            return WaterGap(last)
        if one.f < low_f and one.at <= ends:
            return WaterGap(one.at, one.f)
        last = one.at
    return WaterGap(last) if last < ends else None
