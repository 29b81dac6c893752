"""Reminders about club orders: the evening before one closes, and when one's things are there."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from club.reminders import outbox
from club.reminders.models import Reminder
from club.reminders.services import RULES, with_titles
from inventory.jars import services as jars
from tests.factories.jars import make_keeper
from tests.factories.members import make_person
from tests.factories.orders import make_arrived, make_order, make_ordered, wish

pytestmark = pytest.mark.django_db

DENVER = ZoneInfo("America/Denver")
OPENED = datetime(2026, 3, 2, 9, 0, tzinfo=DENVER)


@pytest.fixture
def keeper():
    return make_keeper()


@pytest.fixture
def ada():
    return make_person(email="ada@example.test", name="Ada Plum")


@pytest.fixture
def order(keeper, ada):
    made = make_order(by=keeper, now=OPENED, days=6)
    wish(made, ada, now=OPENED, lids=2, jars=1)
    return made


def gathered(now):
    outbox.gather(now)
    return sorted(Reminder.objects.values_list("rule", "person__email"))


def message(rule, now):
    return RULES[rule].message(Reminder.objects.filter(rule=rule).latest("pk"), now)


def test_an_order_is_called_the_evening_before_it_closes_at_six_by_the_club_s_clock_over_a_clock_change(order, ada):
    assert order.closes_at.astimezone(DENVER).date().isoformat() == "2026-03-08"
    evening = datetime(2026, 3, 7, 18, 0, tzinfo=DENVER)
    assert gathered(evening - timedelta(minutes=1)) == []
    assert gathered(evening) == [("order-closing", ada.email)]
    assert gathered(evening + timedelta(hours=1)) == [("order-closing", ada.email)]
    told = message("order-closing", evening)
    assert told.subject == f"Closes soon: {order.title}"
    assert "You have noted yours" in told.text
    assert told.link == f"https://club.example.test/jars/orders/{order.pk}/"


def test_who_ordered_this_year_is_asked_and_others_are_left_in_peace(order, ada, keeper):
    make_person(email="never@example.test")
    next_one = make_order(by=keeper, now=OPENED + timedelta(days=60), days=6, title="The next")
    make_arrived(order, by=keeper, now=OPENED)
    jars.order_pick_up(by=keeper, order=order, member=ada, token=uuid4(), now=OPENED)
    evening = OPENED + timedelta(days=65, hours=10)
    assert gathered(evening) == [("order-closing", ada.email)]
    assert "wish for nothing yet" in message("order-closing", evening).text
    assert next_one.title in message("order-closing", evening).subject


def test_an_order_sent_off_or_closed_meanwhile_is_not_called(order, keeper):
    evening = datetime(2026, 3, 7, 18, 0, tzinfo=DENVER)
    gathered(evening)
    reminder = Reminder.objects.get()
    rule = RULES["order-closing"]
    assert rule.still_due(reminder, evening)
    assert not rule.still_due(reminder, order.closes_at)
    make_ordered(order, by=keeper, now=evening)
    assert not rule.still_due(reminder, evening)


def test_who_gets_something_hears_that_it_is_there_until_she_has_it(order, ada, keeper):
    bo = make_person(email="bo@example.test")
    wish(order, bo, now=OPENED + timedelta(hours=1), lids=3)
    arrived = OPENED + timedelta(days=20)
    make_arrived(order, by=keeper, now=arrived, lids=2)  # none of it for Bo
    assert gathered(arrived) == [("order-arrived", ada.email)]
    told = message("order-arrived", arrived)
    assert "2 × Regular lids (box of 12); 1 × Pint jars (tray of 12)" in told.text
    assert told.link.endswith(f"/jars/orders/{order.pk}/members/{ada.pk}/")
    reminder = Reminder.objects.get()
    assert RULES["order-arrived"].still_due(reminder, arrived)
    jars.order_pick_up(by=keeper, order=order, member=ada, token=uuid4(), now=arrived)
    assert not RULES["order-arrived"].still_due(reminder, arrived)
    assert gathered(arrived + timedelta(days=1)) == [("order-arrived", ada.email)]


def test_the_list_of_reminders_names_the_order(order):
    gathered(datetime(2026, 3, 7, 18, 0, tzinfo=DENVER))
    ((_reminder, words),) = with_titles(Reminder.objects.all())
    assert words == f"a club order closes, {order.title}"


def test_thirty_orders_are_gathered_in_as_many_queries_as_one(order, ada, keeper, django_assert_max_num_queries):
    evening = datetime(2026, 3, 7, 18, 0, tzinfo=DENVER)

    def due():
        return list(RULES["order-closing"].due(evening)) + list(RULES["order-arrived"].due(evening))

    with django_assert_max_num_queries(3):
        assert len(due()) == 1
    for _n in range(15):
        wish(make_order(by=keeper, now=OPENED, days=6), ada, now=OPENED, lids=1)
        done = make_order(by=keeper, now=OPENED, days=6)
        wish(done, ada, now=OPENED, lids=1)
        make_arrived(done, by=keeper, now=OPENED)
    with django_assert_max_num_queries(3):
        assert len(due()) == 31
