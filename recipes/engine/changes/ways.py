"""Reading what is said of jars, packs, pots, canners, heat and ways of working, and what tells of an accident.

A way of working or a frame is read only where it accounts for every word; an accident wherever it stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache, lru_cache

from recipes.engine.changes.foods import foods
from recipes.engine.changes.normalise import STOP, Token
from recipes.engine.changes.terms import Act, Change
from recipes.engine.changes.vocabulary import data, food_words, phrases
from recipes.engine.quantities import JAR_SIZES

_INSTEAD = {"instead", "rather", "not", "lieu", "place"}
_TURN = {"->", "to", "with", "by"}


def text_of(tokens: Sequence[Token]) -> str:
    return " ".join(str(token.value) if token.value is not None else token.word for token in tokens)


# Lines of `ways.toml`.


@cache
def _pattern(line: str) -> re.Pattern[str]:
    """A line as a pattern over words, each followed by one blank."""
    parts = []
    for word in line.split():
        if word.startswith("~"):
            parts.append(rf"(?:\S+ ){{0,{word[1:]}}}")
            continue
        known = data("ways")["class"].get(word.strip("<>").rstrip("?>"), "") if word.startswith("<") else ""
        options = "|".join(
            re.escape(option).replace(r"\*", r"\S*") for option in (known.split() or word.rstrip("?").split("|"))
        )
        parts.append(rf"(?:(?:{options}) )" + ("?" if word.endswith("?") else ""))
    return re.compile(r"(?<!\S)" + "".join(parts))


@cache
def _needs(line: str) -> frozenset[str]:
    """Words of which a text has at least one if it holds the line; none where that cannot be said by a word."""
    for word in line.split():
        known = data("ways")["class"].get(word.strip("<>").rstrip("?>"), "") if word.startswith("<") else ""
        options = known.split() or word.split("|")
        if not word.startswith("~") and not word.endswith("?") and not any("*" in option for option in options):
            return frozenset(options)
    return frozenset()


def _holds(line: str, words: set[str], text: str) -> bool:
    needed = _needs(line)
    return not (needed and needed.isdisjoint(words)) and bool(_pattern(line).search(text + " "))


@cache
def _own_words(line: str) -> tuple[frozenset[str], tuple[str, ...]]:
    """The words of a line, and the beginnings of words that it has."""
    classes = data("ways")["class"]
    words = [
        option
        for part in line.split()
        if not part.startswith("~")
        for option in (classes[part.strip("<>?")].split() if part.startswith("<") else part.rstrip("?").split("|"))
    ]
    return frozenset(words), tuple(word[:-1] for word in words if word.endswith("*"))


@cache
def idle_words() -> frozenset[str]:
    """Words that say nothing beside a way of working."""
    return frozenset(data("ways")["idle"]["words"].split())


def _says(entry: dict[str, object], text: str) -> str:
    """The line of an entry that a text holds, or ""."""
    words = set(text.split())
    if words & set(str(entry.get("never", "")).split()):
        return ""
    unless = entry.get("unless", [])
    says = entry["says"]
    assert isinstance(unless, list)
    if any(_holds(line, words, text) for line in unless):
        return ""
    assert isinstance(says, list)
    return next((line for line in says if _holds(line, words, text)), "")


def read_accident(tokens: Sequence[Token]) -> Change | None:
    """The accident that a text tells of, if it tells of one."""
    text = " ".join(word for word in text_of(tokens).split() if word not in (STOP, ","))
    found = next((entry for entry in data("ways")["accident"] if _says(entry, text)), None)
    return Change(Act.ACCIDENT, word=found["code"]) if found else None


def is_later(tokens: Sequence[Token]) -> bool:
    """Whether a text speaks of a time when the jar is opened or eaten from."""
    return bool(_says(data("ways")["later"], text_of(tokens)))


# What may begin another wish: a way that names foods is read only without them.
_ANOTHER_WISH = frozenset({",", "and", "&", "or", "plus", "also", "then", "too", "well", "but"})


def _read_way(tokens: Sequence[Token]) -> Change | None:
    text = " ".join(word for word in text_of(tokens).split() if word != ",")
    is_one = not any(token.word in _ANOTHER_WISH for token in tokens)
    for group in ("allowed", "refused"):
        for entry in data("ways")[group]:
            if entry.get("one") and not (is_one and any(_pattern(line).match(text + " ") for line in entry["says"])):
                continue
            if (line := _says(entry, text)) and _accounts_for(entry, line, text, group):
                return Change(Act.PRACTICE, word=entry["code"])
    return None


def _accounts_for(entry: dict[str, object], line: str, text: str, group: str) -> bool:
    own, begins = _own_words(line)
    may = idle_words() | own | set(str(entry.get("may", "")).split())
    if group == "allowed":
        may = may - set(data("ways")["idle"]["only_refused"].split()) | set(str(entry.get("may", "")).split()) | own
    words = text.split()
    if entry.get("foods"):  # one thing put in, whatever it is: a second verb may put in another
        may = may | food_words()
        if sum(word in _PUTS_IN for word in words) > 1:
            return False
    return all(word in may or (begins and word.startswith(begins)) for word in words)


_PUTS_IN = frozenset({"add", "stir", "mix", "put"})


# Frames: a jar, a pack, a pot, a canner, a time, a pressure, a headspace.

_BY_SIZE = ("smaller", *JAR_SIZES, "gallon", "larger")
_PLAIN = {
    "1/2 gallon",
    "1/2 pint",
    "1/4 pint",
    "pint",
    "quart",
    "half pint",
    "quarter pint",
    "half gallon",
    "gallon",
    "liter",
    "litre",
}
_FACTORS = {
    "double": Fraction(2),
    "doubled": Fraction(2),
    "doubling": Fraction(2),
    "twice": Fraction(2),
    "triple": Fraction(3),
    "tripled": Fraction(3),
    "quadruple": Fraction(4),
    "half": Fraction(1, 2),
    "halve": Fraction(1, 2),
    "halved": Fraction(1, 2),
    "halving": Fraction(1, 2),
    "third": Fraction(1, 3),
    "quarter": Fraction(1, 4),
}
_POTS = {"load", "pot", "batch", "recipe", "everything", "quantity", "lot", "ingredient", "thing"}


@cache
def _change(way: str) -> frozenset[str]:
    return frozenset(data("ways")["change"][way].split())


@cache
def _allowed(name: str) -> frozenset[str]:
    return frozenset((data("ways")["frame"][name] + " " + data("ways")["frame"]["instead"]).split())


@cache
def _sizes() -> dict[str, str]:
    """Each name of a jar size, and the size."""
    return {name: size for size, names in data("ways")["size"].items() for name in phrases(names)}


@cache
def vessel_words() -> frozenset[str]:
    """Every word of a jar's size or of a syrup: without one of them no jar and no syrup is spoken of."""
    names = [*_sizes(), *(name for names in data("ways")["syrup"].values() for name in phrases(names))]
    return frozenset(word for name in names for word in name.split()) | {"syrup", "jar"}


