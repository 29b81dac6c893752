"""Writing in a batch's log: start, process, seals, reprocess, put away, give up."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from club.members.models import Kitchen, User
from inventory.batches import rules, services
from inventory.batches.counts import most_jars
from inventory.batches.forms import AbandonForm, LogForm, ReprocessForm, StartForm
from inventory.batches.models import Batch, BatchState
from inventory.batches.needs import reprocess_need, reprocess_refusal, tested_needs
from inventory.batches.recall_rules import HELD_APART, NOT_EATEN
from inventory.batches.recalls import is_called_back
from inventory.batches.seal_forms import PutAwayForm, SealsForm, jars_to_look_at, waiting_jars
from inventory.batches.services.common import clock
from inventory.batches.views.asks import batch_at_the_stove, batch_to_write, refusals_on, signed_in
from inventory.jars.models import LidLot
from recipes.engine.terms import Refusal
from recipes.models import Revision
from recipes.planning import WishError, plan_for, plan_wish_from

LIDS_OFFERED = 20


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """The plan asked for in the address, and a form to start from it. The address stays the same on POST."""
    user = signed_in(request)
    revision, kitchen = _asked_for(request, user)
    form = StartForm(request.POST or None)
    told = {"form": form, "revision": revision, "kitchen": kitchen}
    try:
        wish = plan_wish_from(request.GET.dict())
    except WishError as error:
        return render(request, "batches/start.html", {**told, "problems": error.problems}, status=400)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            batch = services.batch_start(by=user, revision=revision, kitchen=kitchen, **wish, **form.cleaned_data)
            messages.success(request, _("Batch %(lot)s is started.") % {"lot": batch.lot_code})
            return redirect(batch)
    plan = plan_for(revision=revision, altitude=kitchen.altitude, **wish)
    return render(request, "batches/start.html", {**told, "plan": plan, "may_start": plan.ok and kitchen.altitude})


def _asked_for(request: HttpRequest, user: User) -> tuple[Revision, Kitchen]:
    """The revision and kitchen named in the address; 404 for what this person may not read or use."""
    asked = {key: request.GET.get(key, "") for key in ("revision", "kitchen")}
    if not all(value.isdecimal() and len(value) < 19 for value in asked.values()):
        raise Http404
    revisions = Revision.objects.visible_to(user).select_related("recipe")
    return (
        get_object_or_404(revisions, pk=int(asked["revision"])),
        get_object_or_404(Kitchen.objects.usable_by(user), pk=int(asked["kitchen"])),
    )


@require_http_methods(["GET", "POST"])
def log(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    # Where the beginning was noted already, such as on a class's day, the address brings it along.
    form = LogForm(request.POST or None, batch=batch, initial={"process_started_at": request.GET.get("began", "")[:16]})
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                batch = services.batch_log_process(by=user, batch=batch, **form.written())
                messages.success(request, _said_after_log(batch))
                return redirect(batch)
        except services.AlreadyDone as done:
            return _done_before(request, batch, done)
    if batch.state != BatchState.STARTED:
        return _done_before(request, batch, _("This batch was logged or given up before."))
    told = {
        "batch": batch,
        "form": form,
        "needs": tested_needs(batch),
        "most": [(size, most_jars(batch, size)) for size in form.sizes],
        "lid_lots": LidLot.objects.all()[:LIDS_OFFERED],
        "unsafe": rules.UNDERPROCESSED,
    }
    return render(request, "batches/log.html", told)


def _said_after_log(batch: Batch) -> str:
    if batch.window is None:
        return _("Written down. These jars are kept in the freezer; there are no seals to look at.")
    return _("Written down. Leave the jars where they are and look at the seals from %(time)s.") % {
        "time": clock(batch.window.opens)
    }


def _done_before(request: HttpRequest, batch: Batch, why: object) -> HttpResponse:
    messages.info(request, str(why))
    return redirect("batches:detail", batch.lot_code)


@require_http_methods(["GET", "POST"])
def seals(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    batch = batch_to_write(user, lot_code)
    jars = jars_to_look_at(batch)
    called_back = is_called_back(batch)
    form = SealsForm(request.POST or None, batch=batch, jars=jars, now=now, is_called_back=called_back)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                look = services.seals_record(by=user, batch=batch, **form.written())
                _say_after_look(request, batch, look.was_early)
                return redirect(batch)
        except services.AlreadyDone as done:
            return _done_before(request, batch, done)
    if batch.state != BatchState.OUT:
        return _done_before(request, batch, _("There are no seals to look at in this batch now."))
    told = {
        "batch": batch,
        "form": form,
        "phase": batch.phase_at(now),
        "now": now,
        "refusal": reprocess_refusal(batch, now),
        "is_called_back": called_back,
        "instead": (NOT_EATEN, HELD_APART),
        "rules": rules,
    }
    return render(request, "batches/seals.html", told)


def _say_after_look(request: HttpRequest, batch: Batch, was_early: bool) -> None:
    if was_early and batch.window is not None:
        text = _("Noted as an early look. Seals may still be drawing down: look again after %(time)s.")
        messages.warning(request, text % {"time": clock(batch.window.opens)})
    else:
        messages.success(request, _("The seals are recorded."))


@require_http_methods(["GET", "POST"])
def reprocess(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    need = reprocess_need(batch)
    if isinstance(need, Refusal) or not waiting_jars(batch):
        return _done_before(request, batch, _("No jar of this batch waits to be reprocessed."))
    form = ReprocessForm(request.POST or None, need=need)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                batch = services.jars_reprocess(by=user, batch=batch, **form.cleaned_data)
                messages.success(request, _said_after_log(batch))
                return redirect(batch)
        except services.AlreadyDone as done:
            return _done_before(request, batch, done)
    return _reprocess_page(
        request, batch, form, PutAwayForm(jars=waiting_jars(batch), is_called_back=is_called_back(batch))
    )


def _reprocess_page(request: HttpRequest, batch: Batch, form: ReprocessForm, away: PutAwayForm) -> HttpResponse:
    told = {
        "batch": batch,
        "now": timezone.now(),
        "form": form,
        "away": away,
        "need": reprocess_need(batch),
        "is_called_back": is_called_back(batch),
        "instead": (NOT_EATEN, HELD_APART),
        "waiting": waiting_jars(batch),
        "has_lapsed": batch.reprocess_until is None or timezone.now() >= batch.reprocess_until,
        "lid_lots": LidLot.objects.all()[:LIDS_OFFERED],
        "rules": rules,
    }
    return render(request, "batches/reprocess.html", told)


@require_POST
def put_away(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    need, waiting = reprocess_need(batch), waiting_jars(batch)
    if isinstance(need, Refusal) or not waiting:
        return _done_before(request, batch, _("No jar of this batch waits to be reprocessed."))
    away = PutAwayForm(request.POST, jars=waiting, is_called_back=is_called_back(batch))
    if away.is_valid():
        with refusals_on(away):
            services.jars_put_away(by=user, batch=batch, disposals=away.written())
            messages.success(request, _("Written down."))
            return redirect(batch)
    return _reprocess_page(request, batch, ReprocessForm(need=need), away)


@require_http_methods(["GET", "POST"])
def abandon(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_at_the_stove(user, lot_code)
    form = AbandonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.batch_abandon(by=user, batch=batch, **form.cleaned_data)
                messages.success(request, _("Batch %(lot)s is given up.") % {"lot": batch.lot_code})
                return redirect(batch)
        except services.AlreadyDone as done:
            return _done_before(request, batch, done)
    if batch.state != BatchState.STARTED:
        return _done_before(request, batch, _("This batch is not on the stove any more."))
    return render(request, "batches/abandon.html", {"batch": batch, "form": form})
