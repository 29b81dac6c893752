"""A session's plan in the words of a page and of the sheet on the wall: nothing here decides, it only says."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.classes.models import Station
from club.classes.planning import SessionPlan
from club.classes.services.publishing import refusal_words, stations_words
from recipes.day_page import (
    StepWords,
    jar_counts,
    process_text,
    processes_by_size,
    step_lines,
)
from recipes.engine.plan_terms import Plan
from recipes.engine.plan_write import clock
from recipes.engine.quantities import format_amount
from recipes.engine.station_terms import CLEAN_UP, STATION_RULES
from recipes.engine.stations import HallPlan, HallRefusal, TotalLine
from recipes.engine.terms import Caution, Rule
from recipes.engine.timeline import StepKind
from recipes.measures import altitude_text, amount_pair, temperature_text
from recipes.pictures import Day, Mark, days_svg
from recipes.plan_page import PlanLine, ProcessWords, plan_lines, process_words
from recipes.words import CANNERS, JARS

PICTURE_EVERY = 30  # the picture begins and ends at a half hour


@dataclass(frozen=True)
class Said:
    """A refusal or a caution with its stations in front, as the parts refusals.html and cautions.html take it."""

    message: str
    rule: str
    source: str


@dataclass(frozen=True)
class LoadTimes:
    """The clock of one canner load; "" for what does not come, such as cooking a raw pack."""

    number: int
    pot: int
    jars: str
    treated: str  # "10 minutes"
    cook: str
    fill: str
    process: str
    until: str
    out: str


@dataclass(frozen=True)
class StationWords:
    """One station: what is cooked, the process that safety hangs on, and when."""

    station: Station
    heading: str
    title: str
    revision: str
    process: ProcessWords | None
    processes: Sequence[tuple[str, str]]  # by jar size, where they differ
    jars: str
    canner: str
    burners: str
    begins: str
    ends: str
    lines: list[PlanLine]
    steps: list[StepWords]
    times: list[LoadTimes]
    cautions: tuple[Caution, ...]
    refusals: list[Said]  # those that are about this station


@dataclass(frozen=True)
class TotalWords:
    """One ingredient over all stations."""

    item: str
    prep: str
    amount: str
    beside: str
    stations: str
    optional: bool


@dataclass(frozen=True)
class PowerWords:
    """What the burners draw, against what the hall carries."""

    burners: str
    used: str
    limit: str  # "" while nobody has said
    rule: Rule


@dataclass(frozen=True)
class PlanWords:
    """Everything that the plan page and the wall sheet say."""

    altitude: str
    boiling: str
    stations: list[StationWords]
    refusals: list[Said]
    cautions: list[Said]
    totals: list[TotalWords]
    jars: str
    lids: int
    packets: str
    loads: int
    power: PowerWords
    begins: str
    ends: str
    clean_up: Rule


def plan_words(plan: SessionPlan, units: str, refusals: Iterable[HallRefusal]) -> PlanWords:
    """`units` is metric or us, `refusals` whatever stands in the way, the plan's own among them."""
    hall, altitude, against = plan.hall, plan.session.hall.altitude, tuple(refusals)
    boiling = next((each.boiling_point_c for each in plan.plans if each.boiling_point_c is not None), None)
    return PlanWords(
        altitude=altitude_text(altitude) if altitude else "",
        boiling=temperature_text(boiling) if boiling is not None else "",
        stations=[_station(each, made, units, against) for each, made in zip(plan.stations, plan.plans, strict=True)],
        refusals=[_said(each) for each in against],
        cautions=_cautions(hall),
        totals=[_total(line, units) for line in hall.lines],
        jars=", ".join(f"{jar.count} × {JARS[jar.size]}" for jar in hall.jars),
        lids=hall.lids,
        packets=", ".join(format_amount(Fraction(count), unit) for unit, count in hall.packets),
        loads=hall.loads,
        power=_power(hall),
        begins=clock(hall.begins) if hall.begins is not None else "",
        ends=clock(hall.closes - int(CLEAN_UP.value)),
        clean_up=STATION_RULES["CLASS-CLEAN-UP"],
    )


