"""A note on health or access is read by who taught the session when it was written, and by nobody who came later
before its writer was told and sent it again.
"""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module

import pytest
from django.apps import apps
from django.apps.registry import Apps
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import reverse
from django.utils import timezone

from club.classes.models import ClassSession, SignUp, needs_of
from club.classes.services import seats
from club.classes.services.sessions import session_change
from club.core.sealing import Unreadable
from club.members.choices import EventKind
from club.members.models import PersonEvent, User
from club.reminders.models import Reminder
from club.reminders.outbox import gather
from club.reminders.services import RULES, with_titles
from club.run.backup import columns_of, lines_of
from club.run.restore import _row
from tests.factories.classes import make_instructor, make_session, make_signup
from tests.factories.members import make_organiser, make_person
from tests.helpers import NOTE_KEY, signed_in, text_of

pytestmark = pytest.mark.django_db

SECRET = "Hazelnuts close my throat"
HIDDEN = "before you were one"
RULE = RULES["class-note"]


def next_week(by: User) -> ClassSession:
    now = timezone.now()
    return make_session(by=by, now=now - timedelta(days=1), day=(now + timedelta(days=9)).date())


@pytest.fixture
def teacher():
    return make_instructor(name="Ilse Instructor")


@pytest.fixture
def late():
    return make_instructor(name="Lara Late")


@pytest.fixture
def session(teacher):
    return next_week(teacher)


@pytest.fixture
def signup(session):
    return seats.signup_place(by=make_person(name="Petra Plum"), session=session, needs=SECRET)


def page_of(session: ClassSession, person: User) -> str:
    return text_of(signed_in(person).get(reverse("classes:session", args=[session.pk])))


def notes_url(signup: SignUp) -> str:
    return reverse("classes:notes", args=[signup.pk])


def come(session: ClassSession, *teachers: User, by: User) -> None:
    session_change(by=by, session=session, instructors=[by, *teachers])


def test_who_becomes_instructor_afterwards_does_not_read_it_and_sees_that_there_is_something(
    session, signup, teacher, late
):
    silent = seats.signup_place(by=make_person(name="Sam Silent"), session=session)
    come(session, late, by=teacher)
    assert needs_of(session, seen_by=late) == {signup.pk: None}
    assert needs_of(session, seen_by=teacher) == {signup.pk: SECRET}
    page = page_of(session, late)
    assert SECRET not in page
    assert page.count(HIDDEN) == 1
    assert silent.person.name in page
    assert SECRET in page_of(session, teacher)
    for other in (make_instructor(), make_organiser(), make_person()):
        assert needs_of(session, seen_by=other) == {}
        assert SECRET not in page_of(session, other)


def test_an_instructor_who_brings_another_in_by_the_page_brings_them_no_notes(session, signup, teacher, late):
    """As the form of a session sends it."""
    client, url = signed_in(teacher), reverse("classes:change", args=[session.pk])
    told = {"title": session.title, "about": "", "what_to_bring": "", "instructors": [teacher.pk, late.pk]}
    client.post(url, told)
    assert set(session.instructors.all()) == {teacher, late}
    assert SECRET not in page_of(session, late)


def test_its_writer_is_told_once_for_each_of_them_and_reads_who_it_is(session, signup, teacher, late):
    assert not list(RULE.due(timezone.now()))
    come(session, late, by=teacher)
    gather(timezone.now())
    gather(timezone.now())
    reminder = Reminder.objects.get(rule=RULE.name)
    assert reminder.person == signup.person
    assert RULE.still_due(reminder, timezone.now())
    told = RULE.message(reminder, timezone.now())
    assert "Lara Late teaches Plum spread in a morning" in told.text
    assert SECRET not in told.text + told.html
    assert told.link.endswith(notes_url(signup))
    ((_one, words),) = with_titles([reminder])
    assert words == "a new instructor, and your note, Plum spread in a morning"


def test_with_the_same_words_sent_again_they_read_it(session, signup, teacher, late):
    come(session, late, by=teacher)
    gather(timezone.now())
    reminder = Reminder.objects.get(rule=RULE.name)
    client = signed_in(signup.person)
    page = client.get(notes_url(signup))
    assert "Not read by Lara Late" in text_of(page)
    client.post(notes_url(signup), {"needs": SECRET, "named": page.context["form"]["named"].value()})
    assert needs_of(session, seen_by=late) == {signup.pk: SECRET}
    assert not RULE.still_due(reminder, timezone.now())
    assert "Not read by" not in text_of(client.get(notes_url(signup)))
    assert SECRET in page_of(session, late)


