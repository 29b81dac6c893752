"""Requests that nobody means, to every address in every role: junk in addresses, forms and files.

    FUZZ_REQUESTS=20000 .venv/bin/python -m pytest tests/permissions/test_walk_fuzz.py -n 0 -s

Half of the presses fill in a form that a page really shows, as `tests.drills.press_again` reads it, and spoil a few of
its fields; the others send fields by guess. What a press did stays done, so that the next ones meet it, and afterwards
the books are asked. Only what would end somebody's own sign-in for good is taken back at once.
"""

from __future__ import annotations

import random
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any
from zipfile import ZipFile

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.db.models import F, Q, Sum
from django.test import Client
from django.urls import reverse

from club.members.models import User
from club.run.audits import house_audit
from inventory.fruit.choices import ShareStage
from inventory.fruit.models import Offer
from tests.club.test_every_page_needs_sign_in import EVERY, address_of
from tests.drills.press_again import Page
from tests.factories.members import make_person
from tests.helpers import just_asked, signed_in
from tests.permissions.world import OBJECTS, Belongings, Club, picture

JUNK = (
    *("", "0", "-1", "1", "2", "99", "99999999999999999999", "1e309", "NaN", "1,5", "1/0", "½", "−1", "0x10", "+ 3"),
    *("\0", "é" * 300, "a" * 6000, "😀", "\u202etxt", "<script>alert(1)</script>", "' OR 1=1 --", "../../etc/passwd"),
    *("2026-02-30", "0001-01-01", "9999-12-31", "2026-03-08T02:30", "12:61", "24:00", "on", "x", "None", "[]", "{}"),
    *("half-pint", "pint", "full", "1040 m", "3400 ft", "00000000-0000-4000-8000-000000000000", "a@b", "%00", "%s{0}"),
)
NAMES = (
    "token",
    "name",
    "note",
    "count",
    "size",
    "state",
    "email",
    "q",
    "page",
    "day",
    "person",
    "kitchen",
    "text",
    "pk",
)
METHODS = ("HEAD", "OPTIONS", "PUT", "DELETE", "PATCH")
NEVER_ASKED = ("metrics", "healthz")  # they ask other processes, and are up to nobody's role


def _workbook(sheet: str) -> bytes:
    packed = BytesIO()
    with ZipFile(packed, "w") as file:
        file.writestr("[Content_Types].xml", "<Types/>")
        file.writestr("xl/workbook.xml", "<workbook><sheets><sheet name='a' sheetId='1'/></sheets></workbook>")
        file.writestr("xl/worksheets/sheet1.xml", sheet)
    return packed.getvalue()


FILES = (
    ("broken.xlsx", b"PK\x03\x04 not a workbook"),
    ("wide.xlsx", _workbook("<worksheet><cols><col min='1' max='16384'/></cols><sheetData><row r='1'/></sheetData>")),
    (
        "odd.xlsx",
        _workbook("<worksheet><sheetData><row r='x'><c t='s'><v>99</v></c></row></sheetData></worksheet>"),
    ),
    ("empty.csv", b""),
    ("latin.csv", "näme;emäil\nÄda;a@b.test\n".encode("latin-1")),
    ("null.csv", b"name,email\n\0,\0\n"),
    ("members.csv", b'name,email\nGil Damson,gil@example.test\n,\n"a\nb",x@y.test\n'),
    ("things.csv", b"code,kind,name\nX-1,dial-gauge,Big\nX-1,dial-gauge,Big\n"),
    ("picture.png", b"\x89PNG\r\n\x1a\n broken"),
    ("small.png", picture().getvalue()),
    ("recipe.toml", b"[[recipe]]\nslug = 1\n"),
)


class PageWithFiles(Page):
    """The forms of a page, and the names of their files."""

    def __init__(self, path: str) -> None:
        super().__init__(path)
        self.files: list[str] = []

    def _input(self, got: dict[str, str]) -> None:
        if got.get("type") == "file" and got.get("name"):
            self.files.append(got["name"])
        super()._input(got)


