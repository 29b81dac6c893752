"""Several of a kind for one person are one mail, whatever happens on the way; what is urgent never waits for others."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail
from django.core.mail import EmailMessage

from club.reminders import outbox
from club.reminders.models import Reminder, ReminderState
from club.reminders.outbox import lease_begin, lease_release, lease_time, reminder_begin_sending
from club.reminders.services import RULES
from tests.club.reminders.helpers import at
from tests.factories.equipment import make_keeper, make_loan, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db

EVENING = at(2, 18)
URGENT = (
    "recall",
    "reprocess-closing",
    "seal-check",
    "seal-second-call",
    "thing-offer",
    "seat-offered",
    "seat-lapsing",
)


@pytest.fixture
def ten():
    """Ten things handed out in one morning to one person, and one to another; gathered on the evening before."""
    keeper, petra, other = make_keeper(), make_person(name="Petra Vale"), make_person()
    things = [make_thing("food-mill", by=keeper, name=f"Mill {n}") for n in range(11)]
    for n, thing in enumerate(things):
        make_loan(thing, petra if n else other, days=3, now=at(0, 9, 3 * n), by=keeper)
    outbox.gather(EVENING)
    return petra


def states() -> list[str]:
    return list(Reminder.objects.values_list("state", flat=True).distinct().order_by())


def test_ten_things_are_one_mail_and_ten_lines_of_the_inbox(ten):
    assert outbox.send_due(EVENING) == {ReminderState.SENT: 11}
    one, many = sorted(mail.outbox, key=lambda sent: len(sent.body))
    assert (len(mail.outbox), many.to, one.subject[-6:]) == (2, [ten.email], "Mill 0")
    assert "9 more" in many.subject
    assert [many.body.count(f"Mill {n} (") for n in range(1, 11)] == [1] * 10
    assert many.body.count("clean and with all its parts") == 10
    assert len(set(ten.reminders.values_list("headline", flat=True))) == 10


def test_what_came_back_meanwhile_is_not_in_the_mail(ten):
    thing = make_thing("food-mill", name="Late mill")
    late = make_loan(thing, ten, days=3, now=at(0, 12))
    outbox.gather(EVENING)
    late.delete()
    assert outbox.send_due(EVENING)[ReminderState.SETTLED] == 1
    assert "Late mill" not in "".join(sent.body for sent in mail.outbox)


def test_a_sender_that_dies_with_the_mail_leaves_none_out_and_the_next_mail_is_the_same(ten, monkeypatch):
    def die(self, fail_silently=False):
        tried.append(self.extra_headers["Message-ID"])
        raise SystemExit

    tried: list[str] = []
    with monkeypatch.context() as dying:
        dying.setattr(EmailMessage, "send", die)
        for moment in (EVENING, EVENING + timedelta(seconds=1)):  # the other person's mail, then that of the ten
            with pytest.raises(SystemExit):
                outbox.send_due(moment)
    assert Reminder.objects.filter(state=ReminderState.SENDING).count() == 11
    outbox.send_due(EVENING + 2 * lease_time())
    assert states() == [ReminderState.SENT]
    assert sorted(sent.extra_headers["Message-ID"] for sent in mail.outbox) == sorted(tried)


def test_a_mail_server_that_is_away_gives_them_all_back_and_they_still_go_together(ten, monkeypatch):
    with monkeypatch.context() as away:
        away.setattr(EmailMessage, "send", lambda self, fail_silently=False: (_ for _ in ()).throw(OSError("away")))
        outbox.send_due(EVENING)
    assert states() == [ReminderState.DUE]
    outbox.send_due(EVENING + timedelta(minutes=5))
    assert len(mail.outbox) == 2


def test_what_another_sender_has_in_hand_stays_theirs(ten):
    rows = lease_begin(now=EVENING)
    theirs = next(row for row in rows if row.person_id == ten.pk)
    assert reminder_begin_sending(reminder=theirs, now=EVENING)
    lease_release(rows)
    outbox.send_due(EVENING)
    theirs.refresh_from_db()
    assert theirs.state == ReminderState.SENDING
    assert [sent.subject[-6:] for sent in mail.outbox if sent.to == [ten.email]] == ["8 more"]


def test_what_comes_one_by_one_waits_a_little_for_the_others_and_is_not_late_meanwhile():
    rule = RULES["hold-ready"]
    assert rule.gathers
    assert timedelta(0) < rule.gathers_for <= timedelta(hours=1)


def test_what_runs_out_or_is_not_to_be_eaten_never_waits_for_others():
    assert not [name for name in URGENT if RULES[name].gathers or RULES[name].gathers_for]
