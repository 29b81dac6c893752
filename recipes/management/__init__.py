"""What the commands about one recipe share: its revision by the address, and bad input with its exit status."""

from __future__ import annotations

from django.core.management.base import CommandError

from recipes.models import ProcessTable, Recipe, Revision

BAD_INPUT = 2
REFUSED = 3


def bad_input(message: str) -> CommandError:
    return CommandError(message, returncode=BAD_INPUT)


def revision_named(slug: str, number: str | None) -> Revision:
    """The revision of that number, or the current one; with all of them withdrawn the latest, for its refusal."""
    recipe = Recipe.objects.readable().filter(slug=slug[:100]).first()
    if recipe is None:
        raise bad_input(f"There is no published recipe {slug[:100]!r}.")
    numbered = recipe.revisions.numbered().select_related("recipe").order_by("-number")
    if number is None:
        return numbered.current().first() or numbered[0]
    asked = numbered.filter(number=int(number)).first() if number.isdecimal() and len(number) < 9 else None
    if asked is None:
        raise bad_input(f"--revision: {recipe.slug} has no revision {number[:20]!r}.")
    return asked


def table_named(food: str, words: str) -> ProcessTable:
    """The table of a food; `words` of its variant or method tell several apart."""
    tables = ProcessTable.objects.filter(is_held_back=False, food__iexact=food.strip()[:120])
    found = [table for table in tables if words.lower() in f"{table.variant} {table.method}".lower()]
    if len(found) == 1:
        return found[0]
    if not found and not tables and ProcessTable.objects.filter(food__iexact=food.strip()[:120]).exists():
        raise bad_input(
            f"--table: nobody has answered yet for the table of {food[:80]!r}: load its file with --reviewed-by."
        )
    if not found and not tables:
        raise bad_input(f"--table: there is no process table for {food[:80]!r}.")
    known = "; ".join(f"{table.variant} {table.method}".strip() for table in found or tables)
    raise bad_input(f"--variant: say which table of {food[:80]!r}: {known}.")
