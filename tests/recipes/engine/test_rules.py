"""Rules are named once, say something and name their source."""

from __future__ import annotations

import pytest

from recipes.engine.rules import RULES, is_borderline
from recipes.engine.terms import Caution, Refusal


@pytest.mark.parametrize("name", sorted(RULES))
def test_a_rule_says_something_and_names_its_source(name):
    rule = RULES[name]
    assert rule.name == name
    assert rule.statement.endswith(".")
    assert rule.source.strip()


def test_reasons_cite_their_rule_and_cannot_invent_one():
    assert Refusal("x", "JAR-SIZE", own_words="No.").source == RULES["JAR-SIZE"].source
    assert Caution("cool", "COOL").source == RULES["COOL"].source
    with pytest.raises(KeyError):
        _ = Refusal("x", "NO-SUCH-RULE", own_words="No.").source
    assert Refusal("x", "OF-A-ROOM", own_words="No.", own_source="a rule of this club").source == "a rule of this club"


@pytest.mark.parametrize(
    ("item", "borderline"),
    [
        ("Tomatoes, ripe", True),
        ("green tomatoes", True),
        ("figs", True),
        ("asian pears", True),
        ("elderberries", True),
        ("pears", False),
        ("strawberries", False),
        ("tomatillos", False),
    ],
)
def test_fruit_near_the_acid_boundary_is_known_by_name(item, borderline):
    assert is_borderline(item) is borderline
