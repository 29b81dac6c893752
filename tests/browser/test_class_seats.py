"""A seat: signed up for, waited for, given up from the mail, offered on and taken; then two who come together."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.conf import settings
from django.core import mail
from django.utils import timezone

from club.classes.models import SignUp
from club.classes.services import seats
from club.reminders import outbox as reminders_outbox
from tests.factories.classes import make_instructor, make_session
from tests.factories.members import make_person
from tests.factories.reminders import awake


def link_in_the_mail_to(person) -> str:
    """The path of the link about the seat in the latest mail to this person, after a round of the clock."""
    now = timezone.now()
    reminders_outbox.gather(now)
    reminders_outbox.send_due(now)
    sent = [one for one in mail.outbox if one.to == [person.email]][-1]
    [link] = [line for line in sent.body.splitlines() if line.startswith(f"{settings.SITE_URL}/classes/")]
    return link.removeprefix(settings.SITE_URL)


@pytest.fixture
def hall():
    """A session of two seats in nine days, one of them taken; its instructor, and three members who want a seat."""
    now = timezone.now()
    teacher = make_instructor(email="teacher@example.test", name="Ilse Instructor")
    session = make_session(
        by=teacher,
        seats=2,
        now=now,
        day=(now + timedelta(days=9)).date(),
        about="From a crate of plums to labelled jars.",
        what_to_bring="An apron and closed shoes",
        price_note="12 for fruit and jars",
    )
    seats.signup_place(by=make_person(name="June Hathersage"), session=session, needs="Walnuts give me a rash.")
    first = awake(make_person(email="mina@example.test", name="Mina Quince"))
    second = awake(make_person(email="otto@example.test", name="Otto Medlar"))
    return session, teacher, first, second, make_person(email="pia@example.test", name="Pia Medlar")


def is_on_the_screen(visitor, box) -> bool:
    """Whole on the screen as it stands; the page behind a mail's link has no rooms at its foot."""
    place = box.bounding_box()
    return place["y"] >= 0 and place["y"] + place["height"] <= visitor.page.viewport_size["height"]


def test_a_seat_given_up_from_the_mail_is_offered_on_and_two_come_together(visitor, hall):
    session, teacher, first, second, third = hall
    page = visitor.page

    visitor.sign_in(first.email)
    page.get_by_text("More", exact=True).click()
    page.get_by_role("link", name="Classes").click()
    page.wait_for_url("**/classes/")
    page.get_by_role("link", name="Plum spread").click()
    page.wait_for_url(f"**/classes/{session.pk}/")
    assert visitor.is_uncovered(page.get_by_role("link", name="Sign up"))  # what is long comes below it
    page.get_by_role("link", name="Sign up").click()
    assert visitor.is_uncovered(page.get_by_label("I come alone"))
    page.get_by_role("button", name="Sign up").click()
    page.get_by_text("You have a seat. A mail").wait_for()

    visitor.sign_in(second.email, f"/classes/{session.pk}/")
    page.get_by_label("Allergies").fill("Celery")
    page.get_by_role("button", name="Sign up").click()
    page.get_by_text("You are in the waiting line. You get a mail when a seat").wait_for()
    page.context.clear_cookies()

    visitor.go(link_in_the_mail_to(first))  # opened by whoever has the mail, signed in or not
    assert is_on_the_screen(visitor, page.get_by_role("button", name="Give up my seat"))
    page.get_by_role("button", name="Give up my seat").click()
    page.get_by_text("You are not signed up any more.").wait_for()
    assert SignUp.objects.get(person=second).state == "offered"

    SignUp.objects.filter(person=second).update(offered_at=timezone.now() - timedelta(hours=30))  # not by night
    visitor.go(link_in_the_mail_to(second))
    assert is_on_the_screen(visitor, page.get_by_role("button", name="Take the seat"))
    page.get_by_role("button", name="Take the seat").click()
    page.get_by_role("button", name="Give up my seat").wait_for()
    assert SignUp.objects.get(person=second).state == "seated"

    # All seats are taken again. Two come together, and say what they need.
    visitor.sign_in(third.email, f"/classes/{session.pk}/")
    page.get_by_text("We come as two").click()
    page.get_by_role("button", name="Sign up").click()
    page.get_by_text("Who comes along? Give a name.").wait_for()
    visitor.look("seats-refused")
    page.get_by_label("Who comes along").fill("Bo")
    page.get_by_role("button", name="Sign up").click()
    page.get_by_text("You two stay together").wait_for()
    page.get_by_text("I cannot come").click()
    page.get_by_text("How seats are given").click()
    visitor.look("seats-pair-waiting")
    page.get_by_role("link", name="Tell the instructors something").click()
    page.get_by_label("Allergies").fill("Bo needs a chair")
    visitor.look("seats-notes")
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()

    visitor.sign_in(teacher.email, f"/classes/{session.pk}/")
    shown = visitor.text()
    assert "Walnuts give me a rash." in shown
    assert "Bo needs a chair" in shown
