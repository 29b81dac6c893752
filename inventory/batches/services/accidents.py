"""After an accident: jars set aside until somebody looked into it, opened to be processed again, or thrown away.

What may be done is the published answer for the batch's food and hours (`accidents.answer_for`), asked again here.
Jars that went to other people are called back instead (`recall_open`).
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, same_form
from club.members.models import User
from inventory.batches.accidents import AnySituation, KeptSituation, Situation, answer_for_batch
from inventory.batches.choices import BatchState, Disposal, Seal
from inventory.batches.models import ANSWER_NOTE_LENGTH, Batch, Jar, JarQuerySet, JarsSetAside, OfferedJar
from inventory.batches.services.common import batch_lock, fate_of, ledger_settle, sound_check, writing_check
from inventory.jars.services import Fate
from recipes.presentation import in_words

# Jars that can be opened for a second process: in the kitchen still, and not eaten or thrown away meanwhile.
_OPENABLE = ((Seal.UNCHECKED, ""), (Seal.SEALED, ""), (Seal.UNSEALED, ""), (Seal.SEALED, Disposal.SHELF))


def _named(batch: Batch, numbers: Collection[int]) -> JarQuerySet:
    """The jars of these numbers, thrown away or not. ValidationError beside `jars` where one is not in the kitchen.

    It waits for whoever writes a look at the same jars, and makes them wait.
    """
    batch_lock(batch.pk)
    if not numbers:
        raise ValidationError({"jars": _("Mark at least one jar.")})
    here = Jar.objects.filter(batch=batch, held_by=None).exclude(disposal=Disposal.RETURNED)
    unknown = sorted(set(numbers) - set(here.values_list("number", flat=True)))
    if unknown:
        text = _("These are not in the kitchen: jar %(n)s. What others have is called back.")
        raise ValidationError({"jars": text % {"n": ", ".join(str(number) for number in unknown)}})
    return here.filter(number__in=numbers)


def _situation(value: str) -> AnySituation:
    try:
        return KeptSituation(value) if value in list(KeptSituation) else Situation(value)
    except ValueError:
        raise ValidationError({"situation": _("Say what went wrong.")}) from None


@transaction.atomic
def jars_set_aside(
    *, by: User, batch: Batch, situation: str, jars: Collection[int], token: UUID, now: datetime | None = None
) -> JarsSetAside:
    """Put jars aside: nobody eats them or hands them on until it is settled. An offer of them ends.

    The same `token` again finds what it did. AlreadyDone where every one of them was set aside before.
    """
    writing_check(by, batch)
    before = JarsSetAside.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, batch_id=batch.pk, opened_by_id=by.pk)
    named = _named(batch, jars).kept().filter(set_aside=None)
    made = JarsSetAside.objects.create(
        batch=batch, situation=_situation(situation), opened_by=by, opened_at=now_or(now), token=token
    )
    # The error undoes the row, which would have no jars to stand for.
    if not named.update(set_aside=made):
        raise AlreadyDone(_("These jars were set aside or thrown away before."))
    OfferedJar.objects.filter(jar__set_aside=made, is_live=True).update(is_live=False)
    return made


@transaction.atomic
def set_aside_clear(*, by: User, set_aside: JarsSetAside, note: str, now: datetime | None = None) -> JarsSetAside:
    """Jars were found sound and may be eaten and handed on again; `note` says how that was found out.

    For those who may trace: not for a member alone, whose jars they may be. AlreadyDone where it was settled before.
    Where a corrected log set them aside, that has to be put right first, and not by the same person (`sound_check`).
    """
    if not by.has_perm("batches.trace_batch"):
        raise PermissionDenied
    note = " ".join(note.split())
    if not note:
        raise ValidationError({"note": _("Say in a few words how it was found out.")})
    if len(note) > ANSWER_NOTE_LENGTH:
        raise ValidationError({"note": _("At most %(n)s characters, please.") % {"n": ANSWER_NOTE_LENGTH}})
    if set_aside.logs.exists():
        sound_check(by, set_aside.batch, field="note")
    open_one = JarsSetAside.objects.open().filter(pk=set_aside.pk)
    if not open_one.update(settled_at=now_or(now), settled_by=by, is_sound=True, note=note):
        raise AlreadyDone(_("This was settled before."))
    Jar.objects.filter(set_aside=set_aside).update(set_aside=None)
    return JarsSetAside.objects.get(pk=set_aside.pk)


@transaction.atomic
def jars_open_again(
    *, by: User, batch: Batch, situation: str, jars: Collection[int], now: datetime | None = None
) -> int:
    """Jars are opened to go through the canner once more; they wait to be reprocessed. Returns how many.

    Only where the published answer says so at this hour, and a second process is tested for this recipe: else
    ValidationError. Pressed twice it says AlreadyDone. The log of the reprocess is `jars_reprocess`; it holds to the
    hour by which the jars have to be in the canner again.
    """
    writing_check(by, batch)
    now = now_or(now)
    batch = Batch.objects.select_related("revision__recipe").get(pk=batch.pk)
    what, out_at = _situation(situation), batch.jars_out_at
    answer = answer_for_batch(batch, what, now)
    if what is Situation.UNSEALED or not answer.may_reprocess or answer.until_hours is None or out_at is None:
        raise ValidationError(_("These jars are not processed again after this. Read the answer anew."))
    refusal = batch.reprocess_refusal(now)
    if refusal is not None:
        raise ValidationError(in_words(refusal))
    named = _named(batch, jars)
    opened = 0
    for seal, disposal in _OPENABLE:
        found = named.filter(seal=seal, disposal=disposal)
        # What is put right in the published way is set aside no longer.
        opened += found.update(seal=Seal.OPENED, disposal=Disposal.REPROCESS, set_aside=None)
    if not opened:
        raise AlreadyDone(_("These jars wait to be reprocessed already, or were put away."))
    OfferedJar.objects.filter(jar__in=named, is_live=True).update(is_live=False)
    by_hour = out_at + timedelta(hours=answer.until_hours)
    Batch.objects.filter(pk=batch.pk, reprocessed_out_at=None).update(reprocess_by=by_hour)
    _settle_where_none_is_left(by, batch, now)
    return opened


@transaction.atomic
def jars_throw_away(
    *,
    by: User,
    batch: Batch,
    jars: Collection[int],
    token: UUID,
    came_unsealed: bool = False,
    now: datetime | None = None,
) -> int:
    """Jars in the kitchen are thrown away, whatever their seal; the ledger follows. Returns how many.

    Of those that `came_unsealed` the seal that was found good before counts as failed, for their lot of lids as well.
    Pressed twice it says AlreadyDone. What was set aside and is all thrown away is settled.
    """
    writing_check(by, batch)
    now = now_or(now)
    before: dict[int, Fate] = {}
    gone: list[Jar] = []
    for jar in _named(batch, jars).kept().select_related("place").order_by("number"):
        fate, was, jar.disposal = fate_of(jar.seal, jar.disposal), jar.disposal, Disposal.DISCARD.value
        if came_unsealed and jar.seal == Seal.SEALED:
            jar.seal = Seal.UNSEALED.value
        changes = {"disposal": jar.disposal, "seal": jar.seal}
        if Jar.objects.filter(pk=jar.pk, disposal=was, held_by=None).update(**changes):
            before[jar.number] = fate
            gone.append(jar)
    if not gone:
        raise AlreadyDone(_("These jars were thrown away before."))
    OfferedJar.objects.filter(jar__in=gone, is_live=True).update(is_live=False)
    ledger_settle(by=by, batch=batch, jars=gone, before=before, token=uuid5(token, "accident"), at=now)
    _settle_where_none_is_left(by, batch, now)
    return len(gone)


def _settle_where_none_is_left(by: User, batch: Batch, now: datetime) -> None:
    """No jar left to look at: the look at the seals is over. No jar left of a setting aside: it is settled."""
    if not Jar.objects.filter(batch=batch).to_look_at().exists():
        Batch.objects.filter(pk=batch.pk, state=BatchState.OUT).update(state=BatchState.CHECKED, checked_at=now)
    held = Jar.objects.kept().filter(batch=batch, set_aside__isnull=False).values("set_aside")
    JarsSetAside.objects.open().filter(batch=batch).exclude(pk__in=held).update(settled_at=now, settled_by=by)
