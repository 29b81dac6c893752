"""Ways of keeping that take days: what is weighed in, how long each stage lasts, how long the food keeps.

Ferments, dried and frozen food. Every figure comes out of a row of a published table (`fixtures/library`), read here
from its text and never guessed: what a row leaves empty is None, and what rests on it is refused. Ranges stay ranges;
where one of them must be chosen, the shorter time to keep and the heavier salt are taken.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from recipes.engine.data import rows
from recipes.engine.mass_balance import PUBLISHED, Span
from recipes.engine.quantities import POUND_G, UNITS, parse_amount
from recipes.engine.terms import Altitude, RecipeStep, Refusal, Seen

Row = Mapping[str, str]
DAY = timedelta(days=1)


class Way(StrEnum):
    FERMENT = "ferment"
    DRY = "dry"
    FREEZE = "freeze"


class StageKind(StrEnum):
    """`PREPARE` is what is done before the waiting begins: salting, blanching, dipping; `STAND` a recipe's own wait."""

    PREPARE = "prepare"
    FERMENT = "ferment"
    DRY = "dry"
    CONDITION = "condition"
    PASTEURISE = "pasteurise"
    FREEZE = "freeze"
    STAND = "stand"


class Between(NamedTuple):
    """A printed range, both ends included; one figure is a range of itself."""

    low: Fraction
    high: Fraction


@dataclass(frozen=True)
class Cited:
    """Where a row was read, and how far; `otherwise` is what other sources print."""

    source: str
    place: str
    seen: Seen
    otherwise: str = ""


@dataclass(frozen=True)
class Band:
    """A ferment's temperatures in degrees F and its days; without days `warning` says what happens there."""

    name: str
    f_low: Fraction | None
    f_high: Fraction | None
    days: Between | None
    warning: str
    cited: Cited


@dataclass(frozen=True)
class Brine:
    """What the source adds to `per_g` of the vegetable: salt in grams (a range), water and vinegar in ml."""

    vegetable: str
    per_g: Fraction
    salt_g: Between
    water_ml: Fraction
    vinegar_ml: Fraction
    printed: str


@dataclass(frozen=True)
class Ferment:
    """`ph_end` is printed for the finished food, `ph_most` the most at which it is taken for acid at all."""

    food: str
    names: tuple[str, ...]
    bands: tuple[Band, ...]
    brine: Brine
    look_days: Between
    look_for: str
    done: str
    ph_end: Between
    ph_most: Fraction
    months: Between | None
    keep: str
    spoilt: str
    may_be_canned: bool
    cited: Cited


@dataclass(frozen=True)
class Blanch:
    """Minutes in boiling water or in steam; None where the source does not print that way."""

    water: Between | None
    steam: Between | None


@dataclass(frozen=True)
class Dried:
    food: str
    kind: str
    names: tuple[str, ...]
    piece: str
    pretreatment: str
    blanch: Blanch
    f: Between
    hours: Between | None
    test: str
    condition_days: Between | None
    months: Mapping[int, Between]  # by degrees F of the store
    cited: Cited


@dataclass(frozen=True)
class Frozen:
    food: str
    kind: str
    names: tuple[str, ...]
    piece: str
    pack: str
    sugar: str
    syrup_percent: Between | None
    ascorbic_acid: str
    method: str  # how it is heated first; "none" where it is not
    blanch: Blanch
    cool_minutes: Fraction | None
    headspace_in: Fraction | None
    months: Between | None
    cited: Cited

    @property
    def is_blanched(self) -> bool:
        return self.blanch.water is not None or self.blanch.steam is not None


@dataclass(frozen=True)
class Rules:
    """The figures that hold for every food of a way, by name; each with its row's source."""

    figures: Mapping[str, Between]
    cited: Mapping[str, Cited]


@dataclass(frozen=True)
class Tables:
    ferments: Mapping[str, Ferment]
    dried: Mapping[str, Dried]
    frozen: Mapping[str, Frozen]
    rules: Rules


# Reading rows of text.


def _number(text: str) -> Fraction:
    """ "3", "1 1/2", "3.4"; ValueError for anything else."""
    return sum((Fraction(part) for part in text.split()), Fraction(0))


