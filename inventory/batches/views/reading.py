"""Looking at batches: the list, one batch, its labels, a trace, and how the lids have done."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.batches import rules
from inventory.batches.jar_runs import jar_runs
from inventory.batches.labels import labels_of
from inventory.batches.lid_forms import CompareForm
from inventory.batches.lids import LidFigures, lid_figures, lids_compared
from inventory.batches.models import Batch, BatchState
from inventory.batches.needs import reprocess_refusal, tested_needs
from inventory.batches.queries import BatchQuerySet
from inventory.batches.recall_rules import HELD_APART, NOT_EATEN
from inventory.batches.recalls import is_called_back, recalls_of
from inventory.batches.seal_forms import waiting_jars
from inventory.batches.statistics import FEW, RateBar, rates_svg
from inventory.batches.timeline import timeline
from inventory.batches.tracing import trace as find
from inventory.batches.views.asks import batch_for, signed_in
from inventory.jars.models import LidLot
from recipes.engine.process import sterilise_minutes
from recipes.measures import headspace_text, kitchen_points

PER_PAGE = 30

SHOWN: dict[str, tuple[object, Callable[[BatchQuerySet, datetime], BatchQuerySet]]] = {
    "": (_("Everything"), lambda batches, now: batches),
    "due": (_("Seals due"), lambda batches, now: batches.seals_due(now)),
    "cooling": (_("Cooling"), lambda batches, now: batches.cooling(now)),
    "open": (_("On the stove"), lambda batches, now: batches.open()),
    "done": (_("Done"), lambda batches, now: batches.done()),
}


@require_safe
def batch_list(request: HttpRequest) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    may_trace = user.has_perm("batches.trace_batch")
    everybody = may_trace and request.GET.get("whose") == "all"
    show = request.GET.get("show", "")
    show = show if show in SHOWN else ""
    batches = Batch.objects.visible_to(user) if everybody else Batch.objects.cared_for_by(user)
    page = Paginator(SHOWN[show][1](batches.for_list(), now), PER_PAGE).get_page(request.GET.get("page"))
    _with_phases(page, now)
    told = {
        "page": page,
        "show": show,
        "shown": [(key, label) for key, (label, _narrow) in SHOWN.items()],
        "may_trace": may_trace,
        "everybody": everybody,
    }
    return render(request, "batches/list.html", told)


def _with_phases(batches: Iterable[Batch], now: datetime) -> None:
    """Each row carries where its seal window stands now, for its tag."""
    for batch in batches:
        batch.phase = batch.phase_at(now)  # type: ignore[attr-defined]


@require_safe
def detail(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    batch = batch_for(user, lot_code)
    tested, recalls = batch.revision.tested, recalls_of(batch)
    told = {
        "batch": batch,
        "points": kitchen_points(batch.altitude, tested),
        "headspace": headspace_text(tested.headspace_in),
        "sterilise_minutes": sterilise_minutes(batch.altitude) if batch.plan.get("sterilise_jars") else None,
        "now": now,
        "refusal": reprocess_refusal(batch, now),
        "phase": batch.phase_at(now),
        "timeline": timeline(batch, now),
        "waiting": waiting_jars(batch),
        "jar_runs": jar_runs(batch.jars.all()),
        "may_write": Batch.objects.changeable_by(user).filter(pk=batch.pk).exists(),
        "may_work": Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists(),
        "may_trace": user.has_perm("batches.trace_batch"),
        "needs": tested_needs(batch) if batch.state == BatchState.STARTED else [],
        "rules": rules,
        "recalls": recalls,
        "is_called_back": is_called_back(batch, recalls),
        "instead": (NOT_EATEN, HELD_APART),
    }
    return render(request, "batches/detail.html", told)


@require_safe
def labels(request: HttpRequest, lot_code: str) -> HttpResponse:
    batch = batch_for(signed_in(request), lot_code)
    every = request.GET.get("which") == "all"
    told = {
        "batch": batch,
        "labels": labels_of(batch, every=every),
        "every": every,
        "is_called_back": is_called_back(batch),
        "instead": (NOT_EATEN, HELD_APART),
    }
    return render(request, "batches/labels.html", told)


@require_safe
def trace(request: HttpRequest) -> HttpResponse:
    code = " ".join(request.GET.get("code", "").replace("\0", "").split())[:200]
    if not code:
        return render(request, "batches/trace.html", {"code": ""})
    found = find(signed_in(request), code)
    if found is None:
        return render(request, "batches/trace.html", {"code": code, "nothing": True}, status=404)
    page = Paginator(found.batches, PER_PAGE).get_page(request.GET.get("page"))
    _with_phases(page, timezone.now())
    return render(request, "batches/trace.html", {"code": code, "found": found, "page": page})


@require_safe
def lids(request: HttpRequest) -> HttpResponse:
    if not signed_in(request).has_perm("batches.trace_batch"):
        raise PermissionDenied
    page = Paginator(LidLot.objects.all(), PER_PAGE).get_page(request.GET.get("page"))
    figures = lid_figures(list(page))
    form = CompareForm(request.GET if "a" in request.GET or "b" in request.GET else None)
    told = {
        "page": page,
        "figures": figures,
        "picture": _lids_picture(figures),
        "form": form,
        "compared": lids_compared(form.cleaned_data["a"], form.cleaned_data["b"]) if form.is_valid() else None,
        "few": FEW,
    }
    return render(request, "batches/lids.html", told)


def _lids_picture(figures: Iterable[LidFigures]) -> str:
    """The rates of the lots that were looked at at all, or nothing to draw."""
    bars = [RateBar(str(row.lot), known) for row in figures if (known := row.rate) is not None]
    return rates_svg(bars, title=gettext("Failed seals by lid lot")) if bars else ""
