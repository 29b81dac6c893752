from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from club.reminders.models import Reminder
from club.reminders.rules import Message, stop_token
from club.reminders.services import RULES
from inventory.batches.models import Batch
from tests.factories.members import make_person
from tests.factories.recipes import SPREAD, make_revision
from tests.factories.reminders import make_reminder, make_waiting_batch

pytestmark = pytest.mark.django_db

DENVER = ZoneInfo("America/Denver")
OUT = datetime(2026, 8, 14, 18, 10, tzinfo=DENVER)


def mail_at(hours: float, *, rule: str = "seal-check", out: datetime = OUT, **fields) -> Message:
    now = out.astimezone(UTC) + timedelta(hours=hours)
    batch = make_waiting_batch(out, by=make_person(), **fields)
    return RULES[rule].message(make_reminder(batch, rule=rule, now=now), now)


def test_the_first_mail_says_the_hour_reprocessing_lapses():
    message = mail_at(12)
    assert "Saturday 15 August, 18:10 (MDT)" in message.text
    assert "can be processed again until" in message.text
    assert "came out on Friday 14 August, 18:10 (MDT)" in message.text


def test_it_names_the_recipe_the_lot_and_the_person():
    message = mail_at(12)
    lot = Batch.objects.get().lot_code
    assert message.subject == f"Look at the seals: Plum & rose jam, {lot}"
    assert message.text.startswith("Hello Ada,\n")


def test_the_one_link_leads_to_the_seal_page_and_carries_nothing_that_signs_in():
    message = mail_at(12)
    assert message.link == f"https://club.example.test/batches/{Batch.objects.get().lot_code}/seals/"
    stop = f"https://club.example.test/reminders/stop/{stop_token(Reminder.objects.get().person_id, 'seal-check')}/"
    for body in (message.text, message.html):
        assert body.count("http") == 2  # the other one is at its foot, and stops mails of this kind
        assert message.link in body
        assert stop in body
    assert "?" not in message.link


def test_the_hours_hold_over_a_clock_change():
    # The clock goes back in the night: 24 elapsed hours after 18:00 is 17:00, and the zone's name says which.
    message = mail_at(12, out=datetime(2026, 10, 31, 18, 0, tzinfo=DENVER))
    assert "came out on Saturday 31 October, 18:00 (MDT)" in message.text
    assert "until Sunday 1 November, 17:00 (MST)" in message.text


def test_the_second_call_before_24_hours_still_says_until_when():
    message = mail_at(20, rule="seal-second-call")
    assert message.subject.startswith("Still to do")
    assert "can be processed again until Saturday 15 August, 18:10" in message.text
    assert "thrown away" not in message.text


def test_the_second_call_after_24_hours_says_that_it_is_too_late_and_what_follows():
    message = mail_at(24, rule="seal-second-call")
    assert "too late to process" in message.text
    assert "can be processed again" not in message.text
    assert "thrown away, untasted" in message.text


def test_reprocessed_jars_are_not_offered_another_reprocess():
    batch = make_waiting_batch(OUT)
    again = OUT + timedelta(hours=14)
    Batch.objects.update(reprocessed_out_at=again, reprocessed_minutes=10)
    now = again + timedelta(hours=12)
    message = RULES["seal-check"].message(make_reminder(batch, now=now), now)
    assert "reprocessed once already" in message.text
    assert "can be processed again" not in message.text
    assert "thrown away, untasted" not in message.text
    after = RULES["seal-second-call"].message(Reminder.objects.get(), again + timedelta(hours=24))
    assert "thrown away, untasted" in after.text
    assert "efrigerate" not in after.text


def test_food_that_is_never_reprocessed_is_not_offered_it():
    # A raw pack without a tested hot pack: its contents would have to be reheated.
    raw_only = [{**row, "pack": "raw"} for row in SPREAD["process"]]
    message = mail_at(12, revision=make_revision(process=raw_only))
    assert "No hot pack of this recipe was tested" in message.text
    assert "can be processed again" not in message.text


def test_text_is_plain_and_html_is_escaped():
    message = mail_at(12)
    assert "Plum & rose jam" in message.text
    assert "Plum &amp; rose jam" in message.html
    assert "style=" not in message.html
    assert "<script" not in message.html


def test_a_name_with_a_line_break_cannot_bend_the_subject():
    batch = make_waiting_batch(OUT)
    recipe = batch.revision.recipe
    recipe.title = "Plum\nBcc: all@example.test"
    recipe.save(update_fields=["title"])
    now = OUT + timedelta(hours=12)
    message = RULES["seal-check"].message(make_reminder(batch, now=now), now)
    assert "\n" not in message.subject


def test_the_mail_is_in_the_clubs_zone_whatever_zone_is_active():
    from django.utils import timezone

    with timezone.override("Asia/Tokyo"):
        assert "18:10 (MDT)" in mail_at(12).text
