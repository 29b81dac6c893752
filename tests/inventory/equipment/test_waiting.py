"""The waiting line: who is offered what, for how long, and that running the clock twice changes nothing."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import Hold, ThingDay, WaitingEntry
from inventory.equipment.services import Moved
from tests.factories.equipment import NOW, day, make_hold, make_keeper, make_loan, make_test, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


def join(thing, person=None, *, days=3, first=0, last=9, now=NOW, **rest):
    told = {"days": days, "not_before": day(first), "not_after": day(last), "now": now, **rest}
    return services.waiting_join(by=person or make_person(), kind=thing.kind, **told)


def states():
    return list(WaitingEntry.objects.order_by("joined_at", "pk").values_list("state", flat=True))


@pytest.fixture
def taken():
    """One canner, held for all of the days anybody wants."""
    return make_hold(make_thing(turnaround_own=1), 0, 20)


def test_what_is_free_is_offered_at_once_and_held_for_a_day():
    thing = make_thing()
    entry = join(thing)
    assert (entry.state, entry.hold.thing, entry.hold.state) == ("offered", thing, "offered")
    assert entry.offer_until == NOW + timedelta(hours=24)
    with pytest.raises(services.Taken):
        make_hold(thing, 0, 1)


def test_who_waits_is_offered_what_is_freed_in_the_order_of_joining(taken):
    first, second = join(taken.thing), join(taken.thing, now=NOW + HOUR)
    assert states() == ["waiting", "waiting"]
    services.hold_cancel(by=taken.person, hold=taken, now=NOW + 2 * HOUR)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, first.hold.starts) == ("offered", day(0))
    assert (second.state, second.hold.starts) == ("offered", day(4))  # the days behind it, with one for cleaning


def test_an_offer_moves_on_after_twenty_four_hours_and_not_before(taken):
    first, second = join(taken.thing, last=2), join(taken.thing, last=3, now=NOW + HOUR)
    services.hold_cancel(by=taken.person, hold=taken, now=NOW)
    assert services.waiting_move_on(NOW + 24 * HOUR - timedelta(seconds=1)) == Moved(0, 0, 0)
    assert states() == ["offered", "waiting"]
    assert services.waiting_move_on(NOW + 24 * HOUR) == Moved(lapsed=1, past=0, offered=1)
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, first.hold.state) == ("lapsed", "cancelled")
    assert (second.state, second.hold.starts) == ("offered", day(1))


def test_moving_on_twice_changes_nothing(taken):
    join(taken.thing)
    services.hold_cancel(by=taken.person, hold=taken, now=NOW)
    services.waiting_move_on(NOW + HOUR)
    before = list(ThingDay.objects.values_list("day", "hold"))
    assert services.waiting_move_on(NOW + HOUR) == Moved(0, 0, 0)
    assert list(ThingDay.objects.values_list("day", "hold")) == before


def test_taking_the_offer_makes_it_a_hold_and_taking_it_twice_is_once():
    entry = join(make_thing())
    hold = services.waiting_accept(by=entry.person, entry=entry, now=NOW + HOUR)
    assert services.waiting_accept(by=entry.person, entry=entry, now=NOW + HOUR) == hold
    assert (hold.state, states()) == ("held", ["taken"])
    assert services.waiting_move_on(NOW + 48 * HOUR) == Moved(0, 0, 0)
    assert hold.taken_days.count() == 4
    with pytest.raises(services.AlreadyDone, match="took this offer"):
        services.waiting_leave(by=entry.person, entry=entry, now=NOW)


def test_an_offer_that_lapsed_cannot_be_taken():
    entry = join(make_thing())
    with pytest.raises(services.AlreadyDone, match="moved on"):
        services.waiting_accept(by=entry.person, entry=entry, now=NOW + 24 * HOUR)
    services.waiting_move_on(NOW + 24 * HOUR)
    with pytest.raises(services.AlreadyDone, match="moved on"):
        services.waiting_accept(by=entry.person, entry=entry, now=NOW + 25 * HOUR)
    assert Hold.objects.get().state == "cancelled"


def test_leaving_frees_the_offer_for_the_next(taken):
    first, second = join(taken.thing, last=2), join(taken.thing, last=2, now=NOW + HOUR)
    services.hold_cancel(by=taken.person, hold=taken, now=NOW)
    first.refresh_from_db()
    services.waiting_leave(by=first.person, entry=first, now=NOW + HOUR)
    services.waiting_leave(by=first.person, entry=first, now=NOW + HOUR)
    second.refresh_from_db()
    assert (states(), second.hold.starts) == (["left", "offered"], day(0))


def test_each_person_has_one_place_in_a_line(taken):
    person, token = make_person(), uuid4()
    entry = join(taken.thing, person, token=token)
    assert join(taken.thing, person) == entry
    assert WaitingEntry.objects.count() == 1


def test_one_may_join_again_after_leaving(taken):
    entry = join(taken.thing)
    services.waiting_leave(by=entry.person, entry=entry, now=NOW)
    assert join(taken.thing, entry.person, now=NOW + HOUR) != entry


def test_nobody_answers_for_another(taken):
    entry = join(taken.thing)
    for act in (services.waiting_accept, services.waiting_leave):
        with pytest.raises(PermissionDenied):
            act(by=make_person(), entry=entry)


def test_a_wait_whose_days_went_by_ends(taken):
    join(taken.thing, last=3)
    assert services.waiting_move_on(NOW + timedelta(days=3)).past == 0
    assert services.waiting_move_on(NOW + timedelta(days=4)).past == 1
    assert states() == ["past"]


def test_days_that_do_not_fit_are_refused(taken):
    with pytest.raises(ValidationError, match="do not fit"):
        join(taken.thing, days=5, first=0, last=3)
    with pytest.raises(ValidationError, match="too far ahead"):
        services.waiting_join(
            by=make_person(), kind=taken.thing.kind, days=1, not_before=day(0), not_after=date.max, now=NOW
        )
    with pytest.raises(ValidationError, match="gone by"):
        join(taken.thing, days=1, first=-1, last=3)


def test_a_returned_a_mended_and_a_new_thing_are_offered():
    keeper, thing = make_keeper(), make_thing(turnaround_own=0)
    loan = make_loan(thing, days=30)
    entries = [join(thing, days=1, last=2) for _ in range(3)]
    services.loan_return(by=keeper, loan=loan, condition="good", is_ready=True, now=NOW)
    assert [one.starts for one in Hold.objects.filter(state="offered").order_by("starts")] == [day(0), day(1), day(2)]
    for entry in entries:
        entry.refresh_from_db()
        services.waiting_leave(by=entry.person, entry=entry, now=NOW)
    services.thing_repair(by=keeper, thing=thing, note="Leaks.", now=NOW)
    late = join(thing)
    assert late.state == "waiting"
    services.thing_mend(by=keeper, thing=thing, now=NOW)
    late.refresh_from_db()
    assert late.state == "offered"


def test_what_is_overdue_is_offered_to_nobody():
    thing = make_thing()
    make_loan(thing, days=1)
    assert join(thing, days=1, first=3, last=9, now=NOW + timedelta(days=3)).state == "waiting"


def test_a_gauge_that_could_not_be_handed_over_is_offered_to_nobody():
    thing, keeper = make_thing(Kind.DIAL_GAUGE), make_keeper()
    make_test(thing, day(-362), by=keeper)
    assert join(thing, days=5).state == "waiting"  # the test lapses within the five days
    assert join(thing, days=2, last=2).state == "offered"
    make_test(thing, day(0), by=keeper)
    assert services.waiting_move_on(NOW + HOUR).offered == 1


def test_who_left_the_club_is_passed_over(taken):
    gone, next_one = join(taken.thing, last=2), join(taken.thing, last=2, now=NOW + HOUR)
    type(gone.person).objects.filter(pk=gone.person_id).update(is_active=False)
    services.hold_cancel(by=taken.person, hold=taken, now=NOW)
    next_one.refresh_from_db()
    assert next_one.state == "offered"


def test_an_offer_collected_at_the_counter_counts_as_taken():
    entry = join(make_thing(), days=2)
    loan = make_loan(entry.hold.thing, entry.person, days=1)
    entry.refresh_from_db()
    assert (entry.state, loan.hold) == ("taken", entry.hold)
    assert services.waiting_move_on(NOW + 48 * HOUR) == Moved(0, 0, 0)


def test_a_form_of_somebody_else_s_joins_no_line():
    token = uuid4()
    told = {
        "kind": Kind.BOILING_WATER,
        "days": 2,
        "not_before": day(1),
        "not_after": day(9),
        "token": token,
        "now": NOW,
    }
    services.waiting_join(by=make_person(), **told)
    with pytest.raises(ValidationError, match="used for something else"):
        services.waiting_join(by=make_person(), **told)
    assert WaitingEntry.objects.count() == 1
