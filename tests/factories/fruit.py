"""Offers, claims and shares for tests, made by the room's own services with the clock where a test wants it."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from club.members.models import User
from inventory.fruit import services
from inventory.fruit.models import Claim, Offer, Share
from inventory.fruit.services import Hours, OfferFields
from tests.factories.members import make_person

# Noon in the club's zone, America/Denver.
NOW = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)
TODAY = date(2026, 9, 14)
KG = 1000


def hours(in_days: int = 2, first: int = 16, last: int = 18, *, today: date = TODAY) -> Hours:
    """By default the day after tomorrow from 16:00 to 18:00 by the club's clock."""
    return Hours(today + timedelta(days=in_days), time(first), time(last))


def offer_fields(**told: Any) -> OfferFields:
    """Twelve kilograms of plums."""
    usual: dict[str, Any] = {"produce": "plums", "amount": 12 * KG, "where": "7 Orchard Row", "windows": (hours(),)}
    return OfferFields(**(usual | told))


def make_offer(*, by: User | None = None, now: datetime = NOW, token: Any = None, **told: Any) -> Offer:
    return services.offer_make(by=by or make_person(), fields=offer_fields(**told), token=token, now=now)


def make_bushels(count: int = 3, **told: Any) -> Offer:
    """Plums by the bushel, whose weight is printed."""
    return make_offer(container="bushel", amount=count, **told)


def make_claim(
    offer: Offer, asked: int = 5 * KG, least: int = 1, *, by: User | None = None, now: datetime = NOW, **told: Any
) -> Claim:
    """In all the windows of the offer."""
    windows = told.pop("windows", list(offer.windows.values_list("pk", flat=True)))
    return services.claim_set(
        by=by or make_person(), offer=offer, asked=asked, least=least, windows=windows, now=now, **told
    )


def share_out(offer: Offer, *, now: datetime = NOW) -> dict[int, int]:
    """Units by claim; whoever got nothing is missing."""
    services.offer_share_out(by=offer.giver, offer=offer, now=now)
    return dict(Share.objects.filter(offer=offer).values_list("claim", "units"))
