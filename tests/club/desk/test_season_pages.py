"""The season's pages, by everybody who might ask; and 30 targets cost no more queries than one."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from club.members.choices import Role
from club.season import services, tasks, views
from club.season.models import ClubSummary, HouseholdSeason, YearlyTarget
from club.season.services import household_set
from inventory.jars.models import Movement
from tests.factories.jars import make_keeper
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision
from tests.factories.season import make_shelf, make_target, use
from tests.helpers import signed_in, text_of

pytestmark = pytest.mark.django_db

SEASON_QUERIES = 26
CLUB_QUERIES = 26


def at(name, *args):
    return reverse(f"desk:{name}", args=args)


@pytest.fixture
def ada():
    return make_person(name="Ada")


@pytest.fixture
def home(ada):
    return make_kitchen(ada, name="Plum Lane")


@pytest.fixture
def spread():
    return make_revision(title="Plum spread")


@pytest.fixture
def target(ada, home, spread):
    return make_target(ada, home, spread, jars=12)


# Who sees what


@pytest.mark.parametrize("page", ["season", "season-target"])
def test_a_season_is_its_household_s_and_nobody_else_s(page, ada, home, target):
    path = at(page, home.pk)
    fellow = make_person()
    home.people.add(fellow)
    for person in (ada, fellow):
        assert signed_in(person).get(path).status_code == 200
    for other in (make_person(), make_keeper(), make_person(Role.ORGANISER)):
        assert signed_in(other).get(path).status_code == 404
    assert signed_in(ada).get(at(page, 999_999)).status_code == 404
    assert Client().get(path).url.startswith(reverse("account_login"))


@pytest.mark.parametrize("page", ["season-settings", "season-used"])
def test_nobody_writes_in_another_s_season_and_nothing_is_read_there(page, ada, home):
    assert signed_in(make_person()).post(at(page, home.pk)).status_code == 404
    assert signed_in(ada).get(at(page, home.pk)).status_code == 405


@pytest.mark.parametrize("page", ["season-drop", "season-learn"])
def test_nobody_touches_another_s_wish(page, ada, target):
    assert signed_in(make_keeper()).post(at(page, target.pk)).status_code == 404
    assert signed_in(ada).get(at(page, target.pk)).status_code == 405
    assert signed_in(ada).post(at(page, target.pk)).status_code == 302


def test_the_club_s_sums_are_for_who_runs_its_orders(ada, home):
    for runner in (make_keeper(), make_organiser()):
        assert signed_in(runner).get(at("season-club")).status_code == 200
    for role in (Role.MEMBER, Role.INSTRUCTOR):
        assert signed_in(make_person(role)).get(at("season-club")).status_code == 403
    assert signed_in(make_keeper()).post(at("season-club")).status_code == 405


def test_to_one_s_season_it_is_straight_with_one_kitchen_and_a_choice_with_two(ada, home):
    assert signed_in(ada).get(at("season-mine")).url == at("season", home.pk)
    make_kitchen(ada, name="Summer hut")
    page = text_of(signed_in(ada).get(at("season-mine")))
    assert "Plum Lane" in page
    assert "Summer hut" in page
    assert "no kitchen of your own" in text_of(signed_in(make_person()).get(at("season-mine")))


# What it says


def test_a_season_says_pots_evenings_and_what_is_short(ada, home, spread, target):
    make_shelf(ada, home, spread, 2)
    page = text_of(signed_in(ada).get(at("season", home.pk)))
    assert "10 jars" in page
    assert "2 pots, which fill 10 jars." in page
    assert "1 evening" in page
    assert "half-pint (237 ml) 10 0 10" in page
    assert "new lids 10 0 10" in page
    assert "sugar 1.2 kg 1 × 2 kg bag" in page
    assert "Now 2 full jars." in page


def test_a_kitchen_without_altitude_is_told_what_to_do(ada, spread):
    flat = make_kitchen(ada, name="New flat", altitude="")
    make_target(ada, flat, spread)
    page = text_of(signed_in(ada).get(at("season", flat.pk)))
    assert "has no altitude yet" in page
    assert "no pots are planned" in page


def test_an_empty_season_says_what_to_do_first(ada, home):
    assert "Say what you go through in a year" in text_of(signed_in(ada).get(at("season", home.pk)))


def test_a_title_is_escaped(ada, home):
    make_shelf(ada, home, make_revision(title="<script>x</script>"), 2)
    assert "<script>x" not in signed_in(ada).get(at("season", home.pk)).content.decode()


# Writing


def test_a_wish_is_noted_for_a_recipe_or_a_kind_and_refused_for_both(ada, home, spread):
    client, path = signed_in(ada), at("season-target", home.pk)
    told = {"jar_size": "half-pint", "jars": "12", "canner": ""}
    both = client.post(path, told | {"recipe": spread.recipe_id, "of_kind": "jam|plums"})
    assert "and not both" in text_of(both)
    assert 'value="12"' in both.content.decode()
    client.post(path, told | {"recipe": spread.recipe_id, "of_kind": ""})
    client.post(path, told | {"recipe": "", "of_kind": "jam|plums"})
    assert [(one.recipe, one.kind, one.produce) for one in YearlyTarget.objects.all()] == [
        (spread.recipe, "", ""),
        (None, "jam", "plums"),
    ]


def test_a_link_fills_the_wish_in(ada, home, spread):
    asked = {"recipe": spread.recipe_id, "jar_size": "pint", "jars": 7}
    page = signed_in(ada).get(at("season-target", home.pk), asked).content.decode()
    assert re.search(rf'<option value="{spread.recipe_id}"\s+selected', page)
    assert 'value="7"' in page


def test_one_press_makes_the_wish_what_the_year_took(ada, home, spread, target):
    make_shelf(ada, home, spread, 6)
    use(ada, home, spread, 5)
    assert "Make it 5 a year" in text_of(signed_in(ada).get(at("season", home.pk)))
    signed_in(ada).post(at("season-learn", target.pk))
    target.refresh_from_db()
    assert target.jars == 5
    signed_in(ada).post(at("season-drop", target.pk))
    assert not YearlyTarget.objects.exists()


def test_jars_are_opened_in_one_press_and_twice_is_once(ada, home, spread):
    make_shelf(ada, home, spread, 4)
    typed = {"token": uuid4(), "recipe": spread.recipe_id, "size": "half-pint", "count": 2, "what": "emptied"}
    for _press in range(2):
        signed_in(ada).post(at("season-used", home.pk), typed)
    assert Movement.objects.get(reason="emptied").count == 2
    answer = signed_in(ada).post(at("season-used", home.pk), typed | {"token": uuid4(), "count": 9}, follow=True)
    assert "There are 2 good ones of these on your shelf, not 9." in text_of(answer)
    answer = signed_in(ada).post(at("season-used", home.pk), typed | {"what": "sold"}, follow=True)
    assert "Select a valid choice" in text_of(answer)
    assert Movement.objects.filter(reason="emptied").count() == 1


def test_settings_are_kept_and_what_cannot_be_is_told(ada, home, target):
    client, path = signed_in(ada), at("season-settings", home.pk)
    client.post(path, {"hours": "2.5", "lids_at_home": "30", "is_counted": "on"})
    told = HouseholdSeason.objects.get()
    assert (told.evening_minutes, told.lids_at_home, told.is_counted) == (150, 30, True)
    refused = client.post(path, {"hours": "40", "lids_at_home": "30"})
    assert refused.status_code == 422
    assert "less than or equal to 15" in text_of(refused)


def test_the_club_s_page_leads_to_an_order_with_its_lines(ada, home, target):
    household_set(by=ada, kitchen=home, evening_minutes=240, lids_at_home=0, is_counted=True)
    client = signed_in(make_keeper())
    page = client.get(at("season-club"))
    assert "1 household chose to be counted." in text_of(page)
    link = unescape(re.search(r'href="(/jars/orders/new/[^"]+)"', page.content.decode())[1])
    opened = client.get(link).content.decode()
    assert "15 lids (2 boxes)" in opened
    assert 'value="Jars, half-pint (237 ml)"' in opened


# Bounds


def test_thirty_wishes_cost_no_more_queries_than_one(ada, home, spread, target, django_assert_max_num_queries):
    client = signed_in(ada)
    make_shelf(ada, home, spread, 2)
    with django_assert_max_num_queries(SEASON_QUERIES):
        client.get(at("season", home.pk))
    for n in range(29):
        revision = make_revision(title=f"Spread {n}")
        make_target(ada, home, revision)
        make_shelf(ada, home, revision, 2)
    with django_assert_max_num_queries(SEASON_QUERIES):
        client.get(at("season", home.pk))


def test_thirty_households_cost_no_more_queries_than_one(spread, django_assert_max_num_queries):
    client = signed_in(make_keeper())

    def household():
        person = make_person()
        kitchen = make_kitchen(person)
        make_target(person, kitchen, spread)
        make_shelf(person, kitchen, spread, 2)
        household_set(by=person, kitchen=kitchen, evening_minutes=240, lids_at_home=0, is_counted=True)

    household()
    with django_assert_max_num_queries(CLUB_QUERIES):
        client.get(at("season-club"))
    for _n in range(29):
        household()
    with django_assert_max_num_queries(CLUB_QUERIES):
        assert "30 households" in text_of(client.get(at("season-club")))
    assert not ClubSummary.objects.exists()


def test_the_sums_of_very_many_households_are_kept_for_an_hour_and_say_when_they_were_made(
    spread, target, ada, home, django_assert_max_num_queries, monkeypatch
):
    household_set(by=ada, kitchen=home, evening_minutes=240, lids_at_home=0, is_counted=True)
    client, now = signed_in(make_keeper()), timezone.now()
    at_once = client.get(at("season-club")).context["club"]
    for room in (views, services):
        monkeypatch.setattr(room, "MOST_AT_ONCE", 0)
    assert "were not made yet" in text_of(client.get(at("season-club")))
    tasks.sum_up_club()
    with django_assert_max_num_queries(CLUB_QUERIES):
        page = client.get(at("season-club"))
    kept = page.context["club"]
    assert kept.made_at is not None
    assert (kept.households, kept.jars, kept.wants) == (at_once.households, at_once.jars, at_once.wants)
    assert [(one.item, one.need) for one in kept.bought] == [(one.item, one.need) for one in at_once.bought]
    assert "once an hour" in text_of(page)
    reckoned = []
    for hours in (0.5, 1.1, 1.2):
        services.club_sum_up(reckon=lambda kitchens: reckoned.append(1) or {}, now=now + timedelta(hours=hours))
    assert len(reckoned) == 1
