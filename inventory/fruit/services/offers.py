"""Offers, claims and shares: made, changed, shared out, taken back."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any, BinaryIO
from uuid import UUID, uuid4

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone, form_reused
from club.core.jobs import one_by_one
from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.core.text import plain
from club.members.models import User
from inventory.fruit.choices import ACTIVE_STAGES, ClaimStage, OfferStage, ShareStage
from inventory.fruit.models import Claim, Offer, OfferPhoto, PickUpWindow, Share, SharingRound
from inventory.fruit.sharing import ClaimInput, Outcome, Part, share_out
from inventory.fruit.validators import OfferFields, details_columns, offer_columns, own_use_by, windows_checked
from recipes.models import Recipe


def runs_check(by: User, offer: Offer) -> None:
    """PermissionDenied for anybody but the giver and organisers."""
    if not (by.is_active and offer.is_run_by(by)):
        raise PermissionDenied


def member_check(by: User) -> None:
    if not by.is_active:
        raise PermissionDenied


def offer_take_row(offer: Offer, **state: object) -> bool:
    """Take the offer's row as long as it is in that state; until this transaction ends nobody else can.

    The counting up is what takes it: PostgreSQL locks the row, SQLite the file.
    """
    taken = Offer.objects.filter(pk=offer.pk, **state).update(version=F("version") + 1)
    offer.refresh_from_db()
    return taken == 1


# Offers: made, changed in what is said of them, taken back; their picture


def offer_make(
    *,
    by: User,
    fields: OfferFields,
    token: UUID | None = None,
    photo: BinaryIO | None = None,
    now: datetime | None = None,
) -> Offer:
    """Offer fruit to everybody. The same token again finds the offer it made. PermissionDenied, ValidationError."""
    member_check(by)
    moment, token = now_or(now), token or uuid4()
    if made := Offer.objects.filter(token=token, giver=by).first():
        return made
    windows = windows_checked(fields.windows, moment)
    columns = offer_columns(fields, windows, moment)
    jpeg = photo_as_jpeg(photo.read(MOST_BYTES + 1)) if photo is not None else None
    try:
        with transaction.atomic():
            offer = Offer.objects.create(token=token, giver=by, created_at=moment, **columns)
            PickUpWindow.objects.bulk_create(
                PickUpWindow(offer=offer, starts_at=one.starts_at, ends_at=one.ends_at, **asdict(one.hours))
                for one in windows
            )
            if jpeg is not None:
                OfferPhoto.objects.create(offer=offer, jpeg=jpeg, changed_at=moment)
    except IntegrityError:  # the same press twice at once, or a token of somebody else's
        made = Offer.objects.filter(token=token, giver=by).first()
        if made is None:
            raise form_reused() from None
        return made
    return offer


def offer_change(
    *,
    by: User,
    offer: Offer,
    where: str,
    use_by: date,
    about_where: str = "",
    grown: str = "",
    note: str = "",
    now: datetime | None = None,
) -> Offer:
    """Change what is said of an offer. What, how much and when stay: people claimed by them.

    PermissionDenied; ValidationError by field; AlreadyDone when it was taken back.
    """
    runs_check(by, offer)
    columns: dict[str, Any] = dict(details_columns(where=where, about_where=about_where, grown=grown, note=note))
    if use_by != offer.use_by:
        columns |= own_use_by(use_by, club_day(now_or(now)))
    offers = Offer.objects.exclude(stage=OfferStage.TAKEN_BACK).filter(pk=offer.pk)
    if offers.update(**columns) != 1:
        raise AlreadyDone(_("This offer was taken back."))
    offer.refresh_from_db()
    return offer


def offer_keep_back(*, by: User, offer: Offer, kept: int, now: datetime | None = None) -> Offer:
    """Change how much the giver keeps, in the offer's units; never what others were promised.

    PermissionDenied; ValidationError on `kept`; AlreadyDone when it was taken back.
    """
    runs_check(by, offer)
    with transaction.atomic():
        if not offer_take_row(offer, stage__in=[OfferStage.OPEN, OfferStage.SHARED]):
            raise AlreadyDone(_("This offer was taken back."))
        if kept < 0 or kept >= offer.units or kept > offer.units - offer.shared:
            raise ValidationError({"kept": _("So much cannot be kept: the rest is offered or promised.")})
        Offer.objects.filter(pk=offer.pk).update(kept=kept)
    offer.kept = kept
    return offer


def offer_take_back(*, by: User, offer: Offer, reason: str, now: datetime | None = None) -> Offer:
    """There is nothing to share after all. Whoever claimed or was promised a share is told why.

    PermissionDenied; ValidationError on `reason`. Taken back twice is the same as once.
    """
    runs_check(by, offer)
    moment = now_or(now)
    reason = plain(reason, field="reason", longest=200)
    if not reason:
        raise ValidationError({"reason": _("Say in a few words why, for those who hoped for it.")})
    with transaction.atomic():
        if offer_take_row(offer, stage__in=[OfferStage.OPEN, OfferStage.SHARED]):
            promised = Share.objects.filter(offer=offer).promised()
            freed = sum(promised.values_list("units", flat=True))
            promised.update(stage=ShareStage.GIVEN_BACK, noted_at=moment, noted_by=by)
            Offer.objects.filter(pk=offer.pk).update(
                stage=OfferStage.TAKEN_BACK,
                taken_back_at=moment,
                taken_back_reason=reason,
                shared=offer.shared - freed,
            )
    offer.refresh_from_db()
    return offer


def offer_photo_set(*, by: User, offer: Offer, file: BinaryIO, now: datetime | None = None) -> OfferPhoto:
    """Replace the picture. PermissionDenied; ValidationError on `photo`."""
    runs_check(by, offer)
    jpeg = photo_as_jpeg(file.read(MOST_BYTES + 1))
    photo, _made = OfferPhoto.objects.update_or_create(offer=offer, defaults={"jpeg": jpeg, "changed_at": now_or(now)})
    return photo


# Sharing out, and what becomes of a share. How much goes to whom is inventory.fruit.sharing's.


def offer_share_out(*, by: User, offer: Offer, now: datetime | None = None) -> SharingRound:
    """Close the claims and share out. Pressed again, here or elsewhere, it gives the first result.

    1. Whoever takes the offer's row while it is open shares it; everybody else finds it shared. 2. The claims are read
    after that, so that none slips in between. 3. Shares, round and the offer's count are written in one transaction.
    PermissionDenied; AlreadyDone when it was taken back.
    """
    runs_check(by, offer)
    with transaction.atomic():
        if offer_take_row(offer, stage=OfferStage.OPEN):
            return _round(offer, by, now_or(now))
    if offer.stage == OfferStage.TAKEN_BACK:
        raise AlreadyDone(_("This offer was taken back."))
    return SharingRound.objects.filter(offer=offer).earliest("number")


def offers_share_due(now: datetime) -> int:
    """What the clock does: share out every offer whose claims have closed; how many. As often as one likes.

    Each by itself: one that breaks does not hold up the others; its error is raised at last.
    """
    moment = now_or(now)
    return sum(one_by_one(Offer.objects.due_to_share(moment), lambda offer: _share_due(offer, moment)))


@transaction.atomic
def _share_due(offer: Offer, now: datetime) -> bool:
    if not offer_take_row(offer, stage=OfferStage.OPEN, closes_at__lte=now):
        return False
    _round(offer, None, now)
    return True


def offer_share_again(*, by: User, offer: Offer, after_round: int, now: datetime | None = None) -> SharingRound:
    """Share out what was not picked up or is left. `after_round`: the last round that the person saw.

    Two presses are one: the second finds that round. PermissionDenied; AlreadyDone before the first sharing.
    """
    runs_check(by, offer)
    with transaction.atomic():
        if offer_take_row(offer, stage=OfferStage.SHARED, rounds=after_round):
            return _round(offer, by, now_or(now))
    if offer.stage != OfferStage.SHARED:
        raise AlreadyDone(_("There is nothing shared out that could be shared out again."))
    return SharingRound.objects.get(offer=offer, number=offer.rounds)


def share_give_back(*, by: User, share: Share, now: datetime | None = None) -> None:
    """Give back what one was promised: it goes at once to those who still want some. Twice is the same as once.

    PermissionDenied; AlreadyDone when it was picked up.
    """
    if by.pk != share.person_id:
        raise PermissionDenied
    _noted(share, by, ShareStage.GIVEN_BACK, [ShareStage.PROMISED], now_or(now))


def share_note_picked_up(*, by: User, share: Share, now: datetime | None = None) -> None:
    """By the giver, an organiser, or who fetched it; also after "not picked up", while it is still there."""
    if by.pk != share.person_id:
        runs_check(by, share.offer)
    _noted(share, by, ShareStage.PICKED_UP, [ShareStage.PROMISED, ShareStage.MISSED], now_or(now))


def share_note_missed(*, by: User, share: Share, now: datetime | None = None) -> None:
    """Nobody came: the fruit can be shared out again. By the giver or an organiser, from the window's end on."""
    runs_check(by, share.offer)
    moment = now_or(now)
    if share.window.ends_at > moment:
        raise AlreadyDone(_("The pick-up is not over yet."))
    _noted(share, by, ShareStage.MISSED, [ShareStage.PROMISED], moment)


