"""Asking somebody into a kitchen and saying yes, and a note that a new instructor waits for, in a real browser."""

from __future__ import annotations

import re
from datetime import timedelta

from django.utils import timezone

from club.classes.services import seats
from club.members.models import Kitchen
from tests.factories.classes import make_instructor, make_session
from tests.factories.members import PASSWORD, make_kitchen, make_person
from tests.factories.recipes import make_revision


def test_somebody_is_asked_into_a_kitchen_and_says_yes(visitor):
    ada, bo = make_person(name="Ada Plum"), make_person(name="Bo Quince")
    kitchen, page = make_kitchen(ada), visitor.page
    make_kitchen(name="Aaa Hall", is_hall=True)
    visitor.sign_in(ada.email, PASSWORD)
    visitor.go(f"/people/kitchens/{kitchen.pk}/")
    page.get_by_label("Email of a member").fill(bo.email)
    page.get_by_role("button", name="Ask them").click()
    page.get_by_role("heading", name="Asked, no answer yet").wait_for()
    visitor.look("household-asked")
    page.context.clear_cookies()
    visitor.sign_in(bo.email, PASSWORD)
    visitor.go("/people/me/")
    visitor.look("household-me")
    page.get_by_role("button", name="Yes, I preserve there").click()
    page.get_by_text("You preserve in Plum Lane too now.").wait_for()
    assert Kitchen.objects.usable_by(bo).filter(pk=kitchen.pk).exists()
    slug = make_revision().recipe.slug
    visitor.go(f"/recipes/{slug}/")
    page.get_by_text("Choose the kitchen that you preserve in").wait_for()  # neither theirs nor used before
    visitor.look("household-choose")
    page.get_by_role("link", name="Choose one for good").click()
    page.get_by_role("button", name=re.compile("Show figures for this one.*Plum Lane")).click()
    page.get_by_text("shown first").wait_for()
    visitor.look("household-chosen")
    visitor.go(f"/recipes/{slug}/")
    page.get_by_text("Shown for Plum Lane").wait_for()


def test_a_note_waits_for_its_writer_where_an_instructor_came_later(visitor):
    now, teacher, late = timezone.now(), make_instructor(name="Ilse Damson"), make_instructor(name="Lara Late")
    session = make_session(by=teacher, now=now, day=(now + timedelta(days=9)).date())
    student = make_person(name="Petra Plum")
    signup = seats.signup_place(by=student, session=session, needs="No hazelnuts")
    session.instructors.add(late)
    visitor.sign_in(late.email, PASSWORD)
    visitor.go(f"/classes/{session.pk}/")
    visitor.page.get_by_text("before you were one").wait_for()
    visitor.look("household-hidden")
    visitor.page.context.clear_cookies()
    visitor.sign_in(student.email, PASSWORD)
    visitor.go(f"/classes/sign-ups/{signup.pk}/")
    visitor.page.get_by_text("Not read by Lara Late").wait_for()
    visitor.look("household-note")
    visitor.page.get_by_role("button", name="Save").click()
    visitor.page.get_by_text("Saved.").wait_for()
    assert set(signup.needs_for.all()) == {teacher, late}