@dataclass
class Walk:
    """So many requests; the same ones for the same seed and code."""

    seed: int = 1
    asked: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    broken: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)

    def go(self, requests: int, rows: Sequence[dict[str, str]]) -> None:
        self.people, self.paths = _world(rows)
        self.clients: dict[str, Client] = {}
        while self.asked < requests:
            who, path = self.chance.choice([*self.people]), self.chance.choice(self.paths)
            with transaction.atomic():
                self._visit(who, path)
                if self._is_over(who):
                    transaction.set_rollback(True)
                    self.clients.pop(who)

    def _visit(self, who: str, path: str) -> None:
        kind = self.chance.random()
        if kind < 0.1:
            self._ask(who, "GET", f"{path}?{self.chance.choice(NAMES)}={self.chance.choice(JUNK[:15])}")
        elif kind < 0.15:
            self._ask(who, self.chance.choice(METHODS), path)
        elif kind < 0.55:
            told = {self.chance.choice(NAMES): self.chance.choice(JUNK) for _ in range(self.chance.randint(0, 5))}
            self._ask(who, "POST", path, told)
        else:
            page = self._ask(who, "GET", path)
            if "<form" in page:
                self._press(who, path, page)

    def _press(self, who: str, path: str, text: str) -> None:
        page = PageWithFiles(path)
        page.feed(text)
        if not page.forms:
            return
        form = self.chance.choice(page.forms)
        told: dict[str, Any] = {}
        for name, value in form.fields:
            told.setdefault(name, []).append(value)
        for name in self.chance.sample(sorted(told), min(len(told), self.chance.choice((0, 0, 1, 2, 3)))):
            told[name] = [self.chance.choice(JUNK)]
        if form.has_file:
            for name in page.files:
                told[name] = SimpleUploadedFile(*self.chance.choice(FILES))
        self._ask(who, "POST", form.action, told)

    def _ask(self, who: str, method: str, path: str, told: dict[str, Any] | None = None) -> str:
        client = self._client(who)
        answer = client.generic(method, path) if method in METHODS else client.get(path) if told is None else None
        if answer is None:
            answer = client.post(path, told)
        self.asked += 1
        self.statuses[answer.status_code] += 1
        if answer.status_code >= 500:
            kind, error, trace = answer.exc_info or (None, None, None)
            where = traceback.extract_tb(trace)[-1] if trace else ""
            self.broken.append(f"{who} {method} {path} {told}: {answer.status_code} {error!r} at {where}"[:900])
        is_page = answer.get("Content-Type", "").startswith("text/html") and not answer.streaming
        return answer.content.decode(errors="replace") if is_page else ""

    def _client(self, who: str) -> Client:
        if who not in self.clients:
            person = self.people[who]
            self.clients[who] = just_asked(signed_in(person)) if person else Client()
            self.clients[who].raise_request_exception = False
        return self.clients[who]

    def _is_over(self, who: str) -> bool:
        """Whether they are no member any more, or signed out."""
        person = self.people[who]
        if person is None or who not in self.clients:
            return False
        now = User.objects.get(pk=person.pk)
        return (
            not now.is_active
            or now.get_session_auth_hash() != person.get_session_auth_hash()
            or (self.clients[who].session.get("_auth_user_id") != str(person.pk))
        )


def _world(rows: Sequence[dict[str, str]]) -> tuple[dict[str, User | None], list[str]]:
    """Who asks, and every address: of each object one that is the owner's, else filled with a guess."""
    club, owner = Club.make(), make_person(name="Owner")
    theirs = Belongings(club, owner, housemate=club.housemate)
    made = {name: theirs[name] for name in OBJECTS}
    paths = [reverse(row["address"], kwargs=made[row["object"]]) for row in rows]
    named = {row["address"] for row in rows}
    guessed = (address_of(regex, pattern) for name, regex, pattern in EVERY if name not in named)
    paths += [path for path in guessed if path is not None and not path.strip("/").startswith(NEVER_ASKED)]
    roles = ("housemate", "stranger", "keeper", "instructor", "teacher", "organiser", "superuser")
    return {"nobody": None, "owner": owner, **{role: getattr(club, role) for role in roles}}, paths


def invariants() -> Iterator[str]:
    """What must hold whatever was sent: ledgers, seats, loans, guarded rows, and never more shared than there."""
    for name, sentences in house_audit().items():
        yield from (f"{name}: {sentence}" for sentence in sentences)
    theirs = Sum("shares__units", filter=~Q(shares__stage=ShareStage.GIVEN_BACK), default=0)
    for offer in Offer.objects.annotate(given=theirs).filter(given__gt=F("units") - F("kept")):
        yield f"fruit: offer {offer.pk} of {offer.units} units gave {offer.given}"
