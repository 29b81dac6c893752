"""What the batch services share: problems gathered by field, who may write, and whether a moment can be true."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from django.core.exceptions import PermissionDenied, ValidationError
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.members.models import User
from inventory.batches.models import Batch
from inventory.batches.rules import CLOCK_SLACK, KEYED_IN_LATE, in_utc


class Problems:
    """Every problem of one write, by field, so that a person mends them all in one go."""

    def __init__(self) -> None:
        self._found: defaultdict[str, list[str]] = defaultdict(list)

    def add(self, field: str, message: str) -> None:
        self._found[field].append(message)

    def take(self, others: Problems) -> None:
        for field, messages in others._found.items():
            self._found[field].extend(messages)

    def __bool__(self) -> bool:
        return bool(self._found)

    def raise_if_any(self) -> None:
        """ValidationError with the messages by field."""
        if self._found:
            raise ValidationError(dict(self._found))


def writing_check(by: User, batch: Batch) -> None:
    """PermissionDenied for somebody who may not write in this batch's log."""
    if not by.has_perm("batches.add_batch") or not Batch.objects.changeable_by(by).filter(pk=batch.pk).exists():
        raise PermissionDenied


def stove_check(by: User, batch: Batch) -> None:
    """PermissionDenied for somebody who may not write down what was done at the stove with this batch."""
    if not by.has_perm("batches.add_batch") or not Batch.objects.worked_at_by(by).filter(pk=batch.pk).exists():
        raise PermissionDenied


def clock(moment: datetime) -> str:
    """A moment as the club's clocks show it, with the zone's own letters: an hour may come twice."""
    local = timezone.localtime(moment)
    return f"{date_format(local, 'j M Y, H:i')} {local.tzname()}"


def now_or(moment: datetime | None) -> datetime:
    """The moment given, in UTC, or this very one."""
    return timezone.now() if moment is None else in_utc(moment)


def utc_or_none(moment: datetime | None) -> datetime | None:
    return None if moment is None else in_utc(moment)


def moment_check(problems: Problems, field: str, moment: datetime, now: datetime) -> None:
    """A moment noted down (in UTC, as `now`) is neither ahead of the clock nor longer ago than we take it in."""
    if moment > now + CLOCK_SLACK:
        problems.add(field, _("%(time)s has not come yet. Give the time it happened.") % {"time": clock(moment)})
    elif moment < now - KEYED_IN_LATE:
        problems.add(
            field,
            _("%(time)s is more than %(days)s days ago: too long to be keyed in from memory. Check the date.")
            % {"time": clock(moment), "days": KEYED_IN_LATE.days},
        )
