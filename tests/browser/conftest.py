"""A real browser (Debian's Chromium) on the live site, phone-sized and desktop-sized, with an accessibility scan."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

LOOK_INTO = os.environ.get("LOOK_INTO")  # a folder for pictures, for whoever wants to look
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PHONE = {"width": 360, "height": 740}
DESKTOP = {"width": 1280, "height": 900}
THUMB = 44  # pixels: the least height that a wet thumb hits
# Links within a sentence are left out: a line of text cannot be that high.
TOO_SMALL_FOR_A_THUMB = """(THUMB) => {
  const controls = "button, summary, select, textarea, input:not([type=hidden]), a.btn, a.tap, a.room, a.plate-link";
  const height = (box) => Math.max(box.getBoundingClientRect().height, ...[...(box.labels || [])].map(
    (label) => label.getBoundingClientRect().height));
  return [...document.querySelectorAll(controls)]
    .filter((box) => box.checkVisibility() && !box.matches(".visually-hidden, .visually-hidden *"))
    .filter((box) => height(box) < THUMB)
    .map((box) => `${box.tagName} ${box.innerText || box.name} ${height(box)}`);
}"""


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser/" in str(item.path):
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.django_db(transaction=True))


@pytest.fixture(scope="session")
def chromium():
    if CHROMIUM is None:
        if os.environ.get("KETTLEHALL_REQUIRE_BROWSER") == "1":
            pytest.fail("Chromium is required here (KETTLEHALL_REQUIRE_BROWSER=1) and was not found.")
        pytest.skip("Chromium not found: install Debian's chromium to run the browser tests.")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


class Visitor:
    """A person at a screen: signs in as people do, and scans every page she is asked to."""

    def __init__(self, page, base_url: str) -> None:
        self.page = page
        self.base_url = base_url
        self.refused: list[str] = []
        page.on("console", lambda message: self.refused.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self.refused.append(str(error)))

    def go(self, path: str):
        return self.page.goto(self.base_url + path)

    def sign_in(self, email: str, password: str) -> None:
        self.go("/accounts/login/")
        self.page.get_by_label("Email").fill(email)
        self.page.get_by_label("Password").fill(password)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.wait_for_url(self.base_url + "/")

    def is_uncovered(self, box) -> bool:
        """Whether a thing is whole on the screen as it stands, and above the rooms that a phone has at its foot."""
        foot = self.page.viewport_size["height"]
        if self.page.viewport_size == PHONE:
            foot = self.page.locator(".rooms").bounding_box()["y"]
        place = box.bounding_box()
        return place["y"] >= 0 and place["y"] + place["height"] <= foot

    def scan(self) -> None:
        """No accessibility violation, no sideways scrolling, nothing the browser complained about."""
        self.page.wait_for_load_state()  # a page half read has no heading yet
        found = Axe().run(self.page, options={"resultTypes": ["violations"]})
        seen = [f"{v['id']}: {v['help']} ({v['nodes'][0]['html'][:160]})" for v in found.response["violations"]]
        assert not seen, f"{self.page.url}:\n" + "\n".join(seen)
        wide, screen = self.page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide <= screen, f"{self.page.url} scrolls sideways: {wide} > {screen}"
        assert self.refused == [], f"{self.page.url}: {self.refused}"
        if self.page.viewport_size == PHONE:
            small = self.page.evaluate(TOO_SMALL_FOR_A_THUMB, THUMB)
            assert not small, f"{self.page.url}: lower than {THUMB} px: {small}"

    def look(self, name: str) -> None:
        """Scan the page as it stands, and leave a picture of it under this name."""
        self.scan()
        if LOOK_INTO:
            width = self.page.viewport_size["width"]
            self.page.screenshot(path=Path(LOOK_INTO) / f"{name}-{width}.png", full_page=True)


@pytest.fixture(params=["phone", "desktop"])
def visitor(request, chromium, live_server):
    size = PHONE if request.param == "phone" else DESKTOP
    context = chromium.new_context(viewport=size, has_touch=request.param == "phone", reduced_motion="reduce")
    context.set_default_timeout(60_000)  # two busy cores are slow, not wrong
    yield Visitor(context.new_page(), live_server.url)
    context.close()
