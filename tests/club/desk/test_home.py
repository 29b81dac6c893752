"""The desk: what needs a hand today, for the right person, in a bounded number of queries."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.desk.dashboard import SHOWN, desk_for
from club.members.choices import Role
from inventory.batches.services import jars_put_away, recall_answer, seals_record
from inventory.equipment.services import waiting_join
from inventory.jars.services import store_place
from recipes.models import RevisionState
from tests.factories.batches import make_batch, make_batch_checked, make_batch_out, make_recall
from tests.factories.classes import make_hall, make_instructor, make_session, make_signup
from tests.factories.equipment import make_keeper, make_loan, make_thing
from tests.factories.freezer import make_freezer_item
from tests.factories.fruit import hours, make_claim, make_offer, share_out
from tests.factories.jars import make_jars
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

HOME_QUERIES = 21
PANTRY_QUERIES, SHARING_QUERIES = 18, 9


def ago(hours: float):
    return timezone.now() - timedelta(hours=hours)


def fill(person, count: int) -> None:
    kitchen = make_kitchen(person)
    for _ in range(count):
        make_batch_out(by=person, kitchen=kitchen, out_at=ago(14))
        make_batch_out(by=person, kitchen=kitchen, out_at=ago(2))
        make_batch(by=person, kitchen=kitchen, started_at=ago(1))
        make_loan(make_thing(now=ago(200)), person, now=ago(100), days=2)
        make_revision(state=RevisionState.IN_REVIEW)


def titles(person, key: str) -> list[str]:
    section = desk_for(person, now=timezone.now()).section(key)
    return [card.title for card in section.cards] if section else []


def lots(person, key: str) -> list[str]:
    """The lot code of each card, which its second line begins with."""
    section = desk_for(person, now=timezone.now()).section(key)
    return [card.about.partition(" · ")[0] for card in section.cards] if section else []


def tags(person, key: str) -> list[str]:
    section = desk_for(person, now=timezone.now()).section(key)
    return [card.tag for card in section.cards] if section else []


def test_seals_are_due_twelve_hours_after_the_jars_came_out_and_not_before():
    person = make_person()
    kitchen = make_kitchen(person)
    due = make_batch_out(by=person, kitchen=kitchen, out_at=ago(12.1))
    cooling = make_batch_out(by=person, kitchen=kitchen, out_at=ago(11.9))
    assert lots(person, "seals-due") == [due.lot_code]
    assert lots(person, "cooling") == [cooling.lot_code]


def test_the_desk_says_when_reprocessing_has_lapsed():
    person = make_person()
    kitchen = make_kitchen(person)
    make_batch_out(by=person, kitchen=kitchen, out_at=ago(23))
    make_batch_out(by=person, kitchen=kitchen, out_at=ago(25))
    lapsed = ["lapsed" in tag for tag in tags(person, "seals-due")]
    assert lapsed == [True, False]  # the longest wait comes first


def test_a_checked_batch_leaves_the_desk():
    person = make_person()
    make_batch_checked(by=person, kitchen=make_kitchen(person), out_at=ago(30))
    assert desk_for(person, now=timezone.now()).is_quiet


def test_jars_that_wait_to_be_reprocessed_are_on_the_desk_until_they_are(client):
    person = make_person()
    batch = make_batch_out(by=person, kitchen=make_kitchen(person), out_at=ago(14))
    numbers = list(batch.jars.values_list("number", flat=True))
    results = dict.fromkeys(numbers, "sealed") | {numbers[0]: "unsealed", numbers[1]: "unsealed"}
    disposals = {numbers[0]: "reprocess", numbers[1]: "reprocess"}
    seals_record(by=person, batch=batch, token=uuid4(), results=results, disposals=disposals)
    assert lots(person, "to-reprocess") == [batch.lot_code]  # two waiting jars do not count the batch twice
    assert "at the latest" in tags(person, "to-reprocess")[0]
    client.force_login(person)
    assert f"/batches/{batch.lot_code}/reprocess/" in client.get("/").content.decode()
    jars_put_away(by=person, batch=batch, disposals=dict.fromkeys(disposals, "refrigerate"))
    assert desk_for(person, now=timezone.now()).is_quiet


@pytest.mark.parametrize(
    ("role", "seen", "hidden"),
    [
        (None, ["/pantry/", "/sharing/"], ["/batches/lids/", "/recipes/drafts/", "/people/", "/reminders/", "/jars/"]),
        (Role.KEEPER, ["/batches/lids/", "/jars/"], ["/recipes/drafts/", "/people/", "/reminders/"]),
        (Role.INSTRUCTOR, ["/recipes/drafts/", "/batches/recalls/"], ["/people/", "/reminders/", "/jars/"]),
        (Role.ORGANISER, ["/people/", "/reminders/"], ["/recipes/drafts/", "/jars/"]),
    ],
)
def test_the_head_leads_to_the_rooms_that_a_role_opens_and_to_no_closed_door(client, role, seen, hidden):
    client.force_login(make_person(role) if role else make_person())
    head = client.get("/").content.decode().partition("<nav")[2].partition("</nav")[0]
    doors = set(re.findall(r'href="(/[^"]*)"', head))
    assert set(seen) <= doors
    assert not doors & set(hidden)
    for path in doors:
        assert client.get(path).status_code == 200, path


@pytest.mark.parametrize(
    ("page", "room"),
    [
        ("/make/", "/pantry/"),
        ("/fruit/", "/sharing/"),
        ("/batches/to-give/", "/sharing/"),
        ("/people/me/", "/people/me/"),
    ],
)
def test_the_head_says_in_which_room_one_is(client, page, room):
    client.force_login(make_person())
    head = client.get(page).content.decode().partition("<main")[0]
    assert set(re.findall(r'href="([^"]+)"\s+aria-current="true"', head)) == {room}


def test_a_new_club_s_list_ticks_itself_and_goes_when_all_is_done(client):
    organiser = make_person(Role.ORGANISER)
    steps = desk_for(organiser, now=timezone.now()).set_up
    assert [step.is_done for step in steps] == [False] * 8
    make_hall()
    steps = desk_for(organiser, now=timezone.now()).set_up
    assert [step.is_done for step in steps] == [True, True, *[False] * 6]
    assert desk_for(make_person(), now=timezone.now()).set_up == []
    make_person(Role.KEEPER), make_thing(), make_jars(store_place(), 12), make_session(by=make_instructor())
    assert desk_for(organiser, now=timezone.now()).set_up == []


def test_a_window_that_closes_in_an_hour_does_not_look_like_pears_of_wednesday(client):
    person, now = make_person(), timezone.now()
    make_batch_out(by=person, kitchen=make_kitchen(person), out_at=now - timedelta(hours=23))
    offer = make_offer(by=person, now=now, windows=(hours(today=club_day(now)),))
    desk = desk_for(person, now=now)
    assert [section.key for section, _card in desk.now] == ["seals-due"]
    assert [section.key for section, _card in desk.soon] == ["fruit-offered"]
    client.force_login(person)
    page = client.get("/").content.decode()
    assert page.index("now-card") < page.index(f"/fruit/offers/{offer.pk}/")


def test_a_member_does_not_see_what_others_have_to_do_and_a_keeper_does():
    maker, stranger, keeper = make_person(), make_person(), make_person(Role.KEEPER)
    batch = make_batch_out(by=maker, kitchen=make_kitchen(maker), out_at=ago(14))
    assert desk_for(stranger, now=timezone.now()).is_quiet
    assert lots(keeper, "club-seals") == [batch.lot_code]


def test_a_fellow_of_the_kitchen_is_led_to_the_seals_and_who_only_traces_to_the_batch(client):
    maker, fellow, keeper = make_person(), make_person(), make_person(Role.KEEPER)
    batch = make_batch_out(by=maker, kitchen=make_kitchen(maker, fellow), out_at=ago(14))
    led_to = {fellow: reverse("batches:seals", args=[batch.lot_code]), keeper: batch.get_absolute_url()}
    for person, url in led_to.items():
        client.force_login(person)
        [card] = desk_for(person, now=timezone.now()).section("club-seals").cards
        assert card.url == url
        assert client.get(url).status_code == 200


def test_an_instructor_sees_others_drafts_to_review_and_never_her_own():
    instructor, author = make_person(Role.INSTRUCTOR), make_person(Role.INSTRUCTOR)
    theirs = make_revision(state=RevisionState.IN_REVIEW, author=author)
    make_revision(state=RevisionState.IN_REVIEW, author=instructor)
    [card] = desk_for(instructor, now=timezone.now()).section("to-review").cards
    assert card.url == reverse("recipes:draft", args=[theirs.pk])
    assert titles(make_person(), "to-review") == []


def test_a_kitchen_without_altitude_is_asked_for_it(client):
    person = make_person()
    kitchen = make_kitchen(person, altitude="")
    client.force_login(person)
    page = client.get("/").content.decode()
    assert f"/people/kitchens/{kitchen.pk}/" in page
    assert "no process time" in page


@pytest.mark.parametrize("count", [1, 30])
def test_the_desk_takes_the_same_few_queries_however_much_is_due(client, count, django_assert_max_num_queries):
    person = make_person(Role.INSTRUCTOR)
    fill(person, count)
    client.force_login(person)
    with django_assert_max_num_queries(HOME_QUERIES):
        answer = client.get("/")
    assert answer.status_code == 200
    assert len(answer.context["desk"].section("seals-due").cards) == min(count, 12)
    for way_on in ("?show=due", "?show=open", "?show=cooling"):
        assert (f"/batches/{way_on}" in answer.content.decode()) == (
            count > 12
        )  # a full section says where the rest is


def test_nobody_is_sent_to_sign_in_and_htmx_leaves_its_page(client):
    assert client.get("/").headers["Location"].startswith("/accounts/login/")
    fragment = client.get("/", headers={"HX-Request": "true"})
    assert (fragment.status_code, fragment.headers["HX-Redirect"]) == (204, "/accounts/login/")


def test_the_body_hands_its_token_to_htmx_by_a_data_attribute(client):
    client.force_login(make_person())
    page = client.get("/").content.decode()
    assert '<body data-hx-headers=\'{"X-CSRFToken": "' in page
    assert " hx-headers" not in page


def test_what_one_has_of_the_club_s_is_on_the_desk_and_overdue_is_marked(client):
    loan = make_loan(make_thing(name="Food mill", now=ago(200)), now=ago(100), days=2)
    assert titles(loan.person, "to-bring-back") == ["Food mill"]
    client.force_login(loan.person)
    assert "overdue, was due" in client.get("/").content.decode()
    assert desk_for(make_person(), now=timezone.now()).is_quiet


def test_a_keeper_sees_how_many_things_are_not_back_and_a_member_does_not():
    make_loan(make_thing(now=ago(200)), now=ago(100), days=2)
    assert titles(make_keeper(), "club-overdue") == ["1 thing is not back yet"]
    assert titles(make_person(Role.ORGANISER), "club-overdue") == []


def test_an_offer_is_on_the_desk_of_whoever_it_is_for():
    thing, person = make_thing(now=ago(1)), make_person()
    today = club_day(timezone.now())
    waiting_join(by=person, kind=thing.kind, days=1, not_before=today, not_after=today)
    assert titles(person, "offered") == [thing.name]


def test_a_recall_that_waits_for_an_answer_stands_above_everything_until_it_is_given(client):
    batch = make_batch_checked()
    recall = make_recall(batch=batch)
    client.force_login(make_person())
    assert "Do not eat" not in client.get("/").content.decode()
    client.force_login(batch.made_by)
    assert "Do not eat" in client.get("/").content.decode()
    told = {"by": batch.made_by, "recall": recall, "batch": batch, "outcome": "set-apart", "jars": 4}
    recall_answer(**told, token=uuid4())
    assert "Do not eat" not in client.get("/").content.decode()


def test_a_seat_taken_and_a_seat_offered_are_on_the_desk_and_those_far_ahead_are_not():
    person, now = make_person(), timezone.now()
    soon, later = ({"now": now, "day": (now + timedelta(days=days)).date()} for days in (5, 40))
    make_signup(make_session(title="Plums", **soon), person, now=now)
    make_signup(make_session(title="Quinces", **soon), person, state="offered", now=now)
    make_signup(make_session(title="Oranges", **later), person, now=now)
    make_signup(make_session(title="Pears", **soon), person, state="waiting", now=now)
    assert titles(person, "classes-mine") == ["Plums"]
    assert titles(person, "seats-offered") == ["Quinces"]
    assert "take it or leave it" in tags(person, "seats-offered")[0]


def test_a_seat_offered_is_on_the_desk_however_far_ahead_and_however_many_seats_are_taken():
    person, now = make_person(), timezone.now()
    for _ in range(SHOWN):
        make_signup(make_session(now=now, day=(now + timedelta(days=5)).date()), person, now=now)
    far = make_session(title="Oranges", now=now, day=(now + timedelta(days=40)).date())
    make_signup(far, person, state="offered", now=now)
    assert titles(person, "seats-offered") == ["Oranges"]


def test_who_runs_a_class_is_led_to_what_it_wants_next():
    instructor, now = make_instructor(), timezone.now()
    session = make_session(by=instructor, now=now, day=(now + timedelta(days=5)).date())
    draft = make_session(by=instructor, now=now, day=(now + timedelta(days=6)).date(), state="draft")
    urls = [card.url for card in desk_for(instructor, now=now).section("classes-taught").cards]
    assert urls == [reverse("classes:session", args=[session.pk]), reverse("classes:plan", args=[draft.pk])]
    afterwards = desk_for(instructor, now=session.ends_at + timedelta(hours=1)).section("classes-taught").cards
    assert afterwards[0].url == reverse("classes:after", args=[session.pk])
    assert titles(make_instructor(), "classes-taught") == []


def test_fruit_to_fetch_is_on_the_desk_of_whoever_gets_it_and_an_open_offer_on_its_givers():
    offer = make_offer()
    claim = make_claim(offer)
    assert titles(offer.giver, "fruit-offered") == [str(offer.title).capitalize()]
    share_out(offer)
    assert titles(claim.person, "fruit-to-fetch") == [str(offer.title).capitalize()]
    assert titles(offer.giver, "fruit-to-fetch") == []


def test_the_pantry_and_what_is_shared_lead_to_their_rooms(client):
    client.force_login(make_person())
    pantry, sharing = (client.get(address).content.decode() for address in ("/pantry/", "/sharing/"))
    for page, names in ((pantry, ("fruit:freezer", "desk:make")), (sharing, ("batches:jar-offers", "jars:orders"))):
        for name in names:
            assert f'href="{reverse(name)}"' in page


@pytest.mark.parametrize("count", [1, 8])
def test_the_pantry_and_what_is_shared_ask_the_same_for_many_rows(client, count, django_assert_max_num_queries):
    person = make_person()
    for _ in range(count):
        kitchen = make_kitchen(person)
        make_freezer_item(by=person, kitchen=kitchen)
        make_batch_checked(by=person, kitchen=kitchen, out_at=ago(30))
        make_offer(now=ago(0), windows=(hours(today=club_day()),))
    client.force_login(person)
    with django_assert_max_num_queries(PANTRY_QUERIES):
        assert len(client.get("/pantry/").context["shelves"]) == count
    with django_assert_max_num_queries(SHARING_QUERIES):
        assert len(client.get("/sharing/").context["offers"]) == min(count, 6)


def test_one_press_in_the_pantry_opens_a_jar_and_stays_there(client):
    person = make_person()
    make_batch_checked(by=person, kitchen=make_kitchen(person), out_at=ago(30))
    client.force_login(person)
    [shelf] = client.get("/pantry/").context["shelves"]
    [(row, token)] = shelf.rows
    sent = {"token": token, "recipe": row.recipe, "size": row.size, "count": 1, "what": "emptied", "back": "pantry"}
    answer = client.post(f"/season/{shelf.kitchen.pk}/used/", sent, follow=True)
    assert answer.redirect_chain == [("/pantry/", 302)]
    assert answer.context["shelves"][0].jars == shelf.jars - 1
