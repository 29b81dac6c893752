"""What a list may be narrowed to, and how many recipes each choice would leave."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache, reduce
from operator import and_, or_
from typing import Any, TypedDict

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from club.core.fields import NameField
from club.members.models import User
from recipes.engine.document import process_table_from_document, recipe_from_document
from recipes.engine.quantities import JAR_SIZES, Amount, parse_amount
from recipes.engine.terms import ProcessTable as TestedProcessTable
from recipes.engine.terms import TestedRecipe
from recipes.search import read_search, search_key

FACETS = ("produce", "kind", "method", "jar")


@dataclass(frozen=True)
class IndexRow:
    """One recipe by its words in each facet."""

    pk: int
    words: Mapping[str, tuple[str, ...]]


def matching(rows: Iterable[IndexRow], wanted: Mapping[str, str], *, besides: str = "") -> list[IndexRow]:
    """Rows that have each wanted word, the facet `besides` left out of account; "" wants nothing."""
    asked = {facet: word for facet, word in wanted.items() if word and facet != besides}
    return [row for row in rows if all(word in row.words[facet] for facet, word in asked.items())]


def facet_counts(rows: Iterable[IndexRow], wanted: Mapping[str, str]) -> dict[str, Counter[str]]:
    """For each facet, how many recipes each of its words would leave with the other facets as they are."""
    rows = list(rows)
    return {
        facet: Counter(word for row in matching(rows, wanted, besides=facet) for word in row.words[facet])
        for facet in FACETS
    }


# The columns a list filters by, worked out of a recipe's content; and the text a search looks through.


class RecipeIndex(TypedDict):
    """The columns of `Recipe` that repeat its current revision's content."""

    title: str
    kind: str
    method: str
    produce: str
    jars: str
    search_text: str


def price_key(item: str) -> str:
    """The one spelling under which a price of a thing is kept and found."""
    return " ".join(search_key(item).split())


def barred(words: list[str]) -> str:
    """|strawberries|rhubarb|: one word of it is found by "|rhubarb|", on either database."""
    return f"|{'|'.join(word.replace('|', '/') for word in words)}|" if words else ""


@lru_cache(maxsize=4096)  # a list of recipes asks for each of them, and few words come up
def unbarred(text: str) -> tuple[str, ...]:
    return tuple(word for word in text.split("|") if word)


def jars_of(recipe: TestedRecipe) -> list[str]:
    """Jar sizes with a process that was seen in print, small to large; a freezer recipe has that of its yield."""
    sizes = {row.jar for row in recipe.process if row.seen.is_seen} or {recipe.stated_yield.jar}
    return [size for size in JAR_SIZES if size in sizes]


def index_of(recipe: TestedRecipe) -> RecipeIndex:
    ingredients = " ".join(line.item for line in recipe.ingredients)
    return RecipeIndex(
        title=recipe.title,
        kind=recipe.kind,
        method=recipe.method.value,
        produce=barred(list(recipe.produce)),
        jars=barred(jars_of(recipe)),
        search_text=search_key(f"{recipe.title} {' '.join(recipe.produce)} {ingredients}"),
    )


def spelt(words: str) -> Q:
    """Rows whose `search_text` holds each term of what somebody typed, by any of its names."""
    return holding(words, "search_text__contains")


def holding(words: str, *lookups: str) -> Q:
    """Rows that hold each term of what somebody typed, by all the words of any of its names, in any of these columns.

    All where nothing was typed; none where no word is in it.
    """
    terms = read_search(words).terms
    asked = Q() if terms or not words.strip() else Q(pk__in=[])
    for term in terms:
        names = (reduce(and_, (_in_any(lookups, word) for word in name.split())) for name in term)
        asked &= reduce(or_, names)
    return asked


def _in_any(lookups: tuple[str, ...], word: str) -> Q:
    return reduce(or_, (Q((lookup, word)) for lookup in lookups))


def table_search_text(table: TestedProcessTable) -> str:
    return search_key(f"{table.food} {table.variant}")


# Tested recipes and their numbered revisions. A published revision never changes: the database refuses it too.


class RecipeQuerySet(models.QuerySet["Recipe"]):
    def published(self) -> RecipeQuerySet:
        return self.filter(current__isnull=False)

    def readable(self) -> RecipeQuerySet:
        """Recipes with a numbered revision: published, or withdrawn and kept to be read."""
        return self.filter(Exists(Revision.objects.filter(recipe=OuterRef("pk"), number__isnull=False)))

    def search(self, words: str) -> RecipeQuerySet:
        """Every word, or another name of the same food, must occur in the title, the produce or an ingredient."""
        return self.filter(spelt(words))

    def index_rows(self) -> list[IndexRow]:
        """The facets' words of each recipe, in one query."""
        return [
            IndexRow(pk, {"produce": unbarred(produce), "kind": (kind,), "method": (method,), "jar": unbarred(jars)})
            for pk, produce, kind, method, jars in self.values_list("pk", "produce", "kind", "method", "jars")
        ]


