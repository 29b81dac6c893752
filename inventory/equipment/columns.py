"""The columns of a register in a spreadsheet, and what a row of them means. The export writes what the import reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from club.members.models import Kitchen
from inventory.equipment.describing import ThingFields
from inventory.equipment.kinds import Kind
from inventory.equipment.money import cents_typed
from inventory.equipment.spreadsheets import Row
from recipes.engine.quantities import JAR_SIZES

JARS = tuple(f"jars_{size.replace('-', '_')}" for size in JAR_SIZES)
REQUIRED = ("code", "kind", "name")
THING_COLUMNS = (
    *REQUIRED,
    "home",
    "place",
    "deposit",
    "deposit_note",
    "days_for_cleaning",
    "skill",
    *JARS,
    "care",
)
# Written for reading; the import passes them over.
STATE_COLUMNS = ("state", "state_note")

_KINDS = {str(value): value for value in Kind.values} | {str(label).lower(): value for value, label in Kind.choices}


@dataclass(frozen=True)
class Problem:
    """What is wrong with one cell, and where it stands."""

    file: str
    row: int
    column: str
    message: str

    def __str__(self) -> str:
        place = _("%(file)s, row %(row)s, column %(column)s")
        return f"{place % {'file': self.file, 'row': self.row, 'column': self.column}}: {self.message}"


def fields_from(row: Row, halls: Mapping[str, Kitchen]) -> tuple[ThingFields, list[tuple[str, str]]]:
    """What the row describes, and (column, message) for each cell that cannot be read."""
    problems: list[tuple[str, str]] = []
    cells = row.cells

    def number(column: str) -> int | None:
        text = cells.get(column, "")
        if text and not (text.isdecimal() and len(text) < 7):
            problems.append((column, _("A whole number is wanted, not %(text)s.") % {"text": text[:40]}))
            return None
        return int(text) if text else None

    for column in REQUIRED:
        if not cells.get(column):
            problems.append((column, _("This cell must not be empty.")))
    home = cells.get("home", "")
    if home and home.lower() not in halls:
        problems.append(("home", _("There is no hall called %(name)s.") % {"name": home[:60]}))
    cents = cents_typed(cells.get("deposit", ""))
    if cents is None:
        problems.append(("deposit", _("A sum such as 20 or 20.50 is wanted.")))
    jars = {size: number(column) for size, column in zip(JAR_SIZES, JARS, strict=True)}
    fields = ThingFields(
        code=cells.get("code", ""),
        kind=_KINDS.get(cells.get("kind", "").lower(), cells.get("kind", "")),
        name=cells.get("name", ""),
        home=halls.get(home.lower()),
        place=cells.get("place", ""),
        deposit_cents=cents or 0,
        deposit_note=cells.get("deposit_note", ""),
        turnaround_own=number("days_for_cleaning"),
        skill_own=cells.get("skill", "").lower(),
        capacity={size: count for size, count in jars.items() if count},
        care=cells.get("care", ""),
    )
    return fields, problems


COLUMN_OF_FIELD = {
    "deposit_cents": "deposit",
    "turnaround_own": "days_for_cleaning",
    "skill_own": "skill",
    "capacity": "jars_*",
}
