"""People invited from a file: looked over first, each problem by row and column, all of it or nobody."""

from __future__ import annotations

import pytest
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from club.members.choices import Role
from club.members.models import Invitation
from tests.factories.members import make_invitation, make_organiser, make_person
from tests.helpers import just_asked, signed_in, text_of

pytestmark = pytest.mark.django_db

ADDRESS = "/people/import/"
GOOD = "email;name;role\nEve@quince.test;Eve Quince;keeper\nsam@plum.test;;\n"


def sent(client, text: str):
    return client.post(ADDRESS, {"file": SimpleUploadedFile("people.csv", text.encode())})


def test_a_file_is_looked_over_first_and_then_everybody_gets_a_mail(django_capture_on_commit_callbacks):
    client = just_asked(signed_in(make_organiser()))
    with django_capture_on_commit_callbacks(execute=True):
        shown = sent(client, GOOD)
    assert "eve@quince.test" in text_of(shown)
    assert not Invitation.objects.exists()
    assert not mail.outbox
    with django_capture_on_commit_callbacks(execute=True):
        done = client.post(ADDRESS, {"checked": shown.context["checked"]})
    assert done.url == reverse("members:people")
    assert {*Invitation.objects.values_list("email", "role")} == {
        ("eve@quince.test", "keeper"),
        ("sam@plum.test", "member"),
    }
    assert sorted(one.to[0] for one in mail.outbox) == ["eve@quince.test", "sam@plum.test"]
    assert client.post(ADDRESS, {"checked": shown.context["checked"]}, follow=True).context["messages"]
    assert Invitation.objects.count() == 2


def test_each_problem_names_its_row_and_column_and_nobody_is_invited():
    organiser, member = make_organiser(), make_person()
    make_invitation(by=organiser, email="asked@plum.test")
    rows = ["email,role", "new@plum.test,", "no address,", f"{member.email},", "asked@plum.test,", "x@plum.test,queen"]
    page = sent(signed_in(organiser), "\n".join([*rows, "new@plum.test,"]))
    found = {(one.row, one.column) for one in page.context["report"].problems}
    assert found == {(3, "email"), (4, "email"), (5, "email"), (6, "role"), (7, "email")}
    assert "people.csv, row 6, column role" in text_of(page)
    assert "checked" not in page.context
    assert Invitation.objects.count() == 1


@pytest.mark.parametrize("text", ["name\nEve\n", "\0", "email\n", "email\n" + "a@b.test\n" * 201])
def test_a_file_that_is_none_invites_nobody(text):
    page = sent(signed_in(make_organiser()), text)
    assert page.status_code == 200
    assert "checked" not in page.context
    assert not Invitation.objects.exists()


def test_only_who_may_invite_may_and_nobody_uses_what_another_looked_over():
    assert signed_in(make_person(Role.KEEPER)).get(ADDRESS).status_code == 403
    checked = sent(signed_in(make_organiser()), GOOD).context["checked"]
    assert sent(signed_in(make_person(Role.KEEPER)), GOOD).status_code == 403
    for told in (checked, "x" + checked):
        answer = just_asked(signed_in(make_organiser())).post(ADDRESS, {"checked": told})
        assert answer.url == ADDRESS
    asked = signed_in(make_organiser()).post(ADDRESS, {"checked": checked})
    assert asked.url.startswith(reverse("account_reauthenticate"))
    assert not Invitation.objects.exists()
