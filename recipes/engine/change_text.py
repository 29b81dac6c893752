"""Bringing what people type to one plain form: one case, one arrow, singular words, amounts taken out."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from recipes.engine.quantities import SPELLINGS, Amount, AmountError, parse_amount, plain_text

LONGEST_TEXT = 300

# Filler: words round a wish that change nothing in it. Whatever is not filler has to be read.
_POLITE = (
    r"^(?:please|hello|hi|hey|so|and|also|then|(?:can|could|may|might|should|shall|would|will)(?: one)?|"
    r"what|how about|what about|if|whether|"
    r"is it|it is|be|ok|okay|safe|all right|alright|fine|possible|allowed|to|i|we|you|id|"
    r"ill|im|want|wanted|like|love|"
    r"plan|planning|going|prefer|simply|try|trying|thinking of|wish|wondering|lets|let us|"
    r"maybe|perhaps|am|are|there)\s+"
)
_TAIL = (
    r"\s+(?:against (?:the )?foam(?:ing)?|"
    r"please|though|safely|ok|okay|too|this time|for me|thanks|thank you|if possible|"
    r"(?:to|in|into|from|for|of)\s+(?:it|this|that|them|the (?:recipe|jam|jelly|mix|mixture|pot|batch|salsa|pickles|"
    r"brine|syrup|relish|sauce|preserves?|spread|marmalade|chutney|filling|butter)|this recipe))$"
)
_ADDED_INSTEAD = r"(?:(?:add|adding|put in|include|mix in|stir in|more|extra|use|with|try) )?(.+?) instead"
# What stands in brackets is a wish of its own, unless it only says the form or the strength.
_IN_BRACKETS = r"\(\s*(bottled|fresh|frozen|canned|dried|[0-9.,]+ ?(?:%|percent)(?: acidity| acid)?)\s*\)"
# A point after these is an abbreviation's, not the end of a sentence.
_SHORTENED = r"(?<!\btsp)(?<!\btbsp)(?<!\btbs)(?<!\boz)(?<!\blb)(?<!\blbs)(?<!\bqt)(?<!\bpt)(?<!\bc)(?<!\bapprox)"
# Words that are one thing, whose parts would be read as something else.
_ONE_WORD = (
    (r"\b(?:no|low|reduced|less|lower) sugar(?: needed)? pectin\b", "lowsugar pectin"),
    (r"\b(?:no|low|reduced|less|lower) sugar(?: needed)? (powdered|liquid|fruit) pectin\b", "lowsugar pectin"),
    (r"\bpectin for (?:low|no|less|lower|reduced) sugar\b", "lowsugar pectin"),
    (r"\bhalf (?:and|&|n) half\b", "halfandhalf"),
    (r"\bsugar free sweetener\b", "artificial sweetener"),
    (r"\bfood colour(?:ing|s)?\b|\bfood color(?:ing|s)?\b", "food color"),
    (r"\bcolour", "color"),
    (r"\bflavour", "flavor"),
    (r"\bhome made\b", "homemade"),
    (r"\bstore bought\b|\bshop bought\b", "bought"),
    (r"\bper ?cent\b|\bpct\b", "%"),
    (r"\bcannot\b|\bcan not\b|\bcant\b", "do not"),
    (r"\bdont\b|\bdo not\b|\bnot to\b|\bnever\b", "do not"),
    (r"\bw/o\b|\bwithout any\b", "without"),
    (r"\bclear jel\b", "clearjel"),
)
_NUMBER_WORDS = {
    "one": "1",
    "two": "2",
    "three": "3",
    "four": "4",
    "five": "5",
    "six": "6",
    "seven": "7",
    "eight": "8",
    "nine": "9",
    "ten": "10",
    "twelve": "12",
    "fifteen": "15",
    "twenty": "20",
    "thirty": "30",
}
_UNIT_WORDS = sorted((word for word in SPELLINGS if word not in ("whole",)), key=len, reverse=True)
UNIT = "(?:" + "|".join(re.escape(word) for word in _UNIT_WORDS) + ")"
NUMBER = r"(?:[0-9]+ [0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]*[.,]?[0-9]+)"
_AMOUNT = rf"(?<![\w.,/-])({NUMBER}) ?({UNIT})\b\.?(?: of\b)?"
_COUNT = rf"^({NUMBER}) (?=[a-z])"
_PER_JAR = (
    r"\b(?:to|in|into|for|a|per|each|every|of the)? ?\b(?:each|every|per|a) (?:pint |quart |"
    r"half pint )?(?:jar|pint|quart)s?\b"
)

_IRREGULAR = {
    "leaves": "leaf",
    "loaves": "loaf",
    "halves": "half",
    "chilies": "chili",
    "chillies": "chili",
    "chiles": "chili",
    "chilis": "chili",
    "chile": "chili",
    "chilli": "chili",
    "chillis": "chili",
    "cookies": "cookie",
    "brownies": "brownie",
    "veggies": "veggie",
    "cloves": "clove",
    "olives": "olive",
    "chives": "chive",
    "endives": "endive",
    "sliced": "sliced",
    "yoghurt": "yogurt",
    "asparagus": "asparagus",
    "couscous": "couscous",
    "hummus": "hummus",
    "citrus": "citrus",
    "molasses": "molasses",
    "swiss": "swiss",
    "hibiscus": "hibiscus",
    "brussels": "brussel",
    "tomatoe": "tomato",
    "potatoe": "potato",
    "jalapenos": "jalapeno",
}


def plain(text: str) -> str:
    """`text` in lower case without accents and quotes, with " -> " for every arrow and single blanks."""
    folded = unicodedata.normalize("NFKD", plain_text(text[: LONGEST_TEXT + 1].replace("\n", " ; ")).lower())
    folded = "".join(char for char in folded if not unicodedata.combining(char))
    folded = re.sub(r"\s*(?:-+>|=+>|→|⇒|➔|⟶|»)\s*", " -> ", folded)
    folded = re.sub(r"['\"`´’‘“”*_]", "", folded)
    folded = re.sub(_IN_BRACKETS, r" \1 ", folded)
    folded = re.sub(r"[()\[\]{}?!]|:(?![0-9])|(?<![0-9]):(?=[0-9])", " ; ", folded)
    folded = re.sub(r"(?<=[a-z])-(?=[a-z0-9])|(?<=[0-9])-(?=[a-z])", " ", folded)
    folded = re.sub(r"(?<=[0-9])(?=%)|(?<=%)(?=[a-z0-9])", " ", folded)
    folded = re.sub(rf"{_SHORTENED}\.(?=\s|$)", " ; ", folded)
    folded = re.sub(r"\.(?=\s|$)", " ", folded)
    folded = re.sub(r"^[\s;]+|[\s;]+$", "", re.sub(r"\s*;[\s;]*", " ; ", folded))
    folded = " ".join(folded.split())
    for pattern, word in _ONE_WORD:
        folded = re.sub(pattern, word, folded)
    return _number_words(" ".join(folded.split()))


def _number_words(text: str) -> str:
    words = "|".join(_NUMBER_WORDS)
    text = re.sub(rf"\b({words})(?= {UNIT}\b| minutes?\b| mins?\b| percent\b| %)", lambda m: _NUMBER_WORDS[m[1]], text)
    text = re.sub(
        r"\b(?:a )?half (?:an? |of an? )?(?=(?:cup|teaspoon|tsp|tablespoon|tbsp|pound|lb|kg|litre|liter)s?\b)",
        "1/2 ",
        text,
    )
    text = re.sub(
        r"\b(?:a )?quarter (?:of an? |an? )?(?=(?:cup|teaspoon|tsp|tablespoon|tbsp|pound|lb)s?\b)", "1/4 ", text
    )
    return re.sub(rf"\b(?:an?|another) (?={UNIT}\b)", "1 ", text)


def bare(text: str) -> str:
    """`text` without the polite words round it: "can i please add onions to the salsa" is "add onions"."""
    if re.search(r"\b(?:frozen|thawed)\b", text):  # how it is measured, not another ingredient
        text = re.sub(
            r" (?:and )?with (?:all )?(?:of )?(?:its|their|the)? ?juices?\b| measured (?:after thawing|"
            r"thawed)\b",
            "",
            text,
        )
    for _ in range(12):
        shorter = re.sub(_TAIL, "", re.sub(_POLITE, "", text).strip(" ,.;")).strip(" ,.;")
        if shorter == text:
            break
        text = shorter
    return text


def without_instead(text: str) -> str:
    """ "Cider vinegar instead" and "add cider vinegar instead" mean to use it in place of something, not beside it."""
    match = re.fullmatch(_ADDED_INSTEAD, text)
    return f"use {match[1]}" if match else text


def singular(word: str) -> str:
    """One form for singular and plural; both the vocabulary and the text go through it."""
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("ches", "shes", "xes", "oes", "sses")):
        return word[:-2]
    if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word[:-1]
    return word


def tokens(text: str) -> list[str]:
    """The words of a plain text, in one number."""
    return [singular(word) for word in re.findall(r"[a-z]+|%|[0-9][0-9./,]*", text)]


def take_jar(text: str) -> tuple[str, str]:
    """The text without "in each quart", and the jar meant: "pint", "quart", "half-pint", "jar" of any size, or ""."""
    found = re.search(_PER_JAR, text)
    if found is None:
        return text, ""
    rest = " ".join((text[: found.start()] + " " + text[found.end() :]).split())
    size = re.search(r"half pint|pint|quart", found[0])
    return rest, size[0].replace(" ", "-") if size else "jar"


def take_amount(text: str) -> tuple[str, Amount | None]:
    """The text without its first amount, and that amount."""
    rest, found = _take_first(text)
    return " ".join(rest.split()), found


def _take_first(text: str) -> tuple[str, Amount | None]:
    for match in re.finditer(_AMOUNT, text):
        if (
            match[2] in ("clove", "cloves", "head", "heads", "stick", "sticks")
            and "garlic" not in text
            and match.end() == len(text)
        ):
            continue  # "1 tsp cloves": the spice, not a count
        try:
            amount = parse_amount(f"{match[1]} {match[2]}")
        except AmountError:
            continue
        return text[: match.start()] + " " + text[match.end() :], amount
    if count := re.match(_COUNT, text):
        number = read_number(count[1])
        if number:
            return text[count.end() :], Amount(number, "each")
    return text, None


def read_number(text: str) -> Fraction | None:
    """2, 1/2, 2 1/4, 1.5 or 1,5; None for anything else."""
    parts = text.replace(",", ".").split()
    if (
        len(text) > 20
        or not all(re.fullmatch(r"[0-9]+/0*[1-9][0-9]*|[0-9]*\.?[0-9]+", part) for part in parts)
        or len(parts) > 2
    ):
        return None
    return sum((Fraction(part) for part in parts), Fraction(0)) if parts else None
