"""The demo club's fruit: offers, claims and shares, laid down through the services with the clock turned back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from typing import Any

from club.core.clock import club_day
from club.members.models import User
from inventory.fruit import services
from inventory.fruit.models import Offer, Share
from recipes.models import Recipe


def fruit_lay_down(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> None:
    for one in told.get("offer", []):
        offer = _offer(one, people, now)
        for claim in one.get("claims", []):
            _claim(claim, offer, people, now)
        if "shared_hours_ago" in one:
            services.offer_share_out(by=offer.giver, offer=offer, now=now - timedelta(hours=one["shared_hours_ago"]))
            _fetched(one, offer, people, now)


def _offer(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> Offer:
    today = club_day(now)
    made_at = now - timedelta(days=told["days_ago"])
    fields = services.OfferFields(
        produce=told["produce"],
        name=told.get("sort", ""),
        amount=told.get("count") or told["grams"],
        container=told.get("container", ""),
        kept=told.get("kept", 0),
        where=told["where"],
        about_where=told["about_where"],
        state="frozen" if "frozen_days_ago" in told else "fresh",
        frozen_on=today - timedelta(days=told["frozen_days_ago"]) if "frozen_days_ago" in told else None,
        windows=tuple(
            services.Hours(today + timedelta(days=day), time(first), time(last)) for day, first, last in told["pick_up"]
        ),
        grown=told.get("grown", ""),
        note=told.get("note", ""),
    )
    return services.offer_make(by=people[told["by"]], fields=fields, now=made_at)


def _claim(told: Mapping[str, Any], offer: Offer, people: Mapping[str, User], now: datetime) -> None:
    """In every window of the offer, some hours after it was made."""
    services.claim_set(
        by=people[told["by"]],
        offer=offer,
        asked=told["asked"],
        least=told.get("least", 1),
        windows=list(offer.windows.values_list("pk", flat=True)),
        recipe=Recipe.objects.filter(slug=told.get("recipe", "")).first(),
        now=offer.created_at + timedelta(hours=told["after_hours"]),
    )


def _fetched(told: Mapping[str, Any], offer: Offer, people: Mapping[str, User], now: datetime) -> None:
    names = [people[key] for key in told.get("fetched", [])]
    for share in Share.objects.filter(offer=offer, person__in=names).select_related("offer"):
        services.share_note_picked_up(
            by=share.person, share=share, now=now - timedelta(hours=told["fetched_hours_ago"])
        )
