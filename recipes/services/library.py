"""Loading the published library, and files of the club's own: all of it or nothing, and nothing twice.

What lies in the shipped folder (`recipes.library.SHIPPED`) is published as tested. Every other file is the club's own:
its recipes become drafts that wait for review, or are published when an instructor who reviewed them is named. Both go
before the acid ledger first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from recipes.acidity import shipped_library
from recipes.engine.acidity import Finding, judge
from recipes.engine.terms import Seen, TestedRecipe
from recipes.indexing import index_of, table_search_text
from recipes.library import Library, LibraryProblem, RecipeEntry, TableEntry, read_library
from recipes.models import ProcessTable, Recipe, Revision, RevisionState
from recipes.services.judging import current_ledger
from recipes.services.publication import current_refresh, next_number, revision_publish, withdraw


@dataclass
class LoadReport:
    """What a load did, by slug (recipes) or key (process tables). With problems nothing was done."""

    problems: list[LibraryProblem] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    revised: list[str] = field(default_factory=list)
    held_back: list[str] = field(default_factory=list)  # new or changed entries that are not tested
    to_review: list[str] = field(default_factory=list)  # new or changed entries of the club's own, left for a reviewer
    reasons: dict[str, str] = field(default_factory=dict)  # why an entry is held back, by slug
    withdrawn: list[str] = field(default_factory=list)  # published before, no longer tested in the library
    unchanged: list[str] = field(default_factory=list)
    tables_added: list[str] = field(default_factory=list)
    tables_changed: list[str] = field(default_factory=list)
    tables_unchanged: list[str] = field(default_factory=list)

    @property
    def changed(self) -> int:
        recipes = len(self.added) + len(self.revised) + len(self.held_back) + len(self.to_review)
        return recipes + len(self.tables_added) + len(self.tables_changed)


def library_load(*, paths: Sequence[Path], reviewer: User | None = None) -> LoadReport:
    """Bring the library files at `paths` (files or folders) into the database.

    1. Every file is read and checked; any problem ends it here, reported and with nothing changed. What the acid ledger
       refuses is a problem.
    2. In one transaction: a tested entry of the shipped library whose content is new becomes the next numbered revision
       and current; one that is not tested, or that the ledger holds back, becomes a draft with the reason; one that
       did not change is left alone.
    3. An entry of any other file becomes a draft that waits for review. With a `reviewer` it is published by them, as
       on the site, unless something holds it back. PermissionDenied for one who may not review.
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
            _apply(library, findings, report, timezone.now(), reviewer)
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


def _apply(library: Library, findings: Findings, report: LoadReport, now: datetime, reviewer: User | None) -> None:
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
            _for_review(entry, recipe, latest.get(pk), held.get(pk), report, why, reviewer)
        elif why:
            _hold_back(entry, recipe, held.get(pk), report, now, why)
        else:
            _publish(entry, recipe, latest.get(pk), held.get(pk), report, now)
    tables = {table.key: table for table in ProcessTable.objects.all()}
    for table_entry in library.tables:
        _table_set(table_entry, tables.get(table_entry.key), report)


def _for_review(
    entry: RecipeEntry,
    recipe: Recipe | None,
    latest: Revision | None,
    waiting: Revision | None,
    report: LoadReport,
    why: str,
    reviewer: User | None,
) -> None:
    """An entry of the club's own. What was reviewed is not asked for again; what waits is brought up to date."""
    slug = entry.recipe.slug
    publishes = reviewer is not None and not why
    if waiting is None and latest and latest.digest == entry.digest:
        report.unchanged.append(slug)
        return
    if waiting and not waiting.from_library and waiting.digest == entry.digest and not publishes:
        report.unchanged.append(slug)
        return
    if waiting and waiting.from_library:  # loaded before the club's own files were told apart
        waiting.delete()
        waiting = None
    draft = waiting or Revision(recipe=recipe or _recipe_add(entry))
    draft.content, draft.digest, draft.review_note = entry.content, entry.digest, why
    draft.state, draft.submitted_at = RevisionState.IN_REVIEW, timezone.now()
    draft.save()
    if reviewer and publishes:
        revision_publish(by=reviewer, revision=draft)
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
    (report.revised if latest else report.added).append(entry.recipe.slug)
    recipe = recipe or _recipe_add(entry)
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
    entry: RecipeEntry, recipe: Recipe | None, held: Revision | None, report: LoadReport, now: datetime, why: str
) -> None:
    if held and held.digest == entry.digest:
        report.unchanged.append(entry.recipe.slug)
        return
    report.held_back.append(entry.recipe.slug)
    recipe = recipe or _recipe_add(entry)
    Revision.objects.update_or_create(
        recipe=recipe,
        from_library=True,
        number=None,
        defaults={"content": entry.content, "digest": entry.digest, "review_note": why},
    )
    if recipe.current and recipe.current.from_library:
        report.withdrawn.append(entry.recipe.slug)
        reason = _("The published library no longer holds it as tested. %(why)s") % {"why": why}
        withdraw(recipe.current, reason=reason, by=None, now=now)


def why_held_back(recipe: TestedRecipe, findings: Sequence[Finding]) -> str:
    """What keeps a recipe from being published: figures not seen in print, and what the acid ledger asks. Else ""."""
    parts = []
    if not recipe.amounts_seen.is_seen:
        parts.append(_("amounts: %(seen)s") % {"seen": recipe.amounts_seen.value})
    process_seen = recipe.process_seen or Seen.MEMORY
    if not recipe.is_tested and not process_seen.is_seen:
        parts.append(_("process: %(seen)s") % {"seen": process_seen.value})
    said = []
    if parts:
        why = _("Held back, because not every figure was seen in print (%(parts)s).")
        said.append(why % {"parts": ", ".join(parts)})
    if findings:
        said.append(_("Held back by the acid list."))
        said += [f"{found.field}: {found.sentence}" for found in findings]
    return " ".join(said)


def _recipe_add(entry: RecipeEntry) -> Recipe:
    return Recipe.objects.create(slug=entry.recipe.slug, from_library=entry.is_shipped, **index_of(entry.recipe))


def _table_set(entry: TableEntry, table: ProcessTable | None, report: LoadReport) -> None:
    # Nobody reviews a table: one of the club's own is for instructors to read.
    is_held_back = not entry.is_shipped or not any(row.seen.is_seen for row in entry.table.rows)
    if table and table.digest == entry.digest and table.is_held_back == is_held_back:
        report.tables_unchanged.append(entry.key)
        return
    (report.tables_changed if table else report.tables_added).append(entry.key)
    ProcessTable.objects.update_or_create(
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
