"""A draft from its first line to the reviewer's desk. Wrong role: PermissionDenied; a broken rule: ValidationError."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from club.members.models import User
from recipes.engine.document import recipe_from_document, recipe_to_document
from recipes.indexing import index_of
from recipes.library import RESERVED_SLUGS, content_digest
from recipes.models import Recipe, Revision, RevisionState
from recipes.services.judging import refuse_unsafe

SLUG_TRIES = 50
LONGEST_SLUG = 80


def revision_draft(
    *,
    by: User,
    content: Mapping[str, Any] | None = None,
    from_revision: Revision | None = None,
    seen_statement: str = "",
    token: UUID | None = None,
) -> Revision:
    """A new draft: of a new recipe, or of the recipe that `from_revision` belongs to.

    `content` is a library document (its slug is ignored: the recipe decides it); left out, that of `from_revision`
    is copied. `seen_statement` says what the author read and where. The same `token` again returns the first draft,
    also when both are sent at one moment. Raises DocumentError for content that is not a recipe.
    """
    _may(by, "recipes.draft_revision")
    try:
        with transaction.atomic():
            return _drafted(by, token) or _draft_add(by, content, from_revision, seen_statement, token)
    except IntegrityError:  # the token was taken since we looked; what we made of it is undone
        if made := _drafted(by, token):
            return made
        raise ValidationError(_("This form was used already. Open the page again."), code="token-used") from None


def _drafted(by: User, token: UUID | None) -> Revision | None:
    return Revision.objects.filter(token=token, author=by).first() if token else None


def _draft_add(
    by: User,
    content: Mapping[str, Any] | None,
    from_revision: Revision | None,
    seen_statement: str,
    token: UUID | None,
) -> Revision:
    document = content if content is not None else (from_revision.content if from_revision else None)
    if document is None:
        raise ValidationError(_("A draft needs a content, or a revision to start from."), code="no-content")
    if from_revision is not None:
        recipe = from_revision.recipe
        clean = clean_content(document, slug=recipe.slug)
    else:
        recipe, clean = _recipe_add(document)
    return Revision.objects.create(
        recipe=recipe,
        content=clean,
        digest=content_digest(clean),
        seen_statement=seen_statement.strip(),
        author=by,
        token=token,
        state=RevisionState.DRAFT,
    )


@transaction.atomic
def revision_change(
    *, by: User, revision: Revision, content: Mapping[str, Any], seen_statement: str | None = None
) -> Revision:
    """The author's own draft, changed; refused once it waits for review or has a number."""
    _may(by, "recipes.draft_revision")
    clean = clean_content(content, slug=revision.recipe.slug)
    mine = Revision.objects.filter(pk=revision.pk, state=RevisionState.DRAFT, author=by)
    said = {} if seen_statement is None else {"seen_statement": seen_statement.strip()}
    if mine.update(content=clean, digest=content_digest(clean), **said) != 1:
        raise ValidationError(_("Only its author can change it, and only while it is a draft."), code="not-a-draft")
    if not Revision.objects.numbered().filter(recipe=revision.recipe_id).exists():
        Recipe.objects.filter(pk=revision.recipe_id).update(**index_of(recipe_from_document(clean)))
    return _fresh(revision)


@transaction.atomic
def revision_submit(*, by: User, revision: Revision) -> Revision:
    """The author hands the draft over; from now on only a reviewer moves it."""
    _may(by, "recipes.draft_revision")
    mine = Revision.objects.filter(pk=revision.pk, state=RevisionState.DRAFT, author=by)
    if mine.update(state=RevisionState.IN_REVIEW, submitted_at=timezone.now()) != 1:
        raise ValidationError(_("Only its author can submit it, and only while it is a draft."), code="not-a-draft")
    return _fresh(revision)


@transaction.atomic
def revision_send_back(*, by: User, revision: Revision, note: str) -> Revision:
    """A reviewer asks for changes: the draft is its author's again, with the note."""
    _may(by, "recipes.review_revision")
    not_own(by, revision)
    if not note.strip():
        raise ValidationError(_("Say what should be changed."), code="no-note")
    waiting = Revision.objects.filter(pk=revision.pk, state=RevisionState.IN_REVIEW)
    if waiting.update(state=RevisionState.DRAFT, submitted_at=None, review_note=f"{by}: {note.strip()}") != 1:
        raise ValidationError(_("It no longer waits for review."), code="not-in-review")
    return _fresh(revision)


def clean_content(content: Mapping[str, Any], *, slug: str) -> dict[str, Any]:
    """The content in its canonical form under the recipe's own slug.

    Raises DocumentError when it is not a recipe, or is one that the acid ledger refuses.
    """
    recipe = recipe_from_document({**content, "slug": slug}, where=slug)
    refuse_unsafe(recipe)
    return recipe_to_document(recipe)


def not_own(by: User, revision: Revision) -> None:
    if revision.author_id == by.pk:
        raise PermissionDenied(_("Nobody reviews her own draft."))


def _may(by: User, permission: str) -> None:
    if not by.has_perm(permission):
        raise PermissionDenied


def _fresh(revision: Revision) -> Revision:
    return Revision.objects.select_related("recipe").get(pk=revision.pk)


def _recipe_add(content: Mapping[str, Any]) -> tuple[Recipe, dict[str, Any]]:
    """A recipe without a published revision, under the first free slug that its title gives."""
    stem = slugify(str(content.get("title", "")))[: LONGEST_SLUG - 4].strip("-") or "recipe"
    for count in range(1, SLUG_TRIES + 1):
        slug = stem if count == 1 else f"{stem}-{count}"
        if slug in RESERVED_SLUGS or Recipe.objects.filter(slug=slug).exists():
            continue
        clean = clean_content(content, slug=slug)
        try:
            with transaction.atomic():
                return Recipe.objects.create(slug=slug, **index_of(recipe_from_document(clean))), clean
        except IntegrityError:  # somebody took the slug since we looked
            continue
    raise ValidationError({"title": _("There are too many recipes of that title. Give it a more particular one.")})
