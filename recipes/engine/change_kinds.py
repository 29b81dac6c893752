"""Classes of food as the rules of change tell them apart."""

from __future__ import annotations

from enum import StrEnum


class Kind(StrEnum):
    """What a food is for safety in the jar."""

    VEGETABLE = "low-acid vegetable"
    ALLIUM = "onion or garlic"
    PEPPER = "pepper"
    SUMMER_SQUASH = "summer squash"
    PUMPKIN = "pumpkin or winter squash"
    LEGUME = "pea, bean or lentil"
    PUREE = "mash or puree"
    FRESH_ROOT = "fresh spice root"
    TOMATO = "tomato"
    GREEN_TOMATO = "green tomato or tomatillo"
    TOMATO_PRODUCT = "tomato product"
    FRUIT = "high-acid fruit"
    BORDERLINE = "fruit near pH 4.6"
    LOW_FRUIT = "low-acid fruit"
    CITRUS = "lemon or lime"
    DRIED_FRUIT = "dried fruit"
    JUICE = "fruit juice"
    CITRUS_JUICE = "lemon or lime juice"
    CITRIC = "citric acid"
    VINEGAR = "vinegar"
    OTHER_ACID = "another acid"
    ALKALI = "alkali"
    FIRMING = "calcium chloride"
    ALUM = "alum"
    SUGAR = "sugar"
    SYRUP = "honey or corn syrup"
    OTHER_SWEET = "another sweetener"
    NO_SUGAR_SWEET = "sweetener without sugar"
    SALT = "salt"
    COARSE_SALT = "flake or sea salt"
    SALT_SUBSTITUTE = "salt substitute"
    UNFIT_SALT = "salt not for food"
    SPICE = "dry spice"
    HERB = "herb"
    FLAVOUR = "extract or zest"
    COLOUR = "food colour"
    PECTIN = "pectin"
    LIQUID_PECTIN = "liquid pectin"
    POWDERED_PECTIN = "powdered pectin"
    LOW_SUGAR_PECTIN = "low-sugar pectin"
    STARCH = "starch or flour"
    MODIFIED_STARCH = "cook-type modified starch"
    GUM = "gelatin or gum"
    BUTTER = "butter or margarine"
    OIL = "oil or other fat"
    DAIRY = "milk food"
    EGG = "egg"
    MEAT = "meat"
    FISH = "fish"
    NUT = "nut or seed"
    GRAIN = "pasta, rice or other grain"
    BREAD = "bread or cake"
    CHOCOLATE = "chocolate"
    ALCOHOL = "alcohol"
    WATER = "water"
    BROTH = "broth"
    SAUCE = "ready sauce"
    DRINK = "coffee, tea or other drink"
    ADDITIVE = "preservative or additive"
    READY = "ready dish"


# Foods that make any jar less acid, or that a jar cannot be heated through with.
LOW_ACID = frozenset(
    {
        Kind.VEGETABLE,
        Kind.ALLIUM,
        Kind.PEPPER,
        Kind.SUMMER_SQUASH,
        Kind.PUMPKIN,
        Kind.LEGUME,
        Kind.PUREE,
        Kind.FRESH_ROOT,
        Kind.LOW_FRUIT,
        Kind.DAIRY,
        Kind.EGG,
        Kind.MEAT,
        Kind.FISH,
        Kind.NUT,
        Kind.GRAIN,
        Kind.BREAD,
        Kind.BROTH,
        Kind.READY,
    }
)
ACIDS = frozenset({Kind.VINEGAR, Kind.CITRUS_JUICE, Kind.CITRIC})
SALTS = frozenset({Kind.SALT, Kind.COARSE_SALT, Kind.SALT_SUBSTITUTE, Kind.UNFIT_SALT})
PECTINS = frozenset({Kind.PECTIN, Kind.LIQUID_PECTIN, Kind.POWDERED_PECTIN, Kind.LOW_SUGAR_PECTIN})
SWEETS = frozenset({Kind.SUGAR, Kind.SYRUP, Kind.OTHER_SWEET, Kind.NO_SUGAR_SWEET})
TOMATOES = frozenset({Kind.TOMATO, Kind.GREEN_TOMATO})
THICKENERS = frozenset({Kind.STARCH, Kind.MODIFIED_STARCH, Kind.GUM})
