"""A register kept in a spreadsheet, taken in whole or not at all, and as often as one likes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.members.models import Kitchen, User
from inventory.equipment.codes import code_key
from inventory.equipment.columns import COLUMN_OF_FIELD, REQUIRED, Problem, fields_from
from inventory.equipment.describing import ThingFields, cleaned_fields
from inventory.equipment.models import ConditionNote, Thing
from inventory.equipment.services.common import keeper_check, now_or
from inventory.equipment.services.waiting import waiting_offer_freed
from inventory.equipment.spreadsheets import Row
from inventory.equipment.words import Condition, Occasion


@dataclass
class ImportReport:
    """What an import did, or would do, by code; with any problem nothing is written."""

    added: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def register_import(
    *, by: User, rows: Sequence[Row], file: str, dry_run: bool = True, now: datetime | None = None
) -> ImportReport:
    """Things by their code: a new code is added, a known one described anew, the same again changes nothing.

    All or nothing: with a problem in any cell, or with `dry_run`, no row is written. PermissionDenied.
    """
    keeper_check(by)
    report = ImportReport()
    if rows and (missing := [column for column in REQUIRED if column not in rows[0].cells]):
        report.problems = [Problem(file, 1, column, _("This column is missing.")) for column in missing]
        return report
    with transaction.atomic():
        wanted = _read(rows, file, report)
        if not report.problems and not dry_run:
            _write(by, wanted, now_or(now))
    if not report.problems and not dry_run:
        for kind in {fields.kind for _thing, fields in wanted}:
            waiting_offer_freed(kind=kind, now=now)
    return report


def _read(rows: Sequence[Row], file: str, report: ImportReport) -> list[tuple[Thing | None, ThingFields]]:
    """Each row with the thing it is about; those that change nothing are only counted."""
    halls = {kitchen.name.lower(): kitchen for kitchen in Kitchen.objects.filter(is_hall=True)}
    known = {thing.code_key: thing for thing in Thing.objects.select_related("home")}
    seen: dict[str, int] = {}
    wanted = []
    for row in rows:
        fields, problems = fields_from(row, halls)
        key = code_key(fields.code)
        thing = known.get(key)
        if key and key in seen:
            problems.append(("code", _("Row %(row)s has this code already.") % {"row": seen[key]}))
        seen.setdefault(key, row.number)
        cleaned, refused = _cleaned(fields, thing)
        # A cell that could not be read is told once; the others of its row are told with it.
        told = {column for column, _message in problems}
        problems += [one for one in refused if one[0] not in told]
        if not problems and _is_new(cleaned, thing, report):
            wanted.append((thing, fields))
        report.problems += [Problem(file, row.number, column, message) for column, message in problems]
    return wanted


def _cleaned(fields: ThingFields, thing: Thing | None) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    """The row as it would be written, or its problems by column."""
    try:
        return cleaned_fields(fields, thing=thing, known_codes=True), []
    except ValidationError as error:
        told = error.message_dict.items()
        return {}, [(COLUMN_OF_FIELD.get(name, name), one) for name, messages in told for one in messages]


def _is_new(cleaned: dict[str, Any], thing: Thing | None, report: ImportReport) -> bool:
    """Whether there is anything to write. Counts the row in the report."""
    code = cleaned["code"]
    if thing is None:
        report.added.append(code)
    elif any(getattr(thing, name) != value for name, value in cleaned.items()):
        report.changed.append(code)
    else:
        report.unchanged.append(code)
        return False
    return True


def _write(by: User, wanted: Sequence[tuple[Thing | None, ThingFields]], now: datetime) -> None:
    try:
        with transaction.atomic():
            for thing, fields in wanted:
                _write_one(by, thing, fields, now)
    except IntegrityError as error:
        raise ValidationError(_("Somebody changed the register meanwhile. Nothing was written: try again.")) from error


def _write_one(by: User, thing: Thing | None, fields: ThingFields, now: datetime) -> None:
    is_new = thing is None
    thing = thing or Thing(created_at=now)
    for name, value in cleaned_fields(fields, thing=None if is_new else thing, known_codes=True).items():
        setattr(thing, name, value)
    thing.save()
    if is_new:
        ConditionNote.objects.create(
            thing=thing,
            by=by,
            at=now,
            occasion=Occasion.ADDED,
            condition=Condition.GOOD,
            note=_("taken in from a spreadsheet"),
        )
