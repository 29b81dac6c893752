"""The demo club is laid down through the services, on an empty site only, and shows something of everything."""

from __future__ import annotations

from collections import Counter

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F
from django.utils import timezone

from club.classes.models import ClassSession
from club.core.clock import club_day
from club.desk.dashboard import desk_for
from club.members.models import Kitchen, SkillRecord, User
from club.reminders.models import NotificationSettings
from club.run.demo import PASSWORD, SIGN_INS, DemoRefused, demo_load
from club.season.presentation import season_of
from inventory.batches.models import Batch, Jar, JarOffer, Recall
from inventory.batches.tracing import trace, waiting
from inventory.equipment.models import InstrumentTest, Loan, Thing, WaitingEntry
from inventory.fruit.models import FreezerItem, Offer, Share, SharingRound
from inventory.jars.models import ClubOrder, LidLot, OrderEntry, SupplyLot
from inventory.jars.services import ledger_audit
from recipes.services import library_load
from tests import helpers
from tests.published.library import LIBRARY

# Once: a server's own database is given no demo.
pytestmark = [pytest.mark.long, pytest.mark.django_db, pytest.mark.once]


@pytest.fixture(scope="module")
def laid_down(django_db_setup, django_db_blocker):
    """The demo club once for all tests of this module."""
    with helpers.filled_once(django_db_blocker):
        library_load(paths=[LIBRARY])
        yield demo_load(now=timezone.now())


@pytest.fixture
def demo(laid_down, db):
    """What a test writes is taken back after it."""
    return laid_down


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
    counts = {section.key: len(section.cards) for section in desk.sections}
    assert (counts["seals-due"], counts["cooling"], counts["on-the-stove"]) == (1, 1, 1)


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
    assert [card.tone for card in desk.section("to-bring-back").cards] == ["stop", "wait"]


def test_the_demo_season_plans_refuses_and_orders(demo):
    creek, flat = demo.kitchens["creek"], demo.kitchens["new"]
    season = season_of(creek, now=timezone.now())
    assert season.plan.pots > 3
    assert sum(row.used for row in season.rows) > 5
    assert [month for month in season.shelf(timezone.now()) if month.jars]
    (refused,) = season_of(flat, now=timezone.now()).rows
    assert [refusal.code for refusal in refused.cooking.refusals] == ["altitude-unknown"]
    assert Counter(ClubOrder.objects.values_list("state", flat=True)) == {"open": 1, "arrived": 1}
    assert OrderEntry.objects.get(got__lt=F("quantity")).line.kind == "lids"  # a short delivery
    assert LidLot.objects.filter(code="HJ-0902", stock__on_hand=108).exists()
    assert ledger_audit().is_sound


def test_two_people_of_the_demo_are_reached_in_their_own_ways(demo):
    tobias, petra = (NotificationSettings.objects.get(person=demo.people[key]) for key in ("tobias", "petra"))
    assert (tobias.has_digest, tobias.muted_kinds) == (True, frozenset())
    assert (petra.has_digest, petra.muted_kinds) == (False, {"loan-due", "hold-ready"})
    assert str(petra.zone) == "America/St_Johns"
    assert NotificationSettings.objects.count() == 2


def test_the_demo_shares_fruit_some_open_some_to_pick_up_some_fetched_and_one_who_got_none(demo):
    stages = Counter(Offer.objects.values_list("stage", flat=True))
    assert stages == {"open": 3, "shared": 2}
    assert Counter(Share.objects.values_list("stage", flat=True)) == {"promised": 3, "picked-up": 3}
    petra = User.objects.get(email=SIGN_INS[-1][0])
    assert Share.objects.promised().filter(person=petra).count() == 1
    reasons = {part["why"] for one in SharingRound.objects.all() for part in one.parts.values()}
    assert {"all", "level", "no-room"} <= reasons
    assert Offer.objects.claimable(timezone.now()).count() == 3


def test_the_demo_has_freezers_jars_to_give_and_a_recall_that_waits_for_an_answer(demo):
    today = club_day(timezone.now())
    ages = {item.what: item.age_on(today) for item in FreezerItem.objects.there()}
    assert (ages["rhubarb, cut"], ages["strawberries"], ages["plum juice"]) == ("past", "soon", "good")
    assert Jar.objects.filter(held_by__email="petra@tallowbench.example").count() == 2
    assert JarOffer.objects.open().sound().count() == 2
    at_home, given_away = sorted(waiting(Recall.objects.open()), key=lambda one: -len(one.people))
    assert User.objects.get(email=SIGN_INS[-1][0]).pk in at_home.people
    assert given_away.people == {demo.people["june"].pk}  # she gave two of them out of the club: she knows to whom


def test_the_demo_has_a_class_that_was_held_one_that_fills_and_one_being_planned(demo):
    held, coming, draft = ClassSession.objects.order_by("starts_at")
    assert (held.state, coming.state, draft.state) == ("held", "published", "draft")
    assert SkillRecord.objects.valid().filter(skill="spreads", how="class").count() == 3  # the fourth did not come
    assert coming.seats_left == 0
    assert sorted(coming.signups.open().values_list("state", flat=True)) == [
        "offered",
        "seated",
        "seated",
        "waiting",
        "waiting",
    ]
    assert coming.gear.exists()


def test_every_printed_sign_in_opens_the_desk(demo, client):
    for email, _role in SIGN_INS:
        assert client.login(username=email, password=PASSWORD)
        assert client.get("/").status_code == 200


def test_the_demo_is_refused_where_there_are_people_and_changes_nothing(demo, monkeypatch):
    monkeypatch.delenv("DATABASE_URL", raising=False)  # which is another reason to refuse it
    before = Batch.objects.count()
    with pytest.raises(DemoRefused):
        demo_load(now=timezone.now())
    with pytest.raises(CommandError, match="people here already"):
        call_command("load_demo")
    assert Batch.objects.count() == before


def test_the_demo_traces_a_bottle_to_two_batches_and_keeps_a_weak_vinegar_out(demo):
    keeper = demo.people["tobias"]
    assert {batch.title for batch in trace(keeper, "WV-2207").batches} == {
        "Pickled beets",
        "Pickled green tomato relish",
    }
    weak = SupplyLot.objects.get(code="TW-118")
    assert weak.is_weak
    assert not weak.taken.exists()
