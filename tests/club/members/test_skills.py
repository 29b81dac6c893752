"""Who learned what: after a class, by an instructor's word, and taken back."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.members import forms, services
from club.members.choices import Role, Skill, SkillHow
from club.members.models import SkillRecord
from tests.factories.members import make_organiser, make_person, make_skill
from tests.helpers import signed_in

pytestmark = pytest.mark.django_db
MAY = date(2026, 5, 2)


@pytest.fixture
def instructor():
    return make_person(Role.INSTRUCTOR, name="Ilse Varga")


def waive(by, person, reason="Thirty years at it; showed it to me."):
    return services.skill_waive(by=by, person=person, skill=Skill.PRESSURE, reason=reason)


def test_coming_twice_to_a_class_is_one_record():
    person = make_person()
    assert make_skill(person).pk == make_skill(person).pk


def test_a_class_takes_the_place_of_a_waiver(instructor):
    person = make_person()
    waiver = waive(instructor, person)
    record = make_skill(person)
    waiver.refresh_from_db()
    assert waiver.withdrawn_at is not None
    assert [one.how for one in SkillRecord.objects.valid().filter(person=person)] == [SkillHow.CLASS]
    assert record.reason == "Under pressure"


@pytest.mark.parametrize("reason", ["", "   "])
def test_a_waiver_says_why(instructor, reason):
    with pytest.raises(ValidationError) as caught:
        waive(instructor, make_person(), reason)
    assert "reason" in caught.value.message_dict
    assert not SkillRecord.objects.exists()


def test_nobody_waives_a_class_for_herself_and_members_waive_none(instructor):
    with pytest.raises(ValidationError):
        waive(instructor, instructor)
    for other in (make_person(), make_person(Role.KEEPER), make_person(Role.ORGANISER)):
        with pytest.raises(PermissionDenied):
            waive(other, make_person())
    assert not SkillRecord.objects.exists()


def test_a_second_waiver_is_refused_in_words(instructor):
    person = make_person(name="Ada Plum")
    waive(instructor, person)
    with pytest.raises(ValidationError, match="Ada Plum has this skill already"):
        waive(instructor, person)


def test_what_was_withdrawn_is_kept_and_can_be_gained_again(instructor):
    person = make_person()
    record = make_skill(person)
    assert services.skill_withdraw(by=instructor, record=record)
    assert not services.skill_withdraw(by=instructor, record=record)
    assert not SkillRecord.objects.valid().filter(person=person).exists()
    assert make_skill(person).pk != record.pk


def test_the_database_keeps_one_standing_record_per_skill(instructor):
    record = make_skill(make_person())
    record.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        record.save(force_insert=True)


def test_an_instructor_waives_on_the_page_and_takes_back(client, instructor):
    person = make_person(name="Ada Plum")
    client.force_login(instructor)
    asked = {"person": person.pk, "skill": Skill.PRESSURE, "reason": ""}
    kept = client.post(reverse("members:skills"), asked)
    assert kept.status_code == 200
    assert not SkillRecord.objects.exists()
    client.post(reverse("members:skills"), asked | {"reason": "Showed it to me."})
    record = SkillRecord.objects.get()
    assert (record.person, record.how, record.reason) == (person, SkillHow.WAIVED, "Showed it to me.")
    client.post(reverse("members:skill-withdraw", args=[record.pk]))
    assert not SkillRecord.objects.valid().exists()


@pytest.mark.parametrize("role", [None, Role.KEEPER, Role.ORGANISER])
def test_the_page_is_for_those_who_teach(client, role):
    record = make_skill(make_person())
    client.force_login(make_person(*([role] if role else [])))
    assert client.get(reverse("members:skills")).status_code == 403
    assert client.post(reverse("members:skill-withdraw", args=[record.pk])).status_code == 403
    assert SkillRecord.objects.valid().exists()


@pytest.mark.parametrize("rows", [1, 30])
def test_the_page_asks_the_same_few_queries_however_many_learned(
    client, instructor, rows, django_assert_max_num_queries
):
    for _n in range(rows):
        make_skill(make_person())
    client.force_login(instructor)
    with django_assert_max_num_queries(8):
        assert client.get(reverse("members:skills")).status_code == 200


def test_a_person_sees_on_her_own_page_what_she_learned(client):
    person = make_person()
    make_skill(person)
    client.force_login(person)
    page = client.get(reverse("members:me")).content.decode()
    assert "Pressure canning" in page
    assert reverse("members:skills") not in page


def test_among_very_many_people_one_is_looked_for_by_name(monkeypatch):
    monkeypatch.setattr(forms, "MOST_PEOPLE", 2)
    people = [make_person(name=name) for name in ("Ann Reed", "Bo Lund", "Cy Lund", "Di Moor")]
    client, path = signed_in(make_person(Role.INSTRUCTOR)), reverse("members:skills")

    def shown(answer):
        return [label for key, label in answer.context["form"].fields["person"].choices if key]

    assert len(shown(client.get(path))) == 2
    assert shown(client.get(path, {"who": "lund"})) == ["Bo Lund", "Cy Lund"]
    unlisted = {"person": people[3].pk, "skill": Skill.PRESSURE, "reason": ""}
    assert "Di Moor" in shown(client.post(path, unlisted))
    assert client.post(path, {**unlisted, "reason": "Showed it to me."}).status_code == 302
    chosen = signed_in(make_organiser()).get(reverse("members:ledger"), {"person": people[3].pk, "who": "lund"})
    assert shown(chosen) == ["Bo Lund", "Cy Lund", "Di Moor"]
