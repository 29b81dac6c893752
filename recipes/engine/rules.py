"""The rules of the trade that the engine applies, each with its name, what it says and its source.

A rule with no printed source says "common practice, no source"; one not re-read in print, "from memory".
"""

from __future__ import annotations

from recipes.engine.terms import Caution, Refusal, Rule

NO_SOURCE = "common practice, no source"
FROM_MEMORY = "from memory"
USDA = "USDA Complete Guide to Home Canning, 2015"

_ALL = (
    Rule(
        "TESTED-ONLY",
        "A process time or pressure is looked up in a tested table, never worked out.",
        USDA + ": its process tables, by food, pack, jar and altitude",
    ),
    Rule(
        "LOWACID-METHOD",
        "Low-acid food (pH above 4.6: vegetables, meat, fish, soups) is kept on a shelf only after a pressure "
        "process, unless the recipe's own acid makes it a pickle.",
        "Health Canada 2012; Virginia Tech 348-585",
    ),
    Rule(
        "ACID-ADDED",
        "Tomatoes, figs, Asian pears and elderberries lie near pH 4.6, so they need added acid in boiling water.",
        "USDA Complete Guide, Guide 3 (tomatoes) and Guide 2 (figs); NCHFP (Asian pears); "
        "elderberries: common practice, no source",
    ),
    Rule("ACID-NEVER-LESS", "Acid is never rounded down.", "NDSU FN189: proportions of a pickle are not changed"),
    Rule("ALTITUDE-NEEDED", "Water boils cooler higher up, so every process is given by altitude.", USDA + ", Guide 1"),
    Rule("ALTITUDE-BANDS", "A height above a band's upper limit, by any amount, is in the next band.", USDA),
    Rule("ALTITUDE-EDGE", "An altitude within 30 m of a band's limit may in truth be in the next band.", NO_SOURCE),
    Rule(
        "ALTITUDE-RANGE",
        "Kitchens are taken to lie between 430 m below and 5,000 m above sea level.",
        "lowest shore on land and highest towns; " + NO_SOURCE,
    ),
    Rule("BELOW-SEA", "Below sea level water boils hotter; the lowest printed band is used as it is.", NO_SOURCE),
    Rule(
        "JAR-SIZE",
        "A smaller jar may have the process of the next larger tested jar; a larger jar than tested has none.",
        USDA + ", Guide 5 (half-pints of fish as pints); for other foods as NCHFP teaches it, from memory",
    ),
    Rule("PACK-TESTED", "Hot pack and raw pack are tested apart and have processes of their own.", USDA),
    Rule(
        "GAUGE-KIND",
        "A dial gauge and a weighted gauge have pressures of their own; dial tables end at 8,000 ft.",
        USDA + ": all pressure tables",
    ),
    Rule(
        "PRESSURE-CHOICE",
        "Where several pressures are tested for one jar, the one recommended at every altitude is taken first, "
        "then the longest time.",
        NO_SOURCE,
    ),
    Rule(
        "SEEN-ONLY",
        "Only figures seen in print are used; figures from memory, in dispute or suspect are not.",
        "a rule of this club",
    ),
    Rule(
        "STERIL-NEEDED",
        "Jars are sterilised when the boiling-water process is shorter than 10 minutes.",
        "USDA Complete Guide, Guide 1 (from memory); said beside every 5-minute row seen in print",
    ),
    Rule(
        "STERIL-TIME",
        "Empty jars are boiled 10 minutes, and 1 minute more for each 1,000 ft above 1,000 ft.",
        "Michigan State Univ. Extension 01600107, 01600323; Andress, fightbac.org",
    ),
    Rule(
        "PC-VENT", "A pressure canner vents steam for 10 minutes before it is closed.", "Univ. Alaska Fairbanks; USDA"
    ),
    Rule(
        "PC-GAUGE-YEARLY",
        "A dial gauge is tested once a year, before the season, and replaced when more than 2 psi out.",
        "Iowa State; OSU Deschutes; Texas AgriLife",
    ),
    Rule(
        "PC-RESTART", "If pressure falls below the mark, the whole time starts again.", USDA + ", Guide 1, from memory"
    ),
    Rule(
        "BWC-WATER-OVER",
        "Water stands 1 to 2 inches (3 to 5 cm) over the jars all through the process.",
        "Alberta guide (1 to 2 in); other extension pages (at least 1 in)",
    ),
    Rule("BWC-RESTART", "Time counts from a full boil; if it stops, it starts again.", USDA + ", Guide 1, from memory"),
    Rule("BWC-STAND", "After the heat is off, jars stand 5 minutes with the lid off.", "UF IFAS EDIS he172, he247"),
    Rule(
        "COOL",
        "Jars cool untouched for 12 to 24 hours before their seals are looked at.",
        "Univ. Missouri Extension; Purdue HHS-810-W",
    ),
    Rule(
        "JAM-NO-DOUBLE",
        "A spread is cooked one pot at a time and never doubled: larger pots set soft.",
        "Michigan State Univ. Extension 01600961; AIB 539, Guide 1",
    ),
    Rule("POT-LIMITS", "A pot is scaled only as far as the recipe's own test allows.", "the recipe's own test"),
    Rule("PECTIN-WHOLE", "Pectin goes by whole packets.", NO_SOURCE + "; a box is reported as 3 to 6 tbsp"),
    Rule("YIELD-STATED", "Jars are planned from the low end of the yield that the source states.", NO_SOURCE),
    Rule("FRUIT-PREPARED", "Fruit counts as the recipe measures it, after trimming.", NO_SOURCE),
    Rule("WISH", "A plan starts from pots, or jars, or fruit at hand: one of the three.", "a rule of this club"),
    Rule(
        "VINEGAR-MIN",
        "Vinegar for keeping is commercial and at least 5 percent acid.",
        "Michigan State Univ. Extension 01600556; Oregon State Univ.",
    ),
    Rule(
        "KNOWN-FOOD",
        "A recipe for the shelf names only foods whose acid is known; any other waits until a reviewer has classed it.",
        "a rule of this club",
    ),
    Rule(
        "NEVER-CANNED",
        "There is no tested way to keep this food on a shelf by this method, whatever role a recipe gives it.",
        "each food's own row in fixtures/library/acidity.csv",
    ),
    Rule(
        "NEVER-PUREE",
        "A dense puree of low-acid food, pumpkin and squash butter among them, has no tested home process.",
        "Penn State column 2020; Michigan State Univ. Extension 01600707",
    ),
    Rule(
        "NEVER-OIL",
        "Herbs, garlic or vegetables in oil have no tested home process.",
        "Penn State column 2020; Penn State Extension",
    ),
    Rule(
        "ACID-PUBLISHED",
        "A quart of tomatoes takes at least 2 tbsp of bottled lemon juice, 1/2 tsp of citric acid or 4 tbsp of 5 "
        "percent vinegar; figs the same without the vinegar; Asian pears 2 tbsp of bottled lemon juice.",
        "Univ. Missouri GH1456; NC State sheet; USDA Complete Guide, Guide 3 (tomatoes) and Guide 2 (figs); "
        "Michigan State Univ. Extension 01600838; NCHFP (Asian pears)",
    ),
    Rule(
        "ACID-RATIO",
        "A mixture of acid and low-acid food is kept in boiling water only at the ratio of a tested recipe.",
        "NDSU FN189; Michigan State Univ. Extension 01600559",
    ),
    Rule("BOTTLED-JUICE", "Bottled lemon or lime juice has an even acidity; fresh has not.", USDA + ", from memory"),
    Rule("FREEZER-ONLY", "A freezer recipe has no tested process and never stands on a shelf.", USDA + ", Guide 7"),
    Rule("RECIPE", "What the recipe itself says to mind.", "the recipe's own source"),
    Rule("LOCAL-ADVICE", "Local food-safety advice prevails over any plan.", "a rule of this club"),
)

