"""Tested recipes and their numbered revisions. A published revision never changes: the database refuses it too."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from recipes.engine.document import process_table_from_document, recipe_from_document
from recipes.engine.terms import TestedRecipe


class RecipeQuerySet(models.QuerySet["Recipe"]):
    def published(self) -> RecipeQuerySet:
        return self.filter(current__isnull=False)


class Recipe(models.Model):
    """What stays the same over revisions; the columns below `current` repeat its content so that a list can filter."""

    slug = models.SlugField(_("short name"), max_length=80, unique=True)
    title = models.CharField(_("title"), max_length=160)
    kind = models.CharField(_("kind"), max_length=32, db_index=True)
    method = models.CharField(_("method"), max_length=16, db_index=True)
    produce = models.CharField(_("produce"), max_length=200, help_text=_("|strawberries|rhubarb|"))
    jars = models.CharField(_("jars"), max_length=120, help_text=_("|half-pint|pint|"))
    # Latest published revision; none while everything is a draft or withdrawn.
    current = models.OneToOneField(
        "Revision", on_delete=models.PROTECT, null=True, blank=True, related_name="current_of"
    )
    created_at = models.DateTimeField(default=timezone.now)

    objects = RecipeQuerySet.as_manager()

    class Meta:
        ordering = ["title", "pk"]

    def __str__(self) -> str:
        return self.title


class RevisionState(models.TextChoices):
    DRAFT = "draft", _("draft")
    IN_REVIEW = "in-review", _("waiting for review")
    PUBLISHED = "published", _("published")
    WITHDRAWN = "withdrawn", _("withdrawn")


class Revision(models.Model):
    """One state of a recipe. `content` is the library document (see recipes.engine.document)."""

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField(null=True, blank=True)
    state = models.CharField(max_length=12, choices=RevisionState.choices, default=RevisionState.DRAFT)
    content: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    digest = models.CharField(max_length=64)  # SHA-256 of the content, for loading a library twice
    from_library = models.BooleanField(default=False)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="revisions_written"
    )
    reviewer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="revisions_reviewed"
    )
    review_note = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    submitted_at = models.DateTimeField(null=True, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="revisions_withdrawn"
    )
    withdrawn_reason = models.TextField(blank=True)

    class Meta:
        ordering = ["recipe", F("number").desc(nulls_first=True), "-pk"]
        permissions = [
            ("draft_revision", "Can write and submit drafts"),
            ("review_revision", "Can review and publish another's draft"),
            ("withdraw_revision", "Can withdraw a published revision"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["recipe", "number"], name="one_revision_per_number"),
            models.CheckConstraint(
                name="published_revision_has_number_and_date",
                condition=Q(state__in=["draft", "in-review"], number=None)
                | Q(state__in=["published", "withdrawn"], number__isnull=False, published_at__isnull=False),
            ),
            models.CheckConstraint(
                name="author_never_reviews_own_revision",
                condition=Q(author=None) | Q(reviewer=None) | ~Q(author=F("reviewer")),
            ),
            models.CheckConstraint(
                name="withdrawn_revision_says_why",
                condition=~Q(state="withdrawn") | (Q(withdrawn_at__isnull=False) & ~Q(withdrawn_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recipe} · {self.number or 'draft'}"

    @cached_property
    def tested(self) -> TestedRecipe:
        return recipe_from_document(self.content, where=self.recipe.slug)


class ProcessTable(models.Model):
    """A published process for a food, without a whole recipe; shown beside the recipes, never planned from."""

    key = models.CharField(max_length=200, unique=True)
    food = models.CharField(_("food"), max_length=120, db_index=True)
    variant = models.CharField(_("variant"), max_length=160, blank=True)
    method = models.CharField(_("method"), max_length=16)
    content: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ["food", "variant", "method"]

    def __str__(self) -> str:
        return f"{self.food}, {self.variant}" if self.variant else self.food

    @cached_property
    def table(self) -> Any:
        return process_table_from_document(self.content)
