"""Answers to texts about something that went wrong with jars. None of them allows anything."""

from __future__ import annotations

from recipes.engine.change_sources import (
    ASK_SEAL,
    GARDEN_PRODUCE,
    MISSOURI_SIPHON,
    MSU,
    NCSTATE_MOULD,
    NCSTATE_SIPHON,
    NCSTATE_UNSEALED,
    NEBRASKA_UNSEALED,
    USDA,
    WSU_BOTULISM,
)
from recipes.engine.change_terms import ChangeRule, Ruling, rule

REFUSED = Ruling.REFUSED
_NO_CHANGE = "This tells of something that went wrong, not of a change to the recipe. "
_ASK = "Do not eat or taste it. Set the jars aside and ask an instructor."

ACCIDENT: tuple[ChangeRule, ...] = (
    rule(
        "ACCIDENT-UNSEALED",
        REFUSED,
        _NO_CHANGE + "A jar found unsealed within 24 hours, of a batch made as published, may be processed again for "
        "the whole time with a new lid; found later, its food is thrown away.",
        f"{NEBRASKA_UNSEALED}; {MSU}01600593 (within 24 hours); {NCSTATE_UNSEALED}; {ASK_SEAL} (later)",
        _ASK,
    ),
    rule(
        "ACCIDENT-STOOD",
        REFUSED,
        _NO_CHANGE + "Food that stood unsealed or unprocessed for more than 24 hours is thrown away.",
        f"{NCSTATE_UNSEALED}; {ASK_SEAL}",
        _ASK,
    ),
    rule(
        "ACCIDENT-PRESSURE",
        REFUSED,
        _NO_CHANGE + "When the pressure falls below the mark or the boil stops, it is brought back and the whole time "
        "is counted again from the start. Jars for which that was not done were not made safe, sealed or not.",
        f"{USDA}, Guide 1; {ASK_SEAL} (a seal proves nothing)",
        _ASK,
    ),
    rule(
        "ACCIDENT-POWER",
        REFUSED,
        _NO_CHANGE + "A process that was broken off made nothing safe, and a seal proves nothing. When the heat is "
        "back at once, the whole time is counted again from the start.",
        f"{ASK_SEAL}; {USDA}, Guide 1",
        _ASK,
    ),
    rule(
        "ACCIDENT-SIPHON",
        REFUSED,
        _NO_CHANGE + "A jar is never opened to make up lost liquid. A sealed jar that lost less than half of it may be "
        "kept and is used first; one that lost more is not for the shelf.",
        f"{GARDEN_PRODUCE}, p. 110; {MISSOURI_SIPHON}; {NCSTATE_SIPHON}; half or more: NCHFP FAQ, as quoted",
        "Set the jars aside, do not eat from them yet, and ask an instructor.",
    ),
    rule(
        "ACCIDENT-BROKEN",
        REFUSED,
        _NO_CHANGE + "The food of a cracked or broken jar is thrown away, and not put into another jar.",
        f"{WSU_BOTULISM}; {GARDEN_PRODUCE}, p. 112",
        _ASK,
    ),
    rule(
        "ACCIDENT-SPOILED",
        REFUSED,
        _NO_CHANGE + "A jar that leaks, bulges, spurts, smells wrong or has any mould is thrown away untasted; mould "
        "is not scooped off.",
        f"{WSU_BOTULISM}; {NCSTATE_MOULD}; {MSU}01600966",
        _ASK,
    ),
    rule(
        "ACCIDENT-OTHER",
        REFUSED,
        _NO_CHANGE + "Until an instructor has looked, nobody eats from these jars or gives them away.",
        "a rule of this club",
        _ASK,
    ),
)

# Said first of food that grows the poison of botulism when its process or its seal failed.
LOW_ACID_STOOD = (
    "Low-acid food and tomatoes that stood unsealed or were not fully processed are thrown away: never eaten, and "
    "never saved in a freezer."
)
