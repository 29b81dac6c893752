"""The yield, the jars and the day of a plan in the words of a page: nothing here decides, it only says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.core.money import money_text
from recipes.costs import Cost
from recipes.engine.foods import Span
from recipes.engine.jars import JarMix
from recipes.engine.loads import Process
from recipes.engine.plan import JarCount, Plan
from recipes.engine.plan_terms import MASS_BALANCE
from recipes.engine.plan_write import clock
from recipes.measures import pressure_text
from recipes.plan_page import volume_words
from recipes.words import JARS, STEPS


@dataclass(frozen=True)
class YieldWords:
    """What the pots give: a figure, its reach, and what it rests on ("" where it is not known)."""

    volume: str
    reach: str
    brix: str
    jars_a_pot: str
    basis: str
    filled_by: str
    estimates: tuple[str, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class PotJars:
    """One or several pots that are filled alike."""

    pots: str
    jars: str
    part_jar: str


@dataclass(frozen=True)
class LoadWords:
    """One canner load."""

    number: int
    pot: int
    canner: str
    jars: str
    process: str
    room: str


@dataclass(frozen=True)
class StepWords:
    """One step of the day; "" where it takes no burner, canner or cook."""

    begin: str
    end: str
    what: str
    pot: int
    burner: str
    canner: str
    cook: str


@dataclass(frozen=True)
class CostWords:
    """What is used costs, as far as prices are known; `unknown` is not in it. `total` is "" with no price at all."""

    total: str
    parts: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]
    jars: tuple[tuple[str, str], ...]


def yield_words(plan: Plan) -> YieldWords | None:
    """None where neither the source nor the mass balance tells."""
    predicted = plan.predicted
    if predicted is None:
        return None
    by_weight = predicted.basis == MASS_BALANCE
    return YieldWords(
        volume=volume_words(predicted.best_ml),
        reach="" if predicted.low_ml == predicted.high_ml else _reach(predicted.low_ml, predicted.high_ml),
        brix=_span(predicted.brix, 0) if predicted.brix else "",
        jars_a_pot=_span(predicted.jars_a_pot, 1) if predicted.jars_a_pot else "",
        basis=_("By weight: what goes in, less what boils off.") if by_weight else predicted.why_not,
        filled_by=_filled_by(plan),
        estimates=predicted.estimates,
        assumptions=predicted.assumptions,
    )


def pot_jars(plan: Plan) -> list[PotJars]:
    """The jars of each pot; pots in a row that are filled alike share a line."""
    found: list[PotJars] = []
    first = 0
    for number, mix in enumerate(plan.mixes):
        last = number + 1 == len(plan.mixes) or plan.mixes[number + 1] != mix
        if last:
            found.append(PotJars(_pots(first + 1, number + 1), jar_counts(mix.jars), _part_jar(mix)))
            first = number + 1
    return found


def jar_counts(jars: tuple[JarCount, ...]) -> str:
    """ "3 × pint (473 ml), 2 × half-pint (237 ml)"; "" for none."""
    return ", ".join(f"{jar.count} × {JARS[jar.size]}" for jar in jars)


def load_lines(plan: Plan) -> list[LoadWords]:
    return [
        LoadWords(
            number=load.number,
            pot=load.pot,
            canner="" if load.canner is None else str(load.canner),
            jars=jar_counts(load.jars),
            process=process_text(load.process),
            room=f"{round(load.filled * 100)} %",
        )
        for load in plan.loads
    ]


def process_text(process: Process) -> str:
    """ "25 minutes at 12 psi (83 kPa)" """
    minutes = ngettext("%(n)s minute", "%(n)s minutes", process.minutes) % {"n": process.minutes}
    if process.pressure_psi is None:
        return minutes
    return _("%(minutes)s at %(pressure)s") % {"minutes": minutes, "pressure": pressure_text(process.pressure_psi)}


def step_lines(plan: Plan) -> list[StepWords]:
    """Every step in order, timed as `when_words` has it."""
    if plan.day is None:
        return []
    when = when_words(plan)
    return [
        StepWords(
            begin=when(step.start),
            end=when(step.end),
            what=str(STEPS[step.kind][0]),
            pot=step.pot,
            burner=_number(step.burner),
            canner=_number(step.canner),
            cook=_number(step.cook),
        )
        for step in plan.day.steps
    ]


def when_words(plan: Plan) -> Callable[[int], str]:
    """How a minute of the plan's day is said: as a time of the day with a finish, else as hours from the start."""
    begins = plan.begins
    if begins is None:
        return lambda minute: f"{minute // 60}:{minute % 60:02d}"
    return lambda minute: clock(begins + minute)


def day_summary(plan: Plan) -> str:
    """ "13:58 to 16:00, 2 h 2 min"; "" without a timeline."""
    if plan.day is None:
        return ""
    length = _("%(hours)s h %(minutes)s min") % {"hours": plan.day.minutes // 60, "minutes": plan.day.minutes % 60}
    if plan.begins is None or plan.finish is None:
        return length
    begin = clock(plan.begins) if plan.begins >= 0 else _("%(time)s the day before") % {"time": clock(plan.begins)}
    return _("%(begin)s to %(end)s, %(length)s") % {"begin": begin, "end": clock(plan.finish), "length": length}


def processes_by_size(plan: Plan) -> list[tuple[str, str]]:
    """Each jar size and its process, where the jars of a plan are not all processed alike."""
    found = {jar.size: load.process for load in plan.loads for jar in load.jars}
    if len(set(found.values())) < 2:
        return []
    return [(str(JARS[size]), process_text(process)) for size, process in found.items()]


def cost_words(cost: Cost) -> CostWords:
    return CostWords(
        total=money_text(cost.total_cents) if cost.parts else "",
        parts=tuple((item, money_text(cents)) for item, cents in cost.parts),
        unknown=cost.unknown,
        jars=tuple((str(JARS[jar.size]), _from_to(jar.low_cents, jar.high_cents)) for jar in cost.jars),
    )


def _from_to(low: int, high: int) -> str:
    if low == high:
        return money_text(low)
    return _("%(low)s or %(high)s") % {"low": money_text(low), "high": money_text(high)}


def _filled_by(plan: Plan) -> str:
    if plan.filled_basis == MASS_BALANCE:
        return _("Jars are planned from the low end of the weight, for no source prints a yield that was seen.")
    return _("Jars are planned from the low end of the yield that the source states.")


def _reach(low: Fraction, high: Fraction) -> str:
    return _("%(low)s to %(high)s") % {"low": volume_words(low), "high": volume_words(high)}


def _span(span: Span, places: int) -> str:
    best, low, high = (f"{figure:.{places}f}" for figure in (span.best, span.low, span.high))
    return _("%(best)s (%(low)s to %(high)s)") % {"best": best, "low": low, "high": high}


def _pots(first: int, last: int) -> str:
    if first == last:
        return _("Pot %(number)s") % {"number": first}
    return _("Pots %(first)s to %(last)s, each") % {"first": first, "last": last}


def _part_jar(mix: JarMix) -> str:
    part = mix.part_jar
    if part is None:
        return ""
    if part.size is None:
        return _("%(volume)s with no empty jar for it") % {"volume": volume_words(part.ml)}
    told = {"size": JARS[part.size], "volume": volume_words(part.ml)}
    return _("%(volume)s in a %(size)s jar for the refrigerator, not processed") % told


def _number(number: int | None) -> str:
    return "" if number is None else str(number)
