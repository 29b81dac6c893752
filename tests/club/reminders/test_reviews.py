"""A revision that waits for another instructor's eyes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from club.members.choices import Role
from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from recipes.models import Revision, RevisionState
from tests.club.reminders.helpers import only
from tests.factories.members import make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

HANDED = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)
A_DAY_ON = HANDED + timedelta(days=1)
RULE = "revision-to-review"


@pytest.fixture
def author():
    return make_person(Role.INSTRUCTOR, name="Ilse Author")


@pytest.fixture
def waiting(author) -> Revision:
    return handed_over(author)


def handed_over(author) -> Revision:
    revision = make_revision(title="Quince cheese", state=RevisionState.IN_REVIEW, author=author)
    Revision.objects.filter(pk=revision.pk).update(submitted_at=HANDED)
    return revision


def told(now: datetime) -> set[int]:
    outbox.gather(now)
    return set(Reminder.objects.filter(rule=RULE).values_list("person", flat=True))


def test_a_day_after_it_was_handed_over_the_other_instructors_are_told_once(waiting):
    others = {make_person(Role.INSTRUCTOR).pk, make_person(Role.INSTRUCTOR, Role.KEEPER).pk}
    make_person(Role.KEEPER)
    assert told(A_DAY_ON - timedelta(seconds=1)) == set()
    assert told(A_DAY_ON) == others
    with only(RULE):
        for days in range(1, 40):
            outbox.gather(A_DAY_ON + timedelta(days=days))
    assert Reminder.objects.count() == 2
    message = RULES[RULE].message(Reminder.objects.first(), A_DAY_ON)
    assert message.subject == "To review: Quince cheese"
    assert "by Ilse Author waits for a second pair of eyes since Monday 14 September" in message.text
    assert message.link.endswith(f"/recipes/drafts/{waiting.pk}/")
    assert with_titles(Reminder.objects.all())[0][1] == "review a recipe, Quince cheese"


def test_an_author_who_is_the_only_instructor_hears_nothing(waiting):
    assert told(A_DAY_ON) == set()
    assert make_person(Role.INSTRUCTOR).pk in told(A_DAY_ON)


@pytest.mark.parametrize("state", [RevisionState.DRAFT, RevisionState.PUBLISHED])
def test_a_revision_sent_back_or_published_meanwhile_is_not_called(waiting, state):
    make_person(Role.INSTRUCTOR)
    told(A_DAY_ON)
    reminder = Reminder.objects.get()
    assert RULES[RULE].still_due(reminder, A_DAY_ON)
    number = 1 if state == RevisionState.PUBLISHED else None
    Revision.objects.filter(pk=waiting.pk).update(state=state, number=number, published_at=HANDED)
    assert not RULES[RULE].still_due(reminder, A_DAY_ON)


def test_one_handed_over_anew_is_told_anew(waiting):
    make_person(Role.INSTRUCTOR)
    told(A_DAY_ON)
    Revision.objects.update(submitted_at=A_DAY_ON)
    first = Reminder.objects.get()
    outbox.gather(A_DAY_ON + timedelta(days=1))
    second = Reminder.objects.exclude(pk=first.pk).get()
    due = [RULES[RULE].still_due(one, A_DAY_ON + timedelta(days=1)) for one in (first, second)]
    assert due == [False, True]


def test_who_is_no_instructor_any_more_is_not_told(waiting):
    reviewer = make_person(Role.INSTRUCTOR)
    told(A_DAY_ON)
    assert RULES[RULE].still_due(Reminder.objects.get(), A_DAY_ON)
    reviewer.groups.clear()
    assert not RULES[RULE].still_due(Reminder.objects.get(), A_DAY_ON)


@pytest.mark.parametrize("rows", [1, 30])
def test_it_costs_two_queries_for_one_and_for_thirty(author, rows, django_assert_max_num_queries):
    make_person(Role.INSTRUCTOR)
    for _ in range(rows):
        handed_over(author)
    with django_assert_max_num_queries(2):
        assert len(list(RULES[RULE].due(A_DAY_ON))) == rows
