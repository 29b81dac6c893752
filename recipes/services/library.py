"""Loading the published library: all of it or nothing, and nothing twice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from recipes.engine.terms import Seen, TestedRecipe
from recipes.indexing import index_of, table_search_text
from recipes.library import Library, LibraryProblem, RecipeEntry, TableEntry, read_library
from recipes.models import ProcessTable, Recipe, Revision, RevisionState
from recipes.services.publication import current_refresh, next_number, withdraw


@dataclass
class LoadReport:
    """What a load did, by slug (recipes) or key (process tables). With problems nothing was done."""

    problems: list[LibraryProblem] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    revised: list[str] = field(default_factory=list)
    held_back: list[str] = field(default_factory=list)  # new or changed entries that are not tested
    withdrawn: list[str] = field(default_factory=list)  # published before, no longer tested in the library
    unchanged: list[str] = field(default_factory=list)
    tables_added: list[str] = field(default_factory=list)
    tables_changed: list[str] = field(default_factory=list)
    tables_unchanged: list[str] = field(default_factory=list)

    @property
    def changed(self) -> int:
        recipes = len(self.added) + len(self.revised) + len(self.held_back)
        return recipes + len(self.tables_added) + len(self.tables_changed)


def library_load(*, paths: Sequence[Path]) -> LoadReport:
    """Bring the library files at `paths` (files or folders) into the database.

    1. Every file is read and checked; any problem ends it here, reported and with nothing changed.
    2. In one transaction: a tested entry whose content is new becomes the next numbered revision and current; one
       that is not tested becomes a draft held back with the reason; an unchanged one is left alone.
    """
    library = read_library(paths)
    report = LoadReport(problems=library.problems)
    if report.problems:
        return report
    with transaction.atomic():
        report.problems.extend(_members_own(library))
        if not report.problems:
            _apply(library, report, timezone.now())
    return report


def _members_own(library: Library) -> list[LibraryProblem]:
    """Entries whose slug a member's own recipe has: the library does not write over people's work."""
    taken = set(Recipe.objects.filter(from_library=False).values_list("slug", flat=True))
    message = _("A recipe written by a member has this slug. Give the entry another.")
    return [
        LibraryProblem(entry.file, entry.name, "slug", message)
        for entry in library.recipes
        if entry.recipe.slug in taken
    ]


def _apply(library: Library, report: LoadReport, now: datetime) -> None:
    recipes = {recipe.slug: recipe for recipe in Recipe.objects.filter(from_library=True).select_related("current")}
    loaded = Revision.objects.filter(from_library=True)
    latest = {row.recipe_id: row for row in loaded.numbered().order_by("number")}
    held = {row.recipe_id: row for row in loaded.drafts()}
    for entry in library.recipes:
        recipe = recipes.get(entry.recipe.slug)
        pk = recipe.pk if recipe else 0
        if entry.recipe.is_tested:
            _publish(entry, recipe, latest.get(pk), held.get(pk), report, now)
        else:
            _hold_back(entry, recipe, held.get(pk), report, now)
    tables = {table.key: table for table in ProcessTable.objects.all()}
    for table_entry in library.tables:
        _table_set(table_entry, tables.get(table_entry.key), report)


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
    entry: RecipeEntry, recipe: Recipe | None, held: Revision | None, report: LoadReport, now: datetime
) -> None:
    if held and held.digest == entry.digest:
        report.unchanged.append(entry.recipe.slug)
        return
    report.held_back.append(entry.recipe.slug)
    why = why_held_back(entry.recipe)
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


def why_held_back(recipe: TestedRecipe) -> str:
    """Which figures were not seen in print, and how they are known instead."""
    parts = []
    if not recipe.amounts_seen.is_seen:
        parts.append(_("amounts: %(seen)s") % {"seen": recipe.amounts_seen.value})
    process_seen = recipe.process_seen or Seen.MEMORY
    if not process_seen.is_seen:
        parts.append(_("process: %(seen)s") % {"seen": process_seen.value})
    return _("Held back, because not every figure was seen in print (%(parts)s).") % {"parts": ", ".join(parts)}


def _recipe_add(entry: RecipeEntry) -> Recipe:
    return Recipe.objects.create(slug=entry.recipe.slug, from_library=True, **index_of(entry.recipe))


def _table_set(entry: TableEntry, table: ProcessTable | None, report: LoadReport) -> None:
    if table and table.digest == entry.digest:
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
            "is_held_back": not any(row.seen.is_seen for row in entry.table.rows),
        },
    )
