"""Rules of change: vinegar, lemon and lime juice, citric acid, and what takes acid away."""

from __future__ import annotations

from recipes.engine.change_sources import (
    ASK_LEMON,
    FROM_MEMORY,
    IOWA_CALCIUM,
    MSU,
    NCSU_VINEGAR,
    NDSU_PICKLE,
    NO_SOURCE,
    PENN_LEMON,
    PENN_VINEGAR,
    RUTGERS,
    UCANR_VINEGAR,
    USDA,
    USU_SALSA,
)
from recipes.engine.change_terms import ChangeRule, Ruling, by_engine_rule, rule

FINE, QUALITY, REFUSED = Ruling.FINE, Ruling.QUALITY, Ruling.REFUSED

ACID: tuple[ChangeRule, ...] = (
    rule(
        "ACID-LESS",
        REFUSED,
        "The acid of a tested recipe is never lessened, by any amount.",
        NDSU_PICKLE + "; " + RUTGERS,
        "If it tastes too sharp, add a little sugar, or freeze a milder version.",
    ),
    rule(
        "ACID-DOUBT",
        REFUSED,
        "This speaks of the acid, and not every word and measure of it could be read and compared with the test; "
        "acid is never lessened.",
        NDSU_PICKLE + "; " + RUTGERS,
        "Write that change alone and with its whole measure, such as: swap vinegar -> cider vinegar.",
    ),
    rule(
        "ACID-TOMATO",
        REFUSED,
        "Tomatoes lie near pH 4.6: each pint needs 1 tbsp bottled lemon juice or 1/4 tsp citric "
        "acid, each quart twice that, by "
        "every method.",
        USDA + ", Guide 3; Univ. Missouri GH1456",
    ),
    rule(
        "ACID-FIG",
        REFUSED,
        "Figs, Asian pears and other fruit near pH 4.6 are safe in boiling water only with the acid of the recipe.",
        MSU + "01600838; Rutgers NJAES; NCHFP can_02/asian_pears",
    ),
    by_engine_rule("ACID-FRESH", REFUSED, "BOTTLED-JUICE", "Use bottled juice in the same measure."),
    rule(
        "ACID-BOTTLED",
        FINE,
        "Bottled lemon or lime juice has an even acidity and may always stand in for fresh.",
        PENN_LEMON + "; " + USDA + ", from memory",
    ),
    rule(
        "ACID-LEMON-LIME",
        FINE,
        "Bottled lemon and bottled lime juice may stand in for each other, measure for measure.",
        "USDA AIB 539, Guide 3, tomato salsas (lemon or lime juice)",
        "Bottled only, never fresh.",
    ),
    rule(
        "ACID-LEMON-FOR-VINEGAR",
        FINE,
        "In a salsa bottled lemon or lime juice may take the place of vinegar, measure for "
        "measure, because it is more acid.",
        ASK_LEMON + "; " + USU_SALSA,
        "Bottled only, and never the other way round.",
    ),
    rule(
        "ACID-VINEGAR-FOR-LEMON",
        REFUSED,
        "Vinegar is less acid than lemon or lime juice and may not take its place.",
        USU_SALSA,
    ),
    rule(
        "ACID-TOMATO-VINEGAR",
        QUALITY,
        "For plain tomatoes twice the measure of 5 percent vinegar may stand in for bottled lemon "
        "juice: 4 tbsp a quart; it tastes of it.",
        NCSU_VINEGAR + "; " + MSU + "01600872",
    ),
    rule(
        "ACID-TOMATO-CITRIC",
        FINE,
        "For plain tomatoes and figs 1/4 tsp citric acid stands for each tablespoon of bottled "
        "lemon juice, and the other way round.",
        PENN_LEMON + "; " + USDA + ", Guides 2 and 3",
        "Measure it into each jar.",
    ),
    rule(
        "ACID-OTHER",
        REFUSED,
        "Only the acid that was tested keeps this safe; no other one stands in for it.",
        RUTGERS + "; " + NDSU_PICKLE,
        "Buy the acid that the recipe names, or freeze the food.",
    ),
    by_engine_rule("VINEGAR-WEAK", REFUSED, "VINEGAR-MIN", "Find a bottle marked 5 percent (50 grain) or more."),
    rule(
        "VINEGAR-STRONG",
        FINE,
        "Vinegar of 5 percent or a little more, in the full measure, is what was tested.",
        UCANR_VINEGAR,
    ),
    rule(
        "VINEGAR-KIND",
        FINE,
        "White distilled and cider vinegar of at least 5 percent may stand in for each other; cider darkens pale food.",
        MSU + "01600556",
        "Read the label: 5 percent.",
    ),
    rule(
        "VINEGAR-OTHER",
        QUALITY,
        "Another bought vinegar marked at least 5 percent is as acid; its taste and colour are its own.",
        UCANR_VINEGAR + "; for kinds other than white and cider: " + NO_SOURCE,
    ),
    rule(
        "VINEGAR-UNKNOWN",
        REFUSED,
        "Rice, wine, malt and flavoured vinegars are often weaker than 5 percent, and homemade "
        "vinegar is of unknown strength.",
        UCANR_VINEGAR + "; " + PENN_VINEGAR,
        "Use white or cider vinegar marked 5 percent.",
    ),
    rule(
        "ACID-MORE",
        FINE,
        "More of the acid than tested is safe; it only tastes sharper.",
        NO_SOURCE,
    ),
    rule(
        "ACID-MORE-SET",
        QUALITY,
        "More acid is safe but makes a jelled spread weep, or softens food.",
        "Univ. of Nebraska EC448",
    ),
    rule(
        "ACID-FERMENT",
        REFUSED,
        "A ferment makes its own acid; added or changed acid upsets it.",
        NO_SOURCE,
        "Use a tested fermented recipe as it is.",
    ),
    rule(
        "BRINE-RATIO",
        REFUSED,
        "The proportions of vinegar, water and vegetables in a pickle or salsa are the test; water is never added.",
        NDSU_PICKLE,
        "If it tastes too sharp, add a little sugar.",
    ),
    rule("BRINE-STRONGER", QUALITY, "Less water in the brine makes a pickle more acid: safe, and sharper.", NO_SOURCE),
    rule(
        "ALKALI",
        REFUSED,
        "Lime, baking soda and other alkalis take the acid away that keeps the jar safe.",
        IOWA_CALCIUM + " (pickling lime has been linked to botulism)",
        "For crisp pickles use calcium chloride granules.",
    ),
    rule(
        "CALCIUM-CRISP",
        FINE,
        "Food-grade calcium chloride firms quick pickles, fruit and tomatoes without changing their acidity.",
        IOWA_CALCIUM,
        "Put it into each jar as its packet says; not into a fermenting crock.",
    ),
    rule("ALUM", REFUSED, "Alum is no part of a tested quick process.", FROM_MEMORY, "Use calcium chloride granules."),
)
