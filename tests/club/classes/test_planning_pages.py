"""The planner's pages: who may, what is kept as typed, every refusal shown, the same queries at 1 and 12 stations."""

from __future__ import annotations

import re
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from club.classes.choices import SessionState
from club.classes.models import ClassSession, Station
from club.classes.services import gear as gear_services
from club.core.clock import club_day
from club.members.models import User
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold
from tests.factories.classes import make_hall, make_instructor, make_session
from tests.factories.equipment import TODAY, make_hold, make_loan, make_thing
from tests.factories.members import make_organiser, make_person
from tests.factories.recipes import make_revision
from tests.helpers import levels_of

pytestmark = pytest.mark.django_db

READ = ("plan", "gear", "wall-sheet")
FORMS = ("change", "move", "call-off", "station-add")
PRESSES = ("publish", "gear-gather", "gear-release")


def url(name, session, *more):
    return reverse(f"classes:{name}", args=[session.pk, *more])


def soon(days=30) -> date:
    return club_day(timezone.now()) + timedelta(days=days)


@pytest.fixture
def by():
    return make_instructor(name="Ilse Damson")


@pytest.fixture
def draft(by):
    return make_session(by=by, day=soon(), state=SessionState.DRAFT, now=timezone.now())


@pytest.fixture
def instructor_client(client, by):
    client.force_login(by)
    return client


@pytest.mark.parametrize("name", [*READ, *FORMS])
def test_a_page_is_its_instructors_and_for_others_hidden_or_forbidden(client, by, draft, name):
    published = make_session(by=by, day=soon(), now=timezone.now())
    answers = {}
    for who, person in {
        "own": by,
        "other instructor": make_instructor(),
        "organiser of another": make_organiser(),
        "member": make_person(),
    }.items():
        client.force_login(person)
        answers[who] = [client.get(url(name, session)).status_code for session in (draft, published)]
    assert answers == {
        "own": [200, 200],
        "other instructor": [403, 403],
        "organiser of another": [403, 403],
        "member": [404, 403],  # a draft is not even there for a member
    }
    client.logout()
    assert client.get(url(name, draft)).status_code == 302
    client.force_login(by)
    assert client.get(reverse(f"classes:{name}", args=[999_999])).status_code == 404


@pytest.mark.parametrize("name", PRESSES)
def test_a_press_is_its_instructors_and_is_a_post(client, by, draft, name):
    client.force_login(by)
    assert client.get(url(name, draft)).status_code == 405
    for person, status in ((make_instructor(), 403), (make_person(), 404), (by, 302)):
        client.force_login(person)
        assert client.post(url(name, draft)).status_code == status


def test_who_may_plan_makes_a_session_and_a_member_does_not(client):
    client.force_login(make_person())
    assert client.get(reverse("classes:new")).status_code == 403
    client.force_login(make_instructor())
    assert client.get(reverse("classes:new")).status_code == 200


def new_told(by, **changes):
    return {
        "token": str(uuid4()),
        "title": "Plum spread",
        "hall": make_hall().pk,
        "instructors": [by.pk],
        "day": soon().isoformat(),
        "starts": "10:00",
        "ends": "14:00",
        "weeks": "1",
        "minimum_people": "2",
        **changes,
    }


def test_a_session_is_planned_once_however_often_the_form_is_sent(instructor_client, by):
    told = new_told(by)
    for _press in range(2):
        answer = instructor_client.post(reverse("classes:new"), told)
        assert answer.url == url("plan", ClassSession.objects.get())


