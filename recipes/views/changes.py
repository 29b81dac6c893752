"""May I change this? A verdict on each change somebody would like to make to a recipe."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from recipes.engine.changes import GRAMMAR_HELP, Ruling, Verdict, check_changes
from recipes.forms.changes import ChangesForm
from recipes.models import Revision

# The class of the mark, its sign and its words: never by colour alone.
MARKS = {
    Ruling.FINE: ("go", "✓", _("fine")),
    Ruling.QUALITY: ("wait", "~", _("safe, but less good")),
    Ruling.REFUSED: ("stop", "✗", _("refused")),
}
TOGETHER = {
    Ruling.FINE: _("All of this may be changed."),
    Ruling.QUALITY: _("This is safe, and the jars will set, keep, look or taste less well."),
    Ruling.REFUSED: _("Do not make it so. At least one of these changes is refused."),
}


@require_safe
def changes(request: HttpRequest, slug: str) -> HttpResponse:
    """All that is asked stands in the address. Only a recipe with a published revision has this page."""
    revision = get_object_or_404(Revision.objects.current().select_related("recipe"), recipe__slug=slug)
    form = ChangesForm(request.GET if "change" in request.GET else None)
    context = {"recipe": revision.recipe, "revision": revision, "tested": revision.tested, "form": form}
    if form.is_bound and form.is_valid():
        checked = check_changes(revision.tested, form.asked)
        context |= {
            "answers": [_answer(verdict) for verdict in checked.verdicts],
            "together": TOGETHER[checked.verdict],
            "mark": MARKS[checked.verdict],
        }
    return render(request, "recipes/changes.html", context | {"grammar": GRAMMAR_HELP})


def _answer(verdict: Verdict) -> dict[str, object]:
    kind, sign, words = MARKS[verdict.verdict]
    return {"verdict": verdict, "kind": kind, "sign": sign, "words": words}
