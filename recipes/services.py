"""Every write of the room: the life of a revision, loading the published library, and what things cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple
from uuid import UUID

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from club.members.models import User
from recipes.engine import recipe_of_table, table_refusal, table_slug, words_of
from recipes.engine.acidity import AcidSheet, Finding, FoodClass, KnownFood, Ledger, acid_sheet, judge
from recipes.engine.document import DocumentError, Problem, recipe_from_document, recipe_to_document
from recipes.engine.quantities import AmountError, parse_amount
from recipes.engine.terms import Seen, TestedRecipe
from recipes.library import (
    RESERVED_SLUGS,
    Library,
    LibraryProblem,
    RecipeEntry,
    TableEntry,
    content_digest,
    known_foods,
    ledger_with,
    read_library,
    shipped_library,
)
from recipes.models import (
    ClassedFood,
    Price,
    ProcessTable,
    Recipe,
    Revision,
    RevisionState,
    index_of,
    price_key,
    table_search_text,
)
from recipes.planning import PlanInput as PlanInput  # what other rooms ask of a plan
from recipes.planning import StationInput as StationInput
from recipes.planning import plan_for as plan_for

# The acid ledger, at every door a recipe comes in by (a draft, a review, a file), and classing what it does not know.

HIGHEST_PH = Decimal("4.6")  # 21 CFR 114.3


def current_ledger() -> Ledger:
    """The shipped lists, what reviewers classed, and no ratio of a recipe that was withdrawn."""
    classed = tuple(
        (words, KnownFood(words, FoodClass(kind), None, None if ph is None else Fraction(ph, 100)))
        for words, kind, ph in ClassedFood.objects.order_by("words").values_list("words", "kind", "ph_hundredths")
    )
    withdrawn = Recipe.objects.filter(
        from_library=True, current=None, revisions__state=RevisionState.WITHDRAWN
    ).values_list("slug", flat=True)
    return ledger_with(classed, frozenset(withdrawn))


def findings_of(recipe: TestedRecipe) -> tuple[Finding, ...]:
    """All that speaks against a recipe; the same for its author, its reviewer and a file."""
    return judge(recipe, current_ledger())


def sheet_of(recipe: TestedRecipe) -> AcidSheet | None:
    """Every line with its class, and the acid asked for beside the acid given; None for what is kept frozen."""
    return acid_sheet(recipe, current_ledger())


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

    A fruit needs its highest printed pH, at 4.6 or below. ValidationError by field. What is published and waited for
    these words is judged anew at once.
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
            made = ClassedFood.objects.create(
                words=words, kind=kind, ph_hundredths=hundredths, source=source.strip(), by=by
            )
    except IntegrityError:
        raise ValidationError({"words": _("Somebody classed these words a moment ago. Look again.")}) from None
    published_sweep()
    return made


def _hundredths(ph: str) -> int | None:
    """A printed pH in hundredths, rounded up; None for what is no pH of acid food."""
    try:
        value = Decimal(ph.strip().replace(",", "."))
    except InvalidOperation:
        return None
    if not value.is_finite() or not 1 <= value <= HIGHEST_PH:
        return None
    return int(-(-value * 100 // 1))


# A draft from its first line to the reviewer's desk. Wrong role: PermissionDenied; a broken rule: ValidationError.

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
    statement = {} if seen_statement is None else {"seen_statement": seen_statement.strip()}
    if mine.update(content=clean, digest=content_digest(clean), **statement) != 1:
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
        raise PermissionDenied(_("Nobody reviews a draft of their own."))


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


# From the reviewer's desk to a numbered revision, and its withdrawal.

NUMBER_TRIES = 10


NOT_AS_SEEN = _lazy("It no longer waits for review as you saw it. Look again.")


def revision_publish_check(*, by: User, revision: Revision, acid_seen: str = "", seen_digest: str = "") -> str:
    """What publishing would refuse, before the press and at it; the review note that it would leave."""
    if not by.has_perm("recipes.review_revision"):
        raise PermissionDenied
    not_own(by, revision)
    now_held = Revision.objects.select_related("recipe").get(pk=revision.pk)
    if seen_digest and (now_held.digest != seen_digest or now_held.state != RevisionState.IN_REVIEW):
        raise ValidationError(NOT_AS_SEEN, code="not-in-review")
    if not now_held.tested.is_tested:
        message = _("Not every figure was seen in print; a recipe from memory is not published.")
        raise ValidationError(message, code="not-seen")
    return settled(now_held, by=by, acid_seen=acid_seen)


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
    wanted = seen_digest or revision.digest
    note = revision_publish_check(by=by, revision=revision, acid_seen=acid_seen)
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
            raise ValidationError(NOT_AS_SEEN, code="not-in-review")
        current_refresh(recipe)
        return Revision.objects.select_related("recipe").get(pk=revision.pk)
    raise ValidationError(_("Others publish revisions of this recipe right now. Try again."), code="busy")


@transaction.atomic
def revision_withdraw(*, by: User, revision: Revision, reason: str, for_editing: bool = False) -> Revision:
    """Take a published revision out of use, for good; the latest still published one becomes current, or none.

    What was put up from it is called back, unless this is a matter `for_editing`: that stops new plans and leaves the
    jars alone. A revision withdrawn for editing may still be withdrawn for safety, and never the other way round.
    """
    if not by.has_perm("recipes.withdraw_revision"):
        raise PermissionDenied
    if not reason.strip():
        raise ValidationError(_("Say why it is withdrawn; everybody who used it will read it."), code="no-reason")
    withdraw(revision, reason=reason.strip(), by=by, now=timezone.now(), for_editing=for_editing)
    return Revision.objects.select_related("recipe").get(pk=revision.pk)


def withdraw(revision: Revision, *, reason: str, by: User | None, now: datetime, for_editing: bool = False) -> None:
    """The withdrawal itself, also for the library; inside the caller's transaction.

    Of two who press at once the one for safety holds, whoever came first; what the other said is kept in its reason.
    """
    recipe = Recipe.objects.select_for_update().get(pk=revision.recipe_id)
    kept = Revision.objects.select_related("withdrawn_by").get(pk=revision.pk)
    if kept.withdrawn_for_editing and not for_editing:
        reason = _("%(why)s (Withdrawn before as an editing matter, %(day)s, %(who)s: %(earlier)s)") % {
            "why": reason,
            "day": f"{kept.withdrawn_at:%Y-%m-%d}",
            "who": kept.withdrawn_by,
            "earlier": kept.withdrawn_reason,
        }
    may_be = kept.state == RevisionState.PUBLISHED or (kept.withdrawn_for_editing and not for_editing)
    seen = Revision.objects.filter(pk=kept.pk, state=kept.state, withdrawn_for_editing=kept.withdrawn_for_editing)
    if not may_be or not seen.update(
        state=RevisionState.WITHDRAWN,
        withdrawn_at=now,
        withdrawn_by=by,
        withdrawn_reason=reason,
        withdrawn_for_editing=for_editing,
    ):
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


# What things cost.

MOST_CENTS = 100_000_00
LONGEST_ITEM = 80
LONGEST_PACKAGE = 40


@transaction.atomic
def price_note(*, by: User, item: str, package: str, cents: int, token: UUID, now: datetime | None = None) -> Price:
    """Note what a package of something costs. A token that noted a price before gives that price.

    ValidationError, by field, for a thing without a name, a package that is no amount, or a price that is no price.
    """
    if not by.has_perm("recipes.add_price"):
        raise PermissionDenied
    key, package = price_key(item), " ".join(package.split())
    problems = _problems(key, package, cents)
    if problems:
        raise ValidationError(problems)
    try:
        with transaction.atomic():
            return Price.objects.create(
                item=key, package=package, cents=cents, by=by, at=now or timezone.now(), token=token
            )
    except IntegrityError:
        made = Price.objects.filter(token=token, by=by).first()
        if made is None:
            raise ValidationError(_("This form was used before. Open the page again.")) from None
        return made


def _problems(key: str, package: str, cents: int) -> dict[str, str]:
    problems = {}
    if not 0 < len(key) <= LONGEST_ITEM:
        problems["item"] = _("Say what it is, in at most %(most)s letters.") % {"most": LONGEST_ITEM}
    try:
        amount = parse_amount(package)
        if len(package) > LONGEST_PACKAGE or amount.value <= 0:
            problems["package"] = _("Say what one package holds, such as 4 lb, 1 l or 12 each.")
    except AmountError as error:
        problems["package"] = words_of(error, get_language())
    if not 0 < cents <= MOST_CENTS:
        problems["price"] = _("A price lies above 0.00 and at most at %(most)s.") % {"most": f"{MOST_CENTS / 100:,.2f}"}
    return problems


# Loading the published library, and files of the club's own: all of it or nothing, and nothing twice.
#
# What lies in the shipped folder (`recipes.library.SHIPPED`) is published as tested. Every other file is the club's
# own: its recipes become drafts that wait for review, or are published when an instructor who reviewed them is named.
# Both go before the acid ledger first.


@dataclass
class LoadReport:
    """What a load did, by slug (recipes) or key (process tables). With problems nothing was done."""

    problems: list[LibraryProblem] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    revised: list[str] = field(default_factory=list)
    held_back: list[str] = field(default_factory=list)  # new or changed entries that are not tested
    to_review: list[str] = field(default_factory=list)  # new or changed entries of the club's own, left for a reviewer
    still_waiting: list[str] = field(default_factory=list)  # of the unchanged, those that nobody has published yet
    reasons: dict[str, str] = field(default_factory=dict)  # why an entry is held back, by slug
    withdrawn: list[str] = field(default_factory=list)  # published before, no longer tested in the library
    to_withdraw: list[str] = field(default_factory=list)  # the same, held back from new plans until somebody says so
    unchanged: list[str] = field(default_factory=list)
    tables_added: list[str] = field(default_factory=list)
    tables_changed: list[str] = field(default_factory=list)
    tables_unchanged: list[str] = field(default_factory=list)
    tables_to_review: list[str] = field(default_factory=list)  # tables of the club's own that nobody answered for

    @property
    def changed(self) -> int:
        recipes = len(self.added) + len(self.revised) + len(self.held_back) + len(self.to_review)
        return recipes + len(self.tables_added) + len(self.tables_changed)


def library_load(
    *, paths: Sequence[Path], reviewer: User | None = None, acid_seen: str = "", may_withdraw: bool = False
) -> LoadReport:
    """Bring the library files at `paths` (files or folders) into the database.

    1. Every file is read and checked; any problem ends it here, reported and with nothing changed. What the acid ledger
       refuses is a problem.
    2. In one transaction: a tested entry of the shipped library whose content is new becomes the next numbered revision
       and current; one that is not tested, or that the ledger holds back, becomes a draft with the reason; one that
       did not change is left alone. A published revision that the library no longer holds as tested is withdrawn, and
       its jars called back, only where `may_withdraw`; without it, nothing new is planned from it (`refused_why`).
    3. An entry of any other file becomes a draft that waits for review. With a `reviewer` it is published by them, as
       on the site, unless something holds it back; `acid_seen` is their word on where the source prints an acid that no
       tested recipe here has. PermissionDenied for one who may not review.
    4. A process table of any other file is planned from once a `reviewer` answers for it, and is theirs to read till
       then.
    """
    if reviewer and not (reviewer.is_active and reviewer.has_perm("recipes.review_revision")):
        raise PermissionDenied
    library = read_library(paths)
    report = LoadReport(problems=library.problems)
    if report.problems:
        return report
    with transaction.atomic():
        findings = _judged(library)
        report.problems += [*_taken(library), *_tables_taken(library), *_refused(library, findings)]
        if not report.problems:
            _apply(library, findings, report, timezone.now(), _Reviewed(reviewer, acid_seen.strip()), may_withdraw)
            published_sweep()
    return report


Findings = dict[str, tuple[Finding, ...]]  # by slug


def _judged(library: Library) -> Findings:
    ledger = current_ledger()
    return {entry.recipe.slug: judge(entry.recipe, ledger) for entry in library.recipes}


def _refused(library: Library, findings: Findings) -> list[LibraryProblem]:
    return [
        LibraryProblem(entry.file, entry.name, found.field, found.sentence)
        for entry in library.recipes
        for found in findings[entry.recipe.slug]
        if found.is_refused
    ]


def _taken(library: Library) -> list[LibraryProblem]:
    """Entries whose slug another recipe has: no file writes over a member's work or over the shipped library."""
    shipped = {entry.recipe.slug for entry in shipped_library().recipes}
    of_members = Recipe.objects.filter(from_library=False)
    from_files = set(of_members.filter(revisions__author=None).values_list("slug", flat=True))
    of_members_slugs = set(of_members.values_list("slug", flat=True))
    found = []
    for entry in library.recipes:
        slug = entry.recipe.slug
        if not entry.is_shipped and slug in shipped:
            message = _("The published library has a recipe of this slug. Give the entry another.")
        elif slug in of_members_slugs and (entry.is_shipped or slug not in from_files):
            message = _("A recipe written by a member has this slug. Give the entry another.")
        else:
            continue
        found.append(LibraryProblem(entry.file, entry.name, "slug", message))
    return found


