"""Every page of the room by everybody who might ask, the counter in three taps, and query bounds that stay flat."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.members.choices import Role
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold, InstrumentTest, Loan, Thing, ThingPhoto, WaitingEntry
from tests.factories.equipment import BAD, make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_kitchen, make_person, make_skill
from tests.helpers import addresses_of, text_of
from tests.inventory.equipment.test_things import picture

pytestmark = pytest.mark.django_db

MOST_QUERIES = 13
EVERYBODYS = ["list", "mine"]
KEEPERS = ["add", "counter", "overdue", "tests", "papers", "labels", "sheet", "key-in", "import"]
OF_A_THING = ["thing", "calendar", "hold"]
KEEPERS_OF_A_THING = ["change", "test"]
POSTS_OF_A_THING = ["state", "photo-change", "hand-over", "take-back"]


url = addresses_of("equipment")


def now():
    return timezone.now()


def today():
    return club_day(now())


def typed(offset: int) -> str:
    return (today() + timedelta(days=offset)).isoformat()


@pytest.fixture
def thing():
    return make_thing(Kind.DIAL_GAUGE, code="DGC-9", now=now())


@pytest.fixture
def keeper(sign_in):
    return sign_in(make_keeper(name="Kit Keeper"))


@pytest.fixture
def member(sign_in):
    return sign_in(make_person())


# Who may


@pytest.mark.parametrize("page", EVERYBODYS)
def test_every_member_reads_the_register(page, member):
    assert member.get(url(page)).status_code == 200


@pytest.mark.parametrize("page", KEEPERS)
def test_keepers_pages_are_for_keepers(page, keeper, sign_in):
    assert keeper.get(url(page)).status_code == 200
    for role in (Role.MEMBER, Role.INSTRUCTOR, Role.ORGANISER):
        assert sign_in(make_person(role)).get(url(page)).status_code == 403


@pytest.mark.parametrize("page", OF_A_THING)
def test_a_thing_s_pages_are_everybody_s(page, thing, member):
    response = member.get(url(page, thing.code))
    assert response.status_code == 200
    assert thing.code in text_of(response)


@pytest.mark.parametrize("page", KEEPERS_OF_A_THING)
def test_a_thing_is_changed_and_tested_by_keepers(page, thing, keeper, member):
    assert keeper.get(url(page, thing.code)).status_code == 200
    assert member.get(url(page, thing.code)).status_code == 403


@pytest.mark.parametrize("page", POSTS_OF_A_THING)
def test_what_is_written_of_a_thing_is_written_by_keepers_and_posted(page, thing, keeper, member):
    assert member.post(url(page, thing.code)).status_code == 403
    assert keeper.get(url(page, thing.code)).status_code == 405


@pytest.mark.parametrize("page", [*OF_A_THING, *KEEPERS_OF_A_THING])
def test_a_code_of_no_thing_is_not_found(page, keeper):
    assert keeper.get(url(page, "NO-1")).status_code == 404


@pytest.mark.parametrize("page", [*EVERYBODYS, *KEEPERS])
def test_nobody_is_sent_to_sign_in(page):
    assert Client().get(url(page)).url.startswith(reverse("account_login"))


@pytest.mark.parametrize("page", ["list", "mine", "counter", "overdue", "tests", "papers", "labels", "sheet"])
def test_pages_to_read_take_no_post(page, keeper):
    assert keeper.post(url(page)).status_code == 405


def test_a_retired_thing_is_the_keepers_to_see(thing, keeper, member):
    services.thing_retire(by=make_keeper(), thing=thing, note="Old.")
    assert keeper.get(url("thing", thing.code)).status_code == 200
    assert member.get(url("thing", thing.code)).status_code == 404
    assert thing.code not in text_of(member.get(url("list") + "?show=retired"))


def test_a_failed_test_does_not_lapse_it_keeps_the_thing_here(member):
    gauge = make_thing(Kind.DIAL_GAUGE, now=now())
    make_test(gauge, today(), readings=BAD, now=now())
    told = text_of(member.get(url("thing", gauge.code)))
    assert "not used until a test is passed" in told
    assert "Lapses on" not in told


def test_a_kind_that_is_none_is_not_found(member):
    assert member.get(url("kind", "teapot")).status_code == 404
    assert member.get(url("kind-hold", "teapot")).status_code == 404
    assert member.post(url("wait", "teapot")).status_code == 404


def test_another_s_hold_loan_and_wait_are_not_found(thing, member):
    hold = make_hold_now(make_thing())
    loan = make_loan(make_thing(), now=now())
    wait = join_line(thing)
    assert member.post(url("hold-cancel", hold.pk)).status_code == 404
    assert member.get(url("extend", loan.pk)).status_code == 404
    assert member.post(url("wait-answer", wait.pk), {"answer": "take"}).status_code == 404
    hold.refresh_from_db()
    assert hold.state == "held"


def make_hold_now(thing, person=None, first=0, last=2, **rest):
    span = {"starts": today() + timedelta(days=first), "ends": today() + timedelta(days=last)}
    return services.hold_place(by=person or make_person(), thing=thing, **span, **rest)


def join_line(thing, person=None, days=2):
    span = {"not_before": today(), "not_after": today() + timedelta(days=9)}
    return services.waiting_join(by=person or make_person(), kind=thing.kind, days=days, **span)


# Holding


def test_a_member_holds_a_thing_and_finds_it_among_her_own(thing, sign_in):
    person = make_person()
    client = sign_in(person)
    asked = {"token": uuid4(), "starts": typed(1), "ends": typed(3)}
    response = client.post(url("hold", thing.code), asked, follow=True)
    assert "is held" in text_of(response)
    assert Hold.objects.get().person == person
    client.post(url("hold", thing.code), asked)
    assert Hold.objects.count() == 1


def test_a_member_cannot_slip_in_a_person_or_a_purpose(thing, member):
    asked = {"token": uuid4(), "starts": typed(1), "ends": typed(3), "person": "x@example.test", "purpose": "Class"}
    member.post(url("hold", thing.code), asked)
    assert (Hold.objects.get().purpose, Hold.objects.get().person) == ("", Hold.objects.get().placed_by)


def test_whoever_comes_second_reads_the_next_free_dates_on_the_page(thing, member):
    make_hold_now(thing, first=1, last=3)
    asked = {"token": uuid4(), "starts": typed(2), "ends": typed(4)}
    response = member.post(url("hold", thing.code), asked)
    assert response.status_code == 200
    assert "Next free for 3 days" in text_of(response)
    assert typed(2) in response.content.decode()  # what was typed stays


def test_the_first_free_one_of_a_kind_is_held(thing, member):
    make_hold_now(thing, first=0, last=5)
    other = make_thing(Kind.DIAL_GAUGE, code="DGC-10", now=now())
    member.post(url("kind-hold", thing.kind), {"token": uuid4(), "starts": typed(1), "ends": typed(2)})
    assert Hold.objects.filter(thing=other).exists()


HTMX = {"HX-Request": "true"}


def test_a_keeper_is_offered_names_while_typing_on_both_hold_pages_and_a_member_none(thing, client):
    keeper, somebody = make_keeper(), make_person()
    for address in (url("hold", thing.code), url("kind-hold", thing.kind)):
        client.force_login(keeper)
        page = client.get(address).content.decode()
        [name] = re.findall(r'<input[^>]* list="(\w+)"', page)
        assert f'<datalist id="{name}"></datalist>' in page  # not one address until somebody is looked for
        [where] = re.findall(r'hx-get="([^"]+)"', page)
        found = client.get(where, {"line-1-person": somebody.email[:-2]}, headers=HTMX).content.decode()
        assert re.findall(r'value="([^"]+)"', found) == [somebody.email]
        assert "option" not in client.get(where, {"person": "a"}, headers=HTMX).content.decode()
        client.force_login(somebody)
        page = client.get(address).content.decode()
        assert "datalist" not in page
        assert client.get(where, {"person": keeper.email}).status_code == 403
        assert keeper.email not in page


def test_a_hold_is_cancelled_by_its_own(thing, sign_in):
    hold = make_hold_now(thing)
    client = sign_in(hold.person)
    assert "Cancelled" in text_of(client.post(url("hold-cancel", hold.pk), follow=True))
    hold.refresh_from_db()
    assert hold.state == "cancelled"


def test_the_month_shows_each_day_in_words_and_whose_only_to_its_holder(thing, sign_in, member):
    hold = make_hold_now(thing, first=0, last=1)
    own, others = (text_of(client.get(url("calendar", thing.code))) for client in (sign_in(hold.person), member))
    assert f"{today().day} yours" in own
    assert f"{today().day} taken" in others
    assert "yours" not in others
    assert member.get(url("calendar", thing.code) + "?month=nonsense").status_code == 200


def test_the_month_of_a_kind_counts_what_is_free(thing, member):
    make_thing(Kind.DIAL_GAUGE, now=now())
    make_hold_now(thing, first=0, last=0)
    assert f"{today().day} 1/2" in text_of(member.get(url("kind", thing.kind)))


def test_joining_a_line_and_taking_the_offer(thing, sign_in):
    make_test(thing, today(), now=now())
    person = make_person()
    client = sign_in(person)
    asked = {"token": uuid4(), "days": 2, "not_before": typed(0), "not_after": typed(9)}
    assert "offered to you" in text_of(client.post(url("wait", thing.kind), asked, follow=True))
    entry = WaitingEntry.objects.get()
    assert "held for you" in text_of(client.post(url("wait-answer", entry.pk), {"answer": "take"}, follow=True))
    assert Hold.objects.get().state == "held"
    wrong = client.post(url("wait", thing.kind), {**asked, "token": uuid4(), "days": 30})
    assert "do not fit" in text_of(wrong)


# The counter


def test_the_counter_finds_a_typed_code_a_scanned_address_and_says_when_there_is_none(thing, keeper):
    for asked in ("dgc9", "DGC-9", f"http://club.example.test{thing.get_absolute_url()}"):
        assert "Hand over DGC-9" in text_of(keeper.get(url("counter"), {"code": asked}))
    missing = keeper.get(url("counter"), {"code": "NO-1"})
    assert missing.status_code == 404
    assert "No thing has the code" in text_of(missing)
    assert 'value="NO-1"' in missing.content.decode()  # what was typed stays, to be put right


def test_a_held_thing_is_handed_over_with_what_the_page_fills_in(keeper):
    """Two taps after finding it at most: the person and the day are there already."""
    thing = make_thing(now=now())
    hold = make_hold_now(thing, last=2)
    form = keeper.get(url("counter"), {"code": thing.code}).context["form"]
    filled = {name: form[name].value() for name in ("token", "person", "due_on", "condition")}
    assert filled["person"] == hold.person.email
    response = keeper.post(url("hand-over", thing.code), {**filled, "due_on": str(filled["due_on"])}, follow=True)
    assert f"{thing.code} goes to" in text_of(response)
    assert Loan.objects.get().hold == hold


def test_an_untested_gauge_is_refused_at_the_counter_and_what_was_typed_stays(thing, keeper):
    person = make_person()
    make_skill(person)
    asked = {"token": uuid4(), "person": person.email, "due_on": typed(2), "condition": "good", "note": "No lid."}
    response = keeper.post(url("hand-over", thing.code), asked)
    assert "never tested" in text_of(response)
    assert "No lid." in response.content.decode()
    assert not Loan.objects.exists()
    make_test(thing, today(), now=now())
    keeper.post(url("hand-over", thing.code), asked)
    assert Loan.objects.get().person == person


@pytest.mark.parametrize("name", ["nobody@example.test", "", "Twin Name"])
def test_a_person_who_is_not_known_for_certain_is_refused(name, keeper):
    thing = make_thing(now=now())
    make_person(name="Twin Name")
    make_person(name="Twin Name")
    asked = {"token": uuid4(), "person": name, "due_on": typed(2), "condition": "good"}
    response = keeper.post(url("hand-over", thing.code), asked)
    assert response.context["form"].errors["person"]
    assert not Loan.objects.exists()


def test_a_thing_is_taken_back_with_its_condition_and_pressing_twice_is_once(keeper):
    loan = make_loan(make_thing(now=now()), now=now() - timedelta(hours=1), deposit_cents=2000)
    asked = {"token": uuid4(), "condition": "worn", "missing_parts": "the rack"}
    said = text_of(keeper.post(url("take-back", loan.thing.code), asked, follow=True))
    assert "is back from" in said
    assert "deposit of 20.00" in said
    keeper.post(url("take-back", loan.thing.code), asked)
    loan.refresh_from_db()
    assert (loan.condition_in, loan.missing_parts, loan.taken_back_by.name) == ("worn", "the rack", "Kit Keeper")


def test_part_of_a_name_or_a_code_is_enough_and_several_are_chosen_from(keeper):
    """Of the thing, and of who has it or collects it."""
    mill = make_thing("food-mill", now=now(), code="MIL-7", name="Berry mill")
    others = [make_thing("food-mill", now=now(), code=f"MIL-{n}", name="Apple mill") for n in (8, 9)]
    make_loan(mill, make_person(name="Petra Vale"), now=now() - timedelta(hours=1))
    make_hold_now(others[0], make_person(name="Anders Petrov"))
    for asked in ("berry", "il-7", "vale"):
        assert "Take back MIL-7" in text_of(keeper.get(url("counter"), {"code": asked}))
    several = keeper.get(url("counter"), {"code": "petr"})
    assert [(thing.code, thing.who.name) for thing in several.context["found"]] == [
        ("MIL-7", "Petra Vale"),
        ("MIL-8", "Anders Petrov"),
    ]
    assert len(keeper.get(url("counter"), {"code": "mill"}).context["found"]) == 3


def test_part_of_a_persons_name_is_enough_and_several_are_asked_about(keeper):
    things = [make_thing("food-mill", now=now()) for _n in range(2)]
    petra = make_person(name="Petra Vale")
    asked = {"token": uuid4(), "person": "petra", "due_on": typed(2), "condition": "good"}
    keeper.post(url("hand-over", things[0].code), asked)
    assert Loan.objects.get().person == petra
    other = make_person(name="Petra Amberg")
    asked["token"] = uuid4()
    form = keeper.post(url("hand-over", things[1].code), asked).context["form"]
    assert form.fields["person"].widget.candidates == [other, petra]
    asked |= {"person_asked": "petra", "person_which": other.email}
    keeper.post(url("hand-over", things[1].code), asked | {"person": "kit"})  # typed anew: the choice is void
    keeper.post(url("hand-over", things[1].code), asked | {"token": uuid4()})
    assert [loan.person.name for loan in Loan.objects.order_by("pk")] == ["Petra Vale", "Kit Keeper"]


def test_the_day_it_is_due_keeps_clear_of_the_next_hold_and_of_a_test_that_lapses(keeper):
    thing = make_thing(now=now(), deposit_cents=2000)  # a day for cleaning
    make_hold_now(thing, first=4, last=6)
    page = keeper.get(url("counter"), {"code": thing.code})
    assert page.context["form"]["due_on"].value() == today() + timedelta(days=2)
    assert page.context["form"]["deposit_cents"].value() == "20.00"
    gauge = make_thing(Kind.DIAL_GAUGE, now=now())
    make_test(gauge, today() - timedelta(days=362), now=now())
    lapses = InstrumentTest.objects.get().lapses_on
    due = keeper.get(url("counter"), {"code": gauge.code}).context["form"]["due_on"].value()
    assert due == lapses - timedelta(days=1) < today() + timedelta(days=7)


def test_parts_are_ticked_out_and_in_and_what_is_not_ticked_is_missing(keeper):
    thing, person = make_thing(now=now()), make_person()
    form = keeper.get(url("counter"), {"code": thing.code}).context["form"]
    assert form["parts_out"].value() == ["rack", "lid"]
    asked = {"token": uuid4(), "person": person.email, "due_on": typed(2), "condition": "good"}
    keeper.post(url("hand-over", thing.code), asked | {"parts_out": ["rack", "lid"]})
    assert keeper.get(url("counter"), {"code": thing.code}).context["form"]["parts_in"].value() == ["rack", "lid"]
    back = {"token": uuid4(), "condition": "good", "parts_in": ["lid"], "missing_parts": "handle"}
    keeper.post(url("take-back", thing.code), back)
    assert Loan.objects.get().missing_parts == "rack, handle"


def test_how_a_deposit_was_settled_is_kept_at_once_or_later(keeper):
    loans = [
        make_loan(make_thing("scale", now=now()), now=now() - timedelta(hours=1), deposit_cents=2000) for _n in range(2)
    ]
    back = {"condition": "good", "deposit": "kept", "deposit_back_cents": "5"}
    refused = keeper.post(url("take-back", loans[0].thing.code), back | {"token": uuid4()})
    assert refused.context["form"].errors["deposit_note"]
    keeper.post(url("take-back", loans[0].thing.code), back | {"token": uuid4(), "deposit_note": "Pan is dented"})
    keeper.post(url("take-back", loans[1].thing.code), {"token": uuid4(), "condition": "good"})
    assert list(keeper.get(url("counter")).context["deposits"]) == [loans[1]]
    keeper.post(url("deposit", loans[1].pk), {"deposit": "back"})
    assert not Loan.objects.deposit_open().exists()
    kept = Loan.objects.order_by("pk").values_list("deposit_back_cents", "deposit_note", "deposit_settled_by__name")
    assert list(kept) == [(500, "Pan is dented", "Kit Keeper"), (2000, "", "Kit Keeper")]
    said = text_of(keeper.post(url("deposit", loans[1].pk), {"deposit": "kept", "deposit_note": "x"}, follow=True))
    assert "settled already" in said


def test_taking_back_wants_a_condition(keeper):
    loan = make_loan(make_thing(now=now()), now=now() - timedelta(hours=1))
    response = keeper.post(url("take-back", loan.thing.code), {"token": uuid4()})
    assert response.context["form"].errors["condition"]
    assert Loan.objects.open().exists()


def test_overdue_is_listed_with_its_days_and_a_member_sees_her_own(keeper, sign_in):
    person = make_person(name="Late Larkin")
    loan = make_loan(make_thing(now=now()), person, now=now() - timedelta(days=5), days=2)
    said = text_of(keeper.get(url("overdue")))
    assert "Late Larkin" in said
    assert "3 days late" in said
    assert "was due" in text_of(sign_in(person).get(url("mine")))
    assert loan.thing.code not in text_of(sign_in(make_person()).get(url("mine")))


def test_a_loan_is_kept_longer_on_its_page_or_told_why_not(sign_in):
    loan = make_loan(make_thing(now=now()), now=now() - timedelta(hours=1), days=2)
    client = sign_in(loan.person)
    client.post(url("extend", loan.pk), {"due_on": typed(4)})
    loan.refresh_from_db()
    assert loan.due_on == today() + timedelta(days=4)
    make_hold_now(loan.thing, first=7, last=9)
    assert "is taken" in text_of(client.post(url("extend", loan.pk), {"due_on": typed(8)}))


# Keeping


def test_a_thing_is_added_and_changed_on_its_pages(keeper):
    asked = {"token": uuid4(), "kind": Kind.SCALE, "name": "Scale", "deposit_cents": "12.50", "jars_pint": ""}
    assert keeper.post(url("add"), asked).url == url("thing", "SCL-01")
    keeper.post(url("add"), asked)
    thing = Thing.objects.get()
    assert thing.deposit_cents == 1250
    form = keeper.get(url("change", thing.code)).context["form"]
    assert form["deposit_cents"].value() == "12.50"
    keeper.post(url("change", thing.code), {**asked, "code": "SCL-01", "name": "Spring scale"})
    assert Thing.objects.get().name == "Spring scale"


def test_the_state_is_changed_on_the_thing_s_page(thing, keeper):
    keeper.post(url("state", thing.code), {"act": "repair", "condition": "good", "note": "Gasket."})
    assert "Gasket." in text_of(keeper.get(url("thing", thing.code)))
    refused = keeper.post(url("state", thing.code), {"act": "repair", "condition": "good", "note": "Again."})
    assert refused.status_code == 200
    keeper.post(url("state", thing.code), {"act": "mend", "condition": "worn", "note": ""})
    thing.refresh_from_db()
    assert thing.state == "in-service"


def test_a_gauge_test_is_recorded_and_one_that_reads_high_is_said_in_words(thing, keeper):
    asked = {"token": uuid4(), "tested_on": typed(0), "reference": "master gauge"}
    pairs = {"reference_1": "5", "shown_1": "5", "reference_2": "10", "shown_2": "11", "reference_3": "15"}
    half = keeper.post(url("test", thing.code), {**asked, **pairs})
    assert half.context["form"].errors["shown_3"]
    keeper.post(url("test", thing.code), {**asked, **pairs, "shown_3": "16.5"})
    assert InstrumentTest.objects.get().verdict == "passed"
    assert "reads high, by up to +1.5 psi" in text_of(keeper.get(url("thing", thing.code)))


def test_a_thermometer_is_judged_by_the_boiling_point_of_the_kitchen(keeper):
    thing = make_thing(Kind.THERMOMETER, capacity={})
    page = keeper.get(url("test", thing.code))
    user = page.context["user"]
    kitchen = make_kitchen(user)  # at 1,040 m
    asked = {"token": uuid4(), "tested_on": typed(0), "ice": "0.4", "boiling": "100"}
    assert keeper.post(url("test", thing.code), asked).context["form"].errors["kitchen"]

    keeper.post(url("test", thing.code), {**asked, "kitchen": kitchen.pk})

    made = InstrumentTest.objects.get()
    assert made.verdict == "failed"
    assert made.readings[1][0] == "96.5"
    assert "96.5" in made.reference


def test_what_needs_no_test_has_no_page_for_one(keeper):
    assert keeper.get(url("test", make_thing().code)).status_code == 404


def test_a_picture_is_shown_to_members_and_changed_by_keepers(thing, keeper, member):
    assert member.get(url("photo", thing.code)).status_code == 404
    upload = SimpleUploadedFile("x.png", picture().read(), "image/png")
    keeper.post(url("photo-change", thing.code), {"photo": upload})
    shown = member.get(url("photo", thing.code))
    assert (shown["Content-Type"], shown.content[:3]) == ("image/jpeg", b"\xff\xd8\xff")
    assert shown["Content-Security-Policy"] == "default-src 'none'; sandbox"  # opened by itself it runs nothing
    assert shown["Cache-Control"] == "private, max-age=86400"
    bad = SimpleUploadedFile("x.png", b"<script>", "image/png")
    assert "no picture" in text_of(keeper.post(url("photo-change", thing.code), {"photo": bad}))
    keeper.post(url("photo-change", thing.code), {"clear": "1"})
    assert not ThingPhoto.objects.exists()


def test_the_filters_find_what_they_say(keeper):
    free, out, mended = (make_thing(code=code, now=now()) for code in ("FREE-1", "OUT-1", "MEND-1"))
    make_loan(out, now=now())
    services.thing_repair(by=make_keeper(), thing=mended, note="x")

    def shown(**asked):
        return [one.code for one in keeper.get(url("list"), asked).context["things"]]

    assert shown(show="free") == ["FREE-1"]
    assert shown(show="out") == ["OUT-1"]
    assert shown(show="repair") == ["MEND-1"]
    assert shown(q="mend1") == ["MEND-1"]
    assert shown(q="enamel", kind=Kind.BOILING_WATER) == ["FREE-1", "MEND-1", "OUT-1"]
    assert shown(kind=Kind.SCALE) == []
    assert free.code == "FREE-1"


# Query bounds: the same few however much there is


def fill(count: int, keeper_person) -> Thing:
    for n in range(count):
        thing = make_thing(Kind.DIAL_GAUGE, by=keeper_person, code=f"Q-{n:02d}", now=now())
        make_test(thing, today() - timedelta(days=350), by=keeper_person, now=now())
        make_loan(thing, now=now() - timedelta(days=9), by=keeper_person, days=3)
        make_hold_now(make_thing(Kind.CROCK, by=keeper_person, now=now()), keeper_person, first=0, last=1)
    return thing


@pytest.mark.parametrize("count", [1, 30])
def test_pages_ask_the_same_few_queries_however_much_there_is(count, sign_in, django_assert_max_num_queries):
    person = make_keeper()
    thing = fill(count, person)
    for n in range(count - 1):
        make_hold_now(thing, make_person(), first=10 + 3 * n, last=10 + 3 * n)
        services.thing_look_over(by=person, thing=thing, condition="good")
    pages = [
        url(page) for page in ("list", "mine", "counter", "overdue", "tests", "papers", "key-in", "sheet", "labels")
    ]
    pages += [url(page, thing.code) for page in (*OF_A_THING, *KEEPERS_OF_A_THING)]
    pages += [url("kind", Kind.DIAL_GAUGE), url("kind", Kind.CROCK), url("list") + "?show=free"]
    pages += [f"{url('counter')}?code={thing.code}", url("export", "loans", "xlsx"), url("export", "things", "xlsx")]
    client = sign_in(person)
    for page in pages:
        with django_assert_max_num_queries(MOST_QUERIES):
            response = client.get(page)
        assert response.status_code == 200, page


def test_a_form_that_does_not_fit_any_more_gives_way_to_the_one_that_does(sign_in):
    """It went out, or came back, between the page and the press."""
    keeper, thing = make_keeper(), make_thing()
    client = sign_in(keeper)
    answer = client.post(url("take-back", thing.code), {})
    assert (answer.status_code, answer.context["loan"]) == (200, None)
    loan = make_loan(thing, now=timezone.now())
    answer = client.post(url("hand-over", thing.code), {})
    assert (answer.status_code, answer.context["loan"]) == (200, loan)


def test_a_kind_that_there_is_not_is_no_kind_at_all(sign_in):
    assert sign_in(make_person()).get(url("list"), {"kind": "23:59"}).status_code == 200