@cache
def _size_pattern() -> re.Pattern[str]:
    return re.compile(r"(?<!\S)(" + "|".join(sorted(map(re.escape, _sizes()), key=len, reverse=True)) + r")(?!\S)")


def _chosen(found: Sequence[tuple[str, int]], text: str, *, order: Callable[[str], int] | None = None) -> str | None:
    """Of an old and a new thing in a text, with where each stands: the new one; None where it is not plain."""
    if len(found) == 1:
        return found[0][0]
    if len(found) != 2:
        return None
    (first, _), (second, at) = found
    between = set(text[:at].split())
    if between & _INSTEAD:
        return second if text.startswith(("instead of", "rather than")) else first
    if between & _TURN:
        return second
    if "for" in between and order is not None:
        return max(first, second, key=order)  # said both ways
    return None


def _jar(tokens: Sequence[Token], text: str) -> Change | None:
    found = [(_sizes()[match[1]], match.start(), match[1]) for match in _size_pattern().finditer(text)]
    if not found:
        return None
    rest = set(_size_pattern().sub(" ", text).split()) - {","}
    if rest - _allowed("jar") - {"->", "for", "to", "change", "swap", "switch", "replace", "than"}:
        return None
    if len(found) > 1 and not rest & (_INSTEAD | _TURN | {"than"}):
        found = [one for one in found if one[0] not in ("smaller", "larger")] or found  # "little 4 oz jars"
    measured = rest & {"a", "of", "one"} and not rest & _INSTEAD
    named = "jar" in rest or any("jar" in said.split() for *_, said in found)
    if not named and (measured or not all(said in _PLAIN for *_, said in found)):
        return None  # an amount, perhaps
    if len(found) == 1 and "not" in rest:
        return None
    if "than" in rest and found[0][0] in ("smaller", "larger"):
        found = found[:1]  # "smaller jars than pints"
    name = _chosen([(size, at) for size, at, _ in found], text, order=_BY_SIZE.index)
    return Change(Act.JAR, word=name) if name else None


def _pack(tokens: Sequence[Token], text: str) -> Change | None:
    found = [(match[1], match.start()) for match in re.finditer(r"(?<!\S)(hot|raw|cold)(?!\S)", text)]
    rest = set(text.split()) - {"hot", "raw", "cold"}
    if not found or rest - _allowed("pack") - {"->", "to", "change", "swap", "switch"}:
        return None
    word = _chosen(found, text)
    return Change(Act.PACK, word="raw" if word == "cold" else word) if word else None