def test_emptied_it_is_read_by_nobody(session, signup, teacher, late):
    come(session, late, by=teacher)
    seats.signup_note(by=signup.person, signup=signup, needs="")
    assert needs_of(session, seen_by=late) == needs_of(session, seen_by=teacher) == {}
    assert not list(RULE.due(timezone.now()))


def test_a_form_that_lay_open_while_an_instructor_came_tells_those_it_named(session, signup, teacher, late):
    writer = signed_in(signup.person)
    before = writer.get(notes_url(signup)).context["form"]["named"].value()
    student = make_person(name="Sid Student")
    form = signed_in(student).get(reverse("classes:session", args=[session.pk])).context["form"]
    come(session, late, by=teacher)
    writer.post(notes_url(signup), {"needs": "No nuts", "named": before})
    signed_in(student).post(
        reverse("classes:sign-up", args=[session.pk]),
        {"token": form["token"].value(), "places": "1", "needs": "A low table", "named": form["named"].value()},
    )
    other = SignUp.objects.get(person=student)
    assert needs_of(session, seen_by=teacher) == {signup.pk: "No nuts", other.pk: "A low table"}
    assert needs_of(session, seen_by=late) == {signup.pk: None, other.pk: None}
    assert {one.person_id for one in RULE.due(timezone.now())} == {signup.person_id, student.pk}


@pytest.mark.parametrize("named", ["x", "9" * 5000, "-1", "0"])
def test_nonsense_in_the_form_s_own_field_names_nobody(session, signup, teacher, late, named):
    come(session, late, by=teacher)
    answer = signed_in(signup.person).post(notes_url(signup), {"needs": "No nuts", "named": named})
    assert answer.status_code == 302
    for one in (teacher, late):
        assert needs_of(session, seen_by=one) == {signup.pk: None}


def test_nobody_names_an_instructor_into_a_session_by_that_field(session, signup, late):
    seats.signup_note(by=signup.person, signup=signup, needs=SECRET, named=[late.pk])
    assert needs_of(session, seen_by=late) == {}
    assert not signup.needs_for.exists()


def test_who_left_and_came_back_as_a_teacher_is_not_a_reason_to_ask_again(session, signup, teacher, late):
    session_change(by=teacher, session=session, instructors=[teacher, late])
    seats.signup_note(by=signup.person, signup=signup, needs=SECRET)
    session_change(by=teacher, session=session, instructors=[teacher])
    assert needs_of(session, seen_by=late) == {}
    session_change(by=teacher, session=session, instructors=[teacher, late])
    assert needs_of(session, seen_by=late) == {signup.pk: SECRET}


def test_after_it_began_nobody_is_asked(session, signup, teacher, late):
    come(session, late, by=teacher)
    assert not list(RULE.due(session.starts_at))


@pytest.mark.parametrize("rows", [1, 30])
def test_thirty_notes_are_looked_for_in_one_query(session, teacher, late, django_assert_num_queries, rows):
    ClassSession.objects.filter(pk=session.pk).update(seats_total=40)
    session.refresh_from_db()
    for _ in range(rows):
        make_signup(session, needs=SECRET, now=timezone.now()).needs_for.add(teacher)
    session.instructors.add(late)
    with django_assert_num_queries(1):
        assert [one.occurrence for one in RULE.due(timezone.now())] == [str(late.pk)] * rows
    with django_assert_num_queries(2):
        assert set(needs_of(session, seen_by=late).values()) == {None}


def test_notes_from_before_stay_with_who_taught_then_where_that_is_known(teacher):
    now = timezone.now()
    same, changed = next_week(teacher), next_week(teacher)
    known = make_signup(same, needs=SECRET, now=now)
    unknown = make_signup(changed, needs=SECRET, now=now)
    make_signup(same, now=now)
    ClassSession.objects.filter(pk=changed.pk).update(changed_at=now + timedelta(hours=1))
    import_module("club.classes.migrations.0007_notes_from_before").instructors_of_then(apps, None)
    assert needs_of(same, seen_by=teacher) == {known.pk: SECRET}
    assert needs_of(changed, seen_by=teacher) == {unknown.pk: None}
    assert [one.person_id for one in RULE.due(now)] == [unknown.person_id]


