"""Surplus jars: offered, asked for, and handed over, with the jar ledger following.

A jar that is called back, or whose recipe was withdrawn, gets through none of these steps: each asks again, and the
hand-over asks in the very statement that gives the jar away.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Sum
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone, same_form
from club.members.models import User
from inventory.batches.choices import ClaimState, OfferState
from inventory.batches.models import OFFER_NOTE_LENGTH, Batch, Jar, JarClaim, JarOffer, OfferedJar
from inventory.jars.choices import JarState, Reason
from inventory.jars.models import Balance
from inventory.jars.services import Shelf, kitchen_place, movement_post, person_place


def jars_to_give(batch: Batch, size: str) -> list[Jar]:
    """The jars of this batch and size that can be offered now, by number: at most as many as the ledger knows full."""
    free = Jar.objects.filter(batch=batch, size=size, place=batch.kitchen_id).to_give()
    jars = list(free.exclude(offered__is_live=True).order_by("number"))
    offered = OfferedJar.objects.filter(jar__batch=batch, jar__size=size, is_live=True).count()
    return jars[: max(0, _full_there(batch, size) - offered)]


def _full_there(batch: Batch, size: str) -> int:
    rows = Balance.objects.filter(place__kitchen=batch.kitchen_id, batch=batch, size=size, state=JarState.FULL)
    return rows.aggregate(n=Sum("count"))["n"] or 0


@transaction.atomic
def jar_offer_make(
    *,
    by: User,
    batch: Batch,
    size: str,
    count: int,
    token: UUID,
    by_choice: bool = False,
    note: str = "",
    now: datetime | None = None,
) -> JarOffer:
    """Offer `count` sealed jars of one's own batch. The same `token` again finds the offer it made.

    PermissionDenied for somebody else's batch; ValidationError by field. Each jar is in one live offer at most: the
    database refuses the second.
    """
    if not by.has_perm("batches.add_batch") or not Batch.objects.cared_for_by(by).filter(pk=batch.pk).exists():
        raise PermissionDenied
    before = JarOffer.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, giver_id=by.pk, batch_id=batch.pk)
    note = " ".join(note.split())
    if len(note) > OFFER_NOTE_LENGTH:
        raise ValidationError({"note": _("At most %(n)s characters, please.") % {"n": OFFER_NOTE_LENGTH}})
    jars = jars_to_give(batch, size)
    if not 1 <= count <= len(jars):
        text = _("%(n)s jars of this size can be offered: sealed, on the shelf, not called back, not offered yet.")
        raise ValidationError({"count": text % {"n": len(jars)}})
    try:
        with transaction.atomic():
            offer = JarOffer.objects.create(
                batch=batch, size=size, giver=by, by_choice=by_choice, note=note, created_at=now_or(now), token=token
            )
            OfferedJar.objects.bulk_create(OfferedJar(offer=offer, jar=jar) for jar in jars[:count])
    except IntegrityError:
        raise ValidationError(_("These jars were offered just now. Open the page again and look.")) from None
    return offer


@transaction.atomic
def jar_claim_make(*, by: User, offer: JarOffer, count: int, token: UUID, now: datetime | None = None) -> JarClaim:
    """Ask for `count` jars. First come, they are kept for them at once; where the giver chooses, they are told later.

    ValidationError where there are not that many any more, or the jars are called back; the same `token` again finds
    the claim it made.
    """
    if Batch.objects.cared_for_by(by).filter(pk=offer.batch_id).exists():
        raise ValidationError(_("These jars are your own household's."))
    before = JarClaim.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, offer_id=offer.pk, person_id=by.pk)
    free = _live(offer)
    if not 1 <= count <= len(free):
        raise ValidationError({"count": _("%(n)s jars can still be had.") % {"n": len(free)}})
    try:
        with transaction.atomic():
            claim = JarClaim.objects.create(offer=offer, person=by, count=count, asked_at=now_or(now), token=token)
    except IntegrityError:
        raise ValidationError(_("You have asked for some of these already.")) from None
    if not offer.by_choice:
        _keep_for(claim, free[:count])
    return claim


def _live(offer: JarOffer, claim: JarClaim | None = None) -> list[OfferedJar]:
    """Jars of an open offer that are kept for nobody (or for this claim) and may be given away."""
    rows = OfferedJar.objects.filter(offer=offer, offer__state=OfferState.OPEN, is_live=True, claim=claim)
    return list(rows.filter(jar__in=Jar.objects.filter(offered__offer=offer).to_give()).order_by("jar__number"))


def _keep_for(claim: JarClaim, rows: Sequence[OfferedJar]) -> None:
    """By a conditional update: of two who ask for the last jar at once, one has it."""
    free = OfferedJar.objects.filter(pk__in=[row.pk for row in rows], claim=None, is_live=True)
    if free.update(claim=claim) != claim.count:
        raise ValidationError({"count": _("Somebody was quicker. Open the page again and look what is left.")})


@transaction.atomic
def jars_hand_over(*, by: User, claim: JarClaim, seals_firm: bool, now: datetime | None = None) -> JarClaim:
    """The jars of a claim change hands, and the ledger moves them to the place of whoever takes them.

    1. Only the giver's household, and only when every seal was looked at again.
    2. The claim is settled by a conditional update: AlreadyDone for whoever presses second.
    3. The jars are given away in one statement that names what they must be: sealed, on the shelf, held by nobody
       else, not called back. Fewer than asked: nothing happens at all.
    4. Full jars of the lot move in the ledger; from now on a recall reaches the new holder.
    """
    offer = claim.offer
    _giver_check(by, offer)
    if not seals_firm:
        raise ValidationError({"seals_firm": _("Look at every seal again before a jar changes hands.")})
    now = now_or(now)
    _settle(claim, ClaimState.HANDED, now)
    rows = _live(offer, claim) or _live(offer)
    jars = Jar.objects.filter(pk__in=[row.jar_id for row in rows[: claim.count]])
    if jars.to_give().update(held_by=claim.person) != claim.count:
        raise ValidationError(_("These jars can no longer be given: called back, or gone. Look at the batch."))
    OfferedJar.objects.filter(pk__in=[row.pk for row in rows[: claim.count]]).update(claim=claim, is_live=False)
    movement_post(
        by=by,
        size=offer.size,
        count=claim.count,
        source=Shelf(kitchen_place(offer.batch.kitchen), JarState.FULL, offer.batch_id),
        target=Shelf(person_place(claim.person), JarState.FULL, offer.batch_id),
        reason=Reason.MOVED,
        token=uuid5(claim.token, "handed over"),
        at=now,
        note=_("surplus jars"),
    )
    if not OfferedJar.objects.filter(offer=offer, is_live=True).exists():
        _close(offer, now)
    return JarClaim.objects.get(pk=claim.pk)


def _giver_check(by: User, offer: JarOffer) -> None:
    """PermissionDenied for everybody but the household whose batch it is."""
    if not Batch.objects.cared_for_by(by).filter(pk=offer.batch_id).exists():
        raise PermissionDenied


def _settle(claim: JarClaim, state: ClaimState, now: datetime) -> None:
    asked = JarClaim.objects.filter(pk=claim.pk, state=ClaimState.ASKED)
    if asked.update(state=state, settled_at=now) != 1:
        raise AlreadyDone(_("This was settled before."))


@transaction.atomic
def jar_claim_decline(*, by: User, claim: JarClaim, now: datetime | None = None) -> None:
    """The giver says no; jars that were kept are free again."""
    _giver_check(by, claim.offer)
    _settle(claim, ClaimState.DECLINED, now_or(now))
    OfferedJar.objects.filter(claim=claim, is_live=True).update(claim=None)


@transaction.atomic
def jar_claim_withdraw(*, by: User, claim: JarClaim, now: datetime | None = None) -> None:
    """Who asked does not want them any more; jars that were kept are free again."""
    if claim.person_id != by.pk:
        raise PermissionDenied
    _settle(claim, ClaimState.WITHDRAWN, now_or(now))
    OfferedJar.objects.filter(claim=claim, is_live=True).update(claim=None)


@transaction.atomic
def jar_offer_close(*, by: User, offer: JarOffer, now: datetime | None = None) -> None:
    """Take an offer back: what was not handed over stays, and who still asks is told that it went to others."""
    _giver_check(by, offer)
    now = now_or(now)
    if not _close(offer, now):
        raise AlreadyDone(_("This offer was closed before."))


def _close(offer: JarOffer, now: datetime) -> bool:
    closed = JarOffer.objects.open().filter(pk=offer.pk).update(state=OfferState.CLOSED, closed_at=now) == 1
    if closed:
        asked = JarClaim.objects.filter(offer=offer, state=ClaimState.ASKED)
        asked.update(state=ClaimState.DECLINED, settled_at=now)
        OfferedJar.objects.filter(offer=offer, is_live=True).update(is_live=False)
    return closed
