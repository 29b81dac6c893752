"""A real browser (Debian's Chromium) on the live site, phone-sized and desktop-sized, with an accessibility scan."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import sync_playwright

from club.members.models import User
from tests.helpers import signed_in

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
ROOMS, ROOMS_OF_A_PHONE = 8, 5  # in the bar; who runs the club has one more on a wide screen
THUMB = 44  # pixels: the least height that a wet thumb hits
# Links within a sentence are left out: a line of text cannot be that high.
TOO_SMALL_FOR_A_THUMB = """(THUMB) => {
  const controls = "button, summary, select, textarea, input:not([type=hidden]), a.btn, a.tap, a.room, a.sheet-link, "
    + "a.plate-link, a.now-card, a.line";
  const height = (box) => Math.max(box.getBoundingClientRect().height, ...[...(box.labels || [])].map(
    (label) => label.getBoundingClientRect().height));
  return [...document.querySelectorAll(controls)]
    .filter((box) => box.checkVisibility() && !box.matches(".visually-hidden, .visually-hidden *"))
    .filter((box) => height(box) < THUMB)
    .map((box) => `${box.tagName} ${box.innerText || box.name} ${height(box)}`);
}"""

AXE = Axe().axe_script
# All of a page, or what its <main> shows now and did not when it was scanned before.
RUN_AXE = """async ([options, onlyNew]) => {
  const shown = [...document.querySelectorAll("body, body *")].filter((part) => part.checkVisibility());
  const isNew = (part) => !part.hasAttribute("data-scanned");
  const include = shown.filter((part) => part.closest("main") && isNew(part) && !isNew(part.parentElement));
  shown.forEach((part) => part.setAttribute("data-scanned", ""));
  if (onlyNew && !include.length) return [];
  const found = await axe.run(onlyNew ? { include } : document, options);
  return found.violations.map((one) => `${one.id}: ${one.help} (${one.nodes[0].html.slice(0, 160)})`);
}"""
WIDEST = """() => [...document.querySelectorAll("main *")]
  .map((part) => [part.getBoundingClientRect().right, part.outerHTML.slice(0, 160)])
  .sort((one, other) => other[0] - one[0])[0].join(": ")"""
# A visitor who is not signed in has no bar.
BAR = """([count, THUMB]) => {
  const rooms = [...document.querySelectorAll("nav.rooms .room")].filter((room) => room.checkVisibility());
  const found = rooms.length && rooms.length < count ? [`${rooms.length} rooms in the bar, not ${count}`] : [];
  for (const room of rooms) {
    const box = room.getBoundingClientRect();
    const name = [...room.querySelectorAll("span")].find((part) => part.checkVisibility());
    if (box.left < 0 || box.right > window.innerWidth) found.push(`outside the bar: ${room.innerText}`);
    if (box.width < THUMB) found.push(`narrower than ${THUMB} px: ${room.innerText} ${box.width}`);
    if (Math.max(room.scrollWidth, name.scrollWidth) > room.clientWidth) found.push(`cut: ${room.innerText}`);
  }
  return found;
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
    """A person at a screen, who scans every page that they are asked to."""

    def __init__(self, page, base_url: str) -> None:
        self.page = page
        self.base_url = base_url
        self.refused: list[str] = []
        page.on("console", lambda message: self.refused.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self.refused.append(str(error)))

    def go(self, path: str):
        return self.page.goto(self.base_url + path)

    def sign_in(self, email: str, path: str = "/") -> None:
        """Open that page as this person, whoever was here before. One story signs in as people do."""
        client = signed_in(User.objects.get(email=email))
        name = settings.SESSION_COOKIE_NAME
        self.page.context.clear_cookies()
        self.page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": self.base_url}])
        self.go(path)

    def text(self) -> str:
        """The words of the page, once all of it was read."""
        self.page.wait_for_load_state()
        return self.page.locator("main").inner_text()

    def is_uncovered(self, box) -> bool:
        """Whether a thing is whole on the screen as it stands, and above the rooms that a phone has at its foot."""
        foot = self.page.viewport_size["height"]
        if self.page.viewport_size == PHONE:
            foot = self.page.locator(".rooms").bounding_box()["y"]
        place = box.bounding_box()
        return place["y"] >= 0 and place["y"] + place["height"] <= foot

    def scan(self) -> None:
        """No accessibility violation, no sideways scrolling, nothing the browser complained about."""
        assert self.problems() == []

    def problems(self, *, only_new: bool = False) -> list[str]:
        self.page.wait_for_load_state()  # a page half read has no heading yet
        found = [*self.violations(only_new=only_new), *self.scrolls_sideways()]
        found += [f"{self.page.url}: {refused}" for refused in self.refused]
        if self.page.viewport_size == PHONE:
            small = self.page.evaluate(TOO_SMALL_FOR_A_THUMB, THUMB)
            found += [f"{self.page.url}: lower than {THUMB} px: {one}" for one in small]
        return found

    def violations(self, *, only_new: bool = False) -> list[str]:
        """What axe finds; it is handed to a page once, and only violations come back."""
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(AXE)
        found = self.page.evaluate(RUN_AXE, [{"resultTypes": ["violations"]}, only_new])
        return [f"{self.page.url}: {one}" for one in found]

    def scrolls_sideways(self, when: str = "") -> list[str]:
        wide, screen = self.page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        if wide <= screen:
            return []
        return [f"{self.page.url} scrolls sideways {when}: {wide} > {screen}, {self.page.evaluate(WIDEST)}"]

    def problems_of_the_bar(self) -> list[str]:
        """The rooms are all in the bar, each whole, as wide as a thumb, and its name not cut."""
        rooms = ROOMS_OF_A_PHONE if self.page.viewport_size == PHONE else ROOMS
        return [f"{self.page.url}: {one}" for one in self.page.evaluate(BAR, [rooms, THUMB])]

    def look(self, name: str) -> None:
        """Scan the page as it stands, and leave a picture of it under this name."""
        self.scan()
        if LOOK_INTO:
            width = self.page.viewport_size["width"]
            self.page.screenshot(path=Path(LOOK_INTO) / f"{name}-{width}.png", full_page=True)


@pytest.fixture
def visitor(request, chromium, live_server):
    """On a phone, or on a desktop where a story asks for `on_both_screens`."""
    is_phone = getattr(request, "param", "phone") == "phone"
    context = chromium.new_context(viewport=PHONE if is_phone else DESKTOP, has_touch=is_phone, reduced_motion="reduce")
    context.set_default_timeout(60_000)  # two busy cores are slow, not wrong
    yield Visitor(context.new_page(), live_server.url)
    context.close()


on_both_screens = pytest.mark.parametrize("visitor", ["phone", "desktop"], indirect=True)
