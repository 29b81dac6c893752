"""The session is closed once, with a whole roll; notes and pictures are kept for those whose they are."""

from __future__ import annotations

import io
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse
from PIL import Image

from club.classes.choices import SessionState
from club.classes.models import NOTE_LENGTH, OwnNote, SessionPhoto, SessionReport, SignUp
from club.classes.services import day as services_day
from club.members.choices import Skill
from club.members.models import SkillRecord
from tests.factories.batches import make_batch
from tests.factories.class_day import MORNING, NOON, make_called, make_cooking, make_held, runner_of
from tests.factories.classes import make_instructor, make_session, make_signup
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def close(session, **changes):
    return services_day.session_close(**{"by": runner_of(session), "session": session, "now": NOON, **changes})


def picture(size=(40, 30)) -> io.BytesIO:
    written = io.BytesIO()
    Image.new("RGB", size, "purple").save(written, "PNG")
    written.seek(0)
    return written


def add_photo(session, **changes) -> SessionPhoto:
    told = {"by": runner_of(session), "file": picture(), "caption": "The first jars", "shown_agreed": True}
    told |= {"token": uuid4(), "now": NOON}
    return services_day.photo_add(session=session, **{**told, **changes})


def test_a_session_is_held_once_with_what_was_learned():
    session = make_session()
    make_called(session)
    held = close(session, learned=" Skim at the end. ")
    assert (held.state, held.held_at) == (SessionState.HELD, NOON)
    assert SessionReport.objects.get().learned == "Skim at the end."
    with pytest.raises(ValidationError, match="closed already"):
        close(session)
    assert SessionReport.objects.count() == 1


def test_closing_waits_for_stations_the_hall_and_what_who_came_has_on_the_stove_at_home():
    cooking = make_cooking()
    session = cooking.station.session
    [signup] = SignUp.objects.filter(session=session)
    early = NOON - timedelta(hours=7)  # before the class opened
    at_home = make_batch(by=signup.person, started_at=early)
    elsewhere = make_batch(started_at=early)
    with pytest.raises(ValidationError, match="2 batches are on the stove") as caught:
        close(session)
    assert "still_cooking" in caught.value.message_dict
    assert [batch.pk for batch in services_day.still_cooking(session)] == [at_home.pk, cooking.batch_id]
    with pytest.raises(ValidationError):  # agreed to before the other one was there
        close(session, agreed_to=at_home.lot_code)
    assert elsewhere.lot_code not in services_day.codes_of(services_day.still_cooking(session))
    held = close(session, agreed_to=services_day.codes_of(services_day.still_cooking(session)))
    assert held.state == SessionState.HELD


def test_the_page_lists_what_is_on_the_stove_and_asks(sign_in):
    cooking = make_cooking()
    session = cooking.station.session
    client, address = sign_in(runner_of(session)), reverse("classes:after", args=[session.pk])
    with time_machine.travel(NOON, tick=False):
        page = client.get(address)
        assert cooking.batch.lot_code in page.content.decode()
        client.post(address, {"learned": ""})
        assert not SessionReport.objects.exists()
        client.post(address, {"learned": "", "still_cooking": "on", "cooking": cooking.batch.lot_code})
        assert SessionReport.objects.exists()


def test_nobody_is_left_uncalled():
    session = make_session()
    make_called(session, came=0)
    uncalled = make_signup(session)
    with pytest.raises(ValidationError, match="1 sign-up is not called yet"):
        close(session)
    assert not SessionReport.objects.exists()
    uncalled.came = 0
    uncalled.save()
    assert close(session).state == SessionState.HELD


def test_a_session_is_not_closed_before_it_began():
    session = make_session()
    with pytest.raises(ValidationError, match="not begun"):
        close(session, now=MORNING - timedelta(minutes=1))
    assert close(session, now=MORNING).held_at == MORNING


def test_who_does_not_run_the_session_closes_nothing():
    session = make_session()
    with pytest.raises(PermissionDenied):
        close(session, by=make_instructor())
    assert close(session).state == SessionState.HELD


def test_what_was_learned_is_written_anew_after_closing_only():
    session = make_session()
    told = {"by": runner_of(session), "session": session, "now": NOON}
    with pytest.raises(ValidationError, match="Close the session"):
        services_day.learned_change(**told, learned="Stir.")
    close(session)
    services_day.learned_change(**told, learned="Stir more.")
    assert SessionReport.objects.get().learned == "Stir more."
    with pytest.raises(ValidationError, match="characters"):
        services_day.learned_change(**told, learned="x" * (NOTE_LENGTH + 1))