def test_a_series_is_planned_on_weekly_and_listed_days(instructor_client, by):
    told = new_told(by, weeks="3", more_days=f"{soon(100)}\n{soon(30)}")
    instructor_client.post(reverse("classes:new"), told)
    days = list(ClassSession.objects.order_by("day").values_list("day", flat=True))
    assert days == [soon(30), soon(37), soon(44), soon(100)]
    assert len(set(ClassSession.objects.values_list("series", flat=True))) == 1


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"title": ""}, "title", "required"),
        ({"ends": "09:00"}, "ends", "The end comes before"),
        ({"day": "2020-01-04"}, "day", "gone by"),
        ({"more_days": "2027-02-30"}, "more_days", "Not understood: 2027-02-30"),
        ({"minimum_people": "0"}, "minimum_people", "greater than or equal to 1"),
        ({"instructors": []}, "instructors", "required"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_beside_its_field_and_kept_as_typed(
    instructor_client, by, changes, field, words
):
    told = new_told(by, about="All of it, from the tree.", **changes)
    page = instructor_client.post(reverse("classes:new"), told)
    assert page.status_code == 200
    assert list(page.context["form"].errors) == [field]
    assert words in page.context["form"].errors[field][0]
    assert "All of it, from the tree." in page.text
    assert not ClassSession.objects.exists()


def test_the_plan_says_process_altitude_power_and_what_stands_in_the_way(instructor_client, by):
    hall = make_hall(power_limit_w=3000)
    session = make_session(by=by, hall=hall, day=soon(), state=SessionState.DRAFT, now=timezone.now())
    page = instructor_client.get(url("plan", session)).text
    for words in (
        "10 minutes",
        "1,040 m (3,412.1 ft)",
        "4,000 W",
        "The hall carries 3,000 W.",
        "1,000 W more than the hall carries",
        "common practice, no source",
        "<svg",
    ):
        assert words in page
    assert "Publish it" not in page


def test_a_hall_whose_wiring_nobody_knows_says_so(instructor_client, draft):
    page = instructor_client.get(url("plan", draft)).text
    assert "wiring carries is not known" in page.replace("&#x27;", "'")
    assert "Publish it" in page


def test_publishing_shows_every_refusal_or_publishes(instructor_client, by, draft):
    bad = make_session(by=by, day=soon(), stations=0, state=SessionState.DRAFT, now=timezone.now())
    page = instructor_client.post(url("publish", bad), follow=True).text
    assert "Not published." in page
    assert "There is no station yet." in page
    page = instructor_client.post(url("publish", draft), follow=True).text
    assert "It is published" in page
    assert "Add a station" not in page


def station_told(**changes):
    return {
        "revision": make_revision().pk,
        "pots": "1",
        "seats": "4",
        "cooks": "2",
        "jar_size": "half-pint",
        "canner": "boiling-water",
        "canners": "1",
        "capacity": "half-pint=12, pint=9",
        "stove": "electric",
        "burners_w": "2000; 1800",
        **changes,
    }


def test_a_station_is_added_changed_and_taken_away(instructor_client, draft):
    instructor_client.post(url("station-add", draft), station_told(name="By the window"))
    second = draft.stations.get(number=2)
    assert (second.burners_w, second.capacity, second.name) == (
        [2000, 1800],
        {"half-pint": 12, "pint": 9},
        "By the window",
    )
    form = instructor_client.get(url("station-change", draft, 2)).context["form"]
    assert (form.initial["burners_w"], form.initial["capacity"]) == ("2000, 1800", "half-pint=12, pint=9")
    instructor_client.post(url("station-change", draft, 2), station_told(seats="6"))
    draft.refresh_from_db()
    assert draft.seats_total == 10
    instructor_client.post(url("station-remove", draft, 2))
    draft.refresh_from_db()
    assert (draft.seats_total, draft.stations.count()) == (4, 1)


def test_jars_and_watts_are_given_box_by_box_and_kept_as_typed(instructor_client, draft):
    told = {name: value for name, value in station_told().items() if name not in ("capacity", "burners_w")}
    boxes = {"capacity_half-pint": "12", "capacity_pint": "9", "burners_w_1": "2000", "burners_w_2": "1800"}
    instructor_client.post(url("station-add", draft), {**told, **boxes})
    second = draft.stations.get(number=2)
    assert (second.burners_w, second.capacity) == ([2000, 1800], {"half-pint": 12, "pint": 9})
    page = instructor_client.get(url("station-change", draft, 2)).text
    for name, value in boxes.items():
        assert re.search(f'name="{name}"\\s+value="{value}"', page), name
    page = instructor_client.post(url("station-add", draft), {**told, **boxes, "capacity_pint": "many"}).text
    assert re.search('name="capacity_pint"\\s+value="many"', page)
    page = instructor_client.post(url("station-add", draft), station_told(capacity="bucket=3")).text
    assert 'value="bucket=3"' in page


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"burners_w": "two"}, "burners_w"),
        ({"burners_w": ""}, "burners_w"),
        ({"burners_w": "2000, 60000"}, "burners_w"),
        ({"capacity": "bucket=3"}, "capacity"),
        ({"seats": "40"}, "seats"),
        ({"revision": ""}, "revision"),
    ],
)
def test_a_wrong_station_is_refused_beside_its_field_and_kept_as_typed(instructor_client, draft, changes, field):
    page = instructor_client.post(url("station-add", draft), station_told(name="Under the clock", **changes))
    assert page.status_code == 200
    assert list(page.context["form"].errors) == [field]
    assert "Under the clock" in page.text
    assert Station.objects.count() == 1


