"""Calling jars back: a recall is opened, answered by whoever holds jars, and closed with a word on how it ended."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, form_reused, same_form
from club.core.jobs import one_by_one
from club.members.models import User
from inventory.batches.choices import Disposal, RecallKind, RecallOutcome
from inventory.batches.models import (
    ANSWER_NOTE_LENGTH,
    RECALL_REASON_LENGTH,
    Batch,
    Jar,
    JarQuerySet,
    Recall,
    RecallAnswer,
)
from inventory.batches.services.common import fate_of, ledger_empty, ledger_settle
from inventory.batches.tracing import Holding, affected_jars, holdings, withdrawn_without_recall
from inventory.jars.models import LidLot
from inventory.jars.services import Fate
from recipes.models import Revision

MOST_JARS = 9_999  # a slip of the pen beyond
# A recall of a withdrawal has a token of its own making, so that two processes that see it open one recall.
WITHDRAWALS = UUID("6f0f3a52-5f0e-4b3c-9d1e-0d3b8a6c2a11")


def may_recall(by: User, batch: Batch | None = None) -> bool:
    """Those who may trace may call back anything; who made a batch, or whose kitchen it is, that batch."""
    if by.has_perm("batches.trace_batch"):
        return True
    return batch is not None and Batch.objects.cared_for_by(by).filter(pk=batch.pk).exists()


def to_answer_for(by: User, rows: Iterable[Holding]) -> list[Holding]:
    """The holdings that `by` may answer for: their own, and for those who may trace also those of former members."""
    runs = may_recall(by)
    return [one for one in rows if by.pk in one.people or (runs and one.is_left_alone)]


@transaction.atomic
def recall_open(
    *,
    by: User,
    reason: str,
    token: UUID,
    revision: Revision | None = None,
    lid_lot: LidLot | None = None,
    batch: Batch | None = None,
    now: datetime | None = None,
) -> Recall:
    """Call back the jars of just one subject: a numbered revision, a lid lot or a batch.

    The same `token` again finds the recall it opened. ValidationError where the subject is called back already, or
    a word is missing; PermissionDenied for somebody who may not.
    """
    subjects = {RecallKind.REVISION: revision, RecallKind.LID_LOT: lid_lot, RecallKind.BATCH: batch}
    named = [kind for kind, subject in subjects.items() if subject is not None]
    if len(named) != 1:
        raise ValidationError(_("Name one thing to call back: a recipe's revision, a lid lot or a batch."))
    if not may_recall(by, batch):
        raise PermissionDenied
    if revision is not None and revision.number is None:
        raise ValidationError(_("A draft has no jars to call back."))
    fields = {"revision": revision, "lid_lot": lid_lot, "batch": batch}
    reason = _reason_clean(reason)
    return _open_once(named[0], fields, reason, by, token, now_or(now))


def _reason_clean(reason: str, field: str = "reason") -> str:
    plain = reason.strip()
    if not plain:
        raise ValidationError({field: _("Say it in a sentence or two; everybody whom it reaches will read it.")})
    if len(plain) > RECALL_REASON_LENGTH:
        raise ValidationError({field: _("At most %(n)s characters, please.") % {"n": RECALL_REASON_LENGTH}})
    return plain


def _open_once(
    kind: RecallKind, fields: Mapping[str, object], reason: str, by: User | None, token: UUID, now: datetime
) -> Recall:
    before = Recall.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, kind=kind, opened_by_id=by.pk if by else None)
    try:
        with transaction.atomic():
            return Recall.objects.create(
                kind=kind, reason=reason, opened_by=by, opened_at=now, token=token, **dict(fields)
            )
    except IntegrityError:  # somebody was first: with this very form, or with another for the same subject
        before = Recall.objects.filter(token=token).first()
        if before is None:
            raise ValidationError(_("This is called back already. Look at the open recall.")) from None
        return same_form(before, kind=kind, opened_by_id=by.pk if by else None)


def recalls_follow_withdrawals(now: datetime) -> int:
    """Open a recall for every withdrawn revision with jars that none has asked about; returns how many were opened.

    Nothing hangs on the withdrawal being seen: this is asked again and again, and opens each just once. Each is
    written by itself, so that one that fails does not keep the others back; its error is raised at last.
    """
    return len(one_by_one(withdrawn_without_recall(), lambda revision: _follow(revision, now)))


def _follow(revision: Revision, now: datetime) -> Recall:
    fields = {"revision": revision, "lid_lot": None, "batch": None}
    before: int = revision.recalls_before  # type: ignore[attr-defined]
    token = uuid5(WITHDRAWALS, f"{revision.pk} {before}")
    reason = revision.withdrawn_reason[:RECALL_REASON_LENGTH]
    return _open_once(RecallKind.REVISION, fields, reason, revision.withdrawn_by, token, now)


@transaction.atomic
def recall_answer(
    *,
    by: User,
    recall: Recall,
    batch: Batch,
    outcome: str,
    token: UUID,
    where: str = "",
    jars: int = 0,
    note: str = "",
    now: datetime | None = None,
) -> RecallAnswer:
    """Write down what became of the jars of `batch` in one place: set apart, thrown away, or none were left.

    `where` is the place of the holding; it may be left out by whoever has one only. Only whom the recall reaches may
    answer (PermissionDenied); where nobody is left in the club to do so, those who may trace note what they were told.
    One may answer again when one does more. Thrown away, the jars of that place leave the shelf, and the ledger
    follows. The same `token` again changes nothing.
    """
    now = now_or(now)
    before = RecallAnswer.objects.filter(token=token).first()
    if before is not None:
        if where not in ("", before.where):
            raise form_reused()
        return same_form(before, recall_id=recall.pk, batch_id=batch.pk, person_id=by.pk)
    holding = _holding(by, recall, batch, where)
    _answer_check(outcome, jars, note)
    if not Recall.objects.open().filter(pk=recall.pk).update(closed_at=None):
        raise AlreadyDone(_("This recall was closed meanwhile; there is nothing to answer any more."))
    answer = RecallAnswer.objects.create(
        recall=recall,
        batch=batch,
        person=by,
        where=holding.where,
        outcome=outcome,
        jars=jars,
        note=" ".join(note.split()),
        answered_at=now,
        token=token,
    )
    if outcome == RecallOutcome.DISCARDED:
        _discard(by, batch, _jars_in_hand(affected_jars(recall), batch, holding.where), jars, token, now)
    return answer


def _holding(by: User, recall: Recall, batch: Batch, where: str) -> Holding:
    """The one holding that is answered for. Between several nobody but the person who answers can choose."""
    theirs = [one for one in to_answer_for(by, holdings([recall])) if one.batch_id == batch.pk]
    named = [one for one in theirs if where in ("", one.where)]
    if not named:
        raise PermissionDenied
    if len(named) > 1:
        raise ValidationError(_("You hold jars of this lot in more than one place: answer for each by itself."))
    return named[0]


def _answer_check(outcome: str, jars: int, note: str) -> None:
    problems = {}
    if outcome not in RecallOutcome.values:
        problems["outcome"] = _("Say what you did with the jars.")
    elif outcome == RecallOutcome.NONE_LEFT and jars:
        problems["jars"] = _("None were left: leave the number empty, or say what you did with them.")
    elif outcome != RecallOutcome.NONE_LEFT and not 1 <= jars <= MOST_JARS:
        problems["jars"] = _("Say how many jars it were.")
    if len(note) > ANSWER_NOTE_LENGTH:
        problems["note"] = _("At most %(n)s characters, please.") % {"n": ANSWER_NOTE_LENGTH}
    if problems:
        raise ValidationError(problems)


def _jars_in_hand(jars: JarQuerySet, batch: Batch, where: str) -> list[Jar]:
    """The jars of the batch that stand in that place, by number; whoever made them speaks of any not handed on."""
    rows = jars.filter(batch=batch).select_related("place", "held_by").order_by("number")
    if where == f"maker {batch.made_by_id}":
        return [jar for jar in rows if jar.held_by_id is None]
    return [jar for jar in rows if _hand(jar) == where]


def _hand(jar: Jar) -> str:
    return f"person {jar.held_by_id}" if jar.held_by_id else f"kitchen {jar.place_id}"


def _discard(by: User, batch: Batch, jars: list[Jar], count: int, token: UUID, at: datetime) -> None:
    """Each jar by an update that names what it was. Jars still to be looked at stay so: their look is not over."""
    before: dict[int, Fate] = {}
    at_home: list[Jar] = []
    handed: list[Jar] = []
    for jar in [jar for jar in jars if jar.disposal][:count]:
        was, jar.disposal = jar.disposal, Disposal.DISCARD.value
        if Jar.objects.filter(pk=jar.pk, disposal=was).update(disposal=jar.disposal):
            before[jar.number] = fate_of(jar.seal, was)
            (handed if jar.held_by_id else at_home).append(jar)
    ledger_settle(by=by, batch=batch, jars=at_home, before=before, token=uuid5(token, "discarded"), at=at)
    ledger_empty(by=by, batch=batch, jars=handed, token=uuid5(token, "discarded"), at=at)


@transaction.atomic
def recall_close(
    *, by: User, recall: Recall, note: str, is_cleared: bool = False, now: datetime | None = None
) -> Recall:
    """End a recall. `is_cleared`: the jars were found sound and may be eaten and handed on; `note` says why.

    AlreadyDone where it was closed before. A withdrawn revision stays withdrawn, whatever is said here.
    """
    if not may_recall(by):
        raise PermissionDenied
    note = _reason_clean(note, "closed_note")
    ended = Recall.objects.open().filter(pk=recall.pk)
    if ended.update(closed_at=now_or(now), closed_by=by, closed_note=note, is_cleared=is_cleared) != 1:
        raise AlreadyDone(_("This recall was closed before."))
    return Recall.objects.for_list().get(pk=recall.pk)