class Recipe(models.Model):
    """What stays the same over revisions; the columns below `current` repeat its content so that a list can filter."""

    slug = models.SlugField(_("short name"), max_length=80, unique=True)
    title = NameField(_("title"), max_length=200)
    kind = models.CharField(_("kind"), max_length=40, db_index=True)
    method = models.CharField(_("method"), max_length=16, db_index=True)
    produce = models.TextField(_("produce"), blank=True, help_text=_("|strawberries|rhubarb|"))
    jars = models.TextField(_("jars"), blank=True, help_text=_("|half-pint|pint|"))
    # Lower case without accents: SQLite folds only ASCII letters, PostgreSQL all of them.
    search_text = models.TextField(blank=True)
    from_library = models.BooleanField(_("from the published library"), default=False)
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


def unsafe(path: str = "") -> Q:
    """Withdrawn as a matter of safety: what was put up from it is called back. `path` leads to the revision."""
    return Q(**{f"{path}state": RevisionState.WITHDRAWN, f"{path}withdrawn_for_editing": False})


class RevisionQuerySet(models.QuerySet["Revision"]):
    def published(self) -> RevisionQuerySet:
        return self.filter(state=RevisionState.PUBLISHED)

    def current(self) -> RevisionQuerySet:
        """The one revision of each recipe that is planned from."""
        return self.filter(current_of__isnull=False)

    def numbered(self) -> RevisionQuerySet:
        """Published or withdrawn: what any member may read."""
        return self.filter(number__isnull=False)

    def drafts(self) -> RevisionQuerySet:
        return self.filter(state__in=[RevisionState.DRAFT, RevisionState.IN_REVIEW])

    def visible_to(self, user: User | AnonymousUser) -> RevisionQuerySet:
        """The gate: everybody reads what has a number; drafts are for those who write or review them."""
        if user.has_perm("recipes.draft_revision") or user.has_perm("recipes.review_revision"):
            return self
        return self.numbered()


class NumberedRevisionKept(Exception):
    """Somebody tried to change or delete a revision that has a number; the database would refuse it too."""


