"""What an offer's page shows to whom: the place to who gets a share, names to the giver, a reason to everybody."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Count, Sum

from club.members.models import User
from inventory.fruit.explaining import Row, rows_of, sentences_for
from inventory.fruit.models import Claim, Offer, OfferPhoto, Share, SharingRound
from inventory.fruit.offer_queries import RUN


def knows_where(user: User, offer: Offer, share: Share | None) -> bool:
    """The giver, organisers, and who has a share to pick up or picked up: nobody else reads where somebody lives."""
    is_sharer = share is not None and share.stage in ("promised", "picked-up")
    return is_sharer or offer.giver_id == user.pk or user.has_perm(RUN)


def offer_told(offer: Offer, user: User, now: datetime) -> dict[str, Any]:
    """The context of the page, in a number of queries that does not hang on how many claims there are."""
    claim = Claim.objects.filter(offer=offer, person=user).prefetch_related("windows").first()
    share = Share.objects.filter(offer=offer, person=user).select_related("window").first()
    made = SharingRound.objects.filter(offer=offer).order_by("-number").first()
    runs = offer.giver_id == user.pk or user.has_perm(RUN)
    windows = list(offer.windows.all())
    is_ahead = any(one.ends_at > now for one in windows)
    asked = Claim.objects.open().filter(offer=offer).aggregate(count=Count("pk"), units=Sum("asked"))
    return {
        "offer": offer,
        "windows": windows,
        "photo_at": OfferPhoto.objects.filter(offer=offer).values_list("changed_at", flat=True).first(),
        "claims_count": asked["count"],
        "claims_units": asked["units"] or 0,
        "claim": claim if claim is not None and claim.stage == "open" else None,
        "share": share,
        "why": sentences_for(made, claim.pk, offer, user.units) if made and claim else [],
        "knows_where": knows_where(user, offer, share),
        "is_giver": offer.giver_id == user.pk,
        "runs": runs,
        "may_claim": offer.giver_id != user.pk and share is None and is_ahead and offer.takes_claims(now),
        "claims": _claims_by_name(offer) if runs and not offer.rounds else [],
        "shares": _shares_by_name(offer, now) if runs and offer.rounds else [],
        "can_share_again": runs and offer.is_shared and offer.left > 0 and is_ahead,
        "closed": offer.closes_at <= now,
    }


def _claims_by_name(offer: Offer) -> list[Claim]:
    found = Claim.objects.open().filter(offer=offer).select_related("person", "recipe").prefetch_related("windows")
    return list(found.order_by("person__name", "pk"))


def _shares_by_name(offer: Offer, now: datetime) -> list[Share]:
    """Each with `is_over`: the pick-up has ended, so that it can be said that nobody came."""
    shares = list(
        Share.objects.filter(offer=offer).select_related("person", "window").order_by("window", "person__name")
    )
    for share in shares:
        share.is_over = share.window.ends_at <= now  # type: ignore[attr-defined]
    return shares


def result_told(offer: Offer, user: User) -> list[dict[str, Any]]:
    """Every round: its rows, named for the giver and organisers alone, one's own row marked for everybody."""
    runs = offer.giver_id == user.pk or user.has_perm(RUN)
    rounds = list(SharingRound.objects.filter(offer=offer).select_related("by"))
    claims = {one.pk: one for one in Claim.objects.filter(offer=offer).select_related("person")}
    return [
        {"round": one, "rows": [_row_told(row, claims.get(row.claim_id), user, runs) for row in rows_of(one)]}
        for one in rounds
    ]


def _row_told(row: Row, claim: Claim | None, user: User, runs: bool) -> dict[str, Any]:
    is_own = claim is not None and claim.person_id == user.pk
    return {
        "row": row,
        "is_own": is_own,
        "name": str(claim.person) if runs and claim is not None else "",
        "shows_had": runs or is_own,
    }
