"""Something went wrong, in a real browser: the list, an answer, and what is done about it; scanned, light and dark."""

from __future__ import annotations

from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from tests.factories.batches import make_batch_checked, make_pressure_batch_out
from tests.factories.members import PASSWORD, make_person


def dark(page) -> None:
    page.evaluate("document.documentElement.dataset.bsTheme = 'dark'")


def test_from_the_foot_of_a_page_to_an_answer(visitor):
    cook = make_person(email="cook@example.test")
    page = visitor.page
    visitor.sign_in(cook.email, PASSWORD)
    page.get_by_role("link", name="Something went wrong with jars?").click()
    visitor.look("wrong-list")
    page.get_by_role("link", name="A jar did not seal").click()
    visitor.look("wrong-strict")
    page.get_by_label("What is in the jars?").select_option("acid")
    page.get_by_label("How long are they out of the canner?").select_option("2")
    page.get_by_role("button", name="Show the answer").click()
    assert "Process it again" in page.locator(".wrong-acts").inner_text()
    for summary in page.locator("main details > summary").all():
        if summary.is_visible():
            summary.click()
    visitor.look("wrong-unfolded")
    dark(page)
    visitor.look("wrong-unfolded-dark")


def test_a_batch_is_answered_by_its_hours_and_its_jars_are_set_aside(visitor):
    cook = make_person(Role.INSTRUCTOR, email="cook@example.test")
    batch = make_pressure_batch_out(by=cook, out_at=timezone.now() - timedelta(hours=1, minutes=10))
    page = visitor.page
    visitor.sign_in(cook.email, PASSWORD)
    visitor.go(batch.get_absolute_url())
    page.get_by_role("link", name="Something went wrong?").click()
    visitor.look("wrong-batch-list")
    page.get_by_role("link", name="The pressure fell").click()
    assert "1 h 10 min" in page.locator(".page-head").inner_text()
    visitor.look("wrong-batch")
    dark(page)
    visitor.look("wrong-batch-dark")
    page.get_by_role("button", name="Set these jars aside").click()
    page.wait_for_url(f"**{batch.get_absolute_url()}")
    visitor.look("wrong-set-aside")
    page.get_by_role("link", name="They are sound after all").click()
    visitor.look("wrong-sound")


def test_jars_of_a_later_day_are_thrown_away_or_called_back(visitor):
    cook = make_person(email="cook@example.test")
    batch = make_batch_checked(by=cook, out_at=timezone.now() - timedelta(days=9))
    page = visitor.page
    visitor.sign_in(cook.email, PASSWORD)
    visitor.go(reverse("batches:batch-wrong", args=[batch.lot_code]) + "?what=mould")
    visitor.look("wrong-mould")
    page.get_by_role("button", name="They are thrown away").click()
    assert page.get_by_text("Mark at least one jar.").is_visible()
    visitor.look("wrong-mould-refused")
    visitor.go(reverse("batches:batch-wrong", args=[batch.lot_code]) + "?what=not-set")
    visitor.look("wrong-not-set")


def test_pages_of_low_acid_food_say_what_such_a_jar_can_do(visitor):
    cook = make_person(email="cook@example.test")
    batch = make_pressure_batch_out(by=cook, out_at=timezone.now() - timedelta(hours=1))
    recipe = batch.revision.recipe.slug
    visitor.sign_in(cook.email, PASSWORD)
    visitor.go(batch.get_absolute_url())
    visitor.look("low-acid-batch")
    visitor.go(reverse("recipes:recipe", args=[recipe]))
    visitor.look("low-acid-recipe")
    dark(visitor.page)
    visitor.look("low-acid-recipe-dark")
    asked = f"?kitchen={batch.kitchen_id}&pots=1&jar=pint&pack=hot&canner=dial-gauge"
    visitor.go(reverse("recipes:plan", args=[recipe]) + asked)
    visitor.page.locator(".low-acid summary").first.click()
    visitor.look("low-acid-plan")
