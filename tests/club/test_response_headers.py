"""The headers of the site's answers beside the ones that are wanted."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from tests.factories.members import make_person

pytestmark = pytest.mark.django_db

EVERYWHERE = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
# Page: for nobody and for somebody signed in, what Cache-Control has to say; None: the page is not for them.
WANTED = {
    "/accounts/login/": ("no-store", None),
    "/accounts/login/code/": ("no-store", None),
    "/accounts/password/reset/": ("", "no-store"),
    "/healthz": ("no-cache", "no-cache"),
    "/": (None, "no-store"),
    "/people/me/": (None, "no-store"),
    "/people/me/browsers/": (None, "no-store"),
    "/accounts/2fa/": (None, "no-store"),
    "/recipes/": (None, "no-store"),
    "/no-such-page/": (None, "no-store"),
}


@pytest.mark.parametrize("is_signed_in", [False, True])
@pytest.mark.parametrize("page", WANTED)
def test_an_answer_has_the_headers_of_the_table(client, page, is_signed_in):
    wanted = WANTED[page][is_signed_in]
    if is_signed_in:
        client.force_login(make_person())
    answer = client.get(page)
    if wanted is None:
        assert answer.status_code == 302 or not is_signed_in
        return
    assert answer.headers.items() >= EVERYWHERE.items()
    assert "camera=()" in answer.headers["Permissions-Policy"]
    assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    assert wanted in answer.headers.get("Cache-Control", "")


def test_files_and_refused_bodies_have_them_too(settings):
    settings.WHITENOISE_USE_FINDERS = settings.WHITENOISE_AUTOREFRESH = True
    client = Client()  # its middleware is put together by these settings
    file = client.get("/static/club/look.css")
    refused = client.post("/accounts/login/", HTTP_TRANSFER_ENCODING="chunked")
    assert (file.status_code, refused.status_code) == (200, 411)
    for answer in (file, refused):
        assert answer.headers.items() >= EVERYWHERE.items()
        assert "camera=()" in answer.headers["Permissions-Policy"]
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]


@pytest.mark.parametrize("page", ["/accounts/login/", "/recipes/"])
def test_a_trace_gives_nothing_back_of_what_was_sent(client, page):
    client.force_login(make_person())
    answer = client.trace(page, HTTP_X_SENT="a-word-of-the-sender")
    assert b"a-word-of-the-sender" not in answer.content


def test_cookies_are_read_by_no_script_and_sent_by_no_other_site(client, settings):
    person = make_person()
    client.post(reverse("account_login"), {"login": person.email, "password": "seven copper ladles"})
    for name in ("sessionid", "known"):
        assert client.cookies[name]["httponly"]
        assert client.cookies[name]["samesite"] == "Lax"
        assert client.cookies[name]["path"] == "/"
