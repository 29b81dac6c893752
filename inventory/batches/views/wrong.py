"""Something went wrong: what is published about it, for any jar; for a batch also its hours, and what is done now."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from club.core.http import refusals_on, signed_in
from club.members.models import User
from inventory.batches import services
from inventory.batches.accidents import (
    KEPT_NAMES,
    NAMES,
    WHOLE_BATCH,
    WHY,
    WORDS,
    Act,
    Answer,
    Situation,
    answer_for_batch,
    counted_from,
    food_of_batch,
    is_never_logged,
    name_of,
    remakes,
    situations_of,
)
from inventory.batches.choices import Disposal, RecallKind, Way
from inventory.batches.forms import AccidentForm, ClearForm, WrongForm
from inventory.batches.models import Batch, Jar, JarsSetAside, Stage
from inventory.batches.rules import elapsed
from inventory.batches.services.recalls import may_recall
from inventory.batches.tracing import is_called_back
from inventory.batches.views.batches import batch_for, batch_to_write
from recipes.engine import ProcessFound
from recipes.engine.terms import Altitude
from recipes.safety import panel_for


@require_safe
def wrong(request: HttpRequest) -> HttpResponse:
    """Without a batch: what happened is chosen from the list, the food and the hours are asked for."""
    form = WrongForm(request.GET)
    is_understood = form.is_valid()
    context: dict[str, Any] = {"form": form, "listed": NAMES.items(), "listed_kept": KEPT_NAMES.items()}
    context["panel"] = panel_for(form.taken_food)
    if is_understood and (answer := form.answer()) is not None:
        context |= _answered(answer)
        context["panel"] = panel_for(form.taken_food, is_eaten=answer.may_be_eaten)
        context["kept"] = urlencode({key: form.cleaned_data[key] for key in ("food", "since")})
    return render(request, "batches/wrong.html", context)


@require_http_methods(["GET", "POST"])
def wrong_with_batch(request: HttpRequest, lot_code: str) -> HttpResponse:
    """For one batch: what can have happened to it, the answer for its food and its hours, and what is done about it.

    The situation stands in the address, and the number of the jar that it is about where only one is in hand; what is
    done is the button that was pressed.
    """
    user, now = signed_in(request), timezone.now()
    batch = batch_for(user, lot_code)
    context = _batch_context(batch, user, request.GET.get("what", ""), now, in_hand=request.GET.get("jar", ""))
    if request.method == "POST" and "answer" in context:
        done = _acted(request, user, batch, context, now)
        if done is not None:
            return done
    return render(request, "batches/wrong.html", context)


def _batch_context(batch: Batch, user: User, what: str, now: datetime, *, in_hand: str) -> dict[str, Any]:
    food, unlogged = food_of_batch(batch), is_never_logged(batch, now)
    possible = situations_of(batch)
    situation = next((one for one in possible if one == what), None)
    out_at = batch.jars_out_at if situation is None else counted_from(batch, situation)
    context: dict[str, Any] = {
        "batch": batch,
        "now": now,
        "out_for": None if out_at is None else max(elapsed(out_at, now), timedelta(0)),
        "unlogged_for": elapsed(batch.started_at, now) if unlogged else None,
        "listed": [(one, name_of(one)) for one in possible],
        "running": Stage.objects.running().filter(batch=batch).first() if batch.is_staged else None,
    }
    is_eaten = True
    if situation is not None:
        answer = answer_for_batch(batch, situation, now)
        context |= _answered(answer, batch.altitude) | _to_do(batch, user, answer, now, in_hand)
        if answer.until_hours is not None and out_at is not None:
            context["until"] = out_at + timedelta(hours=answer.until_hours)
        is_eaten = answer.may_be_eaten
    is_pressure = batch.required_psi is not None
    if batch.way not in (Way.DRY, Way.FREEZE):  # no closed jar, where the germ could make its poison
        context["panel"] = panel_for(food, batch.altitude, is_pressure=is_pressure, is_eaten=is_eaten)
    return context


def _to_do(batch: Batch, user: User, answer: Answer, now: datetime, in_hand: str) -> dict[str, Any]:
    """The forms of what can be done about it; without jars, or for who may not write, there are none."""
    jars = [jar for jar in batch.jars.all() if jar.is_there]
    refusal = batch.reprocess_refusal(now) if answer.may_reprocess else None
    is_all = answer.situation in WHOLE_BATCH
    return {
        "refusal": refusal,
        "jars": jars,
        "may_write": Batch.objects.changeable_by(user).filter(pk=batch.pk).exists(),
        "may_recall": may_recall(user, batch) and batch.jars.all(),
        "is_called_back": is_called_back(batch),
        "may_reopen": answer.may_reprocess and refusal is None and answer.situation is not Situation.UNSEALED,
        "waiting": batch.jars_to_reprocess(),
        "act": AccidentForm(jars=jars, ticked=[one.number for one in jars if is_all or str(one.number) == in_hand]),
        "recall": urlencode(
            {
                "kind": RecallKind.BATCH,
                "code": batch.lot_code,
                "reason": _("%(what)s. Do not eat them.") % {"what": name_of(answer.situation)},
            }
        ),
    }


def _answered(answer: Answer, altitude: Altitude | None = None) -> dict[str, Any]:
    remade = remakes() if Act.REMAKE in answer.acts else []
    found = remade[0].process_at(altitude) if remade and altitude is not None else None
    return {
        "answer": answer,
        "name": name_of(answer.situation),
        "why": WHY.get(answer.situation, ""),
        "words": [WORDS[act] for act in answer.acts],
        "remakes": remade,
        "remake_minutes": found.minutes if isinstance(found, ProcessFound) else None,
    }


def _acted(
    request: HttpRequest, user: User, batch: Batch, context: dict[str, Any], now: datetime
) -> HttpResponse | None:
    """Where it leads to; None, with what was typed in the context, where it was refused."""
    answer: Answer = context["answer"]
    batch_to_write(user, batch.lot_code)
    context["act"] = form = AccidentForm(request.POST, jars=context["jars"])
    if not form.is_valid():
        return None
    jars, token, what = form.cleaned_data["jars"], form.cleaned_data["token"], answer.situation.value
    try:
        with refusals_on(form):
            if request.POST.get("do") == "discard":
                unsealed = answer.situation is Situation.UNSEALED
                told = {"by": user, "batch": batch, "jars": jars, "token": token, "now": now}
                count = services.jars_throw_away(came_unsealed=unsealed, **told)
                text = ngettext("%(n)s jar is thrown away.", "%(n)s jars are thrown away.", count) % {"n": count}
                if unsealed and batch.jars.filter(disposal=Disposal.SHELF).exists():
                    more = _("Its lid counts as failed. Look at the other jars of this lot before one is opened.")
                    text = f"{text} {more}"
            elif request.POST.get("do") == "reprocess":
                services.jars_open_again(by=user, batch=batch, situation=what, jars=jars, now=now)
                messages.success(request, _("They wait to be reprocessed. Write it down when they are out again."))
                return redirect("batches:reprocess", batch.lot_code)
            else:
                services.jars_set_aside(by=user, batch=batch, situation=what, jars=jars, token=token, now=now)
                text = _("Set aside. Nobody eats them or gives them away until it is settled.")
            messages.success(request, text)
            return redirect(batch)
    except services.AlreadyDone as done:
        messages.info(request, str(done))
        return redirect(f"{reverse('batches:batch-wrong', args=[batch.lot_code])}?what={what}")
    return None


@require_http_methods(["GET", "POST"])
def set_aside(request: HttpRequest, lot_code: str, pk: int) -> HttpResponse:
    """Jars that were set aside: those who may judge it say that they are sound after all."""
    user = signed_in(request)
    batch = batch_for(user, lot_code)
    row = get_object_or_404(JarsSetAside.objects.select_related("opened_by", "settled_by"), batch=batch, pk=pk)
    if not user.has_perm("batches.trace_batch"):
        raise PermissionDenied
    form = ClearForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.set_aside_clear(by=user, set_aside=row, **form.cleaned_data)
                messages.success(request, _("Written down: these jars may be eaten and handed on."))
                return redirect(batch)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(batch)
    context = {
        "batch": batch,
        "row": row,
        "name": name_of(row.situation),
        "jars": Jar.objects.filter(set_aside=row).order_by("number"),
        "form": form,
    }
    return render(request, "batches/set_aside.html", context)
