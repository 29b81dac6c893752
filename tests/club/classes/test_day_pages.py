"""The day's pages by everybody who might ask, as a phone without JavaScript sends them, and query bounds."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from club.classes.choices import SessionState, SignUpState
from club.classes.models import CannerLoad, ClassSession, OwnNote, SessionPhoto, SignUp, Station, StationBatch
from club.classes.services import day as services_day
from club.core.clock import club_day
from club.members.choices import Role
from inventory.batches.services import batch_abandon, seals_record, stove_press
from recipes.models import Revision
from tests.factories.batches import make_freezer_revision
from tests.factories.class_day import log_out, make_at_station, make_called, make_held, runner_of
from tests.factories.classes import make_instructor, make_session, make_signup, make_station
from tests.factories.members import make_kitchen, make_person
from tests.helpers import addresses_of, levels_of, refused_fields, text_of

pytestmark = pytest.mark.django_db

MOST_QUERIES = 21
PAGES = ["day", "day-stations", "day-board", "after"]


def now():
    return timezone.now()


url = addresses_of("classes")


def today(**fields) -> ClassSession:
    """A session of today, begun an hour ago by the clock, whatever it says on the wall."""
    session = make_session(day=club_day(now()), now=now() - timedelta(days=9), **fields)
    begun = now() - timedelta(hours=1)
    ClassSession.objects.filter(pk=session.pk).update(starts_at=begun, ends_at=begun + timedelta(hours=4))
    session.refresh_from_db()
    return session


@pytest.fixture
def session():
    return today(title="Plums & pears")


@pytest.fixture
def teacher(session, sign_in):
    return sign_in(runner_of(session))


def started(session, stations: int = 1) -> list[StationBatch]:
    """Somebody at each station, and its batch started."""
    while session.stations.count() < stations:
        make_station(session)
    for station in session.stations.all():
        make_at_station(station, now=now())
    return services_day.stations_start(by=runner_of(session), session=session).new


# Who may


@pytest.mark.parametrize("page", PAGES)
def test_the_day_is_for_who_runs_the_session(page, session, teacher, sign_in):
    assert "Plums & pears" in text_of(teacher.get(url(page, session.pk)))
    student = make_called(session, now=now()).person
    for person in (student, make_person(), make_person(Role.KEEPER), make_instructor(), make_person(Role.ORGANISER)):
        assert sign_in(person).get(url(page, session.pk)).status_code == 403


@pytest.mark.parametrize("page", PAGES)
def test_nobody_is_sent_to_sign_in(page, session):
    assert Client().get(url(page, session.pk)).url.startswith(reverse("account_login"))


@pytest.mark.parametrize("page", PAGES)
def test_a_session_that_is_none_or_a_draft_is_not_found(page, session, teacher, sign_in):
    assert teacher.get(url(page, session.pk + 1)).status_code == 404
    ClassSession.objects.filter(pk=session.pk).update(state=SessionState.DRAFT, published_at=None)
    assert teacher.get(url(page, session.pk)).status_code == 404
    assert sign_in(make_person()).get(url(page, session.pk)).status_code == 404


def presses(session) -> dict[str, str]:
    """Every address that writes, for one party at the station."""
    signup = make_called(session, now=now())
    pk, one = session.pk, signup.pk
    return {
        "call": url("day-call", pk, one),
        "companion": url("day-companion", pk, one),
        "free": url("day-free-seat", pk, one),
        "sit": url("day-sit", pk, one),
        "taker": url("day-taker", pk, one),
        "walk-in": url("day-walk-in", pk),
        "sit-all": url("day-sit-all", pk),
        "start": url("day-start", pk),
        "photo": url("photo-add", pk),
    }


def test_every_press_is_posted_and_is_for_who_runs_the_session(session, teacher, sign_in):
    stranger, before = sign_in(make_instructor()), None
    for name, address in presses(session).items():
        assert teacher.get(address).status_code == 405, name
        before = before or list(SignUp.objects.values())
        assert stranger.post(address, {"came": "0", "name": "x"}).status_code == 403, name
        assert Client().post(address).url.startswith(reverse("account_login")), name
    assert list(SignUp.objects.values()) == before


def test_a_party_of_another_session_is_not_found(session, teacher):
    stranger = make_signup(today())
    for page in ("day-call", "day-companion", "day-free-seat", "day-sit", "day-taker"):
        assert teacher.post(url(page, session.pk, stranger.pk), {"came": "1"}).status_code == 404
    stranger.refresh_from_db()
    assert stranger.came is None


# The roll


def test_the_roll_is_called_and_taken_back_by_presses(session, teacher):
    signup = make_signup(session, places=2, companion="Her aunt")
    page = text_of(teacher.get(url("day", session.pk)))
    assert "not called yet" in page
    assert "with Her aunt" in page
    for came, told in (("2", "came: 2 of 2"), ("1", "came: 1 of 2"), ("0", "absent"), ("", "not called yet")):
        response = teacher.post(url("day-call", session.pk, signup.pk), {"came": came}, follow=True)
        assert response.redirect_chain[0][0].endswith(f"/day/#signup-{signup.pk}")
        assert told in text_of(response)
    signup.refresh_from_db()
    assert signup.came is None


@pytest.mark.parametrize("typed", ["3", "-1", "x"])
def test_what_is_no_count_changes_nothing(typed, session, teacher):
    signup = make_signup(session)
    assert teacher.post(url("day-call", session.pk, signup.pk), {"came": typed}).status_code == 302
    signup.refresh_from_db()
    assert signup.came is None


def test_a_walk_in_is_taken_in_by_name(session, teacher):
    make_person(name="Wanda Walker", email="wanda@example.test")
    told = {"token": uuid4(), "person": "wanda walker", "companion": ""}
    for _press in range(2):
        response = teacher.post(url("day-walk-in", session.pk), told, follow=True)
    assert levels_of(response) == ["success"]
    assert SignUp.objects.get().is_walk_in
    session.refresh_from_db()
    assert session.seats_taken == 1


def test_a_walk_in_nobody_knows_keeps_what_was_typed(session, teacher):
    response = teacher.post(
        url("day-walk-in", session.pk), {"token": uuid4(), "person": "No Body", "companion": "Her aunt"}
    )
    assert refused_fields(response) == {"person"}
    assert "Not done yet" in text_of(response)  # at the top: the form is below the whole roll
    assert response.context["form"]["person"].value() == "No Body"
    assert response.context["form"]["companion"].value() == "Her aunt"


def test_a_full_session_says_so_beside_the_form(session, teacher):
    make_signup(session, places=2)
    make_signup(session, places=2)
    person = make_person()
    response = teacher.post(url("day-walk-in", session.pk), {"token": uuid4(), "person": person.email})
    assert response.context["form"].errors
    assert not SignUp.objects.of(person).exists()


def test_a_guest_is_named_and_an_absent_seat_given_free(session, teacher):
    signup = make_called(session, now=now())
    response = teacher.post(url("day-companion", session.pk, signup.pk), {"name": "Gwen Guest"}, follow=True)
    assert levels_of(response) == ["success"]
    teacher.post(url("day-call", session.pk, signup.pk), {"came": "0"})
    response = teacher.post(url("day-free-seat", session.pk, signup.pk), follow=True)
    assert "seat given free" in text_of(response)
    signup.refresh_from_db()
    assert (signup.state, signup.came) == (SignUpState.CANCELLED, 0)


# Stations


def test_who_takes_the_jars_is_asked_before_the_batches_can_be_started(session, teacher):
    station = session.stations.first()
    for _ in range(2):
        SignUp.objects.filter(pk=make_called(session, now=now()).pk).update(station=station)
    response = teacher.get(url("day-stations", session.pk))
    assert [one.station for one in response.context["undecided"]] == [station]
    assert "Start all batches" not in text_of(response)
    signup = station.signups.first()
    page = text_of(teacher.post(url("day-taker", session.pk, signup.pk), follow=True))
    assert "Start all batches" in page


def test_everybody_is_seated_and_all_batches_start_from_the_phone(session, teacher):
    make_station(session)
    people = [make_called(session, now=now()) for _ in range(2)]
    page = text_of(teacher.get(url("day-stations", session.pk)))
    assert "Has no station yet" in page
    assert "Start all batches" not in page
    page = text_of(teacher.post(url("day-sit-all", session.pk), follow=True))
    assert "Start all batches" in page
    assert page.count("takes the jars home") >= 2
    page = text_of(teacher.post(url("day-start", session.pk), follow=True))
    assert "2 batches are started." in page
    lots = {one.batch.lot_code: one.batch.made_by for one in StationBatch.objects.select_related("batch__made_by")}
    assert all(lot in page for lot in lots)
    assert set(lots.values()) == {signup.person for signup in people}
    assert "They were started before." in text_of(teacher.post(url("day-start", session.pk), follow=True))


def test_what_speaks_against_a_start_is_told_by_station(session, teacher):
    station = session.stations.get()
    for _each in range(2):
        make_at_station(station, now=now())
    answer = teacher.post(url("day-start", session.pk), follow=True)
    assert levels_of(answer) == ["error"]
    assert "Station 1: " in text_of(answer)
    assert not StationBatch.objects.exists()
    chosen = SignUp.objects.last()
    teacher.post(url("day-taker", session.pk, chosen.pk))
    teacher.post(url("day-start", session.pk))
    assert StationBatch.objects.get().batch.made_by == chosen.person


@pytest.mark.parametrize("typed", ["", "0", "x", "9" * 30])
def test_to_sit_nowhere_or_at_no_station_of_this_session(typed, session, teacher):
    signup = make_at_station(session.stations.get(), now=now())
    response = teacher.post(url("day-sit", session.pk, signup.pk), {"station": typed})
    assert response.status_code == (404 if typed == "0" else 302)
    signup.refresh_from_db()
    assert (signup.station is None) is (typed != "0")


def test_the_board_begins_with_the_station_whose_minutes_run_out_next(session, teacher, django_assert_max_num_queries):
    first, second = started(session, 2)
    address = url("day-board", session.pk)
    with django_assert_max_num_queries(MOST_QUERIES):
        shown = teacher.get(address).context["stations"]
    assert [one.batch for one in shown] == [first.batch, second.batch]
    for one, minutes in ((first, 2), (second, 5)):
        at = now() - timedelta(minutes=minutes)
        type(one.batch).objects.filter(pk=one.batch_id).update(started_at=now() - timedelta(hours=1))
        stove_press(
            by=runner_of(session), batch=one.batch, token=uuid4(), kind="began", step="l1process", at=at, now=now()
        )
    with django_assert_max_num_queries(MOST_QUERIES):
        page = teacher.get(address)
    assert [one.batch for one in page.context["stations"]] == [second.batch, first.batch]
    assert page.context["stations"][0].next_ends == page.context["stations"][0].course.running[0].ends_at


def test_a_load_shows_when_it_began_and_when_its_minutes_are_over(session, teacher):
    [cooking] = started(session)
    address = url("day-load", session.pk, cooking.station_id, 1)
    page = teacher.get(url("day-stations", session.pk))
    assert f'action="{address}"' in page.text
    assert "Time counts from a full boil" in text_of(page)
    response = teacher.post(address, follow=True)
    load = CannerLoad.objects.get()
    over = timezone.localtime(load.began_at + timedelta(minutes=10))
    assert f"{over:%H:%M:%S}" in text_of(response)
    assert f'data-until="{over.isoformat()}"' in response.content.decode()
    CannerLoad.objects.update(began_at=now() - timedelta(minutes=11))
    assert "the minutes are over" in text_of(teacher.get(url("day-stations", session.pk)))
    teacher.post(address, {"take_back": "1"})
    assert not CannerLoad.objects.exists()


def test_a_recipe_that_is_withdrawn_while_it_cooks_is_said_at_its_station(session, teacher):
    started(session)
    assert "withdrawn" not in text_of(teacher.get(url("day-stations", session.pk)))
    Revision.objects.update(state="withdrawn", withdrawn_at=now(), withdrawn_reason="Too little acid.")
    page = text_of(teacher.get(url("day-stations", session.pk)))
    assert "was withdrawn after this batch was started. Too little acid." in page
    assert "editing matter" not in page


def test_a_station_of_any_number_is_there_or_not_found(session, teacher):
    started(session)
    assert teacher.post(url("day-load", session.pk, 10**23, 1)).status_code == 404


def test_a_load_can_be_taken_back_on_the_page_of_a_session_that_was_closed(session, teacher):
    [cooking] = started(session)
    teacher.post(url("day-load", session.pk, cooking.station_id, 1))
    make_held(cooking, now=now())
    assert 'name="take_back"' in teacher.get(url("day-stations", session.pk)).text


def test_the_starter_is_led_to_the_log_and_a_fellow_instructor_to_who_may(session, teacher, sign_in):
    [cooking] = started(session)
    log = reverse("batches:log", args=[cooking.batch.lot_code])
    assert log in teacher.get(url("day-stations", session.pk)).content.decode()
    assert teacher.get(log).status_code == 200
    fellow = make_instructor()
    session.instructors.add(fellow)
    page = sign_in(fellow).get(url("day-stations", session.pk))
    assert log not in page.content.decode()
    assert f"{cooking.batch.started_by}, who started it, or {cooking.batch.made_by} writes down" in text_of(page)


def test_the_log_knows_when_the_first_load_began_never_sooner_than_it_did(session, teacher):
    [cooking] = started(session)
    began = now().replace(second=1, microsecond=0) - timedelta(minutes=30)
    CannerLoad.objects.create(cooking=cooking, number=1, began_at=began, began_by=runner_of(session))
    page = teacher.get(url("day-stations", session.pk)).content.decode()
    [address] = re.findall(r'href="(/batches/[^"]+/log/[^"]*)"', page)
    shown = teacher.get(unescape(address)).context["form"]["process_started_at"].value()
    assert shown == f"{timezone.localtime(began + timedelta(seconds=59)):%Y-%m-%dT%H:%M}"


def test_a_beginning_in_the_address_that_is_none_harms_nothing(session, teacher):
    [cooking] = started(session)
    log = reverse("batches:log", args=[cooking.batch.lot_code])
    response = teacher.get(log, {"began": '"><script>alert(1)</script>'})
    assert response.status_code == 200
    assert "<script>alert" not in response.content.decode()


def test_a_batch_given_up_is_started_anew_from_its_station(session, teacher):
    [cooking] = started(session)
    batch_abandon(by=runner_of(session), batch=cooking.batch, reason="Scorched.")
    page = text_of(teacher.get(url("day-stations", session.pk)))
    assert "Given up: Scorched." in page
    assert "Start this station anew" in page
    response = teacher.post(url("day-start-again", session.pk, cooking.station_id), follow=True)
    lot = StationBatch.objects.get().batch.lot_code
    assert f"Batch {lot} is started." in text_of(response)
    assert teacher.get(url("day-start-again", session.pk, cooking.station_id)).status_code == 405


def test_a_freezer_recipe_has_no_minutes_to_count(teacher, session):
    Station.objects.update(revision=make_freezer_revision(), canner="", capacity={})
    [cooking] = started(session)
    page = teacher.get(url("day-stations", session.pk)).text
    assert url("day-load", session.pk, cooking.station_id, 1) not in page
    assert reverse("batches:log", args=[cooking.batch.lot_code]) in page


def test_once_the_jars_are_out_it_says_who_looks_at_the_seals_and_from_when(session, teacher):
    [cooking] = started(session)
    log_out(cooking, now=now() + timedelta(minutes=30))
    page = text_of(teacher.get(url("day-stations", session.pk)))
    assert f"{cooking.batch.made_by} takes the jars home and looks at the seals from" in page


# Afterwards


def test_the_session_is_closed_and_what_was_learned_is_written_anew(session, teacher):
    make_called(session, now=now())
    uncalled = make_signup(session)
    page = text_of(teacher.post(url("after", session.pk), {"learned": "Skim late."}))
    assert "not called yet" in page
    assert "Skim late." in page
    SignUp.objects.filter(pk=uncalled.pk).update(came=0)
    page = text_of(teacher.post(url("after", session.pk), {"learned": "Skim late."}, follow=True))
    assert "The session is closed." in page
    teacher.post(url("after", session.pk), {"learned": "Skim early."})
    session.refresh_from_db()
    assert (session.state, session.report.learned) == (SessionState.HELD, "Skim early.")


def test_seals_are_counted_by_station(session, teacher):
    [cooking] = started(session)
    batch = log_out(cooking, now=now() + timedelta(minutes=30))
    results = {1: "sealed", 2: "sealed", 3: "sealed", 4: "unsealed"}
    later = now() + timedelta(hours=14)
    told = {"results": results, "disposals": {4: "refrigerate"}, "token": uuid4(), "now": later}
    seals_record(by=batch.made_by, batch=batch, **told)
    page = text_of(teacher.get(url("after", session.pk)))
    assert f"{batch.made_by} 3 1 0 0" in page


def picture() -> SimpleUploadedFile:
    written = io.BytesIO()
    Image.new("RGB", (30, 20), "purple").save(written, "PNG")
    return SimpleUploadedFile("jars.png", written.getvalue(), content_type="image/png")


def test_a_picture_is_added_shown_to_who_was_there_and_removed(session, teacher, sign_in):
    signup = make_called(session, now=now())
    told = {"token": uuid4(), "photo": picture(), "caption": "The first jars", "shown_agreed": "on"}
    assert teacher.post(url("photo-add", session.pk), told).status_code == 302
    photo = SessionPhoto.objects.get()
    shown = sign_in(signup.person).get(url("photo", photo.pk))
    assert (shown.status_code, shown["Content-Type"]) == (200, "image/jpeg")
    absent = make_called(session, came=0, now=now())
    for outsider in (absent.person, make_person(), make_instructor()):
        assert sign_in(outsider).get(url("photo", photo.pk)).status_code == 404
    assert 'alt="The first jars"' in teacher.get(url("after", session.pk)).content.decode()
    teacher.post(url("photo-remove", session.pk, photo.pk))
    assert not SessionPhoto.objects.exists()


def test_what_is_no_picture_is_told_beside_its_field(session, teacher):
    told = {"token": uuid4(), "photo": SimpleUploadedFile("x.png", b"no picture"), "caption": "Jars"}
    told["shown_agreed"] = "on"
    response = teacher.post(url("photo-add", session.pk), told)
    assert refused_fields(response) == {"photo"}
    assert response.context["photo_form"]["caption"].value() == "Jars"


def test_a_picture_is_not_taken_while_those_in_it_were_not_asked(session, teacher):
    told = {"token": uuid4(), "photo": picture(), "caption": "Jars"}
    response = teacher.post(url("photo-add", session.pk), told)
    assert refused_fields(response) == {"shown_agreed"}
    assert not SessionPhoto.objects.exists()
    teacher.post(url("photo-add", session.pk), {**told, "photo": picture(), "shown_agreed": "on"})
    assert SessionPhoto.objects.get().shown_agreed


# The handout


@pytest.fixture
def student(session):
    return started(session)[0].station.taker.signup


def test_a_handout_is_read_by_her_and_her_instructors_only(student, teacher, sign_in):
    address, paper = url("handout", student.pk), url("handout-paper", student.pk)
    lot = student.station.cooking.batch.lot_code
    for reader in (sign_in(student.person), teacher):
        assert f"Lot code {lot}" in text_of(reader.get(address))
        pdf = reader.get(paper)
        assert (pdf["Content-Type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    fellow = make_at_station(student.station, now=now()).person
    for outsider in (fellow, make_person(), make_instructor(), make_person(Role.ORGANISER)):
        assert [sign_in(outsider).get(one).status_code for one in (address, paper)] == [404, 404]
    assert Client().get(address).url.startswith(reverse("account_login"))


def test_it_shows_her_own_kitchen_beside_the_hall_and_asks_for_one_where_there_is_none(student, sign_in):
    client = sign_in(student.person)
    assert reverse("members:kitchen-add") in client.get(url("handout", student.pk)).text
    make_kitchen(student.person, name="Ridge", altitude="2000 m")
    page = text_of(client.get(url("handout", student.pk)))
    assert "Tallow Hall 1,040 m (3,412.1 ft) 10 minutes" in page
    assert "Ridge 2,000 m (6,561.7 ft) 15 minutes" in page


def test_her_note_is_hers_to_write(student, teacher, sign_in):
    address = url("handout", student.pk)
    sign_in(student.person).post(address, {"text": "Less foam."})
    assert OwnNote.objects.get().text == "Less foam."
    assert teacher.post(address, {"text": "Mine."}).status_code == 403
    assert "Less foam." in text_of(teacher.get(address))


def test_without_a_batch_the_page_says_so_and_there_is_no_paper(session, sign_in):
    signup = make_called(session, now=now())
    client = sign_in(signup.person)
    assert "no recipe to take home" in text_of(client.get(url("handout", signup.pk)))
    assert client.get(url("handout-paper", signup.pk)).status_code == 404


def test_a_batch_that_was_given_up_left_no_jars_to_take_home(student, sign_in):
    batch = student.station.cooking.batch
    batch_abandon(by=batch.started_by, batch=batch, reason="It scorched.")
    page = text_of(sign_in(student.person).get(url("handout", student.pk)))
    assert "there are no jars of it: It scorched." in page
    assert "Write the lot code on every jar" not in page
    assert sign_in(student.person).get(url("handout-paper", student.pk)).status_code == 200


# Bounds


@pytest.mark.parametrize("many", [1, 30])
@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_as_often_for_thirty_as_for_one(page, many, session, teacher, django_assert_max_num_queries):
    for cooking in started(session, many):
        log_out(cooking, now=now() + timedelta(minutes=30))
        make_signup(session)
    with django_assert_max_num_queries(MOST_QUERIES):
        assert teacher.get(url(page, session.pk)).status_code == 200


@pytest.mark.parametrize("many", [1, 30])
def test_a_handout_asks_as_often_for_thirty_pictures(many, session, student, sign_in, django_assert_max_num_queries):
    for number in range(many):
        SessionPhoto.objects.create(
            session=session, token=uuid4(), jpeg=b"x", caption=str(number), added_by=runner_of(session)
        )
    client = sign_in(student.person)
    with django_assert_max_num_queries(MOST_QUERIES):
        assert client.get(url("handout", student.pk)).status_code == 200


def test_a_held_session_shows_its_roll_and_takes_no_press(session, teacher):
    signup = make_called(session, now=now())
    services_day.session_close(by=runner_of(session), session=session)
    page = text_of(teacher.get(url("day", session.pk)))
    assert "This session is closed" in page
    assert "Take it back" not in page
    page = text_of(teacher.post(url("day-call", session.pk, signup.pk), {"came": "0"}, follow=True))
    assert "not on" in page
    signup.refresh_from_db()
    assert signup.came == 1


# From the session's own page


def test_the_session_s_page_leads_its_instructors_to_the_day_and_who_came_to_her_handout(session, teacher, sign_in):
    signup = make_called(session, now=now())
    page = teacher.get(session.get_absolute_url()).content.decode()
    assert all(url(one, session.pk) in page for one in PAGES)
    hers = sign_in(signup.person).get(session.get_absolute_url()).content.decode()
    assert url("handout", signup.pk) in hers
    others = sign_in(make_person()).get(session.get_absolute_url()).content.decode()
    for page in (hers, others):
        assert url("day", session.pk) not in page
    assert "/handouts/" not in others


def test_only_who_came_is_led_to_a_handout_from_her_classes(session, student, sign_in):
    absent = make_called(session, came=0, now=now())
    ClassSession.objects.filter(pk=session.pk).update(
        state="held", starts_at=now() - timedelta(hours=5), ends_at=now() - timedelta(hours=1)
    )
    for signup, is_led in ((student, True), (absent, False)):
        page = sign_in(signup.person).get(reverse("classes:mine"))
        assert session.title in text_of(page)
        assert (url("handout", signup.pk) in page.content.decode()) is is_led