def _between(low: str, high: str) -> Between | None:
    if not low.strip():
        return None
    first = _number(low)
    return Between(first, _number(high) if high.strip() else first)


def _dashed(text: str) -> Between | None:
    low, _dash, high = text.partition("-")
    return _between(low, high)


def _names(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def _cited(row: Row) -> Cited:
    return Cited(row["source"], row["place"], Seen(row["seen"]), row.get("otherwise", ""))


def key_of(*parts: str) -> str:
    """Letters and digits joined by dashes: "carrots-small-whole"."""
    return re.sub(r"[^a-z0-9]+", "-", " ".join(parts).lower()).strip("-")


def read_tables(
    *,
    ferments: Iterable[Row],
    brines: Iterable[Row],
    drying: Iterable[Row],
    freezing: Iterable[Row],
    rules: Iterable[Row],
) -> Tables:
    """The tables as values. Rows that nobody read in print are left out; KeyError or ValueError for a damaged one.

    Meat is left out as well: its heating to 160 °F would need a log of its own.
    """
    by_product = {row["product"]: row for row in brines}
    bands: dict[str, list[Row]] = {}
    for row in ferments:
        bands.setdefault(row["food"], []).append(row)
    seen_rules = [row for row in rules if row["figure"].strip() and Seen(row["seen"]).is_seen]
    dried = (_dried(row) for row in drying if Seen(row["seen"]).is_seen and row["kind"] != "meat")
    frozen = (_frozen(row) for row in freezing if Seen(row["seen"]).is_seen)
    made = (_ferment(food, rows, by_product) for food, rows in bands.items())
    return Tables(
        ferments={key_of(one.food): one for one in made if one is not None},
        dried={key_of(one.food, one.piece): one for one in dried},
        frozen={key_of(one.food, one.piece, one.pack): one for one in frozen},
        rules=Rules(
            {row["name"]: found for row in seen_rules if (found := _dashed(row["figure"]))},
            {row["name"]: _cited(row) for row in seen_rules},
        ),
    )


def _ferment(food: str, rows: Sequence[Row], brines: Mapping[str, Row]) -> Ferment | None:
    first = rows[0]
    brine = _brine(first, brines.get(food))
    ph_end, ph_most = _between(first["ph_end_low"], first["ph_end_high"]), first["ph_most"]
    if brine is None or ph_end is None or not ph_most or not Seen(first["seen"]).is_seen:
        return None
    looks = _between(first["look_days_low"], first["look_days_high"])
    return Ferment(
        food=food,
        names=_names(first["names"]),
        bands=tuple(_band(row) for row in rows if Seen(row["seen"]).is_seen),
        brine=brine,
        look_days=looks or Between(Fraction(1), Fraction(1)),
        look_for=first["check"],
        done=first["done"],
        ph_end=ph_end,
        ph_most=_number(ph_most),
        months=_between(first["months_low"], first["months_high"]),
        keep=first["keep"],
        spoilt=first["spoilt"],
        may_be_canned="canned" in first["then"],
        cited=_cited(first),
    )


def _band(row: Row) -> Band:
    low, high = (
        _number(row[name]) if row[name].strip() else None for name in ("temperature_f_low", "temperature_f_high")
    )
    days = _between(row["days_low"], row["days_high"])
    return Band(row["band"], low, high, days, row["warning"], _cited(row))


_TO_POUNDS = re.compile(r"to ([0-9]+) lb of ([a-z]+)")


def _brine(row: Row, brine: Row | None) -> Brine | None:
    """By weight where the share was seen in print; else by the printed measure, weighed as a cup of salt weighs."""
    share = _between(row["salt_percent_low"], row["salt_percent_high"])
    if share is not None and row["salt_percent_seen"] and Seen(row["salt_percent_seen"]).is_seen:
        return Brine(row["food"], Fraction(100), share, Fraction(0), Fraction(0), row["salt_printed"])
    pounds = _TO_POUNDS.search(row["salt_printed"])
    cup = PUBLISHED.grams_per_cup.get(("salt", ""))
    if brine is None or pounds is None or cup is None or not Seen(brine["seen"]).is_seen:
        return None
    salt = _cups(brine["salt"]) * Fraction(str(cup.span.best))
    is_water = brine["goes_with"].startswith("water")
    return Brine(
        vegetable=pounds[2],
        per_g=Fraction(pounds[1]) * POUND_G,
        salt_g=Between(salt, salt),
        water_ml=_cups(brine["goes_with_amount"]) * UNITS["cup"].size if is_water else Fraction(0),
        vinegar_ml=_cups(brine["vinegar"].partition(" of ")[0]) * UNITS["cup"].size,
        printed=row["salt_printed"],
    )


def _cups(text: str) -> Fraction:
    """A printed volume in US cups; none for an empty cell."""
    if not text.strip():
        return Fraction(0)
    amount = parse_amount(text)
    return amount.value * UNITS[amount.unit].size / UNITS["cup"].size


def _blanch(row: Row, water: tuple[str, str], steam: tuple[str, str]) -> Blanch:
    return Blanch(_between(row[water[0]], row[water[1]]), _between(row[steam[0]], row[steam[1]]))


def _dried(row: Row) -> Dried:
    heat = _between(row["temperature_f"], row["temperature_f_high"])
    months = {f: _between(row[f"months_{f}f_low"], row[f"months_{f}f_high"]) for f in (60, 70, 80)}
    return Dried(
        food=row["food"],
        kind=row["kind"],
        names=_names(row["names"]),
        piece=row["piece"],
        pretreatment=row["pretreatment"],
        blanch=_blanch(
            row, ("water_blanch_min_low", "water_blanch_min_high"), ("steam_blanch_min_low", "steam_blanch_min_high")
        ),
        f=heat or Between(Fraction(0), Fraction(0)),
        hours=_between(row["hours_low"], row["hours_high"]),
        test=row["test"],
        condition_days=_between(row["conditioning_days"], row["conditioning_days_high"]),
        months={f: found for f, found in months.items() if found is not None},
        cited=_cited(row),
    )


def _frozen(row: Row) -> Frozen:
    return Frozen(
        food=row["food"],
        kind=row["kind"],
        names=_names(row["names"]),
        piece=row["piece"],
        pack=row["pack"],
        sugar=row["sugar"],
        syrup_percent=_dashed(row["syrup_percent"]),
        ascorbic_acid=row["ascorbic_acid"],
        method=row["method"],
        blanch=_blanch(row, ("blanch_min", "blanch_min_high"), ("steam_blanch_min", "steam_blanch_min_high")),
        cool_minutes=_number(row["cool_min"]) if row["cool_min"].strip() else None,
        headspace_in=_number(row["headspace_in"]) if row["headspace_in"].strip() else None,
        months=_between(row["months_low"], row["months_high"]),
        cited=_cited(row),
    )


# The sums.


@dataclass(frozen=True)
class WeighedIn:
    """Whole grams of salt, never less than printed nor more; water and vinegar in whole ml, vinegar rounded up."""

    salt_g: tuple[int, int]
    water_ml: int
    vinegar_ml: int


def weighed_in(brine: Brine, food_g: int) -> WeighedIn:
    """What goes with so many grams of the vegetable, in the source's own proportions. ValueError for no food."""
    if food_g <= 0:
        raise ValueError("there is nothing to salt")
    times = Fraction(food_g) / brine.per_g
    low = ceil(brine.salt_g.low * times)
    high = max(low, floor(brine.salt_g.high * times))
    return WeighedIn((low, high), round(brine.water_ml * times), ceil(brine.vinegar_ml * times))


def band_for(ferment: Ferment, room_f: Fraction) -> Band | Refusal:
    """The band of days that a room's temperature falls into. Between two bands nothing is printed, so it is refused."""
    timed = [band for band in ferment.bands if band.days is not None]
    for band in timed:
        if (band.f_low is None or room_f >= band.f_low) and (band.f_high is None or room_f <= band.f_high):
            return band
    for band in ferment.bands:
        inside = (band.f_low is None or room_f > band.f_low) and (band.f_high is None or room_f < band.f_high)
        if band.days is None and inside:
            return Refusal("ferment-temperature.warned", "KEEP-FIGURE", {"food": ferment.food, "warning": band.warning})
    printed = tuple(heat_text(band.f_low, band.f_high) for band in timed)
    return Refusal("ferment-temperature", "KEEP-FIGURE", {"food": ferment.food, "bands": printed})


def celsius(f: Fraction | int) -> Fraction:
    return (Fraction(f) - 32) * 5 / 9


def heat_text(low: Fraction | int | None, high: Fraction | int | None) -> str:
    """ "70 to 75 °F (21 to 24 °C)"; one figure where both are the same, or where one is not printed."""
    ends = sorted({Fraction(end) for end in (low, high) if end is not None})
    in_f, in_c = (" to ".join(str(round(end)) for end in found) for found in (ends, map(celsius, ends)))
    return f"{in_f} °F ({in_c} °C)"


@dataclass(frozen=True)
class StagePlan:
    """One stage: its shortest and longest time (None: by a test, not by the clock), and how often it is looked at."""

    kind: StageKind
    shortest: timedelta | None = None
    longest: timedelta | None = None  # never shorter than `shortest`
    look_every: timedelta | None = None
    words: str = ""  # the recipe's own, of a `STAND`


@dataclass(frozen=True)
class StageDates:
    kind: StageKind
    begins: datetime
    ends_from: datetime | None
    ends_by: datetime | None


def ferment_stages(ferment: Ferment, band: Band) -> tuple[StagePlan, ...]:
    """A look each day where the source asks for one, else as often as its shorter interval says."""
    assert band.days is not None  # `band_for` gives no other
    every = DAY if ferment.look_days.low <= 1 else _days(ferment.look_days.low)
    return (
        StagePlan(StageKind.PREPARE),
        StagePlan(StageKind.FERMENT, _days(band.days.low), _days(band.days.high), every),
    )


def drying_stages(dried: Dried, rules: Rules, *, pasteurise: bool = False) -> tuple[StagePlan, ...]:
    """Drying ends by its test, so its hours are no bounds. Fruit is conditioned; two days in a freezer where wanted."""
    hours = dried.hours
    stages = [StagePlan(StageKind.PREPARE)] if dried.pretreatment not in ("", "none") else []
    stages.append(
        StagePlan(
            StageKind.DRY, None if hours is None else _hours(hours.low), None if hours is None else _hours(hours.high)
        )
    )
    if (days := dried.condition_days) is not None:
        stages.append(StagePlan(StageKind.CONDITION, _days(days.low), _days(days.high), DAY))
    if pasteurise and (cold := rules.figures.get("pasteurise-freezer-hours")) is not None:
        stages.append(StagePlan(StageKind.PASTEURISE, _hours(cold.low), _hours(cold.high)))
    return tuple(stages)


def freezing_stages(frozen: Frozen, *, blanched: bool) -> tuple[StagePlan, ...]:
    freeze = StagePlan(StageKind.FREEZE, timedelta(0), DAY)
    return (StagePlan(StageKind.PREPARE), freeze) if frozen.is_blanched and blanched else (freeze,)


# What a step is called that waits by itself, cold or in brine; from so many hours on somebody goes away meanwhile.
WAITING = frozenset({"soak", "brine", "salt", "chill", "stand", "settle", "hold", "drip", "marinate"})
WAIT_FROM_HOURS = 3  # our own choice, no source


def waits_of(steps: Iterable[RecipeStep]) -> tuple[StagePlan, ...]:
    """The hours and days that a recipe's own steps wait, in its order, of those seen in print alone."""
    return tuple(
        StagePlan(StageKind.STAND, _hours(step.hours.low), _hours(step.hours.high), words=str(step))
        for step in steps
        if step.action in WAITING and step.hours is not None and step.is_read and step.hours.low >= WAIT_FROM_HOURS
    )


def _days(count: Fraction) -> timedelta:
    return timedelta(days=float(count))


def _hours(count: Fraction) -> timedelta:
    return timedelta(hours=float(count))


def stage_dates(stages: Iterable[StagePlan], began: datetime) -> list[StageDates]:
    """When each stage begins and may end, each as early as the ones before allow. `began` is in UTC: elapsed time."""
    found, at, latest = [], began, began
    for stage in stages:
        ends_from = None if stage.shortest is None else at + stage.shortest
        ends_by = None if stage.longest is None else latest + stage.longest
        found.append(StageDates(stage.kind, at, ends_from, ends_by))
        at, latest = ends_from or at, ends_by or latest
    return found


def blanch_minutes(blanch: Between, rules: Rules, altitude: Altitude) -> Between:
    """The printed minutes, longer by what is printed for kitchens higher up."""
    above, more = rules.figures.get("blanch-more-above-ft"), rules.figures.get("blanch-more-minutes")
    if above is None or more is None or altitude.feet < above.low:
        return blanch
    return Between(blanch.low + more.low, blanch.high + more.low)


def store_months(food: str, months: Mapping[int, Fraction], store_f: Fraction) -> Fraction | Refusal:
    """Months at best in a store of so many degrees F, of those printed by degrees: those of the next warmer one.

    Warmer than any printed one: refused, for nothing says how long.
    """
    warmer = sorted(f for f in months if f >= store_f)
    if not months:
        return Refusal("keeps-unknown", "KEEP-FIGURE", {"food": food})
    if not warmer:
        return Refusal("keeps-too-warm", "KEEP-FIGURE", {"food": food, "most": max(months)})
    return months[warmer[0]]


def freezer_months(frozen: Frozen, *, blanched: bool) -> Fraction | Refusal:
    """Months at best at 0 °F: the shorter printed figure. Of what should have been blanched and was not: refused."""
    if frozen.is_blanched and not blanched:
        return Refusal("keeps-unblanched", "KEEP-FIGURE", {"food": frozen.food})
    if frozen.months is None:
        return Refusal("keeps-unknown", "KEEP-FIGURE", {"food": frozen.food})
    return frozen.months.low


def best_by(day: date, months: Fraction) -> date:
    """The last day of so many months from a day; half a month is 15 days, and a day that is not is the month's last."""
    whole = floor(months)
    year, month = divmod(day.month - 1 + whole, 12)
    first = date(day.year + year, month + 1, 1)
    following = date(first.year + (first.month == 12), first.month % 12 + 1, 1)
    found = first.replace(day=min(day.day, (following - first).days))
    return found + timedelta(days=floor((months - whole) * 30))


# Water left in dried food in percent, by kind. Fruit has 20 or less (Iowa State University Extension, AnswerLine, 15
# August 2023); vegetables about 10 (a copy of the National Center for Home Food Preservation's text on testing for
# dryness); how far below it a batch lies is an estimate of ours, no source.
DRY_WATER: Mapping[str, Span] = {"fruit": Span(10, 20, 20), "vegetable": Span(4, 10, 10)}


# Percent of water in the fresh food, by the tables' own name of it.
WATER: Mapping[str, float] = {row["food"]: float(row["water_pct"]) for row in rows("water.csv")}


def dry_yield(fresh_g: int, water_pct: float, dry_water: Span) -> Span:
    """Grams left of so many grams prepared: the dry matter stays, the water goes. ValueError for water beyond 0 to 100.

    matter = fresh (100 - water) / 100; left = matter / (1 - dry water / 100).
    """
    if not 0 <= water_pct < 100 or fresh_g <= 0:
        raise ValueError("the share of water lies from 0 to 100, and something is weighed")
    matter = fresh_g * (100 - water_pct) / 100
    return Span(*(matter / (1 - share / 100) for share in dry_water))


class PhVerdict(StrEnum):
    FINISHED = "finished"  # within what is printed for the finished food, or lower
    ACID = "acid"  # acid enough, and not yet as sour as the finished food
    TOO_HIGH = "too-high"  # above the food's limit


def ph_verdict(ferment: Ferment, ph: Fraction) -> PhVerdict:
    if ph > ferment.ph_most:
        return PhVerdict.TOO_HIGH
    return PhVerdict.FINISHED if ph <= ferment.ph_end.high else PhVerdict.ACID
