"""Bringing what people type to words: one case, one arrow, one number for singular and plural, numbers as numbers.

Nothing is thrown away: a sign that is not known stays as a word that no list holds, so that the text is not understood.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from recipes.engine.changes.vocabulary import food_words, singular, spellings, varieties
from recipes.engine.quantities import SPELLINGS, plain_text

LONGEST_TEXT = 300
ARROW, STOP = "->", ";"

_NUMBER = r"[0-9]+[ -][0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]*[.,]?[0-9]+"
_TOKEN = re.compile(rf"->|{_NUMBER}|[a-z]+|\S")
_NUMBER_WORDS = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty"),
)
_TENS = {
    "thirty": 30,
    "forty": 40,
    "fifty": 50,
    "sixty": 60,
    "seventy": 70,
    "eighty": 80,
    "ninety": 90,
    "hundred": 100,
    "dozen": 12,
}
NUMBER_WORDS = {word: Fraction(at) for at, word in enumerate(_NUMBER_WORDS)} | {
    word: Fraction(value) for word, value in _TENS.items()
}
# Where a half or a quarter before one of these is a measure of it and not a share of the recipe's.
_MEASURES = frozenset(
    word for word, unit in SPELLINGS.items() if unit in ("cup", "tsp", "tbsp", "lb", "kg", "l", "oz", "fl-oz", "inch")
) | {"inch", "gallon"}
_SHORT_UNITS = ("tsp", "tbsp", "tbs", "oz", "lb", "lbs", "qt", "pt", "c", "approx", "min", "in", "ca")


@dataclass(frozen=True)
class Token:
    """One word in the singular, one sign, or one number."""

    word: str
    value: Fraction | None = None


def plain(text: str) -> str:
    """`text` in lower case without accents and quotes, each arrow as "->", each full stop or bracket as ";"."""
    lines = text[: LONGEST_TEXT + 1].replace("\r", "\n").replace("\n", " ; ")
    for long_dash in ("\u2013", "\u2014"):
        lines = lines.replace(long_dash, " - ")
    folded = unicodedata.normalize("NFKD", plain_text(lines).lower())
    folded = "".join(char for char in folded if not unicodedata.combining(char))
    folded = re.sub(r"\s*(?:-+>|=+>|\u2192|\u21d2|\u2794|\u27f6|\u00bb)\s*", " -> ", folded)
    folded = re.sub(r"['\"`\u00b4\u2018\u2019\u201c\u201d*_](?![0-9])|(?<=\w)\*|\*(?=\w)", _quote, folded)
    folded = re.sub(
        rf"\bfor (?:(?:the|my|our|his|her|their) )?(?:{_OF_WHOM})s? sake\b|{_FOR_THE_SAKE}", "for me", folded
    )
    folded = re.sub(_OR_TWO, r"\2 \1", folded)
    folded = re.sub(r"\bw/o\b", " without ", folded)
    folded = re.sub(r"\bw/", " with ", folded)
    folded = re.sub(r"\bn/a\b", " na ", folded)
    folded = re.sub(r"(?<=[a-z]) ?\+ ?(?=[a-z])", " and ", folded)
    folded = re.sub(r"(?<=[a-z]) ?/ ?(?=(?:quart|qt|pint|pt|jar)s?\b)", " per ", folded)
    folded = re.sub(r"(?<=[a-z])/(?=[a-z])", " ; ", folded)
    folded = re.sub(rf", (bottled|fresh|frozen|canned|dried), (?={_IN_PLACE_OF})", r" \1 ", folded)
    folded = re.sub(r"\(\s*([a-z]+|[0-9.,]+ ?(?:%|percent)(?: acidity| acid)?)\s*\)", _bracketed, folded)
    folded = re.sub(rf"(?<=[a-z]) *\(([^()]*)\) *((?:{_IN_PLACE_OF}) [^;.,()]*)", _aside, folded)
    folded = re.sub(rf"\b({'|'.join(_SHORT_UNITS)})\.(?=\s|$)", r"\1 ", folded)
    folded = re.sub(r"(?<=\d),(?=\d{3}(?!\d))", "", folded)
    folded = re.sub(
        r":(?=\s*[0-9][0-9/ ]* (?:instead of|rather than|not) [0-9])", " ", folded
    )  # "cloves: 6 instead of 12"
    folded = re.sub(r"[()\[\]{}?!]|\.{2,}|\u2026|(?<!\d)\.(?!\d)|\.(?=\s|$)|(?<=\d)\.(?=[a-z])|:", " ; ", folded)
    folded = re.sub(r"(?<=[a-z])-(?=[a-z0-9])|(?<=[0-9])-(?=[a-z])", " ", folded)
    folded = re.sub(r"(?<=\s)-(?=\s+[^0-9\s])", ";", folded)
    return " ".join(folded.split())


# "A teaspoon or two": the more of the two.
_OR_TWO = r"\b(?:a|an|one) ([a-z]+) or (two|three)\b"


def _quote(found: re.Match[str]) -> str:
    return "" if found[0] != "*" else " x "


# "For my mum's sake": no rice wine is spoken of.
_OF_WHOM = (
    "mum|mom|mother|dad|father|husband|wife|partner|son|daughter|kid|child|children|family|friend|gran|grandma|guest|heart|health"
    "|doctor|goodnes|heaven|pity|safety|peace"
)
_FOR_THE_SAKE = r"\bfor the sake of (?:peace|it|the kids|the children|my health|my heart|safety|my family)\b"
_IN_PLACE_OF = "instead of|in place of|rather than|in lieu of|for"
# The powder is called so as well; one of them, two of them, or fresh ones are the vegetable.
_GROUND_CAYENNE = (
    r"((?:^|[,;:]|\b(?:of|add|more|less|extra|no|the|and|or|with|without|omit|skip|drop|use|for|is|tsp|teaspoons?|tbsp|ground"
    r"|pinch|dash)) ?)cayenne pepper(?= |$|[,;.?!])"
)


def powders(text: str) -> str:
    """A text as written, with "cayenne pepper" as the powder where it is not said of peppers."""
    return re.sub(_GROUND_CAYENNE, r"\1cayenne", text, flags=re.IGNORECASE)


def _aside(found: re.Match[str]) -> str:
    """ "Ground ginger (1 tsp) instead of fresh": what was said in brackets comes after the sentence it stands in."""
    return f" {found[2]} ; {found[1]} ; "


def _bracketed(found: re.Match[str]) -> str:
    """What stands in brackets is a wish of its own, unless it only says the form or the strength."""
    plain_inside = found[1] in ("bottled", "fresh", "frozen", "canned", "dried") or found[1][0].isdigit()
    return f" {found[1]} " if plain_inside else f" ; {found[1]} ; "


def read_number(text: str) -> Fraction | None:
    """2, 1/2, 2 1/4, 1-1/2, 1.5 or 1,5; None for anything else."""
    parts = re.sub(r"(?<=[0-9])-(?=[0-9]+/)", " ", text).replace(",", ".").split()
    if len(text) > 20 or not 0 < len(parts) < 3:
        return None
    if not all(re.fullmatch(r"[0-9]+/0*[1-9][0-9]*|[0-9]*\.?[0-9]+", part) for part in parts):
        return None
    return sum((Fraction(part) for part in parts), Fraction(0))


@lru_cache(maxsize=512)
def tokenise(text: str) -> tuple[Token, ...]:
    """The tokens of a text, with spellings brought to one and number words to numbers."""
    found = []
    for match in _TOKEN.finditer(plain(text)):
        word = match[0]
        if word[0].isdigit() or (word[0] in ".," and len(word) > 1):
            value = read_number(word)
            found.append(Token(word) if value is None else Token("#", value))
        else:
            found.append(Token({"\u00d7": "x", "\u00f7": "/"}.get(word, singular(word) if word.isalpha() else word)))
    return tuple(_numbers(_with_foods(_spelled(found))))


def lemmas(text: str) -> tuple[str, ...]:
    """The words of a phrase of the vocabulary, as `tokenise` would make them."""
    return tuple(token.word if token.value is None else str(token.value) for token in tokenise(text))


def _spelled(tokens: list[Token]) -> list[Token]:
    known = spellings()
    longest = max(map(len, known))
    at, found = 0, []
    while at < len(tokens):
        for size in range(min(longest, len(tokens) - at), 0, -1):
            phrase = tuple(token.word for token in tokens[at : at + size])
            if (
                phrase in known
                and all(token.value is None for token in tokens[at : at + size])
                and not _is_jar(tokens, at + size)
            ):
                found += [Token(word) for word in known[phrase]]
                at += size
                break
        else:
            found.append(tokens[at])
            at += 1
    return found


def _is_jar(tokens: list[Token], end: int) -> bool:
    """Whether words that end in a half or a quarter name a jar or an amount: "in half pints" is no way to cut."""
    after = [token.word for token in tokens[end : end + 1]]
    return tokens[end - 1].word in ("half", "quarter") and after in (["pint"], ["gallon"], ["a"], ["an"], ["of"])


def _with_foods(tokens: list[Token]) -> list[Token]:
    """The name of the food behind a sort of it that stands alone: "honeycrisp" is an apple."""
    words = [token.word for token in tokens]
    found: list[Token] = []
    at = 0
    while at < len(tokens):
        size = next((size for size in (3, 2, 1) if tuple(words[at : at + size]) in varieties()), 0)
        found += tokens[at : at + max(size, 1)]
        food = varieties().get(tuple(words[at : at + size])) if size else None
        at += max(size, 1)
        if food and not set(words[at : at + 2]) & food_words():
            found += [Token(word) for word in food]
    return found


_PARTS = {"half": Fraction(1, 2), "third": Fraction(1, 3), "quarter": Fraction(1, 4), "eighth": Fraction(1, 8)}


def _numbers(tokens: list[Token]) -> list[Token]:
    """Number words as numbers, and "half a cup" as half of one."""
    found: list[Token] = []
    at = 0
    while at < len(tokens):
        token = tokens[at]
        rest = [t.word for t in tokens[at + 1 : at + 4]]
        if token.value is None and token.word in _PARTS and (skip := _before_measure(rest)) is not None:
            if found and found[-1].word == "a":
                found.pop()
            found.append(Token("#", _PARTS[token.word]))
            at += 1 + skip
            continue
        if token.word in NUMBER_WORDS and not (token.word == "one" and _is_pronoun(found, rest)):
            value = NUMBER_WORDS[token.word]
            if token.word == "dozen" and found and found[-1].word == "a":
                found.pop()
            if token.word in _TENS and rest and rest[0] in _NUMBER_WORDS[1:10] and token.word != "dozen":
                value += NUMBER_WORDS[rest[0]]
                at += 1
            token = Token("#", value)
        found.append(token)
        at += 1
    return _with_halves(found)


def _with_halves(tokens: list[Token]) -> list[Token]:
    """ "2 and a half cups" as 2 1/2; "three quarters" and "two thirds" as shares."""
    found: list[Token] = []
    at = 0
    parts = {"quarter": 4, "third": 3, "fifth": 5, "eighth": 8, "half": 2}
    while at < len(tokens):
        token = tokens[at]
        after = [t.word for t in tokens[at + 1 : at + 4]]
        if token.value is not None and after[:3] == ["and", "a", "half"]:
            token, at = Token("#", token.value + Fraction(1, 2)), at + 3
        elif token.value is not None and after[:2] == ["and", "#"] and _is_part(token, tokens[at + 2]):
            token, at = Token("#", token.value + (tokens[at + 2].value or 0)), at + 2
        elif (
            token.value is not None
            and token.value.denominator == 1
            and after[:1]
            and after[0] in parts
            and not (len(after) > 1 and after[1] in ("pint", "gallon", "cup", "jar"))
            and (token.value > 1 or after[0] != "half")
        ):
            token, at = Token("share", token.value / parts[after[0]]), at + 1
        found.append(token)
        at += 1
    return found


def _is_part(whole: Token, part: Token) -> bool:
    """ "One and a half cups", where the half was read with its measure."""
    if whole.value is None or part.value is None:
        return False
    return whole.value.denominator == 1 and part.value < 1 and part.word == "#"


def _before_measure(rest: list[str]) -> int | None:
    """How many words lie between a half and its measure; None where no measure follows."""
    for skip, words in ((0, ()), (1, ("a",)), (1, ("an",)), (2, ("of", "a")), (2, ("of", "an"))):
        if tuple(rest[:skip]) == words and len(rest) > skip and rest[skip] in _MEASURES:
            return skip
    return None


def _is_pronoun(before: list[Token], rest: list[str]) -> bool:
    """ "One" for a thing: "another one", "the red one"; or "one kind", "one for another"."""
    if not rest and [token.word for token in before[-2:]] in (["instead", "of"], ["rather", "than"]):
        counted = [at for at, token in enumerate(before[:-2]) if token.value is not None]
        return not counted or before[counted[-1] + 1].word in _MEASURES  # "two lemons instead of one" is a number
    return (
        bool(before) and (not rest or rest[0] not in _MEASURES) and before[-1].word not in ("use", "only", "add", "->")
    )
