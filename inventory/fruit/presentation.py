"""Every share in sentences, and what an offer's page shows to whom."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Sum
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from club.members.models import User
from inventory.fruit.models import Claim, Offer, OfferPhoto, Share, SharingRound
from inventory.fruit.produce import weight_words
from inventory.fruit.sharing import Why

# To whoever looks at all shares; the sentences to the person it is about are below.
REASONS: dict[str, str | Promise] = {
    Why.ALL: gettext_lazy("all that was asked"),
    Why.LEVEL: gettext_lazy("the same as everybody who wanted more"),
    Why.EXTRA: gettext_lazy("the same, and one of those left over: had less this season, or by lot"),
    Why.LEAST: gettext_lazy("the least of use, which is more than the others' part"),
    Why.TOO_LITTLE: gettext_lazy("nothing: there was less than the least of use"),
    Why.NO_ROOM: gettext_lazy("nothing: with it fewer could be served, or all with less"),
    Why.HAD_MORE: gettext_lazy("nothing: others had less this season"),
    Why.LOT: gettext_lazy("nothing: others had as little this season, and the lot decided"),
}


@dataclass(frozen=True)
class Row:
    """One claim in a round, for whoever looks at all of them. `had` is in grams, `units` and the rest the offer's."""

    claim_id: int
    units: int
    asked: int
    least: int
    had: int
    reason: str | Promise


def rows_of(made: SharingRound) -> list[Row]:
    """The largest share first; among equals nothing tells who claimed first."""
    rows = [
        Row(int(pk), one["units"], one["asked"], one["least"], one["had"], REASONS[one["why"]])
        for pk, one in made.parts.items()
    ]
    return sorted(rows, key=lambda row: (-row.units, -row.asked, made.parts[str(row.claim_id)]["key"]))


def sentences_for(made: SharingRound, claim_id: int, offer: Offer, units: str) -> list[str]:
    """Why this claim got what it got, to the person it is about; empty where the round knew nothing of it."""
    part = made.parts.get(str(claim_id))
    if part is None:
        return []

    def amount(count: int) -> str:
        return offer.amount_text(count, units)

    return [_what_there_was(made, part, offer, amount), *_why(part, amount, units)]


def _what_there_was(made: SharingRound, part: Mapping[str, Any], offer: Offer, amount: Callable[[int], str]) -> str:
    count = len(made.parts)
    amounts = {"asked": amount(part["asked"]), "n": count, "supply": amount(made.supply)}
    first = ngettext(
        "You asked for %(asked)s. You were the only one who asked, and %(supply)s was there to share.",
        "You asked for %(asked)s. %(n)s people asked, and %(supply)s was there to share.",
        count,
    )
    kept = _("The giver keeps %(kept)s.") % {"kept": amount(offer.kept)} if offer.kept else ""
    return f"{first % amounts} {kept}".strip()


def _why(part: Mapping[str, Any], amount: Callable[[int], str], units: str) -> list[str]:
    amounts = {
        "units": amount(part["units"]),
        "level": amount(part["level"]),
        "least": amount(part["least"]),
        "had": weight_words(part["had"], units),
    }
    return [str(text) % amounts for text in _SENTENCES[part["why"]]]


_SENTENCES: dict[str, tuple[str | Promise, ...]] = {
    Why.ALL: (gettext_lazy("You get all that you asked for: %(units)s."),),
    Why.LEVEL: (gettext_lazy("You get %(units)s, the same as everybody who wanted more."),),
    Why.EXTRA: (
        gettext_lazy("Everybody who wanted more gets %(level)s. What was left over could not be split evenly."),
        gettext_lazy(
            "It went to who had least this season, of equals by lot: so you get %(units)s. You had %(had)s before."
        ),
    ),
    Why.LEAST: (
        gettext_lazy(
            "Everybody who wanted more gets %(level)s. You said that less than %(least)s is of no use to you."
        ),
        gettext_lazy("So you get %(units)s."),
    ),
    Why.TOO_LITTLE: (gettext_lazy("You said that less than %(least)s is of no use to you. There was less than that."),),
    Why.NO_ROOM: (
        gettext_lazy("You said that less than %(least)s is of no use to you."),
        gettext_lazy(
            "With so much for you, fewer people would have got some, or all of them less. So you get nothing."
        ),
    ),
    Why.HAD_MORE: (
        gettext_lazy(
            "There was not enough for everybody. It went to those who had less this season than you: %(had)s."
        ),
    ),
    Why.LOT: (
        gettext_lazy(
            "There was not enough for everybody. Others had as little this season as you, so lots were drawn."
        ),
    ),
}

# What an offer's page shows to whom: the place to those with a share, names to the giver, a reason to everybody.


def knows_where(user: User, offer: Offer, share: Share | None) -> bool:
    """The giver, organisers, and who has a share to pick up or picked up: nobody else reads where somebody lives."""
    is_sharer = share is not None and share.stage in ("promised", "picked-up")
    return is_sharer or offer.is_run_by(user)


def offer_context(offer: Offer, user: User, now: datetime) -> dict[str, Any]:
    """The context of the page, in a number of queries that does not hang on how many claims there are."""
    claim = Claim.objects.filter(offer=offer, person=user).prefetch_related("windows").first()
    share = Share.objects.filter(offer=offer, person=user).select_related("window").first()
    made = SharingRound.objects.filter(offer=offer).order_by("-number").first()
    runs = offer.is_run_by(user)
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


def rounds_for(offer: Offer, user: User) -> list[dict[str, Any]]:
    """Every round: its rows, named for the giver and organisers alone, one's own row marked for everybody."""
    runs = offer.is_run_by(user)
    rounds = list(SharingRound.objects.filter(offer=offer).select_related("by"))
    claims = {one.pk: one for one in Claim.objects.filter(offer=offer).select_related("person")}
    return [
        {"round": one, "rows": [_row_context(row, claims.get(row.claim_id), user, runs) for row in rows_of(one)]}
        for one in rounds
    ]


def _row_context(row: Row, claim: Claim | None, user: User, runs: bool) -> dict[str, Any]:
    is_own = claim is not None and claim.person_id == user.pk
    return {
        "row": row,
        "is_own": is_own,
        "name": str(claim.person) if runs and claim is not None else "",
        "shows_had": runs or is_own,
    }
