"""From what a person asks for to the engine's plan: one way for the page, the command line and the batch.

What cannot be understood is a `WishError`, by field. What is understood and not to be done is a refusal in the plan.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum
from typing import TypedDict, TypeVar

from django.utils.translation import gettext as _

from recipes.engine.plan import Plan, PlanRequest, plan
from recipes.engine.quantities import JAR_SIZES, Amount, AmountError, parse_amount
from recipes.engine.rules import refusal
from recipes.engine.terms import Altitude, Canner, Pack, Refusal
from recipes.models import Revision, RevisionState

MOST = 999
SIZES = ("jars", "pots", "fruit")

Choice = TypeVar("Choice", bound=StrEnum)


class PlanWish(TypedDict):
    """Just one of jars, pots and fruit is not None; jar, pack and canner may be left to the engine."""

    pots: int | None
    jars: int | None
    fruit: Amount | None
    jar: str | None
    pack: Pack | None
    canner: Canner | None


class WishError(ValueError):
    """The wish cannot be understood; `problems` says why, by field name."""

    def __init__(self, problems: dict[str, str]) -> None:
        self.problems = problems
        super().__init__("; ".join(f"{field}: {message}" for field, message in problems.items()))


def plan_wish_from(data: Mapping[str, str | None]) -> PlanWish:
    """The wish in text fields `pots, jars, fruit, jar, pack, canner`; blank or missing means not asked."""
    problems: dict[str, str] = {}
    text = {key: (data.get(key) or "").strip() for key in PlanWish.__annotations__}
    wish = PlanWish(
        pots=_count("pots", text["pots"], problems),
        jars=_count("jars", text["jars"], problems),
        fruit=_fruit(text["fruit"], problems),
        jar=_jar(text["jar"], problems),
        pack=_choice("pack", text["pack"], Pack, problems),
        canner=_choice("canner", text["canner"], Canner, problems),
    )
    _just_one([name for name in SIZES if text[name]], problems)
    if problems:
        raise WishError(problems)
    return wish


def plan_for(
    *,
    revision: Revision,
    altitude: Altitude | None,
    pots: int | None = None,
    jars: int | None = None,
    fruit: Amount | None = None,
    jar: str | None = None,
    pack: Pack | None = None,
    canner: Canner | None = None,
) -> Plan:
    """The engine's plan from this revision. Without a published revision there is a refusal, and no process time."""
    request = PlanRequest(altitude=altitude, pots=pots, jars=jars, fruit=fruit, jar=jar, pack=pack, canner=canner)
    made = plan(revision.tested, request, revision=revision.number)
    refused = _state_refusal(revision)
    return _without_times(made, refused) if refused else made


def _without_times(made: Plan, refused: Refusal) -> Plan:
    """A plan that shows no process time anywhere: neither its own, nor in loads, timeline or cautions."""
    return replace(made, process=None, loads=(), day=None, cautions=(), refusals=(refused, *made.refusals))


def _state_refusal(revision: Revision) -> Refusal | None:
    if revision.state == RevisionState.PUBLISHED:
        return None
    if revision.state == RevisionState.WITHDRAWN:
        message = _("Revision %(number)s was withdrawn: %(reason)s") % {
            "number": revision.number,
            "reason": revision.withdrawn_reason,
        }
        return refusal("revision-withdrawn", "TESTED-ONLY", message)
    return refusal(
        "revision-not-published", "TESTED-ONLY", _("This is a draft; wait until it is reviewed and published.")
    )


def _count(field: str, text: str, problems: dict[str, str]) -> int | None:
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,6}", text) or not 1 <= int(text) <= MOST:
        problems[field] = _("Write a whole number from 1 to %(most)s.") % {"most": MOST}
        return None
    return int(text)


def _fruit(text: str, problems: dict[str, str]) -> Amount | None:
    try:
        return parse_amount(text) if text else None
    except AmountError as error:
        problems["fruit"] = str(error)
        return None


def _jar(text: str, problems: dict[str, str]) -> str | None:
    if text and text not in JAR_SIZES:
        problems["jar"] = _("There is no jar called so. Known jars: %(known)s.") % {"known": ", ".join(JAR_SIZES)}
    return text or None


def _choice(field: str, text: str, kind: type[Choice], problems: dict[str, str]) -> Choice | None:
    if not text:
        return None
    try:
        return kind(text)
    except ValueError:
        problems[field] = _("Choose one of: %(known)s.") % {"known": ", ".join(member.value for member in kind)}
        return None


def _just_one(given: list[str], problems: dict[str, str]) -> None:
    if not given:
        problems["jars"] = _("Say how many jars you want, or how many pots, or how much fruit there is.")
    for field in given if len(given) > 1 else ():
        problems.setdefault(field, _("Give only one of jars, pots and fruit, and leave the others empty."))
