"""Batches: the list, one batch, a trace, and each entry of its log."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.clock import club_day, zoned_text
from club.core.http import refusals_on, signed_in
from club.members.models import Kitchen, User
from inventory.batches import rules, services
from inventory.batches.charts import RateBar, rates_svg
from inventory.batches.choices import BatchState, Disposal
from inventory.batches.forms import (
    AbandonForm,
    CompareForm,
    LogForm,
    PutAwayForm,
    ReprocessForm,
    SealsForm,
    StartForm,
)
from inventory.batches.ingredients import acids_not_noted, lines_not_noted, notes_of, proposals
from inventory.batches.models import Batch, BatchQuerySet, CannerBeside, LotTaken, Recall, Stage
from inventory.batches.presentation import (
    LidFigures,
    canner_proposed,
    canners_offered,
    headline,
    jar_runs,
    keeping_facts,
    lid_figures,
    lids_compared,
    log_filled,
    reading_rows,
    set_aside_rows,
    timeline,
)
from inventory.batches.rules import HELD_APART, NOT_EATEN
from inventory.batches.statistics import FEW
from inventory.batches.stove import course_of
from inventory.batches.tracing import canner_doubts, is_called_back, recalls_of
from inventory.batches.tracing import trace as find
from inventory.equipment.choices import CANNER_KINDS
from inventory.equipment.models import Thing
from inventory.jars.models import LidLot
from recipes.engine import Plan, sterilise_minutes
from recipes.engine.terms import LowTemperature, Refusal
from recipes.models import Revision
from recipes.planning import PlanInputError, plan_for, read_plan_input
from recipes.presentation import headspace_text, kept_lines, kitchen_points, own_steps, process_details
from recipes.safety import panel_of


def batch_for(user: User, lot_code: str) -> Batch:
    """The one gate to a batch's pages: 404 for what this person may not see, as for what is not there."""
    return get_object_or_404(Batch.objects.visible_to(user).for_page(), lot_code=lot_code)


def batch_to_write(user: User, lot_code: str) -> Batch:
    """As `batch_for`, and 403 for somebody who may see the batch but not write in its log."""
    batch = batch_for(user, lot_code)
    if not Batch.objects.changeable_by(user).filter(pk=batch.pk).exists():
        raise PermissionDenied
    return batch


def batch_at_the_stove(user: User, lot_code: str) -> Batch:
    """As `batch_to_write`, for the process log and giving up: also for whoever started it for somebody else."""
    batch = batch_for(user, lot_code)
    if not Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists():
        raise PermissionDenied
    return batch


def whose_store(user: User) -> str:
    """What a phone's store is marked with, so that nobody's presses are sent as somebody else's."""
    return salted_hmac("inventory.batches.store of a phone", str(user.pk)).hexdigest()[:16]


# Reading: the list, one batch, a trace, and how the lids have done.

PER_PAGE = 30
SUSPECT_SHOWN = 200

