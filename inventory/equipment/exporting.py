"""The rows of each export. Read as plain values, so that a season of fifty thousand loans takes seconds."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.utils import timezone

from club.core.money import money_words
from inventory.equipment.columns import THING_COLUMNS, cells_of
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing
from inventory.equipment.spreadsheets import Cell


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
