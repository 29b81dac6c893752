"""The labels of a batch's jars: on the page, and as a PDF for the sheets in somebody's printer."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from club.core.http import refusals_as_messages, signed_in
from club.core.papers import TooSmall
from club.core.papers import labels_pdf as written
from club.core.sheets import PLAIN
from club.members.models import LabelPaper, label_paper_of
from club.members.services import labels_printed
from inventory.batches.papers import paper_labels, preview_of
from inventory.batches.presentation import label_text, labels_of
from inventory.batches.rules import HELD_APART, NOT_EATEN
from inventory.batches.tracing import is_called_back
from inventory.batches.views.batches import batch_for

EVERY = "all"


@require_safe
def labels(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_for(user, lot_code)
    every = request.GET.get("which") == EVERY
    shown, paper = labels_of(batch, every=every), label_paper_of(user)
    on_paper = paper_labels(batch, signed=paper.signed, every=every)
    name = _("The label of jar %(n)s") % {"n": shown[0].number} if shown else ""
    context = {
        "batch": batch,
        "labels": shown,
        "text": label_text(batch),
        "every": every,
        "is_called_back": is_called_back(batch),
        "instead": (NOT_EATEN, HELD_APART),
        "preview": preview_of(paper, on_paper, _first(request, paper), name) if shown else None,
    }
    return render(request, "batches/labels.html", context)


def _first(request: HttpRequest, paper: LabelPaper) -> int:
    """The first free label as the address says, where it is on the sheet; else as it is remembered."""
    asked = request.GET.get("first", "")
    return (
        int(asked)
        if asked.isdecimal() and len(asked) < 5 and 1 <= int(asked) <= paper.sheet.count
        else paper.first_free
    )


@require_safe
def labels_pdf(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_for(user, lot_code)
    paper = label_paper_of(user)
    on_paper = paper_labels(batch, signed=paper.signed, every=request.GET.get("which") == EVERY)
    page = redirect(f"{reverse('batches:labels', args=[batch.lot_code])}?{request.GET.urlencode()}")
    if not on_paper:
        return page  # which says why there are none
    try:
        title = _("Labels, %(lot)s") % {"lot": batch.lot_code}
        cut = paper.sheet in PLAIN.values()
        data = written(on_paper, paper.sheet, title=title, first=_first(request, paper), cut=cut)
    except TooSmall:
        return page
    name = f"labels-{batch.lot_code}.pdf"
    return HttpResponse(data, "application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


@require_POST
def printed(request: HttpRequest, lot_code: str) -> HttpResponse:
    """They came out well: the next free label of the sheet is remembered."""
    user = signed_in(request)
    batch = batch_for(user, lot_code)
    told = [request.POST.get(name, "") for name in ("first", "count")]
    first, count = (int(text) if text.isdecimal() and len(text) < 5 else -1 for text in told)
    with refusals_as_messages(request):
        paper = labels_printed(by=user, first=first, count=count)
        messages.success(request, _("Noted: the next free label is number %(n)s.") % {"n": paper.first_free})
    return redirect("batches:labels", batch.lot_code)