def _noted(share: Share, by: User, stage: ShareStage, before: Sequence[ShareStage], now: datetime) -> None:
    """Change a share's state and what the offer counts as promised, in one transaction."""
    try:
        with transaction.atomic():
            offer_take_row(share.offer)
            same = Share.objects.filter(pk=share.pk, stage__in=before)
            was = same.values_list("stage", flat=True).first()
            if same.update(stage=stage, noted_at=now, noted_by=by) == 1:
                step = (stage in ACTIVE_STAGES) - (was in ACTIVE_STAGES)
                Offer.objects.filter(pk=share.offer_id).update(shared=F("shared") + step * share.units)
                if stage is ShareStage.GIVEN_BACK:
                    shares_settle_again(offer=share.offer, by=None, now=now)
    except IntegrityError:
        raise AlreadyDone(_("That fruit was shared out again meanwhile.")) from None
    share.refresh_from_db()
    if share.stage != stage:
        raise AlreadyDone(_("That was noted before: %(state)s.") % {"state": share.get_stage_display()})


def shares_settle_again(*, offer: Offer, by: User | None, now: datetime) -> SharingRound | None:
    """One more round of an offer that is shared out, if anybody can still come. Within its caller's transaction."""
    offer.refresh_from_db()
    is_ahead = PickUpWindow.objects.filter(offer=offer, ends_at__gt=now).exists()
    return _round(offer, by, now) if is_ahead and offer.is_shared else None