def _pot(tokens: Sequence[Token], text: str) -> Change | None:
    words = text.split()
    numbers = [token.value for token in tokens if token.value is not None]
    plain = {token.word for token in tokens if token.value is None}
    factors = [_FACTORS[word] for word in words if word in _FACTORS]
    signs = plain & {"x", "time", "times", "%", "*", "=", "->"}
    sized = plain & {"bigger", "larger", "big", "large", "smaller", "small"}
    rest = plain - _allowed("pot") - set(_FACTORS) - signs - sized
    if rest or len(numbers) + len(factors) > 1:
        return None
    if (
        not plain & _POTS
        and not (re.fullmatch(r"(?:make )?(?:x \S+|\S+ x)", text) and numbers)
        and text
        not in (
            *("double it", "halve it", "triple it", "double", "halve"),
            *("make double", "make half", "half of it all", "double it all", "halve it all"),
        )
    ):
        return None
    if sized and not numbers and not factors:
        return Change(Act.POT, word="smaller" if sized & {"smaller", "small"} else "larger")
    if "part" in plain and not numbers and not factors:
        return Change(Act.POT, word="smaller")
    if factors:
        return Change(Act.POT, factor=factors[0])
    if not numbers or ("time" in plain and not {"at", "once", "same"} & plain and "x" in plain):
        return None
    value = numbers[0] / 100 if "%" in plain else numbers[0]
    at_once = plain & {"once", "together", "single", "same"}
    return Change(Act.POT, factor=max(value, Fraction(2)) if at_once else value)


@cache
def _canner_pattern() -> re.Pattern[str]:
    """A canner by any of its names; the group is the place of the canner in the list."""
    return re.compile(
        "|".join(
            rf"(?<!\S)(?P<c{at}>{'|'.join(map(re.escape, phrases(names)))})(?!\S)"
            for at, names in enumerate(data("ways")["canner"].values())
        )
    )


def _canner(tokens: Sequence[Token], text: str) -> Change | None:
    canners = list(data("ways")["canner"])
    found = [(canners[int((match.lastgroup or "c0")[1:])], match.start()) for match in _canner_pattern().finditer(text)]
    if not found or text in ("boiling water", "water", "pressure") or "psi" in text.split():
        return None
    rest = _canner_pattern().sub(" ", text)
    told = re.search(
        r"(?<!\S)(?:for )?(?:an? )?(\S+) (?:minute|min)(?: [a-z]+)? (?:process|processing|time)(?!\S)", rest
    )
    rest = rest.replace(told[0], " ") if told else rest
    time = re.search(r"(?<!\S)([0-9/]+) (minute|min|hour|hr|h)(?!\S)", rest)
    rest = rest.replace(time[0], " ") if time else rest
    words = [word for word in rest.split() if word not in _allowed("canner") and word != "->"]
    if words and _INSTEAD & set(rest.split()):
        return None
    food = " ".join(words)
    if words and (tuple(words[-1:]) not in foods() and tuple(words) not in foods()):
        return None
    if words and not all(
        (word,) in foods() or word in ("green", "my", "wax", "red", "white", "ripe", "whole") for word in words
    ):
        return None
    name = _chosen(found, text)
    if name is None:
        return None
    minutes = _value(time[1]) * (60 if time[2].startswith("h") else 1) if time else None
    return Change(Act.CANNER, item=food, word=name, factor=minutes, told=(_value(told[1]),) if told else ())


def _value(text: str) -> Fraction:
    return Fraction(text) if re.fullmatch(r"[0-9]+(/[1-9][0-9]*)?", text) else Fraction(0)


_SKIPPED = {"process", "processing", "processed", "canning", "can", "canner", "waterbath", "treatment", "treat"}


def _process(tokens: Sequence[Token], text: str) -> Change | None:
    plain = {token.word for token in tokens if token.value is None}
    numbers = [token.value for token in tokens if token.value is not None]
    if not numbers and _is_skipped(plain, text):
        return Change(Act.PROCESS, word="skip")
    if not _is_of_time(plain, numbers) or plain - _allowed("process") - _change("less") - _change("more") - _OF_TIME:
        return None
    parts = {"half", "halve", "third", "quarter"}
    less = bool(plain & _change("less") or "-" in plain or (not numbers and plain & parts))
    more = bool(plain & _change("more") or "+" in plain)
    if less and more:
        return None
    water = "boiling-water" if plain & {"waterbath", "bath"} or "boiling water" in text else ""
    if (less or more) and not ("to" in plain and numbers):
        return Change(Act.PROCESS, item=water, word="shorter" if less else "longer")
    found = _minutes(plain, numbers, lower=less)
    return replace(found, item=water) if found and found.act is Act.PROCESS else found


_OF_TIME = {"->", "from", "to", "+", "-", "a", "third", "quarter"}


