"""What is pressed at the stove: each press once, by the rules, and a log filled from them."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, connection, transaction

from inventory.batches import services
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, Press
from inventory.batches.presentation import log_filled
from inventory.batches.services import AlreadyDone, moment_pressed, stove_press
from inventory.batches.stove import Part, course_of, minutes_in, split_steps
from recipes.engine.terms import RecipeStep
from tests.factories.batches import NOW, make_batch, make_pressure_batch, without_lots
from tests.factories.members import make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def press(batch, kind, step, at=NOW, *, by=None, now=None, token=None, **more):
    return stove_press(
        by=by or batch.made_by, batch=batch, token=token or uuid4(), kind=kind, step=step, at=at, now=now or at, **more
    )


def test_a_recipe_s_steps_at_the_canner_go_to_the_canner_s_screens_and_none_is_lost():
    before = ["Wash the jars.", "Fill them, leaving 1/4 inch of headspace.", "Wipe the rims."]
    canner = [
        "Stand the jars in the canner, and process them.",
        "Turn off the heat, and let them stand five minutes before lifting them out.",
        "Lift the jars out.",
        "Leave them undisturbed for 12 to 24 hours.",
    ]
    found, screens = split_steps([RecipeStep(text) for text in [*before, *canner]])
    assert [str(step) for step in found] == before
    assert screens == {
        part: [text] for part, text in zip((Part.HEAT, Part.REST, Part.OUT, Part.COOL), canner, strict=True)
    }
    early = [RecipeStep("Heat the canner."), RecipeStep("Fill the jars.")]
    assert split_steps(early) == (early, {})
    assert minutes_in("Boil hard for 1 minute; let it stand 12 to 24 hours, five minutes more; 1/2 minute.") == [
        1,
        1440,
        5,
    ]


def test_each_step_shows_this_pot_s_amounts_and_the_frozen_plan_s_process():
    batch = make_pressure_batch()
    steps = {step.part: step for step in course_of(batch, "metric").steps}
    figures = {figure.label: figure.value for figure in steps[Part.PROCESS].figures}
    assert figures["Process"] == f"{batch.required_minutes} minutes"
    assert figures["The gauge must show"].startswith(f"{batch.setting_psi} psi")
    assert [timer.minutes for timer in steps[Part.PROCESS].timers] == [batch.required_minutes] == [20]
    assert [timer.minutes for timer in steps[Part.VENT].timers] == [10]
    first = course_of(batch, "us").steps[0]
    assert first.timers[0].minutes == 5
    assert [(figure.label, figure.value) for figure in first.figures] == [("beans", "9 lb")]


def test_a_press_sent_twice_is_one_row_and_none_is_ever_changed():
    batch = make_batch()
    token = uuid4()
    first = press(batch, "done", "p1s1", token=token)
    assert press(batch, "done", "p1s1", NOW + MINUTE, token=token) == first
    assert press(batch, "done", "p1s1", NOW + MINUTE) == first  # by another button: gone on already
    with pytest.raises(ValidationError):
        press(batch, "done", "p1s2", token=token)
    assert Press.objects.count() == 1
    with pytest.raises(IntegrityError), transaction.atomic():
        Press.objects.create(
            batch=batch, token=uuid4(), kind="done", step="p1s1", at=NOW, received_at=NOW, by=batch.made_by
        )
    press_of_the_canner = {"kind": "began", "step": "l1process", "token": uuid4(), "by": batch.made_by}
    Press.objects.create(batch=batch, at=NOW, received_at=NOW, **press_of_the_canner)
    for statement in ("UPDATE batches_press SET step = 'x'", "DELETE FROM batches_press"):
        with pytest.raises(Exception, match="never changed"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


def test_only_who_works_at_the_stove_presses():
    batch = make_batch()
    with pytest.raises(PermissionDenied):
        press(batch, "done", "p1s1", by=make_person())


def test_jars_out_before_the_time_are_refused_and_a_count_begun_stands():
    batch = make_batch()
    with pytest.raises(ValidationError, match="Nobody pressed"):
        press(batch, "done", "l1out")
    began = press(batch, "began", "l1process")
    with pytest.raises(AlreadyDone, match="counts since"):
        press(batch, "began", "l1process", NOW + 3 * MINUTE)
    for step in ("l1process", "l1out"):
        with pytest.raises(ValidationError, match="1 minute of 10"):
            press(batch, "done", step, NOW + 10 * MINUTE - timedelta(seconds=1))
    assert course_of(batch).began("l1process") == began
    press(batch, "taken-back", "l1process", NOW + MINUTE, takes_back=began.token)
    press(batch, "began", "l1process", NOW + 2 * MINUTE)
    with pytest.raises(ValidationError, match="2 minutes of 10"):
        press(batch, "done", "l1process", NOW + 10 * MINUTE)
    press(batch, "done", "l1out", NOW + 12 * MINUTE)  # with the heat off at the same moment
    assert [one.minutes for one in course_of(batch).held] == [10]


def test_lost_pressure_begins_the_whole_time_anew_and_nobody_takes_that_back():
    batch = make_pressure_batch()
    press(batch, "began", "l1process")
    press(batch, "gauge", "l1process", NOW + 5 * MINUTE, psi=Decimal("12.4"))
    low = press(batch, "gauge", "l1process", NOW + 10 * MINUTE, psi=Decimal("11.96"))
    assert low.psi == Decimal("11.9")  # never up
    course = course_of(batch)
    assert course.here.is_process
    assert course.running == []
    with pytest.raises(ValidationError, match="stays written"):
        press(batch, "taken-back", "l1process", NOW + 11 * MINUTE, takes_back=course.fell("l1process").token)
    with pytest.raises(ValidationError, match="counted anew"):
        press(batch, "done", "l1process", NOW + 25 * MINUTE)
    press(batch, "began", "l1process", NOW + 15 * MINUTE)
    press(batch, "done", "l1process", NOW + 35 * MINUTE)
    press(batch, "done", "l1out", NOW + 80 * MINUTE)
    filled = log_filled(course_of(batch))
    assert (filled["minutes"], filled["psi"]) == (20, batch.setting_psi)
    assert "counted anew" in str(filled["note"])


def test_a_heat_lost_for_two_hours_is_not_counted_anew():
    batch = make_pressure_batch()
    press(batch, "began", "l1process")
    press(batch, "fell", "l1process", NOW + MINUTE)
    with pytest.raises(ValidationError, match="suspect"):
        press(batch, "began", "l1process", NOW + 121 * MINUTE)


def test_a_break_that_another_phone_kept_opens_a_process_that_was_taken_for_complete():
    batch = make_pressure_batch()
    press(batch, "began", "l1process")
    press(batch, "done", "l1process", NOW + 20 * MINUTE)
    press(batch, "done", "l1out", NOW + 60 * MINUTE)
    later = NOW + 70 * MINUTE
    with pytest.raises(AlreadyDone, match="before that"):
        press(batch, "fell", "l1process", NOW + 21 * MINUTE, now=later)
    press(batch, "fell", "l1process", NOW + 9 * MINUTE, now=later)
    course = course_of(batch)
    assert course.here.key == "l1process"
    assert course.held == []
    assert not course.is_all_out
    assert "minutes" not in log_filled(course)


def test_jars_by_one_press_each_fill_the_log_which_is_signed_once_and_refused_as_ever():
    batch = make_batch(pots=2, revision=make_revision())
    planned = course_of(batch).jars["half-pint"]
    size = {"size": "half-pint"}
    for kind in ("short", "short", "more", "fridge", "broke"):
        press(batch, kind, "p1s1", **size)
    slip = press(batch, "short", "p1s1", **size)
    press(batch, "taken-back", "p1s1", takes_back=slip.token)
    press(batch, "lids", "p1s2", words=" LID  7 ")
    with pytest.raises(ValidationError):
        press(batch, "more", "p1s1", size="quart")
    at = NOW
    for step in course_of(batch).steps:
        if step.is_process:
            press(batch, "began", step.key, at)
            at += 10 * MINUTE
        if step.part != Part.COOL:
            press(batch, "done", step.key, at)
    filled = log_filled(course_of(batch))
    assert filled["jars_half-pint"] == planned - 1
    assert filled["lid_code"] == "LID 7"
    assert filled["jars_out_at"] == at
    assert (filled["process_started_at"], filled["minutes"]) == (NOW, 10)
    assert "refrigerator" in filled["note"]
    assert "Broke" in filled["note"]
    given = {"lots": without_lots(batch), "lid_code": "LID 7", "note": filled["note"], "now": at}
    jars = {"half-pint": filled["jars_half-pint"]}
    times = {name: filled[name] for name in ("process_started_at", "jars_out_at")}
    with pytest.raises(ValidationError):
        services.batch_log_process(by=batch.made_by, batch=batch, jars=jars, minutes=9, **times, **given)
    services.batch_log_process(by=batch.made_by, batch=batch, jars=jars, minutes=filled["minutes"], **times, **given)
    assert Batch.objects.get(pk=batch.pk).state == BatchState.OUT
    with pytest.raises(AlreadyDone, match="signed meanwhile"):
        press(batch, "fell", "l1process", at)


def test_what_a_phone_kept_is_timed_by_the_server_s_clock_and_of_two_the_stricter():
    ago, hours = 5 * MINUTE, timedelta(hours=3)
    assert moment_pressed(kind="began", now=NOW) == (NOW, False)
    assert moment_pressed(kind="began", now=NOW, ago=ago, by_offset=NOW - ago) == (NOW - ago, False)
    moved = {"now": NOW, "ago": ago + hours, "by_offset": NOW - ago}  # the phone's clock was put on by three hours
    assert moment_pressed(kind="began", **moved) == (NOW - ago, True)
    assert moment_pressed(kind="done", **moved) == (NOW - ago - hours, True)
    assert moment_pressed(kind="began", now=NOW, ago=-hours, by_offset=NOW + hours) == (NOW, False)
    batch = make_batch()
    assert press(batch, "began", "l1process", NOW - hours, now=NOW).at == batch.started_at
