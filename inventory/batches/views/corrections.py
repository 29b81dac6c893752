"""Correcting a signed log: the same figures as a form, and what they come to."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from club.core.http import refusals_on, signed_in
from inventory.batches import rules, services
from inventory.batches.forms import CorrectionForm
from inventory.batches.models import Batch, SignedLog
from inventory.batches.tracing import is_called_back
from inventory.batches.views.batches import LIDS_OFFERED, batch_at_the_stove
from inventory.jars.models import LidLot


@require_http_methods(["GET", "POST"])
def correct(request: HttpRequest, lot_code: str) -> HttpResponse:
    """The form holds the newest log; what makes the jars unsafe is said before it is written."""
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    if batch.state not in services.CORRECTABLE:
        messages.info(request, _("There is no signed log of this batch to correct."))
        return redirect(batch)
    was = services.log_as_signed(batch)
    form = CorrectionForm(request.POST or None, batch=batch, was=was, units=user.units)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form, {"jars": f"jars_{form.sizes[0]}"}):
                _say(request, batch, _written(request, batch, form))
                return redirect(batch)
        except services.AlreadyDone as done:
            messages.warning(request, str(done))
            return redirect(batch)
    context = {
        "batch": batch,
        "form": form,
        "was": was,
        "needs": batch.tested_needs(),
        "most": [(size, batch.most_jars(size)) for size in form.sizes if was.jars.get(size)],
        "lid_lots": LidLot.objects.all()[:LIDS_OFFERED],
        "is_called_back": is_called_back(batch),
        "unsafe": rules.UNDERPROCESSED,
    }
    return render(request, "batches/correct.html", context)


def _written(request: HttpRequest, batch: Batch, form: CorrectionForm) -> SignedLog:
    """As the service has it; a finding makes the form ask for a yes to it first."""
    try:
        return services.batch_log_correct(by=signed_in(request), batch=batch, **form.written())
    except ValidationError as error:
        for said in getattr(error, "error_dict", {}).get("is_true", ()):
            form.ask_for_yes(said.params["finding"])
        raise


def _say(request: HttpRequest, batch: Batch, row: SignedLog) -> None:
    if row.recall_id is not None:
        text = _("The log is corrected, and these jars are called back. Everybody who has one is told.")
        messages.warning(request, text)
    elif row.set_aside_id is not None:
        messages.warning(
            request, _("The log is corrected, and jars of it are set aside. Read what to do with them now.")
        )
    else:
        messages.success(request, _("The log is corrected. The one before is kept beside it."))