def test_a_student_s_note_is_hers_to_write_and_to_take_away():
    session = make_session()
    signup = make_called(session)
    services_day.own_note_write(by=signup.person, signup=signup, text="Less sugar next time?", now=NOON)
    assert OwnNote.objects.get().text == "Less sugar next time?"
    for stranger in (runner_of(session), make_person()):
        with pytest.raises(PermissionDenied):
            services_day.own_note_write(by=stranger, signup=signup, text="Mine.")
    services_day.own_note_write(by=signup.person, signup=signup, text="  ")
    assert not OwnNote.objects.exists()


def test_who_did_not_come_has_nothing_to_note():
    signup = make_called(make_session(), came=0)
    with pytest.raises(PermissionDenied):
        services_day.own_note_write(by=signup.person, signup=signup, text="I was ill.")


def test_a_picture_is_written_anew_as_a_jpeg_and_pressed_twice_kept_once():
    session, token = make_session(), uuid4()
    photo = add_photo(session, token=token)
    assert add_photo(session, token=token) == photo
    with Image.open(io.BytesIO(photo.jpeg)) as kept:
        assert (kept.format, kept.size) == ("JPEG", (40, 30))


@pytest.mark.parametrize("wrong", [{"caption": " "}, {"caption": "x" * 121}, {"file": io.BytesIO(b"GIF89a, or so")}])
def test_what_is_no_picture_or_says_nothing_is_refused(wrong):
    session = make_session()
    with pytest.raises(ValidationError):
        add_photo(session, **wrong)
    assert not SessionPhoto.objects.exists()


def test_a_session_keeps_a_dozen_pictures(monkeypatch):
    monkeypatch.setattr(services_day, "MOST_PHOTOS", 2)
    session = make_session()
    add_photo(session)
    second = add_photo(session)
    with pytest.raises(ValidationError, match="remove one first"):
        add_photo(session)
    services_day.photo_remove(by=runner_of(session), photo=second)
    assert add_photo(session)


def test_pictures_are_added_and_removed_by_who_runs_the_session():
    session = make_session()
    photo = add_photo(session)
    with pytest.raises(PermissionDenied):
        add_photo(session, by=make_instructor())
    with pytest.raises(PermissionDenied):
        services_day.photo_remove(by=make_person(), photo=photo)
    assert SessionPhoto.objects.get() == photo


def test_a_session_whose_batches_are_still_on_the_stove_is_closed_all_the_same():
    cooking = make_cooking()
    assert make_held(cooking).state == SessionState.HELD
    cooking.batch.refresh_from_db()
    assert cooking.batch.state == "started"


def test_who_teaches_a_class_does_not_walk_into_it_as_a_student():
    teacher = make_instructor()
    session = make_session(by=teacher, skill=Skill.PRESSURE)
    with pytest.raises(ValidationError, match="teaches this session"):
        services_day.walk_in_take(by=teacher, session=session, person=teacher, token=uuid4(), now=MORNING)
    student = make_called(session).person
    close(session, by=teacher)
    assert list(SkillRecord.objects.values_list("person", flat=True)) == [student.pk]


def test_nobody_notes_a_skill_for_herself_by_closing_a_class_that_she_came_to():
    """She planned it and came; who teaches it says so, and where nobody else may, it is not said."""
    planner, teacher = make_instructor(), make_instructor()
    session = make_session(by=planner, skill=Skill.PRESSURE)
    session.instructors.set([teacher])
    make_called(session, person=planner)
    close(session, by=planner)
    assert list(SkillRecord.objects.values_list("person", "noted_by")) == [(planner.pk, teacher.pk)]

    alone = make_session(by=planner, skill=Skill.PRESSURE)
    make_called(alone, person=planner)  # signed up while somebody else was to teach it
    SkillRecord.objects.all().delete()
    close(alone, by=planner)
    assert not SkillRecord.objects.exists()


def test_a_form_that_added_a_picture_to_another_session_adds_none_here():
    token = uuid4()
    add_photo(make_session(), token=token)
    with pytest.raises(ValidationError, match="used for something else"):
        add_photo(make_session(), token=token)
    assert SessionPhoto.objects.count() == 1
