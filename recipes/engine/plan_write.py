"""A plan as plain values for JSON: what pages store with a batch and the command line prints."""

from __future__ import annotations

from fractions import Fraction

from recipes.engine.plan_terms import Plan
from recipes.engine.process import ProcessFound
from recipes.engine.scaling import Line
from recipes.engine.terms import Caution, Refusal, TestedSource

Json = dict[str, object]


def plan_as_dict(plan: Plan) -> Json:
    """The plan, JSON-ready; every key is always there.

    Volumes are in ml, temperatures in C, weights in g. `predicted_brix`, `loads` and `timeline` are filled
    by modules that come later.
    """
    return {
        "recipe": plan.recipe.slug,
        "revision": plan.revision,
        "source": _source(plan.source),
        "altitude_m": None if plan.altitude is None else _number(plan.altitude.metres, 4),
        "boiling_point_c": _rounded(plan.boiling_point_c),
        "jelly_point_c": _rounded(plan.jelly_point_c),
        "pots": plan.pots,
        "lines": [_line(line) for line in plan.lines],
        "predicted_volume_ml": _number(plan.predicted_volume_ml, 1),
        "predicted_brix": None,
        "jars": [{"size": jars.size, "count": jars.count} for jars in plan.jars],
        "leftover_ml": _number(plan.leftover_ml, 1),
        "process": None if plan.process is None else _process(plan.process),
        "loads": [],
        "sterilise_jars": plan.sterilise_jars,
        "timeline": [],
        "cautions": [_reason(caution) for caution in plan.cautions],
        "refusals": [_reason(refusal) for refusal in plan.refusals],
    }


def _line(line: Line) -> Json:
    return {
        "item": line.ingredient.item,
        "prep": line.ingredient.prep,
        "role": line.ingredient.role.value,
        "optional": line.ingredient.optional,
        "amount": _number(line.amount, 6),
        "amount_high": _number(line.amount_high, 6),
        "amount_per_pot": _number(line.amount_per_pot, 6),
        "unit": line.ingredient.unit,
        "text": line.text,
        "text_per_pot": line.text_per_pot,
        "grams": _number(line.grams, 1),
        "rounding_error_pct": _number(line.rounding_error_pct, 2),
    }


def _process(found: ProcessFound) -> Json:
    return {
        "method": found.method.value,
        "minutes": found.minutes,
        "pressure_psi": found.pressure_psi,
        "gauge": found.gauge,
        "band": found.band,
        "pack": found.pack.value,
        "jar": found.jar,
        "tested_jar": found.tested_jar,
        "headspace_in": _number(found.headspace_in, 4),
        "vent_minutes": found.vent_minutes,
        "source": _source(found.source),
    }


def _source(source: TestedSource) -> Json:
    return {"title": source.title, "edition": source.edition, "place": source.place}


def _reason(reason: Caution | Refusal) -> Json:
    return {"code": reason.code, "message": reason.message, "rule": reason.rule, "source": reason.source}


def _number(value: Fraction | None, places: int) -> int | float | None:
    """A whole number where it is one, else a decimal."""
    if value is None:
        return None
    return int(value) if value.denominator == 1 else round(float(value), places)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
