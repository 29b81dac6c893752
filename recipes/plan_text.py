"""A plan as plain text for a terminal: the same figures as the page."""

from __future__ import annotations

from collections.abc import Iterator

from recipes.day_page import day_summary, load_lines, pot_jars, step_lines, yield_words
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
    yield from _day(plan)
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
    yield from _jars(plan)


def _jars(plan: Plan) -> Iterator[str]:
    found = yield_words(plan)
    if found:
        reach = f", from {found.reach}" if found.reach else ""
        yield f"\nPredicted: {found.volume}{reach}"
        yield f"  {found.basis}"
    if found and found.brix:
        yield f"  {found.jars_a_pot} {plan.stated_yield.jar} jars a pot; degrees Brix {found.brix}"
    if plan.jars:
        left_over = volume_words(plan.leftover_ml)
        yield f"Fills: {', '.join(jar_words(plan))}{'; left over: ' + left_over if left_over else ''}"
    for pot in pot_jars(plan):
        over = f"; over: {pot.part_jar}" if pot.part_jar else ""
        yield f"  {pot.pots}: {pot.jars or 'no full jar'}{over}"


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


def _day(plan: Plan) -> Iterator[str]:
    if plan.loads:
        yield f"\nCanner loads: {len(plan.loads)}"
    for load in load_lines(plan):
        canner = f", canner {load.canner}" if load.canner else ""
        yield f"  load {load.number}, pot {load.pot}{canner}: {load.jars}; {load.process}; {load.room} full"
    if plan.day:
        yield f"\nThe day: {day_summary(plan)}"
    for step in step_lines(plan):
        named = (("burner", step.burner), ("canner", step.canner), ("cook", step.cook))
        where = "".join(f", {what} {number}" for what, number in named if number)
        yield f"  {step.begin:>5} to {step.end:>5}  {step.what}, pot {step.pot}{where}"
