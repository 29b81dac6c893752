"""The calendar feed: read back by two parsers that are not ours, private, and true after every change."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import vobject
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from club.classes.models import ClassSession, SignUp
from club.members.models import CalendarAddress
from club.members.services import calendar_address_close, calendar_address_renew
from club.reminders.calendar import CALLED_OFF_FOR, calendar_text, entries_for, session_entry
from tests.factories.batches import make_batch_out
from tests.factories.classes import NOW, make_instructor, make_session, make_signup
from tests.factories.equipment import make_keeper, make_loan
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db
LONG = "An apron; two tea towels, clean\njars & a pen \u2013 and what\u2019s left of the labels, " * 3


@pytest.fixture
def person():
    return make_person(name="Ada Plum")


def text_for(person, now=NOW) -> bytes:
    return calendar_text(entries_for(person, now), name="Tallow Bench")


def events(data: bytes) -> dict[str, object]:
    return {str(event["UID"]).partition("@")[0]: event for event in Calendar.from_ical(data).walk("VEVENT")}


def test_two_parsers_read_back_what_was_put_in(person):
    session = make_session(title="Plums; pots, and jars", what_to_bring=LONG)
    make_signup(session, person)
    loan = make_loan(person=person)
    batch = make_batch_out(by=person, out_at=NOW - timedelta(hours=2))
    data = text_for(person)

    ours = events(data)
    assert set(ours) == {f"class-{session.pk}", f"loan-{loan.pk}", f"seals-{batch.pk}"}
    theirs = {event.uid.value.partition("@")[0]: event for event in vobject.readOne(data.decode()).vevent_list}
    assert set(theirs) == set(ours)
    for uid, event in theirs.items():
        assert event.summary.value == str(ours[uid]["SUMMARY"])
        assert event.dtstart.value == ours[uid]["DTSTART"].dt
        assert event.dtend.value == ours[uid]["DTEND"].dt
    told = theirs[f"class-{session.pk}"]
    assert told.summary.value == "Plums; pots, and jars"
    assert told.description.value == f"Bring: {LONG}"
    assert told.dtstart.value == datetime(2026, 9, 19, 16, 0, tzinfo=UTC)  # 10 in the morning on the club's wall
    assert theirs[f"loan-{loan.pk}"].dtstart.value == date(2026, 9, 17)
    assert theirs[f"seals-{batch.pk}"].dtstart.value == NOW + timedelta(hours=10)


def test_lines_are_folded_and_ended_as_the_standard_has_it(person):
    """RFC 5545, 3.1: CRLF, and no line longer than 75 octets."""
    make_signup(make_session(what_to_bring=LONG), person)
    data = text_for(person)
    lines = data.split(b"\r\n")
    assert lines[-1] == b""
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert max(len(line) for line in lines) <= 75
    assert all(line.decode() is not None for line in lines)


def test_every_event_carries_what_the_standard_requires(person):
    """RFC 5545, 3.6.1 and RFC 5546, 3.2.1: UID, DTSTAMP, DTSTART, SUMMARY, and SEQUENCE once it changed."""
    make_signup(make_session(), person)
    calendar = Calendar.from_ical(text_for(person))
    assert (calendar["VERSION"], calendar["METHOD"]) == ("2.0", "PUBLISH")
    assert "PRODID" in calendar
    for event in calendar.walk("VEVENT"):
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE", "STATUS"} <= set(event)


def test_the_same_state_of_things_is_written_the_same_way(person):
    make_signup(make_session(), person)
    make_loan(person=person)
    assert text_for(person) == text_for(person, NOW + timedelta(hours=3))


def one(person, now=NOW):
    [event] = events(text_for(person, now)).values()
    return event


def test_a_change_of_the_session_keeps_its_uid_and_raises_its_sequence(person):
    session = make_session()
    make_signup(session, person)
    before = one(person)
    later = NOW + timedelta(hours=1)
    ClassSession.objects.filter(pk=session.pk).update(sequence=session.sequence + 1, changed_at=later)
    after = one(person)
    assert after["UID"] == before["UID"]
    assert after["SEQUENCE"] > before["SEQUENCE"]
    assert after["DTSTAMP"].dt > before["DTSTAMP"].dt


def test_a_session_called_off_is_told_as_cancelled_for_a_month(person):
    session = make_session()
    make_signup(session, person)
    before = one(person)
    later = NOW + timedelta(hours=1)
    told = {
        "state": "cancelled",
        "cancelled_at": later,
        "cancel_reason": "Burst pipe",
        "changed_at": later,
        "sequence": 1,
    }
    ClassSession.objects.filter(pk=session.pk).update(**told)
    after = one(person, later)
    assert (before["STATUS"], after["STATUS"]) == ("CONFIRMED", "CANCELLED")
    assert after["SEQUENCE"] > before["SEQUENCE"]
    assert events(text_for(person, later + CALLED_OFF_FOR + timedelta(minutes=1))) == {}


def test_a_seat_given_back_and_taken_again_always_has_a_higher_sequence(person):
    session = make_session()
    seen = []
    for round_ in range(3):
        at = NOW + timedelta(hours=round_)
        signup = make_signup(session, person, now=at)
        seen.append((one(person, at)["SEQUENCE"], one(person, at)["STATUS"]))
        SignUp.objects.filter(pk=signup.pk).update(state="cancelled", closed_at=at + timedelta(minutes=30))
        seen.append((one(person, at)["SEQUENCE"], one(person, at)["STATUS"]))
    numbers = [number for number, _status in seen]
    assert numbers == sorted(set(numbers))
    assert [status for _number, status in seen] == ["CONFIRMED", "CANCELLED"] * 3


def test_an_offered_seat_is_tentative_and_a_place_in_the_line_is_nothing(person):
    session = make_session()
    signup = make_signup(session, person, state="waiting")
    assert events(text_for(person)) == {}
    SignUp.objects.filter(pk=signup.pk).update(state="offered", offered_at=NOW, offer_until=NOW + timedelta(hours=48))
    assert one(person)["STATUS"] == "TENTATIVE"


def test_an_instructor_sees_what_she_teaches_once_it_is_published():
    instructor = make_instructor()
    make_session(by=instructor, state="draft")
    assert events(text_for(instructor)) == {}
    session = make_session(by=instructor)
    assert list(events(text_for(instructor))) == [f"class-{session.pk}"]


def test_what_people_need_is_never_in_a_calendar(person):
    instructor = make_instructor()
    session = make_session(by=instructor)
    make_signup(session, person, needs="No nuts, comes in a wheelchair")
    for reader in (person, instructor):
        told = text_for(reader)
        assert session.title.encode() in told
        assert b"nuts" not in told


def test_a_loan_brought_back_is_crossed_out(person):
    loan = make_loan(person=person)
    before = one(person)
    loan.returned_at, loan.taken_back_by, loan.condition_in = NOW + timedelta(hours=1), make_keeper(), "good"
    loan.save()
    after = one(person, NOW + timedelta(hours=1))
    assert (before["STATUS"], after["STATUS"]) == ("CONFIRMED", "CANCELLED")
    assert after["SEQUENCE"] > before["SEQUENCE"]


def feed(client, address):
    return client.get(reverse("calendar:feed", args=[address.token]))


def test_the_feed_is_read_without_signing_in_and_only_under_its_own_address(client, person):
    now = timezone.now()
    coming = {"now": now, "day": (now + timedelta(days=5)).date()}
    make_signup(make_session(**coming), person, now=now)
    make_signup(make_session(title="Another's class", **coming), make_person(), now=now)
    address = calendar_address_renew(by=person)
    answer = feed(client, address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert b"Another" not in answer.content
    assert len(events(answer.content)) == 1
    assert not answer.cookies
    assert client.get(reverse("calendar:feed", args=["guessed"])).status_code == 404
    assert client.get("/calendar/feed/%00.ics").status_code == 404  # a database may stumble over that one


def test_a_new_address_or_none_makes_the_old_one_useless(client, person):
    old = calendar_address_renew(by=person)
    new = calendar_address_renew(by=person)
    assert feed(client, old).status_code == 404
    assert feed(client, new).status_code == 200
    assert calendar_address_close(by=person)
    assert feed(client, new).status_code == 404


def test_a_membership_that_ended_ends_the_feed(client, person):
    address = calendar_address_renew(by=person)
    person.is_active = False
    person.save()
    assert feed(client, address).status_code == 404


def test_the_page_makes_renews_and_closes_the_address(client, person):
    client.force_login(person)
    client.post(reverse("calendar:renew"))
    address = CalendarAddress.objects.get(person=person)
    assert address.token in client.get(reverse("calendar:mine")).content.decode()
    client.post(reverse("calendar:renew"))
    assert CalendarAddress.objects.get(person=person).token != address.token
    client.post(reverse("calendar:close"))
    assert not CalendarAddress.objects.exists()
    assert client.get(reverse("calendar:renew")).status_code == 405


def test_a_single_class_is_a_file_for_whoever_may_see_it(client, person):
    session = make_session(title="Plum spread in a morning")
    draft = make_session(state="draft")
    client.force_login(person)
    answer = client.get(reverse("calendar:session", args=[session.pk]))
    assert answer["Content-Disposition"] == f'attachment; filename="class-{session.pk}.ics"'
    assert [str(event["SUMMARY"]) for event in events(answer.content).values()] == ["Plum spread in a morning"]
    assert client.get(reverse("calendar:session", args=[draft.pk])).status_code == 404


def test_the_file_and_the_feed_name_the_same_event(person):
    session = make_session()
    make_signup(session, person)
    [feed_entry] = entries_for(person, NOW)
    assert session_entry(session).uid == feed_entry.uid


@pytest.mark.parametrize("rows", [1, 30])
def test_the_feed_asks_the_same_few_queries_however_much_there_is(person, rows, django_assert_max_num_queries):
    for _n in range(rows):
        make_signup(make_session(), person)
    with django_assert_max_num_queries(5):
        assert len(entries_for(person, NOW)) == rows


def test_a_name_of_any_letters_breaks_no_calendar():
    written = calendar_text([], name="Plums; pears,\r\nBcc: x").decode()
    assert "NAME:Plums\\; pears\\,\\nBcc: x\r\n" in written


def test_a_class_calls_out_before_it_begins_and_its_uid_does_not_hang_on_the_address(person, settings):
    make_signup(make_session(), person)

    def read_back():
        return Calendar.from_ical(calendar_text(entries_for(person, NOW), name="Plums"))

    calendar = read_back()
    [event] = calendar.walk("VEVENT")
    [alarm] = event.walk("VALARM")
    assert calendar["X-WR-CALNAME"] == "Plums"
    assert alarm["TRIGGER"].dt == timedelta(hours=-2)
    settings.SITE_URL = "https://another.example.test"
    [moved] = read_back().walk("VEVENT")
    assert moved["UID"] == event["UID"]
