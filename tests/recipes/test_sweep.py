"""What is published already, judged anew: what the acid list refuses now is held back from new plans, and says so."""

from __future__ import annotations

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.db import IntegrityError, transaction

from recipes.library import SHIPPED
from recipes.models import ClassedFood, Recipe, Revision
from recipes.services import food_classify, library_load, plan_for, published_sweep, revision_withdraw
from recipes.tasks import sweep_published
from tests.factories.batches import make_batch, make_batch_checked
from tests.factories.members import make_organiser
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db


def line(item, role="fruit", amount="4", unit="cup", prep=""):
    return {"item": item, "role": role, "amount": amount, "unit": unit, **({"prep": prep} if prep else {})}


def published(*lines, **changes):
    """A published revision as it would lie in a database from before the acid list."""
    lines = [*lines, line("sugar", "sugar", "3")]
    return make_revision(ingredients=lines, endpoint_f_above_boiling=None, produce=[lines[0]["item"]], **changes)


@pytest.fixture
def bananas():
    return published(line("bananas"))


def test_what_is_refused_now_is_held_back_with_the_reason_and_named_first(bananas):
    waits = published(line("kokum"))  # a word that nobody classed
    sound = make_revision()
    found = published_sweep()
    assert [(one.revision, one.is_held_back) for one in found] == [(bananas, True), (waits, True)]
    for revision, is_held_back, is_never in ((bananas, True, True), (waits, True, False), (sound, False, False)):
        revision = Revision.objects.get(pk=revision.pk)
        codes = [one.code for one in plan_for(revision=revision, altitude=None, pots=1).refusals]
        assert ("held-back" in codes, "NEVER-CANNED" in revision.refused_why) == (is_held_back, is_never)


def test_a_word_that_a_reviewer_classes_frees_what_waited_for_it(instructor):
    waits = published(line("kokum"))
    published_sweep()
    waits.refresh_from_db()
    assert "kokum" in waits.refused_why
    assert "An instructor starts a draft from it" in waits.refused_why
    with pytest.raises(Exception, match="until an instructor has looked into it"):
        make_batch(revision=waits)
    told = {"words": "kokum", "kind": "fruit", "ph": "3.4", "source": "A leaflet, page 2"}
    food_classify(by=instructor, revision=waits, **told)
    waits.refresh_from_db()
    assert waits.refused_why == ""
    assert make_batch(revision=waits).revision == waits


def test_no_batch_is_started_from_it_and_no_process_time_is_shown(bananas):
    published_sweep()
    revision = Revision.objects.get(pk=bananas.pk)
    with pytest.raises(Exception, match="until an instructor has looked into it"):
        make_batch(revision=revision)
    plan = plan_for(revision=revision, altitude=None, pots=1)
    assert (plan.process, plan.loads) == (None, ())


def test_its_page_and_the_reviewers_list_say_so(client, bananas, instructor, member):
    published_sweep()
    url = f"/recipes/{bananas.recipe.slug}/"
    for person in (member, instructor):
        client.force_login(person)
        page = client.get(url).content.decode()
        assert "Held back: nothing new is made from this" in page
        assert "NEVER-CANNED" in page
    assert "NEVER-CANNED" in client.get("/recipes/drafts/").content.decode()


def test_the_sweep_twice_writes_nothing_more_and_takes_back_what_holds_no_longer(bananas, instructor):
    published_sweep()
    before = Revision.objects.values().get(pk=bananas.pk)
    published_sweep()
    assert Revision.objects.values().get(pk=bananas.pk) == before
    Revision.objects.filter(pk=bananas.pk).update(refused_why="An earlier list refused this for another reason.")
    sound = make_revision()
    Revision.objects.filter(pk=sound.pk).update(refused_why="An earlier list did not know this food.")
    published_sweep()
    assert "NEVER-CANNED" in Revision.objects.get(pk=bananas.pk).refused_why
    assert Revision.objects.get(pk=sound.pk).refused_why == ""
    assert not ClassedFood.objects.exists()


