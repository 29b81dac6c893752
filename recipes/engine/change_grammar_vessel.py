"""Reading changes of jar, pack and pot. The whole text must fit a form."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from re import Match

from recipes.engine.change_grammar_rest import SIZE_REST, always
from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import NUMBER, read_number

# Sizes as they are called, in the trade and on Canadian boxes (250 ml is sold as the half-pint jar: common practice).
_SIZES = (
    ("quarter-pint", r"quarter pints?|1/4 pints?|4 ?(?:oz|ounces?)|125 ?ml|half cups?"),
    ("half-pint", r"half pints?|1/2 pints?|8 ?(?:oz|ounces?)|250 ?ml|1 cups?|cups?|jelly jars?"),
    ("twelve-ounce", r"(?:12|twelve) ?(?:oz|ounces?)|375 ?ml"),
    ("pint-and-half", r"pint and (?:a )?half|1 1/2 pints?|1\.5 pints?|(?:24|twenty four) ?(?:oz|ounces?)|750 ?ml"),
    (
        "half-gallon",
        r"half gallons?|1/2 gallons?|64 ?(?:oz|ounces?)|1\.9 ?l(?:it(?:er|re)s?)?|2 ?l(?:it(?:er|re)s?)?|2 quarts?",
    ),
    ("gallon", r"(?:1 )?gallons?|128 ?(?:oz|ounces?)|4 ?l(?:it(?:er|re)s?)?|[3-9] ?l(?:it(?:er|re)s?)?"),
    ("pint", r"(?:1 )?pints?|(?:16|sixteen) ?(?:oz|ounces?)|(?:500|450) ?ml"),
    ("quart", r"(?:1 )?quarts?|qts?|(?:32|thirty two) ?(?:oz|ounces?)|1 ?l(?:it(?:er|re)s?)?|lit(?:er|re)s?|1000 ?ml"),
    ("smaller", r"smaller|tiny|small|little|mini|next smaller"),
    ("larger", r"larger|bigger|big|large|next larger|huge"),
)
_OLD_SIZE = "|".join(pattern for _, pattern in _SIZES)
_BY_SIZE = ("quarter-pint", "half-pint", "pint", "quart", "half-gallon", "gallon")
_SIZE = "|".join(f"(?P<s{i}>{pattern})" for i, (_, pattern) in enumerate(_SIZES))
_INSTEAD = rf"(?: (?:instead|instead of|rather than|in place of|for|not){SIZE_REST})?"
_JAR = r"(?:mason |canning |glass |preserving |wide mouth |regular mouth )*jars?"
_POT = (
    r"(?:pots?|batch(?:es)?|recipe|everything|quantit(?:y|ies)|lot|all ingredients|"
    r"all the ingredients|it all|whole thing)"
)
_TIMES: dict[str, Fraction | int] = {
    "double": 2,
    "twice": 2,
    "two times": 2,
    "triple": 3,
    "three times": 3,
    "quadruple": 4,
    "half": Fraction(1, 2),
    "halve": Fraction(1, 2),
}
_TIMES |= {
    "halved": Fraction(1, 2),
    "doubled": 2,
    "tripled": 3,
    "quarter": Fraction(1, 4),
    "a third of": Fraction(1, 3),
    "half of": Fraction(1, 2),
}


def _jar(match: Match[str]) -> Change:
    name = next(name for i, (name, _) in enumerate(_SIZES) if match[f"s{i}"])
    return Change(Act.JAR, word=name)


def _factor(text: str) -> Fraction | None:
    return Fraction(_TIMES[text]) if text in _TIMES else read_number(text)


def _pot(match: Match[str]) -> Change:
    return Change(Act.POT, factor=_factor(match["n"]))


def _pot_percent(match: Match[str]) -> Change:
    number = read_number(match["n"])
    return Change(Act.POT, factor=number / 100 if number is not None else None)


_PLAIN = "half pints?|quarter pints?|half gallons?|gallons?|pints?|quarts?|litres?|liters?"

_FORMS: tuple[tuple[str, Callable[[Match[str]], Change]], ...] = (
    (
        rf"(?:use |in |with |into |fill |put (?:it |them )?in(?:to)? |can (?:it )?in |(?:can |"
        rf"process |fill )?(?:it |them )?in(?:to)? |"
        rf"make )?(?:a )?(?:jars? (?:size )?)(?:{_SIZE})(?: {_JAR})?{_INSTEAD}",
        _jar,
    ),
    (
        rf"(?:use |in |with |into |fill |put (?:it |them )?in(?:to)? |can (?:it )?in |(?:can |"
        rf"process |fill )?(?:it |them )?in(?:to)? )?(?:a |"
        rf"the )?(?:{_SIZE})(?: size)?(?: {_JAR}){_INSTEAD}",
        _jar,
    ),
    (
        r"(?:use |in |into |put (?:it |them )?in(?:to)? |can (?:it )?in |(?:can |process |pack |"
        r"fill )?(?:it |them )?in(?:to)? )?(?:pints?|quarts?|half pints?|quarter pints?|half gallons?|"
        rf"gallons?|litres?|liters?)(?: (?:instead|instead of|rather than|in place of|for){SIZE_REST})?",
        lambda m: _named_jar(m[0]),
    ),
    (
        rf"(?:swap|switch|change|replace) (?:the )?(?:{_OLD_SIZE})(?: {_JAR})? (?:->|to|for|"
        rf"with) (?:{_SIZE})(?: {_JAR})",
        _jar,
    ),
    (
        rf"(?:swap|switch|change|replace) (?:the )?(?P<a>{_PLAIN}) (?P<w>->|to|for|"
        rf"with) (?P<b>{_PLAIN})",
        lambda m: _jar_swap(m),
    ),
    (rf"jars? (?:{_OLD_SIZE}) -> (?:{_SIZE})(?: {_JAR})?", _jar),
    (
        r"(?:pack |use |as )?(?:a |the |it |them )?(?P<p>hot|raw|cold)(?: ?pack(?:ed|"
        rf"ing)?)?(?: (?:instead|instead of|rather than|for){SIZE_REST})?",
        lambda m: _pack(m["p"]),
    ),
    (rf"pack (?:it |them |the \w+ )?(?P<p>hot|raw|cold){SIZE_REST}", lambda m: _pack(m["p"])),
    (
        r"(?:swap|switch|change) (?:the )?(?:hot|raw|cold)(?: pack)? (?:->|to|for) (?P<p>hot|raw|"
        r"cold)(?: pack)?",
        lambda m: _pack(m["p"]),
    ),
    (
        rf"(?:make |cook |do )?(?:a |the )?(?P<n>{'|'.join(_TIMES)}) (?:of )?(?:the |a |this |"
        rf"my )?(?:whole |entire |size )?{_POT}(?: size)?",
        _pot,
    ),
    (
        rf"(?:make )?{_POT} (?P<n>doubled|halved|tripled)|(?:cut|divide) (?:the |"
        rf"this )?{_POT} (?:in|by|into) (?P<m>half)",
        lambda m: Change(Act.POT, factor=_factor(m["n"] or m["m"])),
    ),
    (
        rf"(?:scale |make |multiply )?(?:the |up |down )*{_POT} ?(?:x|times|by|to|\*|=|"
        rf"->)? ?(?P<n>{NUMBER})(?: ?x| times)?",
        _pot,
    ),
    (rf"(?:scale |make )?(?:the )?{_POT} (?:to |at |by )?(?P<n>{NUMBER}) %", _pot_percent),
    (
        rf"(?:make )?(?:x ?(?P<n>{NUMBER})|(?P<m>{NUMBER}) ?(?:x|times))(?: (?:the )?{_POT})?",
        lambda m: Change(Act.POT, factor=_factor(m["n"] or m["m"])),
    ),
    (
        rf"(?:make |cook |do )?(?P<n>two|three|four|{NUMBER}) {_POT} (?:at once|together|in (?:one|"
        rf"a single|the same) (?:pot|pan|go)|at (?:the same|a) time)",
        lambda m: Change(Act.POT, factor=Fraction(2)),
    ),
    (rf"(?:make |cook )?(?:a |the )?(?:bigger|larger|big|large) {_POT}", always(Act.POT, "larger")),
    (rf"(?:make |cook )?(?:a |the )?(?:smaller|small|part of (?:a|the)) {_POT}", always(Act.POT, "smaller")),
)


@lru_cache(maxsize=1)
def _compiled() -> tuple[tuple[re.Pattern[str], Callable[[Match[str]], Change]], ...]:
    """Compiled at first use: it takes longer than the rest of the engine takes to load."""
    return tuple((re.compile(pattern), build) for pattern, build in _FORMS)


_PLAIN_NAMES = {
    "half pint": "half-pint",
    "quarter pint": "quarter-pint",
    "half gallon": "half-gallon",
    "litre": "quart",
    "liter": "quart",
}


def _named_jar(text: str) -> Change:
    found = re.search(_PLAIN, text)
    name = found[0].rstrip("s") if found else "larger"
    return Change(Act.JAR, word=_PLAIN_NAMES.get(name, name))


def _jar_swap(match: Match[str]) -> Change:
    """ "quarts for pints" is said both ways, so the larger of the two is meant."""
    old, new = _named_jar(match["a"]), _named_jar(match["b"])
    if match["w"] == "for":
        return max(old, new, key=lambda change: _BY_SIZE.index(change.word))
    return new


def _pack(word: str) -> Change:
    return Change(Act.PACK, word="raw" if word == "cold" else word)


def read_vessel(text: str) -> Change | None:
    for pattern, build in _compiled():
        if match := pattern.fullmatch(text):
            return build(match)
    return None
