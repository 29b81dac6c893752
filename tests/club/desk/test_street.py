"""The door to the street: shut unless the club opens it, nothing of members on it, and no process time by itself."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.core.clock import club_day
from club.core.errors import AlreadyDone
from club.members import services
from club.members.models import Invitation, JoinRequest, JoinState
from club.reminders import outbox
from club.reminders.models import Reminder
from tests.factories.classes import make_session
from tests.factories.members import make_organiser, make_person
from tests.factories.recipes import make_revision

pytestmark = pytest.mark.django_db

PAGES = ("desk:street", "desk:street-recipes", "desk:sitemap", "members:join")


@pytest.fixture
def organiser():
    return make_organiser(name="Orla Organiser")


@pytest.fixture
def door(organiser):
    cache.clear()
    told = {"about": "We put up plums.", "hours": "Tuesdays at six.", "joining": "Come by first."}
    return services.street_change(by=organiser, is_open=True, **told)


@pytest.fixture
def recipe():
    return make_revision().recipe


@pytest.fixture
def session():
    return make_session(day=club_day(timezone.now()) + timedelta(days=9))


def linked(page) -> dict:
    return json.loads(re.search(r'<script type="application/ld\+json">(.*?)</script>', page.text, re.DOTALL)[1])


def test_a_door_that_nobody_opened_is_shut(client, recipe, session):
    for name in PAGES:
        assert client.get(reverse(name)).status_code == 404
    assert client.get(reverse("desk:street-recipe", args=[recipe.slug])).status_code == 404
    assert client.get(reverse("desk:street-class", args=[session.pk])).status_code == 404
    assert client.get("/robots.txt").text.splitlines() == ["User-agent: *", "Disallow: /"]
    with pytest.raises(PermissionDenied):
        services.join_ask(name="Ada", email="ada@example.test", words="")
    with pytest.raises(PermissionDenied):
        services.street_change(by=make_person(), is_open=True, about="", hours="", joining="")


def test_an_open_door_shows_the_club_and_what_comes_and_nothing_of_its_members(
    client, door, recipe, session, organiser, django_assert_max_num_queries
):
    teacher = session.instructors.get()
    with django_assert_max_num_queries(4):
        page = client.get(reverse("desk:street"))
    assert all(words in page.text for words in ("We put up plums.", "Tuesdays at six.", session.title, "free seat"))
    addresses = re.findall("<loc>(.*?)</loc>", client.get("/sitemap.xml").text)
    assert len(addresses) >= 4
    for address in addresses:
        shown = client.get(address.partition("//")[2].partition("/")[1] + address.partition("//")[2].partition("/")[2])
        assert shown.status_code == 200
        for person in (teacher, organiser):
            assert person.name not in shown.text
            assert person.email not in shown.text
    assert linked(client.get(reverse("desk:street-class", args=[session.pk])))["name"] == session.title
    assert "Disallow: /" in client.get("/robots.txt").text


def test_a_recipe_for_the_street_has_its_whole_table_and_no_time_by_itself(client, door, recipe):
    page = client.get(reverse("desk:street-recipe", args=[recipe.slug]))
    tables = page.context["tables"]
    assert tables
    assert not [line for table in tables for line in table.lines if line.is_here]
    assert "how high your own kitchen lies" in page.text
    said = linked(page)
    assert (said["@type"], said["name"]) == ("Recipe", recipe.title)
    assert not {"cookTime", "totalTime", "prepTime", "performTime"} & set(said)
    assert len(said["recipeIngredient"]) == len(page.context["lines"])
    minutes = {figure for table in tables for line in table.lines for figure in line.figures}
    assert not [text for text in minutes if text in json.dumps(said)]


def test_a_recipe_held_back_and_a_class_that_is_over_are_not_shown(client, door, recipe, session):
    session.state = "cancelled"
    session.cancelled_at, session.cancel_reason = timezone.now(), "flood"
    session.save()
    type(recipe.current).objects.filter(pk=recipe.current_id).update(refused_why="an acid nobody read")
    assert client.get(reverse("desk:street-class", args=[session.pk])).status_code == 404
    assert client.get(reverse("desk:street-recipe", args=[recipe.slug])).status_code == 404


def test_who_asks_reads_the_same_words_whether_or_not_their_address_is_known(client, door, organiser):
    member = make_person()
    answers = []
    for email in ("ada@example.test", member.email, "ADA@example.test"):
        answer = client.post(reverse("members:join"), {"name": "Ada", "email": email, "words": "Plums!"}, follow=True)
        answers.append((answer.status_code, re.sub(r"(?i)csrf.*?>", "", answer.text)))
    assert answers[0] == answers[1] == answers[2]
    assert list(JoinRequest.objects.values_list("email", "state")) == [("ada@example.test", JoinState.ASKED)]
    outbox.gather(timezone.now())
    assert [one.person for one in Reminder.objects.filter(rule="join-asked")] == [organiser]


def test_so_many_may_ask_from_one_network_in_an_hour(client, door):
    statuses = [
        client.post(reverse("members:join"), {"name": "Ada", "email": f"a{n}@example.test"}).status_code
        for n in range(6)
    ]
    assert statuses == [302] * 5 + [429]
    assert JoinRequest.objects.count() == 5


def test_an_organiser_invites_who_asked_or_declines_and_only_once(door, organiser, sign_in):
    for name in ("Ada", "Bo"):
        services.join_ask(name=name, email=f"{name}@example.test", words="")
    ada, bo = JoinRequest.objects.order_by("name")
    client = sign_in(organiser)
    assert "Ada" in client.get(reverse("members:joins")).text
    client.post(reverse("members:join-answer", args=[ada.pk]), {"answer": "invite"})
    client.post(reverse("members:join-answer", args=[bo.pk]), {"answer": "decline"})
    assert [one.email for one in Invitation.objects.all()] == ["ada@example.test"]
    assert set(JoinRequest.objects.values_list("state", flat=True)) == {JoinState.INVITED, JoinState.DECLINED}
    with pytest.raises(AlreadyDone):
        services.join_answer(by=organiser, request=ada, invite=False)
    assert services.joins_forget(now=timezone.now() + services.JOIN_KEPT + timedelta(hours=1)) == 2


def test_the_door_is_opened_and_shut_on_its_page(organiser, sign_in):
    client = sign_in(organiser)
    client.post(reverse("members:street"), {"is_open": "on", "about": "Plums", "hours": "", "joining": ""})
    assert Client().get(reverse("desk:street")).status_code == 200
    client.post(reverse("members:street"), {"about": "Plums", "hours": "", "joining": ""})
    assert Client().get(reverse("desk:street")).status_code == 404
