"""Rules of change: jars, packs, pots, canners, times, and ways of working that are retired or needed."""

from __future__ import annotations

from recipes.engine.change_sources import (
    ASK_HALF,
    CLEMSON_LIDS,
    FROM_MEMORY,
    ILLINOIS,
    NCHFP_COOKER,
    NCHFP_DOUBLE,
    NCHFP_JAR,
    NCHFP_STEAM,
    NO_SOURCE,
    UCANR_JAR,
    UCANR_SALSA,
    USDA,
    USDA_JARS,
)
from recipes.engine.change_terms import ChangeRule, Ruling, by_engine_rule, rule

FINE, QUALITY, REFUSED = Ruling.FINE, Ruling.QUALITY, Ruling.REFUSED
_AS_PRINTED = "Process the jars as the recipe says."

VESSEL: tuple[ChangeRule, ...] = (
    rule("JAR-TESTED", FINE, "This jar size is in the recipe's process table.", "the recipe's own process table"),
    rule(
        "JAR-SMALLER",
        FINE,
        "A smaller jar may be used with the whole time of the next larger tested jar.",
        NCHFP_JAR + "; " + UCANR_JAR,
        "The food may come out softer.",
    ),
    rule(
        "JAR-LARGER",
        REFUSED,
        "A larger jar than tested heats more slowly, and no sum gives its time.",
        NCHFP_JAR + "; " + UCANR_JAR,
        "Use more of the tested jars.",
    ),
    rule(
        "JAR-UNFIT",
        REFUSED,
        "Only sound jars made for home canning, with two-piece lids, stand the process and seal.",
        USDA_JARS,
    ),
    rule(
        "JAR-FREEZER",
        FINE,
        "A freezer recipe may go into any clean freezer container with room to swell.",
        NO_SOURCE,
        "Leave the headspace that the recipe gives.",
    ),
    rule(
        "JAR-UNKNOWN",
        REFUSED,
        "This jar size is not one that processes are tested for.",
        NCHFP_JAR,
        "Use quarter-pint, half-pint, 12-ounce, pint, pint-and-half or quart jars.",
    ),
    by_engine_rule(
        "PACK-AS-TESTED", FINE, "PACK-TESTED", "This pack is in the recipe's process table; use its own time."
    ),
    by_engine_rule("PACK-OTHER", REFUSED, "PACK-TESTED", "This recipe has no process for that pack."),
    rule(
        "TOGETHER-JAR-PACK",
        REFUSED,
        "Jar, pack and canner are each in the process table, but not together.",
        "the recipe's own process table",
        "Choose a row of the table.",
    ),
    by_engine_rule("POT-WITHIN", FINE, "POT-LIMITS"),
    rule("POT-SEPARATE", FINE, "More jars are made by cooking the recipe again, one pot at a time.", NCHFP_DOUBLE),
    by_engine_rule("POT-DOUBLE-SPREAD", REFUSED, "JAM-NO-DOUBLE", "Cook two pots, one after the other."),
    rule(
        "POT-DOUBLE",
        REFUSED,
        "A bigger pot heats unevenly and its jars wait and cool before they are processed.",
        NCHFP_DOUBLE,
        "Cook two pots, one after the other.",
    ),
    rule(
        "POT-HALF",
        FINE,
        "All of a recipe may be made in a smaller amount in the same proportions.",
        ASK_HALF,
        "Halve everything, the acid exactly; process as printed.",
    ),
    rule(
        "POT-HALF-SPREAD",
        QUALITY,
        "A smaller pot of spread boils down faster and sets differently, and pectin comes in whole packets.",
        NO_SOURCE,
        "Watch the end point.",
    ),
    rule(
        "HEADSPACE",
        REFUSED,
        "Headspace was tested: less siphons food over the rim, more leaves air that the process cannot drive out.",
        USDA + ", Guide 1, from memory",
    ),
    rule("HEADSPACE-SAME", FINE, "This is the headspace of the recipe.", "the recipe's own test"),
)

