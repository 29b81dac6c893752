"""Signing up, the line, offers and giving up a seat: through the services, with the clock where the test wants it."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from club.classes.models import ClassSession, SignUp
from club.classes.services import needs_erase, seats
from club.core.errors import AlreadyDone
from tests.factories.classes import NOW, make_instructor, make_session
from tests.factories.members import make_organiser, make_person
from tests.helpers import examples

pytestmark = pytest.mark.django_db

A_MINUTE, AN_HOUR = timedelta(minutes=1), timedelta(hours=1)


def session_of(seats: int, **fields) -> ClassSession:
    """Saturday at ten, five days after NOW; sign-up closes on Friday at ten."""
    return make_session(seats=seats, **fields)


def sign_up(session, places=1, *, now=NOW, **told):
    companion = {"companion": "Bo"} if places == 2 else {}
    return seats.signup_place(
        by=told.pop("by", None) or make_person(), session=session, places=places, now=now, **companion, **told
    )


def states(session) -> list[str]:
    return list(SignUp.objects.filter(session=session).order_by("pk").values_list("state", flat=True))


def is_balanced(session) -> bool:
    """The session counts exactly the places that are seated or offered."""
    session.refresh_from_db()
    held = SignUp.objects.holding_seats().filter(session=session).aggregate(n=Sum("places"))["n"] or 0
    return session.seats_taken == held <= session.seats_total


def test_who_signs_up_is_seated_while_seats_are_left_then_waits_in_order():
    session = session_of(3)
    made = [sign_up(session, 2), sign_up(session), sign_up(session), sign_up(session)]
    assert states(session) == ["seated", "seated", "waiting", "waiting"]
    assert [one.joined_at for one in made] == [NOW] * 4
    assert list(SignUp.objects.waiting()) == made[2:]
    assert is_balanced(session)


def test_one_form_pressed_twice_is_one_sign_up_and_a_second_form_is_told():
    session, person, token = session_of(3), make_person(), uuid4()
    first = sign_up(session, by=person, token=token)
    assert sign_up(session, by=person, token=token) == first
    with pytest.raises(AlreadyDone, match="signed up already"):
        sign_up(session, by=person)
    assert SignUp.objects.count() == 1
    with pytest.raises(AlreadyDone):
        sign_up(session, by=make_person(), token=token)  # somebody else's token opens nothing
    assert is_balanced(session)


def test_the_database_itself_refuses_a_second_open_sign_up_and_a_seat_too_many():
    session, person = session_of(1), make_person()
    sign_up(session, by=person)
    with pytest.raises(IntegrityError, match=r"(?i)unique|one_open_signup"), transaction.atomic():
        SignUp.objects.create(session=session, person=person, token=uuid4(), state="waiting", joined_at=NOW)
    with pytest.raises(IntegrityError, match="session_never_oversold"), transaction.atomic():
        ClassSession.objects.filter(pk=session.pk).update(seats_taken=2)


@pytest.mark.parametrize(
    ("told", "field", "words"),
    [
        ({"places": 3}, "places", "alone or as two"),
        ({"places": 2}, "companion", "Give a name"),
        ({"companion": "Bo"}, "companion", "Choose two"),
        ({"companion": "B" * 121, "places": 2}, "companion", "At most 120"),
        ({"needs": "n" * 1001}, "needs", "At most 1000"),
    ],
)
def test_a_party_is_one_or_two_with_a_name(told, field, words):
    with pytest.raises(ValidationError, match=words) as refused:
        seats.signup_place(by=make_person(), session=session_of(3), now=NOW, **told)
    assert list(refused.value.message_dict) == [field]
    assert not SignUp.objects.exists()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"signup_opens_at": NOW + A_MINUTE}, "opens on Mon 14 Sep, 12:01"),
        ({"signup_closes_at": NOW}, "closed"),
        ({"state": "cancelled", "cancelled_at": NOW, "cancel_reason": "The hall is flooded."}, "was cancelled"),
        ({"state": "held"}, "takes no"),
        ({"state": "draft"}, "takes no"),
        ({"starts_at": NOW}, "closed"),  # it has begun, whatever its sign-up says
    ],
)
def test_sign_up_only_while_it_is_open_and_the_session_to_come(fields, words, settings):
    settings.TIME_ZONE = "America/Denver"
    open_session, shut = session_of(1), session_of(1)
    ClassSession.objects.filter(pk=shut.pk).update(**fields)
    assert sign_up(open_session).is_seated
    with pytest.raises(ValidationError, match=words):
        sign_up(shut)
    assert not shut.signups.exists()


def test_a_freed_seat_is_offered_at_once_to_the_next_with_a_deadline():
    session = session_of(1)
    first, second, _third = (sign_up(session) for _ in range(3))
    later = NOW + AN_HOUR
    seats.signup_cancel(by=first.person, signup=first, now=later)
    assert states(session) == ["cancelled", "offered", "waiting"]
    second.refresh_from_db()
    assert (second.offered_at, second.offer_until) == (later, later + timedelta(hours=48))
    assert is_balanced(session)
    assert seats.seat_accept(by=second.person, signup=second, now=later).is_seated
    assert seats.seat_accept(by=second.person, signup=second, now=later).is_seated
    assert states(session) == ["cancelled", "seated", "waiting"]
    assert is_balanced(session)


def test_an_offer_declined_or_not_answered_moves_on_by_itself():
    session = session_of(1)
    first, second, third, _fourth = (sign_up(session) for _ in range(4))
    seats.signup_cancel(by=first.person, signup=first, now=NOW)
    seats.signup_cancel(by=second.person, signup=second, now=NOW + A_MINUTE)
    assert states(session) == ["cancelled", "cancelled", "offered", "waiting"]
    third.refresh_from_db()
    assert seats.seats_move_on(third.offer_until - A_MINUTE) == seats.SeatsMoved()
    assert seats.seats_move_on(third.offer_until) == seats.SeatsMoved(lapsed=1, offered=1)
    assert seats.seats_move_on(third.offer_until) == seats.SeatsMoved()
    assert states(session) == ["cancelled", "cancelled", "lapsed", "offered"]
    with pytest.raises(AlreadyDone, match="moved on"):
        seats.seat_accept(by=third.person, signup=third, now=third.offer_until)
    assert is_balanced(session)


def test_an_offer_past_its_time_is_not_taken_though_the_clock_has_not_come_by_yet():
    session = session_of(1)
    first, second = sign_up(session), sign_up(session)
    seats.signup_cancel(by=first.person, signup=first, now=NOW)
    second.refresh_from_db()
    with pytest.raises(AlreadyDone):
        seats.seat_accept(by=second.person, signup=second, now=second.offer_until)
    assert states(session) == ["cancelled", "offered"]


def test_who_signs_up_while_a_seat_is_offered_waits_behind_those_who_wait():
    session = session_of(1)
    first, second = sign_up(session), sign_up(session)
    seats.signup_cancel(by=first.person, signup=first, now=NOW)
    late = sign_up(session, now=NOW + A_MINUTE)
    seats.signup_cancel(by=second.person, signup=second, now=NOW + 2 * A_MINUTE)
    late.refresh_from_db()
    assert late.state == "offered"


def test_a_seat_that_came_free_unseen_goes_to_the_line_and_not_to_who_signs_up_then():
    """Such as when a station is added: the seats grow before anything was offered."""
    session = session_of(1)
    sign_up(session)
    waits = sign_up(session)
    ClassSession.objects.filter(pk=session.pk).update(seats_total=2)
    late = sign_up(session, now=NOW + A_MINUTE)
    waits.refresh_from_db()
    assert (waits.state, late.state) == ("offered", "waiting")
    ClassSession.objects.filter(pk=session.pk).update(seats_total=4)
    assert sign_up(session, now=NOW + 2 * A_MINUTE).is_seated  # all who waited are served first
    assert states(session) == ["seated", "offered", "offered", "seated"]
    assert is_balanced(session)


def test_a_slow_clock_on_another_machine_jumps_no_line():
    session = session_of(1)
    sign_up(session)
    first = sign_up(session, now=NOW + AN_HOUR)
    second = sign_up(session, now=NOW)
    assert second.joined_at == first.joined_at
    assert list(SignUp.objects.waiting()) == [first, second]


def test_parties_of_two_stay_together_and_a_single_seat_waits_for_a_second_until_72_hours_before():
    session = session_of(2)
    one, other = sign_up(session), sign_up(session)
    pair, single = sign_up(session, 2), sign_up(session)
    seats.signup_cancel(by=one.person, signup=one, now=NOW)
    assert states(session) == ["cancelled", "seated", "waiting", "waiting"]
    due = session.starts_at - timedelta(hours=72)
    assert seats.seats_move_on(due - A_MINUTE).offered == 0
    assert sign_up(session, now=due - A_MINUTE).state == "waiting"
    assert seats.seats_move_on(due).offered == 1
    assert states(session) == ["cancelled", "seated", "waiting", "offered", "waiting"]
    seats.signup_cancel(by=single.person, signup=single, now=due)
    seats.signup_cancel(by=other.person, signup=other, now=due)
    pair.refresh_from_db()
    assert pair.state == "waiting"  # the single seat went past it to the last in line, the second waits for it
    assert is_balanced(session)


def test_a_pair_at_the_front_gets_two_seats_that_come_free():
    session = session_of(2)
    one, other = sign_up(session), sign_up(session)
    pair = sign_up(session, 2)
    sign_up(session)
    for signup in (one, other):
        seats.signup_cancel(by=signup.person, signup=signup, now=NOW)
    assert states(session) == ["cancelled", "cancelled", "offered", "waiting"]
    pair.refresh_from_db()
    assert seats.seat_accept(by=pair.person, signup=pair, now=NOW).places == 2
    assert is_balanced(session)


def test_a_party_whose_companion_stays_at_home_frees_a_seat_or_fits_the_one_that_is_free():
    session = session_of(3)
    seated = sign_up(session, 2)
    single, pair = sign_up(session), sign_up(session, 2)
    alone = seats.signup_come_alone(by=seated.person, signup=seated, now=NOW)
    assert (alone.places, alone.companion, alone.state) == (1, "", "seated")
    assert states(session) == ["seated", "seated", "waiting"]  # one seat is free, and two wait for it
    assert seats.signup_come_alone(by=pair.person, signup=pair, now=NOW).state == "offered"
    assert seats.signup_come_alone(by=single.person, signup=single, now=NOW).places == 1  # nothing to change
    assert is_balanced(session)


def test_in_the_last_two_hours_nothing_is_offered_and_nobody_goes_past_the_line():
    session = session_of(1)
    ClassSession.objects.filter(pk=session.pk).update(signup_closes_at=session.starts_at)
    first = sign_up(session)
    sign_up(session)
    late = session.starts_at - AN_HOUR
    seats.signup_cancel(by=first.person, signup=first, now=late)
    assert sign_up(session, now=late).state == "waiting"
    assert states(session) == ["cancelled", "waiting", "waiting"]


def test_with_nobody_in_line_a_seat_can_be_had_to_the_last():
    session = session_of(1)
    ClassSession.objects.filter(pk=session.pk).update(signup_closes_at=session.starts_at)
    assert sign_up(session, now=session.starts_at - A_MINUTE).is_seated


def test_giving_up_after_it_began_is_refused_with_words_and_twice_is_the_same_as_once():
    session = session_of(2)
    early, late = sign_up(session), sign_up(session)
    for _press in range(2):
        assert seats.signup_cancel(by=early.person, signup=early, now=NOW).state == "cancelled"
    assert is_balanced(session)
    with pytest.raises(ValidationError, match="has begun"):
        seats.signup_cancel(by=late.person, signup=late, now=session.starts_at)
    assert seats.signup_cancel(by=late.person, signup=late, now=session.starts_at - A_MINUTE).state == "cancelled"


def test_who_may_touch_a_sign_up():
    teacher = make_instructor()
    session = session_of(2, by=teacher)
    signup = sign_up(session)
    for stranger in (make_person(), make_organiser(), make_instructor()):
        for act in (seats.signup_cancel, seats.signup_come_alone, seats.seat_accept):
            with pytest.raises(PermissionDenied):
                act(by=stranger, signup=signup, now=NOW)
        with pytest.raises(PermissionDenied):
            seats.signup_note(by=stranger, signup=signup, needs="", now=NOW)
    assert seats.signup_cancel(by=teacher, signup=signup, now=NOW).state == "cancelled"
    gone = make_person()
    gone.is_active = False
    with pytest.raises(PermissionDenied):
        sign_up(session, by=gone)


def test_notes_are_changed_while_it_is_to_come_and_forgotten_when_the_seat_is_given_up():
    session = session_of(2)
    signup = sign_up(session, 2, needs="No nuts")
    changed = seats.signup_note(by=signup.person, signup=signup, needs=" Celery ", companion="Wren", now=NOW)
    assert (changed.needs, changed.companion, changed.places) == ("Celery", "Wren", 2)
    with pytest.raises(ValidationError, match="has begun"):
        seats.signup_note(by=signup.person, signup=signup, needs="", companion="Wren", now=session.starts_at)
    assert seats.signup_cancel(by=signup.person, signup=signup, now=NOW).needs == ""
    with pytest.raises(AlreadyDone, match="not signed up"):
        seats.signup_note(by=signup.person, signup=signup, needs="", companion="Wren", now=NOW)


def test_a_week_after_the_session_the_notes_are_erased_and_not_before():
    session, later = session_of(1), session_of(1)
    past, coming = sign_up(session, needs="No nuts"), sign_up(later, needs="A chair")
    ClassSession.objects.filter(pk=later.pk).update(ends_at=session.ends_at + A_MINUTE)
    for now, kept in (
        (session.ends_at + timedelta(days=7) - A_MINUTE, "No nuts"),
        (session.ends_at + timedelta(days=7), ""),
    ):
        seats.seats_move_on(now)  # seats that move on erase nothing
        past.refresh_from_db()
        assert past.needs == "No nuts"
        needs_erase(now=now)
        past.refresh_from_db()
        coming.refresh_from_db()
        assert (past.needs, coming.needs) == (kept, "A chair")


@pytest.mark.parametrize("rows", [1, 30])
def test_a_round_with_nothing_to_move_asks_once_however_many_sessions_there_are(rows, django_assert_num_queries):
    for _ in range(rows):
        session = session_of(1)
        sign_up(session)
        sign_up(session)
    with django_assert_num_queries(1):
        seats.seats_move_on(NOW)


def test_who_leaves_the_club_gives_the_seat_back_and_is_offered_none():
    session = session_of(1)
    first, second, third = (sign_up(session) for _ in range(3))
    for gone in (first.person, second.person):
        gone.is_active = False
        gone.save(update_fields=["is_active"])
    assert seats.seats_move_on(NOW) == seats.SeatsMoved(left=2, offered=1)
    third.refresh_from_db()
    assert third.state == "offered"
    assert is_balanced(session)


def test_a_cancelled_session_offers_nothing_and_no_offer_of_it_is_taken():
    session = session_of(1)
    first, second = sign_up(session), sign_up(session)
    seats.signup_cancel(by=first.person, signup=first, now=NOW)
    ClassSession.objects.filter(pk=session.pk).update(state="cancelled", cancelled_at=NOW, cancel_reason="Flood")
    with pytest.raises(AlreadyDone, match="not take place"):
        seats.seat_accept(by=second.person, signup=second, now=NOW)
    second.refresh_from_db()
    assert seats.seats_move_on(second.offer_until).offered == 0


def test_an_offer_made_before_a_session_was_moved_forward_ends_when_it_begins():
    session = session_of(1)
    first, second = sign_up(session), sign_up(session)
    seats.signup_cancel(by=first.person, signup=first, now=NOW)
    sooner = NOW + timedelta(hours=20)
    ClassSession.objects.filter(pk=session.pk).update(starts_at=sooner, signup_closes_at=sooner)
    with pytest.raises(ValidationError, match="has begun"):
        seats.seat_accept(by=second.person, signup=second, now=sooner)
    assert seats.seats_move_on(sooner - A_MINUTE).lapsed == 0
    assert seats.seats_move_on(sooner).lapsed == 1
    assert is_balanced(session)


def test_a_session_whose_line_cannot_move_does_not_hold_up_the_next(monkeypatch):
    broken, sound = session_of(1), session_of(1)
    for session in (broken, sound):
        first = sign_up(session)
        sign_up(session)
        SignUp.objects.filter(pk=first.pk).update(state="cancelled")  # behind the line's back: only the clock can offer
        ClassSession.objects.filter(pk=session.pk).update(seats_taken=0)
    ClassSession.objects.filter(pk=broken.pk).update(zone="Nowhere/At-all")
    with pytest.raises(Exception, match="Nowhere"):
        seats.seats_move_on(NOW)
    assert (states(broken), states(sound)) == (["cancelled", "waiting"], ["cancelled", "offered"])


@examples(60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    events=st.lists(
        st.tuples(
            st.sampled_from(["join", "cancel", "accept", "alone", "tick"]), st.integers(1, 2), st.integers(0, 30)
        ),
        max_size=30,
    )
)
@pytest.mark.long
def test_whatever_people_and_the_clock_do_the_seats_are_counted_right_and_the_line_keeps_its_order(events, hall):
    session, people = hall
    with transaction.atomic():
        now = NOW
        for number, (what, places, which) in enumerate(events):
            now += timedelta(hours=4)
            if now >= session.starts_at:
                break
            _act(session, people, what, places, which, number, now)
            assert is_balanced(session)
            _check_order(session, now)
        transaction.set_rollback(True)


@pytest.fixture
def hall():
    """A session of four seats and those who would like one."""
    return session_of(4), [make_person() for _ in range(30)]


def _act(session, people, what, places, which, number, now) -> None:
    rows = list(SignUp.objects.open().filter(session=session).order_by("pk"))
    if what == "tick":
        seats.seats_move_on(now)
    elif what == "join":
        if now < session.signup_closes_at:
            sign_up(session, places, by=people[number], now=now)
    elif rows:
        one = rows[which % len(rows)]
        act = {"cancel": seats.signup_cancel, "alone": seats.signup_come_alone, "accept": seats.seat_accept}[what]
        try:
            act(by=one.person, signup=one, now=now)
        except AlreadyDone:
            assert what == "accept"


def _check_order(session, now) -> None:
    """No free seat lies idle before whom it fits; who was passed is a party of two, in the last 72 hours."""
    line = [one.places for one in SignUp.objects.waiting().filter(session=session)]
    session.refresh_from_db()
    if session.seats_left and line and now < session.starts_at - timedelta(hours=2):
        assert (line[0], session.seats_left) == (2, 1)
        assert now < session.starts_at - timedelta(hours=72) or 1 not in line
