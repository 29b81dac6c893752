"""Kraut, a tray of apples and frozen beans with a phone, from the table to the labels, the network cut in between."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import F
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from inventory.batches.models import Batch, Stage
from tests.browser.conftest import on_both_screens
from tests.browser.test_stove import KEPT, LOW, READY, TOO_LOW, all_sent, go_on, shown
from tests.factories.batches import APPLES, BEANS, finish, make_kraut_kept, make_staged
from tests.factories.members import make_kitchen, make_person


def begin(visitor, way: str, key: str, **typed: str) -> Batch:
    """By the form of the food's own page."""
    person = make_person()
    make_kitchen(person)
    visitor.sign_in(person.email, reverse("batches:keep-start", args=[way, key]))
    for name, value in typed.items():
        visitor.page.locator(f"[name={name}]").fill(value)
    visitor.page.locator("main form [type=submit]").click()
    visitor.page.get_by_role("link", name="One step a screen").click()
    visitor.page.locator(KEPT).wait_for()
    return Batch.objects.get()


def days_pass(batch: Batch, days: int) -> None:
    """All of it happened so many days earlier."""
    ago = timedelta(days=days)
    Batch.objects.filter(pk=batch.pk).update(started_at=F("started_at") - ago)
    for stage in batch.stages.order_by("number"):
        moments = {name: at - ago for name in MOMENTS if (at := getattr(stage, name)) is not None}
        Stage.objects.filter(pk=stage.pk).update(**moments)


MOMENTS = ("begins_at", "began_at", "ended_at", "ends_from", "ends_by", "look_due_at")


def hear_both(page) -> None:
    """The look is due, and the shortest time is over."""
    for _alarm in range(2):
        page.get_by_role("button", name="Heard it").click()


def put_away(visitor, batch: Batch, **typed: str) -> Batch:
    """From the last screen to the labels."""
    page = visitor.page
    for _try in range(300):  # what was pressed last is on its way
        if not batch.stages.filter(ended_at=None).exclude(kind="freeze").exists():
            break
        page.wait_for_timeout(100)
    page.get_by_role("link", name="Weigh it and put it away").click()
    for name, value in typed.items():
        page.locator(f"[name={name.replace('_jar', '-jar')}]").fill(value)
    page.locator("main form [type=submit]").click()
    page.get_by_role("link", name="Labels to print").first.click()
    expect(page.locator("main")).to_contain_text(batch.lot_code)
    return Batch.objects.get(pk=batch.pk)


def test_kraut_goes_from_its_salt_to_the_refrigerator_with_the_network_cut(visitor):
    batch = begin(visitor, "ferment", "sauerkraut", weighed_g="5 lb", room_f="22")
    page, context = visitor.page, visitor.page.context
    assert page.evaluate(TOO_LOW, LOW) == []
    visitor.look("kept-salt")
    context.set_offline(True)
    go_on(page)
    shown(page, "s1pack")
    page.close()  # killed, and opened again without network
    page = visitor.page = context.new_page()
    visitor.go(reverse("batches:stove", args=[batch.lot_code]))
    page.locator(READY).wait_for()
    shown(page, "s1pack")
    go_on(page)
    shown(page, "s2look")
    assert not page.evaluate("navigator.onLine")  # what a page that closes still gets out is its own luck
    context.set_offline(False)
    all_sent(page)
    assert Stage.objects.running().get().kind == "ferment"
    days_pass(batch, 22)
    page.reload()
    page.locator(READY).wait_for()
    hear_both(page)
    context.set_offline(True)
    for name in ("no scum", "under the brine", "clean and sour"):
        page.get_by_label(name, exact=True).check()
    go_on(page)
    shown(page, "s2ph")
    page.get_by_label("The strip shows (pH)").fill("3.5")
    go_on(page)
    shown(page, "s2end")
    context.set_offline(False)
    all_sent(page)
    visitor.refused.clear()  # of the network that was cut
    visitor.look("kept-end")
    go_on(page)
    shown(page, "putup")
    all_sent(page)
    kept = put_away(visitor, batch, filled_keeping_jar="2", grams="2 kg")
    assert (kept.state, kept.ph_hundredths, kept.jars.count()) == ("kept", 350, 2)


def test_a_tray_of_apples_is_dried_shaken_and_bagged(visitor):
    batch = make_staged("dry", APPLES, began=timezone.now() - timedelta(hours=9))
    finish(batch, at=timezone.now() - timedelta(hours=8))
    page, context = visitor.page, visitor.page.context
    visitor.sign_in(batch.made_by.email, reverse("batches:stove", args=[batch.lot_code]))
    page.locator(KEPT).wait_for()
    shown(page, "s2dry")
    context.set_offline(True)
    page.locator("#step-s2dry").get_by_role("button", name="Count").click()
    go_on(page)
    shown(page, "s2end")
    go_on(page)
    shown(page, "s3look")
    context.set_offline(False)
    all_sent(page)
    days_pass(batch, 11)
    page.reload()
    page.locator(READY).wait_for()
    hear_both(page)
    shown(page, "s3look")
    page.get_by_label("no drops on the lid, pieces loose").check()
    visitor.refused.clear()
    visitor.look("kept-shake")
    go_on(page)
    shown(page, "s3end")
    go_on(page)
    shown(page, "putup")
    all_sent(page)
    kept = put_away(visitor, batch, filled_bag="2", grams="300 g", store_f="20")
    assert kept.state == "kept"
    assert kept.best_by


def test_beans_are_blanched_cooled_and_frozen(visitor):
    batch = begin(visitor, "freeze", BEANS, weighed_g="1.5 kg")
    page, context = visitor.page, visitor.page.context
    context.set_offline(True)
    go_on(page)
    for step in ("s1blanch", "s1cool"):
        shown(page, step)
        page.locator(f"#step-{step}").get_by_role("button", name="Count 3 minutes").click()
        expect(page.locator(f"#step-{step} .stove-left")).to_contain_text(":")
        go_on(page)
    shown(page, "putup")
    context.set_offline(False)
    all_sent(page)
    visitor.refused.clear()
    visitor.look("kept-freeze")
    kept = put_away(visitor, batch, filled_bag="3", grams="1500 g")
    assert (kept.state, kept.freezer_item.bags) == ("frozen", 3)


@on_both_screens
def test_the_pantry_and_what_went_wrong_are_drawn_whole(visitor):
    batch = make_kraut_kept(began=timezone.now() - timedelta(days=30))
    visitor.sign_in(batch.made_by.email, "/pantry/")
    visitor.look("pantry-containers")
    visitor.go(f"{reverse('batches:batch-wrong', args=[batch.lot_code])}?what=soft")
    visitor.look("wrong-kept")
