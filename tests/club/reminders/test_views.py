from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError
from django.urls import reverse

from club.reminders import outbox
from club.reminders.models import Reminder, ReminderQuerySet, ReminderState
from inventory.batches.models import Batch
from tests.factories.members import make_organiser, make_person
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

OUT = datetime(2026, 8, 14, 18, 10, tzinfo=UTC)


@pytest.fixture
def broker_answers(monkeypatch):
    monkeypatch.setattr(outbox, "broker_state", lambda: "ok")


@pytest.fixture
def dead() -> Reminder:
    return make_reminder(
        make_waiting_batch(OUT), now=OUT, state=ReminderState.DEAD, attempts=10, last_error="550 no such box"
    )


@pytest.fixture
def organiser(client):
    person = make_organiser()
    client.force_login(person)
    return person


def test_health_is_public_and_says_how_late_the_oldest_reminder_is(client, broker_answers):
    make_reminder(make_waiting_batch(datetime.now(UTC) - timedelta(hours=13)), now=OUT)
    answer = client.get("/healthz")
    assert answer.status_code == 200
    told = answer.json()
    assert (told["database"], told["broker"]) == ("ok", "ok")
    assert 3590 <= told["oldest_due_reminder_late_s"] <= 3700
    assert "no-store" in answer["Cache-Control"]


def test_health_counts_what_was_given_up(client, broker_answers, dead):
    assert client.get("/healthz").json()["reminders_given_up"] == 1


def test_health_is_503_when_the_database_is_gone(client, broker_answers, monkeypatch):
    def gone(self, now):
        raise DatabaseError("the disk went away")

    monkeypatch.setattr(ReminderQuerySet, "lateness", gone)
    monkeypatch.setattr(outbox.connection, "close", lambda: None)  # the test's own transaction lives on it
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["database"] == "gone"


def test_health_is_200_when_only_the_broker_is_gone(client, settings, tmp_path):
    settings.REDIS_URL = f"unix://{tmp_path / 'nobody.sock'}"
    answer = client.get("/healthz")
    assert answer.status_code == 200
    assert answer.json()["broker"] == "gone"


def test_health_answers_with_a_broken_session_cookie(client, broker_answers):
    client.cookies["sessionid"] = "forged"
    assert client.get("/healthz").status_code == 200


def test_health_takes_no_post(client, broker_answers):
    assert client.post("/healthz").status_code == 405


def test_an_organiser_sees_what_was_given_up_and_why(client, organiser, dead):
    page = client.get(reverse("reminders:dead")).content.decode()
    assert "550 no such box" in page
    assert dead.person.email in page
    assert Batch.objects.get().lot_code in page  # so that the organiser can find the jars


def test_an_empty_list_says_so(client, organiser):
    assert "No reminder was given up." in client.get(reverse("reminders:dead")).content.decode()


def test_resending_puts_it_back_and_pressing_twice_harms_nothing(client, organiser, dead):
    for _ in range(2):
        answer = client.post(reverse("reminders:resend", args=[dead.pk]), follow=True)
        assert answer.status_code == 200
    dead.refresh_from_db()
    assert (dead.state, dead.attempts) == (ReminderState.DUE, 0)


@pytest.mark.parametrize("page", ["dead", "resend"])
def test_a_member_is_refused(client, dead, page):
    client.force_login(make_person())
    ask = client.get if page == "dead" else client.post
    args = [] if page == "dead" else [dead.pk]
    assert ask(reverse(f"reminders:{page}", args=args)).status_code == 403
    dead.refresh_from_db()
    assert dead.state == ReminderState.DEAD


@pytest.mark.parametrize("page", ["dead", "resend"])
def test_nobody_is_sent_to_the_sign_in_page(client, dead, page):
    ask = client.get if page == "dead" else client.post
    answer = ask(reverse(f"reminders:{page}", args=[] if page == "dead" else [dead.pk]))
    assert answer.status_code == 302
    assert answer["Location"].startswith("/accounts/login/")


def test_a_reminder_that_does_not_exist_is_404(client, organiser):
    assert client.post(reverse("reminders:resend", args=[999_999])).status_code == 404


def test_resending_wants_a_post(client, organiser, dead):
    assert client.get(reverse("reminders:resend", args=[dead.pk])).status_code == 405


@pytest.mark.parametrize("rows", [1, 30])
def test_the_list_asks_as_many_queries_for_thirty_rows_as_for_one(client, rows, django_assert_max_num_queries):
    person = make_organiser()
    for _ in range(rows):
        make_reminder(make_waiting_batch(OUT), now=OUT, state=ReminderState.DEAD)
    client.force_login(person)
    # the rows, their people, what they are about; who is signed in and her inbox in the head; whose mail came back
    with django_assert_max_num_queries(9):
        answer = client.get(reverse("reminders:dead"))
    assert answer.content.decode().count("<form") >= rows
