"""Who is at a batch: a second pair of hands, handing it over, and a batch that was started by mistake."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.errors import AlreadyDone
from club.core.http import refusals_as_messages, refusals_on, signed_in
from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.forms import HandForm
from inventory.batches.models import HANDED_IN, Batch, BatchHand
from inventory.batches.views.batches import batch_at_the_stove


@require_http_methods(["GET", "POST"])
def people(request: HttpRequest, lot_code: str) -> HttpResponse:
    """Who works at a batch. The button says what is done: `take`, `end` of a row, or the form that asks somebody."""
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    if batch.state not in HANDED_IN:
        messages.info(request, _("This batch is done or given up: there is nothing left to hand over."))
        return redirect(batch)
    may_write = Batch.objects.changeable_by(user).filter(pk=batch.pk).exists()
    do = request.POST.get("do", "")
    if do:
        with refusals_as_messages(request):
            if do == "take":
                services.batch_take_over(by=user, batch=batch)
                messages.success(request, _("The batch is yours now. Who had it still sees it."))
            elif do.removeprefix("end-").isdecimal():
                row = get_object_or_404(BatchHand, batch=batch, pk=int(do.removeprefix("end-")[:18]))
                services.hand_end(by=user, hand=row)
        is_there = Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists()
        return redirect("batches:people", lot_code) if is_there else redirect("batches:stove-list")
    form = HandForm(request.POST or None, may_hand_over=may_write)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                _say(request, services.hand_ask(by=user, batch=batch, **form.written()))
                return redirect("batches:people", batch.lot_code)
        except AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(batch)
    context = {"batch": batch, "hands": batch.hands.live(), "form": form, "may_write": may_write}
    return render(request, "batches/people.html", context)


def _say(request: HttpRequest, hand: BatchHand) -> None:
    if hand.accepted_at:
        messages.success(request, _("%(who)s is at this batch too.") % {"who": hand.person})
    else:
        messages.success(request, _("%(who)s is asked, and sees the batch once they say yes.") % {"who": hand.person})


@require_POST
def answer(request: HttpRequest, pk: int) -> HttpResponse:
    """The one who is asked says yes (`do` is "accept") or no."""
    user = signed_in(request)
    hand = get_object_or_404(BatchHand.objects.filter(person=user).select_related("batch"), pk=pk)
    with refusals_as_messages(request):
        if request.POST.get("do") == "accept":
            batch = services.hand_accept(by=user, hand=hand)
            messages.success(request, _("It is among your batches now."))
            return redirect(batch)
        services.hand_end(by=user, hand=hand)
        messages.success(request, _("They see that you cannot."))
    return redirect("batches:stove-list")


@require_http_methods(["GET", "POST"])
def discard(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    if batch.state not in (BatchState.STARTED, BatchState.UNDERWAY):
        messages.info(request, _("This batch is not on the stove any more."))
        return redirect(batch)
    if request.method == "POST":
        with refusals_as_messages(request):
            services.batch_discard(by=user, batch=batch)
            messages.success(request, _("Batch %(lot)s is gone, as if it never was.") % {"lot": batch.lot_code})
            return redirect("batches:list")
        return redirect(batch)
    return render(request, "batches/discard.html", {"batch": batch, "in_the_canner": services.in_the_canner(batch)})
