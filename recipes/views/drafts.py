"""Writing drafts: the list, a new one, one from a revision, and changing one's own."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from recipes import services
from recipes.engine.document import DocumentError
from recipes.forms import DraftForm
from recipes.forms.draft import can_edit
from recipes.models import Revision, RevisionState
from recipes.views.asks import allow

WRITE = "recipes.draft_revision"
REVIEW = "recipes.review_revision"


@require_safe
def draft_list(request: HttpRequest) -> HttpResponse:
    allow(request, WRITE, REVIEW)
    drafts = list(Revision.objects.drafts().select_related("recipe", "author").order_by("-created_at"))
    return render(
        request,
        "recipes/drafts.html",
        {
            "waiting": [d for d in drafts if d.state == RevisionState.IN_REVIEW],
            "drafts": [d for d in drafts if d.state == RevisionState.DRAFT and not d.is_held_back],
            "held_back": [d for d in drafts if d.is_held_back],
        },
    )


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    return _write(request, from_revision=None)


@require_http_methods(["GET", "POST"])
def start_from(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    revision = get_object_or_404(Revision.objects.visible_to(user).select_related("recipe"), pk=pk)
    if not can_edit(revision.content):
        messages.error(request, _("This form has no fields for its altitude bands. Use a library file instead."))
        return redirect("recipes:drafts")
    return _write(request, from_revision=revision)


def _write(request: HttpRequest, *, from_revision: Revision | None) -> HttpResponse:
    user = allow(request, WRITE)
    form = DraftForm(request.POST or None, document=from_revision.content if from_revision else None)

    def keep() -> Revision:
        return services.revision_draft(
            by=user,
            content=form.content,
            from_revision=from_revision,
            seen_statement=form.statement,
            token=form.token.cleaned_data["token"],
        )

    if made := _kept(request, form, keep):
        messages.success(request, _("The draft is kept. Look it over, then hand it in for review."))
        return redirect("recipes:draft", made.pk)
    return render(request, "recipes/draft_form.html", {"form": form, "from_revision": from_revision})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    user = allow(request, WRITE)
    draft = get_object_or_404(Revision.objects.drafts().select_related("recipe"), pk=pk)
    if draft.author_id != user.pk:
        raise PermissionDenied
    form = DraftForm(request.POST or None, document=draft.content, statement=draft.seen_statement)

    def keep() -> Revision:
        return services.revision_change(by=user, revision=draft, content=form.content, seen_statement=form.statement)

    if _kept(request, form, keep):
        messages.success(request, _("Saved."))
        return redirect("recipes:draft", draft.pk)
    return render(request, "recipes/draft_form.html", {"form": form, "draft": draft})


def _kept(request: HttpRequest, form: DraftForm, keep: Callable[[], Revision]) -> Revision | None:
    """What `keep` made of a valid form; None when the form is to be shown (again), with whatever is wrong in it."""
    if request.method != "POST" or form.add_to or not form.is_valid():
        return None
    try:
        return keep()
    except DocumentError as error:
        form.add_problems(error.problems)
    except ValidationError as error:
        form.add_refusal(error)
    return None
