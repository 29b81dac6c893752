"""Sugar solutions, what foods weigh and hold, and the mass balance of a pot: how many jars it fills."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from math import floor, hypot, log
from typing import NamedTuple

from recipes.engine.messages import Said
from recipes.engine.quantities import JAR_ML, POUND_G, UNITS, US_CUP_ML
from recipes.engine.terms import Ingredient, Method, Refusal, Role, Seen, StatedYield, TestedRecipe

# Sugar solutions: how heavy they are, and how far above water they boil.
#
# Density at 20 C: the sucrose table of the CRC Handbook of Chemistry and Physics (Concentrative Properties of Aqueous
# Solutions), read between its rows in a straight line. Change with temperature: the ICUMSA polynomial of 1994 in the
# form of Bubnik, Kadlec, Urban and Bruhns, Sugar Technologists Manual, 8th ed. 1995, p. 164, whose coefficients agree
# in two separate transcriptions but for the fourth (-3.9643 and -3.9646: 0.0003 kg/m3 at most). Used alone the
# polynomial lies within 0.06 % of the table: a newer series of measurements, and nothing a jar can show.
#
# Boiling-point rise: C. A. Browne, Handbook of Sugar Analysis, 1912, as repeated in Lowe, Experimental Cookery.
# Fruit sugars and acids raise the boiling point more than sucrose alone, and newer measurements of pure sucrose lie
# below Browne's; the two about cancel in jam. `BRIX_UNCERTAIN` says how far the tables part.

ROOM_C = 20.0
HOTTEST_C = 110.0

# Degrees Brix and density at 20 C in kg/m3, as printed (four decimals of a g/ml).
DENSITY_20C: tuple[tuple[float, float], ...] = (
    (0, 998.2), (0.5, 1000.2), (1, 1002.1), (1.5, 1004.0), (2, 1006.0), (2.5, 1007.9), (3, 1009.9), (3.5, 1011.9),
    (4, 1013.9), (4.5, 1015.8), (5, 1017.8), (5.5, 1019.8), (6, 1021.8), (6.5, 1023.8), (7, 1025.9), (7.5, 1027.9),
    (8, 1029.9), (8.5, 1032.0), (9, 1034.0), (9.5, 1036.1), (10, 1038.1), (11, 1042.3), (12, 1046.5), (13, 1050.7),
    (14, 1054.9), (15, 1059.2), (16, 1063.5), (17, 1067.8), (18, 1072.2), (19, 1076.6), (20, 1081.0), (22, 1089.9),
    (24, 1099.0), (26, 1108.2), (28, 1117.5), (30, 1127.0), (32, 1136.6), (34, 1146.4), (36, 1156.2), (38, 1166.3),
    (40, 1176.5), (42, 1186.8), (44, 1197.2), (46, 1207.9), (48, 1218.6), (50, 1229.5), (52, 1240.6), (54, 1251.8),
    (56, 1263.2), (58, 1274.7), (60, 1286.4), (62, 1298.3), (64, 1310.3), (66, 1322.4), (68, 1334.8), (70, 1347.2),
    (72, 1359.9), (74, 1372.6), (76, 1385.5), (78, 1398.6), (80, 1411.7), (82, 1425.0), (84, 1438.3),
)  # fmt: skip
HIGHEST_BRIX = DENSITY_20C[-1][0]

# Row i, column j: coefficient of w^(j+1) u^i with w the mass fraction and u = (t - 20 C) / 100; kg/m3 above water.
_ICUMSA = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
# Water, 0 to 100 C at one atmosphere: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97.
_WATER = (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)
_WATER_BELOW = 16.887236e-3

# Degrees Brix and the rise above boiling water at sea level, in C, as printed; nothing dissolved, no rise.
RISE_C: tuple[tuple[float, float], ...] = (
    (0, 0.0), (10, 0.4), (20, 0.6), (30, 1.0), (40, 1.5), (50, 2.0), (60, 3.0), (70, 6.5), (80, 12.0), (90.8, 30.0),
)  # fmt: skip
BRIX_UNCERTAIN = 2.5  # between the published tables at one rise, near the jelly point
SEA_LEVEL_BOILING_C = 100.0
_ZERO_K = 273.15


class OutsideTableError(ValueError):
    """The value lies outside the published table; nothing is read beyond its ends."""


def density_g_per_ml(brix: float, temperature_c: float = ROOM_C) -> float:
    """Grams in a millilitre, 0 to 84 degrees Brix and 0 to 110 C. Raises `OutsideTableError`."""
    if not 0 <= temperature_c <= HOTTEST_C:
        raise OutsideTableError(f"No density is printed for {temperature_c} C.")
    at_20c = _between(DENSITY_20C, brix)
    return at_20c * icumsa_kg_per_m3(brix, temperature_c) / icumsa_kg_per_m3(brix, ROOM_C) / 1000


def icumsa_kg_per_m3(brix: float, temperature_c: float) -> float:
    """The ICUMSA polynomial by itself, in kg/m3."""
    w, u = brix / 100, (temperature_c - ROOM_C) / 100
    dissolved = 0.0
    for row in reversed(_ICUMSA):
        in_w = 0.0
        for coefficient in reversed(row):
            in_w = (in_w + coefficient) * w
        dissolved = dissolved * u + in_w
    return _water_kg_per_m3(temperature_c) + dissolved


def boiling_rise_c(brix: float, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> float:
    """How far above boiling water a solution boils where water boils at `boiling_water_c`.

    Between rows the rise grows by equal factors, as it does in the table. Raises `OutsideTableError`.
    """
    index = _row(RISE_C, brix)
    (brix_a, rise_a), (brix_b, rise_b) = RISE_C[index], RISE_C[index + 1]
    part = (brix - brix_a) / (brix_b - brix_a)
    rise = rise_a * (rise_b / rise_a) ** part if rise_a else rise_b * part
    return rise * _thinner_air(boiling_water_c)


def brix_at_rise(rise_c: float, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> float:
    """The degrees Brix that boil so far above water: `boiling_rise_c` read the other way."""
    rise = rise_c / _thinner_air(boiling_water_c)
    rises = tuple((row_rise, brix) for brix, row_rise in RISE_C)
    index = _row(rises, rise)
    (rise_a, brix_a), (rise_b, brix_b) = rises[index], rises[index + 1]
    part = log(rise / rise_a) / log(rise_b / rise_a) if rise_a else rise / rise_b
    return brix_a + part * (brix_b - brix_a)


def _thinner_air(boiling_water_c: float) -> float:
    # Clausius and Clapeyron: a given lowering of the vapour pressure is worth a rise in proportion to T squared.
    return ((boiling_water_c + _ZERO_K) / (SEA_LEVEL_BOILING_C + _ZERO_K)) ** 2


@lru_cache(maxsize=64)
def _water_kg_per_m3(temperature_c: float) -> float:
    above = sum(c * temperature_c**power for power, c in enumerate(_WATER))
    return above / (1 + _WATER_BELOW * temperature_c)


def _row(table: Sequence[tuple[float, float]], value: float) -> int:
    """The row below `value`, such that another follows. Raises `OutsideTableError`."""
    if not table[0][0] <= value <= table[-1][0]:
        raise OutsideTableError(f"{value:.1f} lies outside the table, which runs to {table[-1][0]}.")
    return min(bisect_right(table, (value, float("inf"))), len(table) - 1) - 1


def _between(table: Sequence[tuple[float, float]], value: float) -> float:
    index = _row(table, value)
    (x_a, y_a), (x_b, y_b) = table[index], table[index + 1]
    return y_a + (y_b - y_a) * (value - x_a) / (x_b - x_a)


# Soluble solids in degrees Brix by food, and the words by which recipes name a food.
#
# Fruit: 21 CFR 101.30(h), which gives legal averages for single-strength juice, taken for the whole fruit too. Ripeness
# moves a fruit by a fifth either way: common practice, no source. Most of a pot's solids is its sugar, so this matters
# little. Where a list gave nothing, 100 less the water of USDA SR26 less an estimate of what does not dissolve.

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


def solids_rows() -> Iterator[tuple[str, float, float, float, str]]:
    """Food, lowest, best and highest degrees Brix, source."""
    for food, brix, source in _FRUIT:
        yield food, brix * (1 - RIPENESS), brix, brix * (1 + RIPENESS), source
    yield from _OTHER


# Grams in a US cup, and apiece: USDA household weights where there is one, estimates that say so where not.
#
# Where a source prints one figure, the reach around it is how far level cups of that kind differ between cooks:
# common practice, no source. A row without a printed figure is an "estimate" and carries its own reach.

SR_WEIGHTS = "USDA SR28 household weight, NDB "

# How far a cup of each kind may lie from its printed weight.
POURED = 0.02  # liquids
LEVELLED = 0.03  # dry sugar and salt
CUT = 0.08  # pieces of fruit or vegetable, whole berries

# Food, form, grams in a cup, reach, source.
_PRINTED: tuple[tuple[str, str, float, float, str], ...] = (
    ("sugar", "", 200, LEVELLED, SR_WEIGHTS + "19335"),
    ("brown sugar", "packed", 220, LEVELLED, SR_WEIGHTS + "19334"),
    ("brown sugar", "unpacked", 145, LEVELLED, SR_WEIGHTS + "19334"),
    ("powdered sugar", "", 120, CUT, SR_WEIGHTS + "19336, unsifted"),
    ("honey", "", 339, POURED, SR_WEIGHTS + "19296"),
    ("corn syrup", "", 341, POURED, SR_WEIGHTS + "19350"),
    ("maple syrup", "", 315, POURED, SR_WEIGHTS + "19353"),
    ("molasses", "", 337, POURED, SR_WEIGHTS + "19304"),
    ("water", "", 237, POURED, SR_WEIGHTS + "14555"),
    ("lemon juice", "juice", 244, POURED, SR_WEIGHTS + "09152, 09153"),
    ("lime juice", "juice", 246, POURED, SR_WEIGHTS + "09161"),
    ("vinegar", "", 239, POURED, SR_WEIGHTS + "02048, 02053"),
    ("salt", "", 292, LEVELLED, SR_WEIGHTS + "02047"),
    ("butter", "", 227, LEVELLED, SR_WEIGHTS + "01001"),
    ("strawberry", "whole", 144, CUT, SR_WEIGHTS + "09316"),
    ("strawberry", "sliced", 166, CUT, SR_WEIGHTS + "09316"),
    ("strawberry", "halves", 152, CUT, SR_WEIGHTS + "09316"),
    ("strawberry", "crushed", 232, CUT, SR_WEIGHTS + "09316, pureed"),
    ("raspberry", "whole", 123, CUT, SR_WEIGHTS + "09302"),
    ("blackberry", "whole", 144, CUT, SR_WEIGHTS + "09042"),
    ("blueberry", "whole", 148, CUT, SR_WEIGHTS + "09050"),
    ("sour cherry", "pitted", 155, CUT, SR_WEIGHTS + "09063"),
    ("sweet cherry", "pitted", 154, CUT, SR_WEIGHTS + "09070"),
    ("sweet cherry", "whole", 138, CUT, SR_WEIGHTS + "09070, with pits"),
    ("peach", "sliced", 154, CUT, SR_WEIGHTS + "09236"),
    ("apricot", "sliced", 165, CUT, SR_WEIGHTS + "09021"),
    ("apricot", "halves", 155, CUT, SR_WEIGHTS + "09021"),
    ("nectarine", "sliced", 143, CUT, SR_WEIGHTS + "09191"),
    ("plum", "sliced", 165, CUT, SR_WEIGHTS + "09279"),
    ("pear", "sliced", 140, CUT, SR_WEIGHTS + "09252"),
    ("pear", "chopped", 161, CUT, SR_WEIGHTS + "09252, cubes"),
    ("apple", "chopped", 125, CUT, SR_WEIGHTS + "09003, with skin"),
    ("apple", "sliced", 110, CUT, SR_WEIGHTS + "09004, peeled"),
    ("apple", "cooked", 171, CUT, SR_WEIGHTS + "09005, sliced"),
    ("grape", "whole", 151, CUT, SR_WEIGHTS + "09132, European"),
    ("American grape", "whole", 92, CUT, SR_WEIGHTS + "09131, slip-skin"),
    ("rhubarb", "chopped", 122, CUT, SR_WEIGHTS + "09307, diced"),
    ("rhubarb", "sliced", 122, CUT, SR_WEIGHTS + "09307, diced"),
    ("cranberry", "whole", 100, CUT, SR_WEIGHTS + "09078"),
    ("cranberry", "chopped", 110, CUT, SR_WEIGHTS + "09078"),
    ("gooseberry", "whole", 150, CUT, SR_WEIGHTS + "09107"),
    ("currant", "whole", 112, CUT, SR_WEIGHTS + "09084"),
    ("elderberry", "whole", 145, CUT, SR_WEIGHTS + "09088"),
    ("mulberry", "whole", 140, CUT, SR_WEIGHTS + "09190"),
    ("crab apple", "sliced", 110, CUT, SR_WEIGHTS + "09077"),
    ("pineapple", "chopped", 165, CUT, SR_WEIGHTS + "09266, chunks"),
    ("mango", "chopped", 165, CUT, SR_WEIGHTS + "09176, pieces"),
    ("orange", "sliced", 180, CUT, SR_WEIGHTS + "09200, sections"),
    ("grapefruit", "sliced", 230, CUT, SR_WEIGHTS + "09111, sections with juice"),
    ("lemon", "sliced", 212, CUT, SR_WEIGHTS + "09150, sections"),
    ("orange peel", "grated", 96, CUT, SR_WEIGHTS + "09216, 6 g a tbsp"),
    ("lemon peel", "grated", 96, CUT, SR_WEIGHTS + "09156, 6 g a tbsp"),
    ("raisin", "", 145, CUT, SR_WEIGHTS + "09298"),
    ("raisin", "packed", 165, CUT, SR_WEIGHTS + "09298"),
    ("walnut", "chopped", 117, CUT, SR_WEIGHTS + "12155"),
    ("pecan", "chopped", 109, CUT, SR_WEIGHTS + "12142"),
    ("American grape", "juice", 253, POURED, SR_WEIGHTS + "09130"),
    ("grape", "juice", 253, POURED, SR_WEIGHTS + "09130"),
    ("apple", "juice", 248, POURED, SR_WEIGHTS + "09016"),
    ("orange", "juice", 248, POURED, SR_WEIGHTS + "09206"),
    ("cranberry", "juice", 253, POURED, SR_WEIGHTS + "43382"),
    ("tomato", "chopped", 180, CUT, SR_WEIGHTS + "11529"),
    ("tomato", "sliced", 180, CUT, SR_WEIGHTS + "11529"),
    ("tomato", "crushed", 242, CUT, SR_WEIGHTS + "11693, canned"),
    ("green tomato", "chopped", 180, CUT, SR_WEIGHTS + "11527"),
    ("onion", "chopped", 160, CUT, SR_WEIGHTS + "11282"),
    ("onion", "sliced", 115, CUT, SR_WEIGHTS + "11282"),
    ("sweet pepper", "chopped", 149, CUT, SR_WEIGHTS + "11333"),
    ("sweet pepper", "sliced", 92, CUT, SR_WEIGHTS + "11333"),
    ("hot pepper", "chopped", 150, CUT, SR_WEIGHTS + "11670"),
    ("jalapeno", "sliced", 90, CUT, SR_WEIGHTS + "11979"),
    ("carrot", "chopped", 128, CUT, SR_WEIGHTS + "11124"),
    ("carrot", "sliced", 122, CUT, SR_WEIGHTS + "11124"),
    ("cinnamon", "ground", 125, CUT, SR_WEIGHTS + "02010, 7.8 g a tbsp"),
    ("clove", "ground", 104, CUT, SR_WEIGHTS + "02011, 6.5 g a tbsp"),
)

# Food, form, lowest, best and highest grams in a cup, source: nobody printed these for this food and form.
_ESTIMATED: tuple[tuple[str, str, float, float, float, str], ...] = (
    ("brown sugar", "", 145, 210, 226, ESTIMATE + "; packed unless the recipe says not"),
    ("raspberry", "crushed", 227, 245, 260, ESTIMATE),
    ("blackberry", "crushed", 227, 245, 260, ESTIMATE),
    ("mixed berry", "crushed", 220, 240, 260, ESTIMATE),
    ("blueberry", "crushed", 225, 240, 255, ESTIMATE),
    ("sour cherry", "ground", 215, 230, 245, ESTIMATE),
    ("sweet cherry", "ground", 215, 230, 245, ESTIMATE),
    ("sour cherry", "finely chopped", 200, 230, 245, ESTIMATE),
    ("sweet cherry", "finely chopped", 200, 230, 245, ESTIMATE),
    ("peach", "crushed", 225, 240, 250, ESTIMATE),
    ("peach", "chopped", 155, 170, 190, ESTIMATE),
    ("apricot", "crushed", 225, 240, 250, ESTIMATE),
    ("plum", "crushed", 230, 245, 255, ESTIMATE),
    ("peach", "finely chopped", 190, 225, 245, "estimate: 4 cups finely chopped stand for 3 3/4 cups crushed"),
    ("apricot", "finely chopped", 190, 225, 245, "estimate: taken equal to peach"),
    ("nectarine", "finely chopped", 190, 225, 245, "estimate: taken equal to peach"),
    ("plum", "finely chopped", 190, 225, 245, "estimate: taken equal to peach"),
    ("pear", "finely chopped", 160, 185, 225, ESTIMATE),
    ("apple", "finely chopped", 130, 165, 205, ESTIMATE),
    ("applesauce", "", 236, 244, 252, ESTIMATE),
    ("rhubarb", "cooked", 228, 240, 252, ESTIMATE),
    ("fig", "crushed", 220, 240, 255, ESTIMATE),
    ("quince", "sliced", 110, 125, 140, "estimate: taken near apple"),
    ("pineapple", "crushed", 235, 249, 258, ESTIMATE + "; canned, with its juice"),
    ("orange juice concentrate", "", 276, 284, 290, ESTIMATE + "; 213 g a 6 fl oz can"),
    ("grape juice concentrate", "", 276, 288, 296, ESTIMATE + "; 216 g a 6 fl oz can"),
    ("juice concentrate", "", 270, 284, 298, ESTIMATE),
    ("corn starch", "", 120, 128, 136, ESTIMATE),
    ("modified starch", "", 116, 128, 140, "estimate: taken equal to cornstarch"),
    ("mint", "packed", 25, 30, 45, ESTIMATE),
    ("mint", "chopped", 20, 30, 45, ESTIMATE),
    ("oil", "", 214, 218, 222, ESTIMATE),
    ("coarse salt", "", 135, 145, 160, ESTIMATE + "; by the maker"),
)

# Food, lowest, best and highest grams apiece, source. "each", and boxes, pouches, cloves and sticks by their name.
EACH: tuple[tuple[str, float, float, float, str], ...] = (
    ("pectin pouch", 85, 90, 93, "estimate: 3 fl oz of a thin solution, 85 to 89 ml"),
    ("pectin box", 48, 50, 57, SR_WEIGHTS + "19310, box of 1 3/4 oz; some boxes hold 2 oz"),
    ("orange", 100, 140, 184, ESTIMATE),
    ("lemon", 58, 84, 108, ESTIMATE),
    ("lime", 44, 67, 84, ESTIMATE),
    ("grapefruit", 190, 246, 330, ESTIMATE),
    ("apple", 140, 180, 220, ESTIMATE),
    ("peach", 120, 150, 175, ESTIMATE),
    ("onion", 70, 110, 150, ESTIMATE),
    ("sweet pepper", 119, 160, 186, ESTIMATE),
    ("jalapeno", 11, 14, 18, SR_WEIGHTS + "11979"),
    ("hot pepper", 5, 14, 45, ESTIMATE),
    ("garlic", 2, 3, 5, SR_WEIGHTS + "11215, a clove"),
    ("orange peel", 15, 25, 45, ESTIMATE + "; the peel of one fruit"),
    ("lemon peel", 6, 12, 25, ESTIMATE + "; the peel of one fruit"),
    ("cinnamon", 0, 1, 4, ESTIMATE + "; a stick, taken out before filling or not"),
    ("food colour", 0, 0.05, 0.1, ESTIMATE + "; a drop"),
)

# Any fruit made nearly liquid fills its cup, whatever it is: grams in a cup between a fluffy and a dense mash.
ANY_FRUIT_WEIGHT: dict[str, tuple[float, float, float]] = {
    "crushed": (220, 240, 258),
    "ground": (200, 228, 250),
    "finely chopped": (165, 205, 240),
    "juice": (240, 248, 256),
}
ANY_LIQUID = (230, 240, 256)
ANY_SPICE = (40, 100, 200)


def weight_rows() -> Iterator[tuple[str, str, float, float, float, str]]:
    """Food, form, lowest, best and highest grams in a US cup, source."""
    for food, form, grams, reach, source in _PRINTED:
        yield food, form, grams * (1 - reach), grams, grams * (1 + reach), source
    yield from _ESTIMATED


# The types, and finding a recipe's words among the foods of a table.
#
# A `Foods` value is passed to whatever needs one; `PUBLISHED` below is the default. The figures are plain Python, each
# with its source beside it, so that the engine reads no file. A figure is a
# `Span`: 95 of 100 kitchens are taken to lie between its ends.

# Words that say how a food was cut, most telling first: "fresh or thawed, crushed" is crushed.
_FORMS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("juice", ("juice", "juiced", "cider")),
    ("crushed", ("crushed", "mashed", "pureed", "puree", "pulp")),
    ("ground", ("ground", "minced")),
    ("finely chopped", ("finely",)),
    ("grated", ("grated", "shredded", "zested")),
    ("cooked", ("cooked", "stewed")),
    ("chopped", ("chopped", "diced", "quartered", "cubed", "cubes", "chunks", "pieces", "cut")),
    ("sliced", ("sliced", "slices", "sections", "slivered")),
    ("halves", ("halved", "halves")),
    ("pitted", ("pitted",)),
    ("unpacked", ("unpacked",)),
    ("packed", ("packed",)),
    ("whole", ("whole", "stemmed", "capped", "hulled")),
)
# What else may stand for a form that the table lacks, at NEAR_REACH more either way. Uncut food is whole: no estimate.
_NEAR: dict[str, tuple[str, ...]] = {
    "crushed": ("cooked",),
    "ground": ("crushed",),
    "cooked": ("crushed",),
    "chopped": ("sliced", "pitted", "halves"),
    "sliced": ("chopped", "halves"),
    "halves": ("sliced", "chopped"),
    "pitted": ("whole", "sliced"),
}
_UNCUT = ("", "whole", "chopped", "sliced", "packed")
NEAR_REACH = 0.1


class Span(NamedTuple):
    """A figure with its reach: `low` <= `best` <= `high`, all in the unit its field names."""

    low: float
    best: float
    high: float

    def times(self, factor: float) -> Span:
        return Span(self.low * factor, self.best * factor, self.high * factor)

    @property
    def half_width(self) -> float:
        return (self.high - self.low) / 2


class Figure(NamedTuple):
    """A span with where it comes from; an estimate is one that nobody printed for this very food and form."""

    span: Span
    source: str
    is_estimate: bool = False


@dataclass(frozen=True)
class Foods:
    """Grams in a US cup by food and form, grams apiece, degrees Brix, and the words that name a food."""

    grams_per_cup: Mapping[tuple[str, str], Figure]
    grams_each: Mapping[str, Figure]
    brix: Mapping[str, Figure]
    names: tuple[tuple[str, str], ...]  # words, food

    @cached_property
    def _stems(self) -> tuple[tuple[frozenset[str], str], ...]:
        return tuple((frozenset(words_of(words)), food) for words, food in self.names)

    def named_in(self, text: str) -> tuple[str, ...]:
        """The foods that `text` names: the fullest names only, so that orange peel is no orange."""
        words = frozenset(words_of(text))
        found = [(stems, food) for stems, food in self._stems if stems <= words]
        kept = [food for stems, food in found if not any(stems < other for other, _ in found)]
        named = [food for food in kept if food in STAND_ALONE]
        return tuple(dict.fromkeys(named or kept))

    def cup_of(self, food: str, form: str) -> Figure | None:
        """A cup of the food in this form, or in one near it: then it is an estimate, and reaches wider."""
        for known in (form,) if form else _UNCUT:
            if (figure := self.grams_per_cup.get((food, known))) is not None:
                return figure
        for near in _NEAR.get(form, ()):
            if (figure := self.grams_per_cup.get((food, near))) is not None:
                span = figure.span
                wide = Span(span.low * (1 - NEAR_REACH), span.best, span.high * (1 + NEAR_REACH))
                return Figure(wide, f"estimate: taken equal to {near}, {figure.source}", is_estimate=True)
        return None


@lru_cache(maxsize=1024)
def words_of(text: str) -> tuple[str, ...]:
    """The words of `text`, small letters, singular: "Sour cherries" is sour and cherry."""
    return tuple(_singular(word) for word in re.findall(r"[a-z]+", text.lower()))


def form_of(line: Ingredient) -> str:
    """How the food of this line was cut, in the words of the weight table."""
    words = frozenset(re.findall(r"[a-z]+", f"{line.item} {line.prep}".lower()))
    return next((form for form, telling in _FORMS if words & set(telling)), "")


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("oes", "ches", "shes")):
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith("ss") else word


def _figure(low: float, best: float, high: float, source: str) -> Figure:
    return Figure(Span(low, best, high), source, is_estimate=source.startswith("estimate"))


def _cups(rows: Iterable[tuple[str, str, float, float, float, str]]) -> dict[tuple[str, str], Figure]:
    return {(food, form): _figure(low, best, high, source) for food, form, low, best, high, source in rows}


PUBLISHED = Foods(
    grams_per_cup=_cups(weight_rows()),
    grams_each={food: _figure(low, best, high, source) for food, low, best, high, source in EACH},
    brix={food: _figure(low, best, high, source) for food, low, best, high, source in solids_rows()},
    names=NAMES,
)

# What one line of a recipe weighs and how much of it dissolves; or a refusal that names the line.
#
# A weight is taken, in this order: from the line itself, from its unit when that is a mass, from a published household
# weight, from an estimate for that food, from an estimate for any food so cut. Whatever is estimated says so and has
# the wider reach. A line that none of these covers is refused: nothing is guessed in silence.

MASS_BALANCE = "MASS-BALANCE"  # the rule

SCALE_REACH = 0.02  # kitchen scales, and the trimming between buying and weighing
ESTIMATE_REACH = 0.08  # a weight on the line that is itself an estimate
STRAINED = (0.35, 0.65, 0.9)  # share of whole produce that runs through a jelly bag; common practice, no source
DILUTED = (0.55, 0.85, 1.1)  # juice drawn out with water, against the fruit's own degrees Brix; the same


class WeighedLine(NamedTuple):
    """One line: grams in the pot and its degrees Brix. `estimate` says what about it was estimated, if anything."""

    item: str
    role: Role
    grams: Span
    brix: Span
    source: str
    estimate: str = ""
    is_concentrate: bool = False


def weigh_line(
    line: Ingredient, *, pectin: str = "", strained: bool = False, foods: Foods = PUBLISHED
) -> WeighedLine | Refusal:
    """The line's weight and solids. `pectin` is the recipe's kind of it; `strained` says that pulp is left out."""
    names = _pectin_names(line, pectin) if line.role is Role.PECTIN else foods.named_in(f"{line.item} {line.prep}")
    weight = _weight(line, names, foods)
    if weight is None:
        what = f"{line.item}, {line.prep}" if line.prep else line.item
        return Refusal("yield-line-without-weight", MASS_BALANCE, {"line": what, "unit": line.unit})
    brix, grams, form = _brix(line, names, foods), weight.span, form_of(line)
    notes = [weight.source] if weight.is_estimate else []
    if line.role is Role.FRUIT and form == "juice" and not _is_concentrate(names):
        brix = _multiplied(brix, DILUTED)
    elif strained and line.role in (Role.FRUIT, Role.LOW_ACID, Role.SPICE) and not _is_concentrate(names):
        grams = _multiplied(grams, STRAINED)
        notes.append("its pulp is strained out: a share is estimated")
    if line.amount_high is not None or line.optional:
        notes.append("the recipe leaves the amount open")
    return WeighedLine(line.item, line.role, grams, brix, weight.source, "; ".join(notes), _is_concentrate(names))


def cups_between(cups: float, food: str, was: str, becomes: str, foods: Foods = PUBLISHED) -> Span | Refusal:
    """How many cups of a food in one form (whole, pitted, sliced, ...) become in another; no juice is poured away."""
    before, after = foods.cup_of(food, was), foods.cup_of(food, becomes)
    if before is None or after is None:
        missing = was if before is None else becomes
        return Refusal("yield-line-without-weight.cup", MASS_BALANCE, {"food": food, "form": missing})
    grams = before.span.times(cups)
    return Span(grams.low / after.span.high, grams.best / after.span.best, grams.high / after.span.low)


def _weight(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    """Grams of the whole line, over everything that the recipe leaves open."""
    unit = UNITS[line.unit]
    if line.grams is not None:
        figure: Figure | None = _on_the_line(line, names, foods)
    elif unit.kind == "mass":
        grams = float(line.amount * unit.size)
        figure = Figure(Span(grams * (1 - SCALE_REACH), grams, grams * (1 + SCALE_REACH)), "weighed")
    elif unit.kind == "volume":
        figure = _scaled(_cup(line, names, foods), float(line.amount * unit.size / US_CUP_ML))
    else:
        figure = _scaled(_each(line, names, foods), float(line.amount))
    return None if figure is None else _left_open(line, figure)


def _on_the_line(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure:
    """The weight printed on the line, with the reach that a cup of this food has."""
    grams = float(line.grams or 0)
    is_estimate = line.grams_source.startswith("estimate")
    low, high = (1 - ESTIMATE_REACH, 1 + ESTIMATE_REACH) if is_estimate else (1 - SCALE_REACH, 1 + SCALE_REACH)
    if UNITS[line.unit].kind == "volume" and (cup := _cup(line, names, foods)) is not None:
        low, high = cup.span.low / cup.span.best, cup.span.high / cup.span.best
    return Figure(Span(grams * low, grams, grams * high), line.grams_source, is_estimate)


def _left_open(line: Ingredient, figure: Figure) -> Figure:
    span = figure.span
    if line.amount_high is not None:
        most = float(line.amount_high / line.amount)
        span = Span(span.low, span.best * (1 + most) / 2, span.high * most)
    if line.optional:
        span = Span(0, span.best / 2, span.high)
    return Figure(span, figure.source, figure.is_estimate)


def _cup(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    form = form_of(line)
    if form == "crushed" and line.unit in ("pint", "quart"):  # berries are sold and measured so, then crushed
        boxes = [figure for name in names if (figure := foods.grams_per_cup.get((name, "whole"))) is not None]
        if boxes:
            return _mean(boxes, "measured whole, then crushed: ")
    known = [figure for name in names if (figure := foods.cup_of(name, form)) is not None]
    if not known:
        known = [figure for name in names if (figure := foods.grams_per_cup.get((name, ""))) is not None]
    if known and len(known) == len(names):
        return _mean(known)
    return _any_cup(line, form)


def _any_cup(line: Ingredient, form: str) -> Figure | None:
    """A cup of something unlisted, where its form alone says about what it weighs."""
    if line.role is Role.FRUIT and form in ANY_FRUIT_WEIGHT:
        return Figure(Span(*ANY_FRUIT_WEIGHT[form]), f"estimate for any fruit, {form}", True)
    if line.role is Role.LIQUID or (line.role is Role.ACID and form == "juice"):
        return Figure(Span(*ANY_LIQUID), "estimate for any thin liquid", True)
    if line.role is Role.SPICE:
        return Figure(Span(*ANY_SPICE), "estimate for any spice", True)
    return None


def _each(line: Ingredient, names: Sequence[str], foods: Foods) -> Figure | None:
    if line.role is Role.PECTIN:
        kind = "pectin pouch" if line.unit == "pouch" else "pectin box"
        return foods.grams_each[kind]
    if line.unit == "can":
        return _net_weight(line.prep)
    known = [foods.grams_each[name] for name in names if name in foods.grams_each]
    if known:
        return _mean(known)
    return Figure(Span(0, 1, 5), "estimate for any spice apiece", True) if line.role is Role.SPICE else None


def _net_weight(prep: str) -> Figure | None:
    """The ounces that a line about a can prints: "crushed, 20 oz"."""
    found = re.search(r"([0-9]+(?:\.[0-9]+)?)[ -]?(?:oz|ounce)", prep.lower())
    if found is None:
        return None
    grams = float(Fraction(found[1]) * POUND_G / 16)
    return Figure(Span(grams * (1 - SCALE_REACH), grams, grams * (1 + SCALE_REACH)), "net weight on the can")


def _brix(line: Ingredient, names: Sequence[str], foods: Foods) -> Span:
    known = [foods.brix[name] for name in names if name in foods.brix]
    if known:
        return _mean(known).span
    if line.role is Role.SUGAR:
        return foods.brix["sugar"].span
    return Span(*(ANY_FRUIT if line.role is Role.FRUIT else ANY_OTHER))


def _pectin_names(line: Ingredient, pectin: str) -> tuple[str, ...]:
    is_liquid = line.unit == "pouch" or "liquid" in line.prep.lower() or (pectin == "liquid" and line.unit != "box")
    return ("liquid pectin",) if is_liquid else ("powdered pectin",)


def _is_concentrate(names: Sequence[str]) -> bool:
    return any(name.endswith("concentrate") for name in names)


def _mean(figures: Sequence[Figure], why: str = "") -> Figure:
    """Where a line names several foods, the middle of them, reaching as far as any does."""
    low, high = min(f.span.low for f in figures), max(f.span.high for f in figures)
    best = sum(f.span.best for f in figures) / len(figures)
    sources = why + "; ".join(dict.fromkeys(f.source for f in figures))
    return Figure(Span(low, best, high), sources, any(f.is_estimate for f in figures))


def _scaled(figure: Figure | None, factor: float) -> Figure | None:
    return figure and Figure(figure.span.times(factor), figure.source, figure.is_estimate)


def _multiplied(span: Span, share: tuple[float, float, float]) -> Span:
    return Span(span.low * share[0], span.best * share[1], span.high * share[2])


# The mass balance of a pot: what goes in, what boils off, what is left, how dense it is, how many jars it fills.
#
# What is not in the jars has boiled off or stayed behind (foam, pot, ladle). Solids do not boil off. Three kinds of
# pot are reckoned: boiled hard for the minutes that the recipe prints (added pectin), boiled to an end point (degrees
# above boiling water), and not boiled (freezer spreads). Any other kind is refused: its source prints no end point.
#
# An interval is where 19 kitchens of 20 should land: every uncertain figure is moved to its two ends by itself and the
# effects are added as independent errors are, by squares. `assumptions` lists what no source prints.

FILLING_C = 90.0  # hot spreads go into the jar at about this; common practice, no source
HARD_BOIL_OFF = Span(0.01, 0.03, 0.055)  # share of what boils, on the way to the boil and during its minute
UNBOILED_OFF = Span(0, 0.002, 0.01)  # only the pectin's own water is boiled
LEFT_BEHIND = Span(0.005, 0.02, 0.04)  # foam, pot, ladle and funnel
NO_END = "yield-no-end-point"

STRAINED_KINDS = frozenset({"jelly", "syrup"})


class PotBalance(NamedTuple):
    """One cook of a recipe. Grams, millilitres and degrees Brix; `jars` counts the jar of the stated yield."""

    recipe: str
    lines: tuple[WeighedLine, ...]
    mass_in_g: Span
    brix_in: Span
    boiled_off_g: Span
    left_behind_g: Span
    product_g: Span
    brix: Span
    filling_c: float
    density_filling_g_per_ml: float
    density_room_g_per_ml: float
    volume_filling_ml: Span
    volume_room_ml: Span
    jar: str
    jars: Span
    estimates: tuple[str, ...]
    assumptions: tuple[Said, ...]

    @property
    def whole_jars(self) -> tuple[int, int]:
        """The interval in whole jars, each end to the nearest: what a source that prints whole jars would say."""
        return floor(self.jars.low + 0.5), floor(self.jars.high + 0.5)


class _Case(NamedTuple):
    """A pot with every uncertain figure at one value, in grams. `end_brix` None: `off_share` of what boils goes off."""

    mass: float
    soluble: float
    boiling: float
    off_share: float
    end_brix: float | None
    left_share: float
    filling_c: float


class _Cooked(NamedTuple):
    mass_in: float
    brix_in: float
    off: float
    left: float
    product: float
    brix: float
    filling_ml: float


def pot_balance(
    recipe: TestedRecipe,
    *,
    scale: Fraction = Fraction(1),
    boiling_water_c: float = SEA_LEVEL_BOILING_C,
    foods: Foods = PUBLISHED,
) -> PotBalance | Refusal:
    """The balance of one pot at `scale` times the recipe, where water boils at `boiling_water_c`.

    Refusals: a line without a weight (`yield-line-without-weight`, naming it), a recipe whose source prints neither
    a hard boil nor an end point (`yield-no-end-point`), a pot too thick for the tables (`yield-beyond-tables`).
    """
    if recipe.method is Method.PRESSURE or not _ends(recipe):
        return Refusal(NO_END, MASS_BALANCE)
    weighed = weigh_lines(recipe, foods)
    if isinstance(weighed, Refusal):
        return weighed
    if scale <= 0 or not weighed:
        raise ValueError("A pot has at least one line and a scale above nothing.")
    lines = tuple(line._replace(grams=line.grams.times(float(scale))) for line in weighed)
    try:
        return _balance(recipe, lines, boiling_water_c)
    except OutsideTableError:
        return Refusal("yield-beyond-tables", MASS_BALANCE)


def weigh_lines(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> tuple[WeighedLine, ...] | Refusal:
    """Every line of the recipe weighed, or the refusal of the first that cannot be."""
    strained = recipe.kind in STRAINED_KINDS
    lines = []
    for line in recipe.ingredients:
        found = weigh_line(line, pectin=recipe.pectin, strained=strained, foods=foods)
        if isinstance(found, Refusal):
            return found
        lines.append(found)
    return tuple(lines)


def water_to_boil_off_g(mass_g: float, soluble_g: float, end_brix: float) -> float:
    """Grams of water between this pot and `end_brix`; nothing where it is as thick already."""
    if not 0 < end_brix <= 100:
        raise ValueError("An end point lies above 0 and at most at 100 degrees Brix.")
    return max(0.0, mass_g - soluble_g * 100 / end_brix)


def end_point_brix(f_above_boiling: Fraction, boiling_water_c: float = SEA_LEVEL_BOILING_C) -> Span:
    """The degrees Brix at so many degrees Fahrenheit above boiling water. Raises `OutsideTableError`."""
    brix = brix_at_rise(float(f_above_boiling) * 5 / 9, boiling_water_c)
    return Span(brix - BRIX_UNCERTAIN, brix, min(brix + BRIX_UNCERTAIN, HIGHEST_BRIX))


def _ends(recipe: TestedRecipe) -> bool:
    boiled = recipe.hard_boil is not None or recipe.endpoint_f_above_boiling is not None
    return boiled or recipe.method is Method.FREEZER


def _balance(recipe: TestedRecipe, lines: tuple[WeighedLine, ...], boiling_water_c: float) -> PotBalance:
    above_f = recipe.endpoint_f_above_boiling
    end = None if above_f is None else end_point_brix(above_f, boiling_water_c)
    off = HARD_BOIL_OFF if recipe.method is not Method.FREEZER else UNBOILED_OFF
    best = _best_case(recipe, lines, off, end)
    span = _spread(best, [*_cooked_otherwise(best, off, end), *_weighed_otherwise(best, recipe, lines)])
    cooked = _cook(best)
    at_filling, at_room = density_g_per_ml(cooked.brix, best.filling_c), density_g_per_ml(cooked.brix)
    volume, jar = span(lambda case: case.filling_ml), recipe.stated_yield.jar
    return PotBalance(
        recipe=recipe.slug,
        lines=lines,
        mass_in_g=span(lambda case: case.mass_in),
        brix_in=span(lambda case: case.brix_in),
        boiled_off_g=span(lambda case: case.off),
        left_behind_g=span(lambda case: case.left),
        product_g=span(lambda case: case.product),
        brix=span(lambda case: case.brix),
        filling_c=best.filling_c,
        density_filling_g_per_ml=at_filling,
        density_room_g_per_ml=at_room,
        volume_filling_ml=volume,
        volume_room_ml=volume.times(at_filling / at_room),
        jar=jar,
        jars=volume.times(1 / float(JAR_ML[jar])),
        estimates=tuple(f"{line.item}: {line.estimate}" for line in lines if line.estimate),
        assumptions=_assumptions(best, off, end),
    )


def _best_case(recipe: TestedRecipe, lines: Sequence[WeighedLine], off: Span, end: Span | None) -> _Case:
    return _Case(
        mass=sum(line.grams.best for line in lines),
        soluble=sum(line.grams.best * line.brix.best for line in lines) / 100,
        boiling=sum(line.grams.best for line in lines if _boils(recipe, line)),
        off_share=off.best,
        end_brix=None if end is None else end.best,
        left_share=LEFT_BEHIND.best,
        filling_c=FILLING_C if recipe.method is not Method.FREEZER else ROOM_C,
    )


def _boils(recipe: TestedRecipe, line: WeighedLine) -> bool:
    """What is stirred in off the heat loses nothing: liquid pectin then, and frozen concentrate with it."""
    boil = recipe.hard_boil
    off_the_heat = boil is not None and boil.pectin_added.startswith(("after", "off the heat"))
    return not (off_the_heat and (line.role is Role.PECTIN or line.is_concentrate))


def _cook(case: _Case) -> _Cooked:
    if case.end_brix is not None:
        off = water_to_boil_off_g(case.mass, case.soluble, case.end_brix)
    else:
        off = case.off_share * case.boiling
    cooked = case.mass - off
    left, brix = case.left_share * cooked, 100 * case.soluble / cooked
    product = cooked - left
    filling_ml = product / density_g_per_ml(brix, case.filling_c)
    return _Cooked(case.mass, 100 * case.soluble / case.mass, off, left, product, brix, filling_ml)


def _cooked_otherwise(best: _Case, off: Span, end: Span | None) -> list[tuple[_Case, _Case]]:
    """The pot with more or less left behind, and boiled longer or shorter."""
    kept = (best._replace(left_share=LEFT_BEHIND.low), best._replace(left_share=LEFT_BEHIND.high))
    if end is not None:
        return [kept, (best._replace(end_brix=end.low), best._replace(end_brix=end.high))]
    return [kept, (best._replace(off_share=off.low), best._replace(off_share=off.high))]


def _weighed_otherwise(best: _Case, recipe: TestedRecipe, lines: Sequence[WeighedLine]) -> list[tuple[_Case, _Case]]:
    """The pot with each line in turn lighter or heavier, and thinner or sweeter."""
    pairs = []
    for line in lines:
        boils, grams, brix = _boils(recipe, line), line.grams, line.brix
        lighter, heavier = (_heavier(best, more - grams.best, brix.best, boils) for more in (grams.low, grams.high))
        thinner, sweeter = (_sweeter(best, grams.best * (more - brix.best) / 100) for more in (brix.low, brix.high))
        pairs += [(lighter, heavier), (thinner, sweeter)]
    return pairs


def _heavier(case: _Case, grams: float, brix: float, boils: bool) -> _Case:
    boiling = case.boiling + grams if boils else case.boiling
    return case._replace(mass=case.mass + grams, soluble=case.soluble + grams * brix / 100, boiling=boiling)


def _sweeter(case: _Case, soluble: float) -> _Case:
    return case._replace(soluble=case.soluble + soluble)


def _spread(best: _Case, pairs: list[tuple[_Case, _Case]]) -> Callable[[Callable[[_Cooked], float]], Span]:
    """A function that gives any figure of the cooked pot its interval."""
    middle = _cook(best)
    cooked = [(_cook(low), _cook(high)) for low, high in pairs]

    def span(figure: Callable[[_Cooked], float]) -> Span:
        at = figure(middle)
        moves = [(figure(low) - at, figure(high) - at) for low, high in cooked]
        down = hypot(*(min(0.0, *move) for move in moves))
        up = hypot(*(max(0.0, *move) for move in moves))
        return Span(at - down, at, at + up)

    return span


def _assumptions(best: _Case, off: Span, end: Span | None) -> tuple[Said, ...]:
    """What this pot was reckoned with and no source prints."""
    boiled = Said("assumption.boil-off", {"low": off.low, "high": off.high})
    if end is not None:
        boiled = Said("assumption.end-point", {"low": end.low, "high": end.high})
    return (
        Said("assumption.filling", {"celsius": best.filling_c}),
        boiled,
        Said("assumption.left-behind", {"low": LEFT_BEHIND.low, "high": LEFT_BEHIND.high}),
        Said("assumption.headspace"),
    )


# Stated beside predicted: how many jars a source prints for a pot, and how many the mass balance gives.


@dataclass(frozen=True)
class YieldRow:
    """One recipe. `predicted` is in jars of `stated.jar`; None with the refusal's message in `why_not`.

    `is_suspect`: the source's own figure cannot be right; it is shown, and is no truth to check against.
    `off_by` is in jars, from the nearest stated count to the nearest end of the interval in whole jars.
    """

    slug: str
    kind: str
    pectin: str
    stated: StatedYield
    predicted: Span | None
    brix: Span | None
    whole_jars: tuple[int, int] | None
    estimates: tuple[str, ...]
    why_not: str = ""

    @property
    def is_suspect(self) -> bool:
        return self.stated.seen is Seen.SUSPECT

    @property
    def is_within(self) -> bool:
        return self.off_by == 0

    @property
    def off_by(self) -> Fraction | None:
        if self.whole_jars is None:
            return None
        low, high = self.whole_jars
        if self.stated.low > high:
            return self.stated.low - high
        return self.stated.high - low if self.stated.high < low else Fraction(0)


def yield_row(recipe: TestedRecipe, foods: Foods = PUBLISHED) -> YieldRow:
    """The row of one recipe, at sea level."""
    found = pot_balance(recipe, foods=foods)
    fixed = (recipe.slug, recipe.kind, recipe.pectin, recipe.stated_yield)
    if isinstance(found, Refusal):
        return YieldRow(*fixed, None, None, None, (), found.message)
    return YieldRow(*fixed, found.jars, found.brix, found.whole_jars, found.estimates)


def yield_rows(recipes: Iterable[TestedRecipe], foods: Foods = PUBLISHED) -> list[YieldRow]:
    """One row a recipe, in the order given."""
    return [yield_row(recipe, foods) for recipe in recipes]