RULES: dict[str, Rule] = {rule.name: rule for rule in _ALL}

# Kinds of recipe that are low-acid unless acid is added, whatever role their lines carry.
# A ferment's acid is made in the crock, by its salt and its days: no line of the recipe holds it.
FERMENT_KINDS = frozenset({"ferment", "sauerkraut"})
LOW_ACID_KINDS = frozenset({"vegetable", "meat", "poultry", "fish", "seafood", "soup", "stock"})

# Fruit near pH 4.6 (rule ACID-ADDED), as words of an ingredient's item.
BORDERLINE_FRUIT = ("tomato", "fig", "asian pear", "elderberr")


def refusal(code: str, rule: str, message: str) -> Refusal:
    """A refusal that cites a named rule and its source."""
    return Refusal(code, message, rule, RULES[rule].source)


def caution(code: str, rule: str, message: str) -> Caution:
    """A caution that cites a named rule and its source."""
    return Caution(code, message, rule, RULES[rule].source)


def is_borderline(item: str) -> bool:
    """Whether an ingredient is one of the fruits that need added acid in boiling water."""
    words = item.lower()
    return any(f" {fruit}" in f" {words}" for fruit in BORDERLINE_FRUIT)


# The rules behind jars, canner loads and the day's timeline. Minutes here pace the work; none of them is a process
# time, and none makes anything safe.

EQUIPMENT = USDA + ", Guide 1, as carried by Michigan State Univ. Extension 01600948"

_DAY_RULES = (
    Rule("JAR-MIX", "Jars are chosen to leave least over, then for fewest canner loads, then fewest jars.", NO_SOURCE),
    Rule("PART-JAR", "A jar that is not full is not processed; it goes into the refrigerator.", NO_SOURCE),
    Rule("LOAD-PROCESS", "Jars share a canner load only when their process is the same in every figure.", USDA),
    Rule("LOAD-CAPACITY", "A canner holds seven quarts, or nine pints, in one layer.", EQUIPMENT),
    Rule("LOAD-SHARED", "In a shared load each jar takes its fraction of the canner's count.", NO_SOURCE),
    Rule(
        "POT-ALONE",
        "Each pot is cooked, filled and loaded by itself: two pots never go in one.",
        "Michigan State Univ. Extension 01600961; AIB 539, Guide 1 (a spread is never doubled); " + NO_SOURCE,
    ),
    Rule("NO-WAIT", "A finished pot never waits for water, a jar, a canner or a cook.", NO_SOURCE),
    Rule("BURNER-EACH", "A hot canner stays on its burner from first heating until its last load is out.", NO_SOURCE),
    Rule(
        "COOK-PRINTED", "Cooking minutes are the recipe's own; the timeline only knows a printed hard boil.", NO_SOURCE
    ),
    Rule("ONE-DAY", "A plan is one day's work: at most 60 canner loads.", NO_SOURCE),
    Rule("FINISH", "Working back from a finish, nothing starts before the earliest time that was given.", NO_SOURCE),
)

DAY_RULES: dict[str, Rule] = {rule.name: rule for rule in _DAY_RULES}


def day_refusal(code: str, rule: str, message: str) -> Refusal:
    """A refusal that cites one of these rules and its source."""
    return Refusal(code, message, rule, DAY_RULES[rule].source)


def day_caution(code: str, rule: str, message: str) -> Caution:
    """A caution that cites one of these rules and its source."""
    return Caution(code, message, rule, DAY_RULES[rule].source)
