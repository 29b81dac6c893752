"""Grams in a US cup, and apiece: USDA household weights where there is one, estimates that say so where not.

Where a source prints one figure, the reach around it is how far level cups of that kind differ between cooks:
common practice, no source. A row without a printed figure is an "estimate" and carries its own reach.
"""

from __future__ import annotations

from collections.abc import Iterator

SR = "USDA SR28 household weight, NDB "
ESTIMATE = "estimate, from memory"

# How far a cup of each kind may lie from its printed weight.
POURED = 0.02  # liquids
LEVELLED = 0.03  # dry sugar and salt
CUT = 0.08  # pieces of fruit or vegetable, whole berries

# Food, form, grams in a cup, reach, source.
_PRINTED: tuple[tuple[str, str, float, float, str], ...] = (
    ("sugar", "", 200, LEVELLED, SR + "19335"),
    ("brown sugar", "packed", 220, LEVELLED, SR + "19334"),
    ("brown sugar", "unpacked", 145, LEVELLED, SR + "19334"),
    ("powdered sugar", "", 120, CUT, SR + "19336, unsifted"),
    ("honey", "", 339, POURED, SR + "19296"),
    ("corn syrup", "", 341, POURED, SR + "19350"),
    ("maple syrup", "", 315, POURED, SR + "19353"),
    ("molasses", "", 337, POURED, SR + "19304"),
    ("water", "", 237, POURED, SR + "14555"),
    ("lemon juice", "juice", 244, POURED, SR + "09152, 09153"),
    ("lime juice", "juice", 246, POURED, SR + "09161"),
    ("vinegar", "", 239, POURED, SR + "02048, 02053"),
    ("salt", "", 292, LEVELLED, SR + "02047"),
    ("butter", "", 227, LEVELLED, SR + "01001"),
    ("strawberry", "whole", 144, CUT, SR + "09316"),
    ("strawberry", "sliced", 166, CUT, SR + "09316"),
    ("strawberry", "halves", 152, CUT, SR + "09316"),
    ("strawberry", "crushed", 232, CUT, SR + "09316, pureed"),
    ("raspberry", "whole", 123, CUT, SR + "09302"),
    ("blackberry", "whole", 144, CUT, SR + "09042"),
    ("blueberry", "whole", 148, CUT, SR + "09050"),
    ("sour cherry", "pitted", 155, CUT, SR + "09063"),
    ("sweet cherry", "pitted", 154, CUT, SR + "09070"),
    ("sweet cherry", "whole", 138, CUT, SR + "09070, with pits"),
    ("peach", "sliced", 154, CUT, SR + "09236"),
    ("apricot", "sliced", 165, CUT, SR + "09021"),
    ("apricot", "halves", 155, CUT, SR + "09021"),
    ("nectarine", "sliced", 143, CUT, SR + "09191"),
    ("plum", "sliced", 165, CUT, SR + "09279"),
    ("pear", "sliced", 140, CUT, SR + "09252"),
    ("pear", "chopped", 161, CUT, SR + "09252, cubes"),
    ("apple", "chopped", 125, CUT, SR + "09003, with skin"),
    ("apple", "sliced", 110, CUT, SR + "09004, peeled"),
    ("apple", "cooked", 171, CUT, SR + "09005, sliced"),
    ("grape", "whole", 151, CUT, SR + "09132, European"),
    ("American grape", "whole", 92, CUT, SR + "09131, slip-skin"),
    ("rhubarb", "chopped", 122, CUT, SR + "09307, diced"),
    ("rhubarb", "sliced", 122, CUT, SR + "09307, diced"),
    ("cranberry", "whole", 100, CUT, SR + "09078"),
    ("cranberry", "chopped", 110, CUT, SR + "09078"),
    ("gooseberry", "whole", 150, CUT, SR + "09107"),
    ("currant", "whole", 112, CUT, SR + "09084"),
    ("elderberry", "whole", 145, CUT, SR + "09088"),
    ("mulberry", "whole", 140, CUT, SR + "09190"),
    ("crab apple", "sliced", 110, CUT, SR + "09077"),
    ("pineapple", "chopped", 165, CUT, SR + "09266, chunks"),
    ("mango", "chopped", 165, CUT, SR + "09176, pieces"),
    ("orange", "sliced", 180, CUT, SR + "09200, sections"),
    ("grapefruit", "sliced", 230, CUT, SR + "09111, sections with juice"),
    ("lemon", "sliced", 212, CUT, SR + "09150, sections"),
    ("orange peel", "grated", 96, CUT, SR + "09216, 6 g a tbsp"),
    ("lemon peel", "grated", 96, CUT, SR + "09156, 6 g a tbsp"),
    ("raisin", "", 145, CUT, SR + "09298"),
    ("raisin", "packed", 165, CUT, SR + "09298"),
    ("walnut", "chopped", 117, CUT, SR + "12155"),
    ("pecan", "chopped", 109, CUT, SR + "12142"),
    ("American grape", "juice", 253, POURED, SR + "09130"),
    ("grape", "juice", 253, POURED, SR + "09130"),
    ("apple", "juice", 248, POURED, SR + "09016"),
    ("orange", "juice", 248, POURED, SR + "09206"),
    ("cranberry", "juice", 253, POURED, SR + "43382"),
    ("tomato", "chopped", 180, CUT, SR + "11529"),
    ("tomato", "sliced", 180, CUT, SR + "11529"),
    ("tomato", "crushed", 242, CUT, SR + "11693, canned"),
    ("green tomato", "chopped", 180, CUT, SR + "11527"),
    ("onion", "chopped", 160, CUT, SR + "11282"),
    ("onion", "sliced", 115, CUT, SR + "11282"),
    ("sweet pepper", "chopped", 149, CUT, SR + "11333"),
    ("sweet pepper", "sliced", 92, CUT, SR + "11333"),
    ("hot pepper", "chopped", 150, CUT, SR + "11670"),
    ("jalapeno", "sliced", 90, CUT, SR + "11979"),
    ("carrot", "chopped", 128, CUT, SR + "11124"),
    ("carrot", "sliced", 122, CUT, SR + "11124"),
    ("cinnamon", "ground", 125, CUT, SR + "02010, 7.8 g a tbsp"),
    ("clove", "ground", 104, CUT, SR + "02011, 6.5 g a tbsp"),
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
    ("pectin box", 48, 50, 57, SR + "19310, box of 1 3/4 oz; some boxes hold 2 oz"),
    ("orange", 100, 140, 184, ESTIMATE),
    ("lemon", 58, 84, 108, ESTIMATE),
    ("lime", 44, 67, 84, ESTIMATE),
    ("grapefruit", 190, 246, 330, ESTIMATE),
    ("apple", 140, 180, 220, ESTIMATE),
    ("peach", 120, 150, 175, ESTIMATE),
    ("onion", 70, 110, 150, ESTIMATE),
    ("sweet pepper", 119, 160, 186, ESTIMATE),
    ("jalapeno", 11, 14, 18, SR + "11979"),
    ("hot pepper", 5, 14, 45, ESTIMATE),
    ("garlic", 2, 3, 5, SR + "11215, a clove"),
    ("orange peel", 15, 25, 45, ESTIMATE + "; the peel of one fruit"),
    ("lemon peel", 6, 12, 25, ESTIMATE + "; the peel of one fruit"),
    ("cinnamon", 0, 1, 4, ESTIMATE + "; a stick, taken out before filling or not"),
    ("food colour", 0, 0.05, 0.1, ESTIMATE + "; a drop"),
)

# Any fruit made nearly liquid fills its cup, whatever it is: grams in a cup between a fluffy and a dense mash.
ANY_FRUIT: dict[str, tuple[float, float, float]] = {
    "crushed": (220, 240, 258),
    "ground": (200, 228, 250),
    "finely chopped": (165, 205, 240),
    "juice": (240, 248, 256),
}
ANY_LIQUID = (230, 240, 256)
ANY_SPICE = (40, 100, 200)


def rows() -> Iterator[tuple[str, str, float, float, float, str]]:
    """Food, form, lowest, best and highest grams in a US cup, source."""
    for food, form, grams, reach, source in _PRINTED:
        yield food, form, grams * (1 - reach), grams, grams * (1 + reach), source
    yield from _ESTIMATED
