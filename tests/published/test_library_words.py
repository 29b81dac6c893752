"""The words of the published library: roles, order of work, cautions, and no process time outside the tables."""

from __future__ import annotations

import re
import tomllib
from fractions import Fraction

import pytest

from recipes.engine.document import entries_from_library
from recipes.engine.rules import FERMENT_KINDS
from recipes.engine.terms import Method, Range, Role
from tests.published.library import LIBRARY, figures, foods, recipes

ACID_ITEM = re.compile(r"vinegar|lemon juice|lime juice")
A_TIME = re.compile(
    r"\b(\d+|one|two|five|ten|fifteen|twenty|thirty|forty|fifty|sixty)\b[^.;,]{0,12}\bmin", re.IGNORECASE
)
ALLOWED_BESIDE_A_CANNER = ("let the jars stand five minutes before lifting", "for ten minutes before closing it")


def test_every_acid_line_has_the_role_acid_and_none_is_missing() -> None:
    printed = {(row["slug"], row["line"]) for row in figures("recipe_amounts") if ACID_ITEM.search(row["item"])}
    found = {
        (slug, str(number))
        for slug, recipe in recipes().items()
        for number, line in enumerate(recipe.ingredients, 1)
        if line.role is Role.ACID
    }

    assert found == printed
    assert len(found) >= 30


def test_no_acid_line_is_optional() -> None:
    acids = [line for recipe in recipes().values() for line in recipe.ingredients if line.role is Role.ACID]

    assert not any(line.optional for line in acids)


def test_no_step_gives_a_process_time_or_a_pressure() -> None:
    for recipe in recipes().values():
        for step in map(str, recipe.steps):
            assert not re.search(r"\bpsi\b|pounds? of pressure|lb of pressure", step, re.IGNORECASE), (
                recipe.slug,
                step,
            )
            if re.search(r"\bcanner|\bprocess", step, re.IGNORECASE):
                rest = step
                for sentence in ALLOWED_BESIDE_A_CANNER:
                    rest = rest.replace(sentence, "")
                assert not A_TIME.search(rest), (recipe.slug, step)


def test_every_canned_recipe_sends_the_cook_to_the_table_for_its_time() -> None:
    for recipe in recipes().values():
        if recipe.method.is_cold:
            continue
        text = " ".join(map(str, recipe.steps))
        assert "the table gives" in text, recipe.slug
        assert "fingertip-tight" in text, recipe.slug
        assert "12 to 24 hours" in text, recipe.slug
        assert f"{recipe.headspace_in} inch of headspace" in text, recipe.slug


def test_a_freezer_recipe_says_that_it_must_not_stand_on_a_shelf() -> None:
    frozen = [recipe for recipe in recipes().values() if recipe.method is Method.FREEZER]

    assert len(frozen) == 3
    for recipe in frozen:
        assert not recipe.process
        assert "never on a shelf" in str(recipe.steps[-1]), recipe.slug
        assert any("must not stand on a shelf" in caution for caution in recipe.cautions), recipe.slug


def test_a_recipe_for_the_refrigerator_has_its_printed_weeks_and_says_that_only_cold_keeps_it() -> None:
    printed = {"refrigerated-apple-spread": 4, "refrigerated-grape-spread": 4, "refrigerator-jelly-sucralose": 4}
    chilled = {slug: recipe for slug, recipe in recipes().items() if recipe.method is Method.REFRIGERATOR}
    assert {slug: recipe.kept_cold.weeks for slug, recipe in chilled.items()} == {
        slug: (weeks, weeks) for slug, weeks in printed.items()
    }
    for recipe in chilled.values():
        assert recipe.kept_cold.freezer_months is None
        assert any("never stand them on a shelf" in caution for caution in recipe.cautions), recipe.slug


def test_a_hard_boil_is_written_out_for_every_spread_with_added_pectin() -> None:
    for recipe in recipes().values():
        if recipe.hard_boil is None:
            continue
        text = " ".join(map(str, recipe.steps))
        assert "full rolling boil that cannot be stirred down" in text, recipe.slug
        minutes = Range(recipe.hard_boil.minutes, recipe.hard_boil.minutes)
        assert any("boil hard for {minutes}" in s.text.lower() and s.minutes == minutes for s in recipe.steps), (
            recipe.slug
        )


def test_pectin_and_sugar_go_in_in_the_order_of_the_test() -> None:
    for recipe in recipes().values():
        if recipe.hard_boil is None:
            continue
        pectin = next(
            i
            for i, step in enumerate(map(str, recipe.steps))
            if re.search(r"stir in the (powdered|liquid) pectin", step, re.I)
        )
        sugar = next(i for i, step in enumerate(map(str, recipe.steps)) if re.search(r"\bsugar\b", step))
        assert (pectin < sugar) == (recipe.pectin == "powdered"), recipe.slug
        if recipe.hard_boil.pectin_added.startswith("after the boil"):
            assert "off the heat" in str(recipe.steps[pectin]), recipe.slug


def test_a_weight_is_given_only_with_its_source() -> None:
    for recipe in recipes().values():
        for line in recipe.ingredients:
            assert (line.grams is None) == (line.grams_source == ""), (recipe.slug, line.item)


def test_low_acid_vegetables_are_for_the_pressure_canner_unless_acid_is_added() -> None:
    for recipe in recipes().values():
        roles = {line.role for line in recipe.ingredients}
        if Role.LOW_ACID in roles and Role.ACID not in roles and recipe.kind not in FERMENT_KINDS:
            assert {row.method for row in recipe.process} == {Method.PRESSURE}, recipe.slug
            assert any("pressure canner" in caution for caution in recipe.cautions), recipe.slug


def test_the_example_in_the_format_notes_is_read_and_is_the_recipe_it_says() -> None:
    notes = (LIBRARY / "README.md").read_text(encoding="utf-8")
    example = next(block for block in re.findall(r"```toml\n(.*?)```", notes, re.DOTALL) if "slug" in block)
    (shown,), _ = entries_from_library(tomllib.loads(f'format = "kettlehall-library-2"\n{example}'))
    real = recipes()[shown.slug]

    assert [(line.item, line.amount, line.unit) for line in shown.ingredients] == [
        (line.item, line.amount, line.unit) for line in real.ingredients
    ]
    assert shown.source == real.source
    assert set(shown.process) <= set(real.process)


@pytest.mark.parametrize("name", ["measures", "composition", "produce", "refuse"])
def test_every_figure_about_a_food_has_its_source_and_says_how_far_it_was_checked(name: str) -> None:
    rows = foods(name)

    assert len(rows) >= 60
    for row in rows:
        assert row["source"].strip(), row
        assert re.search(r"seen-(once|twice)|memory", row["confidence"]), row


def test_grams_of_a_recipe_line_come_from_the_weight_of_a_cup() -> None:
    per_cup = {Fraction(row["g_per_cup"]) for row in foods("measures")}
    cups = {"cup": Fraction(1), "tbsp": Fraction(1, 16), "tsp": Fraction(1, 48), "quart": Fraction(4)}
    for recipe in recipes().values():
        for line in recipe.ingredients:
            if line.grams is not None and line.unit in cups:
                assert line.grams / (line.amount * cups[line.unit]) in per_cup, (recipe.slug, line.item)
