"""What the jar services share: who keeps the ledger, figures and moments that can be true, tokens."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.jars.queries import KEEP
from inventory.jars.rules import MOST_AT_ONCE

NOTE_LENGTH = 200
# A phone's clock may run ahead of the server's.
CLOCK_SLACK = timedelta(minutes=2)
Row = TypeVar("Row", bound=models.Model)


class NotEnough(ValidationError):
    """There are fewer than were asked for. Said beside the count; `there` is how many there are."""

    def __init__(self, message: str, *, there: int) -> None:
        super().__init__({"count": message})
        self.there = there


def keeper_check(by: User) -> None:
    """PermissionDenied for somebody who does not keep the ledger."""
    if not by.has_perm(KEEP):
        raise PermissionDenied


def count_check(count: int, *, least: int = 1, field: str = "count") -> None:
    if not least <= count <= MOST_AT_ONCE:
        text = _("Give a number from %(least)s to %(most)s.")
        raise ValidationError({field: text % {"least": least, "most": MOST_AT_ONCE}})


def note_clean(note: str) -> str:
    plain = " ".join(note.split())
    if len(plain) > NOTE_LENGTH:
        raise ValidationError({"note": _("At most %(n)s characters, please.") % {"n": NOTE_LENGTH}})
    return plain


def moment_clean(at: datetime | None, now: datetime | None = None) -> datetime:
    """The moment given, or this very one; never one that has not come yet."""
    now = now or timezone.now()
    if at is None:
        return now
    if at > now + CLOCK_SLACK:
        raise ValidationError({"at": _("That time has not come yet. Give the time it happened.")})
    return at


def part_token(token: UUID, part: str) -> UUID:
    """A token for one part of what one form did: the same each time the form is sent."""
    return uuid5(token, part)


def write_once(row: Row, *, same: tuple[str, ...]) -> tuple[Row, bool]:
    """Write a row with a token, or find the one its token wrote before; True when it is new.

    ValidationError when the token was used for something else: `same` names the fields that must agree.
    """
    kind: Any = type(row)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        before: Row | None = kind._default_manager.filter(token=row.token).first()  # type: ignore[attr-defined]
        if before is None:
            raise
        if any(getattr(before, name) != getattr(row, name) for name in same):
            text = _("This form was used for something else already. Open the page again and start from there.")
            raise ValidationError(text) from None
        return before, False
    return row, True