def _tables_taken(library: Library) -> list[LibraryProblem]:
    """Process tables of the club's own that would write over one of the shipped library."""
    shipped = {table.key for table in shipped_library().tables}
    message = _("The published library has a table of this food, variant and method. Give the variant another name.")
    return [
        LibraryProblem(table.file, f'process_table "{table.table.food}"', "variant", message)
        for table in library.tables
        if not table.is_shipped and table.key in shipped
    ]


class _Reviewed(NamedTuple):
    """Who compared the club's own files with their source, and what they read of the acid."""

    by: User | None
    acid_seen: str

    def publishes(self, recipe: TestedRecipe, findings: Sequence[Finding]) -> bool:
        answered = all(found.by_statement and self.acid_seen for found in findings)
        return self.by is not None and recipe.is_tested and answered


def _apply(
    library: Library,
    findings: Findings,
    report: LoadReport,
    now: datetime,
    reviewed: _Reviewed,
    may_withdraw: bool,
) -> None:
    recipes = {recipe.slug: recipe for recipe in Recipe.objects.select_related("current")}
    loaded = Revision.objects.filter(author=None)
    latest = {row.recipe_id: row for row in loaded.numbered().order_by("number")}
    held = {row.recipe_id: row for row in loaded.drafts()}
    for entry in library.recipes:
        recipe = recipes.get(entry.recipe.slug)
        pk = recipe.pk if recipe else 0
        why = why_held_back(entry.recipe, findings[entry.recipe.slug])
        if why:
            report.reasons[entry.recipe.slug] = why
        if not entry.is_shipped:
            publishes = reviewed.publishes(entry.recipe, findings[entry.recipe.slug])
            _for_review(entry, recipe, latest.get(pk), held.get(pk), report, why, reviewed if publishes else None)
        elif why:
            _hold_back(entry, recipe, held.get(pk), report, now, why, may_withdraw)
        else:
            _publish(entry, recipe, latest.get(pk), held.get(pk), report, now)
    tables = {table.key: table for table in ProcessTable.objects.all()}
    for table_entry in library.tables:
        _table_set(table_entry, tables.get(table_entry.key), report, now, reviewed.by)


