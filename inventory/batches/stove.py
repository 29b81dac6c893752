"""The cook's page: the steps of one batch at the stove, and where its cook stands by what was pressed.

Steps are worked out of the frozen plan and the recipe's own text; no time or pressure is found here that the plan or
the text does not have. A batch in stages has the steps of its stages, its looks among them. Read by services, pages and
the board of a class.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from math import ceil
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.core.clock import zoned_text
from inventory.batches.choices import BY_THE_CLOCK, Measured, PressKind, StageKind, Way
from inventory.batches.models import Batch, Press, Stage
from inventory.batches.rules import COOL_MIN, LOW_TEMPERATURE, PH_TOO_HIGH, SPOILT, elapsed
from recipes.choices import JARS
from recipes.engine import RULES, sterilise_minutes
from recipes.engine.terms import Canner, Pack, RecipeStep, Rule
from recipes.presentation import headspace_text, heat_words, kept_lines, kitchen_points, pressure_text, prose, steamed

# The steps.


class Part(StrEnum):
    """What is done in a step."""

    RECIPE = "recipe"
    HEAT = "heat"
    VENT = "vent"
    PROCESS = "process"
    REST = "rest"
    OUT = "out"
    COOL = "cool"
    # Of a batch in stages.
    LOOK = "look"
    PH = "ph"
    END = "end"
    PUT_UP = "put-up"


@dataclass(frozen=True)
class Figure:
    """A figure to work by: what it is of, in the reader's units, and in the others ("" where there are none)."""

    label: str
    value: str
    beside: str = ""


@dataclass(frozen=True)
class StepTimer:
    """Minutes that belong to a step. `key` is what a press names; a step's first timer has the step's own key."""

    key: str
    minutes: int


@dataclass(frozen=True)
class StoveStep:
    """One screen. `where` says which pot or load, `jars` what the load is planned to hold, by size."""

    key: str
    part: Part
    words: tuple[str, ...]
    where: str = ""
    figures: tuple[Figure, ...] = ()
    timers: tuple[StepTimer, ...] = ()
    load: int | None = None
    jars: tuple[tuple[str, int], ...] = ()
    stage: int | None = None  # its number, of a batch in stages
    is_end: bool = False  # gone on from, that stage is over
    asks: tuple[str, ...] = ()  # of a look: the fields that say what was seen

    @property
    def heading(self) -> str:
        return self.words[0]

    @property
    def name(self) -> str:
        """What a timer of it is called in a line."""
        short = {Part.VENT: _("Vent"), Part.PROCESS: _("Process"), Part.REST: _("Let stand")}.get(self.part)
        return f"{short}, {self.where}" if short and self.where else short or self.heading

    @property
    def is_process(self) -> bool:
        return self.part is Part.PROCESS

    @property
    def is_out(self) -> bool:
        return self.part is Part.OUT


_SMALL = "one two three four five six seven eight nine ten eleven twelve"
_NUMBERS = {word: number for number, word in enumerate(_SMALL.split(" "), start=1)} | {"fifteen": 15, "twenty": 20}
_NUMBER = rf"[0-9]+|{'|'.join(_NUMBERS)}"
_LASTS = re.compile(rf"(?<![/.\w])(?:(?:{_NUMBER}) to )?({_NUMBER}) (minutes?|hours?)\b", re.IGNORECASE)
# A step of the canner's comes after the last one that still has to do with filling.
_FILLS = re.compile(r"\b(fill\w*|ladle|pack|headspace|rims?|bands? fingertip|lids on)\b", re.IGNORECASE)
_OF_CANNER = re.compile(r"\bcanner\b", re.IGNORECASE)
# Which of the canner's screens a sentence belongs to; the first that fits, else the one before it.
_SCREENS = (
    (Part.REST, re.compile(r"\bturn (off )?the heat\b|\bheat off\b", re.IGNORECASE)),
    (Part.OUT, re.compile(r"\blift\b|\bunfasten\b", re.IGNORECASE)),
    (Part.COOL, re.compile(r"\bundisturbed\b|\bseals?\b", re.IGNORECASE)),
    (Part.HEAT, re.compile(r"^(stand|put|place|load|lower)\b", re.IGNORECASE)),
    (Part.VENT, re.compile(r"\bsteam\b", re.IGNORECASE)),
    (Part.PROCESS, re.compile(r"\bpressure\b|\bcount\b|\bprocess\b", re.IGNORECASE)),
)