def _round(offer: Offer, by: User | None, now: datetime) -> SharingRound:
    """Calculate and write one round. The caller has taken the offer's row in this transaction."""
    shares = {share.claim_id: share for share in Share.objects.filter(offer=offer).select_related("window")}
    there = Claim.objects.open().filter(offer=offer, person__is_active=True)
    claims = [
        one for one in there.select_related("offer").prefetch_related("windows") if _is_in(one, shares.get(one.pk), now)
    ]
    had = Share.objects.had_by([one.person_id for one in claims], now, but=offer.pk)
    inputs = [_input(one, shares.get(one.pk), had[one.person_id], now) for one in claims]
    inside = {one.pk for one in claims}
    gone = sum(share.units for pk, share in shares.items() if share.stage in ACTIVE_STAGES and pk not in inside)
    outcome = share_out(offer.to_share - gone, inputs)
    number = offer.rounds + 1
    _promise(zip(claims, outcome.parts, strict=True), shares, number, now)
    Offer.objects.filter(pk=offer.pk).update(
        stage=OfferStage.SHARED,
        rounds=number,
        shared=gone + sum(part.units for part in outcome.parts),
        shared_at=offer.shared_at or now,
    )
    made = SharingRound.objects.create(
        offer=offer,
        number=number,
        at=now,
        by=by,
        supply=outcome.supply,
        left=outcome.left,
        parts=_kept(outcome, claims, had),
    )
    offer.refresh_from_db()
    return made


def _is_in(claim: Claim, share: Share | None, now: datetime) -> bool:
    """Whoever was promised some keeps it and may get more; who fetched or gave back is done; others can come still."""
    if share is not None:
        return share.stage == ShareStage.PROMISED
    return _window_of(claim, now) is not None


def _window_of(claim: Claim, now: datetime) -> PickUpWindow | None:
    """The first window ahead that suits the claim; the windows are the giver's, so it suits both."""
    return min((one for one in claim.windows.all() if one.ends_at > now), key=lambda one: one.starts_at, default=None)


def _input(claim: Claim, share: Share | None, had: int, now: datetime) -> ClaimInput:
    """Whose pick-up is over keeps what was promised, and gets no more."""
    if share is None:
        return ClaimInput(_lot(claim), claim.asked, claim.least, had)
    asked = claim.asked if share.window.ends_at > now else share.units
    return ClaimInput(_lot(claim), asked, min(claim.least, share.units), had, share.units)


def _lot(claim: Claim) -> str:
    """A lot drawn anew for every offer, the same whenever it is reckoned: it says nothing about who asked first."""
    return hashlib.sha256(f"{claim.offer.token}:{claim.person_id}".encode()).hexdigest()


def _promise(parts: Iterable[tuple[Claim, Part]], shares: Mapping[int, Share], number: int, now: datetime) -> None:
    """New shares, and more for those who have one."""
    new = []
    for claim, part in parts:
        share = shares.get(claim.pk)
        if share is None and part.units:
            new.append(_share(claim, part.units, number, now))
        elif share is not None and part.units > share.units:
            grams = part.units * claim.offer.unit_g
            Share.objects.filter(pk=share.pk).update(units=part.units, grams=grams, round_number=number, changed_at=now)
    Share.objects.bulk_create(new)


