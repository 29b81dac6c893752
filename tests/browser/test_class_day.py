"""A class on the day, on the instructor's phone and one without scripts: roll, stations, start, canner, afterwards."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.classes.models import ClassSession, SignUp, StationBatch
from club.core.clock import club_day
from inventory.batches.models import Batch
from tests.factories.class_day import log_out, make_dial_held
from tests.factories.classes import make_hall, make_instructor, make_session, make_signup, make_station
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision


@pytest.fixture
def saturday():
    """Today, begun an hour ago: three stations, a party of two, three people alone, and one who walks in."""
    now = timezone.now()
    teacher = make_instructor(email="teacher@example.test", name="Ilse Instructor")
    session = make_session(
        by=teacher, hall=make_hall(), title="Plums and beans", day=club_day(now), now=now - timedelta(days=9), seats=2
    )
    make_station(session, seats=2, name="By the window")
    beans = make_revision(base=VEGETABLE, title="Green beans")
    make_station(session, revision=beans, jar_size="pint", pack="hot", canner="dial-gauge", seats=2)
    make_dial_held(session, now=now - timedelta(days=3))
    begun = now - timedelta(hours=1)
    ClassSession.objects.filter(pk=session.pk).update(starts_at=begun, ends_at=begun + timedelta(hours=4))
    session.refresh_from_db()
    student = make_person(email="student@example.test", name="Stella Student")
    make_kitchen(student, name="Ridge Road 9", altitude="2000 m")
    make_kitchen(student, name="The new house", altitude="")
    make_signup(session, student)
    make_signup(session, make_person(name="Paula Pair"), places=2, companion="Peter Pair")
    make_signup(session, make_person(name="Nora Never"))
    make_person(email="wanda@example.test", name="Wanda Walker")
    return session, teacher, student


def test_a_class_runs_from_the_roll_to_the_jars_and_is_closed(visitor, chromium, saturday):
    session, teacher, student = saturday
    visitor.sign_in(teacher.email, f"/classes/{session.pk}/day/")
    page, signed_in = visitor.page, visitor.page.context.storage_state()
    bare = chromium.new_context(java_script_enabled=False, storage_state=signed_in).new_page()  # another's old phone

    def press(name: str) -> None:
        page.get_by_role("button", name=name, exact=True).click()
        page.wait_for_load_state()

    bare.goto(page.url)
    bare.get_by_role("button", name="Came, Stella Student", exact=True).click()
    bare.get_by_text("came: 1 of 1").wait_for()
    page.reload()
    press("Both came, Paula Pair")
    press("Absent, Nora Never")
    page.get_by_label("Who is it?").fill("wanda walker")
    press("Add to the roll")
    assert "Wanda Walker has a seat." in visitor.text()
    visitor.look("class-roll")
    assert list(SignUp.objects.order_by("person__name").values_list("came", flat=True)) == [0, 2, 1, 1]

    page.get_by_role("link", name="Stations", exact=True).click()
    press("Seat everybody")
    visitor.look("class-seated")
    press("Start all batches")
    assert "3 batches are started." in visitor.text()
    beans = StationBatch.objects.get(station__number=3)
    box = page.locator(f"#station-{beans.station_id}")
    box.get_by_role("button", name="Load 1: the minutes count now").click()
    box.locator(".countdown").wait_for()
    assert "to go" in box.locator(".countdown").inner_text()
    visitor.look("class-started")
    bare.goto(page.url)
    bare.get_by_role("button", name="Load 1: the minutes count now").first.click()
    bare.get_by_text("Load 1 counts since").first.wait_for()
    assert bare.locator(".countdown").first.is_hidden()
    bare.context.close()
    page.get_by_role("link", name="Jars are out: write it down").first.click()
    page.get_by_role("heading", name="What was done").wait_for()
    takers = set(Batch.objects.values_list("made_by__name", flat=True))
    assert takers == {"Stella Student", "Paula Pair", "Wanda Walker"}
    assert set(Batch.objects.values_list("started_by", flat=True)) == {teacher.pk}

    for cooking in StationBatch.objects.select_related("batch"):
        if cooking.batch.required_psi is None:
            log_out(cooking, now=timezone.now() + timedelta(minutes=25))
    visitor.go(f"/classes/{session.pk}/after/")
    page.get_by_label("What was learned").fill("Skim at the end, not all the time.")
    page.get_by_role("button", name="Close the session").click()
    page.get_by_text("1 batch is on the stove still").wait_for()
    visitor.look("class-still-cooking")
    page.get_by_label("They go on without the class").check()
    page.get_by_role("button", name="Close the session").click()
    page.get_by_text("The session is closed.").wait_for()
    visitor.look("class-after")
    visitor.sign_in(student.email, f"/classes/handouts/{SignUp.objects.get(person=student).pk}/")
    said = visitor.text()
    assert "15 minutes" in said
    assert "altitude is not known" in said
    assert "Skim at the end" in said
