"""Reading the library: the list, a recipe at its current or an older revision, and the process tables."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from recipes.engine.wording import format_number
from recipes.forms import SearchForm, TableSearchForm, ViewForm
from recipes.measures import headspace_text, ingredient_lines, kitchen_points
from recipes.models import Recipe, Revision, RevisionState
from recipes.tables import band_tables
from recipes.views.asks import signed_in
from recipes.withdrawal import reach_of

PAGE = 30


@require_safe
def recipe_list(request: HttpRequest) -> HttpResponse:
    form = SearchForm(request.GET)
    page = Paginator(form.found(), PAGE).get_page(request.GET.get("page"))
    recipes = Recipe.objects.published().filter(pk__in=[row.pk for row in page])
    return render(request, "recipes/list.html", {"form": form, "page": page, "recipes": recipes})


@require_safe
def recipe(request: HttpRequest, slug: str) -> HttpResponse:
    found = get_object_or_404(Recipe.objects.readable(), slug=slug)
    numbered = found.revisions.numbered().select_related("recipe", "withdrawn_by")
    shown = numbered.get(pk=found.current_id) if found.current_id else numbered.latest("number")
    return render(request, "recipes/recipe.html", recipe_context(request, shown))


@require_safe
def revision(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    numbered = Revision.objects.numbered().select_related("recipe", "withdrawn_by")
    shown = get_object_or_404(numbered, recipe__slug=slug, number=number)
    return render(request, "recipes/recipe.html", recipe_context(request, shown))


def recipe_context(request: HttpRequest, shown: Revision) -> dict[str, Any]:
    """Everything the recipe page says about one revision, for the kitchen and units that the query asks for."""
    form = ViewForm(request.GET, user=signed_in(request))
    kitchen, tested = form.chosen_kitchen, shown.tested
    altitude = kitchen.altitude if kitchen else None
    return {
        "form": form,
        "kitchen": kitchen,
        "recipe": shown.recipe,
        "revision": shown,
        "tested": tested,
        "headspace": headspace_text(tested.headspace_in),
        "yield_low": format_number(tested.stated_yield.low),
        "yield_high": format_number(tested.stated_yield.high),
        "hard_boil_minutes": format_number(tested.hard_boil.minutes) if tested.hard_boil else "",
        "lines": ingredient_lines(tested, form.chosen_units),
        "tables": band_tables(tested.process, altitude, tested),
        "points": kitchen_points(altitude, tested),
        "reach": reach_of(shown) if shown.state == RevisionState.WITHDRAWN else None,
        "history": shown.recipe.revisions.numbered().order_by("-number"),
    }


@require_safe
def process_tables(request: HttpRequest) -> HttpResponse:
    form = TableSearchForm(request.GET, user=signed_in(request))
    kitchen = form.chosen_kitchen
    page = Paginator(form.found(), PAGE).get_page(request.GET.get("page"))
    altitude = kitchen.altitude if kitchen else None
    shown = [
        (row, band_tables(row.table.rows, altitude, row.table), headspace_text(row.table.headspace_in)) for row in page
    ]
    return render(
        request, "recipes/process_tables.html", {"form": form, "kitchen": kitchen, "page": page, "shown": shown}
    )
