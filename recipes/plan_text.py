"""A plan as plain text for a terminal: the same figures as the page."""

from __future__ import annotations

from collections.abc import Iterator

from recipes.engine.plan import Plan
from recipes.measures import altitude_text, source_words, temperature_text
from recipes.plan_page import jar_words, plan_lines, process_words, volume_words


def plan_text(plan: Plan) -> str:
    return "\n".join(_paragraphs(plan))


def _paragraphs(plan: Plan) -> Iterator[str]:
    yield f"{plan.recipe.title} (revision {plan.revision})"
    yield f"Tested by: {source_words(plan.source)}"
    if plan.altitude is not None:
        yield f"Altitude: {altitude_text(plan.altitude)}"
    if plan.boiling_point_c is not None and plan.jelly_point_c is not None:
        yield f"Water boils at {temperature_text(plan.boiling_point_c)}"
        yield f"Jelly point: {temperature_text(plan.jelly_point_c)}"
    for refusal in plan.refusals:
        yield f"\nREFUSED: {refusal.message}\n  Rule {refusal.rule}; source: {refusal.source}"
    yield from _amounts(plan)
    yield from _process(plan)
    for caution in plan.cautions:
        yield f"! {caution.message} ({caution.source})"


def _amounts(plan: Plan) -> Iterator[str]:
    if plan.pots is None:
        return
    yield f"\nPots: {plan.pots}"
    for line in plan_lines(plan, "us"):
        each = f"; each pot {line.per_pot}" if plan.pots > 1 else ""
        beside = f" ({line.beside})" if line.beside else ""
        yield f"  {line.item}{', ' + line.prep if line.prep else ''}: {line.amount}{beside}{each}"
    if plan.jars:
        left_over = volume_words(plan.leftover_ml)
        yield f"Fills: {', '.join(jar_words(plan))}{'; left over: ' + left_over if left_over else ''}"


def _process(plan: Plan) -> Iterator[str]:
    process = process_words(plan.process)
    if process is None:
        return
    pressure = f" at {process.pressure}, {process.gauge}" if process.pressure else ""
    yield f"\nProcess, {process.method}: {process.minutes}{pressure}"
    yield f"  {process.jar}, {process.pack}, headspace {process.headspace}, altitude band {process.band}"
    yield f"  Source: {process.source}"
    if plan.sterilise_jars:
        yield f"  Boil the empty jars for {plan.sterilise_minutes} minutes first."
    elif plan.sterilise_jars is False:
        yield "  The empty jars need not be sterilised, only clean and hot."
