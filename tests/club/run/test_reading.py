"""When a request is whole, so that a thread may have it."""

from __future__ import annotations

import pytest

from club.run.reading import MOST_HEAD, SHORT_BODY, has_more_to_come, is_whole

GET = b"GET /healthz HTTP/1.1\r\nHost: x\r\n"
POST = b"POST /accounts/login/ HTTP/1.1\r\nHost: x\r\n"


@pytest.mark.parametrize(
    "received",
    [
        GET + b"\r\n",
        GET + b"\r\nGET /next",
        POST + b"Content-Length: 4\r\n\r\na=12",
        POST + b"content-length:0\r\n\r\n",
        POST + b"Content-Length: %d\r\n\r\n" % (SHORT_BODY + 1),
        POST + b"Expect: 100-continue\r\nContent-Length: 9\r\n\r\n",
        POST + b"Transfer-Encoding: chunked\r\n\r\n",
        b"x" * (MOST_HEAD + 1),
    ],
)
def test_a_whole_head_with_its_short_body_or_a_long_body_to_come_is_handed_on(received):
    assert is_whole(received)


@pytest.mark.parametrize(
    "received",
    [
        b"",
        b"GET",
        GET,
        GET + b"\r",
        POST + b"Content-Length: 4\r\n\r\n",
        POST + b"Content-Length: 4\r\n\r\na=1",
        POST + b"Content-Length: %d\r\n\r\n" % SHORT_BODY,
        POST + b"Content-Length: %025d\r\n\r\n" % SHORT_BODY,
    ],
)
def test_a_request_in_part_is_read_on(received):
    assert not is_whole(received)


@pytest.mark.parametrize(
    ("received", "more"),
    [
        (GET + b"\r\n", False),
        (POST + b"Content-Length: 4\r\n\r\na=12", False),
        (POST + b"Content-Length: 4\r\n\r\na=12GET /next", False),
        (b"x" * (MOST_HEAD + 1), False),
        (POST + b"Content-Length: %d\r\n\r\nlogin" % (SHORT_BODY + 1), True),
        (POST + b"Content-Length: %025d\r\n\r\nlogin" % (SHORT_BODY + 1), True),
        (POST + b"Expect: 100-continue\r\nContent-Length: 9\r\n\r\n", True),
    ],
)
def test_a_thread_waits_for_the_rest_of_a_body_that_is_long_or_announced(received, more):
    assert has_more_to_come(received) is more
