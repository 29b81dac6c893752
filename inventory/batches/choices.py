"""The words a batch and its jars are in, as choices."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.jars.choices import SupplyKind


class BatchState(models.TextChoices):
    STARTED = "started", _("on the stove")
    OUT = "out", _("cooling, seals to check")
    CHECKED = "checked", _("seals checked")
    FROZEN = "frozen", _("in the freezer")
    ABANDONED = "abandoned", _("given up")


class Seal(models.TextChoices):
    UNCHECKED = "unchecked", _("not looked at yet")
    SEALED = "sealed", _("sealed")
    UNSEALED = "unsealed", _("unsealed")
    BROKEN = "broken", _("broken")
    OPENED = "opened", _("opened to be processed again")
    NONE = "none", _("no seal: kept frozen")


class Disposal(models.TextChoices):
    SHELF = "shelf", _("on the shelf")
    REPROCESS = "reprocess", _("to be reprocessed")
    REFRIGERATE = "refrigerate", _("in the refrigerator")
    FREEZE = "freeze", _("in the freezer")
    DISCARD = "discard", _("thrown away")
    # By an answer to a recall.
    GONE = "gone", _("eaten, or there no more")
    RETURNED = "returned", _("brought back to the club's store")


# An unsealed jar in the refrigerator is eaten within days, and nobody comes back to say so: it counts as empty at
# once. One in the freezer stays full until somebody empties it, as does one on the shelf.
EMPTIED = frozenset({Disposal.REFRIGERATE.value, Disposal.DISCARD.value, Disposal.GONE.value})


class PressKind(models.TextChoices):
    """What is pressed on the cook's page."""

    DONE = "done", _("gone on")
    BEGAN = "began", _("the minutes count")
    FELL = "fell", _("the boil or the pressure was lost")
    GAUGE = "gauge", _("the gauge was read")
    SHORT = "short", _("a jar fewer")
    MORE = "more", _("a jar more")
    FRIDGE = "fridge", _("a jar for the refrigerator")
    BROKE = "broke", _("a jar broke")
    LIDS = "lids", _("the lids' lot")
    TAKEN_BACK = "taken-back", _("a slip, taken back")


# Presses that count jars of a size, and those that happen once for each count of a step's minutes.
PRESSES_OF_JARS = (PressKind.SHORT, PressKind.MORE, PressKind.FRIDGE, PressKind.BROKE)
PRESSES_OF_A_COUNT = (PressKind.DONE, PressKind.BEGAN, PressKind.FELL)
# A lost boil and a low gauge stay written: nobody un-says them for jars that others will eat.
PRESSES_TO_TAKE_BACK = (PressKind.BEGAN, *PRESSES_OF_JARS, PressKind.LIDS)


class LotKind(models.TextChoices):
    """The ingredients whose lots a batch notes. All but fruit are kinds of a supply, under the same values."""

    VINEGAR = SupplyKind.VINEGAR.value, SupplyKind.VINEGAR.label
    JUICE = SupplyKind.JUICE.value, SupplyKind.JUICE.label
    CITRIC_ACID = SupplyKind.CITRIC_ACID.value, SupplyKind.CITRIC_ACID.label
    PECTIN = SupplyKind.PECTIN.value, SupplyKind.PECTIN.label
    SALT = SupplyKind.SALT.value, SupplyKind.SALT.label
    FRUIT = "fruit", _("fruit or vegetables")


class RecallKind(models.TextChoices):
    REVISION = "revision", _("a recipe's revision")
    LID_LOT = "lid-lot", _("a lid lot")
    BATCH = "batch", _("one batch")
    SUPPLY_LOT = "supply-lot", _("an ingredient lot: vinegar, juice, citric acid, pectin or salt")
    FROZEN = "frozen", _("fruit out of a freezer")
    SHARED = "shared", _("fruit that was shared")
    CANNER = "canner", _("what was processed in a canner")


class RecallOutcome(models.TextChoices):
    """What somebody did with the jars that a recall asked them about."""

    SET_APART = "set-apart", _("marked and set apart, nobody eats from them")
    DISCARDED = "discarded", _("thrown away")
    RETURNED = "returned", _("brought back to the club's store")
    EATEN = "eaten", _("eaten, before we knew")
    NONE_LEFT = "none-left", _("none were left")


class OfferState(models.TextChoices):
    OPEN = "open", _("open")
    CLOSED = "closed", _("closed")


class ClaimState(models.TextChoices):
    ASKED = "asked", _("asked for")
    HANDED = "handed", _("handed over")
    DECLINED = "declined", _("went to others")
    WITHDRAWN = "withdrawn", _("not wanted any more")


# What a look can find, and what can be done with a jar that did not seal.
FINDINGS = (Seal.SEALED, Seal.UNSEALED, Seal.BROKEN)
FOR_UNSEALED = (Disposal.REPROCESS, Disposal.REFRIGERATE, Disposal.FREEZE, Disposal.DISCARD)
