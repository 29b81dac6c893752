"""A class on the day, on the instructor's phone: the roll, the stations, the start, the canner, and afterwards."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.classes.models import ClassSession, SignUp, StationBatch
from club.classes.services import day as services_day
from club.core.clock import club_day
from inventory.batches.models import Batch
from tests.factories.class_day import log_out, make_dial_held
from tests.factories.classes import make_hall, make_instructor, make_session, make_signup, make_station
from tests.factories.members import PASSWORD, make_kitchen, make_person
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


def test_a_class_runs_on_a_phone_from_the_roll_to_the_jars(visitor, saturday):
    session, teacher, student = saturday
    visitor.sign_in(teacher.email, PASSWORD)
    page = visitor.page
    visitor.go(f"/classes/{session.pk}/day/")
    visitor.look("class-roll-before")

    def press(name: str) -> None:
        page.get_by_role("button", name=name, exact=True).click()
        page.wait_for_load_state()

    press("Came, Stella Student")
    press("Both came, Paula Pair")
    press("Absent, Nora Never")
    page.get_by_label("Who is it?").fill("wanda walker")
    press("Take her in")
    assert "Wanda Walker has a seat." in page.locator("main").inner_text()
    visitor.look("class-roll")
    assert list(SignUp.objects.order_by("person__name").values_list("came", flat=True)) == [0, 2, 1, 1]

    page.get_by_role("link", name="Stations", exact=True).click()
    visitor.look("class-stations-before")
    press("Seat everybody")
    visitor.look("class-seated")
    press("Start all batches")
    assert "3 batches are started." in page.locator("main").inner_text()
    beans = StationBatch.objects.get(station__number=3)
    box = page.locator(f"#station-{beans.station_id}")
    box.get_by_role("button", name="Load 1: the minutes count now").click()
    box.locator(".countdown").wait_for()
    assert "to go" in box.locator(".countdown").inner_text()
    visitor.look("class-started")
    page.get_by_role("link", name="Jars are out: write it down").first.click()
    page.get_by_role("heading", name="What was done").wait_for()
    visitor.scan()
    takers = set(Batch.objects.values_list("made_by__name", flat=True))
    assert takers == {"Stella Student", "Paula Pair", "Wanda Walker"}
    assert set(Batch.objects.values_list("started_by", flat=True)) == {teacher.pk}


def test_afterwards_the_session_is_closed_and_she_reads_her_handout(visitor, saturday):
    session, teacher, student = saturday
    signup = SignUp.objects.get(person=student)
    for one in session.signups.all():
        services_day.roll_call(by=teacher, signup=one, came=one.places)
    services_day.everybody_sit(by=teacher, session=session)
    started = services_day.stations_start(by=teacher, session=session).new
    later = timezone.now() + timedelta(minutes=25)
    for cooking in started:
        if cooking.batch.required_psi is None:
            log_out(cooking, now=later)
    visitor.sign_in(teacher.email, PASSWORD)
    page = visitor.page
    visitor.go(f"/classes/{session.pk}/day/stations/")
    visitor.look("class-out")
    visitor.go(f"/classes/{session.pk}/after/")
    visitor.look("class-after-before")
    page.get_by_label("What was learned").fill("Skim at the end, not all the time.")
    page.get_by_role("button", name="Close the session").click()
    page.get_by_text("The session is closed.").wait_for()
    visitor.look("class-after")
    page.context.clear_cookies()
    visitor.sign_in(student.email, PASSWORD)
    visitor.go(f"/classes/handouts/{signup.pk}/")
    told = page.locator("main").inner_text()
    assert "15 minutes" in told
    assert "altitude is not known" in told
    assert "Skim at the end" in told
    visitor.look("class-handout")


def test_the_day_s_pages_work_without_scripts(chromium, live_server, saturday):
    session, teacher, _student = saturday
    context = chromium.new_context(java_script_enabled=False, viewport={"width": 390, "height": 800})
    page = context.new_page()
    page.goto(live_server.url + "/accounts/login/")
    page.get_by_label("Email").fill(teacher.email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.goto(f"{live_server.url}/classes/{session.pk}/day/")
    page.get_by_role("button", name="Came, Stella Student", exact=True).click()
    page.get_by_text("came: 1 of 1").wait_for()
    page.goto(f"{live_server.url}/classes/{session.pk}/day/stations/")
    page.get_by_role("button", name="Seat everybody").click()
    page.get_by_role("button", name="Start all batches").click()
    page.get_by_role("button", name="Load 1: the minutes count now").first.click()
    page.get_by_text("Load 1 counts since").wait_for()
    assert page.locator(".countdown").is_hidden()
    context.close()
