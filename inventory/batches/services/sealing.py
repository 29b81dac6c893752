"""Looking at the seals, and what becomes of the jars that did not seal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.errors import AlreadyDone
from club.members.models import User
from inventory.batches.models import Batch, BatchState, Disposal, Jar, Seal, SealCheck
from inventory.batches.needs import reprocess_refusal
from inventory.batches.queries import JarQuerySet
from inventory.batches.recalls import is_called_back
from inventory.batches.rules import Phase, phase, seal_window
from inventory.batches.services.common import (
    Problems,
    clock,
    moment_check,
    now_or,
    utc_or_none,
    writing_check,
)
from inventory.batches.services.ledger import fate_of, ledger_settle
from inventory.batches.words import FINDINGS, FOR_UNSEALED
from recipes.engine.terms import Refusal

NOTE_LENGTH = 300


@transaction.atomic
def seals_record(
    *,
    by: User,
    batch: Batch,
    token: UUID,
    results: Mapping[int, str],
    disposals: Mapping[int, str] | None = None,
    checked_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> SealCheck:
    """Write down one look at every jar that still wants one; jar numbers are the keys.

    1. The batch is claimed by a conditional update. Whoever comes second finds her own look by its token, or learns
       that somebody else recorded the seals (AlreadyDone).
    2. Every jar needs a result, and after 12 hours every unsealed jar a disposal: else ValidationError with the
       fields `jar_<number>` and `disposal_<number>`.
    3. Before 12 hours it is an early look: the findings are kept, a broken jar is thrown away, and all the others
       stay to be looked at again. It settles nothing.
    4. After that the batch is checked. The jar ledger follows: what broke is gone, what is eaten soon is empty again.
    """
    now = now_or(now)
    looked_at = utc_or_none(checked_at) or now
    writing_check(by, batch)
    claimed = _claim(batch)
    before = SealCheck.objects.filter(token=token).first()
    if before is not None:
        return _same_look(before, by, batch)
    if not claimed:
        raise AlreadyDone(
            _("There are no seals to record here: they were recorded before, or the jars are not out yet.")
        )
    batch = Batch.objects.select_related("revision__recipe").get(pk=batch.pk)
    early = _time_check(batch, looked_at, now)
    jars = list(Jar.objects.filter(batch=batch).to_look_at().select_related("place").order_by("number"))
    refusal = reprocess_refusal(batch, looked_at)
    _findings_check(jars, results, disposals or {}, early, refusal, note)
    _kept_nowhere_check(batch, disposals or {})
    before_look = {jar.number: fate_of(jar.seal, jar.disposal) for jar in jars}
    for jar in jars:
        jar.seal = results[jar.number]
        jar.disposal = _disposal(jar, disposals or {}, early)
    Jar.objects.bulk_update(jars, ["seal", "disposal"])
    ledger_settle(by=by, batch=batch, jars=jars, before=before_look, token=token, at=looked_at)
    _settle(batch, looked_at, early)
    return _look(batch, by, token, looked_at, early, jars, note)


def _claim(batch: Batch) -> bool:
    """An update that changes nothing: it says whether the seals are open, and makes others wait (PostgreSQL)."""
    return Batch.objects.filter(pk=batch.pk, state=BatchState.OUT).update(state=BatchState.OUT) == 1


def _same_look(before: SealCheck, by: User, batch: Batch) -> SealCheck:
    if (before.batch_id, before.checked_by_id) != (batch.pk, by.pk):
        raise ValidationError(_("This form was used for another look already. Open the page again."))
    return before


def _time_check(batch: Batch, looked_at: datetime, now: datetime) -> bool:
    """True for an early look. ValidationError for a time that cannot be."""
    out = batch.last_out_at
    assert out is not None  # the claim saw state "out", which the database never holds without this time
    problems = Problems()
    moment_check(problems, "checked_at", looked_at, now)
    if looked_at < out:
        problems.add("checked_at", _("The jars came out at %(time)s; look after that.") % {"time": clock(out)})
    problems.raise_if_any()
    return phase(seal_window(out), looked_at) is Phase.COOLING


def _findings_check(
    jars: Sequence[Jar],
    results: Mapping[int, str],
    disposals: Mapping[int, str],
    early: bool,
    refusal: Refusal | None,
    note: str,
) -> None:
    problems = Problems()
    numbers = {jar.number for jar in jars}
    for number in sorted((set(results) | set(disposals)) - numbers):
        problems.add("__all__", _("There is no jar %(n)s to look at in this batch.") % {"n": number})
    for number in sorted(numbers):
        found = results.get(number)
        if found not in FINDINGS:
            problems.add(f"jar_{number}", _("Say what you found on jar %(n)s.") % {"n": number})
        else:
            _disposal_check(problems, number, found, disposals.get(number, ""), early, refusal)
    if len(note) > NOTE_LENGTH:
        problems.add("note", _("At most %(n)s characters, please.") % {"n": NOTE_LENGTH})
    problems.raise_if_any()


def _kept_nowhere_check(batch: Batch, disposals: Mapping[int, str]) -> None:
    """An unsealed jar that is called back is thrown away: it goes nowhere that food is kept."""
    if not is_called_back(batch):
        return
    problems = Problems()
    for number, disposal in disposals.items():
        if disposal in (Disposal.REFRIGERATE, Disposal.FREEZE):
            text = _("Jar %(n)s is called back, or its recipe was withdrawn: it is not kept. Throw it away, untasted.")
            problems.add(f"disposal_{number}", text % {"n": number})
    problems.raise_if_any()


def _disposal_check(
    problems: Problems, number: int, found: str, disposal: str, early: bool, refusal: Refusal | None
) -> None:
    field = f"disposal_{number}"
    if found != Seal.UNSEALED:
        if disposal and not (found == Seal.BROKEN and disposal == Disposal.DISCARD):
            problems.add(
                field, _("Only an unsealed jar is put away otherwise. Was jar %(n)s unsealed?") % {"n": number}
            )
    elif early:
        if disposal:
            text = _("Before 12 hours jar %(n)s may still seal: leave it, and say what was done after the next look.")
            problems.add(field, text % {"n": number})
    elif disposal not in FOR_UNSEALED:
        problems.add(field, _("Say what was done with jar %(n)s.") % {"n": number})
    elif disposal == Disposal.REPROCESS and refusal is not None:
        problems.add(field, refusal.message)


def _disposal(jar: Jar, disposals: Mapping[int, str], early: bool) -> str:
    if jar.seal == Seal.BROKEN:
        return Disposal.DISCARD
    if early:
        return ""
    return Disposal.SHELF if jar.seal == Seal.SEALED else disposals[jar.number]


def _settle(batch: Batch, looked_at: datetime, early: bool) -> None:
    """A settled look closes the seals. So does an early one that leaves no jar to look at again (all broken)."""
    if not early or not Jar.objects.filter(batch=batch).to_look_at().exists():
        Batch.objects.filter(pk=batch.pk).update(state=BatchState.CHECKED, checked_at=looked_at)


def _look(
    batch: Batch, by: User, token: UUID, looked_at: datetime, early: bool, jars: Sequence[Jar], note: str
) -> SealCheck:
    counted = Counter(jar.seal for jar in jars)
    return SealCheck.objects.create(
        batch=batch,
        token=token,
        checked_by=by,
        checked_at=looked_at,
        was_early=early,
        sealed=counted[Seal.SEALED],
        unsealed=counted[Seal.UNSEALED],
        broken=counted[Seal.BROKEN],
        note=note.strip(),
    )


@transaction.atomic
def jars_put_away(*, by: User, batch: Batch, disposals: Mapping[int, str], now: datetime | None = None) -> int:
    """Unsealed jars go elsewhere than was said: refrigerated, frozen or thrown away. Returns how many moved.

    ValidationError by `disposal_<number>`. Doing it twice moves nothing the second time.
    """
    writing_check(by, batch)
    allowed = {Disposal.REFRIGERATE, Disposal.FREEZE, Disposal.DISCARD}
    problems = Problems()
    unsealed = (
        Jar.objects.filter(batch=batch, seal=Seal.UNSEALED).exclude(disposal="").exclude(disposal=Disposal.DISCARD)
    )
    numbers = set(unsealed.values_list("number", flat=True))
    for number, disposal in disposals.items():
        if disposal not in allowed:
            problems.add(f"disposal_{number}", _("Choose refrigerator, freezer or thrown away."))
        elif number not in numbers:
            problems.add(
                f"disposal_{number}", _("Jar %(n)s is not an unsealed jar that is still kept.") % {"n": number}
            )
    problems.raise_if_any()
    _kept_nowhere_check(batch, disposals)
    return _move_away(by, batch, unsealed, disposals, now_or(now))


def _move_away(by: User, batch: Batch, unsealed: JarQuerySet, disposals: Mapping[int, str], at: datetime) -> int:
    """Each jar by an update that names what it was: two people who press at once settle it in the ledger once."""
    kept = unsealed.filter(number__in=disposals).select_related("place").order_by("number")
    before, moved = {}, []
    for jar in kept:
        was, jar.disposal = jar.disposal, disposals[jar.number]
        if was != jar.disposal and Jar.objects.filter(pk=jar.pk, disposal=was).update(disposal=jar.disposal):
            before[jar.number] = fate_of(jar.seal, was)
            moved.append(jar)
    ledger_settle(by=by, batch=batch, jars=moved, before=before, token=uuid4(), at=at)
    return len(moved)
