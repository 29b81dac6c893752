"""Fruit that waits to be fetched, and fruit of one's own to share out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from club.desk.heaps import SHOWN, Card, Heap, day_words, heap, hour_words
from club.members.models import User
from inventory.fruit.choices import OfferStage
from inventory.fruit.models import Offer, Share
from inventory.fruit.produce import units_words


def fruit_heaps(user: User, now: datetime) -> Iterator[Heap]:
    shares = Share.objects.promised().filter(person=user).select_related("offer__giver", "window")
    yield heap(
        "fruit-to-fetch",
        _("Fruit to pick up"),
        (_share_card(one, user.units, now) for one in shares.order_by("window__starts_at", "pk")[:SHOWN]),
        more=_("All your fruit"),
        more_url=reverse("fruit:mine"),
    )
    offers = Offer.objects.filter(giver=user, stage=OfferStage.OPEN).order_by("closes_at", "pk")
    yield heap("fruit-offered", _("Fruit you offer"), map(_offer_card, offers[:SHOWN]))


def _share_card(share: Share, units: str, now: datetime) -> Card:
    offer = share.offer
    amount = units_words(share.units, container=offer.container, unit_g=offer.unit_g, units=units)
    about = f"{amount} · {offer.giver}"
    if share.window.ends_at <= now:
        tag, tone = _("was to be picked up by %(when)s") % {"when": hour_words(share.window.ends_at)}, "stop"
    else:
        tag, tone = _("pick it up from %(when)s") % {"when": hour_words(share.window.starts_at)}, "wait"
    return Card(capfirst(str(offer.title)), offer.get_absolute_url(), about, tag, tone)


def _offer_card(offer: Offer) -> Card:
    closes = _("claims close %(when)s") % {"when": hour_words(offer.closes_at)}
    use_by = _("best used by %(day)s") % {"day": day_words(offer.use_by)}
    return Card(capfirst(str(offer.title)), offer.get_absolute_url(), use_by, closes)
