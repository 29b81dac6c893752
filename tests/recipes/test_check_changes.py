"""The command line of "may I change this?": one exit status for allowed, refused and bad input."""

from __future__ import annotations

import json

import pytest
from django.core.management import CommandError, call_command

from recipes.engine.changes import GRAMMAR_HELP
from recipes.models import Revision, RevisionState
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db


@pytest.fixture
def spread():
    return make_revision(slug="test-spread")


@pytest.fixture
def run(capsys):
    """(exit status, standard output) of the command."""

    def run(*arguments):
        status = 0
        try:
            call_command("check_changes", *arguments)
        except SystemExit as end:
            status = end.code
        return status, capsys.readouterr().out

    return run


def test_an_allowed_change_ends_with_0_and_says_why(spread, run):
    status, out = run("test-spread", "--change", "add cinnamon 1 tsp")
    assert status == 0
    for part in ("FINE: add cinnamon 1 tsp", "Rule SPICE-DRY", "Source: ", "Together: fine"):
        assert part in out


def test_a_change_of_quality_is_no_refusal(spread, run):
    assert run("test-spread", "--change", "less sugar")[0] == 0


def test_any_refusal_ends_with_3(spread, run):
    status, out = run("test-spread", "--change", "add cinnamon 1 tsp", "--change", "add onions")
    assert status == 3
    assert "REFUSED: add onions" in out


def test_what_cannot_be_read_is_refused_and_shows_what_can(spread, run):
    status, out = run("test-spread", "--change", "make it nicer")
    assert status == 3
    assert "refused" in out.lower()


def test_json_has_one_entry_for_each_change_and_the_worst_over_all(spread, run):
    status, out = run("test-spread", "--change", "less sugar", "--change", "jar quart", "--json")
    found = json.loads(out)
    assert (status, found["verdict"], found["recipe"], found["revision"]) == (3, "refused", "test-spread", 1)
    assert [(entry["change"], entry["verdict"]) for entry in found["changes"]] == [
        ("less sugar", "quality"),
        ("jar quart", "refused"),
    ]
    assert all(entry["rule"] and entry["source"] and entry["message"] for entry in found["changes"])


def test_changes_are_judged_together(spread, run):
    alone = run("test-spread", "--change", "sugar -30%", "--json")
    both = run("test-spread", "--change", "sugar -30%", "--change", "sugar -30%", "--json")
    assert (alone[0], both[0]) == (0, 3)


def test_an_older_revision_may_be_asked_about(spread, run):
    ingredients = [dict(line) for line in spread.content["ingredients"] if line["role"] != "acid"]
    make_revision(spread.recipe, ingredients=ingredients)
    first = json.loads(run("test-spread", "--change", "omit lemon juice", "--revision", "1", "--json")[1])
    newest = json.loads(run("test-spread", "--change", "omit lemon juice", "--json")[1])
    assert (first["revision"], first["changes"][0]["rule"]) == (1, "ACID-LESS")
    assert (newest["revision"], newest["changes"][0]["rule"]) == (2, "NOT-IN-RECIPE")


def test_nothing_may_be_changed_about_a_withdrawn_revision(run):
    make_revision(slug="withdrawn", state=RevisionState.WITHDRAWN)
    status, out = run("withdrawn", "--change", "add cinnamon 1 tsp", "--json")
    assert (status, json.loads(out)["changes"][0]["rule"]) == (3, "WITHDRAWN")


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (("no-such-recipe", "--change", "less sugar"), "no-such-recipe"),
        (("test-spread", "--change", "less sugar", "--revision", "7"), "revision"),
        (("test-spread", "--change", "less sugar", "--revision", "one"), "revision"),
        (("test-spread",), "--change"),
    ],
)
def test_bad_input_ends_with_2_and_names_what_is_wrong(spread, arguments, word):
    with pytest.raises(CommandError, match=word) as error:
        call_command("check_changes", *arguments)
    assert error.value.returncode == 2


def test_a_draft_is_not_judged(run):
    make_revision(slug="draft", state=RevisionState.DRAFT)
    with pytest.raises(CommandError, match="no published recipe"):
        call_command("check_changes", "draft", "--change", "less sugar")


def test_text_that_no_terminal_can_print_does_no_harm(spread, run):
    status, out = run("test-spread", "--change", "add \udcff onions", "--json")
    assert (status, json.loads(out)["verdict"]) == (3, "refused")


def test_asking_costs_few_queries_and_writes_nothing(spread, run, django_assert_max_num_queries):
    before = Revision.objects.count()
    with django_assert_max_num_queries(3):
        run("test-spread", *(part for _ in range(30) for part in ("--change", "less sugar")))
    assert Revision.objects.count() == before


def test_the_help_shows_the_grammar(capsys):
    with pytest.raises(SystemExit):
        call_command("check_changes", "--help")
    assert GRAMMAR_HELP.splitlines()[4].strip() in capsys.readouterr().out
