"""Cooking with a phone: step by step, without network in between, and on two phones at once."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory.batches.models import Batch, Press
from inventory.batches.services import stove_press
from tests.browser.conftest import PHONE, Visitor
from tests.factories.batches import finish, make_batch, make_pressure_batch, make_staged
from tests.factories.jars import make_lid_lot
from tests.factories.members import make_person

READY, KEPT = "html[data-ready=yes]", "html[data-kept=yes]"
LOW = 64  # pixels: what is pressed with a knuckle is at least as high
TOO_LOW = """(low) => [...document.querySelectorAll("button, summary, a, .stove-sizes label")]
  .filter((box) => box.checkVisibility() && box.getBoundingClientRect().height < low)
  .map((box) => `${box.innerText} ${box.getBoundingClientRect().height}`)"""


def stove(batch, *step):
    return reverse("batches:stove-step" if step else "batches:stove", args=[batch.lot_code, *step])


def go_on(page):
    page.locator(".stove-step:visible .stove-go:visible").click()


def all_sent(page):
    expect(page.locator("#net")).to_have_text("", timeout=30_000)


def shown(page, key):
    page.locator(f"#step-{key}").wait_for()


@pytest.fixture
def second(chromium, live_server):
    context = chromium.new_context(viewport=PHONE, has_touch=True, reduced_motion="reduce")
    context.set_default_timeout(60_000)
    yield Visitor(context.new_page(), live_server.url)
    context.close()


def test_a_jam_is_cooked_with_the_network_cut_twice_and_the_log_is_signed_once(visitor):
    began = timezone.now() - timedelta(minutes=40)
    batch = make_batch(started_at=began)
    make_lid_lot(code="LID 9")
    page, context = visitor.page, visitor.page.context
    visitor.sign_in(batch.made_by.email, stove(batch))
    page.locator(KEPT).wait_for()
    assert page.evaluate(TOO_LOW, LOW) == []
    visitor.look("stove-first")
    context.set_offline(True)
    go_on(page)
    shown(page, "p1s2")
    page.locator("body").press(" ")
    shown(page, "l1heat")
    expect(page.locator("#net")).to_contain_text("2")
    page.close()  # killed, and opened again without network
    page = visitor.page = context.new_page()
    visitor.go(stove(batch))
    page.locator(READY).wait_for()
    shown(page, "l1heat")
    go_on(page)
    page.locator("#step-l1process").get_by_role("button", name="count 10 minutes").click()
    expect(page.locator("#step-l1process .stove-left")).to_contain_text(":")
    go_on(page)
    expect(page.locator("#net")).to_contain_text("Still to go")
    assert not page.evaluate("navigator.onLine")  # what a page that closes still gets out is its own luck
    context.set_offline(False)
    all_sent(page)
    assert list(Press.objects.order_by("pk").values_list("step", "kind")) == [
        ("p1s1", "done"),
        ("p1s2", "done"),
        ("l1heat", "done"),
        ("l1process", "began"),
    ]
    # The boil was reached twenty minutes ago, says another phone that was there.
    slip, earlier = Press.objects.get(kind="began"), timezone.now() - timedelta(minutes=20)
    for kind, more in (("taken-back", {"takes_back": slip.token}), ("began", {"at": earlier})):
        stove_press(by=batch.made_by, batch=batch, token=uuid4(), kind=kind, step="l1process", **more)
    page.reload()
    page.get_by_role("button", name="Heard it").click()
    context.set_offline(True)
    go_on(page)
    shown(page, "l1rest")
    go_on(page)
    shown(page, "l1out")
    page.get_by_role("button", name="Jars came out: now").click()
    shown(page, "cool")
    context.set_offline(False)
    all_sent(page)
    visitor.refused.clear()  # of the network that was cut
    visitor.look("stove-cool")
    page.get_by_role("link", name="Look it over and sign the log").click()
    page.get_by_label("Lid lot").fill("LID 9")
    page.locator("input[name^=lot_][value=without]").check()
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url(f"**{batch.get_absolute_url()}")
    logged = Batch.objects.get(pk=batch.pk)
    assert (logged.state, logged.processed_minutes) == ("out", 20)


def test_two_phones_at_one_pressure_canner_and_a_third_person_who_signs_in(visitor, second):
    batch = make_pressure_batch(started_at=timezone.now() - timedelta(minutes=30))
    one, other = visitor, second
    for each in (one, other):
        each.sign_in(batch.made_by.email, stove(batch, "l1process"))
        each.page.locator(KEPT).wait_for()
    other.page.context.set_offline(True)
    for each in (one, other):
        each.page.get_by_role("button", name="psi is reached").click()
    other.page.context.set_offline(False)
    expect(other.page.locator("#told")).to_contain_text("It counts since")
    assert Press.objects.filter(kind="began").count() == 1
    ends = [each.page.evaluate("Number(document.querySelector('#timers a').dataset.ends)") for each in (one, other)]
    assert abs(ends[0] - ends[1]) < 1000
    one.look("stove-process")
    other.page.get_by_label("The gauge shows (psi)").fill("11.5")
    other.page.locator("#step-l1process").get_by_role("button", name="Note it").click()
    expect(other.page.get_by_text("Count the whole time again")).to_be_visible()
    one.page.reload()
    expect(one.page.get_by_text("Count the whole time again")).to_be_visible()
    one.look("stove-fell")
    # Signing out leaves nothing behind: neither pages nor presses.
    other.page.context.set_offline(True)
    other.page.get_by_role("button", name="psi is reached").click()
    other.page.context.set_offline(False)
    all_sent(other.page)
    other.go("/accounts/logout/")
    other.page.locator("main form button").click()
    other.page.wait_for_load_state()
    found = other.page.evaluate("(async () => [(await caches.keys()).length, (await indexedDB.databases()).length])()")
    assert found == [0, 0]
    stranger = make_person()
    other.sign_in(stranger.email, "/")
    assert other.go(stove(batch)).status == 404


def test_fifty_presses_are_written_once_each_however_often_the_sending_was_cut_off(visitor):
    batch = make_pressure_batch(started_at=timezone.now() - timedelta(minutes=30))
    page, context = visitor.page, visitor.page.context
    visitor.sign_in(batch.made_by.email, stove(batch, "l1process"))
    page.locator(KEPT).wait_for()
    page.get_by_role("button", name="psi is reached").click()
    all_sent(page)
    presses = re.compile(r"/stove/presses/$")
    cut = []

    def cut_off(route):
        """The first is lost on its way; of the next two only the answer is: the site wrote them, and no phone knows."""
        if len(cut) == 3:
            return route.continue_()
        if cut and route.request.method == "POST":
            route.fetch()
        if route.request.method == "POST":
            cut.append(Press.objects.count())
        return route.abort()

    context.set_offline(True)
    gauge, note = page.get_by_label("The gauge shows (psi)"), page.locator("#step-l1process")
    shown_psi = [f"{13 + n / 10:.1f}" for n in range(50)]
    for psi in shown_psi:
        gauge.fill(psi)
        note.get_by_role("button", name="Note it").click()
    expect(page.locator("#net")).to_contain_text("50")
    context.route(presses, cut_off)
    context.set_offline(False)
    while len(cut) < 2:
        page.wait_for_timeout(50)
    page.close()  # killed in the middle, and opened again
    page = visitor.page = context.new_page()
    visitor.go(stove(batch))
    while len(cut) < 3:
        page.wait_for_timeout(50)
    all_sent(page)
    assert cut == [1, 51, 51]
    assert [
        f"{psi:.1f}" for psi in Press.objects.filter(kind="gauge").order_by("at", "pk").values_list("psi", flat=True)
    ] == shown_psi


def test_a_page_that_slept_a_day_counts_to_the_second_whatever_the_clock_of_its_phone_says(visitor):
    began, page, context = timezone.now() - timedelta(hours=2), visitor.page, visitor.page.context
    batch = make_staged(began=began)
    finish(batch, at=began + timedelta(hours=1))
    ferment = batch.stages.get(ended_at=None)
    page.clock.install()  # the machine's own time, which is not the site's: tests have a clock of their own
    visitor.sign_in(batch.made_by.email, stove(batch))
    page.locator(KEPT).wait_for()

    def off() -> float:
        """Seconds between what the page says is left of the ferment and what is."""
        page.clock.run_for(600)  # its next tick
        shown_left = page.locator("#timers a[data-go=s2end] strong").inner_text()
        hours, minutes, seconds = map(int, shown_left.split(":"))
        left = timedelta(hours=hours, minutes=minutes, seconds=seconds)
        return abs((ferment.ends_from - timezone.now() - left).total_seconds())

    assert off() <= 2
    context.set_offline(True)
    page.clock.fast_forward("24:00:00")
    with time_machine.travel(timezone.now() + timedelta(hours=24), tick=True):
        assert off() <= 2
        context.set_offline(False)
        all_sent(page)
        assert off() <= 2
        page.clock.set_system_time(timezone.now() + timedelta(hours=5))
        visitor.go(stove(batch, "s2look"))
        page.locator(READY).wait_for()
        assert off() <= 2
        look = page.locator("#step-s2look")
        for seen in ("scum", "cover", "smell"):
            look.locator(f"input[name={seen}]").first.check()
        look.get_by_role("button", name="Write down the look").click()
        expect(page.locator("#told")).to_contain_text("The clock of this phone is wrong by 5 hours")
        assert abs(ferment.checks.get().at - timezone.now()) < timedelta(seconds=30)
