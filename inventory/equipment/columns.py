"""The columns of a register in a spreadsheet, and what a row of them means. The export writes what the import reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import Kitchen
from inventory.equipment.describing import ThingFields
from inventory.equipment.kinds import Kind
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing
from inventory.equipment.money import cents_typed, money_words
from inventory.equipment.spreadsheets import Cell, Row
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
        capacity={size: count for size, count in jars.items() if count},
        care=cells.get("care", ""),
    )
    return fields, problems


COLUMN_OF_FIELD = {"deposit_cents": "deposit", "turnaround_own": "days_for_cleaning", "capacity": "jars_*"}


def thing_rows() -> Iterator[list[Cell]]:
    for thing in Thing.objects.select_related("home").order_by("code").iterator(chunk_size=500):
        yield [
            thing.code,
            thing.kind,
            thing.name,
            thing.home.name if thing.home else "",
            thing.place,
            money_words(thing.deposit_cents) if thing.deposit_cents else "",
            thing.deposit_note,
            thing.turnaround_own,
            *(thing.capacity.get(size) for size in JAR_SIZES),
            thing.care,
            thing.state,
            thing.state_note,
        ]


LOAN_COLUMNS = (
    "code",
    "thing",
    "person",
    "email",
    "purpose",
    "handed_over",
    "handed_over_by",
    "condition_out",
    "due",
    "returned",
    "taken_back_by",
    "condition_in",
    "missing_parts",
    "deposit",
)


def loan_rows() -> Iterator[list[Cell]]:
    loans = Loan.objects.select_related("thing", "person", "handed_over_by", "taken_back_by")
    for loan in loans.order_by("handed_over_at", "pk").iterator(chunk_size=2000):
        yield [
            loan.thing.code,
            loan.thing.name,
            str(loan.person),
            loan.person.email,
            loan.purpose,
            _wall(loan.handed_over_at),
            str(loan.handed_over_by),
            loan.condition_out,
            loan.due_on,
            _wall(loan.returned_at),
            str(loan.taken_back_by or ""),
            loan.condition_in,
            loan.missing_parts,
            money_words(loan.deposit_cents),
        ]


HOLD_COLUMNS = ("code", "thing", "person", "email", "purpose", "first_day", "last_day", "kept_until", "state")


def hold_rows() -> Iterator[list[Cell]]:
    holds = Hold.objects.select_related("thing", "person").order_by("starts", "pk")
    for hold in holds.iterator(chunk_size=2000):
        yield [
            hold.thing.code,
            hold.thing.name,
            str(hold.person),
            hold.person.email,
            hold.purpose,
            hold.starts,
            hold.ends,
            hold.kept_until,
            hold.state,
        ]


TEST_COLUMNS = ("code", "thing", "tested_on", "reference", "readings", "verdict", "lapses_on", "recorded_by", "note")


def instrument_rows() -> Iterator[list[Cell]]:
    tests = InstrumentTest.objects.select_related("thing", "recorded_by").order_by("tested_on", "pk")
    for one in tests.iterator(chunk_size=2000):
        read = "; ".join(f"{reference} shown as {shown}" for reference, shown in one.readings)
        told: list[Cell] = [one.thing.code, one.thing.name, one.tested_on, one.reference, read]
        yield [*told, one.verdict, one.lapses_on, str(one.recorded_by), one.note]


def _wall(moment: datetime | None) -> Cell:
    """As the club's clocks show it."""
    return timezone.localtime(moment).strftime("%Y-%m-%d %H:%M") if moment else ""