def _for_review(
    entry: RecipeEntry,
    recipe: Recipe | None,
    latest: Revision | None,
    waiting: Revision | None,
    report: LoadReport,
    why: str,
    publishes: _Reviewed | None,
) -> None:
    """An entry of the club's own. What was reviewed is not asked for again; what waits is brought up to date."""
    slug = entry.recipe.slug
    if waiting is None and latest and latest.digest == entry.digest:
        report.unchanged.append(slug)
        return
    if waiting and not waiting.from_library and waiting.digest == entry.digest and not publishes:
        report.unchanged.append(slug)
        report.still_waiting.append(slug)
        return
    if waiting and waiting.from_library:  # loaded before the club's own files were told apart
        waiting.delete()
        waiting = None
    draft = waiting or Revision(recipe=recipe or _library_recipe_add(entry))
    draft.content, draft.digest, draft.review_note = entry.content, entry.digest, why
    draft.state, draft.submitted_at = RevisionState.IN_REVIEW, timezone.now()
    draft.save()
    if publishes and publishes.by:
        revision_publish(by=publishes.by, revision=draft, acid_seen=publishes.acid_seen)
        (report.revised if latest else report.added).append(slug)
    else:
        report.to_review.append(slug)


def _publish(
    entry: RecipeEntry,
    recipe: Recipe | None,
    latest: Revision | None,
    held: Revision | None,
    report: LoadReport,
    now: datetime,
) -> None:
    if latest and latest.digest == entry.digest and held is None:
        report.unchanged.append(entry.recipe.slug)
        return
    if held:
        held.delete()
    if latest and latest.digest == entry.digest and latest.state == RevisionState.PUBLISHED:
        report.unchanged.append(entry.recipe.slug)
        return
    (report.revised if latest else report.added).append(entry.recipe.slug)
    recipe = recipe or _library_recipe_add(entry)
    Revision.objects.create(
        recipe=recipe,
        number=next_number(recipe),
        state=RevisionState.PUBLISHED,
        published_at=now,
        content=entry.content,
        digest=entry.digest,
        from_library=True,
    )
    current_refresh(recipe)


