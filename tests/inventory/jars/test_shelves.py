"""Counting at the shelf: as somebody says it, booked in one press, and two at once are told."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from club.core.errors import AlreadyDone
from inventory.jars import services
from inventory.jars.choices import Reason
from inventory.jars.models import Balance, Movement, ShelfCount
from inventory.jars.rules import MOST_AT_ONCE, count_typed
from inventory.jars.services import Counted
from tests.factories.equipment import make_keeper
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper():
    return make_keeper(name="Kit Keeper")


def bought(by, size="pint", count=24):
    source, target = services.outside_place("bought"), services.store_place()
    told = {"size": size, "count": count, "source": source, "target": target}
    services.jars_move(by=by, reason="bought", token=uuid4(), **told)


@pytest.fixture
def store(keeper):
    bought(keeper)
    return services.store_place()


def begun(keeper, place) -> ShelfCount:
    return services.count_begin(by=keeper, place=place, token=uuid4())


def pints(place) -> int:
    return Balance.objects.get(place=place, size="pint", state="empty").count


@pytest.mark.parametrize(
    ("text", "jars"),
    [("120", 120), ("10 dozen", 120), ("3 x 12", 36), ("2 Dozen + 5", 29), ("4×6", 24), ("0", 0), ("2dz", 24)],
)
def test_a_count_is_read_as_it_is_said_at_the_shelf(text, jars):
    assert count_typed(text) == jars


@pytest.mark.parametrize("text", ["", "ten", "-3", "1.5", "3 x", "+", "12345", "3 x 4 x 5", "1e3", "٣"])
def test_what_is_no_count_is_not_guessed(text):
    assert count_typed(text) is None


def test_a_difference_reads_as_a_count_and_broken_ones_as_broken(keeper, store):
    first = begun(keeper, store)
    services.count_book(by=keeper, count=first, counted=[Counted("pint", "empty", None, 20, 24)], why="unwritten")
    services.count_book(
        by=keeper, count=begun(keeper, store), counted=[Counted("pint", "empty", None, 18, 20)], why="broken"
    )
    services.count_book(
        by=keeper, count=begun(keeper, store), counted=[Counted("quart", "empty", None, 12, 0)], why="miscounted"
    )
    latest = list(Movement.objects.order_by("pk"))[-3:]
    assert [(one.reason, one.count, one.counted_at) for one in latest] == [
        (Reason.MISSING, 4, store),
        (Reason.BROKEN, 2, None),
        (Reason.FOUND, 12, store),
    ]
    assert not services.ledger_audit().problems


def test_a_count_of_what_moved_meanwhile_books_nothing_and_says_what_is_there_now(keeper, store):
    mine, theirs = begun(keeper, store), begun(make_keeper(), store)
    services.count_book(by=keeper, count=theirs, counted=[Counted("pint", "empty", None, 20, 24)], why="unknown")
    with pytest.raises(services.MovedMeanwhile, match="24 → 20"):
        services.count_book(
            by=keeper,
            count=mine,
            counted=[Counted("pint", "empty", None, 21, 24), Counted("quart", "empty", None, 3, 0)],
            why="unknown",
        )
    assert pints(store) == 20
    assert not Balance.objects.there().filter(size="quart").exists()
    mine.refresh_from_db()
    assert mine.ended_at is None  # it goes on, with what was typed


def test_a_count_ends_once_and_only_who_keeps_the_ledger_counts(keeper, store):
    count = begun(keeper, store)
    services.count_drop(by=keeper, count=count)
    with pytest.raises(AlreadyDone):
        services.count_book(by=keeper, count=count, counted=[Counted("pint", "empty", None, 1, 24)], why="unknown")
    assert pints(store) == 24
    with pytest.raises(PermissionDenied):
        begun(make_person(), store)


def test_the_page_books_what_was_typed_and_tells_two_who_count_at_once(keeper, store, sign_in):
    client, key = sign_in(keeper), {"place": "store"}
    page = client.post(reverse("jars:shelf-begin"), key).url
    assert client.post(reverse("jars:shelf-begin"), key).url == page
    sign_in(make_keeper(name="Ola Other")).post(reverse("jars:shelf-begin"), key)
    assert "Ola Other has been counting here" in client.get(page).content.decode()
    typed = {"pint_empty_0": "2 dozen + 1", "was_pint_empty_0": "24"}
    refused = client.post(page, typed)
    assert refused.context["form"].errors["why"]
    assert 'value="2 dozen + 1"' in refused.content.decode()
    assert client.post(page, typed | {"pint_empty_0": f"{MOST_AT_ONCE + 1}"}).context["form"].errors["pint_empty_0"]
    assert client.post(page, typed | {"why": "unwritten"}).url == store.get_absolute_url()
    assert pints(store) == 25
    shown = client.get(reverse("jars:movements")).content.decode()
    assert "more empty ones than were booked" in " ".join(shown.split())
    assert "booked or given up" in client.post(page, typed | {"why": "unwritten"}, follow=True).content.decode()


def test_the_pages_ask_few_queries_whatever_stands_there(keeper, store, sign_in, django_assert_max_num_queries):
    for size in ("quart", "half-pint", "pint"):
        bought(keeper, size, 5)
    client = sign_in(keeper)
    with django_assert_max_num_queries(12):
        client.get(reverse("jars:shelves"))
    page = client.post(reverse("jars:shelf-begin"), {"place": "store"}).url
    with django_assert_max_num_queries(12):
        client.get(page)
    assert ShelfCount.objects.under_way(timezone.now()).count() == 1
