"""The paper sheet of an evening without the network, keyed in afterwards: all of it, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.equipment.codes import code_scanned
from inventory.equipment.models import Loan, Thing
from inventory.equipment.services.common import keeper_check, moment_check, now_or
from inventory.equipment.services.lending import loan_hand_over, loan_return

KEYED_HOUR = time(18, 0)


@dataclass(frozen=True)
class SheetRow:
    """One line of the sheet. With a person it is a hand-over, without one a return."""

    code: str
    on: date
    person: User | None = None
    due_on: date | None = None
    condition: str = "good"
    note: str = ""
    is_ready: bool = False


class SheetRefused(ValidationError):
    """Nothing was written. `rows` has the sentences by the row's place in what was given, counted from 0."""

    def __init__(self, rows: dict[int, list[str]]) -> None:
        super().__init__([sentence for told in rows.values() for sentence in told])
        self.rows = rows


def sheet_key_in(*, by: User, rows: Sequence[SheetRow], token: UUID, now: datetime | None = None) -> list[Loan]:
    """Write the lines in their order. The same token again finds what was written the first time.

    All or nothing: SheetRefused names each line that cannot be. PermissionDenied.
    """
    keeper_check(by)
    moment = now_or(now)
    refused: dict[int, list[str]] = {}
    loans = []
    with transaction.atomic():
        for place, row in enumerate(rows):
            try:
                with transaction.atomic():
                    loans.append(_key_in(by, row, uuid5(token, str(place)), moment))
            except ValidationError as error:
                refused[place] = error.messages
            except AlreadyDone as done:
                refused[place] = [str(done)]
        if refused:
            raise SheetRefused(refused)
    return loans


def _key_in(by: User, row: SheetRow, token: UUID, now: datetime) -> Loan:
    at = min(timezone.make_aware(datetime.combine(row.on, KEYED_HOUR)), now) if row.on <= now.date() else None
    if at is None:
        raise ValidationError(_("That day has not come yet."))
    moment_check(at, field="on")
    thing = Thing.objects.coded(code_scanned(row.code)).first()
    if thing is None:
        raise ValidationError(_("There is no thing with the code %(code)s.") % {"code": row.code})
    if row.person is None:
        return _back(by, thing, row, token, at)
    if row.due_on is None:
        raise ValidationError(_("Say when it is due back."))
    return loan_hand_over(
        by=by,
        thing=thing,
        person=row.person,
        due_on=row.due_on,
        condition=row.condition,
        note=row.note,
        token=token,
        now=at,
    )


def _back(by: User, thing: Thing, row: SheetRow, token: UUID, at: datetime) -> Loan:
    loans = Loan.objects.filter(thing=thing).select_related("thing", "hold", "person")
    loan = loans.filter(return_token=token).first() or loans.open().first()
    if loan is None:
        raise ValidationError(_("%(code)s is not out.") % {"code": thing.code})
    return loan_return(
        by=by,
        loan=loan,
        condition=row.condition,
        missing_parts=loan.missing_parts,  # noted at the hand-over: the sheet has no column that says it is back
        note=row.note,
        is_ready=row.is_ready,
        token=token,
        now=max(at, loan.handed_over_at),
    )
