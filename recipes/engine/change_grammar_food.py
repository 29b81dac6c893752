"""Reading changes of food: less, more, none, a new amount, a swap, an addition. The whole text must fit a form."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from re import Match

from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import NUMBER, UNIT, read_number
from recipes.engine.quantities import Amount, AmountError, parse_amount

ADDED = "added"  # said to come on top of what the recipe has

_PART = {
    "half": Fraction(1, 2),
    "a half": Fraction(1, 2),
    "one half": Fraction(1, 2),
    "1/2": Fraction(1, 2),
    "a third": Fraction(1, 3),
    "one third": Fraction(1, 3),
    "1/3": Fraction(1, 3),
    "two thirds": Fraction(2, 3),
    "2/3": Fraction(2, 3),
    "a quarter": Fraction(1, 4),
    "one quarter": Fraction(1, 4),
    "1/4": Fraction(1, 4),
    "three quarters": Fraction(3, 4),
    "3/4": Fraction(3, 4),
    "a tenth": Fraction(1, 10),
    "a fifth": Fraction(1, 5),
    "1/5": Fraction(1, 5),
}
_PARTS = "|".join(sorted(_PART, key=len, reverse=True))
_SHARE = rf"(?:(?P<pct>{NUMBER}) %|(?P<part>{_PARTS}))"
_ITEM = r"(?P<item>[^;>]+?)"
_THE = r"(?:the |of the |of |our |my )?"
_AMT = rf"{NUMBER} ?{UNIT}(?: {NUMBER} ?{UNIT})?"
_LESS = (
    r"(?:a (?:little|bit|touch|lot) |slightly |much |some |far |use |put in |with |"
    r"add )*(?:less|fewer)|(?:reduce|cut back on|cut down on|cut back|cut down|cut|lower|"
    r"decrease|lessen|go easy on|scale back|dial back|minimi[sz]e|skimp on|reduced|lowering|"
    r"reducing|cutting|dilute|weaken|low)"
)
_MORE = (
    r"(?:a (?:little|bit|touch|lot) |slightly |much |some |use |put in |with |add |"
    r"way )*(?:more|extra|additional)|(?:increase|raise|boost|bump up|up|increasing|"
    r"add another|heap)"
)
_OMIT = (
    r"(?:omit|omitting|leave out|leaving out|leave off|skip|skipping|drop|remove|removing|"
    r"without|no|do not (?:add|use|include|put in|put)|eliminate|exclude|"
    r"hold|forget|forgo|take out|ditch|cut out|go without|do without|avoid|minus|lose|delete)"
)
_ADD = (
    r"(?:thicken(?:ed)? (?:it )?with|top(?:ped)? with|add|adding|include|including|put in|"
    r"putting in|mix in|stir in|throw in|toss in|fold in|pop in|drop in|slip in|blend in|"
    r"sneak in|incorporate|top with|plus|put|introduce|sprinkle in)"
)


def _share(match: Match[str]) -> Fraction | None:
    groups = match.groupdict()
    if groups.get("pct"):
        number = read_number(groups["pct"])
        return number / 100 if number is not None else None
    return _PART.get(groups.get("part") or "")


def _less_by(match: Match[str]) -> Change:
    share = _share(match)
    if share is None or share > 1:
        return Change(Act.UNREAD)
    act = Act.OMIT if share == 1 else Act.LESS
    return Change(act, item=match["item"], factor=1 - share)


def _more_by(match: Match[str]) -> Change:
    share = _share(match)
    return Change(Act.MORE, item=match["item"], factor=1 + share) if share is not None else Change(Act.UNREAD)


def _left_with(match: Match[str]) -> Change:
    share = _share(match)
    if share is None:
        return Change(Act.UNREAD)
    act = Act.OMIT if share == 0 else Act.LESS if share < 1 else Act.MORE
    return Change(act, item=match["item"], factor=share)


def _times(match: Match[str]) -> Change:
    words: dict[str, Fraction | int] = {
        "double": 2,
        "twice": 2,
        "triple": 3,
        "doubled": 2,
        "tripled": 3,
        "halved": Fraction(1, 2),
        "halve": Fraction(1, 2),
    }
    factor = Fraction(words[match["n"]]) if match["n"] in words else read_number(match["n"])
    if factor is None:
        return Change(Act.UNREAD)
    return Change(Act.OMIT if factor == 0 else Act.LESS if factor < 1 else Act.MORE, item=match["item"], factor=factor)


def _set_to(match: Match[str]) -> Change:
    amount = _amount(match["new"])
    return Change(Act.SET, item=match["item"], amount=amount) if amount else Change(Act.UNREAD)


def _set_like(match: Match[str]) -> Change:
    """ "sugar 7 -> 5 cups" and "reduce sugar from 7 to 5 cups": the unit stands at the end only."""
    return _set_to(match)


def _amount(text: str) -> Amount | None:
    try:
        return parse_amount(text)
    except AmountError:
        return None


def _by_amount(act: Act) -> Callable[[Match[str]], Change]:
    """ "reduce sugar by 1 cup": the amount is the difference, kept in `other_amount`."""
    return lambda match: Change(act, item=match["item"], other_amount=_amount(match["new"]), word="by")


def _plain(act: Act) -> Callable[[Match[str]], Change]:
    return lambda match: Change(act, item=match["item"])


def _set_count(match: Match[str]) -> Change:
    number = read_number(match["count"])
    return Change(Act.SET, item=match["item"], amount=Amount(number, "each")) if number else Change(Act.UNREAD)


def _zero(match: Match[str]) -> Change:
    return Change(Act.OMIT, item=match["item"])


_WHERE = r"(?:(?:the|each|every|per|a|my|our|more|some|pot|pint|quart|half pint|better|bit|little|of|extra) )*"
_LIGHT = r"(?:light|lighter|thin|thinner|weaker|very light|extra light)"
_HEAVY = r"(?:heavy|heavier|thicker|stronger|extra heavy)"

_FORMS: tuple[tuple[str, Callable[[Match[str]], Change]], ...] = (
    (rf"(?:use |in |with |pack in )*(?:a )?{_LIGHT} syrup", lambda m: Change(Act.LESS, item="sugar")),
    (rf"(?:use |in |with |pack in )*(?:a )?{_HEAVY} syrup", lambda m: Change(Act.MORE, item="sugar")),
    (rf"(?:{_LESS}) {_THE}{_ITEM} (?:from (?:{_AMT}|{NUMBER}) )?(?:to|->) (?P<new>{_AMT})", _set_to),
    (rf"(?:{_MORE}) {_THE}{_ITEM} (?:from (?:{_AMT}|{NUMBER}) )?(?:to|->) (?P<new>{_AMT})", _set_to),
    (rf"(?:{_LESS}) {_THE}{_ITEM} (?:to|->) {_SHARE}", _left_with),
    (rf"(?:{_LESS}) {_THE}{_ITEM} by {_SHARE}", _less_by),
    (rf"(?:{_LESS}) {_THE}{_ITEM} by (?P<new>{_AMT})", _by_amount(Act.LESS)),
    (rf"(?:cut|reduce|divide) {_THE}{_ITEM} (?:in|by|into) (?P<part>half)", _less_by),
    (rf"(?:{_MORE}) {_THE}{_ITEM} by {_SHARE}", _more_by),
    (rf"(?:{_MORE}) {_THE}{_ITEM} by (?P<new>{_AMT})", _by_amount(Act.MORE)),
    (rf"{_SHARE} (?:less|fewer|reduction (?:in|of)|off) {_THE}{_ITEM}", _less_by),
    (rf"{_SHARE} (?:more|extra|increase in) {_THE}{_ITEM}", _more_by),
    (rf"{_ITEM} {_SHARE} (?:less|fewer|lower|reduced|reduction|off|down)", _less_by),
    (rf"{_ITEM} {_SHARE} (?:more|higher|increased|increase|up)", _more_by),
    (
        rf"{_ITEM} (?:- ?(?P<pct>{NUMBER}) %|less (?P<part>{_PARTS})|(?:reduced|cut|lowered|"
        rf"down) by (?:(?P<pct2>{NUMBER}) %))",
        lambda m: _less_by(m) if m["pct"] or m["part"] else _less_pct2(m),
    ),
    (rf"{_ITEM} \+ ?(?P<pct>{NUMBER}) %", _more_by),
    (rf"(?:use |with |only |just )*{_SHARE} (?:of )?(?:as much |as many |the amount of |the )+{_ITEM}", _left_with),
    (rf"(?:use |with )?(?:only |just ){_SHARE} (?:of )?{_ITEM}", _left_with),
    (rf"{_ITEM} (?:at |to )?{_SHARE} (?:of (?:the )?(?:recipe|amount|original|printed amount))", _left_with),
    (rf"(?P<n>halve|double|triple|twice) (?:the amount of |as much |as many |of )?{_THE}{_ITEM}", _times),
    (rf"{_ITEM} (?P<n>halved|doubled|tripled)", _times),
    (rf"{_ITEM} x ?(?P<n>{NUMBER})", _times),
    (
        rf"{_ITEM} (?P<from>from )?(?P<old>{_AMT}|{NUMBER}) (?P<w>->|to) (?P<new>{_AMT})(?P<tail> [a-z ]+)?",
        lambda m: _set_checked(m),
    ),
    (
        rf"(?P<old>{_AMT}|{NUMBER})(?: of)? {_ITEM} (?P<w>->|to) (?P<new>{_AMT})(?P<tail> [a-z ]+)?",
        lambda m: _set_checked(m),
    ),
    (rf"{_ITEM} (?:->|=|to|only) (?P<new>{_AMT})", _set_to),
    (rf"{_ITEM} (?:from )?{NUMBER} (?:->|to) (?P<count>{NUMBER})", lambda m: _set_count(m)),
    (rf"{_ITEM} (?:->|=|to) (?P<pct>{NUMBER}) %", _left_with),
    (rf"{_ITEM} (?:->|=) (?:0|none|nothing|zero|no)", _zero),
    (
        rf"(?:use |with )?(?:only |just )?(?P<new>{_AMT})(?: of)? {_ITEM} (?:instead of|rather than|"
        rf"not) (?:{_AMT}|{NUMBER})(?P<tail> [a-z ]+)?",
        lambda m: _set_checked(m),
    ),
    (rf"(?:{_LESS}) {_THE}{_ITEM}", _plain(Act.LESS)),
    (rf"(?:not (?:as|so) (?:much|many)) {_ITEM}", _plain(Act.LESS)),
    (rf"{_ITEM} (?:less|fewer|reduced|lower|down)", _plain(Act.LESS)),
    (
        r"no (?:added )?(?P<item>[a-z]+) added|no added (?P<item2>[a-z]+)",
        lambda m: Change(Act.OMIT, item=m["item"] or m["item2"]),
    ),
    (rf"{_OMIT} (?:all |any )?{_THE}{_ITEM}(?: (?:at all|altogether|completely|entirely))?", _zero),
    (rf"{_ITEM} (?:free|omitted|left out|removed)", _zero),
    (
        r"un(?P<item>salt|sweeten|sugar)ed",
        lambda m: Change(Act.OMIT, item={"sweeten": "sugar"}.get(m["item"], m["item"])),
    ),
    (rf"(?:{_MORE}) {_THE}{_ITEM}", _plain(Act.MORE)),
    (rf"{_ITEM} (?:more|extra|increased|up)", _plain(Act.MORE)),
    (
        rf"{_ADD} (?:in |some |a little |a bit of |a few |a lot of |lots of |more )*{_THE}{_ITEM}"
        rf"(?: (?:to|in|into|for|on) {_WHERE}(?:jar|jars|pint|quart|top|flavor|taste|color|heat|it))?",
        lambda m: _added(m),
    ),
    (
        rf"(?:use|using|with|try|pack(?:ed)? in|sweeten with|sweeten it with|season with|flavor with|make it with|"
        rf"make with|pick|choose) (?:only |just )?{_THE}{_ITEM}",
        _plain(Act.USE),
    ),
    (rf"(?:only|just) (?P<new>{_AMT}) {_THE}{_ITEM}", _set_to),
)


@lru_cache(maxsize=1)
def _compiled() -> tuple[tuple[re.Pattern[str], Callable[[Match[str]], Change]], ...]:
    """Compiled at first use: it takes longer than the rest of the engine takes to load."""
    return tuple((re.compile(pattern), build) for pattern, build in _FORMS)


def _less_pct2(match: Match[str]) -> Change:
    number = read_number(match["pct2"])
    if number is None or number > 100:
        return Change(Act.UNREAD)
    return Change(Act.OMIT if number == 100 else Act.LESS, item=match["item"], factor=1 - number / 100)


def _set_checked(match: Match[str]) -> Change:
    """A food named after the new amount must be the one named before; "3 to 4 cups" may be a range, not a change."""
    found = match.groupdict()
    tail = re.sub(r"^of ", "", (found["tail"] or "").strip())
    if tail and tail != match["item"]:
        return Change(Act.UNREAD)
    if found.get("w") == "to" and not found.get("from") and not _falls(found["old"], match["new"]):
        return Change(Act.UNREAD)
    old = read_number((re.match(NUMBER, found.get("old") or "") or [""])[0])
    return replace(_set_to(match), told=(old,) if old is not None else ())


def _falls(old: str, new: str) -> bool:
    """Whether a number or amount is more than the amount after it; where the units differ it is not known."""
    after, before = _amount(new), _amount(old)
    if after is None or (before is not None and before.unit != after.unit):
        return False
    number = before.value if before else read_number(old)
    return number is not None and number > after.value


def _added(match: Match[str]) -> Change:
    rest = match[0][match.end("item") :]
    jar = re.search(r"\b(half pint|pint|quart|jar)s?\b", rest)
    sure = re.match(r"(?:add|adding|plus|introduce) ", match[0])  # "put in 1 cup" may be all of it
    return Change(Act.ADD, item=match["item"] + (f" per {jar[1]}" if jar else ""), word=ADDED if sure else "")


def read_amount_change(text: str) -> Change | None:
    """The first form that fits; what fits a form and makes no sense is `UNREAD`."""
    for pattern, build in _compiled():
        if match := pattern.fullmatch(text):
            change = build(match)
            if change.act is not Act.UNREAD:
                return change
    return None