def _hold_back(
    entry: RecipeEntry,
    recipe: Recipe | None,
    held: Revision | None,
    report: LoadReport,
    now: datetime,
    why: str,
    may_withdraw: bool,
) -> None:
    recipe = recipe or _library_recipe_add(entry)
    is_published = recipe.current is not None and recipe.current.from_library
    if held and held.digest == entry.digest:
        if not is_published:
            report.unchanged.append(entry.recipe.slug)
            return
    else:
        report.held_back.append(entry.recipe.slug)
    Revision.objects.update_or_create(
        recipe=recipe,
        from_library=True,
        number=None,
        defaults={"content": entry.content, "digest": entry.digest, "review_note": why},
    )
    if recipe.current is None or not is_published:
        return
    if not may_withdraw:
        report.to_withdraw.append(entry.recipe.slug)
        return
    report.withdrawn.append(entry.recipe.slug)
    withdraw(recipe.current, reason=no_longer_tested(why), by=None, now=now)


# From a table alone: what stands in a process table, as a recipe without amounts, once somebody plans from it.


def stands_alone(table: ProcessTable) -> bool:
    """Whether a batch may be planned from this table without a recipe."""
    return table_refusal(table.table, known_foods()) is None


@transaction.atomic
def table_revision(*, by: User, table: ProcessTable) -> Revision:
    """The published revision that this table makes, made now where there is none yet of its figures.

    ValidationError, in the engine's words, where the table is not planned from alone.
    """
    if not ProcessTable.objects.visible_to(by).filter(pk=table.pk, is_held_back=False).exists():
        raise PermissionDenied
    if (refused := table_refusal(table.table, known_foods())) is not None:
        raise ValidationError(words_of(refused, get_language()), code=refused.code)
    return _table_publish(recipe_of_table(table.table))


