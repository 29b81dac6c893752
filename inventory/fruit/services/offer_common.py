"""What the services of offers, claims and shares have in common."""

from __future__ import annotations

from django.core.exceptions import PermissionDenied
from django.db.models import F

from club.members.models import User
from inventory.fruit.models import Offer
from inventory.fruit.offer_queries import RUN


def runs_check(by: User, offer: Offer) -> None:
    """PermissionDenied for anybody but the giver and organisers."""
    if not (by.is_active and (by.pk == offer.giver_id or by.has_perm(RUN))):
        raise PermissionDenied


def member_check(by: User) -> None:
    if not by.is_active:
        raise PermissionDenied


def offer_take_row(offer: Offer, **told: object) -> bool:
    """Take the offer's row as long as it is in that state; until this transaction ends nobody else can.

    The counting up is what takes it: PostgreSQL locks the row, SQLite the file.
    """
    taken = Offer.objects.filter(pk=offer.pk, **told).update(version=F("version") + 1)
    offer.refresh_from_db()
    return taken == 1
