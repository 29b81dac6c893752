"""Calling jars back: a recall is opened, answered by whoever holds jars, and closed with a word on how it ended."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Exists, F, OuterRef
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, form_reused, same_form
from club.core.jobs import one_by_one
from club.members.models import Kitchen, User
from inventory.batches.choices import BatchState, ClaimState, Disposal, RecallKind, RecallOutcome
from inventory.batches.models import (
    ANSWER_NOTE_LENGTH,
    RECALL_REASON_LENGTH,
    RECALL_SUBJECTS,
    Batch,
    Jar,
    JarsSetAside,
    OfferedJar,
    Recall,
    RecallAnswer,
)
from inventory.batches.services.common import batch_lock, fate_of, sound_check
from inventory.batches.tracing import (
    Holding,
    affected_jars,
    holdings,
    own_places,
    reach_of_recall,
    recalls_of,
    went_by,
    withdrawn_without_recall,
)
from inventory.equipment.choices import Verdict
from inventory.equipment.models import Thing
from inventory.fruit.models import FreezerItem, Offer
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import Balance, LidLot, Place, SupplyLot
from inventory.jars.services import Fate, Shelf, count_there, kitchen_place, movement_post, person_place, store_place
from recipes.models import Revision

MOST_JARS = 9_999  # a slip of the pen beyond
# A recall of a withdrawal has a token of its own making, so that two processes that see it open one recall.
WITHDRAWALS = UUID("6f0f3a52-5f0e-4b3c-9d1e-0d3b8a6c2a11")


def may_recall(by: User, batch: Batch | None = None, canner: Thing | None = None) -> bool:
    """Those who may trace may call back anything; who made a batch, or whose kitchen it is, that batch; the people of
    a household what was processed in its own canner."""
    if by.has_perm("batches.trace_batch"):
        return True
    if canner is not None:
        return Thing.everything.owned_by(by).filter(pk=canner.pk).exists()
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
    supply_lot: SupplyLot | None = None,
    freezer_item: FreezerItem | None = None,
    fruit_offer: Offer | None = None,
    canner: Thing | None = None,
    canner_tested_on: date | None = None,
    seen: str | None = None,
    now: datetime | None = None,
) -> Recall:
    """Call back the jars of one subject: a numbered revision, a lid lot, a batch, the lot of an ingredient, a canner.

    Of a canner what was processed under pressure in it: where its dial gauge failed a test, or may have been wrong,
    whatever went by the last good test before; `canner_tested_on` says which good test is meant, by default `went_by`.

    `seen` is what the person read of its reach and agreed to; ValidationError where jars came or went since. The same
    `token` again finds the recall it opened. ValidationError too where the subject is called back already, or a word is
    missing; PermissionDenied for somebody who may not.
    """
    fields: dict[str, object] = {
        "revision": revision,
        "lid_lot": lid_lot,
        "batch": batch,
        "supply_lot": supply_lot,
        "freezer_item": freezer_item,
        "fruit_offer": fruit_offer,
        "canner": canner,
    }
    named = [kind for kind, subject in RECALL_SUBJECTS.items() if fields[subject] is not None]
    if len(named) != 1:
        raise ValidationError(_("Name one thing to call back: a recipe's revision, a batch, a lot or a canner."))
    if not may_recall(by, batch, canner):
        raise PermissionDenied
    if revision is not None and revision.number is None:
        raise ValidationError(_("A draft has no jars to call back."))
    if canner is not None:
        if canner_tested_on and not canner.tests.filter(tested_on=canner_tested_on, verdict=Verdict.PASSED).exists():
            raise ValidationError({"code": _("Its gauge passed no test on that day.")})
        fields["canner_tested_on"] = canner_tested_on or went_by(canner)
    reason = _reason_clean(reason)
    if seen is not None and not Recall.objects.filter(token=token).exists():
        unopened = Recall(kind=named[0], **fields)
        if seen != reach_of_recall(unopened, holdings([unopened])).words:
            text = _("Jars came or went since you opened this page: look again at what is called back, and tick it.")
            raise ValidationError({"confirmed": text})
    return open_once(RecallKind(named[0]), fields, reason, by, token, now_or(now))


def _reason_clean(reason: str, field: str = "reason") -> str:
    plain = reason.strip()
    if not plain:
        raise ValidationError({field: _("Say it in a sentence or two; everybody whom it reaches will read it.")})
    if len(plain) > RECALL_REASON_LENGTH:
        raise ValidationError({field: _("At most %(n)s characters, please.") % {"n": RECALL_REASON_LENGTH}})
    return plain


def open_once(
    kind: RecallKind, fields: Mapping[str, object], reason: str, by: User | None, token: UUID, now: datetime
) -> Recall:
    """The recall that this token opened, or opens now; ValidationError where another one of the subject is open."""
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
    return open_once(RecallKind.REVISION, fields, reason, revision.withdrawn_by, token, now)


# A withdrawal of the last minutes may still wait for the job above.
FOLLOWED_WITHIN = timedelta(hours=1)


def recalls_audit(now: datetime) -> list[str]:
    """A sentence for each recall that should be open and is not, and each jar that went to somebody in spite of one."""
    late = [one for one in withdrawn_without_recall() if one.withdrawn_at and one.withdrawn_at < now - FOLLOWED_WITHIN]
    rows = OfferedJar.objects.filter(jar__in=Jar.objects.recalled(), claim__state=ClaimState.HANDED)
    handed = rows.select_related("claim", "jar__batch__revision").defer("jar__batch__plan").order_by("pk")
    return [f"revision {one.pk}: withdrawn for safety, and no recall asks for its jars" for one in late] + [
        f"batch {one.jar.batch.lot_code}, jar {one.jar.number}: handed on after it was called back"
        for one in handed
        if one.claim and one.claim.settled_at and _was_called_back(one.jar, one.claim.settled_at)
    ]


def _was_called_back(jar: Jar, at: datetime) -> bool:
    recalls = (one for one in recalls_of(jar.batch) if one.lid_lot_id in (None, jar.lid_lot_id))
    return any(one.opened_at < at for one in recalls)


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
    """Write down what became of the jars of `batch` in one place, and book it to those jars.

    `where` is the place of the holding; it may be left out by whoever has one only. Only whom the recall reaches may
    answer (PermissionDenied); where nobody is left in the club to do so, those who may trace note what they were told.
    One may answer again when one does more. What was thrown away, eaten or brought back leaves the place, and the
    ledger follows; what was set apart stays, and says so. The same `token` again changes nothing. AlreadyDone where
    the recall was closed, or somebody of the place spoke for the last of its jars.
    """
    now = now_or(now)
    before = RecallAnswer.objects.filter(token=token).first()
    if before is not None:
        if where not in ("", before.where):
            raise form_reused()
        return same_form(before, recall_id=recall.pk, batch_id=batch.pk, person_id=by.pk)
    holding = _holding(by, recall, batch, where)
    _answer_check(outcome, jars, note, holding.where)
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
    _book(answer, now)
    return answer


def _holding(by: User, recall: Recall, batch: Batch, where: str) -> Holding:
    """The one holding that is answered for. Between several nobody but the person who answers can choose."""
    theirs = [one for one in to_answer_for(by, holdings([recall])) if one.batch_id == batch.pk]
    named = [one for one in theirs if where in ("", one.where)]
    if not named:
        told = RecallAnswer.objects.filter(recall=recall, batch=batch, where__in=own_places(by))
        if told.filter(where=where or F("where")).exists():
            raise AlreadyDone(_("Somebody answered for these jars already, and none of them is left there."))
        raise PermissionDenied
    if len(named) > 1:
        raise ValidationError(_("You hold jars of this lot in more than one place: answer for each by itself."))
    return named[0]


def _answer_check(outcome: str, jars: int, note: str, where: str) -> None:
    problems = {}
    if outcome not in RecallOutcome.values:
        problems["outcome"] = _("Say what you did with the jars.")
    elif outcome == RecallOutcome.NONE_LEFT and jars:
        problems["jars"] = _("None were left: leave the number empty, or say what you did with them.")
    elif outcome != RecallOutcome.NONE_LEFT and not 1 <= jars <= MOST_JARS:
        problems["jars"] = _("Say how many jars it were.")
    if outcome == RecallOutcome.RETURNED and where == "store":
        problems["outcome"] = _("They stand in the store already. Say what became of them there.")
    if where.startswith("gave ") and not note.strip():
        problems["note"] = _("Say to whom you gave them, and whether you reached them.")
    if len(note) > ANSWER_NOTE_LENGTH:
        problems["note"] = _("At most %(n)s characters, please.") % {"n": ANSWER_NOTE_LENGTH}
    if problems:
        raise ValidationError(problems)


# What an answer does to the jars it is about, and to the ledger.
#
# A batch's own rows say which jars stand where. The ledger follows what was moved by hand, so it may have more jars in
# one place than there are rows, and then fewer in another. A place that answers speaks for as many as the ledger leaves
# it: jars that stand elsewhere, in the club or out of it, stay called back until that place has answered.

BECOMES = {
    RecallOutcome.DISCARDED: Disposal.DISCARD.value,
    RecallOutcome.EATEN: Disposal.GONE.value,
    RecallOutcome.NONE_LEFT: Disposal.GONE.value,
    RecallOutcome.RETURNED: Disposal.RETURNED.value,
}


def _book(answer: RecallAnswer, at: datetime) -> None:
    """To the jars first, then to the ledger. What went out of the club is in no place here: nothing is booked."""
    batch_lock(answer.batch_id)
    if answer.where.startswith("gave ") or (answer.outcome == RecallOutcome.NONE_LEFT and _may_be_elsewhere(answer)):
        return
    books = _Books.of(answer)
    meant = set(affected_jars(answer.recall).filter(batch=answer.batch).values_list("pk", flat=True))
    mine = [jar for jar in books.own_rows() if jar.pk in meant]
    if answer.outcome == RecallOutcome.SET_APART:
        _say_of([jar for jar in mine if jar.answer_id is None][: answer.jars], answer)
        return
    # Thrown away or brought back was what had been set apart before; eaten was what had not been.
    was_eaten = answer.outcome == RecallOutcome.EATEN
    mine.sort(key=lambda jar: ((jar.answer_id is None) is not was_eaten, jar.number))
    gone = mine if answer.outcome == RecallOutcome.NONE_LEFT else mine[: answer.jars]
    leave = Counter(jar.size for jar in gone if _is_full(jar))
    by_hand = books.came_by_hand()
    if answer.outcome != RecallOutcome.NONE_LEFT:
        by_hand = _first(by_hand, answer.jars - len(gone))
    gone += [jar for jar in books.rows_left_behind(by_hand) if jar.pk in meant]
    _say_of(gone, answer)
    for size, count in sorted((leave + by_hand).items()):
        _ledger_follow(answer, size, count, at)
    OfferedJar.objects.filter(jar__in=gone, is_live=True).update(is_live=False)
    left = Jar.objects.kept().filter(set_aside=OuterRef("pk"))
    set_aside = JarsSetAside.objects.open().filter(~Exists(left), batch=answer.batch)
    set_aside.update(settled_at=at, settled_by=answer.person)
    if not Jar.objects.filter(batch=answer.batch).to_look_at().exists():
        Batch.objects.filter(pk=answer.batch_id, state=BatchState.OUT).update(state=BatchState.CHECKED, checked_at=at)


@dataclass(frozen=True)
class _Books:
    """The rows of a batch that are there still, and what the ledger has of its full jars, by place and size.

    `place` is the one that answers, as `_hand` names it; `booked` names what left the club "given".
    """

    place: str
    rows: tuple[Jar, ...]
    booked: Counter[tuple[str, str]]

    @classmethod
    def of(cls, answer: RecallAnswer) -> _Books:
        place = answer.where
        if place.startswith("maker "):  # who made them speaks of any that was not handed on
            place = f"kitchen {answer.batch.kitchen_id}"
        rows = Jar.objects.kept().filter(batch=answer.batch).order_by("number")
        full = Balance.objects.filter(batch=answer.batch, state=JarState.FULL, count__gt=0).select_related("place")
        booked = Counter[tuple[str, str]]()
        for balance in full:
            booked[_place_key(balance.place), balance.size] += balance.count
        return cls(place, tuple(rows), booked)

    @cached_property
    def _full(self) -> Counter[tuple[str, str]]:
        return Counter((_hand(jar), jar.size) for jar in self.rows if _is_full(jar))

    def own_rows(self) -> list[Jar]:
        """The rows of the place, less those of jars that stand elsewhere by the ledger; by number."""
        over = self.booked - self._full
        away = Counter[str]()
        for (place, size), count in over.items():
            if place != self.place:
                away[size] += count
        spare = {size: min(away[size], self._full[self.place, size] - self.booked[self.place, size]) for size in away}
        own: list[Jar] = []
        for jar in reversed(self.rows):
            if _hand(jar) != self.place:
                continue
            if _is_full(jar) and spare.get(jar.size, 0) > 0 and jar.answer_id is None:
                spare[jar.size] -= 1
            else:
                own.insert(0, jar)
        return own

    def came_by_hand(self) -> Counter[str]:
        """By size, the full jars that the ledger has in this place beyond the rows."""
        over = self.booked - self._full
        return Counter({size: count for (place, size), count in over.items() if place == self.place})

    def rows_left_behind(self, wanted: Counter[str]) -> list[Jar]:
        """As many rows of other places that have more of them than the ledger has jars there: moved from there."""
        spare, wanted, found = self._full - self.booked, Counter(wanted), []
        for jar in self.rows:
            key = _hand(jar), jar.size
            if key[0] != self.place and _is_full(jar) and wanted[jar.size] > 0 and spare[key] > 0:
                wanted[jar.size] -= 1
                spare[key] -= 1
                found.append(jar)
        return found


def _is_full(jar: Jar) -> bool:
    """As the ledger counts it."""
    return fate_of(jar.seal, jar.disposal) is Fate.FULL


def _may_be_elsewhere(answer: RecallAnswer) -> bool:
    """Jars from a hall may have gone home with who made them: "none here" says nothing of those until both said so."""
    kitchen, maker = f"kitchen {answer.batch.kitchen_id}", f"maker {answer.batch.made_by_id}"
    if answer.where not in (kitchen, maker):
        return False
    if answer.batch.kitchen.people.filter(pk=answer.batch.made_by_id).exists():
        return False
    other = maker if answer.where == kitchen else kitchen
    told = RecallAnswer.objects.filter(recall=answer.recall, batch=answer.batch, where=other)
    return not told.exists()


def _hand(jar: Jar) -> str:
    if jar.disposal == Disposal.RETURNED:
        return "store"
    return f"person {jar.held_by_id}" if jar.held_by_id else f"kitchen {jar.place_id}"


def _say_of(jars: Sequence[Jar], answer: RecallAnswer) -> None:
    """Each jar by an update that names what it was, so that nobody else's answer is written over."""
    for jar in jars:
        becomes = BECOMES.get(RecallOutcome(answer.outcome), jar.disposal)
        Jar.objects.filter(pk=jar.pk, disposal=jar.disposal, answer=jar.answer_id).update(
            answer=answer, disposal=becomes
        )


