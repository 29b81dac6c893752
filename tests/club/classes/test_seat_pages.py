"""The pages of seats by everybody who might ask; what people write to the instructors is seen by nobody else."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.apps import apps
from django.contrib import admin
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.classes.models import ClassSession, SignUp, needs_of
from club.classes.services import seats
from club.classes.services.seats import seat_path, seat_token, signup_for_token
from club.members.choices import Role
from club.members.models import User
from tests.factories.classes import make_instructor, make_session, make_signup
from tests.factories.members import make_person
from tests.helpers import addresses_of, levels_of, signed_in, text_of

pytestmark = pytest.mark.django_db

MOST_QUERIES = 14
SECRET = "Hazelnuts close my throat"
FORM = {"places": "1", "companion": "", "needs": ""}


url = addresses_of("classes")


def next_week(**fields) -> ClassSession:
    now = timezone.now()
    return make_session(**{"now": now, "day": (now + timedelta(days=9)).date(), "seats": 3, **fields})


@pytest.fixture
def teacher():
    return make_instructor(name="Ilse Instructor")


@pytest.fixture
def session(teacher):
    return next_week(by=teacher, what_to_bring="An apron", price_note="12 for the fruit", about="Spread from plums.")


@pytest.fixture
def signup(session):
    """A party of two with a need."""
    return seats.signup_place(
        by=make_person(name="Petra Plum"), session=session, places=2, companion="Bo Quince", needs=SECRET
    )


# Signing up


def test_from_the_list_to_a_seat_and_to_my_classes(session):
    person = make_person()
    client = signed_in(person)
    assert "3 of 3 seats left" in text_of(client.get(url("list")))
    page = text_of(client.get(url("session", session.pk)))
    for words in ("An apron", "12 for the fruit", "Spread from plums.", "Ilse Instructor", "How seats are given"):
        assert words in page
    form = {**FORM, "token": uuid4(), "places": "2", "companion": "Bo"}
    answer = client.post(url("sign-up", session.pk), form, follow=True)
    assert "You have a seat" in text_of(answer)
    assert "for you and Bo" in text_of(answer)
    client.post(url("sign-up", session.pk), form)  # pressed twice
    assert SignUp.objects.get().places == 2
    assert "Plum spread in a morning" in text_of(client.get(url("mine")))
    assert "1 of 3 seats left" in text_of(client.get(url("list")))
    assert "you have a seat" in text_of(client.get(url("list")))


def test_a_refused_form_keeps_what_was_typed(session):
    client = signed_in(make_person())
    answer = client.post(url("sign-up", session.pk), {**FORM, "token": uuid4(), "places": "2", "needs": "A low table"})
    assert list(answer.context["form"].errors) == ["companion"]
    assert "A low table" in answer.content.decode()
    assert "Not done yet" in text_of(answer)  # at the top: the form is below what the class is about
    assert not SignUp.objects.exists()
    answer = client.post(url("sign-up", session.pk), {**FORM, "token": uuid4(), "places": "5"})
    assert answer.status_code == 200
    assert not SignUp.objects.exists()


def test_who_waits_reads_how_many_are_ahead_and_a_pair_reads_its_rule(session):
    for _ in range(3):
        seats.signup_place(by=make_person(), session=session)
    client, first = signed_in(make_person()), make_person()
    shown = client.get(url("session", session.pk)).context
    assert (shown["session"].seats_left, shown["session"].waiting, shown["closed"]) == (0, 0, "")
    seats.signup_place(by=first, session=session)
    assert signed_in(first).get(url("session", session.pk)).context["signup"].ahead == 0
    assert [one.waiting for one in client.get(url("list")).context["page"]] == [1]
    form = {**FORM, "token": uuid4(), "places": "2", "companion": "Bo"}
    page = client.post(url("sign-up", session.pk), form, follow=True)
    assert levels_of(page) == ["success"]
    signup = page.context["signup"]
    assert (signup.state, signup.places, signup.ahead) == ("waiting", 2, 1)
    assert "You two stay together" in text_of(page)


def test_in_the_last_two_hours_who_waits_is_sent_to_the_door_and_promised_no_mail(session):
    person = make_person()
    make_signup(session, person, state="waiting")
    ClassSession.objects.filter(pk=session.pk).update(starts_at=timezone.now() + timedelta(minutes=90))
    for page in (url("session", session.pk), url("mine")):
        shown = signed_in(person).get(page)
        [signup] = shown.context["signups"] if "signups" in shown.context else [shown.context["signup"]]
        assert signup.offers_are_over  # no mail is promised any more
        assert "come to the door" in text_of(shown)


def test_an_offer_is_taken_or_left_on_the_site(session):
    first = seats.signup_place(by=make_person(), session=session, places=2, companion="Bo")
    seats.signup_place(by=make_person(), session=session)
    takes, leaves = (seats.signup_place(by=make_person(), session=session) for _ in range(2))
    seats.signup_cancel(by=first.person, signup=first)
    page = signed_in(takes.person).get(url("session", session.pk))
    assert page.context["signup"].state == "offered"
    answer = signed_in(takes.person).post(url("answer", takes.pk), {"answer": "take"}, follow=True)
    assert levels_of(answer) == ["success"]
    answer = signed_in(leaves.person).post(url("answer", leaves.pk), {"answer": "leave"}, follow=True)
    assert levels_of(answer) == ["success"]
    assert [SignUp.objects.get(pk=one.pk).state for one in (takes, leaves)] == ["seated", "cancelled"]
    again = signed_in(leaves.person).post(url("answer", leaves.pk), {"answer": "take"}, follow=True)
    assert levels_of(again) == ["info"]  # somebody was first


def test_the_companion_stays_at_home_and_an_unknown_answer_changes_nothing(session, signup):
    client = signed_in(signup.person)
    client.post(url("answer", signup.pk), {"answer": "what?"})
    assert SignUp.objects.get().places == 2
    assert levels_of(client.post(url("answer", signup.pk), {"answer": "alone"}, follow=True)) == ["success"]
    assert SignUp.objects.get().places == 1


def test_who_teaches_a_session_takes_none_of_its_seats(session, teacher):
    client = signed_in(teacher)
    sent = client.post(url("sign-up", session.pk), {**FORM, "token": uuid4()})
    for page in (client.get(url("session", session.pk)), sent):
        assert page.context["closed"] == seats.TEACHES
        assert str(seats.TEACHES) in text_of(page)
        assert 'name="places"' not in page.text
    assert not SignUp.objects.exists()


def test_a_closed_sign_up_says_why(session):
    client = signed_in(make_person())
    ClassSession.objects.filter(pk=session.pk).update(signup_closes_at=timezone.now())
    page = client.get(url("session", session.pk))
    assert page.context["closed"]
    assert page.context["closed"] in text_of(page)
    assert 'name="places"' not in page.text
    assert [one.is_open for one in client.get(url("list")).context["page"]] == [False]
    refused = client.post(url("sign-up", session.pk), {**FORM, "token": uuid4()})
    assert refused.context["closed"] == page.context["closed"]
    assert not SignUp.objects.exists()


def test_a_cancelled_session_says_so_to_who_had_a_seat(session, signup):
    now = timezone.now()
    ClassSession.objects.filter(pk=session.pk).update(state="cancelled", cancelled_at=now, cancel_reason="No gas")
    client = signed_in(signup.person)
    for page in (url("session", session.pk), url("mine"), seat_path(signup.pk)):
        assert "No gas" in text_of(client.get(page))
    assert "Plum spread" not in text_of(client.get(url("list")))


# Who may


def test_members_see_what_is_published_and_only_planners_what_is_being_planned(teacher):
    draft = next_week(by=teacher, state="draft", title="Not yet told")
    assert signed_in(teacher).get(url("session", draft.pk)).status_code == 200
    assert signed_in(make_person()).get(url("session", draft.pk)).status_code == 404
    assert signed_in(make_person()).post(url("sign-up", draft.pk), {**FORM, "token": uuid4()}).status_code == 404
    assert "Not yet told" not in text_of(signed_in(make_person()).get(url("list")))


@pytest.mark.parametrize("role", [Role.MEMBER, Role.KEEPER, Role.ORGANISER, Role.INSTRUCTOR])
def test_somebody_else_s_sign_up_is_not_there_for_who_does_not_run_the_session(role, signup):
    stranger = signed_in(make_person(role))
    assert stranger.post(url("answer", signup.pk), {"answer": "leave"}).status_code == 404
    assert stranger.get(url("notes", signup.pk)).status_code == 404
    assert stranger.post(url("notes", signup.pk), {"companion": "X", "needs": ""}).status_code == 404
    assert SignUp.objects.get().state == "seated"


def test_notes_sent_when_the_seat_was_given_up_meanwhile_are_not_kept_and_say_so(signup, monkeypatch):
    note = seats.signup_note

    def given_up_first(**told):
        seats.signup_cancel(by=signup.person, signup=signup)
        return note(**told)

    monkeypatch.setattr(seats, "signup_note", given_up_first)
    sent = {"companion": "Bo", "needs": SECRET}
    answer = signed_in(signup.person).post(url("notes", signup.pk), sent, follow=True)
    assert answer.status_code == 200
    assert levels_of(answer) == ["info"]
    assert SignUp.objects.get(pk=signup.pk).needs == ""


def test_who_runs_the_session_takes_somebody_off_but_answers_no_offer_for_them(session, signup, teacher):
    client = signed_in(teacher)
    assert client.get(url("notes", signup.pk)).status_code == 404
    assert client.post(url("answer", signup.pk), {"answer": "take"}).status_code == 403
    answer = client.post(url("answer", signup.pk), {"answer": "leave"}, follow=True)
    assert levels_of(answer) == ["success"]
    assert "Petra Plum" in text_of(answer)
    assert SignUp.objects.get().state == "cancelled"


@pytest.mark.parametrize(
    ("page", "method"), [("sign-up", "get"), ("answer", "get"), ("list", "post"), ("mine", "post")]
)
def test_a_wrong_method_is_refused(page, method, session, signup):
    args = {"sign-up": [session.pk], "answer": [signup.pk]}.get(page, [])
    assert getattr(signed_in(signup.person), method)(url(page, *args)).status_code == 405


def test_what_is_missing_is_not_found():
    client = signed_in(make_person())
    assert client.get(url("session", 999)).status_code == 404
    assert client.post(url("answer", 999)).status_code == 404


def test_planners_find_their_own_plans_on_the_list(teacher):
    next_week(by=teacher, state="draft", title="Not yet told")
    assert "Being planned" in text_of(signed_in(teacher).get(url("list")))
    assert "Not yet told" in text_of(signed_in(teacher).get(url("list")))
    assert "Not yet told" not in text_of(signed_in(make_instructor()).get(url("list")))


# What is written for the instructors


def test_needs_are_seen_by_the_session_s_instructors_and_by_who_wrote_them(session, signup, teacher):
    other = make_instructor()
    session.instructors.add(other)
    seats.signup_note(by=signup.person, signup=signup, needs=SECRET, companion="Bo Quince")
    for one in (teacher, other):
        page = signed_in(one).get(url("session", session.pk))
        assert SECRET in text_of(page)
        assert [(one.person, one.companion) for one in page.context["comes"]] == [(signup.person, "Bo")]
        assert "Bo" in text_of(page).split()
        assert "Quince" not in text_of(page)
    assert SECRET in signed_in(signup.person).get(url("notes", signup.pk)).text


def watchers(session) -> dict[str, User]:
    """Everybody who might look and must not read it."""
    planner = make_person(Role.ORGANISER)
    ClassSession.objects.filter(pk=session.pk).update(created_by=planner)  # runs it, but does not teach it
    boss = make_person()
    boss.is_superuser = boss.is_staff = True
    boss.save()
    roles = {role.value: make_person(role) for role in Role}
    return {"planner": planner, "superuser": boss, **roles}


def test_needs_are_on_no_other_page_for_nobody_else(session, signup):
    pages = [url("list"), url("mine"), url("session", session.pk), seat_path(signup.pk), reverse("desk:home")]
    for name, person in {**watchers(session), "the person's own lists": signup.person}.items():
        client = signed_in(person)
        for page in pages:
            assert SECRET not in client.get(page).text, (name, page)
    assert "and Bo" in text_of(signed_in(watchers(session)["planner"]).get(pages[2]))  # a planner sees who comes


def test_the_gate_is_teaching_the_session_and_nothing_else(session, signup, teacher):
    assert needs_of(session, seen_by=teacher) == {signup.pk: SECRET}
    assert needs_of(next_week(by=teacher), seen_by=teacher) == {}
    for name, person in watchers(session).items():
        assert needs_of(session, seen_by=person) == {}, name
    teacher.is_active = False
    assert needs_of(session, seen_by=teacher) == {}


def test_sign_ups_are_not_in_the_admin_at_all(session, signup):
    assert apps.get_model("classes.SignUp") not in admin.site._registry
    boss = watchers(session)["superuser"]
    for registered in admin.site._registry:
        at = reverse(f"admin:{registered._meta.app_label}_{registered._meta.model_name}_changelist")
        assert SECRET not in signed_in(boss).get(at).text


def test_what_carries_rows_about_does_not_carry_needs(signup):
    """Rows for pages and mails are read without that column."""
    for row in (signup_for_token(seat_token(signup.pk)), SignUp.objects.visible_to(signup.person).get()):
        assert row.get_deferred_fields() == {"needs"}
    assert SECRET not in f"{signup} {signup!r}"


# The link in the mail


def test_the_link_shows_the_session_and_the_party_and_gives_the_seat_up_with_one_press(session, signup):
    nobody, link = Client(), seat_path(signup.pk)
    next_one = seats.signup_place(by=make_person(), session=session, places=2, companion="Wren")
    for ask in (nobody.get, nobody.head):
        assert ask(link).status_code == 200
    page = nobody.get(link)
    assert "Petra Plum and Bo" in text_of(page)
    assert "An apron" in text_of(page)
    assert page.text.count("<button") == 1
    assert SignUp.objects.get(pk=signup.pk).state == "seated"  # looking changed nothing
    done = nobody.post(link, {"answer": "leave"}, follow=True)
    assert done.context["signup"].state == "cancelled"
    assert done.text.count("<button") == 0
    assert [SignUp.objects.get(pk=one.pk).state for one in (signup, next_one)] == ["cancelled", "offered"]
    assert nobody.get(reverse("desk:home")).status_code == 302  # it signed nobody in
    assert "sessionid" not in nobody.cookies
    assert nobody.post(link, {"answer": "leave"}).status_code == 302  # twice is the same as once


def test_an_offer_is_taken_from_the_mail(session, signup):
    waits = seats.signup_place(by=make_person(), session=session, places=2, companion="Wren")
    refused = Client().post(seat_path(waits.pk), {"answer": "take"})
    assert refused.status_code == 409
    seats.signup_cancel(by=signup.person, signup=signup)
    page = Client().get(seat_path(waits.pk))
    assert page.context["signup"].state == "offered"
    assert page.text.count("<button") == 2
    Client().post(seat_path(waits.pk), {"answer": "take"})
    assert SignUp.objects.get(pk=waits.pk).state == "seated"


def test_after_it_began_the_link_refuses_with_words(session, signup):
    ClassSession.objects.filter(pk=session.pk).update(starts_at=timezone.now())
    page = Client().get(seat_path(signup.pk))
    assert page.context["has_begun"]
    assert "<button" not in page.text
    refused = Client().post(seat_path(signup.pk), {"answer": "leave"})
    assert refused.status_code == 409
    assert refused.context["refused"] in text_of(refused)
    assert SignUp.objects.get().state == "seated"


def test_a_link_that_we_never_made_was_never_there(signup):
    good = seat_token(signup.pk)
    for bad in (good[:-1], good.replace(str(signup.pk), str(signup.pk + 1), 1), "1", "x:y"):
        assert Client().get(url("by-mail", bad)).status_code == 404
        assert Client().post(url("by-mail", bad), {"answer": "leave"}).status_code == 404
    assert Client().post(url("by-mail", good), {"answer": "burn"}).status_code == 409
    assert SignUp.objects.get().state == "seated"


def test_the_link_posts_only_with_the_page_s_own_token(signup):
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(seat_path(signup.pk), {"answer": "leave"}).status_code == 403
    assert SignUp.objects.get().state == "seated"


# Bounds


@pytest.mark.parametrize("rows", [1, 30])
def test_pages_ask_as_often_for_thirty_rows_as_for_one(rows, teacher, django_assert_max_num_queries):
    person = make_person()
    sessions = [next_week(by=teacher, stations=1, seats=12, title=f"Session {n}") for n in range(rows)]
    for session in sessions:
        make_signup(session, person, state="waiting", now=timezone.now())
    for n in range(rows):
        make_signup(sessions[0], state="waiting" if n % 2 else "cancelled", needs="x", now=timezone.now())
    client, teaching = signed_in(person), signed_in(teacher)
    for page in (url("list"), url("mine"), url("session", sessions[0].pk)):
        with django_assert_max_num_queries(MOST_QUERIES):
            assert client.get(page).status_code == 200
    with django_assert_max_num_queries(MOST_QUERIES + 4):
        assert teaching.get(url("session", sessions[0].pk)).status_code == 200
