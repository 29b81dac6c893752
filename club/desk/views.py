"""The page "What can I make?": everything it is asked stands in its address."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from club.core.clock import club_day
from club.desk.dashboard import desk_for
from club.desk.forms import MakingForm
from club.desk.suggestions import making_for
from inventory.batches.tracing import to_answer
from inventory.fruit.rules import MEASURE_RULES, NO_ADDED_SUGAR
from inventory.fruit.suggestions import produce_words


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    assert request.user.is_authenticated  # LoginRequiredMiddleware; this only tells the type checker
    told = {"desk": desk_for(request.user, now=timezone.now()), "recalls": to_answer(request.user)}
    return render(request, "desk/home.html", told)


@require_safe
def make(request: HttpRequest) -> HttpResponse:
    """Everything stands in the address, so that it can be gone back to."""
    assert request.user.is_authenticated  # LoginRequiredMiddleware; this only tells the type checker
    form = MakingForm(request.GET, user=request.user)
    kitchen = form.chosen_kitchen
    told: dict[str, Any] = {
        "form": form,
        "kitchen": kitchen,
        "words": produce_words(),
        "measure_rules": MEASURE_RULES,
        "no_sugar": NO_ADDED_SUGAR,
    }
    if kitchen is not None and form.is_valid():
        told["making"] = making_for(
            request.user, kitchen, form.baskets, with_freezer=form.with_freezer, today=club_day()
        )
    return render(request, "desk/making.html", told)