def plan_picture(plan: SessionPlan) -> str:
    """All stations on one clock, with the session's beginning, its cleaning up and its end; "" where none is timed."""
    hall = plan.hall
    if not hall.days:
        return ""
    names = {station.number: station_heading(station) for station in plan.stations}
    titles = {each.number: each.plan.recipe.title for each in hall.stations}
    first = min(hall.opens, hall.begins or hall.opens) // PICTURE_EVERY * PICTURE_EVERY
    return days_svg(
        [Day(f"{names[day.number]}: {titles[day.number]}", day.timeline) for day in hall.days],
        title=f"{plan.session.title}, {date_format(plan.session.day, 'D j M Y')}",
        first=first,
        last=-(-hall.closes // PICTURE_EVERY) * PICTURE_EVERY,
        when=clock,
        marks=(
            Mark(hall.opens, _("begin")),
            Mark(hall.closes - int(CLEAN_UP.value), _("last jar out")),
            Mark(hall.closes, _("end")),
        ),
        prefix="hall",
    )


def station_heading(station: Station) -> str:
    told = stations_words((station.number,))
    return f"{told}, {station.name}" if station.name else told


def _said(told: HallRefusal) -> Said:
    return Said(refusal_words(told), told.refusal.rule, told.refusal.source)


def _station(station: Station, plan: Plan, units: str, refusals: Iterable[HallRefusal]) -> StationWords:
    timed = plan.day is not None and plan.begins is not None and plan.finish is not None
    return StationWords(
        station=station,
        heading=station_heading(station),
        title=plan.recipe.title,
        revision=str(plan.revision or ""),
        process=process_words(plan.process),
        processes=processes_by_size(plan) or _one_process(plan),
        jars=", ".join(f"{jar.count} × {JARS[jar.size]}" for jar in plan.jars),
        canner=f"{station.canners} × {CANNERS[station.canner]}" if station.canner else "",
        burners=" + ".join(f"{watts:,} W" for watts in station.burners_w),
        begins=clock(plan.begins or 0) if timed else "",
        ends=clock(plan.finish or 0) if timed else "",
        lines=plan_lines(plan, units),
        steps=step_lines(plan),
        times=_load_times(plan),
        cautions=plan.cautions,
        refusals=[_said(each) for each in refusals if station.number in each.stations],
    )


def _load_times(plan: Plan) -> list[LoadTimes]:
    """When each load is cooked, filled, processed and lifted out; nothing where there is no clock."""
    day, begins = plan.day, plan.begins
    if day is None or begins is None:
        return []
    found = []
    for load in plan.loads:
        steps = {step.kind: step for step in day.steps if step.load == load.number and step.canner is not None}
        cook = next((step for step in day.steps if step.kind is StepKind.COOK and step.pot == load.pot), None)
        fill = next((step for step in day.steps if step.kind is StepKind.FILL and step.load == load.number), None)
        process = steps.get(StepKind.PROCESS)
        out = steps.get(StepKind.OUT)
        minutes = [
            step and step.start for step in (cook, fill, process, process and process._replace(start=process.end), out)
        ]
        times = ["" if minute is None else clock(begins + minute) for minute in minutes]
        found.append(LoadTimes(load.number, load.pot, jar_counts(load.jars), process_text(load.process), *times))
    return found


def _one_process(plan: Plan) -> list[tuple[str, str]]:
    """The one process of all loads with its jar; nothing where there is none."""
    if not plan.loads:
        return []
    load = plan.loads[0]
    return [(str(JARS[load.jars[0].size]), process_text(load.process))]


def _cautions(hall: HallPlan) -> list[Said]:
    """Those about some stations only say which; what is true of all of them is said plainly."""
    everybody = tuple(each.number for each in hall.stations)
    found = []
    for told in hall.cautions:
        before = "" if told.stations == everybody else stations_words(told.stations)
        message = f"{before}: {told.caution.message}" if before else told.caution.message
        found.append(Said(message, told.caution.rule, told.caution.source))
    return found


def _total(line: TotalLine, units: str) -> TotalWords:
    counted = replace(line.ingredient, amount=line.amount, amount_high=line.amount_high, grams=line.grams)
    amount, beside = amount_pair(counted, units, customary=line.text)
    return TotalWords(
        item=line.ingredient.item,
        prep=line.ingredient.prep,
        amount=amount,
        beside=beside,
        stations=", ".join(map(str, line.stations)),
        optional=line.ingredient.optional,
    )


def _power(hall: HallPlan) -> PowerWords:
    power = hall.power
    return PowerWords(
        burners=f"{power.burners_w:,} W",
        used=f"{power.used_at_once_w:,} W",
        limit="" if power.limit_w is None else f"{power.limit_w:,} W",
        rule=STATION_RULES["CLASS-POWER"],
    )