def minutes_in(text: str) -> list[int]:
    """The minutes that a sentence of the recipe lets something take; of a range the longer, hours as minutes."""
    found = []
    for number, unit in _LASTS.findall(text):
        count = _NUMBERS.get(number.lower()) or int(number)
        found.append(count * 60 if unit.lower().startswith("hour") else count)
    return found


# What a recipe of the second edition says that a step does.
_BY_ACTION = {"load": Part.HEAT, "vent": Part.VENT, "process": Part.PROCESS, "check": Part.COOL}


def split_steps(steps: Sequence[RecipeStep]) -> tuple[Sequence[RecipeStep], dict[Part, list[str]]]:
    """The recipe's steps before the canner, and those at the canner by screen. Nothing of the text is lost: where no
    step speaks of a canner after the filling, all of them come before it."""
    said = [str(step) for step in steps]
    filled = max((at for at, text in enumerate(said) if _FILLS.search(text)), default=-1)
    named = [at for at, step in enumerate(steps) if step.action in ("load", "vent", "process")]
    at_canner = named or [at for at, text in enumerate(said) if at > filled and _OF_CANNER.search(text)]
    if not at_canner:
        return steps, {}
    screens: dict[Part, list[str]] = {}
    part = Part.HEAT
    for step, text in list(zip(steps, said, strict=True))[at_canner[0] :]:
        by_words = next((one for one, fits in _SCREENS if fits.search(text)), part)
        part = _BY_ACTION.get(step.action, by_words)
        screens.setdefault(part, []).append(text)
    return steps[: at_canner[0]], screens


def steps_of(batch: Batch, units: str = "metric") -> list[StoveStep]:
    """Every screen in order; `units` says which figure comes first."""
    return list(_Steps(batch, units))


def range_words(ends: Sequence[Any]) -> str:
    """ "21 to 28", or one figure where both are the same."""
    words = list(dict.fromkeys(mixed_words(end) for end in ends))
    return _(" to ").join(words)


def mixed_words(value: Any) -> str:
    """ "1 1/2" of 3/2; nothing of nothing."""
    if value in ("", None):
        return ""
    number = Fraction(value)
    whole, rest = divmod(number, 1)
    return " ".join(str(part) for part in (whole if whole or not rest else "", rest or "") if part != "")


def minutes_to_count(ends: Sequence[Any]) -> int:
    """Whole minutes within a printed range, its least where they can be; else the next above, for none is cut short."""
    low, high = (Fraction(end) for end in ends)
    return ceil(low) if ceil(low) <= high else ceil(high)


