"""Every page and form of the demo club, asked with whole numbers that no column can hold: a sentence, never a break."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial
from html.parser import HTMLParser
from itertools import product
from urllib.parse import parse_qsl, urlencode, urljoin, urlsplit

import pytest
from django.contrib.auth.models import Group
from django.db import connection, transaction
from django.urls import Resolver404, resolve
from django.utils import timezone

from club.members.choices import Role
from club.members.models import User
from club.run.demo import demo_load
from recipes.services import library_load
from tests.club.test_every_page_needs_sign_in import EVERY
from tests.factories.members import make_person
from tests.helpers import IS_WHOLE
from tests.published.library import LIBRARY

pytestmark = pytest.mark.long

# Beyond every column of SQLite. On PostgreSQL they are as narrow as their fields, and most hold 32 bits.
BEYOND = [2**63 if connection.vendor == "sqlite" else 2**31]
if IS_WHOLE and connection.vendor != "sqlite":
    BEYOND += [2**63, 2**15]
# Fields, drawn by chance: the seed is in the head of the run. Every form is asked on either database.
OF_EACH_FORM = None if IS_WHOLE else 3 if connection.vendor == "sqlite" else 1
OF_EACH_VIEW = 1  # page of the same view and the same questions that is looked at
LEFT_OUT = re.compile(r"logout|/admin/.*(password|delete)")  # they end the session or are Django's own
NUMBER = re.compile(r"[0-9]+")


@dataclass
class Form:
    """A form as a browser would send it; `numbers` are the fields in which somebody could type or forge a number."""

    action: str
    method: str
    values: list[tuple[str, str]] = field(default_factory=list)
    numbers: set[str] = field(default_factory=set)

    @property
    def sort(self) -> tuple[str, str, tuple[str, ...]]:
        """Forms of the same sort are asked once."""
        return _view(self.action), self.method, tuple(sorted({NUMBER.sub("0", name) for name in self.numbers}))


class Page(HTMLParser):
    """The links and forms of a page."""

    def __init__(self, address: str, text: str) -> None:
        super().__init__()
        self.address, self.links, self.forms = address, [], []
        self.by_id: dict[str, Form] = {}
        self.inside: Form | None = None
        self.choices: tuple[Form, str] | None = None
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        told = {name: value or "" for name, value in attributes}
        if tag == "a" and "href" in told:
            self.links.append(urljoin(self.address, told["href"]).partition("#")[0])
        elif tag == "form":
            action = urljoin(self.address, told.get("action", ""))
            self.inside = Form(action, told.get("method", "get").lower())
            self.forms.append(self.inside)
            self.by_id[told.get("id", "")] = self.inside
        elif tag == "option" and self.choices:
            self.take(*self.choices, told.get("value", ""), "selected" in told)
        elif told.get("name") and (form := self.by_id.get(told.get("form", ""), self.inside)):
            if tag == "select":
                self.choices = form, told["name"]
            elif tag in ("input", "button"):
                self.take_input(form, told, tag)

    def take_input(self, form: Form, told: dict[str, str], tag: str) -> None:
        kind = told.get("type", "text")
        if kind in ("number", "hidden") or told.get("inputmode") in ("numeric", "decimal"):
            form.numbers.add(told["name"])
        is_sent = tag == "input" and kind not in ("checkbox", "file", "submit")
        self.take(form, told["name"], told.get("value", ""), is_sent or "checked" in told)

    def take(self, form: Form, name: str, value: str, is_sent: bool) -> None:
        if value.isdecimal():
            form.numbers.add(name)
        if is_sent:
            form.values.append((name, value))

    def handle_endtag(self, tag):
        if tag == "form":
            self.inside = None
        elif tag == "select":
            self.choices = None


def _view(address: str) -> str:
    return resolve(urlsplit(address).path).view_name


@pytest.fixture
def person(db):
    return make_person(*Role)


@pytest.fixture
def organiser_of_the_demo(db):
    library_load(paths=[LIBRARY])
    demo_load(now=timezone.now())
    return User.objects.filter(groups__name="organiser").order_by("pk").first()


@pytest.fixture
def asker(client):
    """Asks as the person it is given, with every role; what the database did is taken back. It notes what broke."""
    return partial(asking_as, client)


def asking_as(client, person):
    person.groups.set(Group.objects.all())
    User.objects.filter(pk=person.pk).update(is_staff=True, is_superuser=True)
    client.force_login(person)
    client.raise_request_exception = False
    found: list[str] = []

    def ask(method: str, address: str, sent=None):
        with transaction.atomic():
            answer = client.post(address, sent) if method == "post" else client.get(address)
            transaction.set_rollback(True)
        if answer.status_code == 302 and answer.url.startswith("/accounts/login"):
            client.force_login(person)
        if answer.status_code >= 500:
            found.append(f"{method} {address} {sent or ''}")
        return answer

    ask.found = found
    return ask


def pages(ask) -> Iterator[Page]:
    """Every page that links lead to, a few of each view."""
    seen: Counter[object] = Counter()
    waiting = ["/"]
    while waiting:
        address = waiting.pop(0)
        path, query = urlsplit(address)[2:4]
        try:
            found = resolve(path)
        except Resolver404:
            continue
        sort = found.view_name, tuple(sorted(name for name, _value in parse_qsl(query)))
        seen[sort] += 1
        if seen[sort] > OF_EACH_VIEW or LEFT_OUT.search(address):
            continue
        answer = ask("get", address)
        if answer.status_code in (301, 302):
            waiting.append(urljoin(address, answer.url))
        elif answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            page = Page(address, answer.content.decode())
            waiting += [link for link in page.links if link.startswith("/")]
            yield page


def questions_of(found: list[Page]) -> dict[tuple[str, str], str]:
    """What each view is asked for in an address, and on which page; every one is asked for a page as well."""
    asked: dict[tuple[str, str], str] = {}
    for page in found:
        path, query = urlsplit(page.address)[2:4]
        for name, _value in parse_qsl(query):
            asked.setdefault((_view(page.address), name), page.address)
        asked.setdefault((_view(page.address), "page"), path)
    return asked


def drawn(names: set[str]) -> list[str]:
    """All of them, or where only a sample is taken, a few."""
    every = sorted(names)
    return every if OF_EACH_FORM is None else random.sample(every, min(OF_EACH_FORM, len(every)))


def sent_with(form: Form, name: str, number: int) -> dict[str, list[str]]:
    sent: dict[str, list[str]] = {name: [str(number)]}
    for other, value in form.values:
        if other not in (name, "csrfmiddlewaretoken"):
            sent.setdefault(other, []).append(value)
    return sent


def test_no_form_and_no_question_breaks_on_a_huge_number(asker, organiser_of_the_demo):
    breaks = asker(organiser_of_the_demo)
    found = list(pages(breaks))
    forms = {form.sort: form for page in found for form in page.forms if not LEFT_OUT.search(form.action)}
    assert len(forms) > 80
    for form, number in product(forms.values(), BEYOND):
        for name in drawn(form.numbers - {"csrfmiddlewaretoken"}):
            sent = sent_with(form, name, number)
            if form.method == "post":
                breaks("post", form.action, sent)
            else:
                breaks("get", f"{form.action.partition('?')[0]}?{urlencode(sent, doseq=True)}")
    for ((_name, question), address), number in product(questions_of(found).items(), BEYOND):
        path, query = urlsplit(address)[2:4]
        told = [(key, value) for key, value in parse_qsl(query) if key != question]
        breaks("get", f"{path}?{urlencode([*told, (question, str(number))])}")
    assert breaks.found == []


def numbered_addresses() -> list[str]:
    """Every address with a whole number in it, as a pattern with a hole for each."""
    whole = re.compile(r"\(\?P<\w+>\[0-9\]\+\)")
    return [regex for _name, regex, _pattern in EVERY if whole.search(regex)]


def test_no_address_breaks_on_a_huge_number(asker, person):
    breaks = asker(person)
    addresses = numbered_addresses()
    assert len(addresses) > 100
    for regex, number in product(addresses, (*map(str, BEYOND), "9" * 5000)):
        plain = re.sub(r"\(\?P<\w+>[^)]*\)", "x", re.sub(r"\(\?P<\w+>\[0-9\]\+\)", number, regex))
        path = "/" + re.sub(r"\\([-.])", r"\1", plain).replace("\\Z", "")
        assert not re.search(r"[\\()?^$]", path), path  # all of the pattern was filled in
        for method in ("get", "post"):
            breaks(method, path)
    assert breaks.found == []
