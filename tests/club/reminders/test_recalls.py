"""Everyone who holds a jar hears of a recall: at once, again every third day, and no more once it is answered."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import uuid4

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from inventory.batches import services as batches
from inventory.batches.models import Recall
from inventory.jars.services import jars_move, kitchen_place, person_place
from recipes.services import revision_withdraw
from tests.club.reminders.helpers import only, run_periodic_jobs
from tests.factories.batches import NOW, make_batch_checked, make_recall
from tests.factories.jars import make_keeper
from tests.factories.members import make_kitchen, make_organiser, make_person

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def batch():
    maker = make_person(name="Mona Maker")
    return make_batch_checked(by=maker, kitchen=make_kitchen(maker, make_person(name="Hal Housemate")))


@pytest.fixture
def recall(batch):
    return make_recall(batch=batch, now=NOW + DAY)


def gathered(now: datetime) -> list[tuple[str, str]]:
    outbox.gather(now)
    rows = Reminder.objects.filter(rule="recall").values_list("person__name", "occurrence")
    return sorted(rows)


def answer(recall, batch, by):
    batches.recall_answer(by=by, recall=recall, batch=batch, outcome="set-apart", jars=4, token=uuid4())


def still_due(now: datetime) -> list[str]:
    rule = RULES["recall"]
    rows = Reminder.objects.filter(rule="recall").select_related("person")
    return sorted(one.person.name for one in rows if rule.still_due(one, now))


def test_it_cannot_be_muted_and_does_not_wait():
    rule = RULES["recall"]
    assert (rule.may_mute, rule.may_wait, rule.after_lost_lease) == (False, False, "again")


def test_the_whole_household_hears_at_once_and_every_third_day(recall):
    opened = NOW + DAY
    first = [("Hal Housemate", "0"), ("Mona Maker", "0")]
    assert gathered(opened) == first
    assert gathered(opened + 2.9 * DAY) == first
    assert gathered(opened + 3 * DAY) == [first[0], ("Hal Housemate", "1"), first[1], ("Mona Maker", "1")]


def test_the_calls_end_after_the_tenth(recall):
    with only("recall"):
        for days in range(0, 100, 3):
            outbox.gather(NOW + DAY + days * DAY)
    assert Reminder.objects.filter(rule="recall", person__name="Mona Maker").count() == 10


def test_an_answer_of_one_settles_the_household(recall, batch):
    gathered(NOW + DAY)
    assert still_due(NOW + DAY) == ["Hal Housemate", "Mona Maker"]
    answer(recall, batch, batch.made_by)
    assert still_due(NOW + DAY) == []
    assert len(gathered(NOW + 5 * DAY)) == 2


def test_a_call_that_the_next_one_overtook_is_not_sent(recall):
    gathered(NOW + DAY)
    assert still_due(NOW + 5 * DAY) == []


def test_a_closed_recall_asks_nobody(recall):
    gathered(NOW + DAY)
    batches.recall_close(by=make_organiser(), recall=recall, note="All telephoned.", now=NOW + 2 * DAY)
    assert still_due(NOW + 2 * DAY) == []
    assert len(gathered(NOW + 5 * DAY)) == 2


def test_whoever_comes_to_hold_a_jar_long_after_the_last_call_still_hears_once(recall, batch):
    friend = make_person(name="Fay Friend")
    late = NOW + 90 * DAY
    jars_move(
        by=make_keeper(),
        reason="moved",
        size="half-pint",
        count=1,
        source=kitchen_place(batch.kitchen),
        target=person_place(friend),
        token=uuid4(),
        state="full",
        batch_id=batch.pk,
        at=late,
        now=late,
    )
    with only("recall"):
        for later in range(0, 30, 3):
            outbox.gather(late + later * DAY)
    assert Reminder.objects.filter(rule="recall", person=friend).count() == 1


def test_a_withdrawn_revision_opens_its_recall_and_its_makers_hear(batch):
    revision_withdraw(by=make_organiser(), revision=batch.revision, reason="Too little acid.")
    assert Recall.objects.count() == 0
    assert run_periodic_jobs(NOW + 40 * DAY) == []
    assert Recall.objects.get().revision == batch.revision
    told = Reminder.objects.filter(rule="recall").values_list("person__name", flat=True)
    assert sorted(told) == ["Hal Housemate", "Mona Maker"]


def test_the_mail_says_what_why_and_not_to_eat_and_leads_to_the_answer(recall, batch):
    gathered(NOW + DAY)
    told = RULES["recall"].message(Reminder.objects.filter(rule="recall").first(), NOW + DAY)
    assert told.subject == f"Do not eat: jars called back, {batch.lot_code}, {batch.title}"
    assert recall.reason in told.text
    assert "taste nothing" in told.text
    assert batch.lot_code in told.text
    assert told.link == f"https://club.example.test/batches/recalls/{recall.pk}/"
    assert told.link in told.html


def test_the_list_of_reminders_names_what_is_called_back(recall, batch):
    gathered(NOW + DAY)
    words = [text for one, text in with_titles(Reminder.objects.filter(rule="recall"))]
    assert words == [f"jars called back, {batch.lot_code}, {batch.title}"] * 2


def test_gathering_asks_the_same_few_questions_for_one_recall_and_for_many(recall, django_assert_max_num_queries):
    rule = RULES["recall"]
    for _n in range(2):
        with django_assert_max_num_queries(13):
            assert list(rule.due(NOW + DAY))
        for _more in range(5):
            make_recall(batch=make_batch_checked(), now=NOW + DAY)