HEAT: tuple[ChangeRule, ...] = (
    by_engine_rule(
        "PROCESS-SHORTER",
        REFUSED,
        "TESTED-ONLY",
        "A shorter process or a lower pressure was not tested. " + _AS_PRINTED,
    ),
    rule(
        "PROCESS-SKIP",
        REFUSED,
        "A jar that only sealed itself was never made safe.",
        ILLINOIS,
        _AS_PRINTED + " Or keep the food in the refrigerator.",
    ),
    rule(
        "PROCESS-LONGER",
        QUALITY,
        "A longer process than tested is safe and makes the food softer and duller.",
        NCHFP_JAR + " (softer when overprocessed)",
    ),
    by_engine_rule(
        "PROCESS-ALTITUDE",
        REFUSED,
        "ALTITUDE-NEEDED",
        "This is enough only for some jars or altitudes of the table; look up yours.",
    ),
    by_engine_rule("PROCESS-ENOUGH", FINE, "TESTED-ONLY", "This is as long as the recipe's longest printed time."),
    by_engine_rule("ALTITUDE-IGNORED", REFUSED, "ALTITUDE-NEEDED", "Never leave the altitude out."),
    rule("CANNER-SAME", FINE, "The recipe has a tested process for this canner.", "the recipe's own process table"),
    by_engine_rule(
        "BOILING-FOR-PRESSURE", REFUSED, "LOWACID-METHOD", "Boiling water cannot make this safe, however long."
    ),
    by_engine_rule(
        "PRESSURE-FOR-BOILING",
        REFUSED,
        "TESTED-ONLY",
        "No pressure process is tested for this recipe. Use boiling water.",
    ),
    rule(
        "STEAM-CANNER",
        FINE,
        "Food of pH 4.6 or below may be processed in an atmospheric steam canner when the whole "
        "time is 45 minutes or less.",
        NCHFP_STEAM,
        "Vent it fully and keep the boiling-water time for your altitude.",
    ),
    rule(
        "STEAM-CANNER-LONG",
        REFUSED,
        "A steam canner boils dry: it serves only where the whole time, with altitude, is 45 minutes or less.",
        NCHFP_STEAM,
        "Use a boiling-water canner.",
    ),
    rule(
        "STEAM-CANNER-LOW-ACID",
        REFUSED,
        "An atmospheric steam canner gets no hotter than boiling water and is not for low-acid food.",
        NCHFP_STEAM,
    ),
    by_engine_rule("FREEZER-SHELF", REFUSED, "FREEZER-ONLY"),
    rule(
        "FREEZE-INSTEAD",
        FINE,
        "Freezing or refrigerating the food instead of canning it is safe.",
        UCANR_SALSA,
        "Leave room to swell in the freezer; from the refrigerator eat it within days.",
    ),
    rule(
        "OPEN-KETTLE",
        REFUSED,
        "Open-kettle filling seals without a process; germs from the air are sealed in.",
        ILLINOIS,
        _AS_PRINTED,
    ),
    rule(
        "PARAFFIN",
        REFUSED,
        "Wax or paraffin on top does not keep mould out.",
        ILLINOIS,
        "Use two-piece lids and process the jars.",
    ),
    rule(
        "INVERT-JARS",
        REFUSED,
        "Turning filled jars upside down is no process, and weakens the seal.",
        ILLINOIS,
        _AS_PRINTED,
    ),
    rule("OVEN", REFUSED, "Dry oven heat does not heat jars evenly, and they can burst.", ILLINOIS, _AS_PRINTED),
    rule(
        "DISHWASHER",
        REFUSED,
        "A dishwasher is not hot enough for long enough to process jars.",
        ILLINOIS,
        "It may wash empty jars and keep them hot.",
    ),
    rule("MICROWAVE", REFUSED, "A microwave oven heats unevenly and cannot process jars.", ILLINOIS, _AS_PRINTED),
    rule("SUN", REFUSED, "The sun does not heat jars enough.", ILLINOIS, _AS_PRINTED),
    rule(
        "SLOW-COOKER", REFUSED, "A slow cooker cannot process jars, and heats food too slowly.", ILLINOIS, _AS_PRINTED
    ),
    rule(
        "MULTI-COOKER",
        REFUSED,
        "Processes were tested in stove-top canners, not in electric cookers.",
        NCHFP_COOKER,
        "Use a canner that holds at least four quart jars upright.",
    ),
    rule(
        "PRESSURE-COOKER",
        REFUSED,
        "A small pressure cooker heats and cools too fast for the tested times.",
        NCHFP_COOKER + " (canners of four or more quart jars)",
    ),
)

WORK: tuple[ChangeRule, ...] = (
    rule(
        "LIDS-REUSED",
        REFUSED,
        "A flat lid seals once; each jar needs a new one.",
        USDA_JARS,
        "Bands and sound jars may be used again.",
    ),
    rule("LIDS-NEW", FINE, "New flat lids each time, and sound bands used again, are right.", USDA_JARS),
    rule(
        "BANDS-TIGHT",
        REFUSED,
        "A band tighter than fingertip-tight keeps the air in, so that lids buckle or do not seal.",
        CLEMSON_LIDS,
        "Turn the band until it resists, with the fingertips.",
    ),
    rule("BANDS-FINGERTIP", FINE, "Fingertip-tight is right.", CLEMSON_LIDS),
    by_engine_rule("WATER-LOW", REFUSED, "BWC-WATER-OVER"),
    by_engine_rule("NO-VENT", REFUSED, "PC-VENT"),
    by_engine_rule("NO-GAUGE-TEST", REFUSED, "PC-GAUGE-YEARLY"),
    by_engine_rule("FORCED-COOLING", REFUSED, "COOL", "Never cool a canner or jars with water."),
    by_engine_rule("NO-REST", QUALITY, "BWC-STAND", "Jars lifted at once lose liquid."),
    by_engine_rule("NOT-STERILISED", REFUSED, "STERIL-NEEDED", "Ask for a plan: it says whether your jars need it."),
    rule("JARS-WASHED", FINE, "Jars may be washed and kept hot in a dishwasher.", USDA_JARS),
    rule(
        "TIMER-EARLY",
        REFUSED,
        "Time counts from a full boil, or from full pressure after venting.",
        USDA + ", Guide 1, " + FROM_MEMORY,
    ),
)
