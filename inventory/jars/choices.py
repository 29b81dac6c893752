"""The choices of the jar room: places, states, reasons, and how club orders are run and shared."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class PlaceKind(models.TextChoices):
    """Outside accounts are where jars come from and go to for good; the other kinds are inside the club."""

    BOUGHT = "bought", _("bought")
    GIVEN_AWAY = "given-away", _("given away")
    BROKEN = "broken", _("broken")
    KITCHEN = "kitchen", _("kitchen")
    MEMBER = "member", _("member")
    STORE = "store", _("club store")


OUTSIDE = frozenset({PlaceKind.BOUGHT.value, PlaceKind.GIVEN_AWAY.value, PlaceKind.BROKEN.value})
INSIDE = frozenset({PlaceKind.KITCHEN.value, PlaceKind.MEMBER.value, PlaceKind.STORE.value})


class JarState(models.TextChoices):
    EMPTY = "empty", _("empty")
    FULL = "full", _("full")
    CHIPPED = "chipped", _("chipped")


class Reason(models.TextChoices):
    BOUGHT = "bought", _("bought")
    FOUND = "found", _("not counted before")
    LENT = "lent", _("lent")
    FILLED = "filled", _("filled")
    GIVEN = "given", _("given away")
    RETURNED = "returned", _("returned empty")
    EMPTIED = "emptied", _("emptied")
    BROKEN = "broken", _("broken")
    CHIPPED = "chipped", _("found chipped")
    MOVED = "moved", _("moved")
    MISSING = "missing", _("missing at a count")
    CORRECTED = "corrected", _("correction")


class CountReason(models.TextChoices):
    """Why a count at the shelf differs from the books."""

    UNWRITTEN = "unwritten", _("moved, and not written down")
    BROKEN = "broken", _("broken, and not written down")
    MISCOUNTED = "miscounted", _("counted wrongly before")
    UNKNOWN = "unknown", _("nobody knows")


class LidAccount(models.TextChoices):
    BOUGHT = "bought", _("bought")
    ON_HAND = "on-hand", _("on hand")
    USED = "used", _("used")
    SPOILT = "spoilt", _("spoilt")


class LidReason(models.TextChoices):
    BOUGHT = "bought", _("bought")
    FOUND = "found", _("not counted before")
    USED = "used", _("used")
    SPOILT = "spoilt", _("spoilt")
    MISSING = "missing", _("missing at a count")
    CORRECTED = "corrected", _("correction")


class SupplyKind(models.TextChoices):
    """What a supply is to a batch. Every kind but the last is asked about, lot by lot."""

    VINEGAR = "vinegar", _("vinegar")
    JUICE = "juice", _("bottled lemon or lime juice")
    CITRIC_ACID = "citric-acid", _("citric acid")
    PECTIN = "pectin", _("pectin")
    SALT = "salt", _("salt")
    OTHER = "other", _("something else")


class SupplyReason(models.TextChoices):
    BOUGHT = "bought", _("bought")
    FOUND = "found", _("not counted before")
    USED = "used", _("used")
    TAKEN = "taken", _("taken home from a club order")
    SPOILT = "spoilt", _("spoilt or past its date")
    MISSING = "missing", _("missing at a count")
    CORRECTED = "corrected", _("correction")


class OrderState(models.TextChoices):
    OPEN = "open", _("taking wishes")
    ORDERED = "ordered", _("ordered")
    ARRIVED = "arrived", _("arrived")
    CLOSED = "closed", _("closed")
    CANCELLED = "cancelled", _("cancelled")


class LineKind(models.TextChoices):
    LIDS = "lids", _("lids")
    JARS = "jars", _("jars")
    SUPPLY = "supply", _("a supply")


class SplitBy(models.TextChoices):
    WEIGHT = "weight", _("by weight")
    VALUE = "value", _("by value")
    EVENLY = "evenly", _("evenly, by head")


class ShortBy(models.TextChoices):
    FIRST = "first", _("who asked first is served first")
    PRO_RATA = "pro-rata", _("in proportion to what was asked")
