"""From what people type to changes. Nothing here knows the recipe; nothing here raises.

A text may hold several wishes ("omit salt and add garlic"): each becomes a change. A text of which any part is
not understood becomes one `UNREAD` change, never a change to the part that was.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from recipes.engine.change_foods import read_phrase
from recipes.engine.change_grammar_accident import read_accident
from recipes.engine.change_grammar_food import read_amount_change
from recipes.engine.change_grammar_heat import read_canner, read_heat
from recipes.engine.change_grammar_practice import read_allowed_practice, read_refused_practice
from recipes.engine.change_grammar_vessel import read_vessel
from recipes.engine.change_terms import Act, Change
from recipes.engine.change_text import (
    LONGEST_TEXT,
    NUMBER,
    bare,
    plain,
    read_number,
    take_amount,
    take_jar,
    without_instead,
)

MOST_PARTS = 12
BARE = "bare"  # a food alone, without a verb

_FORM_WORDS = {
    "fresh": "fresh",
    "freshly squeezed": "fresh",
    "fresh squeezed": "fresh",
    "frozen": "frozen",
    "thawed": "frozen",
    "canned": "canned",
    "tinned": "canned",
    "dried": "dried",
    "dry": "dried",
    "dehydrated": "dried",
    "freeze dried": "dried",
    "bottled": "bottled",
}
_F = "|".join(_FORM_WORDS)
_VERB = (
    r"(?:add|omit|leave|skip|drop|swap|switch|replace|substitute|use|reduce|increase|cut|"
    r"double|halve|triple|less|more|fewer|no|without|extra|jar|pack|pot|"
    r"process|canner|method|make|put|do not|change|lower|raise|remove|include|stir|mix|throw|"
    r"reuse|invert|turn|seal|freeze|pressure|can|practice|then|also|shorten|lengthen)\b"
)
# Words that make a piece of a list a wish of its own, with a measure that no verb before it reaches over.
_OWN_MEASURE = (
    r"[0-9%]|\b(?:half|halved?|third|quarter|tenth|fifth|only|just|little|bit|pinch|dash|splash|drop|some|part|most|"
    r"scant|double|twice|triple|less|fewer|more|extra|another|no|without|not)\b"
)
_SPLIT = (
    rf"\s*[;\n|]\s*|\s*,?\s+(?:and|but|then|plus|also|while|&)\s+(?={_VERB})|\s*,\s*(?={_VERB})|\s*\.\s+(?={_VERB})"
)
_LIST = r"(\s*,\s*(?:and\s+)?|\s+(?:and|&|plus|as well as|along with|together with|or)\s+)"
_TOGETHER_WITH = r"plus|with|well"
_PORTION = (
    rf"^(?:(?P<pct>{NUMBER}) % |(?P<half>half|1/2|a third|1/3|a quarter|1/4|some|part|most|a bit) )(?:of )?(?:the )?"
)
_PARTS = {
    "half": Fraction(1, 2),
    "1/2": Fraction(1, 2),
    "a third": Fraction(1, 3),
    "1/3": Fraction(1, 3),
    "a quarter": Fraction(1, 4),
    "1/4": Fraction(1, 4),
}
_SWAP_OUT = (
    r"(?:swap|switch|replace|replacing|exchange|change|trade|convert|substitute|sub|"
    r"substituting|swapping|switching)(?: out)?"
)

FOR = "for"
_FOR = r"(?P<new>[^>]+?) for (?P<old>[^>]+)"  # said of both directions too, of two things that the recipe has

_SWAPS: tuple[tuple[str, bool], ...] = (
    # The form, and whether people say it of both directions.
    (rf"(?:{_SWAP_OUT} )?(?P<old>[^>]+?) -> (?P<new>[^>]+)", False),
    (
        r"(?:substitute|sub|substituting|use|using) (?P<new>.+?) (?:for|in place of|instead of|"
        r"rather than|in lieu of|to replace) (?P<old>.+)",
        False,
    ),
    (rf"{_SWAP_OUT} (?P<old>.+?) (?:with|by|to|into) (?P<new>.+)", False),
    (rf"{_SWAP_OUT} (?P<old>.+?) (?:for|instead of|in place of) (?P<new>.+)", True),
    (
        r"(?:add |put in )?(?P<new>.+?) (?:instead of|in place of|rather than|in lieu of|"
        r"to replace|as a substitute for|substituted for|replacing|replaces) (?P<old>.+)",
        False,
    ),
    (r"instead of (?P<old>.+?),? (?:use |add |put in )(?P<new>.+)", False),
    (_FOR, False),
)
_VINEGAR = (
    r"(?:(?:white|cider|apple|distilled|red|wine|rice|malt|balsamic|sherry|champagne|spirit|pickling|cleaning|homemade|"
    r"raspberry|tarragon|herb|seasoned|coconut|cane|plain|ordinary|bought|the|a) )*vinegar"
)
_ACIDITY = (
    rf"(?:use |with )?(?:a )?(?:(?P<a>{NUMBER}) % (?:acidity |acid )?(?P<k1>{_VINEGAR})|"
    rf"(?P<k2>{_VINEGAR}) (?:of |at |with |only |is )*(?P<b>{NUMBER}) %)"
    r"(?: ?(?:acidity|acid|acetic acid|strength))?"
)
_GRAIN = rf"(?:use )?(?:an? )?(?P<a>{NUMBER}) grain (?P<k1>{_VINEGAR})|(?P<k2>{_VINEGAR}) (?P<b>{NUMBER}) grain"
_WEAKER = (
    r"(?:use )?(?:a )?(?:weaker|milder|weak|diluted|watered down|half strength|homebrewed|"
    r"low acid) (?:[a-z]+ )?vinegar(?: .{0,20})?|(?:dilute|water down|"
    r"weaken) (?:the )?(?:[a-z]+ )?(?:vinegar|brine)(?: .{0,30})?"
)


def read_changes(text: str) -> list[Change]:
    """Every change in a text, each with the text it was read from; at least one."""
    if len(text) > LONGEST_TEXT:
        return [Change(Act.UNREAD, text=text[:LONGEST_TEXT])]
    normal = plain(text)
    if accident := read_accident(normal):
        return [replace(accident, text=text)]
    whole = _read_part(bare(normal))
    if whole is not None:
        return [replace(change, text=text) for change in whole]
    parts = [part for part in re.split(_SPLIT, normal) if part and part.strip()]
    if not 1 < len(parts) <= MOST_PARTS:
        return [Change(Act.UNREAD, text=text)]
    read = [_read_part(bare(part)) for part in parts]
    if any(part is None for part in read):
        return [Change(Act.UNREAD, text=text)]
    return [replace(change, text=text) for part in read if part for change in part]


def parts_of(text: str) -> list[str]:
    """The wishes of a text, as it is split to be read."""
    return [part for part in re.split(_SPLIT, plain(text)) if part and part.strip()]


def _read_part(text: str) -> list[Change] | None:
    """One wish, or one verb with several foods; None when it is not understood or holds a second wish."""
    if not text or not re.search(r"[a-z]", text):
        return None
    asked, text = without_instead(text), re.sub(r" instead$", "", text)
    if found := read_allowed_practice(text) or read_refused_practice(text):
        return [found]
    if re.search(_SPLIT, text):
        return None
    if found := read_canner(text) or read_vessel(text) or read_heat(text) or _read_acidity(text) or _read_form(text):
        return [found]
    text = asked
    found = (
        _read_swap(text)
        if re.search(r" -> | for | with | by | to |instead|place of|rather|replac|lieu|into", text)
        else None
    )
    amount = read_amount_change(text)
    # "5 cups sugar instead of 7" and "reduce sugar by half" are amounts, whatever else they look like.
    chosen = (
        amount
        if amount and (not found or amount.act in (Act.SET, Act.LESS, Act.MORE) and not _names_two(found))
        else found
    )
    return _spread_over(chosen or Change(Act.USE, text, word=BARE))


def _names_two(swap: Change) -> bool:
    if not re.search("[a-z]", swap.item):
        return False
    return bool(
        re.search(r"[a-z]{3}", re.sub(r"\b(?:half|less|more|cup|cups|jar|jars)\b", "", swap.other))
        and swap.item != swap.other
    )


def _spread_over(change: Change) -> list[Change] | None:
    """ "Add onions and garlic" is two changes; a verb reaches over plain foods, never over a measure of their own."""
    if change.act in (Act.SWAP, Act.SET):
        return [change]
    pieces = re.split(_LIST, change.item)
    if len(pieces) == 3 and change.act is Act.LESS and take_amount(pieces[2])[0] == "":  # "less salt, 1 tsp"
        pieces = [f"{pieces[0]} {pieces[2]}"]
    joints = pieces[1::2]
    ends_in_and = bool(joints) and joints[-1].strip() != ","
    found = [_one_food(change, pieces[0], "")] if pieces[0] else []
    for food, joint in zip(pieces[2::2], joints, strict=True):
        reaches = change.act in (Act.ADD, Act.MORE) or ends_in_and
        if reaches and not re.search(_OWN_MEASURE, food) and read_phrase(take_jar(food)[0]).is_known:
            found.append(_one_food(change, food, joint))
        elif own := _read_part(bare(food)):
            found += own
        else:
            return None
    return found or None


def _one_food(change: Change, food: str, joint: str) -> Change:
    food, jar = take_jar(food)
    item, amount = take_amount(food)
    act = Act.ADD if change.act is Act.USE and re.search(_TOGETHER_WITH, joint) else change.act
    if act in (Act.ADD, Act.USE):
        return replace(change, act=act, item=item, amount=amount, per_jar=jar)
    return replace(change, item=item, other_amount=change.other_amount or amount, per_jar=jar)


def _read_acidity(text: str) -> Change | None:
    if re.fullmatch(_WEAKER, text):
        return Change(Act.ACIDITY, item="vinegar", word="weaker")
    for pattern, per in ((_ACIDITY, 1), (_GRAIN, 10)):
        if (match := re.fullmatch(pattern, text)) and (number := read_number(match["a"] or match["b"])) is not None:
            return Change(Act.ACIDITY, item=(match["k1"] or match["k2"]).strip(), factor=number / per)
    return None


def _read_form(text: str) -> Change | None:
    """Frozen for fresh and the like, without a food: "canned for fresh", "fresh -> frozen", "use frozen"."""
    if match := re.fullmatch(rf"(?:use )?(?P<new>{_F}) (?:for|instead of|in place of|rather than) (?P<old>{_F})", text):
        return Change(Act.FORM, word=_FORM_WORDS[match["new"]], other=_FORM_WORDS[match["old"]])
    if match := re.fullmatch(rf"(?:{_SWAP_OUT} )?(?P<old>{_F}) (?:->|to|with) (?P<new>{_F})", text):
        return Change(Act.FORM, word=_FORM_WORDS[match["new"]], other=_FORM_WORDS[match["old"]])
    if match := re.fullmatch(rf"(?:use )?(?P<new>{_F})(?: ones?)?", text):
        return Change(Act.FORM, word=_FORM_WORDS[match["new"]])
    return None


@lru_cache(maxsize=1)
def _swap_patterns() -> tuple[tuple[re.Pattern[str], bool], ...]:
    return tuple((re.compile(pattern), either) for pattern, either in _SWAPS)


def _read_swap(text: str) -> Change | None:
    for pattern, either in _swap_patterns():
        if match := pattern.fullmatch(text):
            old, factor = _portion(match["old"].strip())
            new, jar = take_jar(_without_tail(match["new"].strip()))
            item, amount = take_amount(old)
            other, other_amount = take_amount(new)
            if any(re.search(_LIST, name) and not read_phrase(name).is_known for name in (item, other)):
                continue  # two wishes, or more than was meant by either
            word = FOR if pattern.pattern == _FOR else ""
            return Change(Act.SWAP, item, other, amount, other_amount, factor, word, jar, either_way=either)
    return None


def _without_tail(text: str) -> str:
    """Words that say the measure stays: "cider vinegar of the same 5 %" keeps the 5 % for the judge."""
    text = re.sub(
        r"\b(?:of|in|at) the same (?:amount|quantity|measure|volume|weight)\b|\bsame (?:amount|quantity|measure)\b",
        " ",
        text,
    )
    text = re.sub(
        r"\b(?:measure for measure|cup for cup|one for one|1:1|1 to 1|in equal amounts?|equal amounts?)\b", " ", text
    )
    return " ".join(text.split())


def _portion(text: str) -> tuple[str, Fraction | None]:
    text = _without_tail(re.sub(r"^(?:all(?: of)?|the whole|any) ", "", text))
    if match := re.match(_PORTION, text):
        number = read_number(match["pct"]) if match["pct"] else None
        return text[match.end() :], number / 100 if number is not None else _PARTS.get(match["half"] or "")
    return re.sub(r"^(?:the|of the|our|my) ", "", text), None
