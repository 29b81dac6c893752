"""What the database itself refuses, asked in raw SQL: nothing of Django's stands between."""

from __future__ import annotations

import json

import pytest
from django.db import IntegrityError, connection, transaction

from recipes import triggers
from recipes.models import NumberedRevisionKept, Revision
from tests.factories.recipes import make_recipe, make_revision

pytestmark = pytest.mark.django_db

OTHER = json.dumps({"slug": "another"})


def run(sql, *values):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.rowcount


def trigger_names():
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [triggers.TABLE])
        else:
            cursor.execute(
                "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgrelid = %s::regclass", [triggers.TABLE]
            )
        return {name for (name,) in cursor.fetchall()}


def test_after_all_migrations_the_triggers_are_in_the_database():
    assert trigger_names() == {triggers.CHANGE, triggers.DELETE, triggers.WITHDRAWAL}


@pytest.mark.parametrize("state", ["published", "withdrawn"])
@pytest.mark.parametrize(
    ("column", "value"), [("content", OTHER), ("number", 77), ("number", None), ("digest", "x"), ("from_library", True)]
)
def test_no_column_of_a_numbered_revision_changes(state, column, value):
    revision = make_revision(state=state)
    before = Revision.objects.values().get(pk=revision.pk)
    with pytest.raises(IntegrityError, match=triggers.CHANGED):
        run(f"UPDATE recipes_revision SET {column} = %s WHERE id = %s", value, revision.pk)
    assert Revision.objects.values().get(pk=revision.pk) == before


def test_a_numbered_revision_does_not_move_to_another_recipe():
    revision, other = make_revision(), make_recipe()
    with pytest.raises(IntegrityError, match=triggers.CHANGED):
        run("UPDATE recipes_revision SET recipe_id = %s WHERE id = %s", other.pk, revision.pk)


def test_an_update_of_many_rows_is_refused_when_one_of_them_is_numbered():
    make_revision(state="draft")
    make_revision()
    with pytest.raises(IntegrityError, match=triggers.CHANGED), transaction.atomic():
        Revision.objects.update(content={})
    assert not Revision.objects.filter(content={}).exists()


def test_a_withdrawn_revision_never_returns():
    revision = make_revision(state="withdrawn")
    with pytest.raises(IntegrityError, match=triggers.CHANGED):
        run("UPDATE recipes_revision SET state = 'published' WHERE id = %s", revision.pk)


@pytest.mark.parametrize(
    ("column", "value"),
    [("withdrawn_for_editing", True), ("withdrawn_reason", "A slip of the pen."), ("withdrawn_at", "2020-01-01")],
)
def test_a_withdrawal_for_safety_is_never_softened(column, value):
    revision = make_revision(state="withdrawn")
    with pytest.raises(IntegrityError, match=triggers.WITHDRAWN):
        run(f"UPDATE recipes_revision SET {column} = %s WHERE id = %s", value, revision.pk)


def test_a_withdrawal_for_editing_may_become_one_for_safety():
    revision = make_revision(state="withdrawn", withdrawn_for_editing=True)
    sql = "UPDATE recipes_revision SET withdrawn_for_editing = %s, withdrawn_reason = 'Acid.' WHERE id = %s"
    assert run(sql, False, revision.pk) == 1
    with pytest.raises(IntegrityError, match=triggers.WITHDRAWN):
        run(sql, True, revision.pk)


def test_only_what_is_withdrawn_is_an_editing_matter():
    revision = make_revision()
    with pytest.raises(IntegrityError, match="only_a_withdrawal_is_an_editing_matter"):
        run("UPDATE recipes_revision SET withdrawn_for_editing = %s WHERE id = %s", True, revision.pk)


def test_a_numbered_revision_is_not_deleted():
    revision = make_revision(state="withdrawn")
    with pytest.raises(IntegrityError, match=triggers.DELETED):
        run("DELETE FROM recipes_revision WHERE id = %s", revision.pk)
    assert Revision.objects.filter(pk=revision.pk).exists()


def test_a_draft_may_change_and_go():
    draft = make_revision(state="draft")
    assert run("UPDATE recipes_revision SET content = %s WHERE id = %s", OTHER, draft.pk) == 1
    assert run("DELETE FROM recipes_revision WHERE id = %s", draft.pk) == 1


def test_a_published_revision_may_be_withdrawn_with_a_reason_only():
    revision = make_revision()
    with pytest.raises(IntegrityError, match="withdrawn_revision_says_why"):
        run("UPDATE recipes_revision SET state = 'withdrawn' WHERE id = %s", revision.pk)
    changed = run(
        "UPDATE recipes_revision SET state = 'withdrawn', withdrawn_at = published_at, withdrawn_reason = 'No.' "
        "WHERE id = %s",
        revision.pk,
    )
    assert changed == 1


def test_the_model_says_the_same_before_the_database_does():
    revision = make_revision()
    revision.content = {**revision.content, "title": "Another"}
    with pytest.raises(NumberedRevisionKept):
        revision.save()
    with pytest.raises(NumberedRevisionKept):
        Revision.objects.get(pk=revision.pk).delete()
    assert Revision.objects.get(pk=revision.pk).content["title"] == "Test spread"


def test_a_numbered_revision_saved_unchanged_stays_as_it_is():
    revision = Revision.objects.get(pk=make_revision().pk)
    revision.save()
    assert Revision.objects.get(pk=revision.pk).content == revision.content


def test_two_revisions_of_a_recipe_cannot_have_one_number():
    revision = make_revision()
    with pytest.raises(IntegrityError), transaction.atomic():
        Revision.objects.create(
            recipe=revision.recipe, number=1, state="published", content={}, published_at=revision.published_at
        )
