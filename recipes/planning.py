"""From what a person types to the engine's plan: one way for the page, the command line and the batch.

What cannot be understood is a `PlanInputError`, by field. What is understood and not to be done is a refusal in the
plan.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from typing import TypedDict, TypeVar, Unpack

from django.utils.translation import gettext as _

from recipes.engine import (
    EFFICIENCY,
    FOUR_QUART,
    NO_SOURCE,
    SEVEN_QUART,
    USUAL_STOVE,
    Capacity,
    Plan,
    PlanRequest,
    capacity,
    plan_batch,
    process_choices,
    recipe_of_table,
    table_refusal,
)
from recipes.engine.quantities import JAR_ML, JAR_SIZES, Amount, parse_amount
from recipes.engine.terms import Altitude, Canner, Pack, Refusal
from recipes.library import known_foods
from recipes.models import ProcessTable, ReadContent, Revision, RevisionState

MOST = 999
MOST_GEAR = 99
MOST_EMPTIES = 999
LONGEST_WORDS = 200
MOST_AT_ONCE = 99  # jars of one size in one layer of a canner
SIZES = ("jars", "pots", "fruit")
STOVES = tuple(EFFICIENCY)
CAPACITIES = {"7 quart": SEVEN_QUART, "4 quart": FOUR_QUART}

Choice = TypeVar("Choice", bound=StrEnum)
Value = TypeVar("Value")
Problems = dict[str, str]


class PlanInput(TypedDict, total=False):
    """Just one of jars, pots and fruit is not None; whatever else is None is left to the engine.

    `empties` are the jars at hand by size, `finish` the minute of the day at which the last jar is out, `reads_high`
    what a dial gauge showed above the truth at its last test, in psi (below zero: it reads low). `liquid`, `instead`
    and `food` are words of the recipe itself: a packing liquid, names of alternatives, one of its produce.
    """

    pots: int | None
    jars: int | None
    fruit: Amount | None
    jar: str | None
    pack: Pack | None
    canner: Canner | None
    empties: dict[str, int] | None
    burners: int | None
    canners: int | None
    cooks: int | None
    stove: str
    capacity: Capacity | None
    finish: int | None
    reads_high: Fraction | None
    liquid: str | None
    instead: tuple[str, ...] | None
    food: str | None


class StationInput(PlanInput, total=False):
    """What is wanted at a stove that is known: `watts` is the power of each of its burners, and never typed as text."""

    watts: tuple[int, ...] | None


PLAN_FIELDS: tuple[str, ...] = tuple(PlanInput.__annotations__)


class PlanInputError(ValueError):
    """What was typed cannot be understood; `problems` says why, by field name."""

    def __init__(self, problems: Problems) -> None:
        self.problems = problems
        super().__init__("; ".join(f"{field}: {message}" for field, message in problems.items()))


def plan_for(*, revision: Revision, altitude: Altitude | None, **wanted: Unpack[StationInput]) -> Plan:
    """The engine's plan from this revision. Without a published revision there is a refusal, and no process time."""
    made = _planned(revision.as_read, revision.number, PlanRequest(altitude=altitude, **wanted))
    refused = _state_refusal(revision)
    return made if refused is None else _refused(made, refused)


def _planned(content: ReadContent, number: int | None, request: PlanRequest) -> Plan:
    """The engine is asked once: what it answers goes by these words and this request, and by nothing else."""
    empties = None if request.empties is None else tuple(request.empties.items())
    return _kept_plan(content, number, replace(request, empties=None), empties)


@lru_cache(maxsize=512)
def _kept_plan(
    content: ReadContent, number: int | None, request: PlanRequest, empties: tuple[tuple[str, int], ...] | None
) -> Plan:
    asked = request if empties is None else replace(request, empties=dict(empties))
    return plan_batch(content.tested, asked, revision=number)


def jar_at_hand(revision: Revision, made: Plan, wanted: PlanInput, empties: Mapping[str, int]) -> str | None:
    """The tested size that a kitchen has, where nobody named a jar and none of the planned size stands there.

    `empties` are the kitchen's own by size. None: the plan keeps its jar, as where no jar of a tested size is there.
    """
    if wanted.get("jar") or wanted.get("empties") or not empties or any(jar.size in empties for jar in made.jars):
        return None
    tested = [size for size in process_choices(revision.tested.process).jars if empties.get(size)]
    return max(tested, key=lambda size: empties[size] * JAR_ML[size], default=None)


