"""A part that was missing at a return keeps the thing in until a keeper settles it."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from club.core.clock import club_day
from club.members.choices import Role
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import ConditionNote, Loan, Thing, with_status
from tests.factories.equipment import NOW, TODAY, day, make_hold, make_keeper, make_loan, make_thing
from tests.factories.members import make_organiser, make_person
from tests.inventory.equipment.test_pages import text_of, url

pytestmark = pytest.mark.django_db
BACK = NOW + timedelta(days=1)
WEIGHT = "the 15 lb weight"


def make_short(thing: Thing | None = None, *, missing: str = WEIGHT, at=NOW, **told) -> Thing:
    """A canner that came back, good, and without its weight."""
    thing = thing or make_thing(Kind.WEIGHTED_GAUGE)
    loan = make_loan(thing, now=at - timedelta(days=1), days=0)
    told = {"condition": "good", "is_ready": True, "now": at, **told}
    services.loan_return(by=make_keeper(), loan=loan, missing_parts=missing, **told)
    return Thing.objects.get(pk=thing.pk)


def settle(thing, outcome="back", **told):
    services.parts_settle(**{"by": make_keeper(), "thing": thing, "outcome": outcome, "now": BACK, **told})


def tag(thing, today=TODAY):
    [row] = with_status(Thing.objects.filter(pk=thing.pk).with_status(today), today)
    return (row.status.look, str(row.status.words))


def test_what_lacks_a_part_is_not_handed_over_until_the_part_is_back():
    thing = make_short()
    assert tag(thing) == ("stop", "part missing or damaged")
    with pytest.raises(ValidationError, match=WEIGHT) as refused:
        make_loan(thing, now=BACK)
    assert refused.value.code == "parts-missing"
    assert not Loan.objects.open().exists()
    settle(thing)
    assert tag(thing) == ("go", "free today")
    assert make_loan(thing, now=BACK).pk


def test_what_came_back_whole_is_free_at_once():
    thing = make_short(missing="  ")
    assert tag(thing) == ("go", "free today")
    assert make_loan(thing, now=BACK).pk


def test_a_hold_of_one_s_own_gets_no_further_and_stays():
    thing, person = make_thing(), make_person()
    hold = make_hold(thing, 2, 4, by=person, now=NOW - timedelta(days=2))
    make_short(thing)
    with pytest.raises(ValidationError, match=WEIGHT):
        make_loan(thing, person, now=BACK)
    hold.refresh_from_db()
    assert hold.state == "held"
    settle(thing)
    assert make_loan(thing, person, now=BACK).hold == hold


def test_it_is_neither_free_for_its_kind_nor_held_for_the_next_days_but_may_be_for_later_ones():
    thing = make_short()
    assert not Thing.objects.free_on_day(TODAY).exists()
    with pytest.raises(services.Taken):
        services.hold_place_first_free(by=make_person(), kind=thing.kind, starts=day(5), ends=day(6), now=NOW)
    with pytest.raises(ValidationError, match=WEIGHT):
        make_hold(thing, 0, 1)
    assert make_hold(thing, 20, 21).state == "held"


def test_nobody_in_the_waiting_line_is_offered_it_before_it_is_whole():
    thing = make_thing()
    loan = make_loan(thing, now=NOW - timedelta(days=1))
    wait = services.waiting_join(
        by=make_person(), kind=thing.kind, days=2, not_before=day(0), not_after=day(9), now=NOW - timedelta(hours=1)
    )
    services.waiting_leave(by=wait.person, entry=wait, now=NOW - timedelta(hours=1))
    services.loan_return(by=make_keeper(), loan=loan, condition="good", missing_parts=WEIGHT, is_ready=True, now=NOW)
    entry = services.waiting_join(
        by=make_person(), kind=thing.kind, days=2, not_before=day(1), not_after=day(9), now=NOW
    )
    assert entry.state == "waiting"
    settle(thing)
    entry.refresh_from_db()
    assert (entry.state, entry.hold.thing) == ("offered", thing)


@pytest.mark.parametrize(("outcome", "note"), [("back", ""), ("replaced", "A new 15 lb weight.")])
def test_settling_says_by_whom_how_and_when_and_stands_in_the_history(outcome, note):
    keeper, thing = make_keeper(), make_short()
    settle(thing, outcome, note=note, by=keeper)
    loan = Loan.objects.get()
    assert (loan.parts_settled_at, loan.parts_settled_by, loan.parts_outcome) == (BACK, keeper, outcome)
    assert loan.missing_parts == WEIGHT
    told = ConditionNote.objects.get(occasion="parts")
    assert (told.by, told.condition) == (keeper, "good")
    assert WEIGHT in told.note
    assert note in told.note


def test_the_thing_withdrawn_settles_it_too_with_a_reason():
    for retire in (
        settle,
        lambda thing, _outcome, **told: services.thing_retire(by=make_keeper(), thing=thing, **told),
    ):
        thing = make_short()
        with pytest.raises(ValidationError):
            retire(thing, "withdrawn", note="")
        retire(thing, "withdrawn", note="No weight to be had any more.")
        thing.refresh_from_db()
        loan = Loan.objects.get(thing=thing)
        assert (thing.state, loan.parts_outcome) == ("retired", "withdrawn")
        assert not Thing.objects.short_of_parts().filter(pk=thing.pk).exists()


@pytest.mark.parametrize(
    ("outcome", "note", "field"),
    [("", "", "outcome"), ("before", "", "outcome"), ("replaced", " ", "note"), ("back", "x" * 301, "note")],
)
def test_what_settles_nothing_is_refused_beside_its_field(outcome, note, field):
    thing = make_short()
    with pytest.raises(ValidationError) as refused:
        settle(thing, outcome, note=note)
    assert set(refused.value.message_dict) == {field}
    assert Thing.objects.short_of_parts().get() == thing


@pytest.mark.parametrize("role", [Role.INSTRUCTOR, Role.ORGANISER, Role.MEMBER])
def test_only_keepers_settle(role):
    thing = make_short()
    with pytest.raises(PermissionDenied):
        settle(thing, by=make_person(role))
    assert Thing.objects.short_of_parts().exists()


def test_settled_once_and_what_lacks_nothing_is_not_settled():
    thing = make_short()
    settle(thing)
    for one in (thing, make_thing()):
        for outcome in ("back", "withdrawn"):
            with pytest.raises(services.AlreadyDone):
                settle(one, outcome, note="Again.")
    assert Thing.objects.exclude(state="in-service").count() == 0


def test_a_mended_thing_without_its_part_still_stays_in():
    thing = make_short(condition="broken")
    services.thing_mend(by=make_keeper(), thing=thing, now=BACK)
    with pytest.raises(ValidationError, match=WEIGHT):
        make_loan(thing, now=BACK)
    settle(thing)
    assert ConditionNote.objects.get(occasion="parts").condition == "good"
    assert make_loan(thing, now=BACK).pk


def test_the_database_itself_refuses_a_loan_while_a_part_is_missing():
    thing = make_short()
    hold = make_hold(thing, 20, 21)
    told = {
        "thing": thing,
        "hold": hold,
        "person": hold.person,
        "due_on": day(21),
        "handed_over_by": make_keeper(),
        "handed_over_at": BACK,
        "condition_out": "good",
    }
    with pytest.raises(IntegrityError), transaction.atomic():
        Loan.objects.create(token=uuid4(), **told)
    settle(thing)
    assert Loan.objects.create(token=uuid4(), **told).pk


@pytest.mark.parametrize(
    "wrong",
    [
        {"parts_settled_at": BACK},
        {"parts_outcome": "back"},
        {"parts_settled_at": BACK, "parts_outcome": "back"},
        {"parts_settled_at": BACK, "parts_outcome": "before", "by": True},
        {"parts_settled_at": BACK, "parts_outcome": "back", "by": True, "missing_parts": ""},
    ],
)
def test_the_database_refuses_a_matter_settled_by_nobody_or_of_nothing(wrong):
    make_short()
    if wrong.pop("by", False):
        wrong = {**wrong, "parts_settled_by": make_keeper()}
    with pytest.raises(IntegrityError), transaction.atomic():
        Loan.objects.update(**wrong)


def test_a_return_that_says_what_is_missing_wins_over_a_hand_over_at_that_moment(monkeypatch):
    """The look before the loan saw a whole thing; the database does not."""
    thing = make_short()
    asked = []

    def blind_once(one):
        asked.append(one)
        if len(asked) > 1:
            real(one)

    lending = import_module("inventory.equipment.services.loans")
    real = lending.lent_check
    monkeypatch.setattr(lending, "lent_check", blind_once)
    with pytest.raises(ValidationError, match=WEIGHT):
        make_loan(thing, now=BACK)
    assert len(asked) == 2
    assert not Loan.objects.open().exists()


def test_matters_from_before_are_open_where_the_latest_return_was_short():
    migrate = import_module("inventory.equipment.migrations.0003_missing_parts").matters_of_old
    latest, older, retired, out = (make_short() for _n in range(4))
    for thing in (older, out):
        settle(thing)
    loan = make_loan(older, now=BACK)
    services.loan_return(by=make_keeper(), loan=loan, condition="good", now=BACK + timedelta(days=1))
    services.thing_retire(by=make_keeper(), thing=retired, note="Bent.")
    runs = make_loan(out, now=BACK)
    # As it was before such matters were followed up.
    Loan.objects.update(parts_settled_at=None, parts_settled_by=None, parts_outcome="", parts_note="", missing_parts="")
    short = Loan.objects.exclude(returned_at=None).filter(handed_over_at__lt=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        short.update(missing_parts=WEIGHT)  # which is why the constraint comes after the data
    short.exclude(thing__in=[out, older]).update(missing_parts=WEIGHT)
    before = {"parts_settled_at": NOW, "parts_outcome": "before"}
    short.filter(thing__in=[out, older]).update(missing_parts=WEIGHT, **before)
    migrate(apps, None)
    assert set(Thing.objects.short_of_parts()) == {latest}
    runs.refresh_from_db()
    assert runs.missing_parts == WEIGHT  # whoever takes it back finds it filled in
    assert Loan.objects.get(thing=retired).parts_outcome == "before"


# Pages


def now():
    return timezone.now()


@pytest.fixture
def short():
    return make_short(make_thing(now=now()), at=now())


def test_a_canner_without_its_weight_from_the_return_to_the_next_loan(sign_in):
    """As at the counter: taken back without the weight, refused, settled, handed over."""
    keeper, person = sign_in(make_keeper()), make_person(email="pat@example.org")
    thing = make_thing(now=now())
    make_loan(thing, now=now() - timedelta(hours=1))
    told = {"token": uuid4(), "condition": "good", "is_ready": "on", "missing_parts": WEIGHT}
    said = text_of(keeper.post(url("take-back", thing.code), told, follow=True))
    assert f"stays in until the missing part is settled: {WEIGHT}" in said
    out = {"token": uuid4(), "person": "pat@example.org", "due_on": (club_day(now()) + timedelta(days=2)).isoformat()}
    refused = keeper.post(url("hand-over", thing.code), {**out, "condition": "good"})
    assert refused.status_code == 200
    assert WEIGHT in text_of(refused)
    assert not Loan.objects.open().exists()
    assert keeper.post(url("parts", thing.code), {"outcome": "replaced", "note": "A new one."}).status_code == 302
    assert keeper.post(url("hand-over", thing.code), {**out, "condition": "good"}).status_code == 302
    assert Loan.objects.open().get().person == person


def test_everybody_sees_on_the_thing_s_page_what_is_missing_and_keepers_settle_it_there(sign_in, short):
    member, keeper = (sign_in(person).get(short.get_absolute_url()) for person in (make_person(), make_keeper()))
    for page in (member, keeper):
        assert page.context["missing_parts"] == WEIGHT
        assert WEIGHT in text_of(page)
        assert page.context["status"].look == "stop"
    assert url("hold", short.code) not in member.content.decode()
    assert url("parts", short.code) not in member.content.decode()
    assert url("parts", short.code) in keeper.content.decode()


def test_the_keepers_list_and_desk_lead_to_what_lacks_a_part(sign_in, short):
    whole = make_thing(now=now())
    keeper = sign_in(make_keeper())
    page = keeper.get(url("list"), {"show": "missing"})
    assert [thing.code for thing in page.context["things"]] == [short.code]
    assert f"parts: {WEIGHT}" in text_of(page)
    assert f"{url('list')}?show=missing" in keeper.get("/").content.decode()
    assert whole.code in text_of(keeper.get(url("list"), {"show": "free"}))
    assert short.code not in text_of(keeper.get(url("list"), {"show": "free"}))
    assert f"{url('list')}?show=missing" not in sign_in(make_organiser()).get("/").content.decode()


def test_the_press_that_settles_is_for_keepers_and_says_what_is_wrong_with_it(client, sign_in, short):
    path = url("parts", short.code)
    assert client.post(path, {"outcome": "back"}).status_code == 302  # to the sign-in
    assert sign_in(make_person()).post(path, {"outcome": "back"}).status_code == 403
    keeper = sign_in(make_keeper())
    assert keeper.get(path).status_code == 405
    assert keeper.post(url("parts", "NO-SUCH-1"), {"outcome": "back"}).status_code == 404
    assert keeper.post(path, {}).context["form"].errors["outcome"]
    refused = keeper.post(path, {"outcome": "replaced", "note": ""})
    assert refused.context["form"].errors["note"]
    assert Thing.objects.short_of_parts().exists()
    assert keeper.post(path, {"outcome": "back"}).status_code == 302
    assert "Nothing is missing" in text_of(keeper.post(path, {"outcome": "back"}, follow=True))


def test_what_was_noted_at_the_hand_over_is_filled_in_at_the_return_and_kept_by_the_paper_sheet(sign_in):
    loan = make_loan(make_thing(now=now()), now=now() - timedelta(hours=1))
    Loan.objects.filter(pk=loan.pk).update(missing_parts=WEIGHT)
    page = sign_in(make_keeper()).get(url("counter"), {"code": loan.thing.code})
    assert page.context["form"]["missing_parts"].value() == WEIGHT
    row = services.SheetRow(code=loan.thing.code, on=club_day(now()))
    services.sheet_key_in(by=make_keeper(), rows=[row], token=uuid4(), now=now())
    assert Thing.objects.short_of_parts().get() == loan.thing


@pytest.mark.parametrize("count", [1, 30])
def test_the_keepers_list_costs_the_same_for_one_thing_and_for_30(count, sign_in, django_assert_max_num_queries):
    for _n in range(count):
        make_short(make_thing(now=now()), at=now())
    client = sign_in(make_keeper())
    with django_assert_max_num_queries(10):
        assert len(client.get(url("list"), {"show": "missing"}).context["things"]) == count