def _table_publish(made: TestedRecipe, reviewer: User | None = None) -> Revision:
    content = recipe_to_document(made)
    digest = content_digest(content)
    recipe, _made = Recipe.objects.get_or_create(slug=made.slug, defaults={"from_library": True, **index_of(made)})
    recipe = Recipe.objects.select_for_update().get(pk=recipe.pk)  # of two who press at once, one makes it
    kept = Revision.objects.published().filter(recipe=recipe, digest=digest).order_by("-number").first()
    if kept is not None and recipe.current_id == kept.pk:
        return kept
    revision = Revision.objects.create(
        recipe=recipe,
        number=next_number(recipe),
        state=RevisionState.PUBLISHED,
        published_at=timezone.now(),
        content=content,
        digest=digest,
        from_library=True,
        reviewer=reviewer,
    )
    current_refresh(recipe)
    return revision


def _table_followed(entry: TableEntry, table: ProcessTable, now: datetime) -> None:
    """A table that changed is not planned from as it was: its new figures are the next revision, or there is none."""
    recipe = Recipe.objects.filter(slug=table_slug(entry.table)).select_related("current").first()
    if recipe is None or recipe.current is None:
        return
    if table.is_held_back or table_refusal(entry.table, known_foods()) is not None:
        reason = _("Its process table is no longer planned from alone.")
        withdraw(recipe.current, reason=reason, by=None, now=now, for_editing=True)
    else:
        _table_publish(recipe_of_table(entry.table))


def no_longer_tested(why: str) -> str:
    return _("The published library no longer holds it as tested. %(why)s") % {"why": why}


