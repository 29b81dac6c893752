"""The main job in a real browser: from an invitation to a checked seal, on a phone and on a desktop, all scanned."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import pytest
from django.conf import settings
from django.core import mail
from django.utils import timezone

from club.members.choices import Role
from inventory.batches.models import Batch
from recipes.services import library_load
from tests.factories.batches import make_batch_out
from tests.factories.members import PASSWORD, make_invitation, make_kitchen, make_organiser, make_person

JAMS = settings.BASE_DIR / "fixtures" / "library" / "jams.toml"
VEGETABLES = settings.BASE_DIR / "fixtures" / "library" / "vegetables.toml"
JAM = "strawberry-jam-powdered"


@pytest.fixture
def library():
    library_load(paths=[JAMS, VEGETABLES])


def on_the_clock(moment: datetime) -> str:
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")


def mailed_link(to: str) -> str:
    [letter] = [message for message in mail.outbox if message.to == [to]]
    return re.search(r"https?://[^/\s]+(/\S+)", letter.body)[1]


def test_from_an_invitation_to_a_checked_seal(visitor, library):
    organiser = make_organiser(email="organiser@example.test")
    make_invitation(by=organiser, email="newcomer@example.test", name="Nell Quince")
    page = visitor.page

    visitor.go(mailed_link("newcomer@example.test"))
    visitor.scan()
    page.get_by_label("Your name").fill("Nell Quince")
    page.get_by_label("Choose a password").fill(PASSWORD)
    page.get_by_label("The same password again").fill(PASSWORD)
    page.locator("main form [type=submit]").first.click()

    page.wait_for_url("**/people/kitchens/add/**")
    visitor.scan()
    page.get_by_label("Name of the kitchen").fill("Quince Corner")
    page.get_by_label("Altitude", exact=True).fill("3,400")
    page.get_by_label("In", exact=True).select_option(label="feet")
    page.get_by_label("How it is known").select_option("map")
    page.locator("main form [type=submit]").first.click()
    page.wait_for_load_state()

    visitor.go("/recipes/?produce=strawberries")
    visitor.scan()
    page.get_by_role("link", name=re.compile("Strawberry jam with powdered pectin")).first.click()
    page.wait_for_url(f"**/recipes/{JAM}/**")
    page.wait_for_load_state()
    visitor.scan()
    assert page.locator("tr.here-band").inner_text().startswith("1,001 to 6,000 ft")

    page.get_by_role("link", name="Plan a batch").first.click()
    page.get_by_label("or pots to cook").fill("2")
    page.get_by_role("button", name="Make the plan").click()
    assert "10 minutes" in page.locator("main").inner_text()
    visitor.scan()
    # The plan is seen at once and started without scrolling: neither form nor rooms lie over it.
    for seen in (page.locator(".big-figure"), page.get_by_role("link", name="Start this batch")):
        assert visitor.is_uncovered(seen)

    page.get_by_role("link", name="Start this batch").click()
    page.wait_for_url("**/batches/start/**")
    visitor.scan()
    page.get_by_label("When did the cooking begin?").fill(on_the_clock(timezone.now() - timedelta(hours=15)))
    page.locator("main form [type=submit]").first.click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))
    visitor.scan()
    batch = Batch.objects.get()

    visitor.go(f"/batches/{batch.lot_code}/log/")
    visitor.scan()
    page.get_by_label("Minutes processed").fill("5")
    page.get_by_label("half-pint").fill("18")
    page.get_by_label("Lid lot").fill("LID-7")
    page.get_by_label("Jars came out of the canner").fill(on_the_clock(timezone.now() - timedelta(hours=13)))
    page.locator("main form [type=submit]").first.click()
    refusal = page.locator(".invalid-feedback").first.inner_text()
    assert "10" in refusal  # the minutes that the table asks
    assert page.get_by_label("half-pint").input_value() == "18"  # what was typed is kept
    page.get_by_label("Minutes processed").fill("10")
    page.locator("main form [type=submit]").first.click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))

    visitor.go("/")
    visitor.scan()
    page.get_by_role("link", name=re.compile(batch.lot_code)).click()
    page.wait_for_url("**/seals/")
    visitor.scan()
    page.get_by_label("All 18 are sealed").check()
    assert not page.locator("fieldset.jar-row").first.is_visible()  # eighteen rows are not in the way of one press
    page.get_by_role("button", name="Record the seals").click()
    page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))
    visitor.scan()

    visitor.go(f"/batches/{batch.lot_code}/labels/")
    visitor.scan()
    assert page.get_by_text(batch.lot_code).count() >= 18

    visitor.go(f"/batches/trace/?code={batch.lot_code.lower()}")
    assert "Quince Corner" in page.locator("main").inner_text()
    visitor.scan()
    batch.refresh_from_db()
    assert (batch.state, batch.jars.filter(seal="sealed").count()) == ("checked", 18)


def test_each_jar_is_recorded_with_a_thumb(visitor, library):
    person = make_person(email="thumb@example.test")
    batch = make_batch_out(by=person, kitchen=make_kitchen(person), out_at=timezone.now() - timedelta(hours=14))
    visitor.sign_in(person.email, PASSWORD)
    visitor.go(f"/batches/{batch.lot_code}/seals/")
    rows = visitor.page.locator("fieldset.jar-row")
    for number in range(rows.count()):
        row = rows.nth(number)
        row.get_by_label("unsealed" if number == 1 else "sealed", exact=True).check()
    rows.nth(1).get_by_label(re.compile("refrigerat")).check()
    visitor.scan()
    visitor.page.get_by_role("button", name="Record the seals").click()
    visitor.page.wait_for_url(re.compile(r"/batches/\d{5}-\w+/$"))
    assert list(batch.jars.values_list("seal", "disposal"))[:2] == [("sealed", "shelf"), ("unsealed", "refrigerate")]


def test_a_kitchen_of_unknown_altitude_gets_no_process_time(visitor, library):
    person = make_person(email="unknown@example.test")
    kitchen = make_kitchen(person, altitude="")
    visitor.sign_in(person.email, PASSWORD)
    visitor.go(f"/recipes/{JAM}/plan/?kitchen={kitchen.pk}&pots=1")
    words = visitor.page.locator("main").inner_text()
    assert "altitude" in words
    assert not re.search(r"\d+ minutes\b.*boiling water", words)
    assert visitor.page.get_by_role("link", name="Start this batch").count() == 0
    visitor.scan()


def test_every_page_of_an_organiser_and_an_instructor_passes_the_scan(visitor, library):
    person = make_person(Role.INSTRUCTOR, Role.ORGANISER, Role.KEEPER, email="all@example.test")
    kitchen = make_kitchen(person)
    batch = make_batch_out(by=person, kitchen=kitchen, out_at=timezone.now() - timedelta(hours=30))
    visitor.sign_in(person.email, PASSWORD)
    paths = [
        "/people/",
        "/people/me/",
        f"/people/{person.pk}/",
        f"/people/kitchens/{kitchen.pk}/",
        "/accounts/password/change/",
        "/accounts/email/",
        "/recipes/process-tables/",
        "/recipes/drafts/",
        "/recipes/drafts/new/",
        f"/recipes/{JAM}/plan/?kitchen={kitchen.pk}&jars=0",
        "/batches/",
        "/batches/lids/",
        f"/batches/{batch.lot_code}/give-up/",
        f"/batches/{batch.lot_code}/seals/",
        "/reminders/",
        "/reminders/health/",
    ]
    for path in paths:
        answer = visitor.go(path)
        assert answer.status in (200, 404), path
        visitor.refused = [text for text in visitor.refused if "404" not in text]
        visitor.scan()
