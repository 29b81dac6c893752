"""What people type: read the same in many spellings, and never half understood."""

from __future__ import annotations

import pytest

from recipes.engine.changes import CHANGE_RULES, GRAMMAR_HELP, Act, Ruling, check_change
from recipes.engine.changes.read import read
from recipes.engine.changes.vocabulary import data
from tests.published.library import recipes

SALSA = "salsa-tomato-paste"

SAME = [
    (
        "sugar 7 cups -> 5 cups",
        [
            "Sugar 7 cup → 5 cup",
            "reduce sugar from 7 cups to 5 cups",
            "7 cups sugar -> 5 cups",
            "5 cups sugar instead of 7",
        ],
    ),
    (
        "sugar -25%",
        [
            "25% less sugar",
            "sugar - 25 %",
            "Reduce the sugar by 25 percent",
            "cut sugar by a quarter",
            "1/4 less sugar",
        ],
    ),
    (
        "omit salt",
        [
            "no salt",
            "leave out the salt",
            "Can I skip the salt?",
            "without salt",
            "salt-free",
            "don't add salt",
            "unsalted",
        ],
    ),
    (
        "honey for sugar",
        [
            "swap sugar -> honey",
            "replace the sugar with honey",
            "use honey instead of sugar",
            "substitute honey for sugar",
        ],
    ),
    ("double the pot", ["pot x2", "Make a double batch", "twice the recipe", "x2", "recipe doubled", "batch x 2"]),
    (
        "jar quart",
        ["quart jars", "use quarts", "in 32 oz jars", "Can it in quart jars instead of pints", "1 litre jars"],
    ),
    ("skip processing", ["don't process", "no water bath", "without processing", "skip the processing step"]),
    ("vinegar 4 % acidity", ["4% vinegar", "use vinegar of 4 percent", "Vinegar at 4%", "use a 40 grain vinegar"]),
    ("invert jars", ["turn the jars upside down", "inverting the jars", "flip jars over"]),
    ("reuse lids", ["use old lids", "re-use the lids", "used lids", "lids a second time"]),
    (
        "add garlic 2 cloves",
        ["add 2 cloves of garlic", "Could I please add two cloves of garlic to the salsa?", "put in 2 cloves garlic"],
    ),
]


@pytest.mark.parametrize(("plain", "spelling"), [(plain, other) for plain, others in SAME for other in others])
def test_many_ways_of_saying_one_thing_get_one_answer(plain, spelling):
    for recipe in (recipes()["strawberry-jam-liquid"], recipes()[SALSA]):
        one, other = check_change(recipe, plain), check_change(recipe, spelling)
        assert (one.verdict, one.rule) == (other.verdict, other.rule)


@pytest.mark.parametrize(
    ("text", "acts"),
    [
        ("omit salt and add garlic", [Act.OMIT, Act.ADD]),
        ("omit salt, sugar and cumin", [Act.OMIT, Act.OMIT, Act.OMIT]),
        ("add corn, beans and rice", [Act.ADD, Act.ADD, Act.ADD]),
        ("fewer peppers but more garlic", [Act.LESS, Act.MORE]),
        ("use bottled lime juice plus onions", [Act.USE, Act.ADD]),
    ],
)
def test_a_text_with_several_wishes_is_several_changes(text, acts):
    assert [change.act for change in read(text)[0]] == acts


@pytest.mark.parametrize(
    "text",
    [
        "less sugar with onions",
        "omit salt, onions added",
        "swap lemon juice -> bottled lime juice and add corn",
        "use bottled lime juice plus black beans",
        "jar pint instead of quart with added corn",
        "jar pint for 5 minutes",
        "water bath canner for 5 minutes",
        "steam canner for 5 minutes",
        "add cinnamon in corn for taste",
        "omit salt (and add bacon)",
        "less salt. add butter",
        "less salt; thicken with flour",
        "red onions for onions, plus carrots",
        "use new lids and more garlic",
        "freeze instead and add garlic",
        "bottled lime juice for lemon juice with butter",
        "omit cumin & throw in some corn",
        "process 25 minutes then turn the jars upside down",
    ],
)
def test_a_second_wish_never_hides_behind_an_allowed_one(text):
    assert check_change(recipes()[SALSA], text).verdict is Ruling.REFUSED


@pytest.mark.parametrize(
    "text",
    ["", " ", "?", "->", "42", "…", "asdf qwer", "do nothing", "add", "omit", "swap -> ", "x" * 5000, "\x00", "🍓"],
)
def test_what_cannot_be_read_is_refused_with_the_grammar_or_as_not_covered(text):
    answer = check_change(recipes()[SALSA], text)
    assert answer.rule in {"NOT-UNDERSTOOD", "NOT-COVERED"}
    assert answer.verdict is Ruling.REFUSED


def test_every_way_of_working_has_a_rule_and_only_whole_texts_are_allowed():
    refused, allowed = ({entry["code"] for entry in data("ways")[group]} for group in ("refused", "allowed"))
    assert refused <= set(CHANGE_RULES)
    assert {CHANGE_RULES[code].verdict for code in refused} == {Ruling.REFUSED}
    assert {CHANGE_RULES[code].verdict for code in allowed} <= {Ruling.FINE, Ruling.QUALITY}


def test_the_help_shows_only_examples_that_can_be_read():
    shown = [
        "sugar 7 cups -> 5 cups",
        "sugar -25%",
        "salt -50%",
        "less sugar",
        "omit salt",
        "add onions 1 cup",
        "honey for sugar",
    ]
    shown += [
        "swap vinegar -> bottled lemon juice",
        "canned for fresh",
        "use brown sugar",
        "vinegar 4 % acidity",
        "jar quart",
    ]
    shown += [
        "smaller jar",
        "pot x2",
        "halve the pot",
        "canner steam",
        "process 10 minutes",
        "10 psi",
        "practice bands tight",
    ]
    for text in shown:
        assert text in GRAMMAR_HELP
        assert read(text), text
