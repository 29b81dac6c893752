"""Moving jars, correcting what was written, and closing a deposit."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from club.core.money import money_text
from club.members.models import User
from inventory.jars import services
from inventory.jars.forms import REASONS_OFFERED, CorrectForm, MoveForm, SettleForm, choice_of
from inventory.jars.models import Deposit, DepositNote, Movement, Place
from inventory.jars.queries import KEEP
from inventory.jars.views.asks import keeper, place_for, refusals_on, signed_in
from inventory.jars.words import Reason
from recipes.words import JARS


@require_http_methods(["GET", "POST"])
def move(request: HttpRequest, reason: str) -> HttpResponse:
    """One form for each reason. `?place=` sets where it begins, or ends, to that place."""
    user = signed_in(request)
    if reason not in REASONS_OFFERED:
        raise Http404
    if not user.has_perm("batches.add_batch"):
        raise PermissionDenied
    why = Reason(reason)
    form = MoveForm(request.POST or None, by=user, reason=why, initial=_asked_place(request, user))
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            movement = services.jars_move(by=user, reason=reason, **form.written())
            messages.success(request, _said(movement))
            return redirect(movement.source if movement.source.is_inside else movement.target)
    return render(request, "jars/move.html", {"form": form, "reason": why, "reasons": REASONS_OFFERED})


def _asked_place(request: HttpRequest, user: User) -> dict[str, str]:
    pk = request.GET.get("place", "")
    if not (pk.isascii() and pk.isdecimal() and len(pk) < 19):
        return {}
    choice = choice_of(place_for(user, int(pk)))
    return {"source": choice, "target": choice}


def _said(movement: Movement) -> str:
    said = ngettext("%(n)s jar, %(size)s: %(reason)s.", "%(n)s jars, %(size)s: %(reason)s.", movement.count)
    told = {"n": movement.count, "size": JARS[movement.size], "reason": movement.get_reason_display()}
    note = DepositNote.objects.filter(movement=movement).first()
    if note is None:
        return said % told
    money = _("Deposit taken: %(sum)s.") if note.cents > 0 else _("Give back %(sum)s of the deposit.")
    return f"{said % told} {money % {'sum': money_text(abs(note.cents))}}"


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    movement = _movement_for(user, pk)
    form = CorrectForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.jars_correct(by=user, movement=movement, **form.cleaned_data)
            messages.success(request, _("The correction is written. The first movement stays to be seen."))
            return redirect(movement.target if movement.target.is_inside else movement.source)
    return render(request, "jars/correct.html", {"form": form, "movement": movement})


def _movement_for(user: User, pk: int) -> Movement:
    """404 unless every inside place of it is the person's to see; 403 for what somebody else wrote there."""
    movement = get_object_or_404(Movement.objects.for_list(), pk=pk)
    inside = {place.pk for place in (movement.source, movement.target) if place.is_inside}
    if Place.objects.usable_by(user).filter(pk__in=inside).count() != len(inside):
        raise Http404
    if not user.has_perm(KEEP) and movement.by_id != user.pk:
        raise PermissionDenied
    return movement


@require_http_methods(["GET", "POST"])
def settle(request: HttpRequest, pk: int) -> HttpResponse:
    user = keeper(request)
    held = get_object_or_404(Deposit.objects.select_related("person"), pk=pk)
    form = SettleForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            services.deposit_settle(by=user, person=held.person, size=held.size, **form.cleaned_data)
            messages.success(request, _("The deposit is closed."))
            return redirect("jars:deposits")
    return render(request, "jars/settle.html", {"form": form, "deposit": held})
