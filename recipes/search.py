"""What somebody looks for, in words: an amount set aside, other names of a food beside each, a slip of the pen mended.

Pure: texts in, texts out. The tables that are searched by words are small (a club's recipes, its equipment); the large
ones are found by a code, which an index finds.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

SYNONYMS = Path(__file__).with_name("synonyms.csv")
LONGEST_SEARCH, MOST_WORDS = 100, 8  # characters, words
# Words that tell no food from another.
FILLERS = frozenset(["a", "an", "and", "for", "from", "in", "into", "of", "or", "some", "the", "to", "with"])
# A weight as the page for fruit at hand takes it.
_AMOUNT = re.compile(
    r"(?<![\w.,/])(\d{1,4}(?:[.,/]\d{1,3})?)\s*(kg|kilos?|kilograms?|g|grams?|lbs?|pounds?|oz|ounces?)\b", re.IGNORECASE
)
_UNITS = {"k": "kg", "g": "g", "l": "lb", "p": "lb", "o": "oz"}


def search_key(text: str) -> str:
    """`text` in lower case and without accents, so that "Jalapeño" is found by "jalapeno"."""
    apart = unicodedata.normalize("NFKD", text.replace("\x00", " "))
    return "".join(char for char in apart if not unicodedata.combining(char)).casefold()


@dataclass(frozen=True)
class Search:
    """`terms`: each has to be found, by all the words of any of its names. `amount` is "6 kg", of `food`, as typed."""

    terms: tuple[tuple[str, ...], ...] = ()
    amount: str = ""
    food: str = ""


def read_search(text: str) -> Search:
    """What a typed text asks for. "6 kg plums" asks for plums; more than `MOST_WORDS` words are not read."""
    found = _AMOUNT.search(text)
    amount = f"{found[1]} {_UNITS[found[2][0].lower()]}" if found else ""
    rest = f"{text[: found.start()]} {text[found.end() :]}" if found else text
    words = [word for word in re.split(r"[^\w'.-]+", search_key(rest)) if word.strip("'.-_")]
    words = [word for word in words if word not in FILLERS] or words
    return Search(tuple(_terms(words[:MOST_WORDS])), amount, " ".join(words) if amount else "")


def _terms(words: list[str]) -> Iterator[tuple[str, ...]]:
    """The longest names come first, so that "green beans" is one thing and not two."""
    at = 0
    while at < len(words):
        for length in (3, 2, 1):
            name = " ".join(map(stem, words[at : at + length]))
            if at + length <= len(words) and name in synonyms():
                yield synonyms()[name]
                at += length
                break
        else:
            yield (stem(words[at]),)
            at += 1


@cache
def _names() -> tuple[tuple[tuple[str, ...], str], ...]:
    """The stems of all names of one thing, and what British cooks call the first; "" where that is the same."""
    with SYNONYMS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return tuple((tuple(map(_stems, row["words"].split(";"))), row["british"]) for row in rows)


def _stems(name: str) -> str:
    return " ".join(map(stem, name.split()))


@cache
def synonyms() -> dict[str, tuple[str, ...]]:
    """By the stem of each name: the stems of all names of the same thing."""
    return {name: group for group, _british in _names() for name in group}


def food_words(food: str, british_first: bool = False) -> str:
    """ "zucchini (courgettes)": the name of recipes and calendars, and the British one where it differs."""
    british = next((words for group, words in _names() if words and group[0] == _stems(food)), "")
    if not british:
        return food
    return f"{british} ({food})" if british_first else f"{food} ({british})"


def stem(word: str) -> str:
    """What one and many of a thing have in common: "cherr" of cherry and cherries."""
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3]
    if len(word) > 4 and word.endswith("y"):
        return word[:-1]
    if len(word) > 4 and word.endswith(("oes", "shes", "ches", "xes")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us")) else word


# Slips of the pen

CLOSE_FROM, TWO_SLIPS_FROM = 4, 7  # letters: shorter words are too like others; long ones bear two slips


def mended(text: str, known: Iterable[str]) -> str:
    """The text with each word that no known one begins with or holds put right, where a known one is close.

    "" where nothing can be put right.
    """
    vocabulary = {word for each in known for word in re.findall(r"[^\W\d_]{3,}", search_key(each))}
    vocabulary |= {word for name in synonyms() for word in name.split()}
    words, changed = [], False
    for word in search_key(text).split()[:MOST_WORDS]:
        better = word if _is_known(word, vocabulary) else _closest(word, vocabulary)
        changed |= better != word
        words.append(better)
    return " ".join(words) if changed else ""


def _is_known(word: str, vocabulary: set[str]) -> bool:
    return any(word in one or stem(word) == stem(one) for one in vocabulary)


def _closest(word: str, vocabulary: set[str]) -> str:
    """The nearest known word; the word itself where none is near enough."""
    most = 0 if len(word) < CLOSE_FROM else 1 if len(word) < TWO_SLIPS_FROM else 2
    alike = (one for one in vocabulary if abs(len(one) - len(word)) <= most and len(set(one) ^ set(word)) <= 2 * most)
    found = [(slips(word, one), one) for one in alike]
    near = min(found, default=(most + 1, word))
    return near[1] if near[0] <= most else word


def slips(one: str, other: str) -> int:
    """Letters left out, put in, taken for another, or two changed over (optimal string alignment)."""
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        earlier, before, row = before, row, [i]
        for j, against in enumerate(other, 1):
            step = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != against))
            if i > 1 and j > 1 and letter == other[j - 2] and one[i - 2] == against:
                step = min(step, earlier[j - 2] + 1)
            row.append(step)
    return row[-1]
