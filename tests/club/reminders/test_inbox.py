"""The inbox on the site: what she was told, what she has read, and how many wait."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.test import RequestFactory
from django.urls import reverse

from club.desk.context import house
from club.members.models import User
from club.reminders.models import Reminder, ReminderState
from club.reminders.services import MOST_COUNTED, inbox_read_all, unread_and_roles
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_received

pytestmark = pytest.mark.django_db

INBOX = "/reminders/inbox/"
NOW = datetime(2026, 8, 14, 18, tzinfo=UTC)


@pytest.fixture
def person(client) -> User:
    person = make_person()
    client.force_login(person)
    return person


def test_she_sees_what_was_mailed_and_what_was_shown_the_latest_first(client, person):
    make_received(person, "The older one", sent_at=NOW)
    make_received(person, "The newer one", sent_at=NOW + timedelta(hours=1), state=ReminderState.SHOWN)
    page = client.get(INBOX).content.decode()
    assert page.index("The newer one") < page.index("The older one")
    assert page.count("also by mail") == 1


@pytest.mark.parametrize("state", [ReminderState.DUE, ReminderState.SENDING, ReminderState.SETTLED, ReminderState.DEAD])
def test_what_she_was_not_told_is_not_there(client, person, state):
    make_received(person, "Told")
    make_received(person, "Untold", state=state)
    page = client.get(INBOX).content.decode()
    assert "Told" in page
    assert "Untold" not in page


def test_another_ones_is_not_there_and_cannot_be_opened_not_even_by_an_organiser(client, person):
    reminder = make_received(person, "Hers")
    assert "Hers" in client.get(INBOX).content.decode()
    for other in (make_person(), make_organiser()):
        client.force_login(other)
        assert "Hers" not in client.get(INBOX).content.decode()
        assert client.post(reverse("reminders:open", args=[reminder.pk])).status_code == 404
    reminder.refresh_from_db()
    assert reminder.read_at is None


def test_opening_one_leads_to_its_page_and_marks_it_read_at_the_first_time(client, person):
    reminder, other = make_received(person, path="/batches/26-1/seals/"), make_received(person)
    answer = client.post(reverse("reminders:open", args=[reminder.pk]))
    assert answer.url == "/batches/26-1/seals/"
    reminder.refresh_from_db()
    first = reminder.read_at
    assert first is not None
    client.post(reverse("reminders:open", args=[reminder.pk]))
    reminder.refresh_from_db()
    other.refresh_from_db()
    assert (reminder.read_at, other.read_at) == (first, None)


@pytest.mark.parametrize("path", ["https://elsewhere.example/", "//elsewhere.example/", "", "/\\elsewhere.example"])
def test_a_path_that_leads_off_the_site_is_not_followed(client, person, path):
    reminder = make_received(person, path=path)
    assert client.post(reverse("reminders:open", args=[reminder.pk])).url == INBOX


def test_marking_all_read_marks_hers_alone(client, person):
    make_received(person)
    make_received(person)
    theirs = make_received(make_person())
    client.post(reverse("reminders:read-all"))
    assert unread_and_roles(person)[0] == 0
    assert unread_and_roles(theirs.person)[0] == 1
    assert inbox_read_all(by=person) == 0


@pytest.mark.parametrize("name", ["open", "read-all"])
def test_marking_wants_a_post_and_a_person(client, person, name):
    reminder = make_received(person)
    address = reverse(f"reminders:{name}", args=[reminder.pk] if name == "open" else [])
    assert client.get(address).status_code == 405
    client.logout()
    assert client.post(address).status_code == 302
    assert unread_and_roles(person)[0] == 1


def test_an_empty_inbox_says_so(client, person):
    assert "Nothing yet." in client.get(INBOX).content.decode()


def test_the_head_of_every_page_says_how_many_wait(client, person):
    make_received(person)
    make_received(person, read_at=NOW)
    for page in (INBOX, "/", "/recipes/"):
        assert '<span class="unread">1<' in client.get(page).content.decode()
    inbox_read_all(by=person)
    assert 'class="unread"' not in client.get("/").content.decode()


def test_many_are_many(client, person):
    row = make_received(person)
    more = [
        Reminder(
            person=person,
            rule=row.rule,
            subject=row.subject,
            occurrence=str(n),
            due_at=NOW,
            next_try_at=NOW,
            state=ReminderState.SHOWN,
            headline="More",
        )
        for n in range(MOST_COUNTED + 20)
    ]
    Reminder.objects.bulk_create(more)
    assert f">{MOST_COUNTED}+<" in client.get("/recipes/").content.decode()


def test_a_page_that_does_not_show_the_count_does_not_ask_for_it(person, django_assert_num_queries):
    request = RequestFactory().get("/")
    request.user = person
    with django_assert_num_queries(0):
        asked = house(request)
    with django_assert_num_queries(1):
        assert asked["unread"]() == ""
        assert 'href="/pantry/"' in asked["rooms"]()


def test_nobodys_page_asks_nothing(client, django_assert_num_queries):
    with django_assert_num_queries(0):
        page = client.get(reverse("account_login")).content.decode()
    assert "inbox" not in page


@pytest.mark.parametrize("rows", [1, 30, 61])
def test_the_inbox_asks_as_many_queries_for_many_rows_as_for_one(client, person, rows, django_assert_max_num_queries):
    for _ in range(rows):
        make_received(person)
    with django_assert_max_num_queries(5):  # session, person, count, rows, unread
        page = client.get(INBOX).content.decode()
    assert page.count("letter-open") == min(rows, 30)
    assert ("Page 1 of" in page) == (rows > 30)
