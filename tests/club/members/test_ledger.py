"""The people's ledger: each deed has its row, no row is ever changed, and who sees which."""

from __future__ import annotations

import pytest
from django.contrib.auth import authenticate
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, connection, transaction
from django.test import RequestFactory
from django.urls import reverse

from club.members import services
from club.members.choices import EventKind, Role
from club.members.models import PersonEvent, User
from club.members.presentation import role_terms
from club.members.triggers import GUARDS
from tests.factories.members import PASSWORD, make_kitchen, make_organiser, make_person
from tests.helpers import just_asked, signed_in, text_of

pytestmark = pytest.mark.django_db


def rows(kind: EventKind) -> list[tuple[User | None, User | None, str]]:
    found = PersonEvent.objects.filter(kind=kind).order_by("pk")
    return [(event.by, event.person, event.reference) for event in found.select_related("by", "person")]


def test_a_row_is_never_changed_or_deleted_whoever_asks():
    person = make_person()
    for statement in ("UPDATE members_personevent SET by_id = NULL", "DELETE FROM members_personevent"):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    assert PersonEvent.objects.about(person).exists()
    assert len(GUARDS.names) == 2


def test_roles_and_memberships_have_dates_and_who_gave_them():
    organiser, person = make_organiser(name="Olive"), make_person()
    services.role_grant(by=organiser, person=person, role=Role.KEEPER)
    services.role_grant(by=organiser, person=person, role=Role.KEEPER)  # again: no second row
    services.role_take(by=organiser, person=person, role=Role.KEEPER)
    services.member_deactivate(by=organiser, person=person)
    services.member_reactivate(by=organiser, person=person)
    assert rows(EventKind.ROLE_TAKEN) == [(organiser, person, "keeper")]
    assert (organiser, person, "") in rows(EventKind.MEMBERSHIP_ENDED)
    keeper, member = role_terms(person)
    assert (keeper.given_by, keeper.taken_by, member.taken_at) == (organiser, organiser, None)
    assert keeper.given_at is not None
    assert keeper.taken_at is not None
    assert keeper.given_at <= keeper.taken_at


def test_a_refused_deed_leaves_no_row():
    person, other = make_person(), make_person()
    before = PersonEvent.objects.count()
    with pytest.raises(PermissionDenied):
        services.role_grant(by=person, person=other, role=Role.KEEPER)
    assert PersonEvent.objects.count() == before


def test_sign_ins_right_and_wrong_are_noted_and_a_stranger_s_address_is_not():
    person = make_person(email="ada@example.test")
    request = RequestFactory().post("/")
    assert authenticate(request, email="ada@example.test", password="no") is None
    assert authenticate(request, email="who@elsewhere.test", password="no") is None
    signed_in(person)
    known, unknown = rows(EventKind.SIGN_IN_REFUSED)
    assert known == (None, person, "")
    assert unknown == (None, None, services.stranger_digest(" Who@elsewhere.test"))
    assert rows(EventKind.SIGNED_IN) == [(person, person, "")]
    kept = " ".join(PersonEvent.objects.values_list("reference", flat=True))
    assert "elsewhere" not in kept
    assert PASSWORD not in kept


def test_a_new_password_is_noted_by_whom_it_was_changed(client):
    person = make_person()
    client.force_login(person)
    new = "eight copper ladles"
    client.post(reverse("account_change_password"), {"oldpassword": PASSWORD, "password1": new, "password2": new})
    assert rows(EventKind.PASSWORD_CHANGED) == [(person, person, "")]


def test_everybody_of_a_household_has_a_row_of_a_new_altitude():
    ada, bo = make_person(), make_person(name="Bo")
    kitchen = make_kitchen(ada, bo, altitude="1040 m")
    services.kitchen_change(by=bo, kitchen=kitchen, name=kitchen.name, altitude_text="1500 m", altitude_how="told")
    assert {row[1] for row in rows(EventKind.ALTITUDE_CHANGED)} == {ada, bo}
    assert {(row[0], row[2]) for row in rows(EventKind.ALTITUDE_CHANGED)} == {(bo, "1040 m > 1500 m")}
    services.household_remove(by=ada, kitchen=kitchen, person=bo)
    services.household_remove(by=ada, kitchen=kitchen, person=bo)
    assert rows(EventKind.HOUSEHOLD_REMOVED) == [(ada, bo, "")]


