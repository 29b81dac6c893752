"""The register in a spreadsheet: what a row of it means, and the rows that go out. What goes out comes in again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.money import money_words
from club.core.tables import Row
from inventory.equipment.description import COLUMNS, Cell, Halls, ThingFields, UnreadableError, fields_of
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing

REQUIRED = ("code", "kind", "name")
# Written for reading; the import passes them over.
STATE_COLUMNS = ("state", "state_note")


def fields_from(row: Row, halls: Halls, thing: Thing | None = None) -> tuple[ThingFields, list[tuple[str, str]]]:
    """What the row describes, and (column, message) for each cell that cannot be read.

    Of a thing that is there only the cells of this row change anything: a column that the row does not have is left
    alone, an empty cell empties.
    """
    problems = [(name, _("This cell must not be empty.")) for name in REQUIRED if not row.cells.get(name)]
    before = fields_of(thing) if thing else ThingFields(kind="", name="")
    changed: dict[str, Any] = {}
    for heading, text in row.cells.items():
        if heading not in COLUMNS:
            continue
        name, column = COLUMNS[heading]
        try:
            value = column.read(text, halls)
        except UnreadableError as error:
            problems.append((heading, str(error)))
            continue
        if column.key:
            others = changed.get(name, getattr(before, name))
            entries = {key: entry for key, entry in others.items() if key != column.key}
            value = entries | ({column.key: value} if value else {})
        changed[name] = value
    return replace(before, **changed), problems


def cells_of(thing: Thing | ThingFields) -> dict[str, Cell]:
    """A thing as a row of the register, by column."""
    cells: dict[str, Cell] = {}
    for heading, (name, column) in COLUMNS.items():
        value = getattr(thing, name)
        cells[heading] = column.write(value.get(column.key) if column.key else value)
    return cells


# The rows of each export. Read as plain values, so that a season of fifty thousand loans takes seconds.


def thing_rows() -> Iterator[list[Cell]]:
    for thing in Thing.objects.select_related("home").order_by("code").iterator(chunk_size=500):
        yield [*cells_of(thing).values(), thing.state, thing.state_note]


# Each heading with where it is read from; a name empty for whoever has none gives way to the email.
LOANS: dict[str, str] = {
    "code": "thing__code",
    "thing": "thing__name",
    "person": "person__name",
    "email": "person__email",
    "purpose": "purpose",
    "handed_over": "handed_over_at",
    "handed_over_by": "handed_over_by__name",
    "condition_out": "condition_out",
    "note_out": "note_out",
    "due": "due_on",
    "returned": "returned_at",
    "taken_back_by": "taken_back_by__name",
    "condition_in": "condition_in",
    "missing_parts": "missing_parts",
    "note_in": "note_in",
    "deposit": "deposit_cents",
}
HOLDS: dict[str, str] = {
    "code": "thing__code",
    "thing": "thing__name",
    "person": "person__name",
    "email": "person__email",
    "purpose": "purpose",
    "first_day": "starts",
    "last_day": "ends",
    "kept_until": "kept_until",
    "state": "state",
}
TEST_COLUMNS = ("code", "thing", "tested_on", "reference", "readings", "verdict", "lapses_on", "recorded_by", "note")


def loan_rows() -> Iterator[list[Cell]]:
    deposit = list(LOANS).index("deposit")
    loans = Loan.objects.order_by("handed_over_at", "pk").values_list(*LOANS.values())
    for row in loans.iterator(chunk_size=2000):
        cells = [_wall(cell) if isinstance(cell, datetime) else cell for cell in row]
        cells[deposit] = money_words(row[deposit])
        yield cells


def hold_rows() -> Iterator[list[Cell]]:
    holds = Hold.objects.order_by("starts", "pk").values_list(*HOLDS.values())
    yield from map(list, holds.iterator(chunk_size=2000))


def instrument_rows() -> Iterator[list[Cell]]:
    tests = InstrumentTest.objects.select_related("thing", "recorded_by").order_by("tested_on", "pk")
    for one in tests.iterator(chunk_size=2000):
        read = "; ".join(f"{reference} shown as {shown}" for reference, shown in one.readings)
        cells: list[Cell] = [one.thing.code, one.thing.name, one.tested_on, one.reference, read]
        yield [*cells, one.verdict, one.lapses_on, str(one.recorded_by), one.note]


def _wall(moment: datetime) -> str:
    """As the club's clocks show it."""
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M")
