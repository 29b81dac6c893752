from __future__ import annotations

import socket

import pytest

from club.run import site
from tests.drills.mail_sink import free_port


def test_a_second_holder_of_the_lock_is_told_who_has_it(tmp_path):
    refused = pytest.raises(site.SiteError, match=r"already running from .* \(process \d+\)")
    with site.only_one(tmp_path), refused, site.only_one(tmp_path):
        pass
    with site.only_one(tmp_path):
        pass  # the first let go of it


def test_a_taken_port_is_named_and_another_offered():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        refused = pytest.raises(site.SiteError, match=rf"Port {port} on 127.0.0.1 cannot be used.*--port {port + 1}")
        with refused, site.listening("127.0.0.1", port, patience=0):
            pass


def test_the_port_is_ours_from_then_on():
    port = free_port()
    with site.listening("127.0.0.1", port) as listener, socket.create_connection(("127.0.0.1", port)):
        assert str(listener.fileno()) in " ".join(site.web(listener).argv)  # for whoever reads from its queue
        assert site.web(listener).sockets == (listener.fileno(),)


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("127.0.0.1", "http://127.0.0.1:8000"),
        ("0.0.0.0", "http://127.0.0.1:8000"),
        ("::", "http://[::1]:8000"),
        ("hall.example", "http://hall.example:8000"),
    ],
)
def test_the_address_is_one_a_browser_here_can_open(host, address):
    assert site.address(host, 8000) == address


def test_nobody_listening_is_no_answer():
    assert site.answers("127.0.0.1", free_port(), site_host="127.0.0.1") is False


class Parts:
    """A supervisor as the watch sees it."""

    def __init__(self) -> None:
        self.now, self.up, self.said, self.ended = 0.0, 1000.0, [], []
        self.clock, self.announce = (lambda: self.now), self.said.append

    def seconds_up(self, name: str) -> float:
        return self.up

    def end_one(self, name: str, why: str) -> None:
        self.ended.append(name)


WELL = {"ready": True, "reasons": [], "database": "ok", "broker": "ok", "last_tick_s_ago": 30}


@pytest.fixture
def watched():
    """Look so many times at parts that say this; returns what the supervisor was told."""

    def look(found, *, times=1, broker_speaks=True, parts=None):
        parts = parts or Parts()
        watch = site.Watch(parts, readiness=lambda: found, broker_speaks=lambda: broker_speaks)
        for _ in range(times):
            watch.look()
            watch.look()  # too soon: asks nobody
            parts.now += site.ASK_EVERY_S
        return parts

    return look


def test_a_site_that_does_its_work_is_left_alone(watched):
    parts = watched(WELL, times=20)
    assert (parts.ended, parts.said) == ([], [])


def test_a_web_server_that_hangs_is_ended_when_it_was_silent_several_times(watched):
    assert watched(None, times=site.MOST_SILENT - 1).ended == []
    assert watched(None, times=site.MOST_SILENT).ended == ["web"]


def test_a_broker_that_hangs_is_ended_too(watched):
    assert watched(WELL, times=site.MOST_SILENT, broker_speaks=False).ended == ["broker"]


@pytest.mark.parametrize("ago", [None, site.ROUND_PATIENCE_S + 1])
def test_a_worker_that_takes_nothing_is_ended_with_the_beat_once_both_had_their_time(watched, ago):
    assert watched({**WELL, "last_tick_s_ago": ago}).ended == ["worker", "beat"]
    young = Parts()
    young.up = 60.0
    assert watched({**WELL, "last_tick_s_ago": ago}, parts=young).ended == []


@pytest.mark.parametrize("gone", ["database", "broker"])
def test_nobody_is_ended_for_what_another_part_lacks(watched, gone):
    assert watched({**WELL, "last_tick_s_ago": 9000, gone: "gone"}, times=9).ended == []


def test_what_the_site_lacks_is_said_once(watched):
    parts = watched({**WELL, "reasons": ["the disk is full"]}, times=3)
    assert parts.said == ["The site is not ready: the disk is full."]
    assert watched(WELL, parts=parts).said == ["The site is not ready: the disk is full."]
