"""Soluble solids in degrees Brix by food, and the words by which recipes name a food.

Fruit: 21 CFR 101.30(h), which gives legal averages for single-strength juice, taken for the whole fruit too. Ripeness
moves a fruit by a fifth either way: common practice, no source. Most of a pot's solids is its sugar, so this matters
little. Where a list gave nothing, 100 less the water of USDA SR26 less an estimate of what does not dissolve.
"""

from __future__ import annotations

from collections.abc import Iterator

CFR = "21 CFR 101.30(h)"
SR = "USDA SR26, NDB "
ESTIMATE = "estimate, from memory"
RIPENESS = 0.2

# Food, degrees Brix, source; the reach is RIPENESS.
_FRUIT: tuple[tuple[str, float, str], ...] = (
    ("apple", 11.5, CFR),
    ("apricot", 11.7, CFR),
    ("banana", 22.0, CFR),
    ("blackberry", 10.0, CFR),
    ("blueberry", 10.0, CFR),
    ("boysenberry", 10.0, CFR),
    ("sour cherry", 14.0, CFR),
    ("sweet cherry", 20.0, CFR),
    ("crab apple", 15.4, CFR),
    ("cranberry", 7.5, CFR),
    ("currant", 10.5, CFR),
    ("elderberry", 11.0, CFR),
    ("fig", 18.2, CFR),
    ("gooseberry", 8.3, CFR),
    ("grapefruit", 10.0, CFR),
    ("American grape", 16.0, CFR),
    ("grape", 16.0, CFR),
    ("kiwifruit", 15.4, CFR),
    ("loganberry", 10.5, CFR),
    ("mango", 13.0, CFR),
    ("nectarine", 11.8, CFR),
    ("orange", 11.8, CFR),
    ("peach", 10.5, CFR),
    ("pear", 12.0, CFR),
    ("pineapple", 12.8, CFR),
    ("plum", 14.3, CFR),
    ("pomegranate", 16.0, CFR),
    ("quince", 13.3, CFR),
    ("raspberry", 9.2, CFR),
    ("rhubarb", 5.7, CFR),
    ("strawberry", 8.0, CFR),
    ("tomato", 5.0, CFR),
    ("watermelon", 7.8, CFR),
    ("cantaloupe", 9.6, CFR),
    ("papaya", 11.5, CFR),
    ("carrot", 8.0, CFR),
    ("mulberry", 10.5, "estimate from " + SR + "09190, water 87.68 per cent"),
    ("mixed berry", 9.5, "estimate between the berries"),
    ("applesauce", 11.5, "estimate: taken equal to apple"),
    ("green tomato", 5.0, "estimate: taken equal to tomato"),
    ("lemon", 9.0, "estimate: near lemon juice"),
    ("lime", 9.0, "estimate: near lime juice"),
    ("onion", 8.0, "estimate from " + SR + "11282, water 89.11 per cent"),
    ("sweet pepper", 5.0, "estimate from " + SR + "11333, water 93.89 per cent"),
    ("hot pepper", 7.0, ESTIMATE),
    ("jalapeno", 6.0, ESTIMATE),
    ("orange peel", 12.0, ESTIMATE),
    ("lemon peel", 8.0, ESTIMATE),
    ("mint", 5.0, ESTIMATE),
    ("raisin", 78.0, ESTIMATE),
)

