"""A household: a person is asked in, notes what was opened, lets a new instructor read a note; what the club lacks."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from club.classes.services import seats
from club.members.models import Kitchen
from club.season.models import YearlyTarget
from club.season.services import household_set
from inventory.jars import services
from inventory.jars.models import Movement
from recipes.models import Recipe
from tests.factories.classes import make_instructor, make_session
from tests.factories.jars import make_jars, make_keeper
from tests.factories.members import PASSWORD, make_kitchen, make_person
from tests.factories.recipes import make_revision
from tests.factories.season import make_shelf, make_target, use


@pytest.fixture
def household():
    """A kitchen with a shelf, wishes that are met, that are not, and that are refused."""
    ada = make_person(email="ada@example.test", name="Ada Plum")
    home = make_kitchen(ada, name="Plum Lane")
    spread, other = make_revision(title="Plum spread"), make_revision(title="Pear spread", produce=["pears"])
    make_shelf(ada, home, spread, 6, days=120, unsealed={1: "refrigerate"})
    make_shelf(ada, home, other, 4, days=200)
    make_shelf(ada, home, make_revision(title="Quince paste"), 3, days=30)
    use(ada, home, spread, 3)
    make_target(ada, home, spread, jars=24)
    make_target(ada, home, other, jars=4)
    make_target(ada, home, other, jars=2, jar_size="quart")
    make_jars(services.kitchen_place(home), 9, size="half-pint", by=ada)
    household_set(by=ada, kitchen=home, evening_minutes=180, lids_at_home=12, is_counted=True)
    return ada, home


def test_somebody_is_asked_in_says_yes_notes_what_was_opened_and_who_reads_a_note(visitor, household):
    ada, kitchen = household
    bo, page = make_person(name="Bo Quince"), visitor.page
    make_kitchen(name="Aaa Hall", is_hall=True)
    visitor.sign_in(ada.email, f"/people/kitchens/{kitchen.pk}/")
    page.get_by_label("Email of a member").fill(bo.email)
    page.get_by_role("button", name="Ask them").click()
    page.get_by_role("heading", name="Asked, no answer yet").wait_for()
    visitor.look("household-keeper")
    page.context.clear_cookies()
    visitor.go("/people/me/")  # signed in as people do
    page.get_by_label("Email").fill(bo.email)
    page.locator("#id_password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_role("button", name="Yes, I preserve there").click()
    page.get_by_text("You preserve in Plum Lane too now.").wait_for()
    assert Kitchen.objects.usable_by(bo).filter(pk=kitchen.pk).exists()
    slug = Recipe.objects.get(title="Plum spread").slug
    visitor.go(f"/recipes/{slug}/")
    page.get_by_text("Choose the kitchen that you preserve in").wait_for()  # neither theirs nor used before
    visitor.look("household-choose")
    page.get_by_role("link", name="Choose one for good").click()
    page.get_by_role("button", name=re.compile("Show figures for this one.*Plum Lane")).click()
    page.get_by_text("shown first").wait_for()
    visitor.go(f"/recipes/{slug}/")
    page.get_by_text("Shown for Plum Lane").wait_for()
    visitor.go(f"/people/kitchens/{kitchen.pk}/")
    page.get_by_text("Ada Plum keeps this kitchen").wait_for()
    page.get_by_label("Altitude", exact=True).fill("10")
    page.get_by_role("button", name="Save the kitchen").click()
    page.get_by_role("heading", name="Is it really this low?").wait_for()
    visitor.look("kitchen-lower")
    page.get_by_role("link", name="Leave it as it was").click()
    page.get_by_role("heading", name="Who preserves here").wait_for()

    visitor.go("/pantry/")
    page.get_by_role("link", name="The season's plan").click()
    page.wait_for_url(f"**/season/{kitchen.pk}/")
    page.get_by_text("note one as opened or given away").click()
    page.get_by_role("button", name="Opened Plum spread").click()
    page.get_by_text("Written down, the oldest jars first.").wait_for()
    assert Movement.objects.filter(reason="emptied").order_by("pk").last().count == 1
    page.get_by_role("link", name="Add something").click()
    page.get_by_label("or any recipe of a kind").select_option(label="jam: pears")
    page.get_by_label("Jars a year").fill("8")
    page.get_by_role("button", name="Note it").click()
    page.wait_for_url(f"**/season/{kitchen.pk}/")
    assert YearlyTarget.objects.get(kind="jam", produce="pears").jars == 8
    page.get_by_text("The same as a table").click()
    page.get_by_text("How we do it").click()
    visitor.look("season-open")

    now, teacher, late = timezone.now(), make_instructor(name="Ilse Damson"), make_instructor(name="Lara Late")
    session = make_session(by=teacher, now=now, day=(now + timedelta(days=9)).date())
    signup = seats.signup_place(by=bo, session=session, needs="No hazelnuts")
    session.instructors.add(late)
    visitor.sign_in(late.email, f"/classes/{session.pk}/")
    page.get_by_text("before you were one").wait_for()
    visitor.sign_in(bo.email, f"/classes/sign-ups/{signup.pk}/")
    page.get_by_text("Not read by Lara Late").wait_for()
    page.get_by_role("button", name="Save").click()
    page.get_by_text("Saved.").wait_for()
    assert set(signup.needs_for.all()) == {teacher, late}

    visitor.sign_in(make_keeper().email, "/season/club/")
    page.get_by_role("link", name="Open a club order with these lines").click()
    page.wait_for_url("**/orders/new/**")
    assert "Looked for:" in page.get_by_label("Note for members").input_value()
