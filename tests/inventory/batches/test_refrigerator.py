"""What is made for the refrigerator alone: no canner is offered for it, its jars have a date, and people are told."""

from __future__ import annotations

from datetime import timedelta
from fractions import Fraction
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.core.clock import at_hour, club_day
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.rules.batches import YEAR_CALL_AT
from club.reminders.services import RULES
from inventory.batches import services
from inventory.batches.choices import BatchState, Disposal, Seal
from inventory.batches.models import Batch, Jar
from inventory.batches.presentation import labels_of
from recipes.engine import PlanRequest, plan_as_dict, plan_batch
from recipes.engine.changes import check_changes
from recipes.engine.document import DocumentError, recipe_from_document, recipe_to_document
from recipes.engine.terms import Altitude, Canner
from recipes.library import SHIPPED, read_library
from tests.factories.batches import NOW, make_batch
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision, recipe_document

CHILLED = {
    "method": "refrigerator",
    "process": None,
    "process_seen": None,
    "kept_cold": {"weeks": ["3", "4"], "seen": "seen-twice"},
}
OUT = NOW + timedelta(hours=2)


def chilled_document(**fields):
    return {key: value for key, value in (recipe_document() | CHILLED | fields).items() if value is not None}


@pytest.fixture
def spread(db):
    return make_revision(base=chilled_document())


@pytest.fixture
def put_up(spread):
    person = make_person()
    batch = make_batch(revision=spread, by=person, kitchen=make_kitchen(person))
    return services.batch_log_process(by=person, batch=batch, jars={"half-pint": 5}, jars_out_at=OUT, now=OUT)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kept_cold": None}, "kept_cold"),
        ({"kept_cold": {"seen": "seen-once"}}, "kept_cold.weeks"),
        ({"kept_cold": {"weeks": "200", "seen": "seen-once"}}, "kept_cold.weeks"),
        ({"process": recipe_document()["process"], "process_seen": "seen-once"}, "process"),
        ({"method": "freezer"}, "kept_cold"),
    ],
)
def test_a_recipe_for_the_refrigerator_has_weeks_and_no_process(change, field):
    with pytest.raises(DocumentError) as refused:
        recipe_from_document(chilled_document(**change))
    assert field in {problem.field for problem in refused.value.problems}


def test_its_document_reads_back_and_weeks_from_memory_are_not_tested():
    recipe = recipe_from_document(chilled_document())
    assert recipe_from_document(recipe_to_document(recipe)) == recipe
    assert recipe.is_tested
    unread = recipe_from_document(chilled_document(kept_cold={"weeks": "4", "seen": "memory"}))
    assert not unread.is_tested


def test_no_canner_and_no_shelf_is_ever_offered_for_those_of_the_library():
    chilled = [one.recipe for one in read_library([SHIPPED]).recipes if one.recipe.method == "refrigerator"]
    assert len(chilled) >= 3
    for recipe in chilled:
        for canner in (None, *Canner):
            asked = PlanRequest(altitude=Altitude(Fraction(300)), pots=1, canner=canner)
            said = plan_as_dict(plan_batch(recipe, asked))
            assert (said["process"], said["loads"], said["low_temperature"]) == (None, [], None)
            assert not any(step["canner"] for step in said["timeline"])
            assert said["refrigerator"]["weeks"] == [4, 4]
            assert {one["code"] for one in said["cautions"]} >= {"refrigerator-only"}
        for wish in ("process it in boiling water", "keep it in the pantry", "pressure can it"):
            assert check_changes(recipe, wish).verdict == "refused", wish


def test_its_jars_go_into_the_refrigerator_with_their_last_day(put_up):
    assert put_up.state == BatchState.CHILLED
    assert put_up.best_by == club_day(OUT) + timedelta(weeks=3)
    jars = set(Jar.objects.values_list("seal", "disposal"))
    assert jars == {(Seal.NONE.value, Disposal.REFRIGERATE.value)}
    label = labels_of(put_up)[0]
    assert (label.best_before, label.keep) == (put_up.best_by, "Keep in the refrigerator")


def test_a_process_is_not_written_into_its_log(spread):
    person = make_person()
    batch = make_batch(revision=spread, by=person, kitchen=make_kitchen(person))
    with pytest.raises(ValidationError) as refused:
        services.batch_log_process(by=person, batch=batch, jars={"half-pint": 5}, jars_out_at=OUT, minutes=10, now=OUT)
    assert list(refused.value.message_dict) == ["minutes"]
    for columns in ({"best_by": None}, {"required_minutes": 10}):
        done = {"state": BatchState.CHILLED, "jars_out_at": OUT, "best_by": club_day(OUT)} | columns
        with pytest.raises(IntegrityError), transaction.atomic():
            Batch.objects.filter(pk=batch.pk).update(**done)


def test_who_has_full_jars_is_told_two_days_before(put_up):
    call = at_hour(put_up.best_by - timedelta(days=2), YEAR_CALL_AT)
    outbox.gather(call - timedelta(seconds=1))
    assert not Reminder.objects.filter(rule="refrigerator-use-by").exists()
    outbox.gather(call)
    reminder = Reminder.objects.get(rule="refrigerator-use-by")
    assert reminder.person == put_up.made_by
    message = RULES["refrigerator-use-by"].message(reminder, call)
    assert put_up.lot_code in message.subject
    assert f"{put_up.best_by:%B %Y}" in message.text
    for jar in put_up.jars.select_related("batch", "place"):
        services.jar_used(by=put_up.made_by, jar=jar, what="emptied", token=uuid4())
    assert not RULES["refrigerator-use-by"].still_due(reminder, call)


def test_an_opened_jar_is_told_once_and_no_longer_counts(put_up, sign_in):
    jar = put_up.jars.select_related("batch", "place").first()
    page = sign_in(put_up.made_by).get(reverse("batches:jar", args=[put_up.lot_code, jar.number]))
    assert page.context["count"] == 5
    services.jar_used(by=put_up.made_by, jar=jar, what="emptied", token=page.context["token"])
    page = sign_in(put_up.made_by).get(reverse("batches:jar", args=[put_up.lot_code, jar.number]))
    assert page.context["count"] == 4


def test_its_pages_speak_of_the_refrigerator(put_up, spread, sign_in):
    client = sign_in(put_up.made_by)
    asked = {"pots": "1", "kitchen": put_up.kitchen_id}
    pages = (
        client.get(f"/recipes/{spread.recipe.slug}/"),
        client.get(f"/recipes/{spread.recipe.slug}/plan/", asked),
        client.get(f"{reverse('batches:start')}?revision={spread.pk}&kitchen={put_up.kitchen_id}&pots=1"),
    )
    for page in pages:
        assert "Kept in the refrigerator, for 3 to 4 weeks." in page.content.decode()
    page = client.get(put_up.get_absolute_url()).content.decode()
    assert "The jars are in the refrigerator; use them by" in page


def test_the_command_prints_where_it_is_kept(capsys, db):
    call_command("load_library", SHIPPED / "refrigerator.toml", verbosity=0)
    call_command("plan_batch", "refrigerated-apple-spread", jars="4", altitude="300 m")
    assert "Kept in the refrigerator, for 4 weeks." in capsys.readouterr().out
