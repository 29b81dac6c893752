"""A club's own file: drafts for review, published only for a named reviewer, and never over somebody else's recipe."""

from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.management import CommandError, call_command

from recipes.library import SHIPPED
from recipes.models import ClassedFood, ProcessTable, Recipe, Revision, RevisionState
from recipes.services import (
    food_classify,
    library_load,
    revision_draft,
    revision_publish,
    revision_send_back,
    revision_submit,
)
from tests.factories.recipes import recipe_document
from tests.recipes.test_library import GOOD, TABLE

pytestmark = pytest.mark.django_db

UNKNOWN = GOOD.replace('item = "plums"', 'item = "kokum rinds"')
MINT = GOOD.replace(
    'item = "sugar", role = "sugar", amount = "3", unit = "cup" },',
    'item = "sugar", role = "sugar", amount = "3", unit = "cup" },\n'
    '  { item = "mint leaves", role = "spice", amount = "1", unit = "tbsp" },',
)


TABLE_ALONE = f'format = "kettlehall-library-2"\n{TABLE}'


@pytest.fixture
def own(tmp_path):
    """Write the text to a file of the club's own and load it."""

    def own(text, **options):
        file = tmp_path / "own.toml"
        file.write_text(text)
        report = library_load(paths=[file], **options)
        assert not report.problems, [str(problem) for problem in report.problems]
        return report

    return own


def test_a_recipe_waits_for_review_and_nobody_plans_from_it(own):
    report = own(GOOD)
    assert (report.added, report.to_review) == ([], ["test-spread"])
    draft = Revision.objects.get()
    assert (draft.state, draft.number, draft.author, draft.from_library) == (RevisionState.IN_REVIEW, None, None, False)
    assert draft.origin == "A file of the club's own"
    assert not Recipe.objects.readable().exists()


def test_a_file_cannot_say_that_it_is_the_published_library(tmp_path, own):
    """No field does it, and no name of a folder: only where the file truly lies."""
    for line in ("shipped = true", "from_library = true", 'reviewed_by = "somebody@example.org"'):
        for text in (line + GOOD, GOOD + line):
            file = tmp_path / "own.toml"
            file.write_text(text)
            assert library_load(paths=[file]).problems
    look_alike = tmp_path / "fixtures" / "library"
    look_alike.mkdir(parents=True)
    (look_alike / "jams.toml").write_text(GOOD)
    assert library_load(paths=[look_alike]).to_review == ["test-spread"]
    assert not Recipe.objects.published().exists()


def test_a_link_counts_as_the_file_that_it_leads_to(tmp_path, ship_from):
    home, away = tmp_path / "home", tmp_path / "away"
    home.mkdir()
    away.mkdir()
    ship_from(home)
    (away / "own.toml").write_text(GOOD)
    (home / "looks-shipped.toml").symlink_to(away / "own.toml")
    assert library_load(paths=[home]).to_review == ["test-spread"]


def test_loading_twice_changes_nothing_and_a_change_is_still_one_draft(own):
    own(GOOD)
    assert own(GOOD).changed == 0
    assert own(GOOD.replace('"Boil."', '"Boil hard."')).to_review == ["test-spread"]
    assert Revision.objects.get().content["steps"][0] == "Boil hard."


def test_what_a_reviewer_published_is_not_asked_for_again(own, reviewer):
    own(GOOD)
    published = revision_publish(by=reviewer, revision=Revision.objects.get())
    assert own(GOOD).changed == 0
    assert own(GOOD.replace('"Boil."', '"Boil hard."')).to_review == ["test-spread"]
    assert Recipe.objects.get().current == published


def test_what_was_sent_back_stays_sent_back_until_the_file_changes(own, reviewer):
    own(GOOD)
    revision_send_back(by=reviewer, revision=Revision.objects.get(), note="Which plums?")
    assert own(GOOD).changed == 0
    assert Revision.objects.get().state == RevisionState.DRAFT
    own(GOOD.replace('"Boil."', '"Boil hard."'))
    assert Revision.objects.get().state == RevisionState.IN_REVIEW


def test_a_named_reviewer_publishes(own, reviewer):
    report = own(GOOD, reviewer=reviewer)
    assert (report.added, report.to_review) == (["test-spread"], [])
    current = Recipe.objects.get().current
    assert (current.number, current.reviewer, current.author) == (1, reviewer, None)
    assert own(GOOD, reviewer=reviewer).changed == 0


def test_a_named_reviewer_publishes_what_waited_already(own, reviewer):
    own(GOOD)
    assert own(GOOD, reviewer=reviewer).added == ["test-spread"]
    assert Revision.objects.get().state == RevisionState.PUBLISHED


@pytest.mark.parametrize("roles", [("member",), ("keeper",), ("organiser",)])
def test_who_may_not_review_is_no_reviewer(tmp_path, make_person, roles):
    file = tmp_path / "own.toml"
    file.write_text(GOOD)
    person = make_person(*roles)
    with pytest.raises(PermissionDenied):
        library_load(paths=[file], reviewer=person)
    with pytest.raises(CommandError, match="may not review"):
        call_command("load_library", file, reviewed_by=person.email)
    assert not Recipe.objects.exists()


