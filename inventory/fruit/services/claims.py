"""Claims: made, changed and withdrawn until the fruit is shared."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from club.core.clock import now_or
from club.core.errors import AlreadyDone
from club.core.text import plain
from club.members.models import User
from inventory.fruit.models import Claim, Offer, PickUpWindow, Share
from inventory.fruit.offer_words import ClaimStage, OfferStage
from inventory.fruit.services.offer_common import member_check, offer_take_row
from inventory.fruit.services.shares import shares_settle_again
from recipes.models import Recipe

NOTE_LENGTH = 200


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
    told = plain(note, field="note", longest=NOTE_LENGTH)
    columns = {"asked": asked, "least": least, "recipe": recipe, "note": told, "changed_at": moment}
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


def _claims_open(offer: Offer, by: User, now: datetime) -> None:
    """Takes the offer's row; AlreadyDone when nothing can be claimed any more, or this person's share is reckoned."""
    offer_take_row(offer)
    if offer.stage == OfferStage.TAKEN_BACK:
        raise AlreadyDone(_("This offer was taken back."))
    if not offer.takes_claims(now):
        raise AlreadyDone(_("Claims have closed. If something is left it can be claimed after the sharing."))
    if Share.objects.filter(offer=offer, person=by).exists():
        raise AlreadyDone(_("You have a share of this already."))
