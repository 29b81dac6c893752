"""From which lots a batch took its ingredients: noted, and a slip taken back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.core.http import refusals_as_messages, refusals_on, signed_in
from inventory.batches import services
from inventory.batches.choices import BatchState, LotKind
from inventory.batches.forms import LotsForm
from inventory.batches.ingredients import lines_to_ask, lines_with_lots, notes_of
from inventory.batches.models import Batch, LotTaken
from inventory.batches.services.lots import LotAnswer
from inventory.batches.tracing import is_called_back
from inventory.batches.views.batches import batch_at_the_stove, batch_for
from recipes.engine import RULES


@require_http_methods(["GET", "POST"])
def lots(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    if batch.state == BatchState.ABANDONED:
        messages.info(request, _("This batch was given up."))
        return redirect(batch)
    asked, offered = lines_to_ask(batch, user, request.GET.get("more", ""))
    form = LotsForm(request.POST or None, asked=asked, offered=offered)
    if request.method == "POST" and form.is_valid():
        written = form.written()
        answers = [LotAnswer(**answer) for answer in written["answers"]]
        try:
            with refusals_on(form):
                services.lots_note(by=user, batch=batch, answers=answers, token=written["token"])
                messages.success(request, _("Written down."))
                if is_called_back(batch):
                    messages.warning(request, _("One of these lots is called back, and with it what is in the jars."))
                return redirect(batch)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(batch)
    lines, notes = lines_with_lots(batch), notes_of(batch)
    noted = {note.taken.item for note in notes}
    context = {
        "batch": batch,
        "form": form,
        "asked": asked,
        "notes": notes,
        "places": {line.item: line.at for line in lines if line.kind != LotKind.FRUIT or line.item in noted},
        "has_vinegar": any(line.kind == LotKind.VINEGAR for line in asked),
        "vinegar_rule": RULES["VINEGAR-MIN"],
    }
    return render(request, "batches/lots.html", context)


@require_POST
def lot_take_back(request: HttpRequest, lot_code: str, pk: int) -> HttpResponse:
    user = signed_in(request)
    batch = batch_for(user, lot_code)  # who runs a recall need not work at the batch; the service asks who may
    taken = get_object_or_404(LotTaken.objects.for_page().filter(batch=batch), pk=pk)
    with refusals_as_messages(request):
        services.lot_take_back(by=user, taken=taken)
        messages.success(request, _("Taken back: say now which one it was."))
    works_at_it = Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists()
    return redirect("batches:lots", batch.lot_code) if works_at_it else redirect(batch)