class _KeptSteps:
    """Makes the screens of a batch in stages: for each stage what is done, looked at, measured, and its end."""

    def __init__(self, batch: Batch, stages: Sequence[Stage]) -> None:
        self.batch, self.plan, self.stages = batch, batch.plan, stages

    def __iter__(self) -> Iterator[StoveStep]:
        makers = {
            StageKind.PREPARE: self._prepare,
            StageKind.FERMENT: self._ferment,
            StageKind.DRY: self._dry,
            StageKind.CONDITION: self._condition,
            StageKind.PASTEURISE: self._pasteurise,
        }
        for stage in self.stages:
            if (maker := makers.get(StageKind(stage.kind))) is not None:
                yield from maker(stage)
        yield StoveStep("putup", Part.PUT_UP, self._put_up(), figures=tuple(self._put_up_figures()))

    def _step(self, stage: Stage, name: str, part: Part, words: Sequence[object], **more: Any) -> StoveStep:
        key = f"s{stage.number}{name}"
        timers = tuple(StepTimer(key, one) for one in more.pop("minutes", ()) if one)
        said = tuple(str(one) for one in words if one)
        return StoveStep(key, part, said, stage.get_kind_display(), timers=timers, stage=stage.number, **more)

    def _prepare(self, stage: Stage) -> Iterator[StoveStep]:
        """Its last screen ends the stage."""
        made = list(self._salting(stage) if self.batch.way == Way.FERMENT else self._cut_and_blanched(stage))
        yield from (*made[:-1], replace(made[-1], is_end=True))

    def _salting(self, stage: Stage) -> Iterator[StoveStep]:
        plan = self.plan
        figures = [Figure(_("Weighed in"), _("%(n)s g") % {"n": self.batch.weighed_g})]
        figures.append(
            Figure(_("Canning salt"), _("%(n)s g") % {"n": range_words(plan["salt_g"])}, plan["salt_printed"])
        )
        for key, label in (("water_ml", _("Water")), ("vinegar_ml", _("Vinegar of 5 %"))):
            if plan.get(key):
                figures.append(Figure(label, _("%(n)s ml") % {"n": plan[key]}))
        yield self._step(stage, "salt", Part.RECIPE, (_("Weigh the salt, and mix it in."),), figures=tuple(figures))
        words = _("Pack it into the crock, weigh it down, and see that the brine covers all of it.")
        yield self._step(stage, "pack", Part.RECIPE, (words,))

    def _cut_and_blanched(self, stage: Stage) -> Iterator[StoveStep]:
        plan = self.plan
        figures = [Figure(_("Pieces"), plan["piece"])] if plan.get("piece") else []
        if plan.get("pretreatment"):
            figures.append(Figure(_("Before it"), plan["pretreatment"]))
        yield self._step(stage, "cut", Part.RECIPE, (_("Wash it, and cut it."),), figures=tuple(figures))
        water, steam = plan.get("blanch_water"), plan.get("blanch_steam")
        if blanch := water or steam:
            words = _("Blanch it for %(n)s minutes, counted from when the water boils again.")
            if not water:
                words = _("Blanch it in steam for %(n)s minutes.")
            figures = []
            if water and steam:
                figures.append(Figure(_("Or in steam"), _("%(n)s minutes") % {"n": range_words(steam)}))
            yield self._step(
                stage,
                "blanch",
                Part.RECIPE,
                (words % {"n": range_words(blanch)},),
                figures=tuple(figures),
                minutes=[minutes_to_count(blanch)],
            )
        if plan.get("cool_min"):
            words = _("Cool it in ice water for %(n)s minutes, then drain it.") % {"n": mixed_words(plan["cool_min"])}
            yield self._step(stage, "cool", Part.RECIPE, (words,), minutes=[ceil(Fraction(plan["cool_min"]))])

    def _ferment(self, stage: Stage) -> Iterator[StoveStep]:
        plan = self.plan
        yield self._look(stage, (_("Look at it: scum, cover, smell."), plan["look_for"]), ("scum", "cover", "smell"))
        words = (_("Measure its pH with a strip."), _("It is finished by that, not by its days alone."))
        done, most = (f"{float(Fraction(end)):g}" for end in (plan["ph_end"][1], Fraction(plan["ph_most"], 100)))
        figures = (Figure(_("When it is done"), done), Figure(_("Never above"), most))
        yield self._step(stage, "ph", Part.PH, words, figures=figures)
        yield self._end(stage, _("The ferment is over."), (plan["done"],))

    def _dry(self, stage: Stage) -> Iterator[StoveStep]:
        plan, minutes = self.plan, []
        figures = [Figure(_("Heat of the drier"), heat_words(*map(Fraction, plan["dry_f"])))]
        words = _("Dry it until it passes its test.")
        if plan.get("hours"):
            words = _("Dry it for %(n)s hours, until it passes its test.") % {"n": range_words(plan["hours"])}
            minutes.append(ceil(Fraction(plan["hours"][0]) * 60))
        yield self._step(stage, "dry", Part.RECIPE, (words,), figures=tuple(figures), minutes=minutes)
        words = _("Let some pieces cool, and test them. They pass the test:")
        yield self._end(stage, words, (plan["test"],))

    def _condition(self, stage: Stage) -> Iterator[StoveStep]:
        words = (_("Shake the jar, and look at its lid."), _("Drops, or pieces that stick, go back to the drier."))
        yield self._look(stage, words, ("moisture",))
        yield self._end(stage, _("The days of conditioning are over."), ())

    def _pasteurise(self, stage: Stage) -> Iterator[StoveStep]:
        yield self._end(stage, _("Leave it in the freezer, closed, until the time is over."), ())

    def _look(self, stage: Stage, words: Sequence[object], asks: tuple[str, ...]) -> StoveStep:
        figures = []
        if stage.look_due_at is not None:
            figures.append(Figure(_("Look at it by"), zoned_text(stage.look_due_at)))
        return self._step(stage, "look", Part.LOOK, words, figures=tuple(figures), asks=asks)

    def _end(self, stage: Stage, heading: object, more: Sequence[object]) -> StoveStep:
        figures = []
        if stage.ends_from is not None and stage.kind in BY_THE_CLOCK:
            label = _("Not before") if stage.began_at else _("About")
            figures.append(Figure(label, zoned_text(stage.ends_from)))
            if stage.ends_by is not None and stage.ends_by != stage.ends_from:
                figures.append(Figure(_("It may take until"), zoned_text(stage.ends_by)))
        return self._step(stage, "end", Part.END, (heading, *more), figures=tuple(figures), is_end=True)

    def _put_up(self) -> tuple[str, ...]:
        if self.batch.way == Way.FERMENT:
            return (_("Put it into the refrigerator, or can it by its own table."),)
        if self.batch.way == Way.DRY:
            return (_("Put it into containers, weigh them, and label them."),)
        return (_("Pack it, weigh it, label it, and put it into the freezer."),)

    def _put_up_figures(self) -> Iterator[Figure]:
        plan = self.plan
        if plan.get("headspace_in"):
            yield Figure(_("Headspace"), _("%(n)s in") % {"n": mixed_words(plan["headspace_in"])})
        if plan.get("syrup_percent"):
            yield Figure(_("Syrup"), _("%(n)s %% sugar") % {"n": range_words(plan["syrup_percent"])})
        for key, label in (("sugar", _("Sugar")), ("ascorbic_acid", _("Ascorbic acid")), ("keep", _("Kept"))):
            if plan.get(key):
                yield Figure(label, plan[key])


