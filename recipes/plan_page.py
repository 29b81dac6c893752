"""The engine's plan in the words of a page: nothing here decides, it only says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from django.utils.http import urlencode
from django.utils.translation import gettext as _

from recipes.engine.plan import Line, Plan
from recipes.engine.process import ProcessFound
from recipes.engine.terms import Ingredient
from recipes.engine.wording import format_number
from recipes.measures import amount_pair, headspace_text, pressure_text, source_words
from recipes.words import CANNERS, JARS, METHODS, PACKS, ROLES


@dataclass(frozen=True)
class PlanLine:
    """One ingredient: over all pots, and for each pot. `beside` is the same amount in the other units."""

    item: str
    prep: str
    role: str
    role_word: str
    optional: bool
    amount: str
    beside: str
    per_pot: str
    per_pot_beside: str


@dataclass(frozen=True)
class ProcessWords:
    """The process that was found, as a page says it."""

    method: str
    minutes: str
    pressure: str
    gauge: str
    band: str
    pack: str
    jar: str
    headspace: str
    vent_minutes: int
    source: str


def plan_lines(plan: Plan, units: str) -> list[PlanLine]:
    return [_line(line, units) for line in plan.lines]


def _line(line: Line, units: str) -> PlanLine:
    printed = line.ingredient
    share = line.amount_per_pot / line.amount if line.amount else Fraction(1)
    amount, beside = amount_pair(_scaled(printed, line, Fraction(1)), units, customary=line.text)
    per_pot, per_pot_beside = amount_pair(_scaled(printed, line, share), units, customary=line.text_per_pot)
    return PlanLine(
        item=printed.item,
        prep=printed.prep,
        role=printed.role.value,
        role_word=str(ROLES[printed.role]),
        optional=printed.optional,
        amount=amount,
        beside=beside,
        per_pot=per_pot,
        per_pot_beside=per_pot_beside,
    )


def _scaled(printed: Ingredient, line: Line, share: Fraction) -> Ingredient:
    return replace(
        printed,
        amount=line.amount * share,
        amount_high=line.amount_high and line.amount_high * share,
        grams=line.grams and line.grams * share,
    )


def process_words(found: ProcessFound | None) -> ProcessWords | None:
    if found is None:
        return None
    return ProcessWords(
        method=str(METHODS[found.method]),
        minutes=_("%(minutes)s minutes") % {"minutes": found.minutes},
        pressure="" if found.pressure_psi is None else pressure_text(found.pressure_psi),
        gauge={"dial": str(CANNERS["dial-gauge"]), "weighted": str(CANNERS["weighted-gauge"])}.get(
            found.gauge or "", ""
        ),
        band=found.band,
        pack=str(PACKS[found.pack]),
        jar=str(JARS[found.jar]),
        headspace=headspace_text(found.headspace_in),
        vent_minutes=found.vent_minutes,
        source=source_words(found.source),
    )


def jar_words(plan: Plan) -> list[str]:
    """ "7 × half-pint (237 ml)" """
    return [f"{jars.count} × {JARS[jars.size]}" for jars in plan.jars]


def volume_words(volume_ml: Fraction | None) -> str:
    """ "1.7 l (7 1/4 US cups)"; "" where the volume is not known, or nothing."""
    if not volume_ml:
        return ""
    quarters = Fraction(round(volume_ml / Fraction("236.5882365") * 4), 4)
    metric = f"{float(volume_ml) / 1000:.1f} l" if volume_ml >= 1000 else f"{round(volume_ml)} ml"
    return _("%(metric)s (%(cups)s US cups)") % {"metric": metric, "cups": format_number(quarters)}


def start_query(revision_pk: int, asked: Mapping[str, str]) -> str:
    """The query that starts a batch from this very plan: what was asked, and of which revision."""
    return urlencode({"revision": str(revision_pk), **asked})
