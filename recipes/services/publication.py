"""From the reviewer's desk to a numbered revision, and its withdrawal."""

from __future__ import annotations

from datetime import datetime

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from recipes.indexing import index_of
from recipes.models import Recipe, Revision, RevisionState
from recipes.services.judging import settled
from recipes.services.revisions import not_own

NUMBER_TRIES = 10


@transaction.atomic
def revision_publish(*, by: User, revision: Revision, seen_digest: str | None = None, acid_seen: str = "") -> Revision:
    """Give the draft its number and make it the recipe's current revision.

    1. Only a reviewer other than the author, only figures seen in print, and nothing that the acid ledger refuses.
       `acid_seen` is the reviewer's word on where the source prints an acid that no tested recipe here has.
    2. The recipe's row is locked (PostgreSQL) or the whole database is (SQLite, immediate transactions).
    3. A conditional update gives state and number at once; of two reviewers one wins. The content must be the one
       that the reviewer saw: `seen_digest`, or that of the `revision` passed in.
    4. A number taken meanwhile breaks the unique constraint: try the next one.
    """
    if not by.has_perm("recipes.review_revision"):
        raise PermissionDenied
    not_own(by, revision)
    wanted = seen_digest or revision.digest
    now_held = Revision.objects.select_related("recipe").get(pk=revision.pk)
    if not now_held.tested.is_tested:
        message = _("Not every figure was seen in print; a recipe from memory is not published.")
        raise ValidationError(message, code="not-seen")
    note = settled(now_held, by=by, acid_seen=acid_seen)
    recipe = Recipe.objects.select_for_update().get(pk=revision.recipe_id)
    waiting = Revision.objects.filter(
        pk=revision.pk, state=RevisionState.IN_REVIEW, digest=wanted, author=revision.author_id
    )
    for _try in range(NUMBER_TRIES):
        try:
            with transaction.atomic():
                changed = waiting.update(
                    state=RevisionState.PUBLISHED,
                    number=next_number(recipe),
                    reviewer=by,
                    published_at=timezone.now(),
                    review_note=note,
                )
        except IntegrityError:
            continue
        if changed != 1:
            raise ValidationError(_("It no longer waits for review as you saw it. Look again."), code="not-in-review")
        current_refresh(recipe)
        return Revision.objects.select_related("recipe").get(pk=revision.pk)
    raise ValidationError(_("Others publish revisions of this recipe right now. Try again."), code="busy")


@transaction.atomic
def revision_withdraw(*, by: User, revision: Revision, reason: str) -> Revision:
    """Take a published revision out of use, for good; the latest still published one becomes current, or none."""
    if not by.has_perm("recipes.withdraw_revision"):
        raise PermissionDenied
    if not reason.strip():
        raise ValidationError(_("Say why it is withdrawn; everybody who used it will read it."), code="no-reason")
    withdraw(revision, reason=reason.strip(), by=by, now=timezone.now())
    return Revision.objects.select_related("recipe").get(pk=revision.pk)


def withdraw(revision: Revision, *, reason: str, by: User | None, now: datetime) -> None:
    """The withdrawal itself, also for the library; inside the caller's transaction."""
    recipe = Recipe.objects.select_for_update().get(pk=revision.recipe_id)
    published = Revision.objects.published().filter(pk=revision.pk)
    changed = published.update(
        state=RevisionState.WITHDRAWN, withdrawn_at=now, withdrawn_by=by, withdrawn_reason=reason
    )
    if changed != 1:
        raise ValidationError(_("Only a published revision can be withdrawn."), code="not-published")
    current_refresh(recipe)


def next_number(recipe: Recipe) -> int:
    return (Revision.objects.filter(recipe=recipe).aggregate(Max("number"))["number__max"] or 0) + 1


def current_refresh(recipe: Recipe) -> None:
    """Point the recipe at its latest published revision and repeat its content in the columns lists filter by."""
    latest = Revision.objects.published().filter(recipe=recipe).order_by("-number").first()
    if latest is None:
        Recipe.objects.filter(pk=recipe.pk).update(current=None)
    else:
        Recipe.objects.filter(pk=recipe.pk).update(current=latest, **index_of(latest.tested))