class _Steps:
    """Makes the screens of one batch."""

    def __init__(self, batch: Batch, units: str) -> None:
        self.batch, self.plan, self.units = batch, batch.plan, units
        self.tested = batch.cooked_from.tested
        pack = Pack(batch.pack) if batch.pack else None
        sizes = [row["size"] for row in self.plan.get("jars", ())]
        method = self.tested.method
        mine = [step for step in self.tested.steps if step.is_for(pack=pack, method=method, jars=sizes)]
        self.before, self.screens = split_steps(steamed(mine) if batch.canner == Canner.STEAM else mine)
        if batch.water_f is not None:
            self.screens = {}  # the recipe's own words are of water that boils

    def __iter__(self) -> Iterator[StoveStep]:
        loads = self.loads
        for pot in range(1, self.batch.pots + 1):
            yield from self._pot(pot)
            for load in loads:
                if load["pot"] == pot or (pot == self.batch.pots and load["pot"] > pot):
                    yield from self._load(load)
        if self.batch.is_cold_kind:
            chilled = _("Put them into the refrigerator.")
            words = chilled if self.batch.is_chilled_kind else _("Put them into the freezer.")
            yield StoveStep("out", Part.OUT, (words,), jars=self._jars(self.plan.get("jars", ())))
        yield from self._cool()

    @cached_property
    def loads(self) -> list[dict[str, Any]]:
        """Of the plan's day; one with all jars where the day could not be timed, none for the freezer."""
        if self.batch.is_cold_kind:
            return []
        whole = {"number": 1, "pot": self.batch.pots, "jars": self.plan.get("jars", ())}
        return self.plan.get("loads") or [whole]

    def _pot(self, pot: int) -> Iterator[StoveStep]:
        where = _("Pot %(n)s of %(all)s") % {"n": pot, "all": self.batch.pots} if self.batch.pots > 1 else ""
        for at, step in enumerate(self.before, start=1):
            text = str(step)
            yield StoveStep(
                key=f"p{pot}s{at}",
                part=Part.RECIPE,
                words=(prose(text, self.units),),
                where=where,
                figures=(*self._amounts(text), *self._points(text)),
                timers=self._timers(f"p{pot}s{at}", minutes_in(text)),
            )

    def _load(self, load: dict[str, Any]) -> Iterator[StoveStep]:
        number, jars = int(load["number"]), self._jars(load["jars"])
        where = ""
        if len(self.loads) > 1:
            where = _("Canner load %(n)s of %(all)s") % {"n": number, "all": len(self.loads)}

        def step(part: Part, words: tuple[str, ...], **rest: Any) -> StoveStep:
            key = f"l{number}{part.value}"
            timers = self._timers(key, rest.pop("minutes", ()))
            return StoveStep(key, part, words, where, load=number, jars=jars, timers=timers, **rest)

        pressure, vent = self.batch.required_psi is not None, (self.plan.get("process") or {}).get("vent_minutes")
        filled = tuple(Figure(str(JARS[size]), str(count)) for size, count in jars)
        into = _("Put the jars on the rack, fasten the lid and heat the canner until steam streams from the vent.")
        if not pressure:
            into = _("Put the jars into the canner, lid on, and bring its water back to the boil.")
        if self.batch.water_f is not None:
            into = _(
                "Stand the jars in the canner, half full of water of 120 to 140 °F (49 to 60 °C), add hot water until"
                " it stands an inch over them, and heat it to %(f)s °F (82 °C)."
            ) % {"f": self.batch.water_f}
        if self.batch.canner == Canner.STEAM:
            into = _("Put the hot jars on the rack, lid on, and heat until steam streams out in an even column.")
        yield step(Part.HEAT, self._said(Part.HEAT, into), figures=filled)
        if pressure and vent:
            words = _("Let steam stream from the open vent for %(n)s minutes before closing it.") % {"n": vent}
            yield step(Part.VENT, self._said(Part.VENT, words), minutes=[vent])
        yield step(
            Part.PROCESS,
            (self._process_words(), *self.screens.get(Part.PROCESS, ())),
            figures=tuple(self._process()),
            minutes=[self.batch.required_minutes],
        )
        off = _("Turn the heat off. Let the pressure fall to nothing by itself.")
        if not pressure:
            off = _("Turn the heat off, take the canner's lid off and let the jars stand.")
        rest = self._said(Part.REST, off)
        yield step(Part.REST, rest, minutes=[] if pressure else self._stand(number, rest))
        out = _("Lift the jars straight up and set them apart on a towel, out of draughts.")
        yield step(Part.OUT, self._said(Part.OUT, out))

    def _stand(self, load: int, words: Sequence[str]) -> list[int]:
        """How long jars stand in the open canner, by the plan's day; else as the recipe's text says."""
        day = self.plan.get("timeline") or ()
        timed = [
            one["end_min"] - one["start_min"] for one in day if one["what"].startswith("rest") and one["load"] == load
        ]
        return timed[:1] or [minutes for text in words for minutes in minutes_in(text)][:1]

    def _cool(self) -> Iterator[StoveStep]:
        if not self.batch.is_cold_kind:
            words = _("Leave the jars undisturbed for 12 to 24 hours, then look at every seal.")
            yield StoveStep("cool", Part.COOL, self._said(Part.COOL, words))

    def _said(self, part: Part, ours: str) -> tuple[str, ...]:
        """The recipe's own sentences for a screen; ours where it has none."""
        return tuple(prose(text, self.units) for text in self.screens.get(part, ())) or (ours,)

    def _process_words(self) -> str:
        if self.batch.water_f is not None:
            text = _("Count from when the water shows %(f)s °F (82 °C). Write down what it shows every 5 minutes.")
            return text % {"f": self.batch.water_f}
        if self.batch.required_psi is None:
            return _("Count from the moment the water boils.")
        return _("Count from the moment the gauge shows the pressure.")

    def _process(self) -> Iterator[Figure]:
        batch = self.batch
        yield Figure(_("Process"), _("%(minutes)s minutes") % {"minutes": batch.required_minutes})
        if batch.water_f is not None:
            low = batch.plan["low_temperature"]
            yield Figure(_("The water"), heat_words(Fraction(low["low_f"]), Fraction(low["high_f"])))
        psi = batch.setting_psi if batch.setting_psi is not None else batch.required_psi
        if psi is not None:
            label = batch.canner_card.code if batch.canner_card else _("The gauge must show")
            yield Figure(label, pressure_text(psi))
            for row in batch.canners_beside.all():
                if row.setting_psi is not None:
                    yield Figure(row.card.code, pressure_text(row.setting_psi))

    def _timers(self, key: str, minutes: Iterable[int | None]) -> tuple[StepTimer, ...]:
        given = [one for one in minutes if one]
        return tuple(StepTimer(key if not at else f"{key}t{at + 1}", one) for at, one in enumerate(given))

    def _jars(self, rows: Iterable[dict[str, Any]]) -> tuple[tuple[str, int], ...]:
        return tuple((row["size"], row["count"]) for row in rows)

    def _amounts(self, text: str) -> Iterator[Figure]:
        said = set(_words_of(text))
        for label, first, beside in self.amounts:
            names = _words_of(label.partition(",")[0].partition("(")[0])
            if names and names[-1] in said:
                yield Figure(label, first, beside)

    @cached_property
    def amounts(self) -> list[tuple[str, str, str]]:
        return amounts_of(self.batch, self.units)

    def _points(self, text: str) -> Iterator[Figure]:
        """What this kitchen must mind in a step that speaks of it."""
        lower, points = text.lower(), self.points
        if "headspace" in lower:
            yield Figure(_("Headspace"), headspace_text(self.tested.headspace_in))
        if "sterilis" in lower and self.plan.get("sterilise_jars"):
            n = sterilise_minutes(self.batch.altitude)
            yield Figure(_("Boil the empty jars"), ngettext("%(n)s minute", "%(n)s minutes", n) % {"n": n})
        if points and "thermometer" in lower:
            yield Figure(_("Water boils here at"), points.boiling)
            if self.tested.endpoint_f_above_boiling:
                yield Figure(_("Done, by the thermometer, at"), points.jelly)

    @cached_property
    def points(self) -> Any:
        return kitchen_points(self.batch.altitude, self.tested)


