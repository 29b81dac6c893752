"""Food kept in stages: what the tables hold; a batch begun, looked at, measured, ended, put away or canned."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from club.core.http import refusals_on, signed_in
from club.members.models import User
from inventory.batches import rules, services
from inventory.batches.choices import BatchState, StageKind, Way
from inventory.batches.forms import CanForm, FinishForm, KeepingForm, LookForm, PutUpForm, ReadingForm
from inventory.batches.models import Batch, Stage
from inventory.batches.presentation import keeping_facts
from inventory.batches.views.batches import batch_to_write

# Choosing a food, and beginning.

WAYS: dict[str, tuple[object, object]] = {
    Way.FERMENT: (_("Ferment"), _("Cabbage and cucumbers that make their own acid under brine, in one to six weeks.")),
    Way.DRY: (_("Dry"), _("Fruit, vegetables, leather and herbs: dried by their test, then evened out for a week.")),
    Way.FREEZE: (_("Freeze"), _("Vegetables blanched and cooled, fruit dry, in sugar or in syrup.")),
}


@require_safe
def keep(request: HttpRequest) -> HttpResponse:
    signed_in(request)
    way = request.GET.get("way", Way.FERMENT.value)
    way = way if way in WAYS else Way.FERMENT.value
    words = " ".join(request.GET.get("q", "").replace("\0", "").lower().split())[:80]
    rows = [
        row for row in services.keeping_foods() if row.way == way and all(word in row.said for word in words.split())
    ]
    context = {
        "way": way,
        "ways": [(key, name) for key, (name, _text) in WAYS.items()],
        "about": WAYS[way][1],
        "words": words,
        "rows": sorted(rows, key=lambda row: (row.food.lower(), row.about)),
    }
    return render(request, "batches/keep.html", context)


@require_http_methods(["GET", "POST"])
def keep_start(request: HttpRequest, way: str, key: str) -> HttpResponse:
    user = signed_in(request)
    row = next((one for one in services.keeping_foods() if (one.way, one.key) == (way, key)), None)
    if row is None:
        raise Http404
    form = KeepingForm(request.POST or None, user=user, asks=row.asks)
    if request.method == "POST" and form.is_valid():
        with refusals_on(form):
            choices = services.KeepingChoices(**form.choices())
            batch = services.keeping_start(by=user, way=way, key=key, choices=choices, **form.written())
            messages.success(request, gettext("Batch %(lot)s is started.") % {"lot": batch.lot_code})
            return redirect(batch)
    plan = services.keeping_preview(way, key)
    context: dict[str, Any] = {
        "facts": keeping_facts(plan),
        "plan": plan,
        "form": form,
        "food": row,
        "way": WAYS[way][0],
        "about": row.about,
        "way_key": way,
    }
    return render(request, "batches/keep_start.html", context)


# One batch: its page is `views.batches.detail`.


def _running_or_done(request: HttpRequest, lot_code: str) -> tuple[User, Batch, Stage | None]:
    """The batch, for who may write in it, and the stage that is running; 404 for a recipe's batch without a wait."""
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    running = Stage.objects.running().filter(batch=batch).first()
    if not batch.is_staged and running is None:
        raise Http404
    return user, batch, running


def _nothing_more(request: HttpRequest, batch: Batch, text: object) -> HttpResponse:
    messages.info(request, str(text))
    return redirect(batch)


def _written(
    request: HttpRequest, batch: Batch, form: Form, write: Callable[[], str], context: dict[str, Any]
) -> HttpResponse:
    """The one shape of this room's pages of a form: written and back to the batch, or shown with what is wrong."""
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form, context.get("elsewhere", {})):
                messages.success(request, write())
                return redirect(batch)
        except services.AlreadyDone as done:
            return _nothing_more(request, batch, done)
    return render(request, "batches/stage_form.html", {"batch": batch, "form": form, **context})