def test_the_stations_of_one_day_of_a_series_are_taken_over_to_another(instructor_client, by):
    instructor_client.post(reverse("classes:new"), new_told(by, weeks="2"))
    first, second = ClassSession.objects.order_by("day")
    instructor_client.post(url("station-add", first), station_told(seats="5"))
    page = instructor_client.get(url("plan", second)).text
    assert url("stations-copy", second, first.pk) in page
    instructor_client.post(url("stations-copy", second, first.pk))
    assert list(second.stations.values_list("seats", flat=True)) == [5]
    hidden = make_session(by=make_instructor(), day=soon(), state=SessionState.DRAFT, now=timezone.now())
    assert instructor_client.post(url("stations-copy", hidden, first.pk)).status_code == 403


def test_a_session_is_called_off_with_its_reason_and_not_without(instructor_client, draft):
    page = instructor_client.post(url("call-off", draft), {"reason": " "})
    assert list(page.context["form"].errors) == ["reason"]
    page = instructor_client.post(url("call-off", draft), {"reason": "The well is dry."}, follow=True).text
    assert "The well is dry." in page
    assert "Add a station" not in page
    assert ClassSession.objects.get(pk=draft.pk).state == SessionState.CANCELLED


def test_only_published_recipes_are_offered(instructor_client, draft):
    make_revision(state="draft", title="Never tested")
    make_revision(title="Well tested")
    page = instructor_client.get(url("station-add", draft)).text
    assert "Well tested" in page
    assert "Never tested" not in page


def test_a_published_session_is_only_asked_what_may_still_change(instructor_client, by):
    session = make_session(by=by, day=soon(), now=timezone.now())
    form = instructor_client.get(url("change", session)).context["form"]
    assert set(form.fields) == {"title", "instructors", "about", "what_to_bring"}
    told = {"title": "Plums again", "instructors": [by.pk], "what_to_bring": "A knife"}
    instructor_client.post(url("change", session), told)
    session.refresh_from_db()
    assert (session.title, session.what_to_bring, session.sequence) == ("Plums again", "A knife", 1)


def test_a_draft_saved_as_it_is_shown_stays_as_it_was(instructor_client, draft):
    form = instructor_client.get(url("change", draft)).context["form"]
    told = {name: form[name].value() for name in form.fields}
    told |= {name: told[name].strftime("%Y-%m-%dT%H:%M") for name in ("signup_opens_at", "signup_closes_at")}
    before = ClassSession.objects.values().get(pk=draft.pk)
    instructor_client.post(url("change", draft), told)
    after = ClassSession.objects.values().get(pk=draft.pk)
    assert {k for k in before if before[k] != after[k]} <= {"changed_at", "signup_opens_at"}  # to the minute


def test_a_clash_on_the_new_day_keeps_what_was_typed_and_says_when_it_is_free(instructor_client, by, draft):
    thing = make_thing(code="BWC-01", capacity={"half-pint": 12}, now=timezone.now())
    gear_services.gear_gather(by=by, session=draft)
    offset = (soon(40) - TODAY).days
    make_hold(thing, offset, offset, now=timezone.now())
    page = instructor_client.post(url("move", draft), {"day": soon(40), "starts": "10:00", "ends": "14:00"})
    assert page.status_code == 200
    assert "BWC-01 is taken" in page.text
    assert "Next free for 1 day" in page.text
    assert f'value="{soon(40)}"' in page.text
    assert Hold.objects.filter(session_gear__isnull=False).get().starts == draft.day