def amounts_of(batch: Batch, units: str) -> list[tuple[str, str, str]]:
    """Each ingredient of one pot: its name, the amount in the reader's units, and beside it in the others."""
    if batch.is_in_containers:
        weighed = [(line["item"], line["grams"]) for line in batch.plan["lines"]]
        return [(item, _("%(n)s g") % {"n": grams} if grams else "", "") for item, grams in weighed]
    return [
        (f"{line.item}, {line.prep}" if line.prep else line.item, line.per_pot, line.per_pot_beside)
        for line in kept_lines(batch.plan["lines"], units)
    ]


def _words_of(text: str) -> list[str]:
    """In small letters, without endings of the plural."""
    return [re.sub(r"(?<=[a-z]{3})(ies|es|s)$", "", word) for word in re.findall(r"[a-z]+", text.lower())]


# Where the cook stands.

# Done once for each count of the minutes: a break found later opens them again.
_OF_THE_COUNT = (Part.PROCESS, Part.REST, Part.OUT)


@dataclass(frozen=True)
class Running:
    """A timer that was begun: on which step, since when, until when, by whom."""

    timer: StepTimer
    step: StoveStep
    began: Press
    is_over: bool  # what it was for is done

    @property
    def ends_at(self) -> datetime:
        return self.began.at + timedelta(minutes=self.timer.minutes)

    def left(self, now: datetime) -> timedelta:
        return self.ends_at - now


