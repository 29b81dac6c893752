"""Which jars the pots of a plan fill: from the empties at hand, or as many as wanted of one size."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from recipes.engine.day_rules import day_caution
from recipes.engine.jars import JarMix, jar_mix, jar_mixes, sizes_allowed
from recipes.engine.loads import SEVEN_QUART, Process
from recipes.engine.plan_terms import PlanRequest
from recipes.engine.process import STERILISE_BELOW_MINUTES, ProcessFound
from recipes.engine.scaling import Pots
from recipes.engine.terms import Canner, Caution, Method, Refusal, TestedRecipe
from recipes.engine.units import JAR_SIZES

Processes = Mapping[str, Process | None]  # by jar size; None: kept cold, no process


def canner_of(process: ProcessFound) -> Canner:
    """The kind of canner that this process is for."""
    if process.method is Method.BOILING_WATER:
        return Canner.BOILING_WATER
    return Canner.DIAL_GAUGE if process.gauge == "dial" else Canner.WEIGHTED_GAUGE


def allowed_of(recipe: TestedRecipe, request: PlanRequest, jar: str, process: ProcessFound | None) -> Processes:
    """The sizes that may be filled: the one asked for; with empties at hand and none asked, every tested one.

    Without a process (a plan that is refused, or the freezer) the size is only counted out.
    """
    mixes_sizes = request.empties is not None and request.jar is None
    if process is None:
        return dict.fromkeys(JAR_SIZES) if mixes_sizes and recipe.method is Method.FREEZER else {jar: None}
    if not mixes_sizes:
        return {jar: Process.of(process)}
    canner = canner_of(process)
    return sizes_allowed(recipe.process, pack=process.pack, canner=canner, altitude=request.altitude)


def mixes_of(request: PlanRequest, pots: Pots, pot_ml: Fraction, allowed: Processes) -> tuple[JarMix, ...] | Refusal:
    """One jar mix for each pot, each filled by itself."""
    if request.empties is not None:
        return jar_mixes(pot_ml, pots.count, allowed, request.capacity or SEVEN_QUART, request.empties)
    # One size without end: the canner has no say in which jars, so a jar too tall for it is still counted.
    mix = jar_mix(pot_ml, dict.fromkeys(allowed), SEVEN_QUART)
    return mix if isinstance(mix, Refusal) else (mix,) * pots.count


def needs_sterile(processes: Mapping[str, Process]) -> bool:
    """Whether any jar of the mix is to be sterilised first (STERIL-NEEDED)."""
    return any(
        process.method is Method.BOILING_WATER and process.minutes < STERILISE_BELOW_MINUTES
        for process in processes.values()
    )


def mix_cautions(mixes: Sequence[JarMix], processes: Mapping[str, Process]) -> Iterator[Caution]:
    """What to mind about this mix: several processes, and what no empty jar is left for."""
    if len(set(processes.values())) > 1:
        said = "; ".join(f"{size}: {_process_words(process)}" for size, process in processes.items())
        message = f"These jars are not processed alike ({said}). Each load holds jars of one process only."
        yield day_caution("several-processes", "LOAD-PROCESS", message)
    homeless = sum((mix.leftover_ml for mix in mixes if mix.part_jar and mix.part_jar.size is None), Fraction(0))
    if homeless:
        message = f"There is no empty jar for about {round(homeless)} ml. Find more jars, or eat that fresh."
        yield day_caution("empties-short", "JAR-MIX", message)


def _process_words(process: Process) -> str:
    pressure = "" if process.pressure_psi is None else f" at {process.pressure_psi} psi"
    return f"{process.minutes} minutes{pressure}"
