"""What a proposed change and its verdict are, as values. Nothing here decides."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from recipes.engine.quantities import Amount


class Ruling(StrEnum):
    """The three answers. The order is from best to worst."""

    FINE = "fine"
    QUALITY = "quality"  # safe, but it will set, keep, look or taste less well
    REFUSED = "refused"


ORDER = (Ruling.FINE, Ruling.QUALITY, Ruling.REFUSED)


@dataclass(frozen=True)
class Verdict:
    """The answer to one change: `rule` is a name in `CHANGE_RULES`, `message` says why and what to do."""

    verdict: Ruling
    rule: str
    source: str
    message: str
    change: str = ""  # the change as it was written
    reading: str = ""  # what was read, in plain words; "" where nothing was
    nearest: tuple[str, ...] = ()  # of a text not understood: the nearest wishes that can be read


@dataclass(frozen=True)
class Checked:
    """The answers to several changes wanted together, in the order they were asked; `verdict` is the worst."""

    verdicts: tuple[Verdict, ...]

    @property
    def verdict(self) -> Ruling:
        return max((answer.verdict for answer in self.verdicts), key=ORDER.index, default=Ruling.FINE)


class Act(StrEnum):
    """What is done to the recipe. `UNREAD` is a text that was not understood."""

    ADD = "add"
    LESS = "less"
    MORE = "more"
    OMIT = "omit"
    SET = "set"  # a new amount of something in the recipe
    SWAP = "swap"
    USE = "use"  # "use honey", "5 cups sugar": a new amount, a swap or an addition, by what the recipe holds
    FORM = "form"  # frozen, canned, dried, fresh, bottled, without naming the food
    ACIDITY = "acidity"
    JAR = "jar"
    PACK = "pack"
    POT = "pot"
    PROCESS = "process"
    PRESSURE = "pressure"
    CANNER = "canner"
    HEADSPACE = "headspace"
    SYRUP = "syrup"  # the strength of the syrup that fruit is packed in
    PRACTICE = "practice"
    ACCIDENT = "accident"  # something went wrong with jars: no change to a recipe at all
    UNREAD = "unread"


# What `Change.word` says of how a food was named.
BARE = "bare"  # a food alone, without a verb
ADDED = "added"  # said to come on top of what the recipe has
FOR = "for"  # "A for B", said of both directions too
HALVES = "halves"  # a part of one in place of the other, with the whole measure kept
PART = "part"  # a swap of which only a part was said, of the new thing
ABOUT = "about"  # an amount that may be less: about, up to, at most
ALL = "all"  # "all red peppers": in place of the others
LITTLE = "little"  # an amount without a measure: a pinch, a splash, to taste


@dataclass(frozen=True)
class Change:
    """One change, read.

    `item` is the food added, or the food of the recipe that is changed; `other` takes its place in a swap.
    `factor` is new over old (1/2 is half as much; in a swap, the part that is swapped). `word` is a jar size,
    pack, canner, form or the code of a practice rule. `per_jar` is the jar that the new amount was said for:
    "pint", "quart", "half-pint", or "jar" where no size was said. `either_way` marks "swap A for B", which people say
    of both directions.
    """

    act: Act
    item: str = ""
    other: str = ""
    amount: Amount | None = None
    other_amount: Amount | None = None
    factor: Fraction | None = None
    word: str = ""
    per_jar: str = ""
    told: tuple[Fraction, ...] = ()  # numbers read as what the recipe has now; they decide nothing
    either_way: bool = False
    text: str = ""


@dataclass(frozen=True)
class ChangeRule:
    """One decision: `rule` names it, `advice` says what to do; several decisions may rest on one rule."""

    code: str
    verdict: Ruling
    rule: str
    statement: str
    source: str
    seen: str  # a value of `Seen`, or "none" where nothing is printed
    advice: str = ""

    def answer(self, change: str, detail: str = "") -> Verdict:
        message = " ".join(part for part in (detail, self.statement, self.advice) if part)
        return Verdict(self.verdict, self.rule, self.source, message, change)


@dataclass(frozen=True)
class Decision:
    """A code of `CHANGE_RULES`, and what was found that led to it."""

    code: str
    detail: str = ""


def worst(answers: list[Verdict]) -> Verdict:
    """The answer that weighs most; of equals the first."""
    return max(answers, key=lambda answer: ORDER.index(answer.verdict))
