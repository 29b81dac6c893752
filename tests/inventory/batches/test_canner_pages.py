"""The canner on the pages: proposed when a batch is started, its correction said wherever its pressure is."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from inventory.batches.models import Batch
from inventory.equipment.choices import Kind
from inventory.equipment.services import instrument_test_record, own_canner_add
from tests.factories.batches import make_pressure_batch
from tests.factories.equipment import make_loan, make_test, make_thing, readings
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

HIGH = readings(("5", "7"), ("11", "13"), ("15", "17"))
CORRECTED = "Set 14 where the table says 12: this gauge reads 2 psi high."


def now():
    return timezone.now()


def today():
    return club_day(now())


@pytest.fixture
def cook():
    return make_person(name="Cook")


@pytest.fixture
def kitchen(cook):
    return make_kitchen(cook)


@pytest.fixture
def own(cook, kitchen):
    """The household's one pressure canner, 2 psi high."""
    thing = own_canner_add(
        by=cook, kitchen=kitchen, kind=Kind.DIAL_GAUGE, name="The big one", capacity={"pint": 9, "quart": 7}
    )
    day = today() - timedelta(days=30)
    instrument_test_record(by=cook, thing=thing, tested_on=day, readings=HIGH, reference="the county's")
    return thing


@pytest.fixture
def start_page(kitchen):
    beans = make_revision(base=VEGETABLE)

    def address(**changes):
        asked = {"revision": beans.pk, "kitchen": kitchen.pk, "pots": 1, "jar": "pint", "pack": "hot"}
        return reverse("batches:start", query={"canner": "dial-gauge", **asked, **changes})

    return address


def test_the_household_s_one_canner_is_proposed_and_one_press_starts_in_it(own, cook, start_page, sign_in):
    client = sign_in(cook)
    page = client.get(start_page())
    assert page.context["form"]["canner_code"].value() == own.code
    said = text_of(page)
    assert CORRECTED in said
    assert "97 kPa (14 psi)" in said
    assert client.post(start_page(), {"token": uuid4(), "canner_code": own.code}).status_code == 302
    assert Batch.objects.get().setting_psi == 14


def test_the_one_used_last_here_is_proposed_before_others(own, cook, kitchen, start_page, sign_in):
    other = make_thing(Kind.DIAL_GAUGE, code="DGC-05")
    make_test(other, today(), now=now())
    make_pressure_batch(by=cook, kitchen=kitchen, canner_code="DGC-05", started_at=now() - timedelta(hours=1))
    assert sign_in(cook).get(start_page()).context["form"]["canner_code"].value() == "DGC-05"


def test_the_club_s_one_on_loan_is_proposed_and_nothing_where_nothing_is_known(cook, start_page, sign_in):
    client = sign_in(cook)
    assert client.get(start_page()).context["form"]["canner_code"].value() == ""
    dial = make_thing(Kind.DIAL_GAUGE, code="DGC-05", now=now())
    make_test(dial, today(), now=now())
    make_loan(dial, cook, now=now())
    assert client.get(start_page()).context["form"]["canner_code"].value() == "DGC-05"


