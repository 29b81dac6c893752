"""Take the README's pictures of a running demo site: `manage.py up` in one window, `manage.py tour` in another."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from club.classes.models import ClassSession
from club.run.demo import PASSWORD, SIGN_INS
from inventory.batches.models import Batch
from inventory.fruit.models import Share
from recipes.models import Revision

SCREENS = {"desktop": (1200, 900), "phone": (390, 844)}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]


MEMBER, INSTRUCTOR = SIGN_INS[-1][0], SIGN_INS[2][0]


def pages() -> Iterator[tuple[str, str]]:
    """(picture's name, path) of every stop on a member's tour, with a batch whose seals are due."""
    yield "desk", "/"
    yield "library", "/recipes/"
    yield "recipe", "/recipes/strawberry-jam-powdered/"
    plan = "kitchen={kitchen}&pots=2&jar=half-pint&pack=hot&canner=boiling-water"
    due = Batch.objects.filter(made_by__email=SIGN_INS[-1][0], state="out").order_by("jars_out_at").first()
    revision = Revision.objects.filter(recipe__slug="strawberry-jam-powdered", state="published").first()
    if due is None or revision is None:
        raise CommandError("The demo club is not laid down here: run `manage.py up` first, with the demo.")
    yield "plan", "/recipes/strawberry-jam-powdered/plan/?" + plan.format(kitchen=due.kitchen_id)
    yield "batch", f"/batches/{due.lot_code}/"
    yield "seals", f"/batches/{due.lot_code}/seals/"
    yield "labels", f"/batches/{due.lot_code}/labels/"
    coming = ClassSession.objects.published().order_by("starts_at").first()
    shared = Share.objects.promised().filter(person__email=MEMBER).first()
    if coming is None or shared is None:
        raise CommandError("The demo club has no class and no shared fruit: lay it down anew, in an empty folder.")
    yield "class", f"/classes/{coming.pk}/"
    yield "fruit", "/fruit/"
    yield "share", f"/fruit/offers/{shared.offer_id}/result/"
    yield "freezer", "/fruit/freezer/"
    yield "season", f"/season/{due.kitchen_id}/"
    yield "inbox", "/reminders/inbox/"


def pages_of_an_instructor() -> Iterator[tuple[str, str]]:
    coming = ClassSession.objects.published().order_by("starts_at").first()
    if coming is not None:
        yield "class-plan", f"/classes/{coming.pk}/plan/"
        yield "class-gear", f"/classes/{coming.pk}/gear/"


class Command(BaseCommand):
    help = "Take the README's pictures of the running demo site."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--url", default=settings.SITE_URL)
        parser.add_argument("--into", type=Path, default=settings.BASE_DIR / "fixtures" / "tour")
        parser.add_argument("--dark", action="store_true", help="the dark look instead of the light one")

    def handle(self, *args: Any, **options: Any) -> None:
        from playwright.sync_api import sync_playwright  # a development package; the site does without it

        options["into"].mkdir(parents=True, exist_ok=True)
        tours = {MEMBER: list(pages()), INSTRUCTOR: list(pages_of_an_instructor())}
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
            for screen, (width, height) in SCREENS.items():
                for email, stops in tours.items():
                    page = browser.new_page(
                        viewport={"width": width, "height": height}, color_scheme="dark" if options["dark"] else "light"
                    )
                    self.sign_in(page, options["url"], email)
                    for name, path in stops:
                        page.goto(options["url"] + path)
                        page.screenshot(path=options["into"] / f"{name}-{screen}.png")
            browser.close()
        count = sum(map(len, tours.values())) * len(SCREENS)
        self.stdout.write(f"{count} pictures in {options['into']}")

    def sign_in(self, page: Any, url: str, email: str) -> None:
        page.goto(url + "/accounts/login/")
        page.get_by_label("Email").fill(email)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.wait_for_url(url + "/")
