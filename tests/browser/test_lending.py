"""The counter with wet hands, taps counted: a thing that is held goes out and comes back, and jars are lent."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from club.core.clock import club_day
from inventory.equipment import services
from inventory.equipment.models import Loan
from inventory.jars.models import Balance
from inventory.jars.services import store_place
from tests.browser.conftest import on_both_screens
from tests.factories.equipment import make_keeper, make_thing
from tests.factories.jars import make_jars
from tests.factories.members import make_person


@pytest.fixture
def shelf():
    """A canner that a member holds, and its keeper."""
    now, keeper = timezone.now(), make_keeper(email="keeper@example.test", name="Kit Keeper")
    member = make_person(email="member@example.test", name="Mina Quince")
    told = {"name": "Blue enamel canner", "deposit_cents": 2000, "care": "Dry it."}
    canner = make_thing(by=keeper, code="BWC-01", now=now, **told)
    today = club_day(now)
    services.hold_place(by=member, thing=canner, starts=today, ends=today + timedelta(days=2))
    return keeper, member


@on_both_screens
def test_a_taken_day_names_the_next_and_a_held_canner_goes_out_and_comes_back_in_three_taps_each(visitor, shelf):
    keeper, member = shelf
    page = visitor.page
    first = club_day(timezone.now()) + timedelta(days=1)
    visitor.sign_in(member.email, f"/equipment/t/BWC-01/hold/?starts={first}")
    page.get_by_role("button", name="Hold it").click()
    page.get_by_role("alert").wait_for()
    assert "Next free for 3 days" in visitor.text()
    assert page.get_by_label("First day").input_value() == str(first)  # what was typed stays
    visitor.look("hold-taken")
    taps = 0

    def tap(where, leads_to: str = ""):
        nonlocal taps
        taps += 1
        where.click()
        if leads_to:
            page.wait_for_url(f"**{leads_to}")

    visitor.sign_in(keeper.email, "/equipment/counter/")
    page.get_by_label("Code, part of a name, or who has it").fill("bwc 01")
    tap(page.get_by_role("button", name="Find it"), "/counter/?code=bwc+01")
    visitor.look("hand-over")
    assert visitor.is_uncovered(page.get_by_role("button", name="Hand it over"))
    tap(page.get_by_role("button", name="Hand it over"), "/counter/")
    assert taps <= 3
    assert "goes to Mina Quince" in visitor.text()
    loan = Loan.objects.open().get(thing__code="BWC-01")
    assert (loan.person, loan.condition_out) == (member, "good")

    taps = 0
    page.get_by_label("Code, part of a name, or who has it").fill("BWC-01")
    tap(page.get_by_role("button", name="Find it"), "/counter/?code=BWC-01")
    visitor.look("take-back")
    assert visitor.is_uncovered(page.get_by_role("button", name="Take it back"))
    tap(page.get_by_label("good", exact=True))
    tap(page.get_by_role("button", name="Take it back"), "/counter/")
    assert taps <= 3
    assert "is back from Mina Quince" in visitor.text()
    loan.refresh_from_db()
    assert (loan.condition_in, loan.taken_back_by) == ("good", keeper)

    make_jars(store_place(), 12, by=keeper)
    visitor.go("/jars/")
    page.get_by_role("link", name="lent", exact=True).click()
    page.get_by_label("pint (473 ml)", exact=True).check()
    page.get_by_label("How many?").fill("6")
    page.get_by_label("To", exact=False).last.select_option(label="Mina Quince")
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_url("**/jars/places/**")
    assert Balance.objects.get(place__person=member).count == 6
