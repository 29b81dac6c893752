"""Equipment itself: added, changed, mended, retired, imported; its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, BinaryIO, NamedTuple
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone
from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.core.tables import Problem, Row
from club.core.text import plain
from club.members.models import Kitchen, User
from inventory.equipment.choices import Condition, Occasion, PartsOutcome, ThingState
from inventory.equipment.description import COLUMNS, HEADING_OF, Cell, ThingFields, cleaned_fields, code_used
from inventory.equipment.models import ConditionNote, Hold, Loan, Thing, ThingPhoto
from inventory.equipment.register import REQUIRED, cells_of, fields_from
from inventory.equipment.rules import code_key
from inventory.equipment.services.common import choice_check, keeper_check
from inventory.equipment.services.holds import waiting_offer_freed

# Things themselves: added, changed, sent to repair, mended, retired, looked over.

REASON_LENGTH = 300


def thing_add(
    *,
    by: User,
    fields: ThingFields,
    condition: str = Condition.GOOD,
    token: UUID | None = None,
    now: datetime | None = None,
) -> Thing:
    """A new thing, in service. The same token again finds the thing made the first time.

    PermissionDenied; ValidationError by the names of ThingFields.
    """
    keeper_check(by)
    choice_check(condition, Condition.values, field="condition")
    cleaned = cleaned_fields(fields)
    try:
        with transaction.atomic():
            thing = Thing.objects.create(**cleaned, token=token, created_at=now_or(now))
            note_condition(thing=thing, by=by, at=now_or(now), occasion=Occasion.ADDED, condition=condition)
    except IntegrityError:
        made = Thing.objects.filter(token=token).first() if token else None
        if made is None:
            raise code_used(cleaned["code"]) from None
        return made
    waiting_offer_freed(kind=thing.kind, now=now)
    return thing


@transaction.atomic
def thing_change(*, by: User, thing: Thing, fields: ThingFields) -> None:
    """Describe a thing anew. Raises as thing_add. Its history and its holds stay with it."""
    keeper_check(by)
    cleaned = cleaned_fields(fields, thing=thing)
    for name, value in cleaned.items():
        setattr(thing, name, value)
    try:
        with transaction.atomic():
            thing.save(update_fields=[*cleaned, "code_key"])
    except IntegrityError:
        raise code_used(cleaned["code"]) from None


@transaction.atomic
def thing_repair(*, by: User, thing: Thing, note: str, now: datetime | None = None) -> None:
    """In repair: not handed over until it is mended. Holds for later days stand. AlreadyDone when it is there."""
    keeper_check(by)
    note = plain(note, field="note", longest=REASON_LENGTH)
    if not note:
        raise ValidationError({"note": _("Say what is to be repaired.")})
    _move(thing, ThingState.IN_SERVICE, ThingState.IN_REPAIR, note)
    note_condition(
        thing=thing, by=by, at=now_or(now), occasion=Occasion.TO_REPAIR, condition=Condition.BROKEN, note=note
    )


def thing_mend(
    *, by: User, thing: Thing, condition: str = Condition.GOOD, note: str = "", now: datetime | None = None
) -> None:
    """Back in service. AlreadyDone when it was not in repair."""
    keeper_check(by)
    choice_check(condition, [Condition.GOOD, Condition.WORN], field="condition")
    note = plain(note, field="note", longest=REASON_LENGTH)
    with transaction.atomic():
        _move(thing, ThingState.IN_REPAIR, ThingState.IN_SERVICE, "")
        note_condition(thing=thing, by=by, at=now_or(now), occasion=Occasion.REPAIRED, condition=condition, note=note)
    waiting_offer_freed(kind=thing.kind, now=now)


@transaction.atomic
def thing_retire(*, by: User, thing: Thing, note: str, now: datetime | None = None) -> None:
    """Never lent again; its history stays. Refused while it is out or somebody holds it. Settles a missing part."""
    keeper_check(by)
    note = plain(note, field="note", longest=REASON_LENGTH)
    if not note:
        raise ValidationError({"note": _("Say why it is retired.")})
    if Loan.objects.open().filter(thing=thing).exists():
        raise ValidationError(_("%(code)s is out. Take it back first.") % {"code": thing.code})
    holds = Hold.objects.filter(thing=thing).to_collect(club_day(now_or(now)))
    if held := [str(hold.person) for hold in holds.select_related("person")[:5]]:
        text = _("%(code)s is held for %(people)s. Cancel that first, so that they hear of it.")
        raise ValidationError(text % {"code": thing.code, "people": ", ".join(held)})
    state = thing.state
    _move(thing, state, ThingState.RETIRED, note)
    Loan.objects.short_of_parts().filter(thing=thing).update(
        parts_settled_at=now_or(now), parts_settled_by=by, parts_outcome=PartsOutcome.WITHDRAWN, parts_note=note
    )
    condition = Condition.BROKEN if state == ThingState.IN_REPAIR else Condition.WORN
    note_condition(thing=thing, by=by, at=now_or(now), occasion=Occasion.RETIRED, condition=condition, note=note)


# A cut line and a second press; nobody looks a thing over anew so soon.
PRESSED_AGAIN = timedelta(minutes=10)


@transaction.atomic
def thing_look_over(
    *, by: User, thing: Thing, condition: str, note: str = "", now: datetime | None = None
) -> ConditionNote:
    """Note how a thing looks. "Needs repair" also takes it out of service. The same words of the same keeper within
    minutes are the same look, pressed again.
    """
    keeper_check(by)
    choice_check(condition, Condition.values, field="condition")
    note = plain(note, field="note", longest=REASON_LENGTH)
    if condition == Condition.BROKEN and not note:
        raise ValidationError({"note": _("Say what is broken.")})
    moment = now_or(now)
    Thing.everything.filter(pk=thing.pk).update(state=F("state"))  # so that a press beside this one waits
    found = ConditionNote.objects.filter(
        thing=thing,
        by=by,
        occasion=Occasion.LOOKED_OVER,
        condition=condition,
        note=note,
        at__gt=moment - PRESSED_AGAIN,
        at__lte=moment,
    ).first() or note_condition(
        thing=thing, by=by, at=moment, occasion=Occasion.LOOKED_OVER, condition=condition, note=note
    )
    if condition == Condition.BROKEN:
        out_of_service(thing, note)
    return found


def note_condition(
    *, thing: Thing, by: User, at: datetime, occasion: Occasion, condition: str, note: str = ""
) -> ConditionNote:
    """For the services of this room only: who may was asked there."""
    return ConditionNote.objects.create(
        thing=thing, by=by, at=at, occasion=occasion, condition=condition, note=note[:500]
    )


def out_of_service(thing: Thing, why: str) -> None:
    """Into repair if it was in service; nothing otherwise."""
    in_service = Thing.everything.filter(pk=thing.pk, state=ThingState.IN_SERVICE)
    if in_service.update(state=ThingState.IN_REPAIR, state_note=why[:REASON_LENGTH]):
        thing.state, thing.state_note = ThingState.IN_REPAIR, why[:REASON_LENGTH]


def _move(thing: Thing, old: str, new: ThingState, note: str) -> None:
    """A conditional change of state: of two at one moment, one learns that it was done."""
    if old == new or Thing.objects.filter(pk=thing.pk, state=old).update(state=new, state_note=note) != 1:
        raise AlreadyDone(_("%(code)s is not in that state any more. Look again.") % {"code": thing.code})
    thing.state, thing.state_note = new, note


# The picture of a thing.


def photo_set(*, by: User, thing: Thing, file: BinaryIO, now: datetime | None = None) -> ThingPhoto:
    """Replace the picture. The place and time that a phone writes into its pictures are left out.

    PermissionDenied; ValidationError on `photo` for what is no JPEG, PNG or WebP picture, or too large.
    """
    keeper_check(by)
    jpeg = photo_as_jpeg(file.read(MOST_BYTES + 1))
    photo, _made = ThingPhoto.objects.update_or_create(thing=thing, defaults={"jpeg": jpeg, "changed_at": now_or(now)})
    return photo


def photo_clear(*, by: User, thing: Thing) -> None:
    keeper_check(by)
    ThingPhoto.objects.filter(thing=thing).delete()


# A register kept in a spreadsheet, taken in whole or not at all, and as often as one likes.


class CellChange(NamedTuple):
    """One cell as it was and as it becomes, in the words of the file; "" is empty."""

    column: str
    was: str
    becomes: str


@dataclass(frozen=True)
class RowChange:
    """What one row does to its thing, or what the new thing is described by."""

    number: int
    code: str
    is_new: bool
    cells: list[CellChange]


@dataclass
class ImportReport:
    """What an import did, or would do; with any problem nothing is written."""

    added: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    rows: list[RowChange] = field(default_factory=list)  # of each row that adds or changes
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
    report.left_alone = [column for column in COLUMNS if column not in headings]
    report.passed_over = [heading for heading in headings if heading not in COLUMNS]
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
        # A cell that could not be read has one problem; the others of its row are checked with it.
        unreadable = {column for column, _message in problems}
        problems += [one for one in refused if one[0] not in unreadable]
        if not problems and (
            differs := {
                name: value for name, value in cleaned.items() if thing is None or getattr(thing, name) != value
            }
        ):
            wanted.append(_Wanted(thing, cleaned["kind"], differs))
            report.rows.append(_row_change(row.number, cleaned, thing))
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
        problems = error.message_dict.items()
        return {}, [(HEADING_OF[name], one) for name, messages in problems for one in messages]


def _row_change(number: int, cleaned: dict[str, Any], thing: Thing | None) -> RowChange:
    was, becomes = cells_of(thing) if thing else {}, cells_of(ThingFields(**cleaned))
    pairs = [CellChange(column, _text(was.get(column)), _text(cell)) for column, cell in becomes.items()]
    return RowChange(number, cleaned["code"], thing is None, [one for one in pairs if one.was != one.becomes])


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