def _place(answer: RecallAnswer) -> Place:
    """Where the ledger has the jars of that place."""
    kind, _space, key = answer.where.partition(" ")
    if kind == "store":
        return store_place()
    if kind == "person":
        return person_place(User.objects.get(pk=int(key)))
    return kitchen_place(answer.batch.kitchen if kind == "maker" else Kitchen.objects.get(pk=int(key)))


def _first(counted: Counter[str], most: int) -> Counter[str]:
    kept: Counter[str] = Counter()
    for size, count in sorted(counted.items()):
        kept[size] = min(count, max(0, most - kept.total()))
    return +kept


def _place_key(place: Place) -> str:
    if place.kind == PlaceKind.STORE:
        return "store"
    if place.kind == PlaceKind.GIVEN_AWAY:
        return "given"
    return f"person {place.person_id}" if place.person_id else f"kitchen {place.kitchen_id}"


def _ledger_follow(answer: RecallAnswer, size: str, count: int, at: datetime) -> None:
    """As many full jars as the ledger knows there are empty, or stand in the store."""
    place = _place(answer)
    full = Shelf(place, JarState.FULL, answer.batch_id)
    returned = answer.outcome == RecallOutcome.RETURNED
    if count := min(count, count_there(full, size)):
        movement_post(
            by=answer.person,
            size=size,
            count=count,
            source=full,
            target=Shelf(store_place(), JarState.FULL, answer.batch_id) if returned else Shelf(place, JarState.EMPTY),
            reason=Reason.MOVED if returned else Reason.EMPTIED,
            token=uuid5(answer.token, f"called back {size}"),
            at=at,
            note=_("called back"),
        )


@transaction.atomic
def recall_close(
    *, by: User, recall: Recall, note: str, is_cleared: bool = False, now: datetime | None = None
) -> Recall:
    """End a recall. `is_cleared`: the jars were found sound and may be eaten and handed on; `note` says why.

    AlreadyDone where it was closed before. A withdrawn revision stays withdrawn, whatever is said here. A batch whose
    corrected log has a finding is not found sound, nor by whoever corrected it (`sound_check`).
    """
    if not may_recall(by):
        raise PermissionDenied
    note = _reason_clean(note, "closed_note")
    if is_cleared and recall.batch is not None:
        sound_check(by, recall.batch, field="is_cleared")
    ended = Recall.objects.open().filter(pk=recall.pk)
    if ended.update(closed_at=now_or(now), closed_by=by, closed_note=note, is_cleared=is_cleared) != 1:
        raise AlreadyDone(_("This recall was closed before."))
    return Recall.objects.for_list().get(pk=recall.pk)
