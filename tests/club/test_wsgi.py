"""The door of the site: what comes in another charset than UTF-8 does not come in."""

from __future__ import annotations

from io import BytesIO
from wsgiref.util import setup_testing_defaults

import pytest

from club.wsgi import application, is_utf8


def status_of(content_type: str, query: str = "next=%5Cud800") -> str:
    environ = {"PATH_INFO": "/accounts/login/", "QUERY_STRING": query, "HTTP_HOST": "127.0.0.1"}
    setup_testing_defaults(environ)
    environ |= {"CONTENT_TYPE": content_type, "wsgi.input": BytesIO()}
    told: list[str] = []
    list(application(environ, lambda status, headers, *_rest: told.append(status)))
    return told[0]


@pytest.mark.django_db
@pytest.mark.parametrize("charset", ["zlib", "undefined", "unicode_escape", "utf-16", "idna", "latin-1"])
def test_a_request_in_another_charset_is_refused_and_breaks_nothing(charset):
    assert status_of(f"text/plain; charset={charset}") == "400 Bad Request"
    assert status_of(f"multipart/form-data; boundary=x; charset={charset}") == "400 Bad Request"


@pytest.mark.django_db
@pytest.mark.parametrize("kind", ["", "text/plain", "text/plain; charset=utf-8", 'text/plain; charset="UTF-8"'])
def test_utf_8_and_no_charset_at_all_are_let_in(kind):
    assert status_of(kind, query="") == "200 OK"


def test_a_charset_is_found_however_it_is_written():
    assert not is_utf8("text/plain; charset*=utf-8''zlib")
    assert not is_utf8("TEXT/PLAIN;CHARSET=zlib")
    assert is_utf8("multipart/form-data; boundary=charset=zlib")