@dataclass(frozen=True)
class Held:
    """What one canner load got: the whole minutes counted without a break, since and until when."""

    load: int
    began_at: datetime
    ended_at: datetime

    @property
    def minutes(self) -> int:
        return int(elapsed(self.began_at, self.ended_at) / timedelta(minutes=1))


@dataclass
class Course:
    """Everything that was pressed for a batch, worked out. `presses` in order, slips and what took them back too."""

    batch: Batch
    steps: list[StoveStep]
    presses: Sequence[Press]
    by_key: dict[str, StoveStep] = field(init=False)
    timers: dict[str, tuple[StoveStep, StepTimer]] = field(init=False)

    def __post_init__(self) -> None:
        self.by_key = {step.key: step for step in self.steps}
        self.timers = {timer.key: (step, timer) for step in self.steps for timer in step.timers}

    @cached_property
    def live(self) -> list[Press]:
        slips = {press.takes_back_id for press in self.presses if press.takes_back_id}
        kept = [press for press in self.presses if press.pk not in slips and press.kind != PressKind.TAKEN_BACK]
        return sorted(kept, key=lambda press: (press.at, press.pk))

    def count_of(self, key: str) -> int:
        """Which count of these minutes it is: one more after each break and each beginning that was a slip."""
        by_pk = {press.pk: press for press in self.presses}
        count = 0
        for press in self.presses:
            if press.kind == PressKind.FELL and press.step == key:
                count += 1
            elif press.takes_back_id and by_pk[press.takes_back_id].kind == PressKind.BEGAN:
                count += by_pk[press.takes_back_id].step == key
        return count

    def count_to_note(self, kind: str, key: str) -> int:
        """What a press notes as its count. To turn the heat off, to let stand and to lift out hang on the minutes."""
        if kind in (PressKind.BEGAN, PressKind.FELL):
            return self.count_of(key)
        step = self.by_key.get(key)
        if kind == PressKind.DONE and step and step.load and step.part in _OF_THE_COUNT:
            return self.count_of(f"l{step.load}{Part.PROCESS}")
        return 0

    def _noted(self, key: str, kind: PressKind) -> Press | None:
        count = self.count_to_note(kind, key)
        return next((one for one in self.live if (one.step, one.kind, one.count) == (key, kind, count)), None)

    def began(self, key: str) -> Press | None:
        """The beginning that counts now; None where nothing counts."""
        return self._noted(key, PressKind.BEGAN)

    def done(self, step: StoveStep) -> Press | None:
        return self._noted(step.key, PressKind.DONE)

    def fell(self, key: str) -> Press | None:
        """The last break of these minutes, where they were not begun again since."""
        breaks = [one for one in self.live if one.step == key and one.kind == PressKind.FELL]
        return breaks[-1] if breaks and self.began(key) is None else None

    @cached_property
    def done_keys(self) -> set[str]:
        return {step.key for step in self.steps if self.done(step)}

    @cached_property
    def here(self) -> StoveStep:
        """Where the cook is: a process whose heat was lost; else the first step to do after the one done last."""
        for step in self.steps:
            if self.fell(step.key):
                return step
        at = {step.key: number for number, step in enumerate(self.steps)}
        lasts = [one for one in self.live if one.kind == PressKind.DONE and one.step in self.done_keys]
        first = at[lasts[-1].step] + 1 if lasts else 0
        left = [step for step in [*self.steps[first:], *self.steps[:first]] if step.key not in self.done_keys]
        return left[0] if left else self.steps[-1]

    def after(self, step: StoveStep) -> StoveStep | None:
        at = self.steps.index(step) + 1
        return self.steps[at] if at < len(self.steps) else None

    def before(self, step: StoveStep) -> StoveStep | None:
        at = self.steps.index(step)
        return self.steps[at - 1] if at else None

    @cached_property
    def running(self) -> list[Running]:
        """The timers that count, or rang and were not gone on from; what runs out first stands first."""
        found = []
        for key, (step, timer) in self.timers.items():
            began = self.began(key)
            if began is not None and step.key not in self.done_keys:
                found.append(Running(timer, step, began, is_over=False))
        return sorted(found, key=lambda one: one.ends_at)

    # What the log is filled with.

    @cached_property
    def held(self) -> list[Held]:
        """The loads whose process was held to its end."""
        found = []
        for step in self.steps:
            began, done = self.began(step.key), self.done(step)
            if step.is_process and began and done and step.load:
                found.append(Held(step.load, began.at, done.at))
        return found

    @property
    def loads(self) -> int:
        return len({step.load for step in self.steps if step.load})

    @cached_property
    def outs(self) -> list[Press]:
        return [done for step in self.steps if step.is_out and (done := self.done(step))]

    @property
    def is_all_out(self) -> bool:
        """Every load was held to its end and came out."""
        return len(self.outs) == max(self.loads, 1) and len(self.held) == self.loads

    def tally(self, kind: PressKind) -> Counter[str]:
        return Counter(press.size for press in self.live if press.kind == kind)

    @cached_property
    def planned(self) -> Counter[str]:
        counts: Counter[str] = Counter()
        for step in self.steps:
            if step.is_out:
                counts.update(dict(step.jars))
        return counts

    @cached_property
    def jars(self) -> dict[str, int]:
        """Jars processed by size: as planned, but for those that were pressed to be fewer or more."""
        short, more = self.tally(PressKind.SHORT), self.tally(PressKind.MORE)
        sizes = [*self.planned, *(size for size in more if size not in self.planned)]
        return {size: max(self.planned[size] + more[size] - short[size], 0) for size in sizes}

    @property
    def lowest_psi(self) -> Decimal | None:
        """The lowest that was read or attested while the counts that stand went on; None: nothing was said."""
        setting = self.batch.setting_psi if self.batch.setting_psi is not None else self.batch.required_psi
        if setting is None or not self.held:
            return None
        since = {f"l{one.load}{Part.PROCESS}": one.began_at for one in self.held}
        read = [
            press.psi
            for press in self.live
            if press.kind == PressKind.GAUGE and press.psi is not None and press.step in since
            if press.at >= since[press.step]
        ]
        # Whoever turned the heat off said that no gauge fell below its setting.
        return min([Decimal(setting), *read])

    @property
    def lid_code(self) -> str:
        codes = [press.words for press in self.live if press.kind == PressKind.LIDS]
        return codes[-1] if codes else ""

    def notes(self) -> list[str]:
        """What happened besides, in a sentence each, for the log."""
        said = []
        for press in self.live:
            when = {"at": zoned_text(press.at), "who": press.by}
            if press.kind == PressKind.FELL:
                text = _("The boil or the pressure was lost at %(at)s (%(who)s); the whole time was counted anew.")
                said.append(text % when)
        sizes = [
            (kind, size, n) for kind in (PressKind.BROKE, PressKind.FRIDGE) for size, n in self.tally(kind).items()
        ]
        for kind, size, n in sizes:
            what = {"n": n, "size": JARS[size]}
            if kind == PressKind.BROKE:
                said.append(_("Broke at the stove: %(n)s × %(size)s.") % what)
            else:
                said.append(_("Into the refrigerator, not processed: %(n)s × %(size)s.") % what)
        if any(press.is_doubtful for press in self.live):
            said.append(_("A phone's clock was moved meanwhile; the stricter times were taken."))
        return said

    @property
    def count_rule(self) -> Rule:
        """When the minutes count, and when they begin anew."""
        if self.batch.water_f is not None:
            return LOW_TEMPERATURE
        return RULES["BWC-RESTART" if self.batch.required_psi is None else "PC-RESTART"]

    @property
    def seals_from(self) -> datetime | None:
        """When the seals are looked at, once all jars are out."""
        if self.batch.window is not None:
            return self.batch.window.opens
        return self.outs[-1].at + COOL_MIN if self.outs and self.is_all_out and self.loads else None


