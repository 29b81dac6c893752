"""A draft as its readers see it, and what moves it: submit, send back, publish; and withdrawing what is published."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from recipes import services
from recipes.forms import AcidForm, FoodForm, ReasonForm, WithdrawForm
from recipes.models import Revision
from recipes.views.asks import allow
from recipes.views.browse import recipe_context
from recipes.views.drafts import REVIEW, WRITE
from recipes.withdrawal import reach_of

WITHDRAW = "recipes.withdraw_revision"


def _draft(pk: int) -> Revision:
    return get_object_or_404(Revision.objects.select_related("recipe", "author"), pk=pk)


@require_safe
def draft(request: HttpRequest, pk: int) -> HttpResponse:
    """A draft in full. One that was published meanwhile is found at its own page."""
    allow(request, WRITE, REVIEW)
    shown = _draft(pk)
    if shown.number is not None:
        return redirect("recipes:revision", shown.recipe.slug, shown.number)
    return _show(request, shown, ReasonForm(label=_("What should be changed")))


def _show(
    request: HttpRequest, shown: Revision, note_form: ReasonForm, food_form: FoodForm | None = None
) -> HttpResponse:
    findings = services.findings_of(shown.tested)
    unknown = [found.unknown for found in findings if found.unknown]
    context = {
        **recipe_context(request, shown),
        "findings": findings,
        "asks_statement": any(found.by_statement for found in findings),
        "acid_form": AcidForm(),
        "food_form": food_form or (FoodForm(words=unknown) if unknown else None),
        "note_form": note_form,
        "is_author": shown.author_id == request.user.pk,
    }
    return render(request, "recipes/draft.html", context)


@require_POST
def submit(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    return _move(request, pk, _("Handed in for review."), lambda d: services.revision_submit(by=user, revision=d))


@require_POST
def publish(request: HttpRequest, pk: int) -> HttpResponse:
    """The form says which content the reviewer saw, so that no later change slips in."""
    user = allow(request, REVIEW)
    seen = request.POST.get("seen_digest", "").replace("\0", "")  # PostgreSQL takes no text with a NUL in it
    form = AcidForm(request.POST)
    said = form.cleaned_data["acid_seen"] if form.is_valid() else ""
    return _move(
        request,
        pk,
        _("Published."),
        lambda d: services.revision_publish(by=user, revision=d, seen_digest=seen or "unseen", acid_seen=said),
    )


@require_POST
def class_food(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, REVIEW)
    shown = _draft(pk)
    findings = services.findings_of(shown.tested)
    form = FoodForm(request.POST, words=[found.unknown for found in findings if found.unknown])
    if form.is_valid():
        try:
            services.food_classify(by=user, revision=shown, **form.cleaned_data)
            messages.success(request, _("Classed. What still speaks against the draft stands below."))
            return redirect("recipes:draft", pk)
        except ValidationError as error:
            form.add_error(None, error)
    return _show(request, shown, ReasonForm(label=_("What should be changed")), form)


def _move(request: HttpRequest, pk: int, said: str, move: Callable[[Revision], Any]) -> HttpResponse:
    """A button without a form of its own: a refusal becomes a message on the draft's page."""
    try:
        move(_draft(pk))
        messages.success(request, said)
    except ValidationError as error:
        for sentence in error.messages:
            messages.error(request, sentence)
    return redirect("recipes:draft", pk)


@require_POST
def send_back(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, REVIEW)
    shown = _draft(pk)
    form = ReasonForm(request.POST, label=_("What should be changed"))
    if form.is_valid():
        try:
            services.revision_send_back(by=user, revision=shown, note=form.cleaned_data["reason"])
            messages.success(request, _("Sent back to its author."))
            return redirect("recipes:draft", pk)
        except ValidationError as error:
            form.add_error("reason", error.messages)
    return _show(request, shown, form)


@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, slug: str, number: int) -> HttpResponse:
    user = allow(request, WITHDRAW)
    shown = get_object_or_404(Revision.objects.numbered().select_related("recipe"), recipe__slug=slug, number=number)
    reach = reach_of(shown)
    form = WithdrawForm(request.POST or None, calls_back=reach.words if reach.jars else "")
    if request.method == "POST" and form.is_valid():
        try:
            services.revision_withdraw(by=user, revision=shown, reason=form.cleaned_data["reason"])
            messages.success(request, _("Withdrawn. The page says so to everybody who opens it."))
            return redirect("recipes:revision", slug, number)
        except ValidationError as error:
            form.add_error("reason", error.messages)
    told = {"form": form, "revision": shown, "recipe": shown.recipe, "reach": reach}
    return render(request, "recipes/withdraw.html", told)