# Sealed in the database, each look noted.

OTHER_KEY = "YW5vdGhlciBrZXksIG9mIDMyIGJ5dGVzIGFzIHdlbGw="


def sealed(signup: SignUp) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT needs FROM classes_signup WHERE id = %s", [signup.pk])
        return cursor.fetchone()[0]


def test_the_database_has_it_sealed(signup):
    assert signup.needs == SignUp.objects.get(pk=signup.pk).needs == SECRET
    assert "Hazelnuts" not in sealed(signup)
    assert not SignUp.objects.filter(needs="").exists()


def test_without_its_key_it_says_so_and_is_not_lost(session, signup, teacher, settings):
    before = sealed(signup)
    for keys in ([], [OTHER_KEY]):
        settings.NOTE_KEYS = keys
        read = needs_of(session, seen_by=teacher)[signup.pk]
        assert isinstance(read, Unreadable)
        assert "not lost" in page_of(session, teacher)
        assert "not lost" in text_of(signed_in(signup.person).get(notes_url(signup)))
        SignUp.objects.get(pk=signup.pk).save()
        assert sealed(signup) == before
    settings.NOTE_KEYS = []
    with pytest.raises(ValidationError, match="not saved"):
        seats.signup_note(by=signup.person, signup=signup, needs="No nuts")
    assert not PersonEvent.objects.filter(kind=EventKind.NOTE_READ).exists()
    settings.NOTE_KEYS = [NOTE_KEY]
    assert needs_of(session, seen_by=teacher) == {signup.pk: SECRET}


def test_a_new_key_takes_over_from_the_old_one(session, signup, teacher, settings):
    settings.NOTE_KEYS = [OTHER_KEY, NOTE_KEY]
    assert needs_of(session, seen_by=teacher) == {signup.pk: SECRET}
    call_command("reseal_notes")
    settings.NOTE_KEYS = [OTHER_KEY]
    assert needs_of(session, seen_by=teacher) == {signup.pk: SECRET}
    settings.NOTE_KEYS = [NOTE_KEY]
    with pytest.raises(CommandError, match="not lost"):
        call_command("reseal_notes")


def test_each_look_at_it_is_noted_and_its_writer_sees_by_whom(session, signup, teacher, late):
    come(session, late, by=teacher)
    for person in (teacher, late, make_organiser(), signup.person):
        page_of(session, person)
    (read,) = PersonEvent.objects.filter(kind=EventKind.NOTE_READ)
    assert (read.by, read.person) == (teacher, signup.person)
    assert SECRET not in read.reference
    assert session.title in read.reference
    assert "Ilse Instructor" in text_of(signed_in(signup.person).get(reverse("members:my-ledger")))
    named = PersonEvent.objects.filter(kind=EventKind.INSTRUCTOR_NAMED, person=late)
    assert [one.by for one in named] == [teacher]


def test_the_migration_seals_what_is_there_and_opens_it_again(signup):
    migration = import_module("club.classes.migrations.0009_notes_sealed")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE classes_signup SET needs = %s WHERE id = %s", [SECRET, signup.pk])
    before = state_before("classes", "0009_notes_sealed")
    migration.seal_what_is_there(before, None)
    assert "Hazelnuts" not in sealed(signup)
    assert SignUp.objects.get(pk=signup.pk).needs == SECRET
    migration.open_again(before, None)
    assert sealed(signup) == SECRET


def state_before(app: str, name: str) -> Apps:
    """The models as they were before this migration."""
    return MigrationExecutor(connection).loader.project_state((app, name), at_end=False).apps


def test_a_backup_has_it_sealed_needs_no_key_and_brings_it_back_as_it_was(signup, settings):
    settings.NOTE_KEYS = []
    (line,) = lines_of(SignUp, using="default")
    assert "Hazelnuts" not in line.decode()
    columns = columns_of(SignUp)
    back = dict(zip((one.name for one in columns), _row(columns, line), strict=True))
    assert back["needs"] == sealed(signup)