def test_a_lapsed_test_is_said_before_anybody_presses(cook, kitchen, start_page, sign_in):
    own_canner_add(by=cook, kitchen=kitchen, kind=Kind.DIAL_GAUGE, name="Untested", capacity={"pint": 9})
    page = sign_in(cook).get(start_page())
    assert "never tested" in page.context["canner_problems"][0]
    assert "never tested" in text_of(page)


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"canner_code": "DGC-99"}, "canner_code"),
        ({}, "canner_code"),
        ({"own_reads_high": "1"}, "own_tested_on"),
        ({"own_tested_on": "2019-04-01", "own_reads_high": "1"}, "own_tested_on"),
        ({"own_tested_on": "yesterday", "own_reads_high": "1"}, "own_tested_on"),
        ({"own_reads_high": "much"}, "own_reads_high"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_what_was_typed_stays(typed, field, cook, start_page, sign_in):
    page = sign_in(cook).post(start_page(), {"token": uuid4(), "note": "Keep me", **typed})
    form = page.context["form"]
    assert list(form.errors) == [field]
    assert not Batch.objects.exists()
    for name, value in {"note": "Keep me", **typed}.items():
        assert form[name].value() == value


def test_an_own_canner_without_a_card_is_started_by_its_test(cook, start_page, sign_in):
    typed = {"own_tested_on": f"{today():%Y-%m-%d}", "own_reads_high": "0.5"}
    assert sign_in(cook).post(start_page(), {"token": uuid4(), **typed}).status_code == 302
    assert Batch.objects.get().setting_psi == 13


def test_a_weighted_gauge_of_one_s_own_takes_a_tick(cook, start_page, sign_in):
    address = start_page(canner="weighted-gauge")
    assert sign_in(cook).post(address, {"token": uuid4(), "own_weighted": "on"}).status_code == 302
    assert Batch.objects.get().setting_psi == 15


@pytest.mark.parametrize("page", ["batches:detail", "batches:log"])
def test_the_batch_and_its_log_say_what_the_gauge_must_show(page, own, cook, kitchen, sign_in):
    batch = make_pressure_batch(by=cook, kitchen=kitchen, canner_code=own.code, started_at=now() - timedelta(hours=1))
    said = text_of(sign_in(cook).get(reverse(page, args=[batch.lot_code])))
    assert CORRECTED in said
    assert "97 kPa (14 psi)" in said
    assert str(own) in said


def test_the_start_page_costs_no_more_with_thirty_canners(
    own, cook, start_page, sign_in, django_assert_max_num_queries
):
    client = sign_in(cook)
    client.get(start_page())
    for many in (0, 30):
        for number in range(many):
            make_thing(Kind.DIAL_GAUGE, code=f"DGC-{number + 10}")
        with django_assert_max_num_queries(14):
            client.get(start_page())


@pytest.fixture
def plan_page():
    beans = make_revision(base=VEGETABLE, slug="beans")
    asked = {"pots": 1, "jar": "pint", "pack": "hot", "canner": "dial-gauge"}
    address = reverse("recipes:plan", args=[beans.recipe.slug])
    return lambda client, **changes: client.get(address, {**asked, **changes})


def test_a_plan_takes_the_canner_by_its_code_and_hands_it_on_to_the_start(own, cook, plan_page, sign_in):
    for kind, code in ((Kind.WEIGHTED_GAUGE, "WGC-01"), (Kind.BOILING_WATER, "BWC-01")):
        make_thing(kind, code=code)
    client = sign_in(cook)
    page = plan_page(client)
    assert [code for code, _name in page.context["form"].canner_codes] == [own.code, "WGC-01"]
    page = plan_page(client, canner_code=own.code.lower())
    assert CORRECTED in text_of(page)
    assert page.context["plan"].process.setting_psi == 14
    start = client.get(reverse("batches:start") + "?" + page.context["start_query"])
    assert start.context["form"]["canner_code"].value() == own.code.lower()
    assert CORRECTED in text_of(start)


@pytest.mark.parametrize(
    ("code", "why"),
    [("DGC-99", "DGC-99"), ("DGC-05", "never tested"), ("WGC-01", "Plan again"), ("OWN-01, OWN-01", "twice")],
)
def test_a_plan_by_a_canner_that_does_not_serve_says_so_beside_the_code(code, why, own, cook, plan_page, sign_in):
    make_thing(Kind.DIAL_GAUGE, code="DGC-05")
    make_thing(Kind.WEIGHTED_GAUGE, code="WGC-01")
    page = plan_page(sign_in(cook), canner_code=code)
    assert list(page.context["form"].errors) == ["canner_code"]
    assert why in page.context["form"].errors["canner_code"][0]
    assert page.context["form"]["canner_code"].value() == code
    assert "plan" not in page.context
