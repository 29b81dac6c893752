"""Texts about something that went wrong with jars. They are no change to a recipe and are never read as one.

They are looked for before anything else, anywhere in the text, so that no rule about a change answers them.
"""

from __future__ import annotations

import re
from functools import lru_cache

from recipes.engine.change_terms import Act, Change

_NOT = r"(?:not|no|never|without|fail(?:ed|s)? to|(?:did|do|does|was|were|is|are|has|have|had|wo|would|ca|could)nt)"
_JAR = r"(?:jars?|glass|bottoms?|it|they|one|two|bottles?)"
_TIME = r"(?:hours?|hrs?|days?|nights?|weeks?|months?|overnight|yesterday)"
_PLACE = r"(?:counter|bench|table|worktop|garage|car|porch|sun|canner|kitchen|room temperature|warm|unrefrigerated)"

ACCIDENTS: tuple[tuple[str, str], ...] = (
    (
        "ACCIDENT-SPOILED",
        r"\bmou?ld\b|\bmou?ldy\b(?! (?:tomato|fruit|berr|apple|peach|pear|plum))|\bgrew mou?ld|\bbulg\w+|\bswollen\b|"
        r"\bleak\w*|\bspurt\w*|\bfizz\w*|\bslim(?:y|ey)\b|\b(?:smells?|smelt|smelled|tastes?|tasted) "
        r"(?:\w+ )?(?:off|bad|funny|rotten|odd|strange|wrong)\b|\bwent (?:off(?! the boil)|bad)\b|\bgone (?:off|bad)\b|"
        r"\bbotulism\b|\bferment(?:ing|ed) in (?:the )?jars?\b",
    ),
    (
        "ACCIDENT-BROKEN",
        rf"\b{_JAR} (?:\w+ ){{0,4}}(?:crack|cracked|cracks|broke|broken|breaks|shattered|burst|exploded)\b"
        r"(?! (?:black )?(?:pepper|wheat))|"
        r"\b(?:broke|cracked|shattered|smashed) (?:1|the|one|two|my|some) jars?\b|"
        r"\b(?:cracked|broken|burst) (?:\w+ )?jars? in the canner\b|\bdropped (?:1|the|one|my) jar\b",
    ),
    (
        "ACCIDENT-POWER",
        r"\bpower (?:cut|outage|out|failure|loss|went|failed|was|has|is)\b|\b(?:lost|lose|no|without|out of) (?:power|"
        r"electricity|gas)\b|\bblack ?out\b|\b(?:electricity|gas|stove|burner|hob|heat) (?:\w+ )?(?:went|failed|"
        r"cut|ran|stopped|turned off|was off)\b|\bfreezer (?:\w+ )?(?:failed|broke|died|thawed|defrosted|stopped|"
        r"off)\b",
    ),
    (
        "ACCIDENT-PRESSURE",
        r"\bpressure (?:\w+ ){0,3}(?:drop|drops|dropped|dropping|fell|falls|fall|went down|sank|dipped|lost|low|below|"
        r"under)\b|\b(?:lost|losing|drop in|loss of) (?:\w+ )?pressure\b|\bgauge (?:\w+ ){0,2}(?:dropped|fell|read "
        r"(?:wrong|low|high)|was wrong|is wrong)\b|\b(?:stopped|quit|was not|went off the|off the) boil(?:ing)?\b|"
        r"\bboil (?:\w+ )?stopped\b|\b(?:boiled|ran|run|went) (?:dry|out of water)\b|"
        r"\b(?:turned|switched) (?:it |the heat )?off (?:\w+ )?(?:early|too soon)\b|"
        r"\b(?:canner|timer) (?:\w+ )?(?:stopped|failed|died)\b",
    ),
    (
        "ACCIDENT-SIPHON",
        r"\bs[iy]phon\w*|\b(?:lost|losing|leaked) (?:\w+ ){0,4}(?:liquid|water|juice|syrup|brine)\b|"
        r"\b(?:liquid|water|juice|syrup|brine) (?:\w+ ){0,3}(?:was lost|came out|boiled out|escaped|dropped|"
        r"went down)\b",
    ),
    (
        "ACCIDENT-UNSEALED",
        rf"\bunsealed\b|\b{_NOT} (?:\w+ ){{0,2}}seal(?:ed|ing)?\b(?! wax)|\bdo not sealed\b|\b(?:lost|broke|broken|"
        rf"failed|false|no|bad|loose) (?:\w+ )?seals?\b|\bseals? (?:\w+ ){{0,2}}(?:failed|broke|broken|let go|gave|"
        rf"gone|lost|popped|loose|bad|off)\b|\blids? (?:\w+ ){{0,3}}(?:popped|pops|loose|buckled|came off|flex\w*|"
        rf"gave|up|off|springs?|sprang)\b|\bpopped (?:lids?|seals?|up|off|open)\b|"
        rf"\blids? (?:\w+ )?{_NOT} (?:\w+ )?(?:pop|popped|ping|pinged|go down|gone down)\b",
    ),
    (
        "ACCIDENT-STOOD",
        rf"\b(?:stood|sat|sitting|been|forgotten|left)\b.*\b(?:{_TIME}|{_PLACE})\b|\b(?:stood|sat|sitting|been) out\b|"
        rf"\b(?:after|for|since) (?:\w+ ){{0,2}}{_TIME}\b.*\b(?:jars?|counter|out|shelf|warm|eat|safe|open)\b|"
        rf"\b{_TIME} (?:ago|later|old|on the|out)\b|"
        rf"\b(?:eat|safe|save|freeze|reprocess)\b.*\bafter (?:\w+ ){{0,2}}{_TIME}\b",
    ),
    (
        "ACCIDENT-OTHER",
        r"\b(?:i|we|she|he|they|accidentally) forgot\b|^forgot\b|\bby (?:mistake|accident)\b|\baccident(?:ally)?\b|"
        r"\bwent wrong\b|\b(?:did not|didnt|never) set\b|\bflood(?:ed|s)?\b|\bcloudy\b|\bunder ?processed\b",
    ),
)


@lru_cache(maxsize=1)
def _compiled() -> tuple[tuple[str, re.Pattern[str]], ...]:
    return tuple((code, re.compile(pattern)) for code, pattern in ACCIDENTS)


def read_accident(text: str) -> Change | None:
    """The accident that a plain text tells of, if it tells of one."""
    return next((Change(Act.ACCIDENT, word=code) for code, pattern in _compiled() if pattern.search(text)), None)
