"""The columns of a register in a spreadsheet, and what a row of them means. The export writes what the import reads."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.money import cents_typed, money_words
from club.core.tables import Row
from club.members.models import Kitchen
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing
from inventory.equipment.validators import ThingFields, fields_of
from recipes.engine.quantities import JAR_SIZES

SIZE_OF = {f"jars_{size.replace('-', '_')}": size for size in JAR_SIZES}
JARS = tuple(SIZE_OF)
Cell = str | int | date | None
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


class _UnreadableError(ValueError):
    """What a cell should have been."""


def fields_from(
    row: Row, halls: Mapping[str, Kitchen], thing: Thing | None = None
) -> tuple[ThingFields, list[tuple[str, str]]]:
    """What the row describes, and (column, message) for each cell that cannot be read.

    Of a thing that is there only the cells of this row change anything: a column that the row does not have is left
    alone, an empty cell empties.
    """
    problems = [(name, _("This cell must not be empty.")) for name in REQUIRED if not row.cells.get(name)]
    before = fields_of(thing) if thing else ThingFields(kind="", name="")
    told: dict[str, Any] = {}
    capacity: dict[str, int | None] = dict(before.capacity)
    for column, text in row.cells.items():
        try:
            if column in JARS:
                capacity[SIZE_OF[column]] = _number(text)
            elif column == "home":
                told["home"] = _hall(text, halls)
            elif column in _READERS:
                name, read = _READERS[column]
                told[name] = read(text)
        except _UnreadableError as error:
            problems.append((column, str(error)))
    return replace(before, **told, capacity={size: count for size, count in capacity.items() if count}), problems


def cells_of(thing: Thing | ThingFields) -> dict[str, Cell]:
    """A thing as a row of the register, by column."""
    return {
        "code": thing.code,
        "kind": thing.kind,
        "name": thing.name,
        "home": thing.home.name if thing.home else "",
        "place": thing.place,
        "deposit": money_words(thing.deposit_cents) if thing.deposit_cents else "",
        "deposit_note": thing.deposit_note,
        "days_for_cleaning": thing.turnaround_own,
        "skill": thing.skill_own,
        **{column: thing.capacity.get(size) for column, size in SIZE_OF.items()},
        "care": thing.care,
    }


def _number(text: str) -> int | None:
    if text and not (text.isascii() and text.isdecimal() and len(text) < 7):
        raise _UnreadableError(_("A whole number is wanted, not %(text)s.") % {"text": text[:40]})
    return int(text) if text else None


def _hall(text: str, halls: Mapping[str, Kitchen]) -> Kitchen | None:
    if text and text.lower() not in halls:
        raise _UnreadableError(_("There is no hall called %(name)s.") % {"name": text[:60]})
    return halls.get(text.lower())


def _cents(text: str) -> int:
    cents = cents_typed(text)
    if cents is None:
        raise _UnreadableError(_("A sum such as 20 or 20.50 is wanted."))
    return cents


# Each column with the field it fills and how its text is read; the sizes of jars and the hall are read above.
_READERS: dict[str, tuple[str, Callable[[str], Any]]] = {
    "code": ("code", str),
    "kind": ("kind", lambda text: _KINDS.get(text.lower(), text)),
    "name": ("name", str),
    "place": ("place", str),
    "deposit": ("deposit_cents", _cents),
    "deposit_note": ("deposit_note", str),
    "days_for_cleaning": ("turnaround_own", _number),
    "skill": ("skill_own", str.lower),
    "care": ("care", str),
}
COLUMN_OF_FIELD = {field: column for column, (field, _read) in _READERS.items()} | {"capacity": "jars_*"}

# The rows of each export. Read as plain values, so that a season of fifty thousand loans takes seconds.


def thing_rows() -> Iterator[list[Cell]]:
    for thing in Thing.objects.select_related("home").order_by("code").iterator(chunk_size=500):
        cells = cells_of(thing)
        yield [*(cells[column] for column in THING_COLUMNS), thing.state, thing.state_note]


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
        told: list[Cell] = [one.thing.code, one.thing.name, one.tested_on, one.reference, read]
        yield [*told, one.verdict, one.lapses_on, str(one.recorded_by), one.note]


def _wall(moment: datetime) -> str:
    """As the club's clocks show it."""
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M")
