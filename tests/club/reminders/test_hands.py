"""Asked to the stove of somebody else: told at once, seen on the first page, and over with the answer."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from club.desk.dashboard import desk_for
from club.reminders.models import Reminder, ReminderState
from club.reminders.outbox import send_due
from club.reminders.services import RULES
from inventory.batches.services import batch_abandon, hand_accept, hand_ask
from tests.club.reminders.helpers import gathered, message
from tests.factories.batches import NOW, make_batch
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db
ASKED = RULES["hand-asked"]
MIDNIGHT = NOW + timedelta(hours=12)  # on the club's wall, in the quiet hours


@pytest.mark.parametrize(
    ("takes_over", "said", "then"),
    [(False, "Ada Plum asks you to cook along", "work at its stove"), (True, "asks you to take over", "is yours")],
)
def test_who_is_asked_hears_of_it_at_once_and_on_the_first_page_until_they_answer(takes_over, said, then, mailoutbox):
    batch, friend = make_batch(), make_person(name="Bo Plum")
    told = {"by": batch.made_by, "batch": batch, "person": friend, "takes_over": takes_over}
    hand = hand_ask(token=uuid4(), now=MIDNIGHT, **told)
    assert gathered(MIDNIGHT) == [("hand-asked", friend.email)]
    send_due(MIDNIGHT)
    [mail] = mailoutbox
    assert said in mail.subject
    assert batch.lot_code in mail.subject
    assert then in mail.body
    assert message("hand-asked", MIDNIGHT).link.endswith(reverse("batches:stove-list"))
    [card] = desk_for(friend, now=MIDNIGHT).section("asked-to-cook").cards
    assert card.weight(MIDNIGHT) == "now"
    hand_accept(by=friend, hand=hand, now=MIDNIGHT)
    assert desk_for(friend, now=MIDNIGHT).section("asked-to-cook") is None
    assert not ASKED.still_due(Reminder.objects.get(rule="hand-asked"), MIDNIGHT)


def test_a_batch_given_up_meanwhile_needs_nobody():
    batch = make_batch()
    hand_ask(by=batch.made_by, batch=batch, person=make_person(), token=uuid4(), now=NOW)
    gathered(NOW)
    batch_abandon(by=batch.made_by, batch=batch, reason="Burnt", now=NOW)
    send_due(NOW)
    assert Reminder.objects.get(rule="hand-asked").state == ReminderState.SETTLED
