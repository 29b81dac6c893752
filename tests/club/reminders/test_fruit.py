"""Reminders about fruit: to whom, when, with what reason, and not when it was settled meanwhile."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from inventory.fruit import services as fruit
from inventory.fruit.models import Offer, Share
from tests.club.reminders.helpers import at, gathered, message, run_periodic_jobs
from tests.factories.fruit import KG, NOW, TODAY, hours, make_claim, make_offer, share_out
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def still_due(rule: str, now: datetime) -> bool:
    return RULES[rule].still_due(Reminder.objects.filter(rule=rule).latest("pk"), now)


def test_the_giver_hears_two_days_before_its_day_at_nine_while_some_is_left():
    offer = make_offer(use_by=TODAY + timedelta(days=5), closes_at=at(2, 12))
    assert gathered(at(3, 8, 59)) == []
    assert gathered(at(3, 9)) == [("fruit-use-by", offer.giver.email)]
    assert Reminder.objects.get().due_at == at(3, 9)
    told = message("fruit-use-by", at(3, 9))
    assert told.subject == "Best used by Saturday 19 September: plums"
    assert "12 kg is left" in told.text
    assert told.link == f"https://club.example.test/fruit/offers/{offer.pk}/"


def test_of_what_is_promised_kept_or_taken_back_nobody_is_told_that_it_spoils():
    gone = make_offer(use_by=TODAY + timedelta(days=2))
    gathered(at(0, 12))
    assert still_due("fruit-use-by", at(0, 12))
    make_claim(gone, 12 * KG)
    share_out(gone)
    assert not still_due("fruit-use-by", at(0, 13))
    back = make_offer(use_by=TODAY + timedelta(days=2))
    fruit.offer_take_back(by=back.giver, offer=back, reason="Frost", now=NOW)
    Reminder.objects.all().delete()
    assert "fruit-use-by" not in {rule for rule, _email in gathered(at(0, 13))}


def test_who_gets_a_share_hears_at_once_how_much_why_when_and_where():
    offer = make_offer()
    claim = make_claim(offer, 9 * KG)
    make_claim(offer, 9 * KG)
    assert gathered(at(0, 12)) == []
    share_out(offer)
    assert ("fruit-shared", claim.person.email) in gathered(at(0, 12, 1))
    told = RULES["fruit-shared"].message(Reminder.objects.get(person=claim.person), at(0, 12, 1))
    assert told.subject == "A share for you: 6 kg of plums"
    assert "2 people asked, and 12 kg was there to share." in told.text
    assert "the same as everybody who wanted more" in told.text
    assert "Wednesday 16 September from 16:00 to 18:00: 7 Orchard Row" in told.text


def test_a_share_given_back_is_not_told_and_who_gets_more_by_it_is_told_again():
    offer = make_offer()
    leaves, stays = make_claim(offer, 9 * KG), make_claim(offer, 9 * KG)
    share_out(offer)
    gathered(at(0, 12, 1))
    fruit.share_give_back(by=leaves.person, share=Share.objects.get(claim=leaves), now=at(0, 13))
    mine = Reminder.objects.get(person=leaves.person)
    first = Reminder.objects.get(person=stays.person)
    assert not RULES["fruit-shared"].still_due(mine, at(0, 13))
    assert not RULES["fruit-shared"].still_due(first, at(0, 13))
    gathered(at(0, 13))
    again = Reminder.objects.filter(person=stays.person).latest("pk")
    assert (again.occurrence, again.due_at) == ("round 2", at(0, 13))
    assert "9 kg" in RULES["fruit-shared"].message(again, at(0, 13)).subject


def test_the_evening_before_at_six_the_share_is_called_to_mind():
    offer = make_offer()
    claim = make_claim(offer)
    share_out(offer)
    assert gathered(at(1, 17, 59)) == [("fruit-shared", claim.person.email)]
    assert gathered(at(1, 18)) == [("fruit-pick-up", claim.person.email), ("fruit-shared", claim.person.email)]
    told = message("fruit-pick-up", at(1, 18))
    assert told.subject == "To pick up Wednesday 16 September: plums"
    assert "7 Orchard Row" in told.text
    assert still_due("fruit-pick-up", at(2, 17, 59))
    assert not still_due("fruit-pick-up", at(2, 18))
    fruit.share_note_picked_up(by=claim.person, share=Share.objects.get(), now=at(2, 16))
    assert not still_due("fruit-pick-up", at(2, 17))


def test_who_was_told_of_a_share_after_that_evening_s_hour_is_not_told_twice():
    offer = make_offer(windows=(hours(1, 12, 14),))
    make_claim(offer)
    share_out(offer, now=at(0, 19))
    assert [rule for rule, _email in gathered(at(0, 19))] == ["fruit-shared"]


def test_who_gets_nothing_hears_why_and_not_once_she_has_some_after_all():
    offer = make_offer()
    pot = make_claim(offer, 12 * KG, 11 * KG)
    small = [make_claim(offer, 2 * KG, 2 * KG) for _ in range(2)]
    share_out(offer)
    assert ("fruit-nothing", pot.person.email) in gathered(at(0, 12, 1))
    told = message("fruit-nothing", at(0, 12, 1))
    assert told.subject == "No share this time: plums"
    assert "less than 11 kg is of no use to you" in told.text
    make_claim(Offer.objects.get(), 4 * KG, by=pot.person, now=at(0, 13))
    assert not still_due("fruit-nothing", at(0, 13))
    assert {one.person.email for one in small} == {
        email for rule, email in gathered(at(0, 12, 1)) if rule == "fruit-shared" and email != pot.person.email
    }


def test_who_claimed_hears_that_an_offer_is_taken_back_and_why():
    offer = make_offer()
    claim = make_claim(offer)
    make_claim(make_offer())
    fruit.offer_take_back(by=offer.giver, offer=offer, reason="Wasps got at it", now=NOW)
    assert gathered(at(0, 12, 1)) == [("fruit-taken-back", claim.person.email)]
    assert "Wasps got at it" in message("fruit-taken-back", at(0, 12, 1)).text
    assert still_due("fruit-taken-back", at(0, 13))


def test_who_is_no_member_any_more_hears_nothing():
    offer = make_offer()
    claim = make_claim(offer)
    share_out(offer)
    gathered(at(0, 12, 1))
    claim.person.is_active = False
    claim.person.save()
    assert not still_due("fruit-shared", at(0, 13))
    Reminder.objects.all().delete()
    assert gathered(at(0, 13)) == []


def test_the_clock_shares_out_what_has_closed_and_tells_of_it_in_the_same_minute(mailoutbox):
    offer = make_offer()
    claim = make_claim(offer)
    assert run_periodic_jobs(offer.closes_at) == []
    assert [one.to for one in mailoutbox] == [[claim.person.email]]
    assert "A share for you" in mailoutbox[0].subject


def test_what_breaks_while_sharing_does_not_hold_up_the_mails(monkeypatch, mailoutbox):
    offer = make_offer()
    make_claim(offer)
    share_out(offer)

    def broken(_now):
        raise RuntimeError("no sharing today")

    monkeypatch.setattr("inventory.fruit.tasks.offers_share_due", broken)
    [error] = run_periodic_jobs(at(0, 12, 1))
    assert str(error) == "no sharing today"
    assert len(mailoutbox) == 1


def test_reminders_are_about_the_fruit_in_words_and_gathering_asks_few_questions(django_assert_max_num_queries):
    offer = make_offer(use_by=TODAY + timedelta(days=2))
    for _ in range(20):
        make_claim(offer, 500)
    share_out(offer)
    make_claim(make_offer(), by=make_person())
    with django_assert_max_num_queries(3 * len(RULES)):
        outbox.gather(at(0, 12, 1))
    said = {words for _reminder, words in with_titles(Reminder.objects.all())}
    assert said == {"a share for you, plums", "fruit that spoils, plums"}
