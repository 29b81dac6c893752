"""The vocabulary: foods by class, the words of a wish, ways of working, the rules and what recipes allow.

Everything lies in `data/` and is read at first use, so that loading the engine costs nothing.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from recipes.engine.changes.terms import ChangeRule, Ruling

_DATA = os.path.join(os.path.dirname(__file__), "data")  # pathlib takes longer to load than this package


@cache
def data(name: str) -> dict[str, Any]:
    """A TOML file of `data/`."""
    import tomllib  # takes longer to load than most of the engine

    with open(os.path.join(_DATA, f"{name}.toml"), "rb") as file:
        return tomllib.load(file)


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a CSV file of `data/`."""
    import csv

    with open(os.path.join(_DATA, f"{name}.csv"), newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def phrases(text: str) -> list[str]:
    """The phrases of a list in `words.toml`."""
    return [" ".join(part.split()) for part in text.split(",") if part.strip()]


# Words.

_IRREGULAR = {
    "leaves": "leaf",
    "loaves": "loaf",
    "halves": "half",
    "halfs": "half",
    "chilies": "chili",
    "chillies": "chili",
    "chiles": "chili",
    "chilis": "chili",
    "chile": "chili",
    "chilli": "chili",
    "chilly": "chili",
    "chillis": "chili",
    "cookies": "cookie",
    "brownies": "brownie",
    "veggies": "veggie",
    "cloves": "clove",
    "olives": "olive",
    "chives": "chive",
    "endives": "endive",
    "yoghurt": "yogurt",
    "molasses": "molasses",
    "swiss": "swiss",
    "brussels": "brussel",
    "tomatoe": "tomato",
    "potatoe": "potato",
    "does": "does",
    "less": "less",
    "glasses": "glass",
    "boxes": "box",
    "bunches": "bunch",
    "inches": "inch",
    "ones": "one",
    "berries": "berry",
    "greens": "greens",
}


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


def words_of(text: str) -> tuple[str, ...]:
    """The words of a name, each in the singular, without any other change: how the vocabulary's own lists are read."""
    return tuple(singular(word) for word in re.findall(r"[a-z]+|[0-9]+|[^\sa-z0-9]", text.lower()))


@cache
def spellings() -> dict[tuple[str, ...], tuple[str, ...]]:
    """Each other spelling, as words in the singular, and the one that the lists have."""
    found = {}
    for word, others in data("words")["spelling"].items():
        for other in phrases(others):
            found[words_of(other)] = words_of(word)
    return found


@cache
def varieties() -> dict[tuple[str, ...], tuple[str, ...]]:
    """Each sort of a food, as words in the singular, and the words of the food."""
    lists = data("words")["variety"].items()
    return {words_of(sort): words_of(food) for food, sorts in lists for sort in phrases(sorts)}


def places() -> str:
    """ "From our garden, off the tree": where a food comes from, as a list of phrases."""
    words = data("words")["place"]
    return ",".join(f"{come} {place}" for come in phrases(words["from"]) for place in phrases(words["of"]))


@cache
def food_words() -> frozenset[str]:
    """Every word of a food's name."""
    return frozenset(word for row in rows("foods") for word in words_of(row["name"]))


@cache
def word_lists() -> dict[str, frozenset[tuple[str, ...]]]:
    """The lists of words beside the names of foods: describing, prepared, same, filler and each form by its name."""
    words = data("words")
    lists = {
        "describing": ",".join((words["describing"]["words"], places())),
        "prepared": words["describing"]["prepared"],
    }
    lists |= {"same": words["describing"]["same"]}  # last: "whole" before a food is how it is cut sooner than all of it
    lists |= {"filler": ",".join(words["filler"][name] for name in ("polite", "asking", "small"))}
    lists |= {f"form {name}": text for name, text in words["form"].items()}
    found = {name: frozenset(words_of(phrase) for phrase in phrases(text)) for name, text in lists.items()}
    return found | {"describing": found["describing"] | frozenset(varieties())}


@cache
def ways_words() -> frozenset[str]:
    """Every word of `ways.toml` that a way of working may be told with."""
    ways = data("ways")
    texts = [*ways["class"].values(), ways["idle"]["words"], *ways["frame"].values(), *ways["change"].values()]
    texts += [text for group in ("size", "syrup", "canner") for text in ways[group].values()]
    for entry in (*ways["allowed"], *ways["refused"], *ways["accident"]):
        texts += [*entry["says"], entry.get("may", ""), entry.get("never", "")]
    return frozenset(words_of(" ".join(texts).replace("*", " ").replace("|", " ")))


# Rules.


class _Rules(Mapping[str, ChangeRule]):
    """Every decision about a change by its code, read from `rules.toml` at first use."""

    def __getitem__(self, code: str) -> ChangeRule:
        return _all_rules()[code]

    def __iter__(self) -> Iterator[str]:
        return iter(_all_rules())

    def __len__(self) -> int:
        return len(_all_rules())


@cache
def _all_rules() -> dict[str, ChangeRule]:
    from recipes.engine.rules import RULES

    found = {}
    for code, entry in data("rules").items():
        verdict, advice = Ruling(entry["verdict"]), entry.get("advice", "")
        if name := entry.get("engine_rule"):
            known = RULES[name]
            found[code] = ChangeRule(code, verdict, name, known.statement, known.source, "", advice)
        else:
            found[code] = ChangeRule(code, verdict, code, entry["says"], entry["source"], entry["seen"], advice)
    return found


CHANGE_RULES: Mapping[str, ChangeRule] = _Rules()
