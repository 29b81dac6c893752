"""Ways of working that a text names, found by their own words. The first that fits is taken.

A way that is refused may be found anywhere in the text; one that is allowed must be the whole text, so that
no second wish hides beside it.
"""

from __future__ import annotations

import re
from functools import lru_cache

from recipes.engine.change_terms import Act, Change

_LIDS = r"(?:lids?|flats?|flat lids?|canning lids?|sealing discs?|seals?)"
_BANDS = r"(?:bands?|rings?|screw ?bands?|screw ?caps?|lids?|caps?)"

ALLOWED: tuple[tuple[str, str], ...] = (
    (
        "NO-REST",
        r"(?:skip|no|without) (?:the )?(?:5 minutes? |five minutes? )?(?:resting|standing|rest|"
        r"stand|wait)(?: time)?(?: in the canner)?",
    ),
    (
        "LIDS-NEW",
        rf"(?:use |with |buy )?(?:brand )?new {_LIDS}|(?:re ?use|reusing) (?:the |old |"
        rf"sound )*(?:jar |metal |screw )?(?:bands|rings|jars|jars and bands)",
    ),
    (
        "BANDS-FINGERTIP",
        rf"(?:turn |screw |tighten |practice )?(?:the )?(?:{_BANDS} )?(?:on |down |to )?(?:only |"
        rf"just )?finger ?tip tight",
    ),
    (
        "JARS-WASHED",
        r"(?:wash|rinse|clean|warm|heat|keep) (?:the |empty |my )*jars (?:hot |warm )?(?:in|"
        r"with) (?:the |a )?dish ?washer",
    ),
    (
        "JARS-WASHED",
        r"(?:use )?(?:the |a )?dish ?washer (?:to (?:wash|clean|warm|keep)|for washing) (?:the |"
        r"empty )*jars(?: hot| warm)?",
    ),
    (
        "FREEZE-INSTEAD",
        r"(?:freeze|refrigerate|chill)(?: (?:it|them|everything|"
        r"(?:the|my|all) (?:food|jam|jelly|salsa|sauce|pickles|relish|beans|fruit|tomatoes|batch|pot|rest)))?"
        r"(?: all)?(?: instead(?: of (?:canning|processing|the canner)(?: it)?)?| only)?",
    ),
    (
        "FREEZE-INSTEAD",
        r"(?:keep|store|put) (?:it |them )?in (?:the )?(?:freezer|fridge|"
        r"refrigerator)(?: only)?(?: instead(?: of (?:canning|processing)(?: it)?)?)?",
    ),
    (
        "FREEZE-INSTEAD",
        r"(?:method |make it )?(?:freezer|freezing|refrigerator|fridge)(?: instead(?: of (?:canning|processing))?)?",
    ),
    (
        "POT-SEPARATE",
        r"(?:make |cook |do )?(?:two|three|four|several|2|3|4) (?:separate )?(?:pots|"
        r"batches)(?: one after (?:the other|another)| separately| in turn)?",
    ),
    (
        "POT-SEPARATE",
        r"(?:make |cook |do )?(?:it|the recipe|the pot|the batch) (?:twice|two times|"
        r"again)(?: separately| in two pots)?",
    ),
    (
        "BOIL-LONGER",
        r"(?:boil|cook|simmer)(?: it| the (?:jam|jelly|spread|preserves|marmalade|mixture|"
        r"pot))? (?:for )?(?:a (?:bit|little) )?(?:longer|less|shorter|more)(?: time)?",
    ),
    (
        "PECTIN-ORDER",
        r"(?:add|put in|stir in) (?:the )?(?:powdered |liquid )?(?:pectin|sugar) (?:first|last|"
        r"early|later|after|before|at the (?:start|end|beginning))(?: (?:the|of|it|boil|boiling|"
        r"sugar|pectin|fruit|juice|heating)){0,4}",
    ),
    (
        "PECTIN-ORDER",
        r"(?:change|swap|switch) the order(?: of (?:the |adding |and |sugar |pectin |fruit |"
        r"them ?)+)?|sugar before (?:the )?pectin|"
        r"pectin (?:before|after) (?:the )?(?:sugar|boil|fruit)",
    ),
)

