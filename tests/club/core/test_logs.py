"""Lines of the log and mails on errors: a zone, the request's number, and nothing of what somebody typed."""

from __future__ import annotations

import json
import logging
import re
import sys

import pytest
from django.core import mail
from django.urls import reverse

from club.celery import leave_number, send_number_along, take_number
from club.core import logs
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db
LOGIN = reverse("account_login")


def record(message: str = "%d jars", *args: object, **more: object) -> logging.LogRecord:
    made = logging.makeLogRecord(
        {"name": "club.jars", "levelname": "ERROR", "levelno": logging.ERROR, "msg": message, "args": args or (7,)}
    )
    made.__dict__.update(more)
    return made


def test_a_well_formed_number_of_the_proxy_is_kept(client):
    assert client.get(LOGIN, headers={"X-Request-ID": "front-1.4f1c"})["X-Request-ID"] == "front-1.4f1c"


@pytest.mark.parametrize(
    "number", ["", "short", "x" * 65, "with a space", "a\r\nSet-Cookie: b", "<script>alert", "jäääääääm"]
)
def test_any_other_is_replaced_by_one_of_ours(client, number):
    given = client.get(LOGIN, headers={"X-Request-ID": number})["X-Request-ID"]
    assert re.fullmatch("[0-9a-f]{32}", given)


def test_each_request_has_one_line_with_its_route_and_no_path(client, caplog):
    with caplog.at_level(logging.INFO, "club.requests"):
        client.get("/people/invitation/a-secret-token/")
        client.get("/healthz/live")
        client.get(LOGIN)
    lines = [one for one in caplog.records if one.name == "club.requests"]
    assert len(lines) == 2
    assert "secret" not in "".join(one.getMessage() for one in lines)
    assert lines[1].fields == {**lines[1].fields, "method": "GET", "route": "accounts/login/", "status": 200}


def test_a_plain_line_has_a_zone_and_the_number():
    with logs.numbered("front-1.4f1c"):
        line = logs.PlainFormatter().format(record())
    assert re.fullmatch(
        r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d ERROR club\.jars \[front-1\.4f1c\] 7 jars", line
    )


def test_a_line_in_json_is_one_object_with_all_there_is():
    try:
        raise ValueError("no lid")
    except ValueError:
        error = sys.exc_info()
    with logs.numbered("front-1.4f1c"):
        line = logs.JsonFormatter().format(record("two\nlines", exc_info=error, args=(), fields={"status": 200}))
    assert "\n" not in line
    told = json.loads(line)
    assert told == {**told, "level": "ERROR", "message": "two\nlines", "request_id": "front-1.4f1c", "status": 200}
    assert "no lid" in told["exception"]
    assert "request_id" not in json.loads(logs.JsonFormatter().format(record()))


def test_a_number_goes_along_with_a_message_to_a_worker_and_ends_with_its_task():
    class Task:
        class request(dict):  # noqa: N801 - as Celery has it
            pass

    headers: dict[str, str] = {}
    with logs.numbered("front-1.4f1c"):
        send_number_along(headers)
    task = Task()
    task.request = headers
    take_number(task_id="one-task-of-many", task=task)
    assert logs.request_id() == "front-1.4f1c"
    leave_number(task_id="one-task-of-many")
    assert logs.request_id() == ""
    task.request = {}
    take_number(task_id="one-task-of-many", task=task)
    assert logs.request_id() == "one-task-of-many"
    leave_number(task_id="one-task-of-many")


def test_a_mail_has_the_number_of_what_wrote_it(client):
    person = make_person()
    client.post(reverse("account_reset_password"), {"email": person.email}, headers={"X-Request-ID": "front-1.4f1c"})
    assert mail.outbox[0].extra_headers["X-Request-ID"] == "front-1.4f1c"


@pytest.fixture
def admins(settings):
    settings.ADMINS = [("", "house@example.org")]


def test_an_error_is_mailed_once_without_what_the_request_sent(client, admins, monkeypatch):
    monkeypatch.setattr("club.reminders.views.inbox_read_all", lambda **named: 1 / 0)
    client.raise_request_exception = False
    person = make_person()
    client.force_login(person)
    for _ in range(2):
        answer = client.post(reverse("reminders:read-all"), {"note": "sour cherry stones"})
        assert answer.status_code == 500
    (told,) = mail.outbox
    assert told.to == ["house@example.org"]
    assert "POST reminders/inbox/read/" in told.subject
    assert "ZeroDivisionError" in told.body
    assert answer["X-Request-ID"] not in told.body  # that is the second one's
    assert "cherry" not in told.body
    assert person.email not in told.body


def test_a_site_that_is_not_ready_is_no_error_of_its_page(client, admins, monkeypatch):
    monkeypatch.setattr("club.reminders.outbox.broker_state", lambda: "gone")
    assert client.get("/healthz/ready").status_code == 503
    assert mail.outbox == []


def test_nobody_is_mailed_where_nobody_is_named(settings):
    settings.ADMINS = []
    logs.MailToAdmins().emit(record())
    assert mail.outbox == []


def test_a_mail_that_cannot_go_out_breaks_nothing(admins, settings, monkeypatch):
    monkeypatch.setattr(logging, "raiseExceptions", False)
    settings.EMAIL_BACKEND = "no.such.backend"
    logs.MailToAdmins().emit(record())