# What is published already, before the ledger as it stands now: what it refuses is held back from new plans.


@dataclass(frozen=True)
class SweptRevision:
    """A published revision that something speaks against. `is_held_back`: nothing new is planned from it."""

    revision: Revision
    findings: tuple[Finding, ...]
    why: str

    @property
    def is_held_back(self) -> bool:
        return bool(self.why)


@transaction.atomic
def published_sweep() -> list[SweptRevision]:
    """Judge every published revision anew; those that something speaks against, the refused ones first.

    What is refused or held back says so in `refused_why`, and nothing new is planned from it; it says so no longer once
    the ledger knows better, such as a word that a reviewer classed. An acid that its reviewer read of in the source
    stays theirs to answer for: it is listed, and planned from. May run again and again, and twice at once.
    """
    ledger = current_ledger()
    published = Revision.objects.published().select_related("recipe").order_by("recipe__title", "number")
    no_longer = dict(Revision.objects.filter(from_library=True, number=None).values_list("recipe", "review_note"))
    found = []
    for revision in published:
        findings = judge(revision.tested, ledger)
        read_of = revision.reviewer_id is not None and revision.review_note != ""
        holding = [one for one in findings if one.is_refused or not (one.by_statement and read_of)]
        reasons = [f"{one.field}: {one.sentence}" for one in holding]
        if holding and not any(one.is_refused for one in holding):
            reasons.append(_("An instructor starts a draft from it, classes its words there, or mends the text."))
        if revision.from_library and revision.recipe_id in no_longer:
            reasons.insert(0, no_longer_tested(no_longer[revision.recipe_id]))
        why = " ".join(reasons)
        if why != revision.refused_why:
            Revision.objects.published().filter(pk=revision.pk).update(refused_why=why)
        if findings or why:
            found.append(SweptRevision(revision, findings, why))
    return sorted(found, key=lambda one: not one.is_held_back)


def why_held_back(recipe: TestedRecipe, findings: Sequence[Finding]) -> str:
    """What keeps a recipe from being published: figures not seen in print, and what the acid ledger asks. Else ""."""
    parts = []
    if not recipe.amounts_seen.is_seen:
        parts.append(_("amounts: %(seen)s") % {"seen": recipe.amounts_seen.value})
    process_seen = recipe.process_seen or Seen.MEMORY
    if not recipe.is_tested and not process_seen.is_seen:
        parts.append(_("process: %(seen)s") % {"seen": process_seen.value})
    reasons = []
    if parts:
        why = _("Held back, because not every figure was seen in print (%(parts)s).")
        reasons.append(why % {"parts": ", ".join(parts)})
    if findings:
        reasons.append(_("Held back by the acid list."))
        reasons += [f"{found.field}: {found.sentence}" for found in findings]
    return " ".join(reasons)


def _library_recipe_add(entry: RecipeEntry) -> Recipe:
    return Recipe.objects.create(slug=entry.recipe.slug, from_library=entry.is_shipped, **index_of(entry.recipe))


def _table_set(
    entry: TableEntry, table: ProcessTable | None, report: LoadReport, now: datetime, reviewer: User | None
) -> None:
    same = table if table and table.digest == entry.digest else None
    answered_for = entry.is_shipped or reviewer is not None or (same is not None and not same.is_held_back)
    if not answered_for:
        report.tables_to_review.append(entry.key)
    is_held_back = not answered_for or not any(row.seen.is_seen for row in entry.table.rows)
    if same and same.is_held_back == is_held_back:
        report.tables_unchanged.append(entry.key)
        return
    (report.tables_changed if table else report.tables_added).append(entry.key)
    changed, _made = ProcessTable.objects.update_or_create(
        key=entry.key,
        defaults={
            "food": entry.table.food,
            "variant": entry.table.variant,
            "method": entry.table.method.value,
            "content": entry.content,
            "digest": entry.digest,
            "search_text": table_search_text(entry.table),
            "is_held_back": is_held_back,
        },
    )
    _table_followed(entry, changed, now)
    if not entry.is_shipped and not is_held_back and stands_alone(changed):
        _table_publish(recipe_of_table(entry.table), reviewer)  # so that it is known who answers for it
