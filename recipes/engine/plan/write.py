"""A plan as plain values for JSON: what pages store with a batch and the command line prints."""

from __future__ import annotations

from fractions import Fraction

from recipes.engine.jars import JarMix
from recipes.engine.mass_balance import Span
from recipes.engine.plan.terms import Plan, PlanLoad, Predicted
from recipes.engine.process import ProcessFound
from recipes.engine.scaling import Line
from recipes.engine.schedule.terms import Step
from recipes.engine.terms import Caution, JarCount, Refusal, TestedSource

Json = dict[str, object]


def plan_as_dict(plan: Plan) -> Json:
    """The plan, JSON-ready; every key is always there.

    Volumes are in ml as filled, temperatures in C, weights in g, minutes of the timeline from its start. `jars` and
    `leftover_ml` come from `yield.filled_ml`, which is what the tested source states wherever it was seen in print.
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
        "predicted_brix": _rounded(plan.predicted.brix.best, 1) if plan.predicted and plan.predicted.brix else None,
        "yield": _yield(plan),
        "jars": _jars(plan.jars),
        "leftover_ml": _number(plan.leftover_ml, 1),
        "process": None if plan.process is None else _process(plan.process),
        "loads": [_load(load) for load in plan.loads],
        "sterilise_jars": plan.sterilise_jars,
        "timeline": [_step(plan, step) for step in plan.day.steps] if plan.day else [],
        "cautions": [_reason(caution) for caution in plan.cautions],
        "refusals": [_reason(refusal) for refusal in plan.refusals],
    }


def clock(minute: int) -> str:
    """ "16:30", whatever the day."""
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}"


def _yield(plan: Plan) -> Json:
    """The prediction with its reach, what the jars are filled from, and each pot's own jars."""
    predicted = plan.predicted
    return {
        "basis": predicted.basis if predicted else None,
        "volume_low_ml": _number(predicted.low_ml, 1) if predicted else None,
        "volume_high_ml": _number(predicted.high_ml, 1) if predicted else None,
        "brix": _span(predicted.brix, 1) if predicted else None,
        "jar": plan.stated_yield.jar,
        "jars_a_pot": _span(predicted.jars_a_pot, 2) if predicted else None,
        "estimates": list(predicted.estimates) if predicted else [],
        "assumptions": list(predicted.assumptions) if predicted else [],
        "why_not_by_weight": _why_not(predicted),
        "filled_ml": _number(plan.filled_ml, 1),
        "filled_basis": plan.filled_basis or None,
        "mixes": [_mix(mix) for mix in plan.mixes],
    }


def _why_not(predicted: Predicted | None) -> str | None:
    return predicted.why_not or None if predicted else None


def _mix(mix: JarMix) -> Json:
    part = mix.part_jar
    return {
        "jars": _jars(mix.jars),
        "leftover_ml": _number(mix.leftover_ml, 1),
        "part_jar": None if part is None else {"size": part.size, "ml": _number(part.ml, 1), "use": part.use},
    }


def _jars(jars: tuple[JarCount, ...]) -> list[Json]:
    return [{"size": jar.size, "count": jar.count} for jar in jars]


def _load(load: PlanLoad) -> Json:
    return {
        "number": load.number,
        "pot": load.pot,
        "canner": load.canner,
        "jars": _jars(load.jars),
        "method": load.process.method.value,
        "minutes": load.process.minutes,
        "pressure_psi": load.process.pressure_psi,
        "filled": _number(load.filled, 2),
    }


def _step(plan: Plan, step: Step) -> Json:
    """One step; `starts` and `ends` are times of the day where a finish was asked for."""
    begins = plan.begins
    return {
        "what": step.kind.value,
        "start_min": step.start,
        "end_min": step.end,
        "pot": step.pot,
        "load": step.load,
        "burner": step.burner,
        "canner": step.canner,
        "cook": step.cook,
        **({} if begins is None else {"starts": clock(begins + step.start), "ends": clock(begins + step.end)}),
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


def _span(span: Span | None, places: int) -> Json | None:
    """A figure with its reach; a span's ends are where 19 kitchens of 20 should land."""
    if span is None:
        return None
    return {"low": round(span.low, places), "best": round(span.best, places), "high": round(span.high, places)}


def _number(value: Fraction | None, places: int) -> int | float | None:
    """A whole number where it is one, else a decimal."""
    if value is None:
        return None
    return int(value) if value.denominator == 1 else round(float(value), places)


def _rounded(value: float | None, places: int = 2) -> float | None:
    return None if value is None else round(value, places)
