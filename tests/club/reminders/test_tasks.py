"""The broker carries nothing but "look now": no hour, no countdown, nothing that is missed when it is lost."""

from __future__ import annotations

import pytest
from kombu.exceptions import OperationalError

from club.celery import app
from club.reminders import tasks


@pytest.fixture
def called(monkeypatch) -> list[dict[str, object]]:
    calls: list[dict[str, object]] = []
    monkeypatch.setattr(tasks.send, "apply_async", lambda **told: calls.append(told))
    return calls


def test_as_many_senders_are_called_as_are_wanted_and_soon_or_not_at_all(called):
    tasks.call_senders(3)
    assert len(called) == 3
    assert all(told["expires"] <= 10 and told.keys() == {"expires", "retry"} for told in called)


def test_with_the_broker_away_the_one_who_calls_goes_on_alone(monkeypatch):
    tried = []

    def away(**told):
        tried.append(told)
        raise OperationalError("nobody listens")

    monkeypatch.setattr(tasks.send, "apply_async", away)
    tasks.call_senders(3)
    assert len(tried) == 1


def test_what_beat_sends_says_when_it_is_void_and_holds_no_hour():
    assert app.conf.beat_schedule
    for entry in app.conf.beat_schedule.values():
        assert entry.keys() == {"task", "schedule", "options"}
        assert entry["options"].keys() == {"expires"}
        assert entry["options"]["expires"] <= entry["schedule"] <= 60


def test_beat_lists_every_periodic_job_of_every_room_and_gathers_last():
    app.loader.import_default_modules()
    of_rooms = {name for name in app.tasks if not name.startswith("celery.")}
    scheduled = [entry["task"] for entry in app.conf.beat_schedule.values()]
    assert sorted(scheduled) == sorted(of_rooms - {tasks.send.name})
    assert scheduled[-1] == tasks.gather_and_send.name
