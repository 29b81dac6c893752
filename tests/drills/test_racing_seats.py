"""Two hundred sign-ups for the last seat, and parties of two among singles: real processes on the suite's database."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.db.models import Sum
from django.utils import timezone

from club.classes.models import ClassSession, SignUp
from club.classes.services import seats
from tests.drills.racing import all_at_once
from tests.drills.site import child_environment
from tests.factories.classes import make_session
from tests.factories.members import make_person

pytestmark = pytest.mark.worker

RACERS = 8
EACH = 25
RACER = """
import json, sys, time, pathlib, django
django.setup()
from django.core.exceptions import ValidationError
from django.utils import timezone
from club.classes.models import ClassSession, SignUp
from club.classes.services import seats
from club.core.errors import AlreadyDone
from club.members.models import User
here, number = pathlib.Path(sys.argv[1]), int(sys.argv[2])
told = json.loads((here / "told.json").read_text())
session = ClassSession.objects.get(pk=told["session"])
people = list(User.objects.filter(pk__in=told["people"]).order_by("pk"))[number::told["racers"]]
pairs, gives_up, ticks = told["pairs"], told["gives_up"], told["ticks"]
got, slowest = [], 0.0
(here / f"ready-{number}").touch()
while not (here / "go").exists():
    time.sleep(0.001)
for n, person in enumerate(people):
    began = time.monotonic()
    party = {"places": 2, "companion": "Bo"} if pairs and person.pk % 3 == 0 else {}
    mine = seats.signup_place(by=person, session=session, **party)
    slowest = max(slowest, time.monotonic() - began)
    got.append([mine.pk, mine.state])
    if gives_up and n % 2:
        seats.signup_cancel(by=person, signup=mine)
    if ticks and n % 3 == 0:
        seats.seats_move_on(timezone.now())
        for offered in SignUp.objects.filter(session=session, state="offered", person__in=people):
            try:
                seats.seat_accept(by=offered.person, signup=offered)
            except AlreadyDone:
                pass
(here / f"got-{number}.json").write_text(json.dumps([got, slowest]))
"""


@pytest.fixture
def race(transactional_db, tmp_path) -> Callable[..., tuple[ClassSession, list[list], str]]:
    """Run the racers over one session; the session, what each sign-up came to at once, and the figures in words."""

    def run(seats_there: int, **how: bool) -> tuple[ClassSession, list[list], str]:
        now = timezone.now()
        day = (now + timedelta(days=20)).date()
        session = make_session(seats=seats_there, now=now, day=day)
        people = [make_person().pk for _ in range(RACERS * EACH)]
        told = {"session": session.pk, "people": people, "racers": RACERS, "pairs": False, "gives_up": False}
        (tmp_path / "told.json").write_text(json.dumps({**told, "ticks": False, **how}))
        began = time.monotonic()
        got, slowest = _run(tmp_path)
        took = time.monotonic() - began
        session.refresh_from_db()
        figures = f"{len(got)} sign-ups by {RACERS} processes on {connection.vendor}, started and done in {took:.1f} s"
        return session, got, f"{figures}, slowest {slowest * 1000:.0f} ms"

    return run


def _run(here: Path) -> tuple[list[list], float]:
    environment = child_environment(here, broker_url="redis://127.0.0.1:1", smtp_port=1)
    environment["DJANGO_SETTINGS_MODULE"] = "club.settings"
    all_at_once(RACER, [[str(n)] for n in range(RACERS)], here=here, environment=environment)
    came = [json.loads((here / f"got-{n}.json").read_text()) for n in range(RACERS)]
    return [one for got, _slowest in came for one in got], max(slowest for _got, slowest in came)


def held(session: ClassSession) -> int:
    return SignUp.objects.holding_seats().filter(session=session).aggregate(n=Sum("places"))["n"] or 0


def test_two_hundred_sign_ups_for_the_last_seat_one_wins_and_the_others_wait_in_the_order_they_came(race):
    session, got, figures = race(1)
    states = Counter(state for _pk, state in got)
    print(f"\n{figures}: {dict(states)}")
    assert states == {"seated": 1, "waiting": RACERS * EACH - 1}
    assert session.seats_taken == held(session) == session.seats_total == 1
    everyone = list(SignUp.objects.filter(session=session).order_by("joined_at", "pk"))
    assert [one.state for one in everyone] == ["seated"] + ["waiting"] * (RACERS * EACH - 1)  # the first who came
    assert [one.pk for one in everyone] == sorted(one.pk for one in everyone)  # the clock and the rows agree
    assert list(SignUp.objects.waiting()) == everyone[1:]


def test_the_freed_seat_goes_down_the_line_in_that_order(race):
    session, _got, _figures = race(1)
    line = list(SignUp.objects.waiting().filter(session=session))[:20]
    now = timezone.now()
    for gives_up in [SignUp.objects.get(session=session, state="seated"), *line[:-1]]:
        seats.signup_cancel(by=gives_up.person, signup=gives_up, now=now)
        [offered] = SignUp.objects.filter(session=session, state="offered")
        assert offered == line.pop(0)
    assert seats.seats_move_on(now) == seats.SeatsMoved()


def test_parties_of_two_and_singles_racing_for_seven_seats_never_oversell_and_nobody_is_overtaken(race):
    session, got, figures = race(7, pairs=True)
    states = Counter(state for _pk, state in got)
    rows = list(SignUp.objects.filter(session=session).order_by("joined_at", "pk"))
    print(f"\n{figures}: {dict(states)}, {held(session)} of 7 seats taken")
    assert session.seats_taken == held(session)
    assert session.seats_total - 1 <= held(session) <= session.seats_total
    first_waits = next(n for n, one in enumerate(rows) if one.state == "waiting")
    assert {one.state for one in rows[first_waits:]} == {"waiting"}
    assert held(session) == 7 or rows[first_waits].places == 2  # one seat waits for a second one


def test_with_people_giving_up_and_clocks_ticking_in_every_process_seats_are_counted_right(race):
    session, got, figures = race(7, pairs=True, gives_up=True, ticks=True)
    states = Counter(SignUp.objects.filter(session=session).values_list("state", flat=True))
    print(f"\n{figures}: {dict(states)}, {held(session)} of 7 seats taken")
    assert len(got) == sum(states.values()) == RACERS * EACH
    assert session.seats_taken == held(session)
    line = [one.places for one in SignUp.objects.waiting().filter(session=session)]
    assert held(session) == 7 or not line or (held(session), line[0]) == (6, 2)
    assert seats.seats_move_on(timezone.now()) == seats.SeatsMoved()  # nothing was left lying
