"""The catalogue of messages: each key that the engine uses has a text, each text is used, and the parameters agree."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

import recipes.engine
from recipes.engine import messages
from recipes.engine.messages import ENGLISH, Text, in_language, texts, words_of
from recipes.engine.physics import AltitudeError, altitude_from_text
from recipes.engine.plan import Untimed
from recipes.engine.quantities import Amount
from recipes.engine.rules import RULES
from recipes.engine.terms import Refusal

HOME = Path(recipes.engine.__file__).parent
ENGLISH_TEXTS = texts(ENGLISH)
SAYS = {"Refusal", "Caution", "Text", "AmountError", "AltitudeError", "ReadingError"}
PLACE = re.compile(r"\{(\w+)(?:![rs])?(?::([^}]*))?\}")


def calls() -> Iterator[tuple[str, list[str], set[str]]]:
    """Where the engine says something: the place, the keys that it may be, the names of its parameters."""
    for path in sorted(HOME.glob("*.py")):
        if path.name.startswith(("change", "document", "acidity")) or path.name in ("messages.py", "rules.py"):
            continue
        module = importlib.import_module(f"recipes.engine.{path.stem}" if path.stem != "__init__" else "recipes.engine")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if is_said(node):
                keys = list(keys_in(node.args[0], vars(module)))
                if keys:
                    given = [key.value for each in node.args if isinstance(each, ast.Dict) for key in each.keys]
                    yield f"{path.name}:{node.lineno}", keys, {*given, *(word.arg for word in node.keywords)}


def is_said(node: ast.AST) -> bool:
    if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in SAYS and node.args):
        return False
    return "own_words" not in {word.arg for word in node.keywords}


def keys_in(node: ast.expr, names: dict[str, object]) -> Iterator[str]:
    """The key that an argument is, or either of two; nothing where only the program knows."""
    if isinstance(node, ast.Constant):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from keys_in(node.body, names)
        yield from keys_in(node.orelse, names)
    elif isinstance(node, ast.Name) and isinstance(names.get(node.id), str):
        yield names[node.id]


CALLS = list(calls())


@pytest.mark.parametrize(("place", "keys", "given"), CALLS, ids=[place for place, *_ in CALLS])
def test_what_is_said_has_a_text_that_takes_just_these_parameters(place, keys, given):
    for key in keys:
        assert given == {name for name, _ in PLACE.findall(ENGLISH_TEXTS[key])}, (place, key)


def test_every_reason_cites_a_rule_that_there_is():
    cited = {
        node.args[1].value
        for path in HOME.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and getattr(node.func, "id", "") in ("Refusal", "Caution")
        and len(node.args) > 1
        and isinstance(node.args[1], ast.Constant)
    }
    assert len(cited) > 30
    assert cited <= RULES.keys()


def test_every_text_is_used():
    used = {key for _, keys, _ in CALLS for key in keys}
    joined = {f"between.{how}" for text in ENGLISH_TEXTS.values() for _, how in PLACE.findall(text) if how.isalpha()}
    assert used | joined == ENGLISH_TEXTS.keys()


def test_a_text_names_its_parameters_and_ends_as_a_sentence():
    for key, text in ENGLISH_TEXTS.items():
        assert text.count("{") == text.count("}") == len(PLACE.findall(text)), key
        if not key.startswith(("between.", "part.")) and not text.endswith("}"):
            assert text.endswith((".", "?")), key


def test_parameters_are_written_as_a_kitchen_writes_them():
    assert str(Text("part-pot", {"share": Amount(Fraction(1, 2), "each")})).startswith("Each pot takes 1/2 of")
    assert str(Text("fruit-left-over", {"fruit": Amount(Fraction(9, 4), "cup")})).startswith("2 1/4 cups of prepared")
    assert str(Text("pack-unknown", {"packs": ("hot", "raw")})) == (
        "Say how the jars are packed: hot or raw. Each has its own time."
    )
    late = Untimed("not-enough-time", "FINISH", {"minutes": 9, "over": 2})
    assert late.message == f"There is no timeline: {late.as_refusal().message}"
    with pytest.raises(KeyError):
        str(Text("no-such-key"))


@pytest.fixture
def another_language(monkeypatch) -> Iterator[str]:
    """A catalogue of a few texts, as `messages.xx.csv` would hold them."""
    known = {
        "cool": "Wacht.",
        "between.or": " of ",
        "pack-unknown": "{packs:or}?",
        "altitude.no-unit": "{number} m?",
        "untimed": "Niet: {why}",
    }
    read = messages.rows

    def rows(name: str):
        return iter([{"key": key, "text": text} for key, text in known.items()]) if ".xx." in name else read(name)

    monkeypatch.setattr(messages, "rows", rows)
    texts.cache_clear()
    yield "xx"
    texts.cache_clear()


def test_another_language_says_it_in_its_own_words_and_falls_back_on_english(another_language):
    asked = Refusal("pack-unknown", "PACK-TESTED", {"packs": ("hot", "raw")})
    assert words_of(asked, another_language) == "hot of raw?"
    assert words_of(asked) == asked.message == "Say how the jars are packed: hot or raw. Each has its own time."
    no_cook = Refusal("no-cook", "NO-WAIT")
    assert words_of(no_cook, another_language) == no_cook.message
    assert words_of(Untimed("no-cook", "NO-WAIT"), another_language) == f"Niet: {no_cook.message}"
    with pytest.raises(AltitudeError) as raised:
        altitude_from_text("1040")
    assert words_of(raised.value, another_language) == "1040 m?"
    assert words_of(raised.value) == str(raised.value)


def test_a_language_without_a_catalogue_is_answered_in_english():
    assert in_language(Text("cool"), "zz") == ENGLISH_TEXTS["cool"]


def test_what_a_room_has_worded_itself_stays_as_it_is():
    assert words_of(Refusal("revision-withdrawn", "TESTED-ONLY", own_words="Gone."), "xx") == "Gone."
    assert words_of("Mind the step.", "xx") == "Mind the step."