def test_a_household_s_new_name_and_new_keeper_are_noted_for_all_of_it():
    ada, bo = make_person(name="Ada Plum"), make_person(name="Bo Quince")
    kitchen = make_kitchen(ada, bo, name="Plum Lane")
    for _twice in range(2):
        services.kitchen_change(by=ada, kitchen=kitchen, name="Plum Row")
    assert set(rows(EventKind.HOUSEHOLD_RENAMED)) == {(ada, one, "Plum Lane > Plum Row") for one in (ada, bo)}
    services.household_hand_on(by=ada, kitchen=kitchen, person=ada)
    assert rows(EventKind.HOUSEHOLD_HANDED_ON) == []
    services.household_hand_on(by=ada, kitchen=kitchen, person=bo)
    assert set(rows(EventKind.HOUSEHOLD_HANDED_ON)) == {(ada, one, "Ada Plum > Bo Quince") for one in (ada, bo)}


def test_a_membership_that_ended_before_is_not_ended_again():
    organiser, ada = make_organiser(), make_person()
    for _twice in range(2):
        services.member_deactivate(by=organiser, person=ada)
    assert rows(EventKind.MEMBERSHIP_ENDED) == rows(EventKind.SESSIONS_ENDED) == [(organiser, ada, "")]


def test_what_the_admin_site_changes_is_noted():
    root = User.objects.create_superuser("root@example.test", PASSWORD, name="Root")
    person = make_person()
    address = reverse("admin:members_user_change", args=[person.pk])
    assert just_asked(signed_in(root)).post(address, {"is_staff": "on"}).status_code == 302
    assert rows(EventKind.ADMIN_CHANGED) == [(root, person, "is_staff: True")]


@pytest.mark.parametrize("role", [Role.MEMBER, Role.INSTRUCTOR, Role.KEEPER])
def test_only_organisers_see_the_whole_ledger(role):
    assert signed_in(make_person(role)).get(reverse("members:ledger")).status_code == 403


def test_the_ledger_is_asked_by_person_kind_and_day(django_assert_max_num_queries):
    organiser, ada, bo = make_organiser(), make_person(name="Ada Plum"), make_person(name="Bo Quince")
    client = signed_in(organiser)
    for number in range(60):
        services.person_event(EventKind.EXPORTED, by=bo, reference=f"file {number}")
    with django_assert_max_num_queries(10):
        page = client.get(reverse("members:ledger"))
    assert len(page.context["page"]) == 50
    exported = client.get(reverse("members:ledger"), {"person": bo.pk, "kind": "exported", "page": 2})
    assert len(exported.context["page"]) == 10
    assert {event.person for event in client.get(reverse("members:ledger"), {"person": ada.pk}).context["page"]} == {
        ada
    }
    assert not client.get(reverse("members:ledger"), {"last": "2020-01-01"}).context["page"].object_list
    assert client.get(reverse("members:ledger"), {"person": "x", "first": "y"}).status_code == 200


def test_a_member_sees_what_was_done_to_them_and_nothing_of_others(django_assert_max_num_queries):
    organiser, ada, bo = make_organiser(name="Olive Oxney"), make_person(), make_person(name="Bo Quince")
    for person in (ada, bo):
        services.role_grant(by=organiser, person=person, role=Role.KEEPER)
    client = signed_in(ada)
    with django_assert_max_num_queries(8):
        page = client.get(reverse("members:my-ledger"))
    assert {event.person_id for event in page.context["page"]} == {ada.pk}
    assert "Olive Oxney" in text_of(page)
    assert "Bo Quince" not in text_of(page)
