"""From a recipe to a plan; all that is asked for stands in the address, so that it can be shared and reloaded."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from recipes.costs import cost_of
from recipes.day_page import (
    cost_words,
    day_summary,
    load_lines,
    pot_jars,
    processes_by_size,
    step_lines,
    when_words,
    yield_words,
)
from recipes.engine.plan import Plan
from recipes.forms import PlanForm
from recipes.measures import kitchen_points
from recipes.models import Price, Revision
from recipes.pictures import timeline_svg
from recipes.plan_page import jar_words, plan_lines, process_words, start_query, volume_words
from recipes.planning import plan_for
from recipes.shopping import shopping_list
from recipes.views.asks import signed_in


@require_safe
def plan(request: HttpRequest, slug: str) -> HttpResponse:
    """The form, and below it the plan once one is asked for. Only a recipe with a published revision has this page."""
    revision = get_object_or_404(Revision.objects.current().select_related("recipe"), recipe__slug=slug)
    is_asked = PlanForm.is_asked(request.GET)
    form = PlanForm(
        request.GET if is_asked else None,
        user=signed_in(request),
        recipe=revision.tested,
        initial=request.GET.dict(),
    )
    context = {"recipe": revision.recipe, "revision": revision, "tested": revision.tested, "form": form}
    if is_asked and form.is_valid():
        context |= plan_context(request, revision, form)
    return render(request, "recipes/plan.html", context)


def plan_context(request: HttpRequest, revision: Revision, form: PlanForm) -> dict[str, Any]:
    kitchen = form.asked_kitchen
    units = signed_in(request).units
    made = plan_for(revision=revision, altitude=kitchen.altitude, **form.wish)
    return {
        "plan": made,
        "kitchen": kitchen,
        "points": kitchen_points(kitchen.altitude, revision.tested),
        "lines": plan_lines(made, units),
        "process": process_words(made.process),
        "processes": processes_by_size(made),
        "jars": ", ".join(jar_words(made)),
        "leftover": volume_words(made.leftover_ml),
        "yields": yield_words(made),
        "pot_jars": pot_jars(made),
        "start_query": start_query(revision.pk, form.asked),
        **(_day_context(made) | _buying_context(made, units) if made.ok else {}),
    }


def _day_context(made: Plan) -> dict[str, Any]:
    """The loads and the day, as tables and as a picture."""
    # Safe: every text in the picture is escaped where it is drawn.
    picture = made.day and mark_safe(
        timeline_svg(made.day, title=f"{made.recipe.title}: {day_summary(made)}", when=when_words(made), prefix="plan")
    )
    return {
        "loads": load_lines(made),
        "day": day_summary(made),
        "steps": step_lines(made),
        "picture": picture,
    }


def _buying_context(made: Plan, units: str) -> dict[str, Any]:
    purchases = shopping_list(made, units)
    prices = Price.objects.known_of(purchase.item for purchase in purchases)
    return {"shopping": purchases, "cost": cost_words(cost_of(purchases, prices, made.jars))}