def plan_from_table(*, table: ProcessTable, altitude: Altitude | None, **wanted: Unpack[StationInput]) -> Plan:
    """The plan of a food by the jar, from its process table; refused where the table does not stand alone."""
    made = plan_batch(recipe_of_table(table.table), PlanRequest(altitude=altitude, **wanted))
    refused = table_refusal(table.table, known_foods())
    return made if refused is None else _refused(made, refused)


def _refused(made: Plan, refusal: Refusal) -> Plan:
    """No process time shows anywhere: neither the plan's own, nor in loads, timeline or cautions."""
    refusals = (refusal, *made.refusals)
    return replace(made, process=None, low_temperature=None, loads=(), day=None, cautions=(), refusals=refusals)


def _state_refusal(revision: Revision) -> Refusal | None:
    if revision.state == RevisionState.PUBLISHED and revision.refused_why:
        message = _("Nothing new is made from this revision until an instructor has looked into it: %(why)s")
        return Refusal("held-back", "TESTED-ONLY", own_words=message % {"why": revision.refused_why})
    if revision.state == RevisionState.PUBLISHED:
        return None
    if revision.state == RevisionState.WITHDRAWN:
        message = _("Revision %(number)s was withdrawn: %(reason)s") % {
            "number": revision.number,
            "reason": revision.withdrawn_reason,
        }
        return Refusal("revision-withdrawn", "TESTED-ONLY", own_words=message)
    return Refusal(
        "revision-not-published",
        "TESTED-ONLY",
        own_words=_("This is a draft; wait until it is reviewed and published."),
    )


def read_plan_input(data: Mapping[str, str | None]) -> PlanInput:
    """What is wanted, from text fields named as in `PlanInput`; blank or missing means not asked."""
    problems: Problems = {}
    text = {key: (data.get(key) or "").strip() for key in PLAN_FIELDS}
    wanted = PlanInput(
        pots=_count("pots", text["pots"], problems),
        jars=_count("jars", text["jars"], problems),
        fruit=_read("fruit", text["fruit"], parse_amount, problems),
        jar=_jar(text["jar"], problems),
        pack=_choice("pack", text["pack"], Pack, problems),
        canner=_choice("canner", text["canner"], Canner, problems),
        empties=_read("empties", text["empties"], jar_counts_from, problems),
        burners=_count("burners", text["burners"], problems, least=0, most=MOST_GEAR),
        canners=_count("canners", text["canners"], problems, least=0, most=MOST_GEAR),
        cooks=_count("cooks", text["cooks"], problems, least=0, most=MOST_GEAR),
        stove=_stove(text["stove"], problems),
        capacity=_read("capacity", text["capacity"], capacity_from, problems),
        finish=_read("finish", text["finish"], minute_from, problems),
        reads_high=_read("reads_high", text["reads_high"], gauge_error_from, problems),
        liquid=_short("liquid", text["liquid"], problems) or None,
        instead=tuple(filter(None, map(str.strip, _short("instead", text["instead"], problems).split(";")))) or None,
        food=_short("food", text["food"], problems) or None,
    )
    if text["reads_high"] and wanted.get("canner") is not Canner.DIAL_GAUGE:
        text_of = _(
            "Only a dial gauge has an error to correct: choose the canner with a dial gauge, or leave this empty."
        )
        problems.setdefault("reads_high", text_of)
    _just_one([name for name in SIZES if text[name]], problems)
    if problems:
        raise PlanInputError(problems)
    return wanted


def jar_counts_from(text: str, *, most: int = MOST_EMPTIES) -> dict[str, int]:
    """ "half-pint=12, pint=4" by size. `ValueError` says what to write instead."""
    found: dict[str, int] = {}
    for part in filter(None, re.split(r"[,;\s]+", text)):
        size, _sign, count = part.partition("=")
        if size not in JAR_SIZES:
            known = ", ".join(JAR_SIZES)
            raise ValueError(
                _("There is no jar called %(size)s. Known jars: %(known)s.") % {"size": size[:40], "known": known}
            )
        if size in found or not re.fullmatch(r"[0-9]{1,4}", count) or int(count) > most:
            text = _("Write each jar size once, with how many there are, up to %(most)s, such as half-pint=12,pint=4.")
            raise ValueError(text % {"most": most})
        found[size] = int(count)
    return found


