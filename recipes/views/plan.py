"""From a recipe to a plan; all that is asked for stands in the address, so that it can be shared and reloaded."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from recipes.forms import PlanForm
from recipes.measures import kitchen_points
from recipes.models import Revision
from recipes.plan_page import jar_words, plan_lines, process_words, start_query, volume_words
from recipes.planning import plan_for
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
    made = plan_for(revision=revision, altitude=kitchen.altitude, **form.wish)
    return {
        "plan": made,
        "kitchen": kitchen,
        "points": kitchen_points(kitchen.altitude, revision.tested),
        "lines": plan_lines(made, signed_in(request).units),
        "process": process_words(made.process),
        "jars": ", ".join(jar_words(made)),
        "volume": volume_words(made.predicted_volume_ml),
        "leftover": volume_words(made.leftover_ml),
        "start_query": start_query(revision.pk, form.cleaned_data),
    }
