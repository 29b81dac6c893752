"""The yearly look at a canner's parts: what is missing or damaged takes it out of use until it is settled."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.urls import reverse

from club.core.clock import club_day
from inventory.equipment import services
from inventory.equipment.choices import FACTS, PARTS_KINDS, Kind, Part, ThingState
from inventory.equipment.models import PartsLook, Thing
from tests.factories.equipment import NOW, TODAY, make_keeper, make_loan, make_thing
from tests.factories.members import make_kitchen, make_person
from tests.helpers import text_of

pytestmark = pytest.mark.django_db


def findings(thing, **changes):
    return {part.value: "sound" for part in thing.facts.parts} | changes


def look(thing, by=None, **changes):
    told = {"looked_on": TODAY, "findings": findings(thing), "now": NOW, **changes}
    return services.parts_look_record(by=by or make_keeper(), thing=thing, **told)


# Source of the parts: Penn State Extension, Pressure Canner Checklist, 2024; Clemson HGIC 2021.
@pytest.mark.parametrize(
    ("kind", "parts"),
    [
        (Kind.WEIGHTED_GAUGE, {"weight", "gasket", "vent", "plug", "rack"}),
        (Kind.DIAL_GAUGE, {"gasket", "vent", "plug", "rack"}),
        (Kind.BOILING_WATER, {"rack", "lid"}),
        (Kind.STEAM, {"rack", "lid"}),
    ],
)
def test_each_kind_of_canner_has_its_parts(kind, parts):
    assert set(FACTS[kind].parts) == parts
    assert kind in PARTS_KINDS


def test_a_look_that_finds_all_sound_is_good_for_a_year():
    thing = make_thing(Kind.WEIGHTED_GAUGE)
    made = look(thing, findings=findings(thing, gasket="none"))  # metal to metal
    assert (made.looked_on, made.due_on) == (TODAY, date(2027, 9, 14))
    thing.refresh_from_db()
    assert thing.state == ThingState.IN_SERVICE


@pytest.mark.parametrize("state", ["damaged", "missing"])
def test_a_part_damaged_or_missing_blocks_the_next_hand_over_until_it_is_mended(state):
    thing = make_thing(Kind.WEIGHTED_GAUGE)
    look(thing, findings=findings(thing, weight=state))
    thing.refresh_from_db()
    assert (thing.state, thing.state_note) == (ThingState.IN_REPAIR, f"weighted gauge: {state}")
    with pytest.raises(ValidationError, match="in repair"):
        make_loan(thing)
    services.thing_mend(by=make_keeper(), thing=thing)
    assert make_loan(thing)


def test_what_came_back_damaged_is_settled_as_mended():
    thing = make_thing(Kind.WEIGHTED_GAUGE)
    loan = make_loan(thing)
    keeper = make_keeper()
    services.loan_return(by=keeper, loan=loan, condition="worn", missing_parts="gasket: damaged", now=NOW)
    with pytest.raises(ValidationError, match="gasket: damaged"):
        make_loan(thing)
    services.parts_settle(by=keeper, thing=thing, outcome="mended")
    loan.refresh_from_db()
    assert loan.parts_outcome == "mended"


def test_the_same_form_twice_is_one_look():
    thing, token = make_thing(Kind.DIAL_GAUGE), uuid4()
    assert look(thing, token=token) == look(thing, token=token)
    with pytest.raises(ValidationError):
        look(make_thing(Kind.DIAL_GAUGE), token=token)
    assert PartsLook.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"looked_on": TODAY + timedelta(days=1)}, "looked_on"),
        ({"looked_on": TODAY - timedelta(days=366)}, "looked_on"),
        ({"looked_on": date(1, 1, 1)}, "looked_on"),
        ({"findings": {"gasket": "sound", "vent": "sound", "plug": "sound"}}, "part_rack"),
        ({"findings": {"gasket": "fine", "vent": "sound", "plug": "sound", "rack": "sound"}}, "part_gasket"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_is_written(changes, field):
    thing = make_thing(Kind.DIAL_GAUGE)
    with pytest.raises(ValidationError) as refused:
        look(thing, **changes)
    assert list(refused.value.message_dict) == [field]
    assert not PartsLook.objects.exists()


def test_keepers_look_at_the_club_s_and_a_household_at_its_own():
    by = make_person()
    own = services.own_canner_add(
        by=by, kitchen=make_kitchen(by), kind=Kind.WEIGHTED_GAUGE, name="Ours", capacity={"pint": 9}
    )
    for who, thing in ((by, make_thing(Kind.DIAL_GAUGE)), (make_person(), own)):
        with pytest.raises(PermissionDenied):
            look(thing, by=who)
    look(own, by=by, findings=findings(own, plug="damaged"))
    assert Thing.everything.get(pk=own.pk).state == ThingState.IN_REPAIR
    look(own, by=by, looked_on=TODAY)
    assert Thing.everything.get(pk=own.pk).state == ThingState.IN_SERVICE


def test_a_look_of_an_earlier_day_mends_nothing_that_was_found_since():
    by = make_person()
    own = services.own_canner_add(
        by=by, kitchen=make_kitchen(by), kind=Kind.WEIGHTED_GAUGE, name="Ours", capacity={"pint": 9}
    )
    look(own, by=by, findings=findings(own, plug="damaged"))
    look(own, by=by, looked_on=TODAY - timedelta(days=5))
    assert Thing.everything.get(pk=own.pk).state == ThingState.IN_REPAIR


def test_the_longest_ago_is_looked_at_first():
    never, lately = make_thing(Kind.DIAL_GAUGE, code="DGC-01"), make_thing(Kind.DIAL_GAUGE, code="DGC-02")
    old = make_thing(Kind.BOILING_WATER, code="BWC-01")
    make_thing(Kind.FOOD_MILL)
    look(lately)
    look(old, looked_on=TODAY - timedelta(days=350))
    assert list(Thing.objects.all().looks_wanted(TODAY)) == [never]
    assert list(Thing.objects.all().looks_wanted(TODAY + timedelta(days=30))) == [never, old]


# Pages


def test_a_keeper_writes_a_look_down_and_finds_it_on_the_list(sign_in):
    thing = make_thing(Kind.WEIGHTED_GAUGE, code="WGC-05")
    client = sign_in(make_keeper())
    assert "WGC-05" in text_of(client.get(reverse("equipment:repairs")))
    address = reverse("equipment:parts-look", args=["WGC-05"])
    typed = {"token": uuid4(), "looked_on": f"{club_day():%Y-%m-%d}", "note": "At the sink"}
    page = client.post(address, typed)
    assert {"part_weight", "part_rack"} <= set(page.context["form"].errors)
    assert page.context["form"]["note"].value() == "At the sink"
    typed |= {f"part_{part}": "sound" for part in Part} | {"part_gasket": "damaged"}
    assert client.post(address, typed).status_code == 302
    listed = client.get(reverse("equipment:repairs"))
    assert list(listed.context["in_repair"]) == [thing]
    assert "gasket: damaged" in text_of(listed)
    assert list(listed.context["looks"]) == []


def test_the_list_is_for_keepers_and_a_look_is_not_for_a_mill(sign_in):
    make_thing(Kind.FOOD_MILL, code="MIL-01")
    make_thing(Kind.DIAL_GAUGE, code="DGC-01")
    member = sign_in(make_person())
    assert member.get(reverse("equipment:repairs")).status_code == 403
    assert member.get(reverse("equipment:parts-look", args=["DGC-01"])).status_code == 403
    assert sign_in(make_keeper()).get(reverse("equipment:parts-look", args=["MIL-01"])).status_code == 404


@pytest.mark.parametrize("many", [1, 12])
def test_the_list_costs_the_same_for_one_and_for_many(many, sign_in, django_assert_max_num_queries):
    for _one in range(many):
        thing = make_thing(Kind.DIAL_GAUGE)
        look(thing, findings=findings(thing, rack="missing"))
    client = sign_in(make_keeper())
    client.get(reverse("equipment:repairs"))
    with django_assert_max_num_queries(9):
        client.get(reverse("equipment:repairs"))


def test_a_household_s_card_is_made_changed_and_put_aside_on_its_pages(sign_in):
    by = make_person()
    kitchen = make_kitchen(by)
    client = sign_in(by)
    listing = reverse("equipment:own-canners")
    typed = {"token": uuid4(), "kitchen": kitchen.pk, "kind": "dial-gauge-canner", "name": "The big one"}
    page = client.post(listing, typed)
    assert "jars_pint" in page.context["form"].errors
    assert page.context["form"]["name"].value() == "The big one"
    response = client.post(listing, typed | {"jars_pint": "9"})
    own = Thing.everything.get(household=kitchen)
    assert response.url == own.get_absolute_url()
    assert "Not tested yet" in text_of(client.get(response.url))
    assert client.post(response.url, {"token": uuid4(), "name": "The old one", "jars_quart": "7"}).status_code == 302
    own.refresh_from_db()
    assert (own.name, own.capacity) == ("The old one", {"quart": 7})
    assert sign_in(make_person()).get(response.url).status_code == 404
    assert sign_in(make_keeper()).get(reverse("equipment:thing", args=[own.code])).status_code == 404
    client.post(reverse("equipment:own-canner-put-aside", args=[own.code]))
    own.refresh_from_db()
    assert own.state == ThingState.RETIRED