def test_an_instructor_who_left_is_no_reviewer(tmp_path, make_person):
    file = tmp_path / "own.toml"
    file.write_text(GOOD)
    with pytest.raises(CommandError, match="may not review"):
        call_command("load_library", file, reviewed_by=make_person("instructor", is_active=False).email)
    assert not Recipe.objects.exists()


def test_the_command_names_the_reviewer_by_address(tmp_path, reviewer, capsys):
    file = tmp_path / "own.toml"
    file.write_text(GOOD)
    with pytest.raises(CommandError, match="Nobody here"):
        call_command("load_library", file, reviewed_by="nobody@example.org")
    with pytest.raises(CommandError, match="files of your own"):
        call_command("load_library", reviewed_by=reviewer.email)
    call_command("load_library", file, reviewed_by=reviewer.email.upper())
    assert "1 added" in capsys.readouterr().out


def test_a_reviewers_name_does_not_publish_what_is_held_back(own, reviewer):
    for text in (UNKNOWN, GOOD.replace('amounts_seen = "seen-twice"', 'amounts_seen = "memory"'), MINT):
        assert own(text, reviewer=reviewer).to_review == ["test-spread"]
        assert not Recipe.objects.published().exists()
        assert Revision.objects.get().review_note.startswith("Held back")


def test_the_reason_names_line_and_food(own, tmp_path, capsys):
    own(UNKNOWN)
    assert 'ingredients[0].item: "kokum rind" in "kokum rinds"' in Revision.objects.get().review_note
    file = tmp_path / "own.toml"
    file.write_text(UNKNOWN.replace("Boil.", "Boil hard."))
    call_command("load_library", file)
    assert 'waits for review: test-spread. Held back by the acid list. ingredients[0].item: "kokum rind"' in (
        capsys.readouterr().out
    )


def test_a_reviewer_classes_the_food_and_then_it_can_be_published(own, reviewer, instructor):
    own(UNKNOWN)
    draft = Revision.objects.get()
    with pytest.raises(ValidationError, match="kokum rind"):
        revision_publish(by=reviewer, revision=draft)
    with pytest.raises(ValidationError, match="kokum rind"):
        revision_publish(by=reviewer, revision=draft, acid_seen="I know this fruit well.")
    food_classify(by=instructor, revision=draft, words="kokum rind", kind="fruit", ph="2,1", source="A printed list")
    assert ClassedFood.objects.get().ph_hundredths == 210
    assert revision_publish(by=reviewer, revision=draft).number == 1


def test_a_food_classed_low_acid_is_judged_as_low_acid(own, reviewer):
    own(UNKNOWN)
    draft = Revision.objects.get()
    food_classify(by=reviewer, revision=draft, words="kokum rind", kind="low-acid", ph="", source="A printed list")
    with pytest.raises(ValidationError, match="LOWACID-METHOD") as refused:
        revision_publish(by=reviewer, revision=draft, acid_seen="page 7")
    assert {error.code for error in refused.value.error_list} == {"unsafe"}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "vinegar"}, "kind"),
        ({"kind": "never"}, "kind"),
        ({"kind": ""}, "kind"),
        ({"ph": ""}, "ph"),
        ({"ph": "4.61"}, "ph"),
        ({"ph": "4.600001"}, "ph"),
        ({"ph": "NaN"}, "ph"),
        ({"ph": "-3"}, "ph"),
        ({"ph": "about 4"}, "ph"),
        ({"source": " "}, "source"),
        ({"words": "plum"}, "words"),
        ({"words": "banana"}, "words"),
    ],
)
def test_a_class_is_refused_beside_its_field(own, reviewer, change, field):
    own(UNKNOWN)
    said = {"words": "kokum rind", "kind": "fruit", "ph": "2.1", "source": "A printed list"}
    with pytest.raises(ValidationError) as refused:
        food_classify(by=reviewer, revision=Revision.objects.get(), **{**said, **change})
    assert list(refused.value.message_dict) == [field]
    assert not ClassedFood.objects.exists()


def test_the_author_and_members_class_nothing(instructor, reviewer, member):
    unknown = [{"item": "kokum", "role": "fruit", "amount": "4", "unit": "cup"}]
    draft = revision_draft(by=instructor, content=recipe_document(ingredients=unknown, produce=["kokum"]))
    said = {"words": "kokum", "kind": "fruit", "ph": "2.1", "source": "A printed list"}
    for person in (instructor, member):
        with pytest.raises(PermissionDenied):
            food_classify(by=person, revision=draft, **said)
    food_classify(by=reviewer, revision=draft, **said)
    with pytest.raises(ValidationError) as again:
        food_classify(by=reviewer, revision=draft, **said)
    assert "words" in again.value.message_dict