def test_the_gear_page_holds_in_one_press_and_lists_what_is_missing(instructor_client, draft):
    make_thing(code="BWC-01", capacity={"half-pint": 12}, now=timezone.now())
    answer = instructor_client.post(url("gear-gather", draft), follow=True)
    page = answer.text
    assert levels_of(answer)[0] == "success"
    assert "Not to be had for that day: 1 × Preserving pan" in page
    assert "BWC-01" in page
    assert "1 × box of 12" in page  # lids
    assert "empty jars, half-pint (237 ml)" in page
    answer = instructor_client.post(url("gear-release", draft), follow=True)
    assert levels_of(answer) == ["success"]
    assert "BWC-01" not in answer.text


@pytest.fixture
def at_the_counter_first(by, monkeypatch):
    """A draft for tomorrow with a canner and a funnel held; the counter hands the funnel over between the look at what
    is held and the letting go."""
    session = make_session(by=by, day=soon(1), state=SessionState.DRAFT, now=timezone.now())
    make_thing(code="BWC-01", capacity={"half-pint": 12}, now=timezone.now())
    make_thing(Kind.FUNNEL, code="FUN-01", capacity={}, now=timezone.now())
    gear_services.gear_gather(by=by, session=session)
    cancel = gear_services.hold_cancel

    def hold_cancel(*, hold, **told):
        if hold.thing.code == "FUN-01":
            make_loan(hold.thing, by, now=timezone.now())
        cancel(hold=hold, **told)

    monkeypatch.setattr(gear_services, "hold_cancel", hold_cancel)
    return session


HANDED_OVER = "Handed over already, so not free: FUN-01. The counter takes them back. All else is free again."


def test_letting_go_when_the_counter_was_first_says_so_and_frees_the_rest(instructor_client, at_the_counter_first):
    answer = instructor_client.post(url("gear-release", at_the_counter_first), follow=True)
    assert answer.status_code == 200
    assert HANDED_OVER in answer.text
    states = dict(Hold.objects.values_list("thing__code", "state"))
    assert states == {"BWC-01": "cancelled", "FUN-01": "out"}
    assert "success" not in levels_of(answer)


def test_calling_off_when_the_counter_was_first_is_done_and_says_so(instructor_client, at_the_counter_first):
    answer = instructor_client.post(url("call-off", at_the_counter_first), {"reason": "Rain"}, follow=True)
    assert answer.status_code == 200
    assert HANDED_OVER in answer.text
    at_the_counter_first.refresh_from_db()
    assert at_the_counter_first.state == SessionState.CANCELLED
    assert dict(Hold.objects.values_list("thing__code", "state")) == {"BWC-01": "cancelled", "FUN-01": "out"}


def test_the_wall_sheet_is_a_pdf_with_a_page_for_the_hall_and_for_each_station(instructor_client, by):
    session = make_session(by=by, day=soon(), stations=2, state=SessionState.DRAFT, now=timezone.now())
    answer = instructor_client.get(url("wall-sheet", session))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert answer.content.count(b"/Type /Page\n") == 3


@pytest.mark.parametrize(("name", "most"), [("plan", 10), ("gear", 16), ("wall-sheet", 10), ("station-add", 10)])
def test_twelve_stations_take_no_more_queries_than_one(instructor_client, by, name, most):
    seen = []
    for count in (1, 12):
        session = make_session(by=by, day=soon(), stations=count, state=SessionState.DRAFT, now=timezone.now())
        for n in range(count):
            make_thing(Kind.FUNNEL, code=f"FUN-{count}-{n}", capacity={}, now=timezone.now())
        gear_services.gear_gather(by=by, session=session)
        assert session.gear.count() == count
        with CaptureQueriesContext(connection) as queries:
            assert instructor_client.get(url(name, session)).status_code == 200
        seen.append(len(queries))
    assert seen[0] == seen[1] <= most


@pytest.mark.parametrize("model", ["classsession", "station", "sessiongear", "setaside"])
def test_the_admin_looks_and_changes_nothing(client, by, draft, model):
    make_thing(code="BWC-01", capacity={"half-pint": 12}, now=timezone.now())
    gear_services.gear_gather(by=by, session=draft)
    client.force_login(User.objects.create_superuser("root@example.test", "seven copper ladles"))
    assert client.get(reverse(f"admin:classes_{model}_changelist")).status_code == 200
    assert client.get(reverse(f"admin:classes_{model}_add")).status_code == 403