@dataclass(frozen=True)
class Noted:
    """That something is done, whether it was pressed here or written on the batch's own page."""

    at: datetime
    by: object


@dataclass
class KeptCourse(Course):
    """The same of a batch in stages: a stage that ended has all its screens done, whoever ended it and wherever."""

    stages: Sequence[Stage] = ()

    def _stage(self, step: StoveStep) -> Stage | None:
        return next((one for one in self.stages if one.number == step.stage), None)

    def done(self, step: StoveStep) -> Press | Noted | None:  # type: ignore[override]  # has the same moment and person
        stage = self._stage(step)
        if stage is not None and stage.ended_at is not None:
            return Noted(stage.ended_at, stage.ended_by)
        return None if step.is_end or step.part in (Part.LOOK, Part.PH) else super().done(step)

    @cached_property
    def running_stage(self) -> Stage | None:
        return next((stage for stage in self.stages if stage.is_running), None)

    @cached_property
    def here(self) -> StoveStep:
        """In the stage that runs: the first screen that is not done; where it is looked at day by day, the look, until
        its time is over."""
        stage = self.running_stage
        mine = [step for step in self.steps if stage is not None and step.stage == stage.number]
        left = [step for step in mine if step.key not in self.done_keys]
        if stage is None or not left:
            return self.steps[-1]
        if left[0].part is Part.LOOK and not self._is_look_due(stage) and self._is_ripe(stage):
            return left[1]
        return left[0]

    def _is_look_due(self, stage: Stage) -> bool:
        return stage.look_due_at is not None and stage.look_due_at <= timezone.now()

    def _is_ripe(self, stage: Stage) -> bool:
        return stage.ends_from is not None and stage.ends_from <= timezone.now()

    @cached_property
    def running(self) -> list[Running]:
        """Beside what was pressed to count: when the next look is due, and when the stage may end."""
        found, stage = list(super().running), self.running_stage
        if stage is not None and stage.began_at is not None:
            last = max([stage.began_at, *(check.at for check in stage.checks.all())])
            by_part = {step.part: step for step in self.steps if step.stage == stage.number}
            for part, since, ends in (
                (Part.LOOK, last, stage.look_due_at),
                (Part.END, stage.began_at, stage.ends_from if stage.kind in BY_THE_CLOCK else None),
            ):
                step = by_part.get(part)
                if step is not None and ends is not None:
                    timer = StepTimer(step.key, ceil((ends - since) / timedelta(minutes=1)))
                    since = ends - timedelta(minutes=timer.minutes)
                    began = Press(step=step.key, kind=PressKind.BEGAN, at=since, by=self.batch.made_by)
                    found.append(Running(timer, step, began, is_over=False))
        return sorted(found, key=lambda one: one.ends_at)

    @property
    def warning(self) -> Rule | None:
        """What the last look or the last pH of the stage that runs is a reason for."""
        stage = self.running_stage
        if stage is None:
            return None
        looks, readings = list(stage.checks.all()), [one for one in stage.readings.all() if one.measured == Measured.PH]
        if looks and looks[0].is_spoilt:
            return SPOILT
        return PH_TOO_HIGH if readings and readings[0].is_above_limit else None


def course_of(batch: Batch, units: str = "metric", presses: Sequence[Press] | None = None) -> Course:
    """`presses` from a caller who read them for several batches."""
    found = list(batch.presses.in_order()) if presses is None else presses
    if batch.is_in_containers:
        rows = batch.stages.select_related("ended_by").prefetch_related("checks", "readings").order_by("number")
        stages = list(rows)
        return KeptCourse(batch, list(_KeptSteps(batch, stages)), found, stages=stages)
    return Course(batch, steps_of(batch, units), found)
