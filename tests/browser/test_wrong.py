"""Something went wrong: the list, an answer, and what is done about it."""

from __future__ import annotations

from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from tests.factories.batches import make_batch_checked, make_pressure_batch_out
from tests.factories.members import make_person


def dark(page) -> None:
    page.evaluate("document.documentElement.dataset.bsTheme = 'dark'")


def test_from_the_foot_of_a_page_to_an_answer_and_what_is_done_about_it(visitor):
    cook = make_person(Role.INSTRUCTOR, email="cook@example.test")
    page = visitor.page
    visitor.sign_in(cook.email)
    page.get_by_role("link", name="Something went wrong with jars?").click()
    page.get_by_role("link", name="A jar did not seal").click()
    page.get_by_label("What is in the jars?").select_option("acid")
    page.get_by_label("How long are they out of the canner?").select_option("2")
    page.get_by_role("button", name="Show the answer").click()
    assert "Process it again" in page.locator(".wrong-acts").inner_text()
    page.wait_for_load_state()
    for summary in page.locator("main details > summary").all():
        if summary.is_visible():
            summary.click()
    visitor.look("wrong-unfolded")
    dark(page)
    visitor.look("wrong-unfolded-dark")

    batch_under_pressure = make_pressure_batch_out(by=cook, out_at=timezone.now() - timedelta(hours=1, minutes=10))
    visitor.go(batch_under_pressure.get_absolute_url())
    page.get_by_role("link", name="Something went wrong?").click()
    page.get_by_role("link", name="The pressure fell").click()
    page.locator(".page-head", has_text="1 h 10 min").wait_for()
    page.get_by_role("button", name="Set these jars aside").click()
    page.wait_for_url(f"**{batch_under_pressure.get_absolute_url()}")
    page.get_by_role("link", name="They are sound after all").click()
    page.wait_for_url("**/set-aside/*/")

    batch = make_batch_checked(by=cook, out_at=timezone.now() - timedelta(days=9))
    visitor.go(reverse("batches:batch-wrong", args=[batch.lot_code]) + "?what=mould")
    page.get_by_role("button", name="They are thrown away").click()
    page.get_by_text("Mark at least one jar.").wait_for()
    visitor.look("wrong-mould-refused")

    # What such a jar of low-acid food can do stands on its pages.
    recipe = batch_under_pressure.revision.recipe.slug
    visitor.go(reverse("recipes:recipe", args=[recipe]))
    dark(page)
    visitor.look("low-acid-recipe-dark")
    asked = f"?kitchen={batch_under_pressure.kitchen_id}&pots=1&jar=pint&pack=hot&canner=dial-gauge"
    visitor.go(reverse("recipes:plan", args=[recipe]) + asked)
    page.locator(".low-acid summary").first.click()
    visitor.look("low-acid-plan")
