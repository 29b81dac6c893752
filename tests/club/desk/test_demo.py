"""The demo club is laid down through the services, on an empty site only, and shows something of everything."""

from __future__ import annotations

from collections import Counter

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from club.desk.demo import PASSWORD, SIGN_INS, DemoRefused, demo_lay_down
from club.desk.queries import desk_for
from club.members.models import Kitchen, User
from inventory.batches.models import Batch, Jar, JarOffer, Recall
from inventory.batches.recalls import waiting
from inventory.equipment.models import InstrumentTest, Loan, Thing, WaitingEntry
from inventory.equipment.queries import club_day
from inventory.fruit.models import FreezerItem
from recipes.services import library_load
from tests.published.library import LIBRARY

pytestmark = pytest.mark.django_db


@pytest.fixture
def demo():
    library_load(paths=[LIBRARY])
    return demo_lay_down(now=timezone.now())


def test_the_demo_has_a_dozen_people_and_kitchens_of_three_altitudes_above_three_thousand_feet(demo):
    feet = {kitchen.altitude.feet for kitchen in Kitchen.objects.exclude(altitude_m=None)}
    assert User.objects.count() == 12
    assert len(feet) == 3
    assert min(feet) > 3000


def test_the_demo_season_has_failed_seals_and_work_for_today(demo):
    states = Counter(Batch.objects.values_list("state", flat=True))
    assert states["checked"] >= 20
    assert states["started"] == 2
    assert Jar.objects.filter(seal="unsealed").count() >= 5
    desk = desk_for(User.objects.get(email=SIGN_INS[-1][0]), now=timezone.now())
    assert (len(desk.seals_due), len(desk.cooling), len(desk.on_the_stove)) == (1, 1, 1)


def test_the_demo_lends_a_dozen_things_one_late_one_failed_and_somebody_waits(demo):
    today = club_day(timezone.now())
    assert Thing.objects.count() == 12
    assert Loan.objects.open().count() == 4
    assert {loan.person.email for loan in Loan.objects.overdue(today)} == {
        "petra@tallowbench.example",
        "june@tallowbench.example",
    }
    assert InstrumentTest.objects.get(verdict="failed").thing.code == "DGC-02"
    assert WaitingEntry.objects.get().state == "waiting"
    desk = desk_for(User.objects.get(email=SIGN_INS[-1][0]), now=timezone.now())
    assert [card.is_late for card in desk.to_bring_back] == [True, False]


def test_the_demo_has_freezers_jars_to_give_and_a_recall_that_waits_for_an_answer(demo):
    today = club_day(timezone.now())
    ages = {item.what: item.age_on(today) for item in FreezerItem.objects.there()}
    assert (ages["rhubarb, cut"], ages["strawberries"], ages["plum juice"]) == ("past", "soon", "good")
    assert Jar.objects.filter(held_by__email="petra@tallowbench.example").count() == 2
    assert JarOffer.objects.open().sound().count() == 2
    (holding,) = waiting(Recall.objects.open())
    assert User.objects.get(email=SIGN_INS[-1][0]).pk in holding.people


def test_every_printed_sign_in_opens_the_desk(demo, client):
    for email, _role in SIGN_INS:
        assert client.login(username=email, password=PASSWORD)
        assert client.get("/").status_code == 200


def test_the_demo_is_refused_where_there_are_people_and_changes_nothing(demo):
    before = Batch.objects.count()
    with pytest.raises(DemoRefused):
        demo_lay_down(now=timezone.now())
    with pytest.raises(CommandError, match="people here already"):
        call_command("load_demo")
    assert Batch.objects.count() == before
