"""A register kept in a spreadsheet, taken in whole or not at all, and as often as one likes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.members.models import Kitchen, User
from inventory.equipment.codes import code_key
from inventory.equipment.columns import COLUMN_OF_FIELD, REQUIRED, THING_COLUMNS, Problem, cells_of, fields_from
from inventory.equipment.describing import ThingFields, cleaned_fields
from inventory.equipment.models import ConditionNote, Thing
from inventory.equipment.services.common import keeper_check, now_or
from inventory.equipment.services.waiting import waiting_offer_freed
from inventory.equipment.spreadsheets import Cell, Row
from inventory.equipment.words import Condition, Occasion


class CellTold(NamedTuple):
    """One cell as it was and as it becomes, in the words of the file; "" is empty."""

    column: str
    was: str
    becomes: str


@dataclass(frozen=True)
class RowTold:
    """What one row does to its thing, or what the new thing is described by."""

    number: int
    code: str
    is_new: bool
    cells: list[CellTold]


@dataclass
class ImportReport:
    """What an import did, or would do; with any problem nothing is written."""

    added: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    told: list[RowTold] = field(default_factory=list)  # of each row that adds or changes
    left_alone: list[str] = field(default_factory=list)  # columns that the file does not have
    passed_over: list[str] = field(default_factory=list)  # headings that mean nothing here
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True)
class _Wanted:
    """What is to be written of a row: only what differs. `thing` is none for a new one."""

    thing: Thing | None
    kind: str
    columns: dict[str, Any]


def register_import(
    *, by: User, rows: Sequence[Row], file: str, dry_run: bool = True, now: datetime | None = None
) -> ImportReport:
    """Things by their code: a new code is added, a known one changed as its cells say, the same again changes nothing.

    1. A column that the file does not have is left alone; a cell that is there and empty empties. 2. All or nothing:
    with a problem in any cell, or with `dry_run`, no row is written. PermissionDenied.
    """
    keeper_check(by)
    report = ImportReport()
    if rows and (missing := [column for column in REQUIRED if column not in rows[0].cells]):
        report.problems = [Problem(file, 1, column, _("This column is missing.")) for column in missing]
        return report
    headings = dict.fromkeys(heading for row in rows for heading in row.cells)
    report.left_alone = [column for column in THING_COLUMNS if column not in headings]
    report.passed_over = [heading for heading in headings if heading not in THING_COLUMNS]
    with transaction.atomic():
        wanted = _read(rows, file, report)
        if not report.problems and not dry_run:
            _write(by, wanted, now_or(now))
    if not report.problems and not dry_run:
        for kind in {one.kind for one in wanted}:
            waiting_offer_freed(kind=kind, now=now)
    return report


def _read(rows: Sequence[Row], file: str, report: ImportReport) -> list[_Wanted]:
    """What each row asks for; those that change nothing are only counted."""
    halls = {kitchen.name.lower(): kitchen for kitchen in Kitchen.objects.filter(is_hall=True)}
    known = {thing.code_key: thing for thing in Thing.objects.select_related("home")}
    seen: dict[str, int] = {}
    wanted = []
    for row in rows:
        key = code_key(row.cells.get("code", ""))
        thing = known.get(key)
        fields, problems = fields_from(row, halls, thing)
        if key and key in seen:
            problems.append(("code", _("Row %(row)s has this code already.") % {"row": seen[key]}))
        seen.setdefault(key, row.number)
        cleaned, refused = _cleaned(fields, thing)
        # A cell that could not be read is told once; the others of its row are told with it.
        told = {column for column, _message in problems}
        problems += [one for one in refused if one[0] not in told]
        if not problems and (differs := _differing(cleaned, thing)):
            wanted.append(_Wanted(thing, cleaned["kind"], differs))
            report.told.append(_told(row.number, cleaned, thing))
            (report.changed if thing else report.added).append(cleaned["code"])
        elif not problems:
            report.unchanged.append(cleaned["code"])
        report.problems += [Problem(file, row.number, column, message) for column, message in problems]
    return wanted


def _cleaned(fields: ThingFields, thing: Thing | None) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """The row as it would be written, or its problems by column."""
    try:
        return cleaned_fields(fields, thing=thing, known_codes=True), []
    except ValidationError as error:
        told = error.message_dict.items()
        return {}, [(COLUMN_OF_FIELD.get(name, name), one) for name, messages in told for one in messages]


def _differing(cleaned: dict[str, Any], thing: Thing | None) -> dict[str, Any]:
    return {name: value for name, value in cleaned.items() if thing is None or getattr(thing, name) != value}


def _told(number: int, cleaned: dict[str, Any], thing: Thing | None) -> RowTold:
    was, becomes = cells_of(thing) if thing else {}, cells_of(ThingFields(**cleaned))
    pairs = [CellTold(column, _text(was.get(column)), _text(cell)) for column, cell in becomes.items()]
    return RowTold(number, cleaned["code"], thing is None, [one for one in pairs if one.was != one.becomes])


def _text(cell: Cell) -> str:
    return "" if cell is None else str(cell)


def _write(by: User, wanted: Sequence[_Wanted], now: datetime) -> None:
    try:
        with transaction.atomic():
            for one in wanted:
                if one.thing is None:
                    _add(by, one.columns, now)
                else:
                    _change(one.thing, one.columns)
    except IntegrityError as error:
        raise ValidationError(_("Somebody changed the register meanwhile. Nothing was written: try again.")) from error


def _change(thing: Thing, columns: dict[str, Any]) -> None:
    """Only what differs, so that what somebody else writes at this moment stays."""
    for name, value in columns.items():
        setattr(thing, name, value)
    thing.save(update_fields=[*columns, "code_key"])


def _add(by: User, columns: dict[str, Any], now: datetime) -> None:
    ConditionNote.objects.create(
        thing=Thing.objects.create(created_at=now, **columns),
        by=by,
        at=now,
        occasion=Occasion.ADDED,
        condition=Condition.GOOD,
        note=_("taken in from a spreadsheet"),
    )
