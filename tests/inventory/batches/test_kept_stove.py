"""The cook's page of a batch in stages: its steps and looks one a screen, presses that act by the stages' own rules."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Press, Stage, StageCheck, StageReading
from inventory.batches.services import AlreadyDone, stove_press
from inventory.batches.stove import KeptCourse, course_of, minutes_to_count
from tests.factories.batches import APPLES, BEANS, finish, make_ferment_done, make_staged
from tests.factories.members import make_person
from tests.helpers import text_of
from tests.inventory.batches.test_stages import make_table
from tests.inventory.batches.test_stove_pages import kept, page, send

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
CLEAN = "scum=none cover=under smell=clean"
QUERIES = 24


def ago(**span):
    return timezone.now() - timedelta(**span)


def press(batch, step, kind="done", *, at, **more):
    told = {"token": uuid4(), "at": at, "now": at} | more
    return stove_press(by=batch.made_by, batch=batch, kind=kind, step=step, **told)


def keys(batch) -> list[str]:
    return [step.key for step in course_of(batch).steps]


@pytest.fixture
def kraut() -> Batch:
    """Begun 25 days ago."""
    return make_staged(began=ago(days=25))


def test_each_way_has_its_stages_steps_and_ends_with_putting_away(kraut):
    assert keys(kraut) == ["s1salt", "s1pack", "s2look", "s2ph", "s2end", "putup"]
    apples = make_staged("dry", APPLES, by=kraut.made_by, began=ago(days=1))
    assert keys(apples)[-5:] == ["s2dry", "s2end", "s3look", "s3end", "putup"]
    beans = make_staged("freeze", BEANS, by=kraut.made_by, began=ago(days=1))
    steps = {step.key: step for step in course_of(beans).steps}
    assert list(steps) == ["s1cut", "s1blanch", "s1cool", "putup"]
    assert [steps[key].timers[0].minutes for key in ("s1blanch", "s1cool")] == [3, 3]
    unblanched = make_staged("freeze", BEANS, by=kraut.made_by, began=ago(days=1), is_blanched=False)
    assert keys(unblanched) == ["putup"]


@pytest.mark.parametrize(("printed", "minutes"), [(["3", "3"], 3), (["7/2", "9/2"], 4), (["7/2", "7/2"], 4)])
def test_minutes_that_are_counted_lie_within_what_is_printed_or_above(printed, minutes):
    assert minutes_to_count(printed) == minutes


def test_kraut_is_pressed_from_its_salt_to_its_end(kraut):
    began = kraut.started_at
    press(kraut, "s1salt", at=began + HOUR)
    press(kraut, "s1pack", at=began + HOUR)
    assert [stage.kind for stage in Stage.objects.running()] == ["ferment"]
    assert course_of(kraut).here.key == "s2look"
    press(kraut, "s2look", "looked", at=began + 2 * DAY, words=CLEAN)
    assert StageCheck.objects.get().words == "no scum, under the brine, clean and sour"
    due = Stage.objects.running().get().look_due_at
    timers = {one.step.key: one.ends_at for one in course_of(kraut).running}
    assert timers["s2look"] == due
    with pytest.raises(ValidationError, match="not before"):
        press(kraut, "s2end", at=began + 3 * DAY)
    with pytest.raises(ValidationError, match="Measure its pH"):
        press(kraut, "s2end", at=began + 24 * DAY)
    assert not Press.objects.filter(step="s2end").exists()

    press(kraut, "s2ph", "ph", at=began + 24 * DAY, words="3.5")
    press(kraut, "s2look", "looked", at=timezone.now(), words=CLEAN)
    press(kraut, "s2end", at=timezone.now())

    kraut.refresh_from_db()
    assert (kraut.ph_hundredths, course_of(kraut).here.key) == (350, "putup")


def test_a_press_sent_twice_is_one_look_and_one_reading(kraut):
    at = kraut.started_at + HOUR
    finish(kraut, at=at)
    for kind, step, words in (("looked", "s2look", CLEAN), ("ph", "s2ph", "3.9")):
        token = uuid4()
        for _twice in range(2):
            press(kraut, step, kind, at=at + DAY, token=token, words=words)
    assert (StageCheck.objects.count(), StageReading.objects.count(), Press.objects.count()) == (1, 1, 2)


@pytest.mark.parametrize(
    ("step", "kind", "words"),
    [
        ("s2look", "looked", "scum=none"),
        ("s2look", "done", ""),
        ("s2ph", "ph", "sour"),
        ("s2ph", "ph", "15"),
        ("s2end", "looked", CLEAN),
        ("putup", "done", ""),
        ("s2look", "fell", ""),
        ("s9end", "done", ""),
    ],
)
def test_what_cannot_be_pressed_is_refused_and_changes_nothing(kraut, step, kind, words):
    finish(kraut, at=kraut.started_at + HOUR)
    with pytest.raises(ValidationError):
        press(kraut, step, kind, at=kraut.started_at + DAY, words=words)
    assert not Press.objects.exists()
    assert not StageCheck.objects.exists()


def test_what_its_own_page_ended_is_done_here_too(kraut):
    finish(kraut, at=kraut.started_at + HOUR)
    course = course_of(kraut)
    assert isinstance(course, KeptCourse)
    assert {"s1salt", "s1pack"} <= course.done_keys
    with pytest.raises(AlreadyDone):
        press(kraut, "s1pack", at=timezone.now())


def test_drops_bring_new_steps_of_a_second_drying(db):
    began = ago(days=3)
    batch = make_staged("dry", APPLES, began=began)
    for step in [key for key in keys(batch) if key.startswith("s1")]:
        press(batch, step, at=began + HOUR)
    press(batch, "s2dry", "began", at=began + HOUR)
    press(batch, "s2dry", at=began + 9 * HOUR)
    press(batch, "s2end", at=began + 9 * HOUR)
    press(batch, "s3look", "looked", at=began + DAY, words="moisture=drops")
    assert course_of(batch).here.key == "s4dry"


def test_the_pages_work_without_a_script_and_a_phone_is_told_the_same(sign_in, kraut, django_assert_max_num_queries):
    client = sign_in(kraut.made_by)
    finish(kraut, at=kraut.started_at + HOUR)
    with django_assert_max_num_queries(QUERIES):
        first = client.get(page(kraut))
    assert first.context["shown"].key == "s2look"
    assert reverse("batches:stove", args=[kraut.lot_code]) in client.get(kraut.get_absolute_url()).content.decode()
    assert kraut in client.get(reverse("batches:stove-list")).context["batches"]
    seen = {"kind": "looked", "token": uuid4(), "scum": "mould", "cover": "under", "smell": "bad"}
    answer = client.post(page(kraut, "stove-step", "s2look"), seen, follow=True)
    assert "throw the ferment away" in text_of(answer)

    state = send(client, kraut, kept("s2ph", "ph", words="4.9"), kept("s2end"))

    assert [one["result"] for one in state["answers"]] == ["written", "refused"]
    assert state["notice"]
    assert state["open"]
    assert {"s1salt", "s1pack"} <= set(state["done"])


def test_after_it_was_put_away_nothing_more_is_pressed(sign_in):
    batch = make_ferment_done(began=ago(days=30))
    services.keeping_put_up(
        by=batch.made_by, batch=batch, counts={"keeping-jar": 2}, grams=2000, at=ago(days=1), now=timezone.now()
    )
    state = send(sign_in(batch.made_by), batch, kept("s2look", "looked", scum="none", cover="under", smell="clean"))
    assert (state["open"], state["ended"], state["answers"][0]["result"]) == (False, "This batch was put away.", "late")


def test_a_canned_ferment_has_no_steps_of_its_stages(sign_in):
    make_table()
    batch = make_ferment_done(key="fermented-dills", by=make_person(), began=ago(days=23))
    batch = services.keeping_can(by=batch.made_by, batch=batch, pack="raw", jar="pint")
    assert batch.state == BatchState.STARTED
    assert sign_in(batch.made_by).get(page(batch)).status_code == 404