def _share(claim: Claim, units: int, number: int, now: datetime) -> Share:
    window = _window_of(claim, now)
    assert window is not None  # _is_in let nobody else in
    return Share(
        claim=claim,
        offer=claim.offer,
        person_id=claim.person_id,
        units=units,
        grams=units * claim.offer.unit_g,
        window=window,
        round_number=number,
        promised_at=now,
        changed_at=now,
    )


def _kept(outcome: Outcome, claims: Sequence[Claim], had: dict[int, int]) -> dict[str, dict[str, object]]:
    return {
        str(claim.pk): asdict(part) | {"had": had[claim.person_id]}
        for claim, part in zip(claims, outcome.parts, strict=True)
    }


# Claims: made, changed and withdrawn until the fruit is shared

CLAIM_NOTE_LENGTH = 200


def claim_set(
    *,
    by: User,
    offer: Offer,
    asked: int,
    least: int = 1,
    windows: Iterable[int],
    recipe: Recipe | None = None,
    note: str = "",
    now: datetime | None = None,
) -> Claim:
    """Claim some of an offer, or change what one claimed: a person has one claim on an offer, however often pressed.

    Amounts are in the offer's units, `windows` keys of its pick-up windows. What is claimed of something that is left
    after the sharing is shared out at once. PermissionDenied (one's own offer), ValidationError by field (asked, least,
    windows, note), AlreadyDone when claims have closed or one's share was reckoned already.
    """
    member_check(by)
    if by.pk == offer.giver_id:
        raise PermissionDenied
    moment = now_or(now)
    columns = {
        "asked": asked,
        "least": least,
        "recipe": recipe,
        "note": plain(note, field="note", longest=CLAIM_NOTE_LENGTH),
        "changed_at": moment,
    }
    with transaction.atomic():
        _claims_open(offer, by, moment)
        _amounts_check(offer, asked, least)
        chosen = _windows_chosen(offer, windows, moment)
        again, first = columns | {"stage": ClaimStage.OPEN}, columns | {"made_at": moment}
        claim, _made = Claim.objects.update_or_create(offer=offer, person=by, defaults=again, create_defaults=first)
        claim.windows.set(chosen)
        if offer.is_shared:
            shares_settle_again(offer=offer, by=None, now=moment)
    return claim


def claim_withdraw(*, by: User, claim: Claim, now: datetime | None = None) -> None:
    """Withdraw before it is shared; twice is the same as once. AlreadyDone when there is a share to give back."""
    if claim.person_id != by.pk:
        raise PermissionDenied
    with transaction.atomic():
        offer_take_row(claim.offer)
        if Share.objects.filter(claim=claim).exists():
            raise AlreadyDone(_("It is shared out already. Give your share back instead."))
        Claim.objects.open().filter(pk=claim.pk).update(stage=ClaimStage.WITHDRAWN, changed_at=now_or(now))
    claim.refresh_from_db()


def _amounts_check(offer: Offer, asked: int, least: int) -> None:
    if asked < 1:
        raise ValidationError({"asked": _("Say how much would help.")})
    if asked > (offer.left if offer.is_shared else offer.to_share):
        raise ValidationError({"asked": _("There is not so much of it. Ask for no more than is offered.")})
    if not 1 <= least <= asked:
        raise ValidationError({"least": _("The least of use is no more than what would help.")})


def _windows_chosen(offer: Offer, windows: Iterable[int], now: datetime) -> list[PickUpWindow]:
    chosen = list(PickUpWindow.objects.filter(offer=offer, pk__in=list(windows), ends_at__gt=now))
    if not chosen:
        raise ValidationError({"windows": _("Choose at least one time at which you can come.")})
    return chosen


def claim_refusal(offer: Offer, by: User, now: datetime) -> str:
    """Why this person can claim nothing of it (any more); "" while they can."""
    if offer.stage == OfferStage.TAKEN_BACK:
        return _("This offer was taken back.")
    if not offer.takes_claims(now):
        return _("Claims have closed. If something is left it can be claimed after the sharing.")
    if Share.objects.filter(offer=offer, person=by).exists():
        return _("You have a share of this already.")
    return ""


def _claims_open(offer: Offer, by: User, now: datetime) -> None:
    """Takes the offer's row; AlreadyDone when nothing can be claimed any more, or this person's share is reckoned."""
    offer_take_row(offer)
    if refusal := claim_refusal(offer, by, now):
        raise AlreadyDone(refusal)


# Of a former member's offers the fruit stays, as lots lead to it, and not where they live.


@transaction.atomic
def person_forget(*, person: User) -> None:
    """Where to come, what they noted, and the pictures. Checks no permission: its caller has."""
    Offer.objects.filter(giver=person).update(where="", about_where="", note="", taken_back_reason="")
    OfferPhoto.objects.filter(offer__giver=person).delete()
