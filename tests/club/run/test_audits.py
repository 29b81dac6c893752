"""The nightly audit: made once a day, what it finds, and who is told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.reminders import outbox
from club.reminders.models import NightlyAudit, Reminder
from club.reminders.services import AUDIT_LEASE, RULES, audit_note, audit_take
from club.run import audits
from club.run.audits import AT_NIGHT, audit_tonight
from inventory.batches import services
from inventory.batches.models import Recall
from inventory.batches.services import recalls_audit
from tests.factories.batches import make_batch_checked, make_recall
from tests.factories.members import make_organiser, make_person

pytestmark = pytest.mark.django_db

NIGHT = datetime(2026, 8, 14, 9, 30, tzinfo=UTC)  # half past three in the morning at the club
PAGE = reverse("reminders:audit")


def test_it_is_made_once_a_day_from_three_in_the_morning_on(monkeypatch):
    looked = []
    monkeypatch.setattr(audits, "AT_NIGHT", {"seats": lambda: looked.append(1) or []})
    audit_tonight(NIGHT - timedelta(hours=1))
    assert looked == []
    for minutes in (0, 1, 600):
        audit_tonight(NIGHT + timedelta(minutes=minutes))
    assert looked == [1]
    audit_tonight(NIGHT + timedelta(days=1))
    assert looked == [1, 1]
    assert list(NightlyAudit.objects.values_list("problems", flat=True)) == [0, 0]


def test_one_that_was_broken_off_is_made_again():
    assert audit_take(NIGHT) is not None
    assert audit_take(NIGHT + timedelta(minutes=1)) is None
    again = audit_take(NIGHT + AUDIT_LEASE + timedelta(minutes=1))
    assert again is not None
    audit_note(audit=again, findings={}, now=NIGHT + AUDIT_LEASE)
    assert audit_take(NIGHT + 2 * AUDIT_LEASE + timedelta(minutes=2)) is None


def test_a_sound_house_has_nothing_to_tell():
    make_recall(batch=make_batch_checked(), now=NIGHT)
    organiser = make_organiser()
    assert {name: audit() for name, audit in AT_NIGHT.items()} == dict.fromkeys(AT_NIGHT, [])
    audit_tonight(NIGHT)
    outbox.gather(NIGHT)
    assert not Reminder.objects.filter(rule="audit", person=organiser).exists()


def test_what_it_finds_reaches_every_organiser_by_mail_and_on_the_first_page(monkeypatch, sign_in):
    def broken() -> list[str]:
        raise RuntimeError("no such table")

    now = datetime.now(UTC)
    organiser, member = make_organiser(), make_person()
    monkeypatch.setattr(audits, "AT_NIGHT", {"seats": lambda: ["session 7: 9 seats kept"] * 60, "loans": broken})
    monkeypatch.setattr("club.reminders.services.AUDIT_FROM", datetime.min.time())
    audit_tonight(now)
    outbox.gather(now)
    told = Reminder.objects.get(rule="audit")
    assert told.person == organiser
    mail = RULES["audit"].message(told, now)
    assert "61 things do not go together" in mail.text
    assert "session 7: 9 seats kept" in mail.text
    assert "... and 11 more" in mail.text
    assert mail.link.endswith(PAGE)
    assert PAGE in sign_in(organiser).get("/").text
    assert PAGE not in sign_in(member).get("/").text
    assert RULES["audit"].still_due(told, now)


def test_one_that_breaks_is_a_finding_and_the_others_are_made(monkeypatch):
    monkeypatch.setattr(audits, "AT_NIGHT", {"loans": lambda: 1 / 0, "seats": lambda: ["session 7"]})
    audit_tonight(NIGHT)
    found = NightlyAudit.objects.get()
    assert found.lines == ["loans: could not be looked at: ZeroDivisionError: division by zero", "seats: session 7"]
    assert found.day == club_day(NIGHT)


def test_the_page_is_for_organisers(sign_in, django_assert_max_num_queries):
    audit_tonight(NIGHT)
    assert sign_in(make_person()).get(PAGE).status_code == 403
    organiser = sign_in(make_organiser())
    with django_assert_max_num_queries(6):
        assert "Everything goes together." in organiser.get(PAGE).text


def test_a_label_that_would_be_printed_of_jars_called_back_is_found(monkeypatch):
    batch = make_batch_checked()
    make_recall(batch=batch)
    assert audits.labels_audit() == []
    monkeypatch.setattr("inventory.batches.presentation.is_called_back", lambda batch: False)
    assert audits.labels_audit()[0].startswith(f"batch {batch.lot_code}: called back, and ")


def test_a_withdrawal_that_no_recall_followed_is_found(monkeypatch):
    revision = make_batch_checked().revision
    revision.withdrawn_at = NIGHT
    monkeypatch.setattr("inventory.batches.services.recalls.withdrawn_without_recall", lambda: [revision])
    assert recalls_audit(NIGHT + timedelta(minutes=5)) == []
    assert "no recall asks" in recalls_audit(NIGHT + timedelta(days=1))[0]


def test_a_jar_that_was_handed_on_after_its_recall_is_found():
    batch, taker = make_batch_checked(), make_person()
    offer = services.jar_offer_make(by=batch.made_by, batch=batch, size="half-pint", count=1, token=uuid4())
    claim = services.jar_claim_make(by=taker, offer=offer, count=1, token=uuid4())
    services.jars_hand_over(by=batch.made_by, claim=claim, seals_firm=True)
    recall = make_recall(batch=batch, now=timezone.now() + timedelta(hours=1))
    assert recalls_audit(timezone.now()) == []
    Recall.objects.filter(pk=recall.pk).update(opened_at=timezone.now() - timedelta(hours=1))
    (found,) = recalls_audit(timezone.now())
    assert found.startswith(f"batch {batch.lot_code}, jar ")