def _is_skipped(plain: set[str], text: str) -> bool:
    without = plain & {"skip", "omit", "no", "without", "not", "forget", "drop", "avoid", "leave"}
    what = plain & _SKIPPED or "boiling water" in text or "heat" in plain
    return bool(without and what) and plain <= _allowed("skip") and not {"instead", "rather"} & plain


def _is_of_time(plain: set[str], numbers: Sequence[Fraction]) -> bool:
    """Whether minutes are said, or a number or a change beside a word for the process or its time."""
    if plain & {"minute", "min", "hour", "hr"}:
        return True
    named = plain & {"process", "processing", "canning"}
    changed = plain & (_change("less") | _change("more"))
    if named and (changed or "time" in plain or (numbers and named != {"canning"})):
        return True
    return "time" in plain and bool(changed or "half" in plain)


def _minutes(plain: set[str], numbers: list[Fraction], *, lower: bool) -> Change | None:
    """The new minutes; of two the one that is new, and where that is not plain the smaller."""
    if not 0 < len(numbers) < 3:
        return None
    new = numbers[0]
    if len(numbers) == 2 and not plain & _INSTEAD:
        new = numbers[1] if plain & {"->", "from"} or lower else min(numbers)
    new *= 60 if plain & {"hour", "hr"} else 1
    if "boil" in plain and "jam" not in plain and len(numbers) == 1:
        return Change(Act.CANNER, word="boiling-water", factor=new)
    return Change(Act.PROCESS, factor=new, word="minutes")


def _pressure(tokens: Sequence[Token], text: str) -> Change | None:
    plain = {token.word for token in tokens if token.value is None}
    numbers = [token.value for token in tokens if token.value is not None]
    lower, higher = plain & _change("less"), plain & (_change("more") | {"higher"})
    if not plain & {"psi", "pressure", "pound"} or plain - _allowed("pressure") - _change("less") - _change("more") - {
        "higher"
    }:
        return None
    if not plain & {"psi", "pressure"} and plain - {"pound", "at", "use", "process", "with"}:
        return None
    if len(numbers) == 1 and not lower and not higher:
        return Change(Act.PRESSURE, factor=numbers[0])
    if len(numbers) == 2 and plain & _INSTEAD:
        return Change(Act.PRESSURE, factor=numbers[0])
    if bool(lower) == bool(higher) or plain & {"canner", "process"} and not numbers and "pressure" not in plain:
        return None
    return Change(Act.PRESSURE, word="lower" if lower else "higher")


def _headspace(tokens: Sequence[Token], text: str) -> Change | None:
    plain = {token.word for token in tokens if token.value is None}
    numbers = [token.value for token in tokens if token.value is not None]
    about = "headspace" in plain or "air space" in text or plain & {"overfill", "overfilled"}
    filled = "fill" in plain and plain & {"brim", "rim", "top", "full"}
    if not (about or filled) or plain - _allowed("headspace") or len(numbers) > 1:
        return None
    return Change(Act.HEADSPACE, factor=numbers[0] if numbers else None, word="" if numbers else "other")


def _syrup(tokens: Sequence[Token], text: str) -> Change | None:
    match = re.fullmatch(
        r"(?:use |in |with |pack in |pack |a |an |them |it |can |put up |make |the |sugar )*(.+?) (?:sugar )?syrup"
        r"(?: (?:instead|in place|rather)"
        r"(?: (?:of|than) (?:a |the )?(?:very |extra )?(?:medium|light|heavy)(?: syrup)?)?)?",
        text,
    )
    made = re.fullmatch(r"(?:the |make |sugar |a )*syrup (?:a |bit |little |much )*(\S+)", text)
    said = match[1].removesuffix(" sugar") if match else made[1] if made else ""
    name = next((name for name, words in data("ways")["syrup"].items() if said in phrases(words)), "")
    return Change(Act.SYRUP, word=name) if name else None


_FRAMES: tuple[Callable[[Sequence[Token], str], Change | None], ...] = (
    _syrup,
    _canner,
    _headspace,
    _pressure,
    _process,
    _pack,
    _pot,
    _jar,
)


def read_way(tokens: Sequence[Token]) -> Change | None:
    """The way of working, jar, pack, pot, canner, heat or headspace that these tokens wholly say, if they say one."""
    return _way_of(tuple(tokens)) if tokens else None


@lru_cache(maxsize=2048)
def _way_of(tokens: tuple[Token, ...]) -> Change | None:
    if found := _read_way(tokens):
        return found
    text = text_of(tokens)
    return next((found for frame in _FRAMES if (found := frame(tokens, text))), None)


def way_said(code: str) -> str:
    """How a way of working is said back."""
    entries = (entry for group in ("allowed", "refused", "accident") for entry in data("ways")[group])
    return next((str(entry["reads"]) for entry in entries if entry["code"] == code), "a way of working")
