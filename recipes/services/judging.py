"""The acid ledger at every door a recipe comes in by: a draft, a review, a file. And classing what it does not know."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.members.models import User
from recipes.acidity import ledger_with
from recipes.engine.acidity import Finding, Ledger, judge
from recipes.engine.acidity_foods import FoodClass, KnownFood
from recipes.engine.document import DocumentError, Problem
from recipes.engine.terms import TestedRecipe
from recipes.models import ClassedFood, Recipe, Revision, RevisionState

HIGHEST_PH = Decimal("4.6")  # 21 CFR 114.3


def current_ledger() -> Ledger:
    """The shipped lists, what reviewers classed, and no ratio of a recipe that was withdrawn."""
    classed = tuple(
        (words, KnownFood(words, FoodClass(kind)))
        for words, kind in ClassedFood.objects.order_by("words").values_list("words", "kind")
    )
    withdrawn = Recipe.objects.filter(
        from_library=True, current=None, revisions__state=RevisionState.WITHDRAWN
    ).values_list("slug", flat=True)
    return ledger_with(classed, frozenset(withdrawn))


def findings_of(recipe: TestedRecipe) -> tuple[Finding, ...]:
    """All that speaks against a recipe; the same for its author, its reviewer and a file."""
    return judge(recipe, current_ledger())


def refuse_unsafe(recipe: TestedRecipe) -> None:
    """Raise what is refused, each beside its field. What is only held back may be written down and reviewed."""
    problems = [Problem(found.field, found.sentence, recipe.slug) for found in findings_of(recipe) if found.is_refused]
    if problems:
        raise DocumentError(problems)


def settled(revision: Revision, *, by: User, acid_seen: str) -> str:
    """The review note of a revision that nothing speaks against any longer; ValidationError with what still does."""
    open_ones = findings_of(revision.tested)
    by_word = acid_seen.strip()
    left = [found for found in open_ones if found.is_refused or not (found.by_statement and by_word)]
    if left:
        raise ValidationError(
            [
                ValidationError(f"{found.field}: {found.sentence}", code="unsafe" if found.is_refused else "held-back")
                for found in left
            ]
        )
    if not open_ones:
        return revision.review_note
    return _("%(name)s read of the acid: %(said)s") % {"name": by, "said": by_word}


def food_classify(*, by: User, revision: Revision, words: str, kind: str, ph: str, source: str) -> ClassedFood:
    """A reviewer other than the author says what words are that hold a draft back. Their class holds for every recipe.

    A fruit needs its highest printed pH, at 4.6 or below. ValidationError by field.
    """
    if not by.has_perm("recipes.review_revision") or revision.author_id == by.pk:
        raise PermissionDenied
    problems = {}
    if words not in {found.unknown for found in findings_of(revision.tested) if found.unknown}:
        problems["words"] = _("Nothing in this draft waits for these words any longer. Look again.")
    if kind not in ClassedFood.Kind.values:
        problems["kind"] = _("Choose one of the classes.")
    if not source.strip():
        problems["source"] = _("Say where this is printed, or why it is no food.")
    hundredths = None
    if kind == ClassedFood.Kind.FRUIT:
        hundredths = _hundredths(ph)
        if hundredths is None:
            problems["ph"] = _("Give its highest printed pH, such as 3.9. Above 4.6 it is low-acid food.")
    if problems:
        raise ValidationError(problems)
    try:
        with transaction.atomic():
            return ClassedFood.objects.create(
                words=words, kind=kind, ph_hundredths=hundredths, source=source.strip(), by=by
            )
    except IntegrityError:
        raise ValidationError({"words": _("Somebody classed these words a moment ago. Look again.")}) from None


def _hundredths(ph: str) -> int | None:
    """A printed pH in hundredths, rounded up; None for what is no pH of acid food."""
    try:
        value = Decimal(ph.strip().replace(",", "."))
    except InvalidOperation:
        return None
    if not value.is_finite() or not 1 <= value <= HIGHEST_PH:
        return None
    return int(-(-value * 100 // 1))
