"""Rules of change: foods never canned at home, thickeners, fat, salt, spices, herbs and other additions."""

from __future__ import annotations

from recipes.engine.change_sources import (
    CLEMSON_SOUP,
    FROM_MEMORY,
    IOWA_STARCH,
    KSTATE_SOUP,
    MSU,
    NCHFP_ADDED,
    NCHFP_SALT,
    NO_SOURCE,
    OKSTATE_SALT,
    PENN_LEMON,
    PENN_NEVER,
    PENN_SALT,
    RUTGERS,
    WISCONSIN,
)
from recipes.engine.change_terms import ChangeRule, Ruling, rule

FINE, QUALITY, REFUSED = Ruling.FINE, Ruling.QUALITY, Ruling.REFUSED
_LATER = "Add it when the jar is opened."

NEVER: tuple[ChangeRule, ...] = (
    rule(
        "NEVER-DAIRY",
        REFUSED,
        "Milk, cream, butter and cheese are never canned at home: no process is tested.",
        PENN_NEVER + "; " + KSTATE_SOUP,
        _LATER,
    ),
    rule(
        "NEVER-EGGS",
        REFUSED,
        "Eggs, plain or pickled, are never canned at home.",
        PENN_NEVER,
        "Keep pickled eggs in the refrigerator.",
    ),
    rule(
        "NEVER-OIL",
        REFUSED,
        "Oil keeps air from garlic, herbs and vegetables and slows the heat; no process is tested.",
        PENN_NEVER,
        _LATER,
    ),
    rule(
        "NEVER-STARCH",
        REFUSED,
        "Flour, cornstarch and other thickeners slow the heat to the middle of the jar.",
        PENN_NEVER + "; " + IOWA_STARCH,
        "Thicken when the jar is opened.",
    ),
    rule(
        "NEVER-PASTA-RICE",
        REFUSED,
        "Pasta, rice and other grains slow the heat and are never canned at home.",
        PENN_NEVER + "; " + CLEMSON_SOUP,
        _LATER,
    ),
    rule(
        "NEVER-PUREE",
        REFUSED,
        "Mashed or pureed pumpkin, squash, beans and other low-acid food are too dense to heat through.",
        PENN_NEVER + "; " + MSU + "01600707",
        "Freeze it; pumpkin may be pressure canned in cubes by its own process.",
    ),
    rule(
        "NEVER-SUMMER-SQUASH",
        REFUSED,
        "Summer squash and zucchini have no tested process except in tested pickles and mixtures.",
        "Virginia Tech 348-585",
        "Freeze it, or find a tested pickle.",
    ),
    rule(
        "NEVER-MEAT-FISH",
        REFUSED,
        "Meat, fish and broth need a pressure process tested for them.",
        "Health Canada 2012; Virginia Tech 348-585",
        "Can them by themselves by their own process.",
    ),
    rule("NEVER-BREAD", REFUSED, "Bread, cake and ready dishes are never canned at home.", PENN_NEVER, "Freeze them."),
    rule(
        "NUT-ADD",
        REFUSED,
        "Nuts and seeds are low in acid and hold fat; they belong only in a recipe tested with them.",
        NO_SOURCE,
        "Stir them in when the jar is opened, or find a tested conserve.",
    ),
    rule(
        "CHOCOLATE-ADD",
        REFUSED,
        "Chocolate and cocoa are low in acid and thicken; they belong only in a recipe tested with them.",
        NO_SOURCE,
    ),
    rule(
        "ALCOHOL-ADD",
        REFUSED,
        "Spirits and wine thin the acid and the set, and were not in the test.",
        NO_SOURCE,
        "Add a spoonful when the jar is opened, or find a tested recipe.",
    ),
    rule(
        "SAUCE-ADD",
        REFUSED,
        "Ready sauces and condiments hold vegetables, thickeners or oil of unknown amount.",
        NO_SOURCE,
        _LATER,
    ),
    rule("DRINK-ADD", REFUSED, "Coffee, tea and soft drinks were not in the test.", NO_SOURCE),
    rule(
        "ADDITIVE",
        REFUSED,
        "No powder, tablet or additive takes the place of a process or of acid.",
        PENN_LEMON + " (canning tablets are ineffective); other additives: " + NO_SOURCE,
        "Leave it out.",
    ),
    rule(
        "GUM-ADD",
        REFUSED,
        "Gelatin and gums do not stand the process, or slow the heat.",
        MSU + "01600960",
        "Gelatin spreads are kept in the refrigerator and eaten within a month.",
    ),
    rule(
        "STARCH-KIND",
        REFUSED,
        "Cook-type modified starch has no safe substitute in canned pie filling.",
        IOWA_STARCH,
        "Leave the thickener out and thicken when the jar is opened.",
    ),
    rule("STARCH-MORE", REFUSED, "More thickener than tested keeps the heat from the middle of the jar.", IOWA_STARCH),
    rule(
        "STARCH-LESS",
        QUALITY,
        "With less thickener, or none, the jar heats more easily and is thinner.",
        IOWA_STARCH + " (not to exceed the amount); leaving it out: " + NO_SOURCE,
        "Thicken it when the jar is opened.",
    ),
    rule(
        "FAT-FOAM",
        FINE,
        "Up to half a teaspoon of butter or margarine in a pot of spread keeps the foam down.",
        "USDA AIB 539, Guide 7 (strawberry-rhubarb and grape-plum jelly)",
    ),
    rule(
        "FAT-ADD",
        REFUSED,
        "Fat beyond half a teaspoon of butter in a pot of spread turns rancid and shields germs from the heat.",
        "USDA AIB 539, Guide 7 (the half teaspoon); the rest: " + NO_SOURCE,
    ),
    rule("FAT-LESS", FINE, "The butter is there only against foam.", NO_SOURCE),
)

