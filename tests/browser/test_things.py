"""The counter with wet hands and the register on a phone: taps counted, every page scanned."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.core.clock import club_day
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Loan
from tests.factories.equipment import make_keeper, make_loan, make_test, make_thing
from tests.factories.members import PASSWORD, make_person


def days(first: int, last: int) -> dict:
    today = club_day(timezone.now())
    return {"starts": today + timedelta(days=first), "ends": today + timedelta(days=last)}


@pytest.fixture
def shelf():
    """A register with something of everything, and its keeper."""
    now, keeper = timezone.now(), make_keeper(email="keeper@example.test", name="Kit Keeper")
    member = make_person(email="member@example.test", name="Mina Quince")
    dial = make_thing(Kind.DIAL_GAUGE, by=keeper, code="DGC-01", name="Dial-gauge canner, 16 quarts", now=now)
    make_test(dial, club_day(now) - timedelta(days=340), by=keeper, now=now)
    make_thing(Kind.DIAL_GAUGE, by=keeper, code="DGC-02", name="Dial-gauge canner, old", now=now)
    canner = make_thing(
        by=keeper, code="BWC-01", name="Blue enamel canner", now=now, deposit_cents=2000, care="Dry it."
    )
    mill = make_thing(Kind.FOOD_MILL, by=keeper, code="MIL-01", name="Food mill", now=now)
    make_loan(mill, member, by=keeper, now=now - timedelta(days=9), days=3)
    services.hold_place(by=member, thing=canner, **days(0, 2))
    services.hold_place(by=keeper, thing=dial, purpose="Class: beans", **days(3, 4))
    wish = {"days": 2, "not_before": club_day(now), "not_after": club_day(now) + timedelta(days=5)}
    services.waiting_join(by=member, kind=Kind.DIAL_GAUGE, **wish)
    return keeper, member


def test_a_held_canner_goes_out_and_comes_back_in_three_taps_each(visitor, shelf):
    keeper, member = shelf
    visitor.sign_in(keeper.email, PASSWORD)
    page = visitor.page
    taps = 0

    def tap(where, leads_to: str = ""):
        nonlocal taps
        taps += 1
        where.click()
        if leads_to:
            page.wait_for_url(f"**{leads_to}")

    visitor.go("/equipment/counter/")
    visitor.look("counter")
    page.get_by_label("Code on the label").fill("bwc 01")
    tap(page.get_by_role("button", name="Find it"), "/counter/?code=bwc+01")
    visitor.look("hand-over")
    assert visitor.is_uncovered(page.get_by_role("button", name="Hand it over"))
    tap(page.get_by_role("button", name="Hand it over"), "/counter/")
    assert taps <= 3
    assert "goes to Mina Quince" in page.locator("main").inner_text()
    visitor.scan()
    loan = Loan.objects.open().get(thing__code="BWC-01")
    assert (loan.person, loan.condition_out) == (member, "good")

    taps = 0
    page.get_by_label("Code on the label").fill("BWC-01")
    tap(page.get_by_role("button", name="Find it"), "/counter/?code=BWC-01")
    visitor.look("take-back")
    assert visitor.is_uncovered(page.get_by_role("button", name="Take it back"))
    tap(page.get_by_label("good", exact=True))
    tap(page.get_by_role("button", name="Take it back"), "/counter/")
    assert taps <= 3
    assert "is back from Mina Quince" in page.locator("main").inner_text()
    loan.refresh_from_db()
    assert (loan.condition_in, loan.taken_back_by) == ("good", keeper)


def test_every_page_of_a_keeper_passes_the_scan(visitor, shelf):
    keeper, _member = shelf
    visitor.sign_in(keeper.email, PASSWORD)
    pages = {
        "register": "",
        "add": "add/",
        "overdue": "overdue/",
        "tests": "tests/",
        "papers": "papers/",
        "key-in": "papers/key-in/",
        "import": "import/",
        "thing": "t/DGC-01/",
        "change": "t/DGC-01/change/",
        "test": "t/DGC-01/test/",
        "calendar": "t/DGC-01/calendar/",
        "hold": "t/DGC-01/hold/",
        "kind": "kinds/dial-gauge-canner/",
    }
    for name, path in pages.items():
        assert visitor.go(f"/equipment/{path}").status == 200
        visitor.look(f"keeper-{name}")
    visitor.go("/")
    visitor.look("keeper-desk")


def test_a_member_sees_what_she_has_and_who_comes_second_reads_the_next_dates(visitor, shelf):
    _keeper, member = shelf
    visitor.sign_in(member.email, PASSWORD)
    visitor.look("member-desk")
    for name, path in {"mine": "mine/", "register": "?show=free", "kind": "kinds/dial-gauge-canner/"}.items():
        visitor.go(f"/equipment/{path}")
        visitor.look(f"member-{name}")
    page = visitor.page
    visitor.go("/equipment/t/BWC-01/calendar/")
    visitor.look("member-calendar")
    first = club_day(timezone.now()) + timedelta(days=1)
    visitor.go(f"/equipment/t/BWC-01/hold/?starts={first}")
    page.get_by_role("button", name="Hold it").click()
    page.get_by_role("alert").wait_for()
    assert "Next free for 3 days" in page.locator("main").inner_text()
    assert page.get_by_label("First day").input_value() == str(first)  # what was typed stays
    visitor.look("member-taken")


def test_the_rooms_fit_the_bar_of_a_phone(visitor, shelf):
    _keeper, member = shelf
    visitor.sign_in(member.email, PASSWORD)
    rooms = visitor.page.locator("nav.rooms a.room")
    assert rooms.count() >= 5
    width = visitor.page.viewport_size["width"]
    for n in range(rooms.count()):
        box = rooms.nth(n).bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert rooms.nth(n).locator("span").evaluate("e => e.scrollWidth <= e.parentElement.clientWidth")