SHOWN: dict[str, tuple[object, Callable[[BatchQuerySet, datetime], BatchQuerySet]]] = {
    "": (_("Everything"), lambda batches, now: batches),
    "due": (_("Seals due"), lambda batches, now: batches.seals_due(now)),
    "cooling": (_("Cooling"), lambda batches, now: batches.cooling(now)),
    "open": (_("On the stove"), lambda batches, now: batches.open()),
    "underway": (_("Under way"), lambda batches, now: batches.under_way()),
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
    context = {
        "page": page,
        "show": show,
        "shown": [(key, label) for key, (label, _narrow) in SHOWN.items()],
        "may_trace": may_trace,
        "everybody": everybody,
    }
    return render(request, "batches/list.html", context)


def _with_phases(batches: Iterable[Batch], now: datetime) -> None:
    """Each row carries where its seal window stands now, for its tag."""
    for batch in batches:
        batch.phase = batch.phase_at(now)  # type: ignore[attr-defined]


@require_safe
def detail(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    batch = batch_for(user, lot_code)
    if batch.is_staged:
        return _kept_page(request, batch, user)
    tested, recalls, notes = batch.cooked_from.tested, recalls_of(batch), notes_of(batch)
    kept = [jar for jar in batch.jars.all() if jar.disposal != Disposal.DISCARD]
    may_trace = user.has_perm("batches.trace_batch")
    called_back = LotTaken.objects.live().called_back().filter(batch=batch)
    may_work = Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists()
    is_under_way = batch.state in (BatchState.STARTED, BatchState.OUT)
    is_signed = batch.state in services.CORRECTABLE
    at_the_stove = batch.state == BatchState.STARTED and not batch.is_cold_kind
    waiting = batch.jars_to_reprocess()
    course = course_of(batch, user.units) if at_the_stove else None
    context = {
        "batch": batch,
        "store": whose_store(user) if may_work and is_under_way else "",
        "points": kitchen_points(batch.altitude, tested),
        "amounts": kept_lines(batch.plan["lines"], user.units),
        "recipe_steps": own_steps(
            tested,
            pack=batch.pack,
            canner=batch.canner,
            jars=[jar["size"] for jar in batch.plan["jars"]],
            units=user.units,
        ),
        "headspace": headspace_text(tested.headspace_in),
        "sterilise_minutes": sterilise_minutes(batch.altitude) if batch.plan.get("sterilise_jars") else None,
        "now": now,
        "refusal": batch.reprocess_refusal(now),
        "phase": batch.phase_at(now),
        "timeline": timeline(batch, now),
        "lot_notes": notes,
        "notes_to_take_back": set(called_back.values_list("pk", flat=True)) if recalls and may_trace else set(),
        "lots_missing": lines_not_noted(batch, notes),
        "waiting": waiting,
        "next": headline(batch, now, course=course, waiting=waiting),
        "jar_runs": jar_runs(batch.jars.all()),
        "may_write": Batch.objects.changeable_by(user).filter(pk=batch.pk).exists(),
        "may_work": may_work,
        "may_trace": may_trace,
        "needs": batch.tested_needs() if batch.state == BatchState.STARTED else [],
        "rules": rules,
        "running": Stage.objects.running().filter(batch=batch).first() if batch.state == BatchState.STARTED else None,
        "readings": reading_rows(batch, user.units),
        "signed": list(batch.signed_logs.for_page()) if is_signed else [],
        "may_correct": may_work and is_signed,
        "photos": list(batch.photos.defer("jpeg").select_related("added_by")),
        "recalls": recalls,
        "set_asides": set_aside_rows(batch),
        # Nothing is left to wash, label and store.
        "is_none_good": all(jar.set_aside_id for jar in kept),
        "panel": panel_of(tested, batch.altitude),
        "is_called_back": is_called_back(batch, recalls),
        "instead": (NOT_EATEN, HELD_APART),
    }
    return render(request, "batches/detail.html", context)


def _kept_page(request: HttpRequest, batch: Batch, user: User) -> HttpResponse:
    """The page of a batch in stages; `batch` is of `for_page`."""
    now = timezone.now()
    stages = list(batch.stages.select_related("ended_by").prefetch_related("checks__noted_by"))
    running = next((one for one in stages if one.is_running), None)
    recalls, is_signed = recalls_of(batch), batch.state in services.CORRECTABLE
    may_work = Batch.objects.worked_at_by(user).filter(pk=batch.pk).exists()
    context = {
        "batch": batch,
        "signed": list(batch.signed_logs.for_page()) if is_signed else [],
        "may_correct": may_work and is_signed,
        "photos": list(batch.photos.defer("jpeg").select_related("added_by")),
        "now": now,
        "stages": stages,
        "looks": sorted((look for one in stages for look in one.checks.all()), key=lambda look: look.at, reverse=True),
        "running": running,
        "is_look_due": running is not None and running.look_due_at is not None and running.look_due_at <= now,
        "is_ripe": running is not None and running.ends_from is not None and running.ends_from <= now,
        "is_looked_at": running is not None and running.look_every_hours is not None,
        "spoilt": _last_look_spoilt(running),
        "spoilt_rule": rules.SPOILT,
        "facts": keeping_facts(batch.plan),
        "readings": reading_rows(batch, user.units),
        "table": services.canning_table(batch) if batch.state == BatchState.UNDERWAY and running is None else None,
        "lot_notes": notes_of(batch),
        "jar_runs": jar_runs(batch.jars.all()),
        "may_write": Batch.objects.changeable_by(user).filter(pk=batch.pk).exists(),
        "may_work": may_work,
        "may_trace": user.has_perm("batches.trace_batch"),
        "needs": batch.tested_needs() if batch.state == BatchState.STARTED else [],
        "phase": batch.phase_at(now),
        "waiting": batch.jars_to_reprocess(),
        "rules": rules,
        "recalls": recalls,
        "set_asides": set_aside_rows(batch),
        "is_called_back": is_called_back(batch, recalls),
        "instead": (NOT_EATEN, HELD_APART),
    }
    return render(request, "batches/kept.html", context)


def _last_look_spoilt(running: Stage | None) -> bool:
    looks = [] if running is None else list(running.checks.all())
    return bool(looks) and looks[0].is_spoilt


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
def canner(request: HttpRequest, code: str) -> HttpResponse:
    """What was processed under pressure in a canner; of each test that its gauge failed, first of all what went by the
    good test before."""
    user = signed_in(request)
    card = Thing.everything.coded(code).filter(kind__in=CANNER_KINDS).first()
    if card is None or not services.may_recall(user, canner=card):
        raise Http404
    everything = Batch.objects.in_canner(card).for_list()
    page = Paginator(everything, PER_PAGE).get_page(request.GET.get("page"))
    suspect = []
    for at, one in enumerate(canner_doubts(card)):
        rows = list(one.batches.for_list()[:SUSPECT_SHOWN])
        if rows or not at:
            count = one.batches.count() if len(rows) == SUSPECT_SHOWN else len(rows)
            suspect.append({"doubt": one.doubt, "recall": one.recall, "batches": rows, "count": count})
        _with_phases(rows, timezone.now())
    _with_phases(page, timezone.now())
    context = {
        "card": card,
        "suspect": suspect,
        "recall": Recall.objects.open().filter(canner=card).first(),
        "page": page,
    }
    return render(request, "batches/canner.html", context)


@require_safe
def lids(request: HttpRequest) -> HttpResponse:
    if not signed_in(request).has_perm("batches.trace_batch"):
        raise PermissionDenied
    page = Paginator(LidLot.objects.all(), PER_PAGE).get_page(request.GET.get("page"))
    figures = lid_figures(list(page))
    form = CompareForm(request.GET if "a" in request.GET or "b" in request.GET else None)
    context = {
        "page": page,
        "figures": figures,
        "picture": _lids_picture(figures),
        "form": form,
        "compared": lids_compared(form.cleaned_data["a"], form.cleaned_data["b"]) if form.is_valid() else None,
        "few": FEW,
    }
    return render(request, "batches/lids.html", context)


def _lids_picture(figures: Iterable[LidFigures]) -> str:
    """The rates of the lots that were looked at at all, or nothing to draw."""
    bars = [RateBar(str(row.lot), known) for row in figures if (known := row.rate) is not None]
    return rates_svg(bars, title=gettext("Failed seals by lid lot")) if bars else ""


# Writing in a batch's log: start, process, seals, reprocess, put away, give up.

LIDS_OFFERED = 20


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """The plan asked for in the address, and a form to start from it. The address stays the same on POST."""
    user = signed_in(request)
    revision, kitchen = _asked_for(request, user)
    context: dict[str, Any] = {"revision": revision, "kitchen": kitchen}
    try:
        wanted = read_plan_input(request.GET.dict())
    except PlanInputError as error:
        return render(request, "batches/start.html", {**context, "problems": error.problems}, status=400)
    plan = plan_for(revision=revision, altitude=kitchen.altitude, **wanted)
    gauge = plan.process.canner if plan.process and plan.process.gauge else None
    offered = canners_offered(user, gauge)
    proposed = canner_proposed(user, kitchen, offered) if request.method == "GET" and gauge else None
    code = request.GET.get("canner_code", "")[:120] or (proposed.code if proposed else "")
    initial = {"canner_code": code, "own_reads_high": request.GET.get("reads_high", "")}
    may_pasteurise = isinstance(plan.low_temperature, LowTemperature)
    form = StartForm(request.POST or None, gauge=gauge, may_pasteurise=may_pasteurise, initial=initial)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            batch = services.batch_start(by=user, revision=revision, kitchen=kitchen, **wanted, **form.written())
            messages.success(request, gettext("Batch %(lot)s is started.") % {"lot": batch.lot_code})
            return redirect(batch)
    # The plan with what its card says of the canner that is proposed, or was typed.
    code, problems = str(form["canner_code"].value() or ""), services.Problems()
    used = services.canner_used(problems, user, code, None, on=club_day(timezone.now()))
    if used.card is not None and not problems:
        plan = plan_for(revision=revision, altitude=kitchen.altitude, **used.planned(wanted, revision))
        if plan.ok:
            used.serves_check(problems, plan)
    context |= {
        "form": form,
        "plan": plan,
        "process": process_details(plan.process),
        "canners": offered,
        "canner_problems": [] if form.is_bound else problems.of("canner_code"),
        "canners_beside": _beside(used, plan),
        "may_start": plan.ok and kitchen.altitude,
    }
    return render(request, "batches/start.html", context)


def _beside(used: services.CannerUsed, plan: Plan) -> list[CannerBeside]:
    """The settings of further canners, not written."""
    process = plan.process
    if process is None or process.pressure_psi is None:
        return []
    return used.rows_beside(Batch(required_psi=process.pressure_psi, setting_psi=process.setting_psi))


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
    if batch.is_staged and batch.required_minutes is None:
        return _done_before(request, batch, gettext("This batch is kept in stages: its own page says what is next."))
    # Where the beginning was noted already, such as on a class's day, the address brings it along.
    began: dict[str, Any] = {"process_started_at": request.GET.get("began", "")[:16]}
    course = None if batch.is_staged else course_of(batch, user.units)
    began |= log_filled(course) if course is not None else {}
    acids = acids_not_noted(batch) if batch.state == BatchState.STARTED else []
    offered = proposals(batch, user, acids) if acids else {}
    form = LogForm(request.POST or None, batch=batch, acids=acids, offered=offered, initial=began)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form, {"jars": f"jars_{form.sizes[0]}"}):
                written = form.written()
                lots = [services.LotAnswer(**answer) for answer in written.pop("lots")]
                batch = services.batch_log_process(by=user, batch=batch, lots=lots, **written)
                messages.success(request, _said_after_log(batch))
                return redirect(batch)
        except services.AlreadyDone as done:
            return _done_before(request, batch, done)
    if batch.state != BatchState.STARTED:
        return _done_before(request, batch, gettext("This batch was logged or given up before."))
    context = {
        "batch": batch,
        "form": form,
        "needs": batch.tested_needs(),
        "most": [(size, batch.most_jars(size)) for size in form.sizes],
        "lid_lots": LidLot.objects.all()[:LIDS_OFFERED],
        "unsafe": rules.UNDERPROCESSED,
        "course": course,
    }
    return render(request, "batches/log.html", context)


def _said_after_log(batch: Batch) -> str:
    if batch.best_by is not None:
        text = gettext("Written down. Keep these jars in the refrigerator, and use them by %(day)s.")
        return text % {"day": date_format(batch.best_by, "j M Y")}
    if batch.window is None:
        return gettext("Written down. These jars are kept in the freezer; there are no seals to look at.")
    return gettext("Written down. Leave the jars where they are and look at the seals from %(time)s.") % {
        "time": zoned_text(batch.window.opens)
    }


def _done_before(request: HttpRequest, batch: Batch, why: object) -> HttpResponse:
    messages.info(request, str(why))
    return redirect("batches:detail", batch.lot_code)


@require_http_methods(["GET", "POST"])
def seals(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    batch = batch_to_write(user, lot_code)
    jars = batch.jars_to_look_at()
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
        return _done_before(request, batch, gettext("There are no seals to look at in this batch now."))
    context = {
        "batch": batch,
        "form": form,
        "phase": batch.phase_at(now),
        "now": now,
        "refusal": batch.reprocess_refusal(now),
        "is_called_back": called_back,
        "instead": (NOT_EATEN, HELD_APART),
        "rules": rules,
    }
    return render(request, "batches/seals.html", context)


def _say_after_look(request: HttpRequest, batch: Batch, was_early: bool) -> None:
    if was_early and batch.window is not None:
        text = gettext("Noted as an early look. Seals may still be drawing down: look again after %(time)s.")
        messages.warning(request, text % {"time": zoned_text(batch.window.opens)})
    else:
        messages.success(request, gettext("The seals are recorded."))


@require_http_methods(["GET", "POST"])
def reprocess(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    need = batch.reprocess_need()
    if isinstance(need, Refusal) or not batch.jars_to_reprocess():
        return _done_before(request, batch, gettext("No jar of this batch waits to be reprocessed."))
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
        request, batch, form, PutAwayForm(jars=batch.jars_to_reprocess(), is_called_back=is_called_back(batch))
    )


def _reprocess_page(request: HttpRequest, batch: Batch, form: ReprocessForm, away: PutAwayForm) -> HttpResponse:
    context = {
        "batch": batch,
        "now": timezone.now(),
        "form": form,
        "away": away,
        "need": batch.reprocess_need(),
        "is_called_back": is_called_back(batch),
        "instead": (NOT_EATEN, HELD_APART),
        "waiting": batch.jars_to_reprocess(),
        "has_lapsed": batch.reprocess_until is None or timezone.now() >= batch.reprocess_until,
        "lid_lots": LidLot.objects.all()[:LIDS_OFFERED],
        "rules": rules,
    }
    return render(request, "batches/reprocess.html", context)


@require_POST
def put_away(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    need, waiting = batch.reprocess_need(), batch.jars_to_reprocess()
    if isinstance(need, Refusal) or not waiting:
        return _done_before(request, batch, gettext("No jar of this batch waits to be reprocessed."))
    away = PutAwayForm(request.POST, jars=waiting, is_called_back=is_called_back(batch))
    if away.is_valid():
        with refusals_on(away):
            services.jars_put_away(by=user, batch=batch, **away.written())
            messages.success(request, gettext("Written down."))
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
                messages.success(request, gettext("Batch %(lot)s is given up.") % {"lot": batch.lot_code})
                return redirect(batch)
        except services.AlreadyDone as done:
            return _done_before(request, batch, done)
    if batch.state not in (BatchState.STARTED, BatchState.UNDERWAY):
        return _done_before(request, batch, gettext("This batch is not on the stove any more."))
    return render(request, "batches/abandon.html", {"batch": batch, "form": form})
