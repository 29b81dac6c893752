"""Every share in sentences, from the round that was kept: to the person it is about, and to whoever looks at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.fruit.amounts import units_words, weight_words
from inventory.fruit.models import Offer, SharingRound
from inventory.fruit.sharing import Why

# To whoever looks at all shares; the sentences to the person herself are below.
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
    """Why this claim got what it got, to the person herself; empty where the round knew nothing of it."""
    part = made.parts.get(str(claim_id))
    if part is None:
        return []

    def said(count: int) -> str:
        return units_words(count, container=offer.container, unit_g=offer.unit_g, units=units)

    return [_what_there_was(made, part, offer, said), *_why(part, said, units)]


def _what_there_was(made: SharingRound, part: Mapping[str, Any], offer: Offer, said: Callable[[int], str]) -> str:
    count = len(made.parts)
    told = {"asked": said(part["asked"]), "n": count, "supply": said(made.supply)}
    first = ngettext(
        "You asked for %(asked)s. You were the only one who asked, and %(supply)s was there to share.",
        "You asked for %(asked)s. %(n)s people asked, and %(supply)s was there to share.",
        count,
    )
    kept = _("The giver keeps %(kept)s.") % {"kept": said(offer.kept)} if offer.kept else ""
    return f"{first % told} {kept}".strip()


def _why(part: Mapping[str, Any], said: Callable[[int], str], units: str) -> list[str]:
    told = {
        "units": said(part["units"]),
        "level": said(part["level"]),
        "least": said(part["least"]),
        "had": weight_words(part["had"], units),
    }
    return [str(text) % told for text in _SENTENCES[part["why"]]]


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
