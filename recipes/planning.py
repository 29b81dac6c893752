"""From what a person asks for to the engine's plan: one way for the page, the command line and the batch.

What cannot be understood is a `WishError`, by field. What is understood and not to be done is a refusal in the plan.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Unpack

from django.utils.translation import gettext as _

from recipes.engine.plan import Plan, PlanRequest, plan
from recipes.engine.rules import refusal
from recipes.engine.terms import Altitude, Refusal
from recipes.models import Revision, RevisionState
from recipes.wishes import PlanWish, StationWish, WishError, plan_wish_from

__all__ = ["PlanWish", "StationWish", "WishError", "plan_for", "plan_wish_from"]


def plan_for(*, revision: Revision, altitude: Altitude | None, **wish: Unpack[StationWish]) -> Plan:
    """The engine's plan from this revision. Without a published revision there is a refusal, and no process time."""
    made = plan(revision.tested, PlanRequest(altitude=altitude, **wish), revision=revision.number)
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
