"""Rules of change: sugar, other sweeteners, pectin, and what makes a spread set."""

from __future__ import annotations

from recipes.engine.change_sources import (
    ASK_FRUIT,
    KSTATE_SUGAR,
    MISSOURI_HONEY,
    MSU,
    NO_SOURCE,
    PENN_PECTIN,
    PENN_SWEET,
    UCANR_SALSA,
    WISCONSIN,
)
from recipes.engine.change_terms import ChangeRule, Ruling, rule

FINE, QUALITY, REFUSED = Ruling.FINE, Ruling.QUALITY, Ruling.REFUSED
_TESTED = "Use a recipe that was tested with the sweetener or the pectin you want."

SWEET: tuple[ChangeRule, ...] = (
    rule(
        "SUGAR-LESS-PECTIN",
        QUALITY,
        "With regular pectin, sugar is part of the set and of the keeping: with less of it the spread stays runny and "
        "moulds sooner once opened.",
        KSTATE_SUGAR + "; " + MSU + "01600540",
        "For a spread with little sugar use a recipe for low-sugar pectin.",
    ),
    rule(
        "SUGAR-LESS-PLAIN",
        QUALITY,
        "Without added pectin, less sugar means longer boiling, a smaller yield and a softer set.",
        MSU + "01600540; Univ. of Nebraska EC448",
        "Cook to the recipe's end point and expect fewer jars.",
    ),
    rule(
        "SUGAR-HALF",
        REFUSED,
        "A spread keeps by its sugar; with less than half of it, it is no longer the spread that was tested, and its "
        "process time is not known.",
        MSU + "01600960 (less sugar needs a longer process); the limit of one half: " + NO_SOURCE,
        "Use a recipe for low-sugar pectin, or keep it in the refrigerator or freezer.",
    ),
    rule(
        "SUGAR-LESS-LOWACID-SPREAD",
        REFUSED,
        "In a spread of vegetables, herbs or fruit near pH 4.6, sugar and acid keep the jar safe together.",
        "NCHFP newsflash, August 2025; for sugar alone: " + NO_SOURCE,
        _TESTED,
    ),
    rule(
        "SUGAR-LESS-SYRUP",
        FINE,
        "Fruit may be packed in a lighter syrup; sugar there is for taste, shape and colour.",
        MSU + "01600502, 01600772",
    ),
    rule(
        "SUGAR-NONE-FRUIT",
        QUALITY,
        "Fruit keeps without sugar by the same process, with less shape, colour and taste.",
        MSU + "01600502, 01600963; " + PENN_SWEET,
        "Cover it with water or unsweetened fruit juice.",
    ),
    rule("SUGAR-TASTE", FINE, "In tomato products and salsas sugar is only for taste.", WISCONSIN + "; " + UCANR_SALSA),
    rule(
        "SUGAR-LESS-PICKLE",
        QUALITY,
        "In quick pickles, relishes and chutneys the vinegar keeps the jar safe; less sugar makes "
        "them sharper and softer.",
        WISCONSIN,
    ),
    rule(
        "SUGAR-LESS-SOFT",
        QUALITY,
        "In fruit butters, syrups, sauces and pie fillings less sugar thins the texture and dulls the colour.",
        WISCONSIN + " (canned fruit)",
    ),
    rule(
        "SUGAR-LESS-FREEZER",
        QUALITY,
        "A freezer spread keeps by the cold; with less sugar it sets and keeps less well.",
        NO_SOURCE,
    ),
    rule(
        "SUGAR-MORE-SPREAD",
        QUALITY,
        "More sugar than the recipe has makes a spread stiff, weeping or grainy, or stops the set.",
        "Univ. of Nebraska EC448 (the proportions of a gel)",
    ),
    rule(
        "SUGAR-MORE",
        FINE,
        "A little more sugar only sweetens fruit, tomatoes, salsas and pickles; the acid must stay as it is.",
        UCANR_SALSA + "; " + MSU + "01600872 (sugar against a sharp taste)",
    ),
    rule("SUGAR-KIND", QUALITY, "Another granulated sugar changes colour and taste only.", MSU + "01600540, 01600556"),
    rule("SUGAR-SAME", FINE, "Beet and cane sugar are the same.", MSU + "01600540"),
    rule(
        "HONEY-FOR-SUGAR",
        QUALITY,
        "Mild honey or light corn syrup may take the place of part of the sugar: up to 2 cups "
        "with added pectin, up to half "
        "without. It masks the fruit and softens the set.",
        MISSOURI_HONEY + "; " + MSU + "01600540, 01600556",
    ),
    rule(
        "SYRUP-STRONG",
        QUALITY,
        "Molasses, sorghum and maple syrup are too strong for fruit syrup; canned fruit needs no sugar to be safe.",
        MSU + "01600502",
    ),
    rule(
        "SWEETENER-NOT-TESTED",
        REFUSED,
        "This sweetener was not tested here, and does not bind water as sugar does.",
        PENN_SWEET,
        _TESTED,
    ),
    rule(
        "SWEETENER-SPREAD",
        REFUSED,
        "A sweetener without sugar neither sets regular pectin nor keeps a spread; such spreads "
        "have modified pectin and a "
        "process of their own.",
        MSU + "01600960; " + PENN_SWEET,
        _TESTED,
    ),
    rule(
        "SWEETENER-FRUIT",
        QUALITY,
        "Fruit and quick pickles need no sugar to be safe. Sucralose stands the heat; saccharin "
        "turns bitter and aspartame "
        "loses its sweetness.",
        PENN_SWEET + "; " + MSU + "01600502; " + WISCONSIN,
        "Or sweeten when the jar is opened.",
    ),
    rule(
        "PECTIN-KIND",
        REFUSED,
        "Liquid and powdered pectin are not interchangeable: they go in at different times, with "
        "other amounts of fruit and sugar.",
        PENN_PECTIN,
        "Use a recipe written for the pectin you have.",
    ),
    rule(
        "PECTIN-LOW-SUGAR",
        REFUSED,
        "Low-sugar and no-sugar pectins set in another way and have recipes of their own.",
        PENN_PECTIN + "; " + MSU + "01600960",
        "Use the recipe on the packet's leaflet.",
    ),
    rule("PECTIN-SAME", FINE, "The same kind and amount of pectin in another packet is no change.", NO_SOURCE),
    rule(
        "PECTIN-LESS", QUALITY, "With less pectin than tested the spread stays runny; it is a syrup.", MSU + "01600961"
    ),
    rule(
        "PECTIN-MORE",
        QUALITY,
        "More pectin than tested makes the spread stiff; it was not part of the test.",
        MSU + "01600961",
    ),
    rule(
        "PECTIN-ORDER",
        QUALITY,
        "Powdered pectin goes in before the boil and sugar after it; liquid pectin goes in last. "
        "In another order it sets badly.",
        "The Oregonian, FOODday, August 2009 (tips for using pectin); " + PENN_PECTIN,
    ),
    rule(
        "FRUIT-AMOUNT",
        QUALITY,
        "More or less fruit or juice changes the set of a spread, not its safety.",
        "Univ. of Nebraska EC448",
    ),
    rule(
        "FRUIT-SWAP",
        QUALITY,
        "Most fruits used in spreads are acid enough to stand in for one another; the set and the taste change.",
        ASK_FRUIT,
        "A recipe for that fruit will set better.",
    ),
    rule(
        "FRUIT-ADD-SPREAD", QUALITY, "Another high-acid fruit mixed in changes the set and the taste only.", ASK_FRUIT
    ),
    rule("BOIL-LONGER", QUALITY, "Boiling a spread longer or shorter than printed changes its set.", PENN_PECTIN),
)
