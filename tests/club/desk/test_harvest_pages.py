"""Where the club is and when it harvests: who says so, what the books saw, and a household's evenings by it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from club.season.models import ClubRegion, HarvestWeeks, HouseholdSeason
from club.season.presentation import season_of, year_of
from club.season.services import Harvests, harvest_correct, household_set, region_set, weeks_seen
from inventory.batches.models import Batch
from inventory.fruit.models import Offer
from recipes.search import food_words
from tests.factories.batches import make_batch_checked
from tests.factories.fruit import make_offer
from tests.factories.members import make_kitchen, make_organiser, make_person
from tests.factories.recipes import make_revision
from tests.factories.season import make_target
from tests.helpers import signed_in, text_of

pytestmark = pytest.mark.django_db

HARVEST, CORRECT = reverse("desk:harvest"), reverse("desk:harvest-weeks")
HARVEST_QUERIES = 12
JANUARY = date(2027, 1, 11)
JULY = datetime(2026, 7, 15, 12, tzinfo=UTC)  # week 29


@pytest.fixture
def organiser():
    return make_organiser()


@pytest.fixture
def michigan(organiser):
    return region_set(by=organiser, region="michigan")


def correct(by, produce="peaches", first=31, last=34, **more):
    return harvest_correct(by=by, produce=produce, first_week=first, last_week=last, **more)


def test_an_organiser_says_where_the_club_is_and_every_choice_stays_in_the_books(organiser):
    client = signed_in(organiser)
    assert "Nobody said yet" in text_of(client.get(HARVEST))
    for region in ("michigan", "oregon", "oregon"):
        assert client.post(HARVEST, {"region": region}).status_code == 302
    assert list(ClubRegion.objects.order_by("pk").values_list("region", "set_by")) == [
        ("michigan", organiser.pk),
        ("oregon", organiser.pk),
    ]
    assert Harvests().region.name == "Oregon"
    assert client.post(HARVEST, {"region": "atlantis"}).status_code == 422
    member = make_person()
    assert signed_in(member).post(HARVEST, {"region": "texas"}).status_code == 403
    with pytest.raises(PermissionDenied):
        region_set(by=member, region="texas")


def test_corrected_weeks_hold_until_they_are_taken_back_and_no_row_is_lost(organiser, michigan):
    printed = Harvests().of("peaches")
    client = signed_in(organiser)
    told = {"produce": "peaches", "first_week": "31", "last_week": "34", "note": "Ada's orchard"}
    assert client.post(CORRECT, told).status_code == 302
    (weeks,) = Harvests().of("peaches")
    assert (weeks.first, weeks.last) == (31, 34)
    assert "Ada's orchard" in text_of(client.get(HARVEST))
    assert client.get(CORRECT, {"produce": "peaches"}).context["form"].initial["first_week"] == 31
    correct(organiser, first=None, last=None)
    assert Harvests().of("peaches") == printed
    assert HarvestWeeks.objects.count() == 2


def test_half_a_span_and_a_week_that_no_year_has_are_refused_beside_their_field(organiser, michigan):
    page = signed_in(organiser).post(CORRECT, {"produce": "peaches", "first_week": "31", "note": "as typed"})
    assert page.context["form"].errors["last_week"]
    assert "as typed" in page.content.decode()
    with pytest.raises(ValidationError):
        correct(organiser, first=0)
    with pytest.raises(IntegrityError), transaction.atomic():
        HarvestWeeks.objects.create(produce="peaches", first_week=54, last_week=3, set_by=organiser)
    assert not HarvestWeeks.objects.exists()


def test_what_the_club_saw_stands_beside_the_published_weeks_and_changes_nothing(michigan):
    member = make_person()
    kitchen = make_kitchen(member)
    batch = make_batch_checked(by=member, kitchen=kitchen)  # of plums
    Batch.objects.filter(pk=batch.pk).update(started_at=JULY)
    for _n in range(2):
        Offer.objects.filter(pk=make_offer(produce="plums").pk).update(created_at=JULY.replace(month=9))
    Offer.objects.filter(pk=make_offer(produce="plums", state="juice").pk).update(created_at=JULY)
    assert weeks_seen()["plums"] == {29: 1, 38: 2}
    before = Harvests().of("plums")
    rows = {row.produce: row for row in signed_in(member).get(HARVEST).context["rows"]}
    assert rows["plums"].seen_count == 3
    assert rows["plums"].seen_days == "15 Sep to 21 Sep"
    assert rows["plums"].lines
    assert Harvests().of("plums") == before


def test_beans_and_peaches_that_fall_together_are_said_in_january(michigan):
    ada = make_person()
    home = make_kitchen(ada)
    household_set(by=ada, kitchen=home, evening_minutes=240, lids_at_home=30, is_counted=False, evening_days="6")
    beans, peaches = (
        make_revision(slug=food.replace(" ", "-"), title=food.title(), produce=[food])
        for food in ("green beans", "peaches")
    )
    for revision in (beans, peaches):
        make_target(ada, home, revision, jars=90)
    for first in ("peaches", "green beans"):
        correct(make_organiser(), first, 31, 34)
    season = season_of(home, now=datetime(2027, 1, 11, 12, tzinfo=UTC))
    year = year_of(season, Harvests(), JANUARY)
    assert year.clash.names == "Green Beans and Peaches"
    assert (year.clash.there, year.clash.evenings) == (4, sum(row.put_up.evenings for row in season.rows))
    assert year.clash.left == year.clash.evenings - 4 > 0
    assert [week.monday.isocalendar().week for week in year.weeks] == [31, 32, 33, 34]
    assert all("Sat" in row.days for row in year.by_key.values() if row.days)
    assert year.weeks[-1].lids_short > 0
    page = text_of(signed_in(ada).get(reverse("desk:season", args=[home.pk])))
    assert "fall together" in page
    assert "boiling-water canner" in page


def test_a_household_says_on_which_evenings(michigan):
    ada = make_person()
    home = make_kitchen(ada)
    path = reverse("desk:season-settings", args=[home.pk])
    told = {"hours": "3", "lids_at_home": "0"}
    assert signed_in(ada).post(path, told | {"days": ["7", "2"]}).status_code == 302
    assert HouseholdSeason.objects.get(kitchen=home).weekdays == [2, 7]
    assert signed_in(ada).post(path, told).status_code == 302  # none is pressed: as it was
    assert signed_in(ada).post(path, told | {"days": ["8"]}).status_code == 422
    assert HouseholdSeason.objects.get(kitchen=home).weekdays == [2, 7]


def test_the_calendar_asks_as_often_for_one_offer_as_for_twenty(organiser, michigan, django_assert_max_num_queries):
    client = signed_in(organiser)
    client.get(HARVEST)
    for n in range(20):
        make_offer(produce=("plums", "peaches", "okra")[n % 3])
        correct(organiser, f"fruit {n}")
    with django_assert_max_num_queries(HARVEST_QUERIES):
        client.get(HARVEST)


def test_produce_has_its_british_name_beside_the_american_one():
    assert food_words("zucchini") == "zucchini (courgettes)"
    assert food_words("green beans", british_first=True) == "French beans (green beans)"
    assert food_words("peaches") == "peaches"