def test_the_job_sweeps_once_an_hour_however_often_it_is_called(bananas):
    cache.clear()
    sweep_published()
    assert "NEVER-CANNED" in Revision.objects.get(pk=bananas.pk).refused_why
    later = published(line("watermelon"))
    sweep_published()
    assert Revision.objects.get(pk=later.pk).refused_why == ""
    cache.clear()
    sweep_published()
    assert "NEVER-CANNED" in Revision.objects.get(pk=later.pk).refused_why


def test_a_withdrawn_one_is_swept_no_more_and_its_jars_are_called_back_by_that_alone(bananas):
    batch = make_batch_checked(revision=bananas)
    published_sweep()
    assert batch.jars.to_give().count() == 4  # the sweep calls nothing back: a person decides that
    revision_withdraw(by=make_organiser(), revision=bananas, reason="Bananas.")
    assert published_sweep() == []
    assert batch.jars.to_give().count() == 0


def test_the_command_lists_them_with_their_jars_and_fails(bananas, capsys):
    make_batch_checked(revision=bananas)
    with pytest.raises(SystemExit) as ended:
        call_command("sweep_recipes")
    assert ended.value.code == 3
    told = capsys.readouterr().out
    assert "held back from new plans. Jars: 4 jars in 1 household." in told
    assert "NEVER-CANNED" in told
    revision_withdraw(by=make_organiser(), revision=bananas, reason="Bananas.")
    call_command("sweep_recipes")
    assert "0 held back from new plans, 0 to look at." in capsys.readouterr().out


def test_nothing_of_the_published_library_is_refused():
    assert not library_load(paths=[SHIPPED]).problems
    assert [one.revision.recipe.slug for one in published_sweep()] == []
    assert Recipe.objects.published().exists()


def test_only_what_is_numbered_can_be_refused_later():
    draft = make_revision(state="draft")
    with pytest.raises(IntegrityError, match="only_what_is_published_is_refused_later"), transaction.atomic():
        Revision.objects.filter(pk=draft.pk).update(refused_why="x")


def test_the_sweep_asks_as_often_for_thirty_as_for_one(django_assert_max_num_queries):
    for count in (1, 30):
        while Revision.objects.count() < count:
            make_revision()
        with django_assert_max_num_queries(8):
            published_sweep()


def test_author_and_reviewer_read_the_acid_of_each_line_and_a_member_does_not(client, instructor, member):
    tomatoes = [line("tomatoes", amount="21", unit="lb"), line("lemon juice", "acid", "14", "tbsp", "bottled")]
    stated = {"jar": "quart", "low": "7", "high": "7", "seen": "seen-twice"}
    revision = published(*tomatoes, stated_yield=stated)
    client.force_login(instructor)
    page = client.get(f"/recipes/{revision.recipe.slug}/")
    acid = page.context["acid"]
    assert [(row.item, row.ph, row.acid) for row in acid.lines] == [
        ("tomatoes", "4.3–4.9", ""),
        ("lemon juice", "2–2.6", "28 tbsp (414 ml)"),
        ("sugar", "", ""),
    ]
    assert (acid.asked, acid.given, acid.is_short) == ("28 tbsp (415 ml)", "28 tbsp (414 ml)", False)
    assert "Asked for, as 5 percent vinegar" in page.content.decode()
    client.force_login(member)
    assert "Acid, line by line" not in client.get(f"/recipes/{revision.recipe.slug}/").content.decode()


def test_too_little_acid_is_said_beside_the_figures(client, instructor):
    tomatoes = [line("tomatoes", amount="21", unit="lb"), line("lemon juice", "acid", "13", "tbsp", "bottled")]
    stated = {"jar": "quart", "low": "7", "high": "7", "seen": "seen-twice"}
    revision = published(*tomatoes, stated_yield=stated)
    client.force_login(instructor)
    assert client.get(f"/recipes/{revision.recipe.slug}/").context["acid"].is_short
