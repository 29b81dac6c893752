"""Containers of dried and fermented food in the pantry and in the season's plan; a canned ferment there too."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from club.season.presentation import season_of, shelves_of
from club.season.services import jars_used, target_set
from inventory.batches import services
from inventory.batches.models import ContainerUse, Jar
from inventory.batches.presentation import labels_of
from inventory.fruit.services import freezer_item_take
from inventory.jars.services import NotEnough
from tests.factories.batches import APPLES, BEANS, finish, make_kraut_kept, make_recall, make_staged
from tests.factories.classes import make_hall
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
KRAUT = "ferment/sauerkraut"


@pytest.fixture
def ada():
    return make_person(name="Ada")


@pytest.fixture
def home(ada):
    return make_kitchen(ada, name="Plum Lane")


def kraut(ada, home, jars=3, days=30):
    return make_kraut_kept(by=ada, kitchen=home, jars=jars, began=timezone.now() - days * DAY)


def dried(ada, home):
    began = timezone.now() - 12 * DAY
    batch = make_staged("dry", APPLES, by=ada, kitchen=home, began=began)
    finish(batch, at=began + HOUR)
    finish(batch, at=began + 9 * HOUR, passed=True)
    at = began + 2 * DAY
    services.stage_look(by=ada, batch=batch, token=uuid4(), moisture="none", at=at, now=at)
    at = began + 9 * DAY
    finish(batch, at=at)
    return services.keeping_put_up(by=ada, batch=batch, counts={"bag": 2}, grams=200, store_f=60, at=at, now=at)


def used(by, home, count=1, size="keeping-jar", **told):
    told = {"what": "emptied", "food": KRAUT, "token": uuid4()} | told
    return jars_used(by=by, kitchen=home, size=size, count=count, **told)


def on_shelf(home):
    [shelf] = shelves_of([home], now=timezone.now())
    return {(row.food, row.size): row.on_shelf for row, _token in shelf.rows}


def test_the_pantry_lists_containers_with_their_dates(client, ada, home):
    kraut(ada, home)
    apples = dried(ada, home)
    client.force_login(ada)

    [shelf] = client.get("/pantry/").context["shelves"]

    rows = {row.title: row for row, _token in shelf.rows}
    assert (shelf.jars, shelf.containers) == (0, 5)
    assert rows["Sauerkraut"].container.is_cold
    assert rows["Apples, dried"].container.best_by == apples.best_by
    assert [rows["Apples, dried"].age_on(apples.best_by + n * DAY) for n in (-40, -2, 1)] == ["", "soon", "past"]


def test_one_press_opens_a_container_once_and_the_oldest_first(client, ada, home):
    young, old = kraut(ada, home), kraut(ada, home, days=60)
    client.force_login(ada)
    [shelf] = client.get("/pantry/").context["shelves"]
    [(row, token)] = shelf.rows
    sent = {"token": token, "recipe": row.recipe, "food": row.food, "size": row.size, "count": 1, "what": "emptied"}

    for _twice in range(2):
        answer = client.post(f"/season/{home.pk}/used/", sent | {"back": "pantry"}, follow=True)

    assert answer.context["shelves"][0].containers == 5
    use = ContainerUse.objects.get()
    assert (use.jar.batch, use.what) == (old, "emptied")
    assert len(labels_of(old)) == 2
    assert len(labels_of(young)) == 3


def test_more_than_there_are_and_what_is_set_aside_or_called_back_stay(ada, home):
    batch = kraut(ada, home)
    with pytest.raises(NotEnough):
        used(ada, home, count=4)
    services.jars_set_aside(by=ada, batch=batch, situation="mould", jars=[1], token=uuid4())
    assert on_shelf(home) == {(KRAUT, "keeping-jar"): 2}
    make_recall(batch=batch, now=timezone.now())
    assert on_shelf(home) == {}
    with pytest.raises(NotEnough):
        used(ada, home)
    assert not ContainerUse.objects.exists()


def test_another_household_opens_none(ada, home):
    kraut(ada, home)
    with pytest.raises(PermissionDenied):
        used(make_person(name="Bea"), home)


def test_what_was_filled_in_a_hall_stands_with_its_maker(ada, home):
    kraut(ada, make_hall())
    assert on_shelf(home) == {(KRAUT, "keeping-jar"): 3}
    used(ada, home)
    assert on_shelf(home) == {(KRAUT, "keeping-jar"): 2}


@pytest.mark.parametrize("produce", ["sauerkraut", "cabbage"])
def test_a_ferment_counts_toward_what_a_year_takes(ada, home, produce):
    kraut(ada, home)
    target_set(by=ada, kitchen=home, kind="ferment", produce=produce, jar_size="keeping-jar", jars=8)
    used(ada, home)

    season = season_of(home, now=timezone.now())

    [row] = season.rows
    assert (row.on_shelf, row.used, row.put_up.wanted) == (2, 1, 6)
    assert row.keep_url == f"/batches/keep/?way=ferment&q={produce}"
    assert {month.jars for month in season.shelf(timezone.now())} == {0}  # the picture is of the ledger's jars


@pytest.mark.parametrize("produce", ["green beans", "snap beans"])
def test_bags_in_the_freezer_count_toward_what_a_year_takes_and_stand_on_no_shelf(ada, home, produce):
    began = timezone.now() - 40 * DAY
    beans = make_staged("freeze", BEANS, by=ada, kitchen=home, weighed_g=1500, began=began)
    finish(beans, at=began)
    counts = {"bag": 3, "box": 1}
    beans = services.keeping_put_up(by=ada, batch=beans, counts=counts, grams=1500, at=began, now=began)
    target_set(by=ada, kitchen=home, kind="freeze", produce=produce, jar_size="bag", jars=8)

    def row():
        season = season_of(home, now=timezone.now())
        assert season.shelf_rows == []
        return season.rows[0]

    assert (row().on_shelf, row().used, row().put_up.wanted) == (3, 0, 5)
    assert row().keep_url.startswith("/batches/keep/?way=freeze&q=")
    taken = {"grams": 700, "bags": 2, "token": uuid4()}
    freezer_item_take(by=ada, item=beans.freezer_item, **taken)
    assert (row().on_shelf, row().used) == (1, 2)
    services.jars_set_aside(by=ada, batch=beans, situation="thawed-warm", jars=[1, 2, 3], token=uuid4())
    assert row().on_shelf == 0


def test_only_what_is_kept_in_stages_is_counted_in_containers(ada, home):
    told = {"by": ada, "kitchen": home, "produce": "plums", "jars": 3}
    with pytest.raises(ValidationError) as refused:
        target_set(kind="jam", jar_size="bag", **told)
    assert list(refused.value.message_dict) == ["jar_size"]
    one = target_set(kind="dry", jar_size="bag", **told)
    one.kind = "jam"
    with pytest.raises(IntegrityError), transaction.atomic():
        one.save()


def test_the_database_keeps_uses_and_takes_none_of_a_jar_of_the_ledger(ada, home):
    batch = kraut(ada, home)
    [use] = used(ada, home)
    with pytest.raises(IntegrityError), transaction.atomic():
        ContainerUse.objects.filter(pk=use.pk).update(what="given")
    services.jars_throw_away(by=ada, batch=batch, jars=[3], token=uuid4())
    gone = Jar.objects.get(batch=batch, number=3)
    with pytest.raises(IntegrityError), transaction.atomic():
        ContainerUse.objects.create(jar=gone, what="given", at=timezone.now(), by=ada, token=uuid4())


def test_a_date_of_a_month_with_the_year_is_shown(client, ada, home):
    batch = dried(ada, home)
    client.force_login(ada)
    assert isinstance(batch.best_by, date)
    page = client.get("/pantry/").content.decode()
    assert f"{batch.best_by:%b %Y}" in page
    assert "Apples, dried" in client.get(f"/season/{home.pk}/").content.decode()