def test_no_class_undoes_what_the_list_says(own, reviewer):
    """A known name keeps its meaning, whatever a row of the table says."""
    ClassedFood.objects.create(words="banana", kind="fruit", ph_hundredths=300, source="a mistake", by=reviewer)
    with pytest.raises(AssertionError, match="NEVER-CANNED"):
        own(GOOD.replace('item = "plums"', 'item = "bananas"'))


def test_the_reviewers_word_settles_what_only_a_tested_recipe_may_have_and_is_kept(own, reviewer):
    own(MINT)
    draft = Revision.objects.get()
    for said in ("", "  \n "):
        with pytest.raises(ValidationError, match="mint leaves"):
            revision_publish(by=reviewer, revision=draft, acid_seen=said)
    published = revision_publish(by=reviewer, revision=draft, acid_seen="Leaflet 3, page 2: plums with mint.")
    assert "Leaflet 3, page 2" in published.review_note
    assert str(reviewer) in published.review_note


def test_a_file_does_not_write_over_the_shipped_library_whether_loaded_or_not(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(GOOD.replace("test-spread", "chile-salsa"))
    for _round in ("before", "after"):
        report = library_load(paths=[file])
        assert [str(problem) for problem in report.problems] == [
            f'{file}: recipe "chile-salsa": slug: The published library has a recipe of this slug. '
            "Give the entry another."
        ]
        call_command("load_library", verbosity=0)
    assert Recipe.objects.get(slug="chile-salsa").current.tested.title != "Test spread"


def test_a_file_does_not_write_over_a_members_recipe(tmp_path, instructor):
    revision_draft(by=instructor, content=recipe_document())
    file = tmp_path / "own.toml"
    file.write_text(GOOD)
    assert "written by a member" in str(library_load(paths=[file]).problems[0])


def test_a_members_draft_of_a_file_recipe_does_not_shut_the_file_out(own, instructor, reviewer):
    own(GOOD, reviewer=reviewer)
    draft = revision_draft(by=instructor, from_revision=Revision.objects.get())
    revision_publish(by=reviewer, revision=revision_submit(by=instructor, revision=draft))
    assert own(GOOD).changed == 0
    assert own(GOOD.replace('"Boil."', '"Boil hard."')).to_review == ["test-spread"]


def test_a_process_table_of_the_clubs_own_is_planned_from_once_a_reviewer_answers_for_it(own, member, reviewer):
    asked = {"table": "plums", "jars": "7", "altitude": "300 m", "json": True}
    own(TABLE_ALONE)
    table = ProcessTable.objects.get()
    assert table.is_held_back
    assert table not in ProcessTable.objects.visible_to(member)
    with pytest.raises(CommandError, match="nobody has answered yet"):
        call_command("plan_batch", **asked)
    own(TABLE_ALONE, reviewer=reviewer)
    call_command("plan_batch", **asked)
    assert Revision.objects.get(recipe__slug__startswith="table-plums").reviewer == reviewer
    assert table in ProcessTable.objects.visible_to(member)
    assert own(TABLE_ALONE).changed == 0
    report = own(TABLE_ALONE.replace("[1000, 20]", "[1000, 25]"))
    assert (len(report.tables_changed), len(report.tables_to_review)) == (1, 1)
    assert table not in ProcessTable.objects.visible_to(member)
    assert not Revision.objects.published().exists()


def test_the_reviewers_word_on_the_acid_publishes_from_the_command_line_too(tmp_path, reviewer, capsys):
    file = tmp_path / "own.toml"
    file.write_text(MINT)
    with pytest.raises(CommandError, match="--reviewed-by"):
        call_command("load_library", file, acid_seen="page 2")
    for _round in ("new", "again"):
        call_command("load_library", file, reviewed_by=reviewer.email)
        assert "waits for review: test-spread. Held back by the acid list." in capsys.readouterr().out
    call_command("load_library", file, reviewed_by=reviewer.email, acid_seen="Leaflet 3, page 2: plums with mint.")
    assert "Leaflet 3, page 2" in Revision.objects.published().get().review_note
    file.write_text(UNKNOWN.replace("test-spread", "kokum-spread"))
    call_command("load_library", file, reviewed_by=reviewer.email, acid_seen="page 2")
    assert not Revision.objects.published().filter(recipe__slug="kokum-spread").exists()


def test_a_process_table_of_the_clubs_own_does_not_write_over_a_shipped_one(tmp_path):
    call_command("load_library", verbosity=0)
    shipped = ProcessTable.objects.filter(method="boiling-water").first()
    food, variant = shipped.food, shipped.variant
    file = tmp_path / "own.toml"
    text = TABLE.replace('food = "plums"', f'food = "{food}"').replace('variant = "whole"', f'variant = "{variant}"')
    file.write_text(GOOD + text)
    assert "published library has a table" in str(library_load(paths=[file]).problems[0])
    shipped.refresh_from_db()
    assert shipped.table.source.title != "Test Leaflet"


def test_the_shipped_folder_publishes_file_by_file_as_well():
    report = library_load(paths=[SHIPPED / "jams.toml"])
    assert not report.problems
    assert len(report.added) >= 10
    assert report.to_review == []
