"""Something went wrong: what is published about it, for any jar, and for a batch with its hours counted."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from club.core.http import signed_in
from inventory.batches.accidents import (
    NAMES,
    WHY,
    WORDS,
    Act,
    Answer,
    Situation,
    answer_for,
    food_of_batch,
    hours_out,
    remakes,
    situations_for,
)
from inventory.batches.forms import WrongForm
from inventory.batches.models import Batch
from inventory.batches.views.batches import batch_for
from recipes.engine import ProcessFound
from recipes.engine.terms import Altitude
from recipes.safety import panel_for


@require_safe
def wrong(request: HttpRequest) -> HttpResponse:
    """Without a batch: what happened is chosen from the list, the food and the hours are asked for."""
    form = WrongForm(request.GET)
    is_understood = form.is_valid()
    context: dict[str, Any] = {"form": form, "listed": NAMES.items(), "panel": panel_for(form.taken_food)}
    if is_understood and form.situation is not None:
        context |= _answered(answer_for(form.situation, form.taken_food, form.taken_hours))
        context["kept"] = urlencode({key: form.cleaned_data[key] for key in ("food", "since")})
    return render(request, "batches/wrong.html", context)


@require_safe
def wrong_with_batch(request: HttpRequest, lot_code: str) -> HttpResponse:
    """For one batch: what can have happened to it, and the answer for its food and its hours."""
    batch = batch_for(signed_in(request), lot_code)
    return render(request, "batches/wrong.html", _batch_context(batch, request.GET.get("what", ""), timezone.now()))


def _batch_context(batch: Batch, what: str, now: datetime) -> dict[str, Any]:
    food, hours = food_of_batch(batch), hours_out(batch.last_out_at, now)
    possible = situations_for(batch.revision.tested, batch.canner, food)
    context: dict[str, Any] = {
        "batch": batch,
        "now": now,
        "out_for": None if hours is None else timedelta(hours=hours),
        "listed": [(one, NAMES[one]) for one in possible],
        "panel": panel_for(food, batch.altitude, is_pressure=batch.required_psi is not None),
    }
    if what in possible:
        answer = answer_for(Situation(what), food, hours)
        context |= _answered(answer, batch.altitude)
        context["refusal"] = batch.reprocess_refusal(now) if answer.may_reprocess else None
        if answer.until_hours is not None and batch.last_out_at is not None:
            context["until"] = batch.last_out_at + timedelta(hours=answer.until_hours)
    return context


def _answered(answer: Answer, altitude: Altitude | None = None) -> dict[str, Any]:
    remade = remakes() if Act.REMAKE in answer.acts else []
    found = remade[0].process_at(altitude) if remade and altitude is not None else None
    return {
        "answer": answer,
        "name": NAMES[answer.situation],
        "why": WHY[answer.situation],
        "words": [WORDS[act] for act in answer.acts],
        "remakes": remade,
        "remake_minutes": found.minutes if isinstance(found, ProcessFound) else None,
    }
