"""Every address of the site, asked by nobody: only those on a short list may answer."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import product
from typing import Any

import pytest
from django.urls import Resolver404, URLPattern, URLResolver, get_resolver, resolve, reverse
from django.utils.regex_helper import normalize

from club.members.choices import Role
from tests.factories.members import make_person

PUBLIC = {
    "account_login",
    "account_logout",
    "account_signup",
    "account_inactive",
    "account_confirm_email",
    "account_email_verification_sent",
    "account_request_login_code",
    "account_confirm_login_code",
    "account_reset_password",
    "account_reset_password_done",
    "account_reset_password_from_key",
    "account_reset_password_from_key_done",
    "members:invitation",
    "members:address-agree",  # the link in a mail to somebody's present address: its signature says which
    "classes:by-mail",  # the link in a mail about a seat: its signature opens one sign-up, and signs nobody in
    "desk:privacy",  # what is kept of people, also for who is asked to join
    "desk:street",  # while the club holds its door open; nothing of members is on these
    "desk:street-class",
    "desk:street-recipe",
    "desk:street-recipes",
    "members:join",
    "desk:robots",
    "desk:sitemap",
    "kitchen-worker",  # a script and a name: nobody's data is in them
    "kitchen-manifest",
    "kitchen-icon",  # one picture for all
    "healthz",
    "healthz-live",
    "healthz-ready",
    "metrics",  # for whoever brings the token, and off without one
    "calendar:feed",  # a calendar program cannot sign in; the address itself is the secret
    "reminders:stop",  # a mail's own link: whoever reads the mail may stop its kind, and nothing else
}
SAMPLES = ("1", "x", "members", "26011-CDF", "a-word", "1-x", "2026", "00000000-0000-4000-8000-000000000000")


def leaves(patterns: Any, prefix: str = "", space: str = "") -> Iterator[tuple[str, str, URLPattern]]:
    """Name with its namespace, the whole regex, and the pattern, for every address of the site."""
    for pattern in patterns:
        regex = prefix + pattern.pattern.regex.pattern.removeprefix("^")
        if isinstance(pattern, URLResolver):
            yield from leaves(
                pattern.url_patterns, regex, f"{space}{pattern.namespace}:" if pattern.namespace else space
            )
        else:
            yield f"{space}{pattern.name or regex}", regex, pattern


def address_of(regex: str, pattern: URLPattern) -> str | None:
    """A path that leads to this very pattern, filled with sample values; None when no sample fits."""
    fits = re.compile(regex).match
    for form, names in normalize(regex):
        for values in product(SAMPLES, repeat=len(names)):
            path = "/" + form % dict(zip(names, values, strict=True))
            if not fits(path[1:]):  # quicker than to ask every address of the site
                continue
            try:
                if resolve(path).func is pattern.callback:
                    return path
            except Resolver404:
                continue
    return None


EVERY = list(leaves(get_resolver().url_patterns))


def is_turned_away(answer: Any) -> bool:
    signs = (reverse("account_login"), reverse("admin:login"))
    return answer.status_code == 302 and answer.url.startswith(signs)


@pytest.mark.django_db
@pytest.mark.parametrize(("name", "regex", "pattern"), EVERY, ids=[name for name, _regex, _pattern in EVERY])
def test_nobody_gets_past_the_sign_in_but_to_the_public_pages(client, name, regex, pattern):
    path = address_of(regex, pattern)
    assert path is not None, f"no sample value fits {regex}: add one to SAMPLES"
    if name in PUBLIC:
        return
    for ask in (client.get, client.post):
        answer = ask(path)
        assert is_turned_away(answer), f"{name} ({path}) answered nobody with {answer.status_code}"


def test_the_walk_sees_the_rooms_and_allauth_and_the_admin_site():
    names = {name for name, _regex, _pattern in EVERY}
    assert {"members:me", "members:kitchen-change", "account_email", "admin:index"} <= names
    assert len(names) > 40


@pytest.mark.django_db
def test_the_walk_would_catch_an_open_page(client):
    assert not is_turned_away(client.get(reverse("account_login")))


@pytest.mark.django_db
def test_no_name_on_the_list_is_stale():
    assert {name for name, _regex, _pattern in EVERY} >= PUBLIC


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/", "/batches/", "/batches/trace/", "/batches/lids/", "/people/", "/recipes/"])
def test_a_page_that_is_only_read_answers_head_and_takes_nothing(client, path):
    client.force_login(make_person(Role.ORGANISER))
    assert client.head(path).status_code == 200
    assert {client.post(path).status_code, client.put(path).status_code} == {405}
