"""Rules of change: vegetables, fruit, tomatoes, and the form they come in."""

from __future__ import annotations

from recipes.engine.change_sources import (
    ASK_FRUIT,
    FROM_MEMORY,
    KSTATE_FROZEN,
    MAINE,
    MSU,
    NCHFP_ADDED,
    NDSU_PICKLE,
    NDSU_TOMATO,
    NO_SOURCE,
    PENN_PECTIN,
    RUTGERS,
    UCANR_SALSA,
    USU_SALSA,
    WISCONSIN,
    WISCONSIN_PEACH,
    WSU_SALSA,
)
from recipes.engine.change_terms import ChangeRule, Ruling, rule

FINE, QUALITY, REFUSED = Ruling.FINE, Ruling.QUALITY, Ruling.REFUSED
_FRESH = "Add it when the jar is opened, or look for a tested recipe that has it."

PRODUCE: tuple[ChangeRule, ...] = (
    rule(
        "VEGETABLE-MORE",
        REFUSED,
        "More of a low-acid food than tested makes the jar less acid or slower to heat.",
        RUTGERS + "; " + NDSU_TOMATO,
        "Keep to the recipe's amount, or freeze it.",
    ),
    rule(
        "VEGETABLE-ADD",
        REFUSED,
        "A low-acid food that was not in the test makes the jar less acid.",
        NCHFP_ADDED + "; " + RUTGERS,
        _FRESH,
    ),
    rule(
        "ALLIUM-ADD",
        REFUSED,
        "Onions, garlic and their kin are low in acid and were not in the test.",
        NCHFP_ADDED + "; " + RUTGERS,
        _FRESH,
    ),
    rule(
        "PEPPER-ADD",
        REFUSED,
        "Peppers, pickled ones too, are low in acid and were not in the test.",
        NCHFP_ADDED,
        "Dried chili flakes give heat safely. " + _FRESH,
    ),
    rule(
        "PRESSURE-MIX",
        REFUSED,
        "A pressure process is tested for one food cut and packed one way; a mixture has a process of its own.",
        "USDA Complete Guide, Guide 4 (each food and mixture by its own table)",
        "Can each food by itself, or find the tested mixture.",
    ),
    rule(
        "VEGETABLE-LESS",
        FINE,
        "Low-acid vegetables in a salsa, relish or pickle may be lessened or left out; the jar only gets more acid.",
        WISCONSIN + "; " + UCANR_SALSA,
    ),
    rule(
        "VEGETABLE-MAIN",
        REFUSED,
        "Without it this is another recipe, and there is no test for that.",
        NO_SOURCE,
        "Find a recipe for what you have.",
    ),
    rule(
        "PEPPER-SWAP",
        FINE,
        "One kind of pepper may take the place of another as long as the whole amount of peppers stays the same.",
        UCANR_SALSA + "; " + RUTGERS,
    ),
    rule("ONION-SWAP", FINE, "Red, white and yellow onions may take each other's place in the same amount.", WSU_SALSA),
    rule(
        "VEGETABLE-SWAP",
        REFUSED,
        "One low-acid food for another changes acidity, size and heating, and was not tested.",
        UCANR_SALSA + "; " + NDSU_PICKLE,
        "Find a tested recipe for the vegetable you have.",
    ),
    rule(
        "SAME-FOOD",
        FINE,
        "Another variety of the same food, prepared the same way in the same amount, is what was tested.",
        NO_SOURCE,
    ),
    rule(
        "BEAN-COLOUR",
        FINE,
        "Green, yellow and wax snap beans share one test.",
        "USDA AIB 539, Guides 4 and 6 (green or yellow beans)",
    ),
    rule(
        "TOMATO-AMOUNT",
        REFUSED,
        "The amount of tomatoes is part of the balance of acid and vegetables, or of tomato and acid in each jar.",
        RUTGERS + "; " + NDSU_TOMATO,
    ),
    rule(
        "TOMATO-KIND",
        QUALITY,
        "Any ripe, sound tomato will do; slicing tomatoes give a thinner product than paste tomatoes.",
        "Ohio State Univ. Extension, Making Fresh Salsa",
    ),
    rule(
        "TOMATO-GREEN",
        FINE,
        "Green tomatoes and tomatillos are more acid than ripe tomatoes and may take their place, amount for amount.",
        RUTGERS + "; " + MSU + "01600872",
    ),
    rule(
        "TOMATO-RIPE",
        REFUSED,
        "Ripe tomatoes are less acid than green ones and tomatillos and do not take their place.",
        MSU + "01600872 (green tomatoes are more acid); the refusal: " + NO_SOURCE,
    ),
    rule(
        "TOMATO-PASTE",
        REFUSED,
        "Sources disagree on tomato paste as a thickener, and it makes a jar slower to heat.",
        "against: " + USU_SALSA + "; for a little of it: " + UCANR_SALSA,
        "Thicken when the jar is opened.",
    ),
    rule(
        "TOMATO-POOR",
        REFUSED,
        "Tomatoes from dead or frosted vines, and overripe fruit, may be too low in acid.",
        MSU + "01600872; " + RUTGERS,
    ),
    rule(
        "FRUIT-LOW-ACID",
        REFUSED,
        "This fruit is low in acid or near the limit, and is safe only where a test counted it in.",
        ASK_FRUIT + "; " + MAINE,
    ),
    rule(
        "FRUIT-WHITE-PEACH",
        REFUSED,
        "White-fleshed peaches and nectarines can be too low in acid, and no process is tested for them.",
        WISCONSIN_PEACH,
        "Freeze them.",
    ),
    rule(
        "FRUIT-ELDERBERRY",
        REFUSED,
        "Elderberries and their juice are low in acid and do not stand in for other berries.",
        MAINE,
    ),
    rule(
        "FRUIT-OTHER-PROCESS",
        REFUSED,
        "Each canned fruit has a process of its own.",
        "USDA Complete Guide, Guide 2 (a table for each fruit)",
        "Look up the process of the fruit you have.",
    ),
    rule(
        "FRUIT-IN-MIXTURE",
        REFUSED,
        "In a salsa, relish or chutney the fruit is part of the tested balance of acid.",
        NCHFP_ADDED + " (do not substitute the fruit)",
    ),
    rule(
        "LOAD",
        FINE,
        "Less or more of a food that is packed alone only fills more or fewer jars; pack each jar as the recipe says.",
        NO_SOURCE,
    ),
    rule(
        "FRUIT-DRIED",
        REFUSED,
        "Dried fruit swells in the jar and was not in the test.",
        NO_SOURCE,
        "Find a tested conserve or chutney that has it.",
    ),
    rule(
        "FRUIT-FROZEN",
        FINE,
        "Unsweetened frozen fruit may be used in spreads, sauces and fillings: thaw it and "
        "measure it with all its juice.",
        KSTATE_FROZEN
        + " (it would rather measure before thawing); measuring thawed fruit with its juice: "
        + NO_SOURCE,
    ),
    rule(
        "FRUIT-FROZEN-SOFT",
        QUALITY,
        "Fruit that was frozen cans by its usual hot-pack process, and comes out soft.",
        "North Carolina State Univ., question 268",
    ),
    rule(
        "TOMATO-FROZEN",
        REFUSED,
        "Thawed tomatoes and vegetables pack closer than fresh ones, so the jar may be too full "
        "of them for its acid and its time.",
        KSTATE_FROZEN,
        "Cook them into sauce and freeze it.",
    ),
    rule(
        "FRUIT-CANNED",
        QUALITY,
        "Unsweetened canned fruit or juice sets with added pectin, softer and flatter than fresh.",
        PENN_PECTIN,
        "Drain and measure it as the recipe measures fresh fruit.",
    ),
    rule(
        "CANNED-OTHER",
        REFUSED,
        "Food that is canned already differs in acid, water and texture from what was tested.",
        NO_SOURCE,
    ),
    rule("FRUIT-FRESH", FINE, "Fresh fruit is what the tests were made with.", NO_SOURCE),
    rule(
        "LIQUID-FRUIT",
        FINE,
        "Fruit may be covered with syrup, fruit juice or water; the process is the same.",
        MSU + "01600502, 01600963",
    ),
    rule(
        "LIQUID-OTHER", REFUSED, "This liquid was not in the test.", NO_SOURCE, "Use the liquid that the recipe names."
    ),
    rule("LIQUID-SET", QUALITY, "More or less water or juice changes the set of a spread.", "Univ. of Nebraska EC448"),
    rule(
        "PREP-CHANGED",
        REFUSED,
        "How food is peeled, cut, mashed and packed decides how fast the jar heats; only the printed way was tested.",
        KSTATE_FROZEN + " (process times rest on the printed preparation)",
    ),
    rule("PREP-PEEL", REFUSED, "Peels carry more germs into the jar; what was tested peeled is peeled.", FROM_MEMORY),
)