@require_http_methods(["GET", "POST"])
def look(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, batch, running = _running_or_done(request, lot_code)
    if running is None or running.kind not in (StageKind.FERMENT, StageKind.CONDITION):
        return _nothing_more(request, batch, _("No stage of this batch is looked at now."))
    form = LookForm(request.POST or None, kind=running.kind)

    def write() -> str:
        check = services.stage_look(by=user, batch=batch, **form.cleaned_data)
        if check.is_spoilt:
            return gettext("Written down. What you saw is a reason to throw it away.")
        if check.moisture == "drops":
            return gettext("Written down. It goes back to the drier: drying runs again.")
        return gettext("The look is written down.")

    about = _("Shake the jar and look at its lid.") if running.kind == StageKind.CONDITION else batch.plan["look_for"]
    stop = rules.DROPS if running.kind == StageKind.CONDITION else rules.SPOILT
    context = {"title": _("What do you see?"), "about": about, "stop": [stop]}
    return _written(request, batch, form, write, context)


@require_http_methods(["GET", "POST"])
def reading(request: HttpRequest, lot_code: str) -> HttpResponse:
    user = signed_in(request)
    batch = batch_to_write(user, lot_code)
    if batch.state == BatchState.ABANDONED:
        return _nothing_more(request, batch, _("This batch was given up."))
    usual = {Way.FERMENT.value: "ph", Way.RECIPE.value: "brix"}
    initial = {"measured": usual.get(batch.way, "temperature")}
    form = ReadingForm(request.POST or None, units=user.units, initial=initial)

    def write() -> str:
        taken = services.reading_note(by=user, batch=batch, **form.written())
        if taken.is_above_limit:
            return gettext("Written down: it is above the limit. See below what follows.")
        return gettext("The reading is written down.")

    context = {"title": _("What did it show?"), "about": "", "stop": [rules.CALIBRATED]}
    return _written(request, batch, form, write, context)


@require_http_methods(["GET", "POST"])
def stage(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, batch, running = _running_or_done(request, lot_code)
    if running is None:
        return _nothing_more(request, batch, _("No stage of this batch is running any more."))
    form = FinishForm(request.POST or None, kind=running.kind, initial={"number": running.number})

    def write() -> str:
        services.stage_finish(by=user, batch=batch, **form.cleaned_data)
        return gettext("That stage is over.")

    stop = [rules.PH_AT_THE_END] if running.kind == StageKind.FERMENT else []
    title = _("End the stage: %(kind)s") % {"kind": running.get_kind_display()}
    context = {"title": title, "about": running.words or batch.plan.get("test", ""), "stop": stop, "running": running}
    return _written(request, batch, form, write, context)


@require_http_methods(["GET", "POST"])
def put_up(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, batch, running = _running_or_done(request, lot_code)
    is_over = running is None or running.kind == StageKind.FREEZE
    if batch.state != BatchState.UNDERWAY or not is_over:
        return _nothing_more(request, batch, _("There is nothing to put away now."))
    form = PutUpForm(request.POST or None, way=batch.way, units=user.units)

    def write() -> str:
        services.keeping_put_up(by=user, batch=batch, **form.written())
        return gettext("Put away. Each container has a number; print their labels.")

    stop = [rules.UNBLANCHED] if batch.plan.get("is_unblanched") else []
    about = _("How it is kept: %(how)s.") % {"how": batch.plan["keep"]} if batch.way == Way.FERMENT else ""
    context = {
        "title": _("What was it put into?"),
        "about": about,
        "stop": stop,
        "elsewhere": {"containers": "filled_bag"},
    }
    return _written(request, batch, form, write, context)


@require_http_methods(["GET", "POST"])
def can(request: HttpRequest, lot_code: str) -> HttpResponse:
    user, batch, running = _running_or_done(request, lot_code)
    table = services.canning_table(batch)
    if table is None or running is not None or batch.state != BatchState.UNDERWAY:
        return _nothing_more(request, batch, _("This batch is not to be canned now."))
    form = CanForm(request.POST or None, rows=table.table.rows)

    def write() -> str:
        services.keeping_can(by=user, batch=batch, **form.cleaned_data)
        return gettext("On the stove: its process stands on this page.")

    context = {"title": _("Can it by its own table"), "about": str(table), "stop": []}
    return _written(request, batch, form, write, context)