class Revision(models.Model):
    """One state of a recipe. `content` is the library document (see recipes.engine.document)."""

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField(null=True, blank=True)
    state = models.CharField(max_length=12, choices=RevisionState.choices, default=RevisionState.DRAFT)
    content: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    digest = models.CharField(max_length=64)  # SHA-256 of the content, for loading a library twice
    from_library = models.BooleanField(default=False)
    # The draft form's own token: the same form sent twice finds the draft it made the first time.
    token = models.UUIDField(null=True, blank=True, unique=True, editable=False)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="revisions_written"
    )
    reviewer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="revisions_reviewed"
    )
    # What the author read, and where: the ground for calling the figures seen.
    seen_statement = models.TextField(blank=True)
    review_note = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    submitted_at = models.DateTimeField(null=True, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="revisions_withdrawn"
    )
    withdrawn_reason = models.TextField(blank=True)
    # Why nothing new is planned from a published revision; written by the sweep of what is published, and by it alone.
    refused_why = models.TextField(blank=True, default="")
    # Nothing is wrong with its jars: it is only not planned from any more. Unsaid, a withdrawal is a matter of safety.
    withdrawn_for_editing = models.BooleanField(default=False)

    objects = RevisionQuerySet.as_manager()

    class Meta:
        ordering = ["recipe", F("number").desc(nulls_first=True), "-pk"]
        permissions = [
            ("draft_revision", "Can write and submit drafts"),
            ("review_revision", "Can review and publish another's draft"),
            ("withdraw_revision", "Can withdraw a published revision"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["recipe", "number"], name="one_revision_per_number"),
            models.UniqueConstraint(
                fields=["recipe"],
                condition=Q(from_library=True, number=None),
                name="one_held_back_library_draft_per_recipe",
            ),
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
            models.CheckConstraint(
                name="only_what_is_published_is_refused_later",
                condition=Q(refused_why="") | Q(state__in=["published", "withdrawn"]),
            ),
            models.CheckConstraint(
                name="only_a_withdrawal_is_an_editing_matter",
                condition=Q(state="withdrawn") | Q(withdrawn_for_editing=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.recipe} · {self.number or 'draft'}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        self._keep_numbered()
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        if Revision.objects.numbered().filter(pk=self.pk).exists():
            raise NumberedRevisionKept(f"{self} is numbered and stays.")
        return super().delete(*args, **kwargs)

    def _keep_numbered(self) -> None:
        """What the triggers in recipes.triggers refuse, said earlier and in Python."""
        kept = Revision.objects.numbered().filter(pk=self.pk).values("recipe_id", "number", "content", "digest").first()
        if kept and any(getattr(self, field) != value for field, value in kept.items()):
            raise NumberedRevisionKept(f"{self} is numbered; write a new revision instead.")

    @property
    def is_held_back(self) -> bool:
        """A library entry whose figures were not all seen in print: shown to instructors only, never planned from."""
        return self.from_library and self.number is None

    @property
    def is_unsafe(self) -> bool:
        """Withdrawn as a matter of safety: its jars are called back. As `unsafe()` asks the database."""
        return self.state == RevisionState.WITHDRAWN and not self.withdrawn_for_editing

    @property
    def origin(self) -> str:
        """Who or what it comes from, for its readers."""
        if self.author:
            return str(self.author)
        return str(_("The published library") if self.from_library else _("A file of the club's own"))

    @cached_property
    def as_read(self) -> ReadContent:
        """What this revision's content says, shared with whoever else reads the same."""
        return _read(json.dumps(self.content), self.recipe.slug)

    @property
    def tested(self) -> TestedRecipe:
        return self.as_read.tested


@dataclass(frozen=True, eq=False)
class ReadContent:
    """A recipe's content, read once for all who ask: the same object for the same words, so it may be a key."""

    tested: TestedRecipe


@lru_cache(maxsize=256)
def _read(content: str, where: str) -> ReadContent:
    return ReadContent(recipe_from_document(json.loads(content), where=where))


class ClassedFood(models.Model):
    """Words that the acid list does not know, and what a reviewer found them to be."""

    # Classes that a reviewer may give. What is never canned is refused by the list itself, and no class undoes that.
    class Kind(models.TextChoices):
        FRUIT = "fruit", _("fruit of pH 4.6 or below")
        LOW_ACID = "low-acid", _("low-acid food")
        UNTESTED = "untested", _("only as a tested recipe has it")
        SPICE = "spice", _("dry spice or seasoning")
        DESCRIBES = "describes", _("no food: a word for how it is cut, grown or sold")

    words = models.CharField(_("words"), max_length=200, unique=True)
    kind = models.CharField(_("class"), max_length=16, choices=Kind.choices)
    ph_hundredths = models.PositiveSmallIntegerField(_("highest printed pH, times 100"), null=True, blank=True)
    source = models.TextField(_("source"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="foods_classed")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["words"]
        constraints = [
            models.CheckConstraint(
                name="classed_fruit_has_printed_ph",
                condition=~Q(kind="fruit") | Q(ph_hundredths__isnull=False, ph_hundredths__lte=460),
            ),
            models.CheckConstraint(name="classed_food_has_source", condition=~Q(source="")),
        ]

    def __str__(self) -> str:
        return f"{self.words}: {self.get_kind_display()}"


class ProcessTableQuerySet(models.QuerySet["ProcessTable"]):
    def visible_to(self, user: User | AnonymousUser) -> ProcessTableQuerySet:
        """The gate: a table with no row seen in print is for instructors only."""
        if user.has_perm("recipes.review_revision"):
            return self
        return self.filter(is_held_back=False)

    def search(self, words: str) -> ProcessTableQuerySet:
        return self.filter(spelt(words))


class ProcessTable(models.Model):
    """A published process for a food, without a whole recipe; where the food stands for itself, planned by the jar."""

    key = models.CharField(max_length=240, unique=True)
    food = models.CharField(_("food"), max_length=120, db_index=True)
    variant = models.CharField(_("variant"), max_length=160, blank=True)
    method = models.CharField(_("method"), max_length=16)
    content: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    digest = models.CharField(max_length=64)
    search_text = models.TextField(blank=True)
    is_held_back = models.BooleanField(default=False)

    objects = ProcessTableQuerySet.as_manager()

    class Meta:
        ordering = ["food", "variant", "method"]

    def __str__(self) -> str:
        return f"{self.food}, {self.variant}" if self.variant else self.food

    @cached_property
    def table(self) -> TestedProcessTable:
        return process_table_from_document(self.content)


class PriceQuerySet(models.QuerySet["Price"]):
    def current(self) -> PriceQuerySet:
        """The price noted last of each thing."""
        later = Price.objects.filter(item=OuterRef("item")).filter(
            Q(at__gt=OuterRef("at")) | Q(at=OuterRef("at"), pk__gt=OuterRef("pk"))
        )
        return self.filter(~Exists(later))

    def known_of(self, items: Iterable[str]) -> dict[str, Price]:
        """The current price of each of these things that has one, in one query."""
        keys = {price_key(item): item for item in items}
        return {keys[price.item]: price for price in self.current().filter(item__in=keys)}


class Price(models.Model):
    """What a package of something cost when somebody noted it. Rows are kept: the last one counts."""

    item = models.CharField(_("what"), max_length=80)  # as `price_key` spells it
    package = models.CharField(_("package"), max_length=40, help_text=_("4 lb"))
    cents = models.PositiveIntegerField(_("cents"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="prices_noted")
    at = models.DateTimeField(default=timezone.now)
    # The form's own token: the same form sent twice finds the price it noted the first time.
    token = models.UUIDField(unique=True, editable=False)

    objects = PriceQuerySet.as_manager()

    class Meta:
        ordering = ["item", "-at", "-pk"]
        indexes = [models.Index(fields=["item", "-at"], name="price_latest")]
        constraints = [
            models.CheckConstraint(name="price_is_above_nothing", condition=Q(cents__gt=0)),
            models.CheckConstraint(name="price_says_of_what", condition=~Q(item="") & ~Q(package="")),
        ]

    def __str__(self) -> str:
        return f"{self.item}, {self.package}"

    @property
    def amount(self) -> Amount:
        """What the package holds."""
        return parse_amount(self.package)