def capacity_from(text: str) -> Capacity:
    """ "7 quart", or what goes into one layer by size, "half-pint=12,pint=7". `ValueError` says what to write."""
    match = re.fullmatch(r"([0-9]+)[\s-]*(?:quart|qt)s?", text.lower())
    if match:
        known = CAPACITIES.get(f"{match[1]} quart")
        if known is None:
            raise ValueError(
                _("Known canners: %(known)s. For another, write how many jars of each size stand in one layer.")
                % {"known": ", ".join(CAPACITIES)}
            )
        return known
    counts = {size: count for size, count in jar_counts_from(text, most=MOST_AT_ONCE).items() if count}
    if not counts:
        raise ValueError(_("Write 7 quart, 4 quart, or how many of each size go in, such as half-pint=12,pint=7."))
    return capacity(_("the jars named"), NO_SOURCE, **{size.replace("-", "_"): count for size, count in counts.items()})


def minute_from(text: str) -> int:
    """ "16:30" as the minute of the day. `ValueError` says what to write."""
    match = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})", text)
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise ValueError(_("Write a time of the day, such as 16:30."))
    return int(match[1]) * 60 + int(match[2])


def gauge_error_from(text: str) -> Fraction:
    """ "2", "0.5" or "-1": psi above the truth, exactly. `ValueError` says what to write."""
    if not re.fullmatch(r"[+-]?[0-9]{1,2}([.,][0-9]{1,2})?", text):
        raise ValueError(
            _("Write by how many psi the gauge read high, such as 2 or 0.5; with a minus where it read low.")
        )
    return Fraction(text.replace(",", "."))


def _read(field: str, text: str, read: Callable[[str], Value], problems: Problems) -> Value | None:
    try:
        return read(text) if text else None
    except ValueError as error:
        problems[field] = str(error)
        return None


def _count(field: str, text: str, problems: Problems, *, least: int = 1, most: int = MOST) -> int | None:
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,6}", text) or not least <= int(text) <= most:
        problems[field] = _("Write a whole number from %(least)s to %(most)s.") % {"least": least, "most": most}
        return None
    return int(text)


def _short(field: str, text: str, problems: Problems) -> str:
    if len(text) > LONGEST_WORDS:
        problems[field] = _("This is too long: at most %(most)s letters.") % {"most": LONGEST_WORDS}
        return ""
    return text


def _jar(text: str, problems: Problems) -> str | None:
    """A known jar. One of another country has no time in any table that was read: the problem names the jar to use."""
    metric = re.fullmatch(r"([0-9]{1,4}(?:[.,][0-9]{1,3})?) ?(ml|l)", text.lower())
    if metric:
        ml = Fraction(metric[1].replace(",", ".")) * (1000 if metric[2] == "l" else 1)
        smaller = [size for size in JAR_SIZES if JAR_ML[size] <= ml]
        problems["jar"] = _("No publication gives a time for a jar of %(jar)s here. Use a %(use)s jar.") % {
            "jar": text,
            "use": smaller[-1] if smaller else JAR_SIZES[0],
        }
    elif text and text not in JAR_SIZES:
        problems["jar"] = _("There is no jar called so. Known jars: %(known)s.") % {"known": ", ".join(JAR_SIZES)}
    return text or None


def _stove(text: str, problems: Problems) -> str:
    if text and text not in STOVES:
        problems["stove"] = _("Choose one of: %(known)s.") % {"known": ", ".join(STOVES)}
    return text or USUAL_STOVE


def _choice(field: str, text: str, kind: type[Choice], problems: Problems) -> Choice | None:
    if not text:
        return None
    try:
        return kind(text)
    except ValueError:
        problems[field] = _("Choose one of: %(known)s.") % {"known": ", ".join(member.value for member in kind)}
        return None


def _just_one(given: list[str], problems: Problems) -> None:
    if not given:
        problems["jars"] = _("Say how many jars you want, or how many pots, or how much fruit there is.")
    for field in given if len(given) > 1 else ():
        problems.setdefault(field, _("Give only one of jars, pots and fruit, and leave the others empty."))