# Food, lowest, best and highest degrees Brix, source.
_OTHER: tuple[tuple[str, float, float, float, str], ...] = (
    ("sugar", 99.9, 99.98, 100, SR + "19335, water 0.02 per cent"),
    ("brown sugar", 96, 98, 99, ESTIMATE),
    ("powdered sugar", 96, 98, 100, ESTIMATE),
    ("honey", 81, 82.4, 84, SR + "19296, carbohydrate"),
    ("corn syrup", 75, 77, 80, ESTIMATE),
    ("maple syrup", 66, 67, 69, ESTIMATE),
    ("molasses", 74, 78, 82, ESTIMATE),
    ("lemon juice", 8, 8.9, 10, "19 CFR 151.91"),
    ("lime juice", 8, 10, 11, "19 CFR 151.91"),
    ("vinegar", 0, 1, 6, "estimate: acetic acid boils off with the water"),
    ("water", 0, 0, 0, "by definition"),
    ("salt", 99, 99.5, 100, ESTIMATE),
    ("coarse salt", 99, 99.5, 100, ESTIMATE),
    ("butter", 0, 0, 1, "fat does not dissolve"),
    ("oil", 0, 0, 0, "fat does not dissolve"),
    ("powdered pectin", 80, 90, 93, "estimate: a dry mix of pectin, dextrose and acid, 8 per cent water"),
    ("liquid pectin", 2, 4, 8, ESTIMATE),
    ("orange juice concentrate", 40, 42, 46, "U.S. standard minimum 41.8, from memory"),
    ("grape juice concentrate", 41, 46, 50, ESTIMATE),
    ("juice concentrate", 38, 43, 50, ESTIMATE),
    ("walnut", 0, 5, 12, "estimate: nuts hardly dissolve"),
    ("pecan", 0, 5, 12, "estimate: nuts hardly dissolve"),
    ("corn starch", 0, 5, 20, "estimate: starch swells rather than dissolves"),
    ("modified starch", 0, 5, 20, "estimate: starch swells rather than dissolves"),
    ("cinnamon", 0, 20, 40, ESTIMATE),
    ("clove", 0, 20, 40, ESTIMATE),
    ("garlic", 20, 30, 40, ESTIMATE),
    ("food colour", 0, 5, 10, ESTIMATE),
)

ANY_FRUIT = (6, 11, 18)  # a fruit that no list has
ANY_OTHER = (0, 10, 30)  # anything else: only ever spoonfuls

# A line that names one of these is of that thing, whatever fruit gives it its flavour (apple cider vinegar).
STAND_ALONE = frozenset({food for food, *_ in _OTHER} | {"applesauce", "orange peel", "lemon peel", "raisin"})

_ALIASES: tuple[tuple[str, str], ...] = (
    ("berry", "mixed berry"), ("mixed berries", "mixed berry"), ("cherry", "sour cherry"),
    ("tart cherry", "sour cherry"),
    ("dark cherry", "sweet cherry"), ("bing cherry", "sweet cherry"), ("muscadine", "American grape"),
    ("scuppernong", "American grape"), ("concord grape", "American grape"), ("crabapple", "crab apple"),
    ("damson", "plum"), ("prune plum", "plum"), ("kiwi", "kiwifruit"), ("dewberry", "blackberry"),
    ("youngberry", "boysenberry"), ("marionberry", "blackberry"), ("black raspberry", "raspberry"),
    ("bell pepper", "sweet pepper"), ("green pepper", "sweet pepper"), ("red pepper", "sweet pepper"),
    ("serrano", "hot pepper"), ("habanero", "hot pepper"), ("chile", "hot pepper"), ("chili", "hot pepper"),
    ("jalapeno pepper", "jalapeno"), ("granulated sugar", "sugar"), ("white sugar", "sugar"),
    ("confectioners sugar", "powdered sugar"), ("cider vinegar", "vinegar"), ("orange zest", "orange peel"),
    ("orange rind", "orange peel"), ("lemon zest", "lemon peel"), ("lemon rind", "lemon peel"),
    ("apple cider", "apple"),
    ("cornstarch", "corn starch"), ("kosher salt", "coarse salt"), ("food color", "food colour"),
    ("food coloring", "food colour"), ("food colouring", "food colour"), ("garlic clove", "garlic"),
)  # fmt: skip

# Words that must all occur in a line, and the food they name. Pectin is told apart by its kind, not by a name here.
NAMES: tuple[tuple[str, str], ...] = (
    *((row[0], row[0]) for row in _FRUIT if row[0] not in ("American grape", "mixed berry")),
    *((row[0], row[0]) for row in _OTHER),
    ("american grape", "American grape"),
    *_ALIASES,
)


def rows() -> Iterator[tuple[str, float, float, float, str]]:
    """Food, lowest, best and highest degrees Brix, source."""
    for food, brix, source in _FRUIT:
        yield food, brix * (1 - RIPENESS), brix, brix * (1 + RIPENESS), source
    yield from _OTHER