REFUSED: tuple[tuple[str, str], ...] = (
    ("PARAFFIN", r"paraffin|beeswax|candle|\bwax(?:es|ed|ing)?\b(?! (?:bean|pepper|paper))"),
    (
        "INVERT-JARS",
        r"\binver(?:t|ts|ted|ting|sion)\b(?! sugar)|upside ?down|\b(?:turn|flip|"
        r"tip)\w* (?:\w+ ){0,3}(?:over|upside|on their (?:lids|heads))|\b(?:flip|turn)\w* (?:the |"
        r"all )*jars\b|\bon their (?:heads|lids)\b",
    ),
    (
        "MULTI-COOKER",
        r"instant ?pot|multi ?cooker|electric (?:pressure )?(?:cooker|canner)|\bair ?fryer|"
        r"sous ?vide|rice cooker|ninja foodi|bread machine",
    ),
    ("MICROWAVE", r"microwav"),
    ("OVEN", r"\bovens?\b|\bbake\b.*\bjars?\b"),
    ("DISHWASHER", r"dish ?washer"),
    ("SUN", r"\bsun (?:can|cook|process)|\bin the sun\b|\bsolar\b"),
    ("SLOW-COOKER", r"slow ?cooker|crock ?pot"),
    ("PRESSURE-COOKER", r"pressure (?:cooker|saucepan|pan|pot)"),
    (
        "OPEN-KETTLE",
        r"open kettle|hot ?fill|self ?seal|seals? (?:by|on) (?:itself|themselves|their own|"
        r"its own)|(?:let|leave) (?:the )?(?:jars|lids|heat) (?:to )?seal|vacuum ?seal",
    ),
    (
        "LIDS-REUSED",
        rf"\b(?:re ?us\w*|used|old|second ?hand|same|last years|again)\b.*\b{_LIDS}\b|"
        rf"\b{_LIDS}\b.*\b(?:again|twice|re ?us\w*|used|second time)\b",
    ),
    ("LIDS-REUSED", r"\bone piece (?:lid|cap)|commercial lids?|jam jar lids?"),
    (
        "BANDS-TIGHT",
        rf"\b{_BANDS}\b.*\b(?:tight\w*|hard|firm\w*|wrench|crank\w*|strong\w*)\b|"
        rf"\b(?:re ?tighten\w*|tighten\w*|tighter|tight|crank\w*|over ?tighten\w*)\b.*\b{_BANDS}\b|"
        rf"^(?:re)?tighten\w*$",
    ),
    (
        "JAR-UNFIT",
        r"\b(?:mayo|mayonnaise|pickle|peanut butter|baby food|pasta sauce|spaghetti sauce|"
        r"commercial|recycled|reused|bought|decorative|antique|old|jam|coffee|salsa|olive|honey|"
        r"single use)\b (?:\w+ )?jars?\b",
    ),
    (
        "JAR-UNFIT",
        r"\b(?:crack\w*|chip(?:ped|s)?|nick\w*|scratched) (?:\w+ )?jars?|"
        r"\bjars? with (?:a )?(?:crack|chip|nick)|\bplastic\b|\btin cans?\b|\bmetal cans?\b|"
        r"\bzinc\b|\bbail\b|wire clamp|clamp (?:jar|lid|top)|clip top|glass lid|rubber (?:ring|"
        r"seal|gasket)|swing ?top|flip top",
    ),
    (
        "JAR-UNFIT",
        r"\b(?:wine|beer|soda|vodka|swing top|glass|water|ketchup) bottles?\b|\b(?:in|use|"
        r"into) (?:\w+ )?bottles\b|^bottles?$|\bmugs?\b|\bvase",
    ),
    (
        "ALTITUDE-IGNORED",
        r"(?:ignore|skip|forget|without|no|not|omit|leave out|sea level).*\b(?:altitude|"
        r"elevation)\b|\b(?:altitude|elevation)\b.*\b(?:ignore\w*|skip\w*)\b|\bsea level (?:time|"
        r"minutes|process)",
    ),
    (
        "NO-GAUGE-TEST",
        r"(?:skip|no|without|not|omit|untested|leave out).*\b(?:gauge|dial)\b.*|"
        r"\bgauge\b.*\b(?:untested|not tested|not checked|unchecked|off)\b",
    ),
    (
        "NO-VENT",
        r"(?:skip|no|without|do not|not|omit|less|shorter|leave out|short).*\b(?:vent\w*|"
        r"exhaust\w*)\b|\bvent\w* (?:less|shorter|only|for [0-5] )",
    ),
    (
        "FORCED-COOLING",
        r"(?:cool|run|pour|put|hold|rinse|dunk|set).*\b(?:cold|running|ice|tap) (?:cold )?(?:water|"
        r"bath)\b.*|quick ?cool|force.{0,20}cool|cool.{0,30}(?:fast|quick|fridge|refrigerator|"
        r"freezer)",
    ),
    (
        "WATER-LOW",
        r"\bwater\b.*\b(?:half way|halfway|shoulders?|not covering|below)\b|(?:do not|not|"
        r"without) cover\w* (?:the )?(?:jars|lids)|less water in the canner",
    ),
    (
        "NOT-STERILISED",
        r"(?:skip|no|without|do not|not|omit|leave out).*\bsterili\w+|\bunsterili\w+|dirty jars|\bunwashed jars",
    ),
    (
        "TIMER-EARLY",
        r"(?:start|begin|count)\w* (?:the |to )?(?:timing|timer|time|clock|count\w*).*\b(?:before|"
        r"early|when|as soon|cold|right away)\b.*",
    ),
    (
        "PREP-PEEL",
        r"\bunpeeled\b|(?:do not|without|skip|no|not) (?:peel\w*|skinning)|(?:leave|keep|"
        r"with) (?:the |their )?(?:skins?|peels?)(?: on)?\b|\bskins? on\b|\bpeels? on\b",
    ),
    (
        "TOMATO-POOR",
        r"\b(?:over ?ripe|frost\w*|dead|diseased|rotten|mouldy|moldy|bruised|spoiled|windfall\w*)\b|"
        r"\bdropped (?:\w+ )?(?:tomato|fruit|apple)|\b(?:tomato|fruit|apple)\w* (?:\w+ )?dropped\b",
    ),
    (
        "FREEZER-SHELF",
        r"\b(?:on|in|at|to) (?:the |a )?(?:shelf|pantry|cupboard|room temperature|cellar|"
        r"basement)\b|shelf stable|\bunrefrigerated\b",
    ),
    (
        "PREP-CHANGED",
        r"^(?:puree|blend|mash|liquidi[sz]e|whiz|grind|strain|sieve|chunky|chunkier|coarser|finer|"
        r"thicken|thicker)(?!.* with )\b(?: (?:it|everything|smooth|all|the \w+|\w+))*$",
    ),
    (
        "PREP-CHANGED",
        r"\b(?:bigger|larger|smaller|thicker|thinner|finer|coarser) (?:pieces|chunks|slices|cubes|"
        r"dice|cut|cuts)\b|\b(?:pack|packed|press|pressed|stuff|stuffed) (?:\w+ ){0,4}(?:tight\w*|"
        r"solid\w*|firm\w*|down)\b|leave (?:\w+ )?whole|do not (?:chop|cut|slice|core|seed)|"
        r"cook (?:it )?(?:down|thicker)|reduce it",
    ),
)


@lru_cache(maxsize=1)
def _compiled() -> tuple[list[tuple[str, re.Pattern[str]]], list[tuple[str, re.Pattern[str]]]]:
    allowed = [(code, re.compile(pattern)) for code, pattern in ALLOWED]
    return allowed, [(code, re.compile(pattern)) for code, pattern in REFUSED]


def read_allowed_practice(text: str) -> Change | None:
    for code, pattern in _compiled()[0]:
        if pattern.fullmatch(text):
            return Change(Act.PRACTICE, word=code)
    return None


def read_refused_practice(text: str) -> Change | None:
    for code, pattern in _compiled()[1]:
        if pattern.search(text):
            return Change(Act.PRACTICE, word=code)
    return None
