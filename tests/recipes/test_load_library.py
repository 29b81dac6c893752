"""Loading: all or nothing, nothing twice, a change is a new revision, and what is not tested is held back."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from recipes.models import ProcessTable, Recipe, Revision, RevisionState
from recipes.services import (
    library_load,
    plan_for,
    revision_draft,
    revision_publish,
    revision_submit,
    revision_withdraw,
)
from tests.factories.batches import make_batch_checked
from tests.factories.recipes import recipe_document
from tests.recipes.test_library import GOOD, TABLE

pytestmark = pytest.mark.django_db


@pytest.fixture
def shipped(tmp_path, ship_from):
    """The folder whose files count as the library that comes with the site."""
    ship_from(tmp_path)


@pytest.fixture
def load(tmp_path, shipped):
    """Write the text to the one library file of the site and load it."""

    def load(text, **options):
        file = tmp_path / "library.toml"
        file.write_text(text)
        report = library_load(paths=[file], **options)
        assert not report.problems, [str(problem) for problem in report.problems]
        return report

    return load


def everything():
    return [list(model.objects.order_by("pk").values()) for model in (Recipe, Revision, ProcessTable)]


MEMORY = GOOD.replace('amounts_seen = "seen-twice"', 'amounts_seen = "memory"')
CHANGED = GOOD.replace('amount = "3"', 'amount = "3 1/2"')


def test_a_first_load_publishes_every_tested_entry(load):
    report = load(GOOD + TABLE)
    assert (report.added, report.tables_added, report.changed) == (
        ["test-spread"],
        ["plums | whole | boiling-water"],
        2,
    )
    recipe = Recipe.objects.published().get()
    assert (recipe.slug, recipe.title, recipe.kind, recipe.method) == (
        "test-spread",
        "Test spread",
        "jam",
        "boiling-water",
    )
    assert (recipe.produce, recipe.jars, recipe.from_library) == ("|plums|", "|half-pint|", True)
    assert (recipe.current.number, recipe.current.from_library, recipe.current.author) == (1, True, None)
    assert recipe.current.tested.ingredients[0].item == "plums"
    assert ProcessTable.objects.get().table.rows[0].minutes_bands[0].minutes == 20


def test_the_second_load_changes_nothing(load):
    load(GOOD + TABLE)
    before = everything()
    report = load(GOOD + TABLE)
    assert report.changed == 0
    assert (report.unchanged, len(report.tables_unchanged)) == (["test-spread"], 1)
    assert everything() == before


def test_a_changed_entry_is_the_next_revision_and_the_first_stays(load):
    load(GOOD)
    first = Revision.objects.get()
    report = load(CHANGED)
    assert (report.revised, report.changed) == (["test-spread"], 1)
    recipe = Recipe.objects.get()
    assert recipe.current.number == 2
    assert recipe.current.content["ingredients"][1]["amount"] == "3 1/2"
    first_now = Revision.objects.get(pk=first.pk)
    assert (first_now.content, first_now.state) == (first.content, RevisionState.PUBLISHED)


def test_an_entry_that_goes_back_to_an_earlier_text_is_a_third_revision(load):
    for text in (GOOD, CHANGED, GOOD):
        load(text)
    assert Recipe.objects.get().current.number == 3


def test_a_changed_process_table_is_replaced(load):
    load(GOOD + TABLE)
    report = load(GOOD + TABLE.replace("[1000, 20]", "[1000, 25]"))
    assert len(report.tables_changed) == 1
    assert ProcessTable.objects.get().table.rows[0].minutes_bands[0].minutes == 25


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (('amounts_seen = "seen-twice"', 'amounts_seen = "memory"'), "amounts: memory"),
        (('process_seen = "seen-twice"', 'process_seen = "disputed"'), "process: disputed"),
    ],
)
def test_an_entry_that_is_not_tested_is_a_draft_with_the_reason(load, change, why):
    report = load(GOOD.replace(*change))
    assert (report.added, report.held_back) == ([], ["test-spread"])
    held = Revision.objects.get()
    assert (held.state, held.number, held.is_held_back) == (RevisionState.DRAFT, None, True)
    assert why in held.review_note
    assert not Recipe.objects.readable().exists()
    assert load(GOOD.replace(*change)).changed == 0


def test_a_held_back_entry_that_is_seen_later_is_published(load):
    load(MEMORY)
    report = load(GOOD)
    assert report.added == ["test-spread"]
    assert Revision.objects.get().number == 1


def test_a_held_back_entry_that_changes_is_still_one_draft(load):
    load(MEMORY)
    report = load(MEMORY.replace('"Boil."', '"Boil hard."'))
    assert report.held_back == ["test-spread"]
    assert Revision.objects.get().content["steps"][0] == "Boil hard."


def test_what_the_library_no_longer_holds_as_tested_is_withdrawn_with_the_reason(load):
    load(GOOD)
    report = load(MEMORY, may_withdraw=True)
    assert report.withdrawn == ["test-spread"]
    first = Revision.objects.numbered().get()
    assert first.state == RevisionState.WITHDRAWN
    assert "amounts: memory" in first.withdrawn_reason
    assert Recipe.objects.get().current is None
    assert load(MEMORY).changed == 0
    assert load(GOOD).revised == ["test-spread"]
    assert Recipe.objects.get().current.number == 2


def test_without_a_word_nothing_is_withdrawn_and_nothing_new_is_planned_from_it(load):
    """No jar is called back by a load that nobody meant so; and nobody fills another one meanwhile."""
    load(GOOD)
    report = load(MEMORY)
    assert (report.withdrawn, report.to_withdraw) == ([], ["test-spread"])
    kept = Revision.objects.numbered().get()
    assert kept.state == RevisionState.PUBLISHED
    assert "amounts: memory" in kept.refused_why
    assert [one.code for one in plan_for(revision=kept, altitude=None, pots=1).refusals][0] == "held-back"
    assert load(MEMORY).to_withdraw == ["test-spread"]  # said again as long as it holds
    assert load(MEMORY, may_withdraw=True).withdrawn == ["test-spread"]
    assert Revision.objects.numbered().get().is_unsafe
    assert load(MEMORY).changed == 0


def test_a_library_that_is_tested_again_is_planned_from_again(load):
    load(GOOD)
    load(MEMORY)
    load(GOOD)
    current = Recipe.objects.get().current
    assert current.refused_why == ""
    assert current.number == 1  # the very same text: no new revision
    assert "held-back" not in [one.code for one in plan_for(revision=current, altitude=None, pots=1).refusals]


def test_the_command_says_which_jars_a_withdrawal_would_call_back(tmp_path, shipped, capsys):
    file = tmp_path / "a.toml"
    file.write_text(GOOD)
    call_command("load_library", tmp_path)
    make_batch_checked(revision=Revision.objects.get())
    file.write_text(MEMORY)
    call_command("load_library", tmp_path)
    told = capsys.readouterr().err
    assert "--withdraw" in told
    assert "This calls back 4 jars in 1 household." in told
    call_command("load_library", tmp_path, withdraw=True)
    assert "This calls back 4 jars in 1 household." in capsys.readouterr().out
    assert Revision.objects.numbered().get().is_unsafe


def test_a_withdrawn_revision_is_not_brought_back_by_loading_the_same_file(load, reviewer):
    load(GOOD)
    revision_withdraw(by=reviewer, revision=Revision.objects.get(), reason="Jars broke.")
    assert load(GOOD).changed == 0
    assert not Recipe.objects.published().exists()


def test_an_instructors_later_revision_stays_current_while_the_library_is_the_same(load, instructor, reviewer):
    load(GOOD)
    draft = revision_draft(by=instructor, from_revision=Revision.objects.get())
    published = revision_publish(by=reviewer, revision=revision_submit(by=instructor, revision=draft))
    assert load(GOOD).changed == 0
    assert Recipe.objects.get().current == published
    load(CHANGED)
    assert Recipe.objects.get().current.number == 3


def test_a_library_does_not_write_over_a_members_recipe(tmp_path, shipped, instructor):
    revision_draft(by=instructor, content=recipe_document())
    before = everything()
    file = tmp_path / "library.toml"
    file.write_text(GOOD + TABLE)
    report = library_load(paths=[file])
    assert [str(problem) for problem in report.problems] == [
        f'{file}: recipe "test-spread": slug: A recipe written by a member has this slug. Give the entry another.'
    ]
    assert everything() == before


def test_one_bad_file_among_good_ones_changes_nothing(tmp_path, capsys):
    (tmp_path / "a.toml").write_text(GOOD)
    bad = tmp_path / "b.toml"
    bad.write_text(GOOD.replace("test-spread", "other").replace('unit = "cup"', 'unit = "mug"'))
    with pytest.raises(CommandError, match="2 problem"):
        call_command("load_library", tmp_path)
    told = capsys.readouterr().err
    assert f'{bad}: recipe "other": ingredients[0].unit: This must be' in told
    assert not Recipe.objects.exists()


def test_the_command_says_what_it_did_and_can_be_run_again(tmp_path, shipped, capsys):
    (tmp_path / "a.toml").write_text(GOOD + TABLE)
    call_command("load_library", tmp_path)
    assert "Recipes: 1 added" in capsys.readouterr().out
    call_command("load_library", tmp_path)
    assert "0 changed in all." in capsys.readouterr().out


def test_when_the_database_fails_half_way_nothing_is_kept(load, monkeypatch):
    from recipes import services as recipes_services

    def fail(*args):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(recipes_services, "_table_set", fail)
    with pytest.raises(RuntimeError):
        load(GOOD + TABLE)
    assert not Recipe.objects.exists()
    assert not Revision.objects.exists()
