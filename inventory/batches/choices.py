"""The words a batch and its jars are in, as choices."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.jars.choices import Reason, SupplyKind
from recipes.engine import keeping


class BatchState(models.TextChoices):
    STARTED = "started", _("on the stove")
    UNDERWAY = "underway", _("under way")
    OUT = "out", _("cooling, seals to check")
    CHECKED = "checked", _("seals checked")
    FROZEN = "frozen", _("in the freezer")
    CHILLED = "chilled", _("in the refrigerator")
    KEPT = "kept", _("put away")
    ABANDONED = "abandoned", _("given up")


COLD = (BatchState.FROZEN, BatchState.CHILLED)  # by a recipe, or frozen in stages


class Way(models.TextChoices):
    """How a batch is kept: by a recipe and its process, or in stages that take days."""

    RECIPE = "recipe", _("by a recipe")
    FERMENT = keeping.Way.FERMENT.value, _("ferment")
    DRY = keeping.Way.DRY.value, _("dry")
    FREEZE = keeping.Way.FREEZE.value, _("freeze")


STAGED = (Way.FERMENT, Way.DRY, Way.FREEZE)


class StageKind(models.TextChoices):
    PREPARE = keeping.StageKind.PREPARE.value, _("prepare")
    FERMENT = keeping.StageKind.FERMENT.value, _("ferment")
    DRY = keeping.StageKind.DRY.value, _("dry")
    CONDITION = keeping.StageKind.CONDITION.value, _("condition")
    PASTEURISE = keeping.StageKind.PASTEURISE.value, _("two days in the freezer")
    FREEZE = keeping.StageKind.FREEZE.value, _("freeze")
    STAND = keeping.StageKind.STAND.value, _("stand and wait")


# The stages that have a printed shortest time which nothing but time can stand for.
BY_THE_CLOCK = (StageKind.FERMENT, StageKind.CONDITION, StageKind.PASTEURISE, StageKind.STAND)


class Scum(models.TextChoices):
    NONE = "none", _("no scum")
    SKIMMED = "skimmed", _("some scum, taken off")
    MOULD = "mould", _("much mould")


class Cover(models.TextChoices):
    UNDER = "under", _("under the brine")
    PUSHED = "pushed", _("some stood out, and is under it again")


class Smell(models.TextChoices):
    CLEAN = "clean", _("clean and sour")
    BAD = "bad", _("bad, or the food is slimy")


class Moisture(models.TextChoices):
    NONE = "none", _("no drops on the lid, pieces loose")
    DROPS = "drops", _("drops on the lid, or pieces that stick")


class Measured(models.TextChoices):
    PH = "ph", _("pH")
    BRIX = "brix", _("degrees Brix")
    TEMPERATURE = "temperature", _("temperature")


class Container(models.TextChoices):
    """What food without a process is put into. None of these is a jar of the ledger."""

    BAG = "bag", _("bag")
    BOX = "box", _("box")
    CROCK = "keeping-jar", _("jar, closed without a process")


class Used(models.TextChoices):
    """How a full container left; the words of the jar ledger, as one press stands for both."""

    OPENED = Reason.EMPTIED.value, _("opened")
    GIVEN = Reason.GIVEN.value, _("given away")


class Seal(models.TextChoices):
    UNCHECKED = "unchecked", _("not looked at yet")
    SEALED = "sealed", _("sealed")
    UNSEALED = "unsealed", _("unsealed")
    BROKEN = "broken", _("broken")
    OPENED = "opened", _("opened to be processed again")
    NONE = "none", _("no seal")


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
# once. One that was made for the refrigerator, or is in the freezer, stays full until somebody empties it, as does one
# on the shelf.
EMPTIED = frozenset({Disposal.REFRIGERATE.value, Disposal.DISCARD.value, Disposal.GONE.value})
FULL_STILL = frozenset({Disposal.SHELF.value, Disposal.FREEZE.value})


def made_for_cold(seal: str, disposal: str) -> bool:
    """A jar that was filled for the refrigerator and stands there: it is full until somebody opens it."""
    return seal == Seal.NONE and disposal == Disposal.REFRIGERATE


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
    LOOKED = "looked", _("looked at")
    PH = "ph", _("pH read off a strip")
    TAKEN_BACK = "taken-back", _("a slip, taken back")


# What is pressed of a batch in stages; the first two also of any other.
PRESSES_OF_STAGES = (PressKind.DONE, PressKind.BEGAN, PressKind.TAKEN_BACK, PressKind.LOOKED, PressKind.PH)
# Presses that count jars of a size, and those that happen once for each count of a step's minutes.
PRESSES_OF_JARS = (PressKind.SHORT, PressKind.MORE, PressKind.FRIDGE, PressKind.BROKE)
PRESSES_OF_A_COUNT = (PressKind.DONE, PressKind.BEGAN, PressKind.FELL)
# A lost boil and a low gauge stay written: nobody un-says them for jars that others will eat.
PRESSES_TO_TAKE_BACK = (PressKind.BEGAN, *PRESSES_OF_JARS, PressKind.LIDS)


class Headspace(models.TextChoices):
    """Where the jars of a corrected log were not filled to the tested headspace."""

    MUCH = "much", _("too much: not filled up")
    LITTLE = "little", _("too little: filled too high")


class Set(models.TextChoices):
    """How a jelly, a jam or a sauce stood in the jar."""

    SOFT = "soft", _("too soft")
    RIGHT = "right", _("as it should be")
    FIRM = "firm", _("too firm")


class Texture(models.TextChoices):
    """How the food was to the bite."""

    SOFT = "soft", _("too soft")
    RIGHT = "right", _("as it should be")
    HARD = "hard", _("too hard or tough")


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