SEASON: tuple[ChangeRule, ...] = (
    rule(
        "SPICE-DRY",
        FINE,
        "Dried spices and herbs may be added, changed or left out.",
        RUTGERS + "; " + NCHFP_ADDED,
        "Some grow stronger or bitter in the jar.",
    ),
    rule(
        "SPICE-BULK",
        REFUSED,
        "So much of a dry spice is an ingredient, not a seasoning; it thickens and was not tested.",
        "the limit of 1/4 cup a pot, beyond what the recipe has: " + NO_SOURCE,
    ),
    rule(
        "HERB-FRESH-MORE",
        REFUSED,
        "Fresh herbs and roots are low in acid; more than tested is not covered.",
        RUTGERS,
        "Use dried herbs, or add fresh ones when the jar is opened.",
    ),
    rule(
        "HERB-TEASPOON",
        FINE,
        "In a fruit spread up to a teaspoon of herbs, extract or other flavouring to the pot is safe.",
        NCHFP_ADDED,
    ),
    rule(
        "FLAVOUR-MORE",
        REFUSED,
        "More than a teaspoon of a flavouring, or any in food other than fruit, was not tested.",
        NCHFP_ADDED,
    ),
    rule(
        "FLAVOUR-FRUIT",
        FINE,
        "A teaspoon of extract or zest in a pot does not change fruit that is high in acid.",
        NCHFP_ADDED + " (for spreads); for other fruit: " + NO_SOURCE,
    ),
    rule("HERB-LESS", FINE, "Fresh herbs may be lessened or left out.", RUTGERS + " (forbids only more)"),
    rule(
        "HERB-DRIED-FOR-FRESH",
        FINE,
        "Dried herbs may take the place of fresh ones.",
        RUTGERS + "; a third of the measure: " + NO_SOURCE,
    ),
    rule(
        "HERB-FRESH-FOR-DRIED",
        REFUSED,
        "Fresh herbs are more in bulk and water than dried ones and are low in acid.",
        RUTGERS,
    ),
    rule(
        "COLOUR", FINE, "A few drops of food colour change nothing else.", "USDA AIB 539, Guide 7 (mint jelly lists it)"
    ),
    rule(
        "SALT-LESS",
        FINE,
        "Salt in canned vegetables, meat, tomatoes and salsas is for taste only.",
        PENN_SALT + "; " + WISCONSIN,
    ),
    rule(
        "SALT-LESS-PICKLE",
        QUALITY,
        "Quick pickles and relishes are safe by their vinegar; with less salt they are softer and flatter.",
        MSU + "01600956; " + OKSTATE_SALT,
    ),
    rule(
        "SALT-FERMENT",
        REFUSED,
        "In sauerkraut and fermented pickles the salt steers the ferment; less, more or another kind is not safe.",
        MSU + "01600956; Univ. of Missouri qafs574; " + PENN_SALT,
    ),
    rule("SALT-TASTE", FINE, "A little salt may be added to vegetables, meat and tomatoes for taste.", PENN_SALT),
    rule("SALT-MORE", QUALITY, "More salt only tastes saltier.", NO_SOURCE),
    rule(
        "SALT-TABLE",
        QUALITY,
        "Table salt is safe; its additives cloud the brine and iodine darkens food.",
        NCHFP_SALT + "; " + PENN_SALT,
    ),
    rule(
        "SALT-COARSE",
        QUALITY,
        "Kosher, flake and sea salt are safe where salt is for taste; they measure differently "
        "and may cloud or colour.",
        PENN_SALT,
    ),
    rule(
        "SALT-SUBSTITUTE",
        QUALITY,
        "Reduced-sodium salt and substitutes are safe in quick pickles and plain packs; they may taste bitter.",
        NCHFP_SALT + "; " + PENN_SALT,
    ),
    rule("SALT-CANNING", FINE, "Canning or pickling salt is what the tests were made with.", NCHFP_SALT),
    rule(
        "SALT-UNFIT",
        REFUSED,
        "Rock, ice-cream and water-softener salt and curing salts are not for this food.",
        PENN_SALT + "; curing salts: " + FROM_MEMORY,
    ),
    rule("OPTIONAL-OUT", FINE, "The recipe itself marks this as optional.", "the recipe's own test"),
)
