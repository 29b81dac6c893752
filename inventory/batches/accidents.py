"""What to do when something went wrong: the published answers, looked up by what happened, the food and the hours.

The answers are the rows of `fixtures/library/accidents.csv`, each with its source and how far it was seen; the words
for them stand here. Where sources differ the safer one is the row, and what the others print stands beside it. There
is no reasoning from one row to another: what no row answers is not eaten until somebody was asked.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from math import ceil, inf
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.batches.rules import elapsed
from recipes.engine import ProcessFound, process_for
from recipes.engine.keeping import Way
from recipes.engine.terms import (
    Altitude,
    Canner,
    Method,
    MinutesBand,
    Pack,
    ProcessRow,
    Refusal,
    Seen,
    TestedRecipe,
    TestedSource,
)
from recipes.library import SHIPPED
from recipes.safety import Food, food_of, has_acid_in_jars

if TYPE_CHECKING:
    from inventory.batches.models import Batch


class Situation(StrEnum):
    """What went wrong: the names of the file."""

    UNSEALED = "unsealed"
    SIPHONED_LESS = "siphoned-less"
    SIPHONED_HALF = "siphoned-half"
    HEAT_FELL = "heat-fell"
    BOILED_DRY = "boiled-dry"
    POWER_CUT = "power-cut"
    JAR_BROKE = "jar-broke"
    ACID_FORGOTTEN = "acid-forgotten"
    JAR_LARGER = "jar-larger"
    JAR_SMALLER = "jar-smaller"
    HEADSPACE_MUCH = "headspace-much"
    HEADSPACE_LITTLE = "headspace-little"
    GAUGE_HIGH = "gauge-high"
    GAUGE_LOW = "gauge-low"
    NOT_SET = "not-set"
    PICKLES_SOFT = "pickles-soft"
    PICKLES_CLOUDY = "pickles-cloudy"
    MOULD = "mould"
    THAWED_COLD = "thawed-cold"
    THAWED_WARM = "thawed-warm"


class KeptSituation(StrEnum):
    """What goes wrong with food that is kept in stages, beside mould and thawing; names of the file as well."""

    SCUM = "scum"
    MOULD_LITTLE = "mould-little"
    MOULD_MUCH = "mould-much"
    SLIMY = "slimy"
    SOFT = "soft"
    PINK = "pink"
    DARK = "dark"
    BAD_SMELL = "bad-smell"
    BRINE_LOW = "brine-low"
    TOO_WARM = "too-warm"
    TOO_COLD = "too-cold"
    FRIDGE_OFF = "fridge-off"
    DAMP = "damp"
    INSECTS = "insects"
    DRIER_OFF = "drier-off"
    FREEZER_OFF = "freezer-off"
    FREEZER_BURN = "freezer-burn"
    THERMOMETER_OFF = "thermometer-off"


AnySituation = Situation | KeptSituation


class Act(StrEnum):
    """What is done: the words of an answer, the first of a row first."""

    RESTART = "restart"
    HEAT_OFF = "heat-off"
    REPROCESS = "reprocess"
    REPROCESS_WITH_ACID = "reprocess-with-acid"
    REPACK = "repack"
    REFRIGERATE = "refrigerate"
    REFRIGERATE_NOW = "refrigerate-now"
    REFRIGERATE_SOON = "refrigerate-soon"
    FREEZE = "freeze"
    REFREEZE = "refreeze"
    KEEP = "keep"
    USE_FIRST = "use-first"
    LOOK = "look"
    REMAKE = "remake"
    SKIM = "skim"
    PUSH_UNDER = "push-under"
    MOVE_COOLER = "move-cooler"
    MOVE_WARMER = "move-warmer"
    KEEP_IF_CLEAN = "keep-if-clean"
    KEEP_UNLESS_SLIMY = "keep-unless-slimy"
    DRY_ON = "dry-on"
    USE_OR_REDRY = "use-or-redry"
    KILL_INSECTS = "kill-insects"
    KEEP_SHUT = "keep-shut"
    TRIM = "trim"
    DISCARD = "discard"
    DISCARD_AS_SUSPECT = "discard-as-suspect"
    DISCARD_BROKEN = "discard-broken"
    ASK = "ask"


# Jars that are opened and go through the canner once more.
REPROCESSES = frozenset({Act.REPROCESS, Act.REPROCESS_WITH_ACID, Act.REPACK})
# Nothing has to be done with the jars.
HARMLESS = frozenset(
    {Act.KEEP, Act.LOOK, Act.REFREEZE, Act.SKIM, Act.PUSH_UNDER, Act.MOVE_COOLER, Act.MOVE_WARMER, Act.KEEP_IF_CLEAN}
    | {Act.KEEP_UNLESS_SLIMY, Act.DRY_ON, Act.USE_OR_REDRY, Act.KILL_INSECTS, Act.KEEP_SHUT, Act.TRIM}
)
DISCARDS = frozenset({Act.DISCARD, Act.DISCARD_AS_SUSPECT, Act.DISCARD_BROKEN})

# What to do in a line, and how it is done where that takes more.
WORDS: Mapping[Act, tuple[str | Promise, str | Promise]] = {
    Act.RESTART: (
        _("Count the whole time again from the start."),
        _(
            "Bring it back to the full boil, or to its pressure, first. Only if the heat was back within 2 hours of"
            " failing; otherwise throw it away as a suspect jar."
        ),
    ),
    Act.HEAT_OFF: (
        _("Turn the heat off, and let the canner cool by itself."),
        _("Pour nothing cold in. Look it over before it is used again: base, lid, gasket, plug and gauge."),
    ),
    Act.REPROCESS: (
        _("Process it again, in full."),
        _(
            "Empty the jar, bring the food to a boil, fill a clean hot jar, put a new lid on, and give it the whole"
            " time of a tested hot pack. Where no hot pack of this food was tested, this is not for it."
        ),
    ),
    Act.REPROCESS_WITH_ACID: (
        _("Plain tomatoes and figs: process them again, in full, with the acid."),
        _(
            "Pickles, relishes, salsas and spreads are not put right so: their acid was to cook with the food."
            " Empty the jars, bring the food to a boil, fill clean hot jars, with the acid as the recipe measures it,"
            " put new lids on, and give them the whole time of a tested hot pack. Where no hot pack of this food was"
            " tested, this is not for it."
        ),
    ),
    Act.REPACK: (
        _("Process it again, in full, in smaller jars."),
        _(
            "Empty the jars, bring the food to a boil, fill clean hot jars of a tested size, put new lids on, and give"
            " them the whole time of a tested hot pack. Where no hot pack of this food was tested, this is not for"
            " it."
        ),
    ),
    Act.REFRIGERATE: (_("Or put it into the refrigerator now."), _("Eat it within a few days.")),
    Act.REFRIGERATE_NOW: (_("Put it into the refrigerator now."), _("Eat it within a few days.")),
    Act.REFRIGERATE_SOON: (
        _("Break the seal and put the jar into the refrigerator."),
        _("Eat it within 2 to 3 days."),
    ),
    Act.FREEZE: (_("Or freeze it now."), _("Take food out until 1 1/2 inches (4 cm) below the rim are free.")),
    Act.REFREEZE: (_("Freeze it again at once."), _("It is safe, and will be less good.")),
    Act.KEEP: (_("Keep it: this does not make it unsafe."), ""),
    Act.USE_FIRST: (
        _("Eat it before the others."),
        _("Leave it closed until then, and add nothing. Food above the liquid darkens."),
    ),
    Act.LOOK: (
        _("Go on with the jars that are whole."),
        _("Look at each seal 12 to 24 hours after they came out."),
    ),
    Act.REMAKE: (_("Use it as a syrup, or remake it."), _("Remake 4 to 6 cups at a time:")),
    Act.SKIM: (
        _("Take it off, all of it, and go on."),
        _("Rinse the weight and the cover, and see that the brine stands over the food. Look again each day."),
    ),
    Act.PUSH_UNDER: (
        _("Push the food under, and fill up with salted water."),
        _("1 1/2 tablespoons of canning salt to a quart (about a liter) of water, boiled and cooled."),
    ),
    Act.MOVE_COOLER: (
        _("Move it where it stands within its printed temperatures."),
        _("It goes soft when it is too warm. What is slimy then is thrown away, and its pH decides at the end."),
    ),
    Act.MOVE_WARMER: (
        _("Move it where it stands within its printed temperatures."),
        _("Too cold, it may not ferment at all. Its days count from when it is warm enough; its pH decides."),
    ),
    Act.KEEP_IF_CLEAN: (
        _("Keep it if it smells clean and sour."),
        _("Softness alone is a matter of quality here. With any other smell, or slimy, throw it away."),
    ),
    Act.KEEP_UNLESS_SLIMY: (_("Keep it, unless it is slimy."), _("Slimy, it is thrown away.")),
    Act.DRY_ON: (
        _("Put it back into the drier at once."),
        _("It is dried until it passes its test, and the days of conditioning begin anew."),
    ),
    Act.USE_OR_REDRY: (
        _("Without any mould: use it at once, or dry it again and pack it anew."),
        _("With any mould, throw it away."),
    ),
    Act.KILL_INSECTS: (
        _("Freeze it for 48 hours, in closed bags or boxes."),
        _("That kills insects and their eggs. Let it come to the room's warmth before it is opened."),
    ),
    Act.KEEP_SHUT: (
        _("Leave the freezer shut."),
        _(
            "Full, it keeps its cold for about 48 hours; half full, for 24. When the power is back, look at each bag:"
            " with ice crystals, or no warmer than 40 °F (4 °C), it is frozen again."
        ),
    ),
    Act.TRIM: (_("Keep it, and cut the dry spots away."), _("They are a matter of quality.")),
    Act.DISCARD: (_("Throw it away, untasted."), ""),
    Act.DISCARD_AS_SUSPECT: (
        _("Throw it away, untasted, as a suspect jar."),
        _("It is not saved in a freezer, and no animal gets it."),
    ),
    Act.DISCARD_BROKEN: (
        _("Throw away the food of a jar that broke or cracked."),
        _("Do not put it into another jar."),
    ),
    Act.ASK: (
        _("Do not eat it and give none away until you have asked."),
        _("We know of no published answer. Ask your extension service; if you cannot ask, throw it away."),
    ),
}

NAMES: Mapping[Situation, str | Promise] = {
    Situation.UNSEALED: _("A jar did not seal"),
    Situation.SIPHONED_LESS: _("A jar lost less than half of its liquid"),
    Situation.SIPHONED_HALF: _("A jar lost half of its liquid, or more"),
    Situation.HEAT_FELL: _("The pressure fell, the boil stopped, or the time was too short"),
    Situation.BOILED_DRY: _("The canner boiled dry, or the water ran low"),
    Situation.POWER_CUT: _("The power was cut while jars were in the canner"),
    Situation.JAR_BROKE: _("A jar broke or cracked"),
    Situation.ACID_FORGOTTEN: _("The acid was forgotten"),
    Situation.JAR_LARGER: _("The jars were larger than the recipe says"),
    Situation.JAR_SMALLER: _("The jars were smaller than the recipe says"),
    Situation.HEADSPACE_MUCH: _("Too much headspace: jars not filled up"),
    Situation.HEADSPACE_LITTLE: _("Too little headspace: jars filled too high"),
    Situation.GAUGE_HIGH: _("The gauge was found to read high, or nobody knows how"),
    Situation.GAUGE_LOW: _("The gauge was found to read low"),
    Situation.NOT_SET: _("A jam or jelly did not set"),
    Situation.PICKLES_SOFT: _("Pickles are soft or slippery"),
    Situation.PICKLES_CLOUDY: _("The liquid of pickles is cloudy"),
    Situation.MOULD: _("There is mould in a jar"),
    Situation.THAWED_COLD: _("It thawed, and still has ice crystals or is no warmer than 40 °F (4 °C)"),
    Situation.THAWED_WARM: _("It thawed, and was warmer than 40 °F (4 °C) for more than 2 hours"),
}

KEPT_NAMES: Mapping[KeptSituation, str | Promise] = {
    KeptSituation.SCUM: _("White scum lies on the brine"),
    KeptSituation.MOULD_LITTLE: _("A little mould lies on the brine"),
    KeptSituation.MOULD_MUCH: _("There is much mould on the ferment"),
    KeptSituation.SLIMY: _("The ferment is slimy or slippery"),
    KeptSituation.SOFT: _("The ferment is soft, but not slimy"),
    KeptSituation.PINK: _("The kraut is pink"),
    KeptSituation.DARK: _("The ferment is dark"),
    KeptSituation.BAD_SMELL: _("The ferment smells bad"),
    KeptSituation.BRINE_LOW: _("The brine does not cover the food"),
    KeptSituation.TOO_WARM: _("The ferment stood too warm"),
    KeptSituation.TOO_COLD: _("The ferment stood too cold"),
    KeptSituation.FRIDGE_OFF: _("The refrigerator had no power"),
    KeptSituation.DAMP: _("Dried food is damp: drops on the lid, or pieces that stick"),
    KeptSituation.INSECTS: _("Insects came to the dried food"),
    KeptSituation.DRIER_OFF: _("The drier stopped, or did not get warm"),
    KeptSituation.FREEZER_OFF: _("The freezer has no power"),
    KeptSituation.FREEZER_BURN: _("Frozen food has dry, leathery spots"),
    KeptSituation.THERMOMETER_OFF: _("The thermometer was found to be wrong"),
}


def name_of(situation: str) -> str:
    """Of either list. KeyError for neither."""
    found: dict[str, str | Promise] = {one.value: name for one, name in (*NAMES.items(), *KEPT_NAMES.items())}
    return str(found[situation])


WHY: Mapping[AnySituation, str | Promise] = {
    KeptSituation.MOULD_LITTLE: _("Only of a ferment in its crock. In a closed jar any mould is too much."),
    KeptSituation.SLIMY: _("Slime is a sign of spoilage: too warm, or too little salt."),
    KeptSituation.SOFT: _("Too little salt, salt unevenly mixed in, air between the pieces, or too much warmth."),
    KeptSituation.DAMP: _("Water that stays in dried food lets mould grow."),
    KeptSituation.THERMOMETER_OFF: _(
        "What was judged by it is not known any more. Have it tested, and write down which batches went by it."
    ),
    Situation.UNSEALED: _(
        "This holds for a jar that was processed exactly as tested. If anything else went wrong as well, look there:"
        " the stricter answer counts."
    ),
    Situation.SIPHONED_LESS: _("For a sealed jar whose process went as tested."),
    Situation.SIPHONED_HALF: _("With so little liquid the food may not have been heated through."),
    Situation.HEAT_FELL: _(
        "The time counts only without a break. The same holds for too little pressure, a vent that was not left open,"
        " and an altitude that nobody thought of. A seal proves nothing."
    ),
    Situation.BOILED_DRY: _(
        "Jars that were not under water, or not in steam, did not get their heat. A seal proves nothing."
    ),
    Situation.POWER_CUT: _("A process that was broken off made nothing safe, whatever the lids look like."),
    Situation.JAR_BROKE: _(
        "If the boil or the pressure was lost over it, the whole time starts again. A crack round the base comes of"
        " sudden cold or heat; one that forks upwards of pressure inside; rays from one point of a knock."
    ),
    Situation.ACID_FORGOTTEN: _(
        "Tomatoes, figs and pickles are safe by their acid; without it they count as low-acid food."
    ),
    Situation.JAR_LARGER: _("The heat did not reach the middle of a larger jar in the tested time."),
    Situation.JAR_SMALLER: _("With the time of the next larger tested jar. The food is only softer."),
    Situation.HEADSPACE_MUCH: _("The air may not have been driven out."),
    Situation.HEADSPACE_LITTLE: _("The food may have boiled up under the lid, which then seals badly or not at all."),
    Situation.GAUGE_HIGH: _(
        "The pressure was lower than it showed, so every batch since the last good test had too little heat. Think of"
        " those as well."
    ),
    Situation.GAUGE_LOW: _("The pressure was higher than it showed: overcooked, and safe."),
    Situation.NOT_SET: _("A sealed jar of a tested recipe is safe, set or not."),
    Situation.PICKLES_SOFT: _("Softness and slime are signs of spoilage."),
    Situation.PICKLES_CLOUDY: _(
        "A new cloud in a closed jar is a sign of bacteria. In a crock that still ferments it is no sign."
    ),
    Situation.MOULD: _("Mould may leave poison in the food and take its acid away. It is not scooped off."),
    Situation.THAWED_COLD: _(
        "A full freezer that stays shut keeps its cold for about 48 hours, a half-full one for 24."
    ),
    Situation.THAWED_WARM: _("Food spoils before it smells of it."),
}

# Of the whole canner load, or of single jars: which of a batch's jars are ticked to begin with.
WHOLE_BATCH: frozenset[AnySituation] = frozenset(
    {
        *KeptSituation,
        Situation.HEAT_FELL,
        Situation.BOILED_DRY,
        Situation.POWER_CUT,
        Situation.ACID_FORGOTTEN,
        Situation.JAR_LARGER,
        Situation.GAUGE_HIGH,
        Situation.THAWED_WARM,
    }
)
_OF_PICKLES = frozenset({"pickle", "relish", "chutney", "ferment", "salsa"})
_OF_FREEZERS = frozenset(
    {Situation.THAWED_COLD, Situation.THAWED_WARM, Situation.MOULD, Situation.JAR_BROKE, Situation.NOT_SET}
)


def situations_for(recipe: TestedRecipe, canner: str, food: Food) -> list[Situation]:
    """What can have happened to such a batch, in the order of the list. `canner` "" : kept in the freezer."""

    def fits(one: Situation) -> bool:
        if (one in (Situation.PICKLES_SOFT, Situation.PICKLES_CLOUDY) and recipe.kind not in _OF_PICKLES) or (
            one is Situation.NOT_SET and not recipe.is_jellied
        ):
            return False
        if not canner:
            return one in _OF_FREEZERS
        if one in (Situation.GAUGE_HIGH, Situation.GAUGE_LOW):
            return canner == Canner.DIAL_GAUGE
        if one is Situation.ACID_FORGOTTEN:
            return food is not Food.ACID
        return one not in (Situation.THAWED_COLD, Situation.THAWED_WARM)

    return [one for one in Situation if fits(one)]


_UNDER_WAY = (KeptSituation.SCUM, KeptSituation.MOULD_LITTLE, KeptSituation.MOULD_MUCH, KeptSituation.BRINE_LOW)
_UNDER_WAY_TOO = (KeptSituation.TOO_WARM, KeptSituation.TOO_COLD)
_OF_FERMENTS = (KeptSituation.SLIMY, KeptSituation.SOFT, KeptSituation.PINK, KeptSituation.DARK)
_KEPT: Mapping[Way, Sequence[AnySituation]] = {
    Way.FERMENT: (*_OF_FERMENTS, KeptSituation.BAD_SMELL, Situation.MOULD, KeptSituation.FRIDGE_OFF),
    Way.DRY: (KeptSituation.DAMP, Situation.MOULD, KeptSituation.INSECTS, KeptSituation.DRIER_OFF),
    Way.FREEZE: (
        *(KeptSituation.FREEZER_OFF, Situation.THAWED_COLD, Situation.THAWED_WARM),
        KeptSituation.FREEZER_BURN,
    ),
}


def kept_situations(way: Way, *, is_under_way: bool) -> list[AnySituation]:
    """What can have happened to food that is kept in stages, or was put away."""
    found = list(_KEPT[way])
    if way is Way.FERMENT and is_under_way:
        found = [*_UNDER_WAY, *(one for one in found if one is not Situation.MOULD), *_UNDER_WAY_TOO]
        found.remove(KeptSituation.FRIDGE_OFF)
    return [*found, KeptSituation.THERMOMETER_OFF]


def situations_of(batch: Batch) -> list[AnySituation]:
    """Of a batch by recipe, of one in stages, and of a ferment that was canned."""
    food = food_of_batch(batch)
    if batch.is_in_containers:
        return kept_situations(Way(batch.way), is_under_way=batch.jars_out_at is None)
    if batch.is_staged:
        never = _OF_FREEZERS - {Situation.MOULD, Situation.JAR_BROKE} | {Situation.ACID_FORGOTTEN}
        return [one for one in Situation if one not in never | {Situation.GAUGE_HIGH, Situation.GAUGE_LOW}]
    return list(situations_for(batch.cooked_from.tested, batch.canner, food))


@dataclass(frozen=True)
class Answer:
    """What is done, first things first. `until_hours`: how long this answer holds after the jars came out.

    `source` is empty where no row answers; then `acts` says to ask.
    """

    situation: AnySituation
    acts: tuple[Act, ...]
    until_hours: int | None = None
    source: str = ""
    place: str = ""
    seen: Seen | None = None
    otherwise: str = ""

    @property
    def places(self) -> list[str]:
        return self.place.split(" ; ") if self.place else []

    @property
    def is_thrown_away(self) -> bool:
        return self.acts[0] in DISCARDS and self.situation is not Situation.JAR_BROKE

    @property
    def is_harmless(self) -> bool:
        return self.acts[0] in HARMLESS

    @property
    def may_reprocess(self) -> bool:
        return any(act in REPROCESSES for act in self.acts)

    @property
    def is_known(self) -> bool:
        return bool(self.source)

    @property
    def may_be_eaten(self) -> bool:
        return self.is_known and not self.is_thrown_away


@dataclass(frozen=True)
class _Row:
    situation: AnySituation
    foods: frozenset[str]  # names of `Food`, of `Way`, or a ferment's own key
    at_stove: bool
    from_hours: int | None  # None: not for jars that are out
    to_hours: int | None
    acts: tuple[Act, ...]
    source: str
    place: str
    seen: Seen
    otherwise: str

    def holds(self, food: str, hours: float | None) -> bool:
        """`hours` None: the jars are still in the canner."""
        if food not in self.foods:
            return False
        if hours is None:
            return self.at_stove
        return (
            self.from_hours is not None
            and self.from_hours <= hours
            and (self.to_hours is None or hours < self.to_hours)
        )


def _situation(name: str) -> AnySituation:
    return KeptSituation(name) if name in list(KeptSituation) else Situation(name)


def _row(cells: Mapping[str, str]) -> _Row:
    when = cells["when"]
    first, _dash, last = when.partition("-")
    is_out = when != "stove"
    seen = Seen(cells["seen"])
    if not seen.is_seen or not cells["source"] or not cells["place"]:
        raise ValueError(f"accidents.csv: {cells['situation']} has no source that was seen in print")
    return _Row(
        situation=_situation(cells["situation"]),
        foods=frozenset(cells["food"].split()),
        at_stove=when in ("stove", "any"),
        from_hours=(0 if when == "any" else int(first)) if is_out else None,
        to_hours=int(last) if is_out and last else None,
        acts=tuple(Act(word) for word in cells["do"].split()),
        source=cells["source"],
        place=cells["place"],
        seen=seen,
        otherwise=cells["otherwise"],
    )


@lru_cache(maxsize=1)
def _rows() -> Sequence[_Row]:
    found: list[_Row] = []
    for name in ("accidents.csv", "accidents-kept.csv"):
        with (SHIPPED / name).open(encoding="utf-8", newline="") as file:
            found += [_row(cells) for cells in csv.DictReader(file)]
    return found


def answer_for(situation: AnySituation, food: str, hours: float | None, *, acid_in_jars: bool = True) -> Answer:
    """The published answer so many hours after the jars came out; `hours` None while they are in the canner.

    `food` is a `Food`; of what is kept in stages a `Way`, and of a ferment its key: None while it is under way.
    Forgotten acid is added afterwards only where the recipe measures it into each jar (`acid_in_jars`). A moment
    belongs to what begins with it: at 24 hours sharp the day is over. ValueError for hours below zero.
    """
    if hours is not None and hours < 0:
        raise ValueError("hours below zero")
    for row in _rows():
        if row.situation is situation and row.holds(food, hours):
            until = None if hours is None else row.to_hours
            acts = row.acts if acid_in_jars else _WITHOUT_ACID_IN_JARS.get(row.acts, row.acts)
            return Answer(situation, acts, until, row.source, row.place, row.seen, row.otherwise)
    return Answer(situation, (Act.ASK,))


# The acid of a pickle or a salsa cooks with the food: without it that was another recipe, and only the cold is left.
_WITHOUT_ACID_IN_JARS: Mapping[tuple[Act, ...], tuple[Act, ...]] = {
    (Act.REPROCESS_WITH_ACID, Act.REFRIGERATE): (Act.REFRIGERATE_NOW,)
}


def answer_for_batch(batch: Batch, situation: AnySituation, now: datetime) -> Answer:
    """The published answer for this batch, by its food, its recipe and the hours since its jars came out."""
    hours = hours_out(batch, situation, now)
    if batch.is_in_containers:
        return answer_for(situation, batch.food if batch.way == Way.FERMENT else batch.way, hours)
    acid_in_jars = not batch.is_staged and has_acid_in_jars(batch.cooked_from.tested)
    return answer_for(situation, food_of_batch(batch), hours, acid_in_jars=acid_in_jars)


def food_of_batch(batch: Batch) -> Food:
    """Under pressure whatever is in the jars counts as low-acid: that is what it was processed as. A ferment is safe by
    the acid that it made."""
    if batch.is_staged:
        return Food.NEAR
    return Food.LOW_ACID if batch.required_psi is not None else food_of(batch.cooked_from.tested)


# Longer than a batch is cooked and processed: one without a log that began before that is no longer taken to be on the
# stove. The club's own choice.
_UNLOGGED_AFTER = timedelta(hours=6)


_OVERNIGHT_HOURS = 12
_WAITS = re.compile(r"(?:[0-9]+ to )?([0-9]+) hours|(overnight)")
_OF_FULL_JARS = ("jar", "seal")


def waiting_hours(recipe: TestedRecipe) -> int:
    """The hours that food soaks, chills or drips before it goes into jars, as the steps say; of a range the longest."""
    steps = [step for step in recipe.steps if not any(word in step.text.lower() for word in _OF_FULL_JARS)]
    told = [match for step in steps if not step.hours for match in _WAITS.finditer(step.text.lower())]
    as_data = sum(ceil(step.hours.high) for step in steps if step.hours)
    return as_data + sum(int(match[1]) if match[1] else _OVERNIGHT_HOURS for match in told)


def is_never_logged(batch: Batch, now: datetime) -> bool:
    """Began too long ago to be on the stove still, and nobody wrote down when its jars came out."""
    if batch.is_staged or batch.jars_out_at is not None or elapsed(batch.started_at, now) <= _UNLOGGED_AFTER:
        return False
    waits = timedelta(hours=waiting_hours(batch.cooked_from.tested))
    return elapsed(batch.started_at, now) > _UNLOGGED_AFTER + waits


# What a jar shows when it comes out of a canner, the last time as the first. All else may be older than a second
# process, which only some of the jars had: it counts from the first time.
_OF_THE_LAST_TIME_OUT = frozenset(
    {Situation.UNSEALED, Situation.SIPHONED_LESS, Situation.SIPHONED_HALF, Situation.JAR_BROKE}
)


def counted_from(batch: Batch, situation: AnySituation) -> datetime | None:
    """When the jars came out, for the hours of this situation; None while they are not out."""
    return batch.last_out_at if situation in _OF_THE_LAST_TIME_OUT else batch.jars_out_at


def hours_out(batch: Batch, situation: AnySituation, now: datetime) -> float | None:
    """Hours since the jars came out, never below zero (a clock may be ahead); None while they are not out.

    Infinite where the batch was never logged: what is not known counts as the strictest.
    """
    if is_never_logged(batch, now):
        return inf
    out_at = counted_from(batch, situation)
    return None if out_at is None else max(elapsed(out_at, now), timedelta(0)) / timedelta(hours=1)


# Remaking a soft spread: amounts for a quart, and the process of what was remade.


@dataclass(frozen=True)
class Remake:
    """For a quart (4 cups) of soft jelly, with one kind of pectin or none. An amount that is empty is not used."""

    pectin: str
    sugar: str
    water: str
    lemon_juice: str
    pectin_amount: str
    boil: str
    process: ProcessRow

    @property
    def source(self) -> str:
        return self.process.source.title

    @property
    def places(self) -> list[str]:
        return self.process.source.place.split(" ; ")

    def process_at(self, altitude: Altitude) -> ProcessFound | Refusal:
        """The minutes in boiling water, in sterile half-pints or pints."""
        jar, pack = self.process.jar, self.process.pack
        return process_for([self.process], jar=jar, pack=pack, canner=Canner.BOILING_WATER, altitude=altitude)


@lru_cache(maxsize=1)
def remakes() -> Sequence[Remake]:
    with (SHIPPED / "remade-jelly.csv").open(encoding="utf-8", newline="") as file:
        return [_remake(row) for row in csv.DictReader(file)]


def _remake(cells: Mapping[str, str]) -> Remake:
    upper = {"minutes_1000_ft": 1000, "minutes_6000_ft": 6000, "minutes_above": None}
    process = ProcessRow(
        method=Method.BOILING_WATER,
        pack=Pack.HOT,
        jar="pint",
        seen=Seen(cells["seen"]),
        source=TestedSource(cells["source"], "", cells["place"]),
        headspace_in=Fraction(1, 4),
        minutes_bands=tuple(MinutesBand(limit, int(cells[name])) for name, limit in upper.items()),
    )
    return Remake(
        pectin=cells["pectin"],
        sugar=cells["sugar"],
        water=cells["water"],
        lemon_juice=cells["lemon_juice_bottled"],
        pectin_amount=cells["pectin_amount"],
        boil=cells["boil"],
        process=process,
    )
