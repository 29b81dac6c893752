"""The kinds of equipment a club lends, and the states that a thing, a hold or a wait is in."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from django.db import models
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from club.members.choices import Skill

# The words of the room: what state a thing, a hold or a wait is in, and how good a thing looked.


class ThingState(models.TextChoices):
    IN_SERVICE = "in-service", _("in service")
    IN_REPAIR = "in-repair", _("in repair")
    RETIRED = "retired", _("retired")


class Condition(models.TextChoices):
    GOOD = "good", _("good")
    WORN = "worn", _("worn, still safe to use")
    BROKEN = "broken", _("needs repair")


class Occasion(models.TextChoices):
    ADDED = "added", _("came to the club")
    HANDED_OVER = "handed-over", _("handed over")
    RETURNED = "returned", _("came back")
    LOOKED_OVER = "looked-over", _("looked over")
    TO_REPAIR = "to-repair", _("went to repair")
    REPAIRED = "repaired", _("back from repair")
    PARTS = "parts", _("missing or damaged part settled")
    RETIRED = "retired", _("retired")


class Part(models.TextChoices):
    """The parts of a canner that are looked at once a year."""

    WEIGHT = "weight", _("weighted gauge")
    GASKET = "gasket", _("gasket")
    VENT = "vent", _("vent")
    PLUG = "plug", _("safety plug")
    RACK = "rack", _("rack")
    LID = "lid", _("lid")


class PartState(models.TextChoices):
    SOUND = "sound", _("sound")
    DAMAGED = "damaged", _("damaged")
    MISSING = "missing", _("missing")
    NONE = "none", _("it has none")


# What takes a thing out of use until somebody settles it.
OPEN_MATTERS = (PartState.DAMAGED, PartState.MISSING)


class PartsOutcome(models.TextChoices):
    """What became of a part that was missing or damaged at a return."""

    BACK = "back", _("the part is back")
    REPLACED = "replaced", _("the part was replaced")
    MENDED = "mended", _("the part was mended")
    WITHDRAWN = "withdrawn", _("the thing was withdrawn")
    # Lent again or retired since, before missing parts were followed up; written by the migration that began it.
    BEFORE = "before", _("from before missing parts were followed up")


class HoldState(models.TextChoices):
    OFFERED = "offered", _("offered, not answered yet")
    HELD = "held", _("held")
    OUT = "out", _("handed over")
    BACK = "back", _("back")
    CANCELLED = "cancelled", _("cancelled")


class WaitState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    OFFERED = "offered", _("offered")
    TAKEN = "taken", _("taken")
    LAPSED = "lapsed", _("not answered in time")
    LEFT = "left", _("left the line")
    PAST = "past", _("the days went by")


class Verdict(models.TextChoices):
    PASSED = "passed", _("passed")
    FAILED = "failed", _("failed")


# How a keeper can settle a missing part.
PARTS_OUTCOMES = (PartsOutcome.BACK, PartsOutcome.REPLACED, PartsOutcome.MENDED, PartsOutcome.WITHDRAWN)

# The kinds of thing a preserving club lends, in the trade's terms, and what hangs on a kind.


class Measure(StrEnum):
    """What an instrument shows, and so what it is tested in."""

    PSI = "psi"
    PH = "pH"
    BRIX = "°Bx"
    CELSIUS = "°C"


class Kind(models.TextChoices):
    BOILING_WATER = "boiling-water-canner", _("Boiling-water canner")
    STEAM = "steam-canner", _("Atmospheric steam canner")
    DIAL_GAUGE = "dial-gauge-canner", _("Pressure canner, dial gauge")
    WEIGHTED_GAUGE = "weighted-gauge-canner", _("Pressure canner, weighted gauge")
    PRESERVING_PAN = "preserving-pan", _("Preserving pan")
    STEAM_JUICER = "steam-juicer", _("Steam juicer")
    FRUIT_PRESS = "fruit-press", _("Fruit press")
    FOOD_MILL = "food-mill", _("Food mill")
    STRAINER = "strainer", _("Jelly bag or strainer")
    PITTER = "pitter", _("Cherry pitter")
    PEELER = "peeler", _("Apple peeler and corer")
    JAR_LIFTER = "jar-lifter", _("Jar lifter")
    FUNNEL = "funnel", _("Canning funnel and headspace gauge")
    CROCK = "crock", _("Fermenting crock")
    DEHYDRATOR = "dehydrator", _("Dehydrator")
    BURNER = "burner", _("Portable burner")
    THERMOMETER = "thermometer", _("Thermometer")
    REFRACTOMETER = "refractometer", _("Refractometer")
    PH_METER = "ph-meter", _("pH meter")
    SCALE = "scale", _("Scale")
    OTHER = "other", _("Other thing")


@dataclass(frozen=True)
class KindFacts:
    """`prefix` begins the codes of the kind; `turnaround_days` is for cleaning after each loan; `skill` is asked of
    whoever borrows one, where a thing does not say otherwise; `parts` are looked at once a year."""

    prefix: str
    turnaround_days: int = 0
    measure: Measure | None = None
    holds_jars: bool = False
    skill: str = ""
    parts: tuple[Part, ...] = ()


_POT = (Part.RACK, Part.LID)
_PRESSURE = (Part.GASKET, Part.VENT, Part.PLUG, Part.RACK)

# That a pressure canner goes only to who had the pressure class is the club's own rule, no source.
# The turnaround days are common practice, no source: what is cooked in wants a day to be scrubbed and dried.
FACTS: dict[str, KindFacts] = {
    Kind.BOILING_WATER: KindFacts("BWC", 1, holds_jars=True, parts=_POT),
    Kind.STEAM: KindFacts("STC", 1, holds_jars=True, parts=_POT),
    Kind.DIAL_GAUGE: KindFacts("DGC", 1, Measure.PSI, holds_jars=True, skill=Skill.PRESSURE, parts=_PRESSURE),
    Kind.WEIGHTED_GAUGE: KindFacts("WGC", 1, holds_jars=True, skill=Skill.PRESSURE, parts=(Part.WEIGHT, *_PRESSURE)),
    Kind.PRESERVING_PAN: KindFacts("PAN", 1),
    Kind.STEAM_JUICER: KindFacts("JUI", 1),
    Kind.FRUIT_PRESS: KindFacts("PRS", 1),
    Kind.FOOD_MILL: KindFacts("MIL"),
    Kind.STRAINER: KindFacts("STR", 1),
    Kind.PITTER: KindFacts("PIT"),
    Kind.PEELER: KindFacts("PEL"),
    Kind.JAR_LIFTER: KindFacts("LIF"),
    Kind.FUNNEL: KindFacts("FUN"),
    Kind.CROCK: KindFacts("CRK", 1),
    Kind.DEHYDRATOR: KindFacts("DEH", 1),
    Kind.BURNER: KindFacts("BUR"),
    Kind.THERMOMETER: KindFacts("THM", 0, Measure.CELSIUS),
    Kind.REFRACTOMETER: KindFacts("REF", 0, Measure.BRIX),
    Kind.PH_METER: KindFacts("PHM", 0, Measure.PH),
    Kind.SCALE: KindFacts("SCL"),
    Kind.OTHER: KindFacts("THG"),
}

# What jars are processed in. A household may keep the card of its own, with its tests, beside the club's.
CANNER_KINDS: tuple[str, ...] = tuple(kind for kind, facts in FACTS.items() if facts.holds_jars)
PRESSURE_KINDS: tuple[str, ...] = (Kind.DIAL_GAUGE, Kind.WEIGHTED_GAUGE)
OWN_PREFIX = "OWN"

NO_SKILL = "none"  # a thing that asks for nothing, though its kind would

PARTS_KINDS: tuple[str, ...] = tuple(kind for kind, facts in FACTS.items() if facts.parts)
# What only goes out with a good test. A thermometer goes out without one, as most of what it shows decides nothing: no
# reading of it is written down then.
TESTED_KINDS: tuple[str, ...] = tuple(
    kind for kind, facts in FACTS.items() if facts.measure not in (None, Measure.CELSIUS)
)


def kind_label(kind: str) -> str | Promise:
    return Kind(kind).label
