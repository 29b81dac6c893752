"""Shared by the services: problems by field, who may write, whether a moment can be true, the jar ledger."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.utils.translation import gettext as _

from club.core.clock import in_utc, zoned_text
from club.members.models import User
from inventory.batches.choices import EMPTIED, Container, Seal, made_for_cold
from inventory.batches.models import Batch, Jar
from inventory.batches.rules import CLOCK_SLACK, KEYED_IN_LATE
from inventory.jars.models import LidLot
from inventory.jars.services import (
    Fate,
    jars_fill,
    jars_settle,
    lids_use,
)


class Problems:
    """Every problem of one write, by field, so that a person mends them all in one go."""

    def __init__(self) -> None:
        self._found: defaultdict[str, list[str]] = defaultdict(list)

    def add(self, field: str, message: str) -> None:
        self._found[field].append(message)

    def of(self, field: str) -> list[str]:
        return list(self._found.get(field, ()))

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


def batch_lock(pk: int) -> None:
    """Make others who write of the batch's jars wait until this transaction ends (PostgreSQL).

    The row is the one that a look at the seals claims before it reads the jars. Without its key: notes and answers that
    only point to the batch are not held up, so two that did so and then ask for this wait for no one in a circle.
    """
    Batch.objects.select_for_update(no_key=True).only("pk").get(pk=pk)


def utc_or_none(moment: datetime | None) -> datetime | None:
    return None if moment is None else in_utc(moment)


def moment_check(
    problems: Problems, field: str, moment: datetime, now: datetime, *, keyed_in: datetime | None = None
) -> None:
    """A moment noted down (in UTC, as `now`) is neither ahead of the clock nor longer ago than we take it in: counted
    from when it was keyed in first, where that was not now."""
    if moment > now + CLOCK_SLACK:
        problems.add(field, _("%(time)s has not come yet. Give the time it happened.") % {"time": zoned_text(moment)})
    elif moment < (keyed_in or now) - KEYED_IN_LATE:
        problems.add(
            field,
            _("%(time)s is more than %(days)s days ago: too long to be keyed in from memory. Check the date.")
            % {"time": zoned_text(moment), "days": KEYED_IN_LATE.days},
        )


def sound_check(by: User, batch: Batch, *, field: str) -> None:
    """ValidationError where jars of this batch cannot be found sound by this person (a trigger says the same).

    A log that does not reach its tested process is no matter of opinion: it is corrected first, if it is wrong. And
    four eyes look at it: whoever wrote that correction does not say as well that the jars are good.
    """
    batch_lock(batch.pk)
    logs = list(batch.signed_logs.order_by("number"))
    if not any(log.finding for log in logs):
        return
    if logs[-1].finding:
        text = _("The log of this batch says: %(finding)s While that stands, its jars are not found sound.")
        raise ValidationError({field: text % {"finding": logs[-1].finding}})
    if logs[-1].signed_by_id == by.pk:
        text = _(
            "You corrected this log: that its jars are sound is for another instructor, keeper or organiser to say."
        )
        raise ValidationError({field: text})


# What a batch's log does to the jar ledger and to the lids on hand; see inventory.jars for how it is kept.


def fate_of(seal: str, disposal: str) -> Fate:
    """What the ledger holds a jar to be, by its seal and what became of it."""
    if seal == Seal.BROKEN:
        return Fate.BROKEN
    if made_for_cold(seal, disposal):
        return Fate.FULL
    return Fate.EMPTIED if disposal in EMPTIED else Fate.FULL


def ledger_fill(*, by: User, batch: Batch, jars: Mapping[str, int], lid_lot: LidLot | None, at: datetime) -> None:
    """Empties of the kitchen become full of this lot, each under a lid of its lot. Once for each batch."""
    jars_fill(by=by, batch_id=batch.pk, kitchen=batch.kitchen, jars=jars, token=batch.token, at=at)
    if lid_lot is not None:
        lids_use(by=by, lot=lid_lot, count=sum(jars.values()), batch_id=batch.pk, token=batch.token, at=at)


def ledger_reprocess(*, by: User, batch: Batch, jars: int, lid_lot: LidLot, at: datetime) -> None:
    """A jar that is processed again takes another lid; it stays full, in the same kitchen."""
    token = uuid5(batch.token, "reprocessed")
    lids_use(by=by, lot=lid_lot, count=jars, batch_id=batch.pk, token=token, at=at)


def ledger_settle(
    *, by: User, batch: Batch, jars: Sequence[Jar], before: Mapping[int, Fate], token: UUID, at: datetime
) -> None:
    """Follow each jar from what it was (`before`, by jar number) to what it is now. The ledger counts no containers."""
    groups = Counter(
        (jar.size, jar.place_id, before[jar.number], fate_of(jar.seal, jar.disposal))
        for jar in jars
        if jar.size not in Container.values
    )
    places = {jar.place_id: jar.place for jar in jars}
    for (size, place, was, now_is), count in sorted(groups.items()):
        jars_settle(
            by=by,
            batch_id=batch.pk,
            kitchen=places[place],
            size=size,
            count=count,
            was=was,
            now_is=now_is,
            token=uuid5(token, f"{size} {place} {was} {now_is}"),
            at=at,
        )
