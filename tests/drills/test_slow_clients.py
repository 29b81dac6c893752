"""Clients that say nothing, or half of what they have to say, keep nobody else from the site."""

from __future__ import annotations

import contextlib
import http.client
import socket
import urllib.request
from collections.abc import Iterator
from dataclasses import replace

import pytest

from club.run import reading, site, web
from tests.drills.mail_sink import free_port

pytestmark = [pytest.mark.worker, pytest.mark.once]  # it asks for a page without a row

THREADS = web.workers * web.threads
HEAD = b"POST /accounts/login/ HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/x-www-form-urlencoded\r\n"
# What each of many clients sends, and then nothing more.
SILENT = b""
HALF_A_HEAD = HEAD[:40]
HALF_A_BODY = HEAD + b"Content-Length: 1000\r\n\r\nlogin=somebody"
HALF_A_LONG_BODY = HEAD + b"Content-Length: %d\r\n\r\nlogin=somebody" % (reading.SHORT_BODY + 1)
AN_ANNOUNCED_BODY = HEAD + b"Expect: 100-continue\r\nContent-Length: 1000\r\n\r\n"
A_ZERO_PADDED_LENGTH = HEAD + b"Content-Length: %030d\r\n\r\nlogin=somebody" % 1000


@contextlib.contextmanager
def clients(port: int, count: int, *sent: bytes) -> Iterator[list[socket.socket]]:
    with contextlib.ExitStack() as held:
        opened = [
            held.enter_context(socket.create_connection(("127.0.0.1", port), timeout=10))
            for _ in range(count)
            for _part in sent
        ]
        for index, one in enumerate(opened):
            one.sendall(sent[index % len(sent)])
        yield opened


def healthy(port: int) -> bool:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=10) as answer:
        return answer.status == 200


def status_of(one: socket.socket) -> int:
    """Of the next answer, which is read to its end."""
    answer = http.client.HTTPResponse(one)
    answer.begin()
    answer.read()
    return answer.status


@pytest.fixture
def started(drill_site, request):
    """Start the web part as `up` has it, perhaps with another config; returns its port."""
    drill_site.environment["DEBUG"] = "1"  # its pages ask for no collected static files

    def start(config: str = "python:club.run.web") -> int:
        port = free_port()
        listening = contextlib.ExitStack()
        request.addfinalizer(listening.close)
        part = site.web(listening.enter_context(site.listening("127.0.0.1", port)))
        argv = tuple(config if word == "python:club.run.web" else word for word in part.argv)
        drill_site.start(replace(part, argv=argv))
        drill_site.wait_until(lambda: site.answers("127.0.0.1", port, site_host="127.0.0.1"))
        return port

    return start


def test_silent_and_half_sent_requests_keep_nobody_waiting(started):
    port = started()
    with clients(port, 3 * THREADS, SILENT, HALF_A_HEAD, HALF_A_BODY):
        assert all(healthy(port) for _ in range(20))


@pytest.mark.parametrize(
    "sent",
    [HALF_A_LONG_BODY, AN_ANNOUNCED_BODY, A_ZERO_PADDED_LENGTH],
    ids=["half a long body", "an announced body", "a zero-padded length"],
)
def test_bodies_that_a_thread_would_wait_for_keep_nobody_waiting(started, sent):
    port = started()
    with clients(port, 3 * THREADS, sent):
        assert all(healthy(port) for _ in range(20))


def test_a_long_body_waits_for_its_turn_and_is_answered(started):
    port = started("python:tests.drills.one_worker")
    body = b"login=" + b"x" * reading.SHORT_BODY
    long_body = HEAD + b"Content-Length: %d\r\n\r\n" % len(body)
    with clients(port, web.threads // 2, HALF_A_LONG_BODY) as first, clients(port, 1, long_body) as (one,):
        one.sendall(body)
        one.settimeout(1)
        with pytest.raises(TimeoutError):
            one.recv(1)
        first[0].close()
        one.settimeout(10)
        assert status_of(one) == 403  # it brought no token of a form


def test_a_request_that_is_sent_in_pieces_is_answered(started):
    port = started()
    with clients(port, 1, b"GET /healthz HT") as (one,):
        assert healthy(port)
        one.sendall(b"TP/1.1\r\nHost: 127.0.0.1\r\n\r\nGET /hea")
        assert status_of(one) == 200
        one.sendall(b"lthz HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
        assert status_of(one) == 200


def test_who_does_not_finish_in_time_is_cut_off_and_the_site_answers_again(started):
    port = started("python:tests.drills.hasty_web")
    with clients(port, web.threads, SILENT, HALF_A_HEAD, HALF_A_BODY, HALF_A_LONG_BODY) as opened:
        # What comes is at most an answer that says no; then the server ends the connection.
        for one in opened:
            answer = b""
            with contextlib.suppress(ConnectionResetError):
                while more := one.recv(100_000):
                    answer += more
            assert answer == b"" or answer.startswith(b"HTTP/1.1 4")
        assert healthy(port)


def test_a_head_without_end_is_refused(started):
    port = started()
    with clients(port, 1, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n" + b"X: " + b"x" * 10_000 + b"\r\n\r\n") as (one,):
        assert one.recv(100_000).startswith(b"HTTP/1.1 4")


@pytest.mark.parametrize(
    ("told", "status"),
    [(b"Content-Length: 80000000\r\n", 413), (b"Transfer-Encoding: chunked\r\n", 411)],
    ids=["80 MB", "no length"],
)
def test_an_endless_body_is_refused_at_once_and_cut_off(started, told, status):
    port = started()
    with clients(port, 1, HEAD + told + b"\r\nlogin=") as (one,):
        assert status_of(one) == status
        with pytest.raises(ConnectionError):
            one.sendall(b"x" * 79_000_000)
        assert healthy(port)
