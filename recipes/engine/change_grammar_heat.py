"""Reading changes of canner, time, pressure and headspace. The whole text must fit a form."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from re import Match

from recipes.engine.change_grammar_rest import REST, always
from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import NUMBER, read_number

_MIN = r"(?:minutes?|mins?|m)"
_CANNERS = (
    ("steam", r"(?:an? |the )?(?:atmospheric )?(?:steam(?:er)?)(?: canner| canning| bath)?(?: canner)?|canner steam"),
    ("pressure", r"(?:an? |the )?(?:dial gauge |weighted gauge )?pressure(?: canner| canning| can| process)?(?: it)?"),
    (
        "boiling-water",
        r"(?:an? |the )?(?:hot )?(?:boiling water|boiling|water ?bath|boiling water bath|bwb|"
        r"hot water bath)(?: canner| canning| bath| process| can)?(?: canner)?(?: it)?",
    ),
)


def _minutes(match: Match[str]) -> Change:
    return Change(Act.PROCESS, factor=read_number(match["n"]), word="minutes")


def _shorter(one: str, other: str) -> Fraction | None:
    found = [number for number in (read_number(one), read_number(other)) if number is not None]
    return min(found) if len(found) == 2 else None


_FORMS: tuple[tuple[str, Callable[[Match[str]], Change]], ...] = (
    (
        rf"(?:process|processing)(?: (?:it|them|the jars))? (?:for |only |just |"
        rf"at )*(?P<n>{NUMBER})(?: {_MIN})?(?: only| instead(?: of (?:the )?{NUMBER}(?: {_MIN})?)?)?",
        _minutes,
    ),
    (rf"(?:process(?:ing)? )?(?:for |only )*(?P<n>{NUMBER}) {_MIN}(?: processing| in the canner)?", _minutes),
    (rf"(?:process|processing)(?: time)? [0-9./]+(?: {_MIN})? -> (?P<n>{NUMBER})(?: {_MIN})?", _minutes),
    (  # "20 to 25 minutes" may be a range as well as a change: the shorter of the two counts
        rf"(?:process|processing)(?: time)?(?: for)? (?P<n>{NUMBER})(?: {_MIN})? to (?P<m>{NUMBER})(?: {_MIN})?",
        lambda m: Change(Act.PROCESS, factor=_shorter(m["n"], m["m"]), word="minutes"),
    ),
    (
        rf"(?:process(?:ing)? |boil (?:the jars )?|canner )?(?:for |by |the |it |"
        rf"time )*(?:{NUMBER} {_MIN} )?(?:a (?:bit|little) )?(?:shorter|less|fewer|quicker|"
        rf"faster)(?: process| processing)?(?: time| minutes)?",
        always(Act.PROCESS, "shorter"),
    ),
    (
        r"(?:reduce|shorten|cut|lower|halve|decrease)(?: down)? (?:the )?(?:process|processing|"
        rf"canning|boiling water)?(?: ?process)? ?time(?: (?:by|to|in){REST})?",
        always(Act.PROCESS, "shorter"),
    ),
    (
        r"(?:half|less|shorter|fewer) (?:of )?(?:the )?(?:process|processing|canning) ?(?:time|"
        r"minutes)?",
        always(Act.PROCESS, "shorter"),
    ),
    (
        rf"(?:process(?:ing)?|boil (?:the )?jars|canner) (?:for |by |the |it |"
        rf"time )*(?:{NUMBER} {_MIN} )?(?:an? (?:bit|little) )?(?:longer|more)(?: process|"
        rf" processing)?(?: time| minutes)?",
        always(Act.PROCESS, "longer"),
    ),
    (
        rf"(?:for )?(?:{NUMBER} {_MIN} )?longer(?: process| processing)?(?: time| minutes)?|"
        rf"{NUMBER} (?:{_MIN} more|(?:more|extra) {_MIN})|(?:more|extra) (?:time|minutes)",
        always(Act.PROCESS, "longer"),
    ),
    (
        rf"(?:increase|lengthen|extend|raise) (?:the )?(?:process|processing|canning)(?: time|"
        rf" minutes)? to (?P<n>{NUMBER})(?: {_MIN})?",
        _minutes,
    ),
    (
        rf"(?:increase|lengthen|extend|longer|more|extra|double)(?: the| for)? (?:process|"
        rf"processing|canning)(?: time| minutes)?(?: by (?:{NUMBER})(?: {_MIN})?)?",
        always(Act.PROCESS, "longer"),
    ),
    (
        r"(?:skip|omit|no|without|leave out|do not|forget|drop|avoid)(?: the| any)? ?(?:process\w*|"
        r"canning|can|canner|water ?bath|boiling water(?: bath| process)?|pressure canning|"
        r"processing step|heat (?:process\w*|treatment))(?: (?:it|them|the jars|at all|step|time|"
        r"canner))?",
        always(Act.PROCESS, "skip"),
    ),
    (
        rf"(?:at |use |with |process at )?(?:pressure |psi )?(?P<n>{NUMBER}) ?(?:psi|"
        rf"pounds?(?: of)? pressure|lbs?(?: of)? pressure|lb pressure|pounds)",
        lambda m: Change(Act.PRESSURE, factor=read_number(m["n"])),
    ),
    (
        rf"(?:pressure|psi) (?P<n>{NUMBER})(?: psi| pounds?)?",
        lambda m: Change(Act.PRESSURE, factor=read_number(m["n"])),
    ),
    (
        rf"(?:use )?(?:a )?(?:lower|less|reduced?|decrease)(?: the)? (?:pressure|psi){REST}",
        always(Act.PRESSURE, "lower"),
    ),
    (
        rf"(?:use )?(?:a )?(?:higher|more|increased?)(?: the)? (?:pressure|psi){REST}",
        always(Act.PRESSURE, "higher"),
    ),
    (
        rf"(?:change (?:the )?|use |leave |with )?(?:an? )?(?:head ?space) (?:of |to |"
        rf"-> )?(?P<n>{NUMBER})(?: ?(?:inch(?:es)?|in))?",
        lambda m: Change(Act.HEADSPACE, factor=read_number(m["n"])),
    ),
    (
        rf"(?:leave |use |with )?(?:only |just )?(?P<n>{NUMBER}) ?(?:inch(?:es)?|"
        rf"in)(?: of)? head ?space",
        lambda m: Change(Act.HEADSPACE, factor=read_number(m["n"])),
    ),
    (
        r"(?:leave |use |with |more |less |no |fill |without |smaller |larger |skip )+(?:the |"
        r"jars? )*(?:head ?space|to the (?:brim|rim|top)|air space|full)|over ?fill(?:ing|ed)?(?: the jars)?|"
        r"head ?space (?:less|more|smaller|larger|none)",
        always(Act.HEADSPACE, "other"),
    ),
)


@lru_cache(maxsize=1)
def _compiled() -> tuple[tuple[re.Pattern[str], Callable[[Match[str]], Change]], ...]:
    """Compiled at first use: it takes longer than the rest of the engine takes to load."""
    return tuple((re.compile(pattern), build) for pattern, build in _FORMS)


@lru_cache(maxsize=1)
def _canner_forms() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple((name, re.compile(_canner_form(pattern))) for name, pattern in _CANNERS)


def _canner_form(pattern: str) -> str:
    return (
        rf"(?:use |in |with |by |process (?:it |them )?(?:in |with |by )?|can (?:it )?(?:in |"
        rf"with )?|canner |method )*(?:{pattern})"
        rf"(?: (?:instead|instead of|rather than|in place of|for|not){REST})?"
    )


_CANNER_SWAP = r"(?:swap|switch|change|replace) (.{1,50}?) (?:->|to|with|for) (.{1,50})"
_TIME = rf"(?P<heart>.+?) (?:for |only |just )*(?P<n>{NUMBER}) ?(?P<unit>minutes?|mins?|hours?|hrs?|h)"
# "Water bath my green beans": a food after the canner is kept for the judge, who knows the recipe's.
_THE_FOOD = (
    r"\b(?P<canner>bath|can|canner) (?:my |the |these |our )?(?P<food>(?!(?:instead|for|it|not|rather|in)\b)[a-z ]+)"
)
_NOT_A_CANNER = r"boiling water|water"


def read_canner(text: str) -> Change | None:
    """A canner named first is the new one: "pressure canner instead of boiling water"."""
    if swap := re.fullmatch(_CANNER_SWAP, text):
        old, new = _canner_named(swap[1]), _canner_named(swap[2])
        return Change(Act.CANNER, word=new) if old and new else None
    heart, minutes = _without_time(text)
    name, food = _canner_named(heart), ""
    if not name and (match := re.search(_THE_FOOD + "$", heart)):
        name, food = _canner_named(heart[: match.end("canner")]), match["food"]
    if not name or re.fullmatch(_NOT_A_CANNER, text):
        return None
    return Change(Act.CANNER, item=food, word=name, factor=minutes)


def _without_time(text: str) -> tuple[str, Fraction | None]:
    """ "water bath for 15 minutes": the canner and the minutes."""
    match = re.fullmatch(_TIME, text)
    number = read_number(match["n"]) if match else None
    if match is None or number is None:
        return text, None
    return match["heart"], number * (60 if match["unit"].startswith("h") else 1)


def _canner_named(text: str) -> str | None:
    return next((name for name, pattern in _canner_forms() if pattern.fullmatch(text)), None)


def read_heat(text: str) -> Change | None:
    for pattern, build in _compiled():
        if match := pattern.fullmatch(text):
            return build(match)
    return None
