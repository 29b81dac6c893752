"""Every address, asked by each sort of person about each sort of owner's object, against one table: who_may_what.csv.

A row names an address, whose object it is asked about, and who may read (GET) and write (POST): "member" is whoever is
signed in, "own" whose object it is, "housemate" who shares their kitchen, then the roles; the "teacher" runs the class
and is the "author" of the drafts. "-" is an address that does not take the method, "out" one that ends the session.
Whom a row does not name is refused (403), or told that there is nothing (404). A "superuser" may what any role may, and
what names them.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from club.members.models import User
from tests.club.test_every_page_needs_sign_in import EVERY, PUBLIC, is_turned_away
from tests.factories.members import make_person
from tests.helpers import signed_in
from tests.permissions.world import OBJECTS, Belongings, Club

with Path(__file__).with_name("who_may_what.csv").open(encoding="utf-8", newline="") as file:
    TABLE = list(csv.DictReader(line for line in file if not line.startswith("#")))

ROLES = {"keeper", "instructor", "teacher", "organiser"}
HOUSEHOLD = {"own", "housemate"}
OF_MEMBERS = {"housemate", "address that waits"}  # who left has none
NO_METHOD, SIGNS_OUT = "-", "out"
LIBRARIES_OWN = ("admin:", "mfa_")  # the admin site asks for its own rights; factors are about who is signed in
IN, NO, NOT_TAKEN, YES = "asked to sign in", "refused", "not taken", "let through"


def answered(answer: HttpResponse) -> str:
    if is_turned_away(answer):
        return IN
    assert answer.status_code < 500, answer.status_code
    return {403: NO, 404: NO, 405: NOT_TAKEN}.get(answer.status_code, YES)


def expected(cell: str, who: str) -> str:
    if cell == NO_METHOD:
        return NOT_TAKEN
    if cell == SIGNS_OUT:
        return IN
    named = set(cell.split())
    if "member" in named or who in named or (who == "teacher" and "author" in named):
        return YES
    return YES if who == "superuser" and named & ROLES else NO


def asked_of(row: dict[str, str], people: dict[str, User]) -> dict[str, User]:
    """A page for every member is asked for as one of them, and as who may the most."""
    if "member" in row["read"] and row["write"] in (NO_METHOD, "member"):
        return {who: person for who, person in people.items() if who in ("stranger", "superuser")}
    return people


def askers(club: Club, owner: User) -> dict[str, User]:
    others = ("housemate", "stranger", "superuser", *sorted(ROLES))
    return {"own": owner} | {name: getattr(club, name) for name in others}


class Asking:
    """Each person's browser, signed in anew where what was taken back took the session along."""

    def __init__(self) -> None:
        self.clients: dict[User, Client] = {}

    def answer(self, person: User, method: str, path: str) -> str:
        """What this person is answered; what the press did is taken back."""
        found = IN
        if person in self.clients:
            found = self._press(self.clients[person], method, path)
        if found == IN:
            self.clients[person] = signed_in(person)
            found = self._press(self.clients[person], method, path)
        return found

    def _press(self, client: Client, method: str, path: str) -> str:
        with transaction.atomic():
            found = answered(getattr(client, method)(path))
            transaction.set_rollback(True)
        return found

    def wrong_in(self, row: dict[str, str], path: str, people: dict[str, User], whose: str) -> Iterator[str]:
        for who, person in people.items():
            for method, cell in (("get", row["read"]), ("post", row["write"])):
                if (found := self.answer(person, method, path)) != (wanted := expected(cell, who)):
                    what = f"{row['address']} ({row['object'] or 'no object'} of {whose})"
                    yield f"{what}: {who} {method.upper()} {found}, not {wanted}"


@pytest.mark.django_db
@pytest.mark.long
@pytest.mark.once  # every address answers on the other database too: tests/club/test_huge_numbers.py
def test_each_address_lets_through_whom_the_table_names_and_nobody_else():
    club, owner, former = Club.make(), make_person(name="Owner"), make_person(name="Former")
    theirs = Belongings(club, owner, housemate=club.housemate)
    left = Belongings(club, former)
    people = askers(club, owner)
    asking, asked, wrong = Asking(), 0, []
    rows = [(row, theirs[row["object"]], left[row["object"]]) for row in TABLE if row["object"] not in OF_MEMBERS]
    only = [(row, theirs[row["object"]], None) for row in TABLE if row["object"] in OF_MEMBERS]
    User.objects.filter(pk=former.pk).update(is_active=False)
    others = {who: person for who, person in people.items() if who not in HOUSEHOLD}
    outside = {"nobody": Client(), "one who left": signed_in(former)}
    for row, of_member, of_former in [*rows, *only]:
        for whose, arguments, everybody in (("a member", of_member, people), ("one who left", of_former, others)):
            if arguments or (arguments is not None and everybody is people):  # without an object nobody owns it
                by = asked_of(row, everybody)
                path = reverse(row["address"], kwargs=arguments)
                wrong += asking.wrong_in(row, path, by, whose)
                asked += 2 * len(by)
        for who, client in outside.items():
            if (found := answered(client.get(path))) != IN:
                wrong.append(f"{row['address']}: {who} {found}")
    assert asked > 2000
    assert not wrong, "\n".join([f"{len(wrong)} of {asked}", *wrong])


def test_every_address_has_its_row():
    named = {row["address"] for row in TABLE}
    known = {name for name, _regex, _pattern in EVERY if not name.startswith(LIBRARIES_OWN)}
    assert known - named - PUBLIC == set()
    assert named - known == set()
    assert {row["object"] for row in TABLE} <= set(OBJECTS)
