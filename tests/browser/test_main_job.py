"""The main job in a real browser: from an invitation to a checked seal, on a phone and on a desktop."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from django.conf import settings
from django.core import mail
from django.utils import timezone

from inventory.batches.models import Batch
from recipes.services import library_load
from tests.browser.conftest import on_both_screens
from tests.factories.batches import make_batch_out
from tests.factories.members import PASSWORD, make_invitation, make_organiser

JAMS = settings.BASE_DIR / "fixtures" / "library" / "jams.toml"
JAM = "strawberry-jam-powdered"


@pytest.fixture
def library():
    library_load(paths=[JAMS])


def on_the_clock(moment: datetime) -> str:
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")


def mailed_link(to: str) -> str:
    [letter] = [message for message in mail.outbox if message.to == [to]]
    return re.search(r"https?://[^/\s]+(/\S+)", letter.body)[1]


@on_both_screens
def test_from_an_invitation_to_a_checked_seal(visitor, library):
    organiser = make_organiser(email="organiser@example.test")
    make_invitation(by=organiser, email="newcomer@example.test", name="Nell Quince")
    page = visitor.page

    visitor.go(mailed_link("newcomer@example.test"))
    page.get_by_label("Your name").fill("Nell Quince")
    page.get_by_label("Choose a password").fill(PASSWORD)
    page.get_by_label("The same password again").fill(PASSWORD)
    page.locator("main form [type=submit]").first.click()

    page.wait_for_url("**/people/kitchens/add/**")
    page.get_by_label("Name of the kitchen").fill("Quince Corner")
    page.get_by_label("Altitude", exact=True).fill("3,400")
    page.get_by_label("Unit of the altitude", exact=True).select_option(label="feet")
    page.get_by_label("How it is known").select_option("map")
    page.locator("main form [type=submit]").first.click()
    page.wait_for_load_state()

    visitor.go("/recipes/?produce=strawberries")
    page.get_by_role("link", name=re.compile("Strawberry jam with powdered pectin")).first.click()
    page.wait_for_url(f"**/recipes/{JAM}/**")
    page.wait_for_load_state()
    page.get_by_role("link", name="The whole table, with its notes").click()  # which lies folded until then
    assert page.locator("tr.here-band").inner_text().split("\n")[1].startswith("305 to 1,828 m")

    page.get_by_role("link", name="Plan a batch").first.click()
    page.get_by_label("or pots to cook").fill("2")
    page.get_by_role("button", name="Make the plan").click()
    assert "10 minutes" in visitor.text()
    # The plan is seen at once and started without scrolling: neither form nor rooms lie over it.
    for seen in (page.locator(".big-figure").last, page.get_by_role("link", name="Start this batch")):
        assert visitor.is_uncovered(seen)

    page.get_by_role("link", name="Start this batch").click()
    page.wait_for_url("**/batches/start/**")
    page.get_by_label("When did the cooking begin?").fill(on_the_clock(timezone.now() - timedelta(hours=15)))
    page.locator("main form [type=submit]").first.click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))
    batch = Batch.objects.get()

    visitor.go(f"/batches/{batch.lot_code}/log/")
    out, press_now = (
        page.get_by_label("Jars came out of the canner"),
        page.get_by_role("button", name="Now", exact=True),
    )
    for apart, offered in (
        (timedelta(hours=3), 0),
        (timedelta(), 1),
    ):  # a phone far from the page's clock is offered none
        page.clock.set_system_time(timezone.now() + apart)
        page.reload()
        assert press_now.count() == offered
    press_now.click()
    assert out.input_value() in {on_the_clock(timezone.now() - timedelta(minutes=ago)) for ago in (0, 1)}
    page.get_by_label("Minutes processed").fill("5")
    page.get_by_label("half-pint").fill("18")
    page.get_by_label("Lid lot").fill("LID-7")
    out.fill(on_the_clock(timezone.now() - timedelta(hours=13)))
    page.locator("main form [type=submit]").first.click()
    refusal = page.locator(".invalid-feedback").first.inner_text()
    assert "10" in refusal  # the minutes that the table asks
    visitor.look("log-refused")
    assert page.get_by_label("half-pint").input_value() == "18"  # what was typed is kept
    page.get_by_label("Minutes processed").fill("10")
    page.locator("main form [type=submit]").first.click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))

    visitor.go("/")
    page.get_by_role("link", name=re.compile(batch.lot_code)).click()
    page.wait_for_url("**/seals/")
    page.get_by_label("All 18 are sealed").check()
    assert not page.locator("fieldset.jar-row").first.is_visible()  # eighteen rows are not in the way of one press
    page.get_by_role("button", name="Record the seals").click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))

    visitor.go(f"/batches/{batch.lot_code}/labels/")
    assert page.get_by_text(batch.lot_code).count() >= 18

    visitor.go(f"/batches/trace/?code={batch.lot_code.lower()}")
    assert "Quince Corner" in visitor.text()
    batch.refresh_from_db()
    assert (batch.state, batch.jars.filter(seal="sealed").count()) == ("checked", 18)

    # Another batch, each of its jars with a thumb.
    batch = make_batch_out(by=batch.made_by, kitchen=batch.kitchen, out_at=timezone.now() - timedelta(hours=14))
    visitor.go(f"/batches/{batch.lot_code}/seals/")
    rows = page.locator("fieldset.jar-row")
    for number in range(rows.count()):
        rows.nth(number).get_by_label("unsealed" if number == 1 else "sealed", exact=True).check()
    rows.nth(1).get_by_label(re.compile("refrigerat")).check()
    visitor.look("seals-one-unsealed")
    page.get_by_role("button", name="Record the seals").click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))
    assert list(batch.jars.values_list("seal", "disposal"))[:2] == [("sealed", "shelf"), ("unsealed", "refrigerate")]
