"""Offers: made, changed in what is said of them, taken back; their picture."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, BinaryIO
from uuid import UUID, uuid4

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone
from club.core.photos import MOST_BYTES, photo_as_jpeg
from club.core.text import plain
from club.members.models import User
from inventory.fruit.describing import (
    OfferFields,
    Window,
    details_columns,
    offer_columns,
    use_by_told,
    windows_told,
)
from inventory.fruit.models import Offer, OfferPhoto, PickUpWindow, Share
from inventory.fruit.offer_words import OfferStage, ShareStage
from inventory.fruit.services.offer_common import member_check, offer_take_row, runs_check


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
    windows = windows_told(fields.windows, moment)
    columns = offer_columns(fields, windows, moment)
    jpeg = photo_as_jpeg(photo.read(MOST_BYTES + 1)) if photo is not None else None
    try:
        with transaction.atomic():
            offer = Offer.objects.create(token=token, giver=by, created_at=moment, **columns)
            PickUpWindow.objects.bulk_create(_window_row(offer, one) for one in windows)
            if jpeg is not None:
                OfferPhoto.objects.create(offer=offer, jpeg=jpeg, changed_at=moment)
    except IntegrityError:  # the same press twice at once, or a token of somebody else's
        made = Offer.objects.filter(token=token, giver=by).first()
        if made is None:
            raise ValidationError(_("This form was used for something else already. Open the page again.")) from None
        return made
    return offer


def _window_row(offer: Offer, window: Window) -> PickUpWindow:
    hours = window.hours
    return PickUpWindow(
        offer=offer,
        day=hours.day,
        starts=hours.starts,
        ends=hours.ends,
        starts_at=window.starts_at,
        ends_at=window.ends_at,
    )


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
        columns |= use_by_told(use_by, club_day(now_or(now)))
    standing = Offer.objects.exclude(stage=OfferStage.TAKEN_BACK).filter(pk=offer.pk)
    if standing.update(**columns) != 1:
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
    told = plain(reason, field="reason", longest=200)
    if not told:
        raise ValidationError({"reason": _("Say in a few words why, for those who hoped for it.")})
    with transaction.atomic():
        if offer_take_row(offer, stage__in=[OfferStage.OPEN, OfferStage.SHARED]):
            promised = Share.objects.filter(offer=offer).promised()
            freed = sum(promised.values_list("units", flat=True))
            promised.update(stage=ShareStage.GIVEN_BACK, noted_at=moment, noted_by=by)
            Offer.objects.filter(pk=offer.pk).update(
                stage=OfferStage.TAKEN_BACK,
                taken_back_at=moment,
                taken_back_reason=told,
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
