"""Jars called back: which recalls are open, what a holder is to do, and who has not answered yet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from club.core.http import refusals_on, signed_in
from club.members.choices import Role
from club.members.models import User
from inventory.batches import services
from inventory.batches.forms import RecallAnswerForm, RecallCloseForm, RecallForm
from inventory.batches.models import Batch, Recall
from inventory.batches.rules import WHAT_TO_DO
from inventory.batches.services.recalls import may_recall, to_answer_for
from inventory.batches.tracing import (
    Holding,
    HoldingRow,
    held_by,
    holding_rows,
    holdings,
    own_places,
    place_words,
    reach_of_recall,
    withdrawn_without_recall,
)
from recipes.safety import Food, panel_for

PER_PAGE = 30


@require_safe
def recall_list(request: HttpRequest) -> HttpResponse:
    """Those that reach oneself; for those who may trace, every one with how many have not answered."""
    user = signed_in(request)
    open_ones = list(Recall.objects.open().for_list())
    rows = holdings(open_ones)
    mine = held_by(user, rows)
    context = {
        "mine": [(one, any(not row.is_answered for row in mine[one.pk])) for one in open_ones if one.pk in mine],
        "runs": may_recall(user),
    }
    if context["runs"]:
        closed = Recall.objects.filter(closed_at__isnull=False).for_list()
        context |= {
            "open": _with_counts(open_ones, rows),
            "page": Paginator(closed, PER_PAGE).get_page(request.GET.get("page")),
            "to_follow": withdrawn_without_recall(),
        }
    return render(request, "batches/recalls.html", context)


def _with_counts(recalls: Sequence[Recall], rows: Sequence[Holding]) -> list[tuple[Recall, int, int]]:
    """(recall, holdings, of them without an answer)"""
    every = Counter(row.recall_id for row in rows)
    waiting = Counter(row.recall_id for row in rows if not row.is_answered)
    return [(one, every[one.pk], waiting[one.pk]) for one in recalls]


def recall_for(user: User, pk: int) -> tuple[Recall, list[Holding]]:
    """The one gate, with every holding: those who may trace, whom it reaches, and who opened or answered it.

    404 for everybody else.
    """
    recall = get_object_or_404(Recall.objects.for_list(), pk=pk)
    rows = holdings([recall])
    is_concerned = held_by(user, rows) or recall.opened_by_id == user.pk
    if is_concerned or may_recall(user) or recall.answers.filter(_of_theirs(user)).exists():
        return recall, rows
    raise Http404


def _of_theirs(user: User) -> Q:
    """Answers that this person gave, or somebody else for a place of theirs."""
    return Q(person=user) | Q(where__in=own_places(user))


@require_safe
def recall(request: HttpRequest, pk: int) -> HttpResponse:
    return _recall_page(request, *recall_for(signed_in(request), pk))


def _recall_page(
    request: HttpRequest, recall: Recall, rows: list[Holding], typed: RecallAnswerForm | None = None
) -> HttpResponse:
    user = signed_in(request)
    runs = may_recall(user)
    answers = recall.answers.select_related("batch", "person").defer("batch__plan")
    answers = answers if runs else answers.filter(_of_theirs(user))
    places = place_words(answer.where for answer in answers)
    context = {
        "recall": recall,
        "runs": runs,
        "what_to_do": WHAT_TO_DO,
        # The strictest: what is called back may not have had its whole process, and is not eaten, boiled or not.
        "panel": panel_for(Food.LOW_ACID, is_eaten=False),
        "asked": _asked(recall, to_answer_for(user, rows), typed),
        "answers": [(answer, places[answer.where]) for answer in answers],
        "rows": [row for _one, row in holding_rows(rows)] if runs else [],
        "sees_phones": user.has_role(Role.ORGANISER),
    }
    return render(request, "batches/recall.html", context, status=400 if typed else 200)


@dataclass(frozen=True)
class Asked:
    """One holding that somebody is asked about; `anchor` is its place on the page."""

    row: HoldingRow
    form: RecallAnswerForm
    anchor: str
    is_for_others: bool


def _asked(recall: Recall, rows: list[Holding], typed: RecallAnswerForm | None) -> list[Asked]:
    """For each holding that one may answer for, what is known of it and its form; what was typed stays in its own."""
    if recall.closed_at is not None:
        return []
    asked: list[Asked] = []
    for one, row in holding_rows(rows):
        key = {"batch": one.batch_id, "where": one.where}
        named = f"id_{one.batch_id}_{one.where.replace(' ', '_')}_%s"
        form = RecallAnswerForm(initial=key, where=one.where, auto_id=named)
        if typed is not None and typed.data.get("batch") == str(one.batch_id):
            form = typed if typed.data.get("where", "") in ("", one.where) else form
        same_lot = sum(before.row.batch == row.batch for before in asked)
        anchor = f"lot-{row.batch.lot_code}" + (f"-{same_lot + 1}" if same_lot else "")
        asked.append(Asked(row, form, anchor, is_for_others=one.is_left_alone))
    return asked


@require_POST
def recall_answer(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    recall, rows = recall_for(user, pk)
    form = RecallAnswerForm(request.POST, where=request.POST.get("where", ""))
    if form.is_valid():
        data = form.cleaned_data
        batch = get_object_or_404(Batch, pk=data.pop("batch"))
        try:
            with refusals_on(form):
                services.recall_answer(by=user, recall=recall, batch=batch, **data)
                messages.success(request, _("Written down. Thank you."))
                return redirect(recall)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(recall)
    return _recall_page(request, recall, rows, form)


@require_http_methods(["GET", "POST"])
def recall_new(request: HttpRequest) -> HttpResponse:
    user = signed_in(request)
    asked = {key: request.GET[key][:200] for key in ("kind", "code", "reason", "tested_on") if key in request.GET}
    form = RecallForm(request.POST or None, user=user, initial=asked)
    if request.method != "POST" or not form.is_valid():
        return render(request, "batches/recall_new.html", {"form": form})
    if form.is_agreed:
        with refusals_on(form):
            recall = services.recall_open(by=user, **form.written())
            messages.success(request, _("The recall is open. Everybody who holds such a jar is told now."))
            return redirect(recall)
    return _preview(request, form)


def _preview(request: HttpRequest, form: RecallForm) -> HttpResponse:
    """What would be called back, before anything is; who holds the jars is for those who may trace."""
    unopened = Recall(kind=form.cleaned_data["kind"], **form.subject)
    rows = holdings([unopened])
    reach = reach_of_recall(unopened, rows)
    shown = form.shown(reach.words)
    for field, problems in form.errors.items():
        shown.add_error(None if field == "__all__" else field, list(problems))
    if form.cleaned_data["seen"] and not form.errors:
        shown.add_error("confirmed", _("Look at what is called back now, and tick that you have read it."))
    context = {
        "form": shown,
        "reach": reach,
        "what": unopened.subject_words,
        "rows": [row for _one, row in holding_rows(rows)] if may_recall(signed_in(request)) else [],
    }
    return render(request, "batches/recall_new.html", context)


@require_http_methods(["GET", "POST"])
def recall_close(request: HttpRequest, pk: int) -> HttpResponse:
    user = signed_in(request)
    recall, rows = recall_for(user, pk)
    if not may_recall(user):
        raise PermissionDenied
    form = RecallCloseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            with refusals_on(form):
                services.recall_close(by=user, recall=recall, **form.cleaned_data)
                messages.success(request, _("The recall is ended."))
                return redirect(recall)
        except services.AlreadyDone as done:
            messages.info(request, str(done))
            return redirect(recall)
    waiting = sum(not row.is_answered for row in rows)
    return render(request, "batches/recall_close.html", {"form": form, "recall": recall, "waiting": waiting})
