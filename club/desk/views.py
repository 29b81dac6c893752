"""The first page, and what can be made of the fruit at hand."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from club.core.clock import club_day
from club.core.http import signed_in
from club.desk.dashboard import desk_for
from club.desk.forms import SuggestionsForm
from club.desk.suggestions import suggestions_for
from inventory.batches.services import to_answer
from inventory.fruit.rules import MEASURE_RULES, NO_ADDED_SUGAR
from inventory.fruit.services import produce_words


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    context = {"desk": desk_for(user, now=timezone.now()), "recalls": to_answer(user)}
    return render(request, "desk/home.html", context)


@require_safe
def make(request: HttpRequest) -> HttpResponse:
    """Everything stands in the address, so that it can be gone back to."""
    user = signed_in(request)
    form = SuggestionsForm(request.GET, user=user)
    kitchen = form.chosen_kitchen
    context: dict[str, Any] = {
        "form": form,
        "kitchen": kitchen,
        "words": produce_words(),
        "measure_rules": MEASURE_RULES,
        "no_sugar": NO_ADDED_SUGAR,
    }
    if kitchen is not None and form.is_valid():
        context["suggestions"] = suggestions_for(
            user, kitchen, form.fresh, with_freezer=form.with_freezer, today=club_day()
        )
    return render(request, "desk/suggestions.html", context)
