"""Deciding: what several changes do together that none of them does alone.

It only ever makes an answer stricter.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from recipes.engine.change_facts import Facts
from recipes.engine.change_foods import read_phrase
from recipes.engine.change_judge_amount import HALF, MOST_BUTTER_ML, MOST_SPICE_ML
from recipes.engine.change_judge_vessel import covers, is_jar
from recipes.engine.change_kinds import ACIDS, LOW_ACID, TOMATOES, Kind
from recipes.engine.change_measure import millilitres, ratio_to, total_of
from recipes.engine.change_terms import Act, Change
from recipes.engine.terms import Role

Judged = Sequence[tuple[Change, str]]

# Each weakens the set or the keeping of a spread; two of them together make another product.
_WEAKENS = frozenset(
    {
        "SUGAR-LESS-PECTIN",
        "SUGAR-LESS-PLAIN",
        "HONEY-FOR-SUGAR",
        "PECTIN-LESS",
        "PECTIN-ORDER",
        "FRUIT-CANNED",
        "FRUIT-SWAP",
        "FRUIT-ADD-SPREAD",
        "FRUIT-AMOUNT",
        "LIQUID-SET",
        "ACID-MORE-SET",
        "SUGAR-MORE-SPREAD",
    }
)
_ACID_UP = frozenset({"ACID-MORE", "ACID-MORE-SET"})
_VEGETABLE_UP = frozenset({"VEGETABLE-MORE", "VEGETABLE-ADD", "ALLIUM-ADD", "PEPPER-ADD", "HERB-FRESH-MORE"})
_LESS_SUGAR = frozenset({"SUGAR-LESS-SOFT", "HONEY-FOR-SUGAR", "SUGAR-KIND"})


def judge_together(facts: Facts, judged: Judged) -> dict[int, str]:
    """The stricter code for each change, by its place, that the company of the others asks for."""
    found: dict[int, str] = {}
    for rule in (
        _set,
        _sugar_and_starch,
        _acid_and_vegetable,
        _sugar_twice,
        _fat_twice,
        _spice_twice,
        _part_of_a_pot,
        _vessel,
    ):
        for place, code in rule(facts, judged).items():
            found.setdefault(place, code)
    return found


def _places(judged: Judged, codes: frozenset[str]) -> list[int]:
    return [place for place, (_, code) in enumerate(judged) if code in codes]


def _set(facts: Facts, judged: Judged) -> dict[int, str]:
    places = _places(judged, _WEAKENS)
    different = {judged[place][1] for place in places}
    return dict.fromkeys(places, "TOGETHER-SET") if facts.is_spread and len(different) > 1 else {}


def _sugar_and_starch(facts: Facts, judged: Judged) -> dict[int, str]:
    sugar, starch = _places(judged, _LESS_SUGAR), _places(judged, frozenset({"STARCH-LESS"}))
    both = sugar and starch and facts.with_role(Role.THICKENER)
    return dict.fromkeys(sugar + starch, "TOGETHER-SUGAR-STARCH") if both else {}


def _acid_and_vegetable(facts: Facts, judged: Judged) -> dict[int, str]:
    vegetables = _places(judged, _VEGETABLE_UP)
    return dict.fromkeys(vegetables, "TOGETHER-ACID-VEGETABLE") if _places(judged, _ACID_UP) and vegetables else {}


def _sugar_twice(facts: Facts, judged: Judged) -> dict[int, str]:
    """Several cuts of sugar count as their product."""
    left, places = Fraction(1), []
    for place, (change, code) in enumerate(judged):
        if code in ("SUGAR-LESS-PECTIN", "SUGAR-LESS-PLAIN"):
            places.append(place)
            left *= _sugar_left(facts, change)
    return dict.fromkeys(places, "SUGAR-HALF") if len(places) > 1 and left < HALF else {}


def _sugar_left(facts: Facts, change: Change) -> Fraction:
    if change.factor is not None:
        return change.factor
    if change.amount is not None:
        return ratio_to(facts.find(change.item), change.amount) or Fraction(1)
    return Fraction(3, 4)  # "less sugar" without a number: taken as a quarter less


def _fat_twice(facts: Facts, judged: Judged) -> dict[int, str]:
    places = _places(judged, frozenset({"FAT-FOAM"}))
    there = total_of(facts.with_role(Role.FAT), "ml") or Fraction(0)
    added = sum((millilitres(judged[place][0].amount) or Fraction(0) for place in places), there)
    return dict.fromkeys(places, "FAT-ADD") if len(places) > 1 and added > MOST_BUTTER_ML else {}


def _spice_twice(facts: Facts, judged: Judged) -> dict[int, str]:
    places = [
        place
        for place in _places(judged, frozenset({"SPICE-DRY"}))
        if judged[place][0].act in (Act.ADD, Act.USE) and Kind.SPICE in read_phrase(judged[place][0].item).kinds
    ]
    added = sum((millilitres(judged[place][0].amount) or Fraction(0) for place in places), Fraction(0))
    return dict.fromkeys(places, "SPICE-BULK") if len(places) > 1 and added > MOST_SPICE_ML else {}


def _part_of_a_pot(facts: Facts, judged: Judged) -> dict[int, str]:
    """ "Halve the recipe, onions 3 cups": the measure may be of either pot, so it was compared with the wrong one."""
    smaller = _places(judged, frozenset({"POT-HALF", "POT-HALF-SPREAD", "POT-WITHIN"}))
    measured = [
        place
        for place, (change, _) in enumerate(judged)
        if (change.amount or change.other_amount) and _balance_of(change) and place not in smaller
    ]
    return dict.fromkeys(measured, "TOGETHER-POT") if smaller and measured else {}


def _balance_of(change: Change) -> bool:
    kinds = read_phrase(change.item).kinds | read_phrase(change.other).kinds
    return bool(kinds & (LOW_ACID | ACIDS | TOMATOES))


def _vessel(facts: Facts, judged: Judged) -> dict[int, str]:
    """Jar, pack and canner must share a row of the process table."""
    if facts.is_freezer:
        return {}
    chosen = {
        act: [p for p, (change, _) in enumerate(judged) if change.act is act] for act in (Act.JAR, Act.PACK, Act.CANNER)
    }
    places = [place for found in chosen.values() for place in found]
    if len(places) < 2:
        return {}
    words = {act: judged[found[-1]][0].word if found else None for act, found in chosen.items()}
    jar = words[Act.JAR] if words[Act.JAR] and is_jar(words[Act.JAR] or "") else None
    if covers(facts, jar, words[Act.PACK], words[Act.CANNER]):
        return {}
    return dict.fromkeys(places, "TOGETHER-JAR-PACK")
