"""Two hundred attempts, by real processes at the same moment, on the database this suite runs on."""

from __future__ import annotations

import json
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from club.core.clock import club_day
from inventory.equipment.models import Hold, Loan, ThingDay
from tests.drills.racing import all_at_once
from tests.drills.site import child_environment
from tests.factories.equipment import make_keeper, make_thing
from tests.factories.members import make_person

pytestmark = pytest.mark.worker

RACERS = 8
EACH = 25
RACER = """
import json, sys, time, pathlib, django
django.setup()
from datetime import date, timedelta
from club.members.models import User
from inventory.equipment import services
from inventory.equipment.models import Thing
here, number = pathlib.Path(sys.argv[1]), int(sys.argv[2])
told = json.loads((here / "told.json").read_text())
things = list(Thing.objects.filter(pk__in=told["things"]))
people = list(User.objects.filter(pk__in=told["people"]).order_by("pk"))[number::told["racers"]]
keeper = User.objects.get(pk=told["keeper"])
first = date.fromisoformat(told["first"])
def attempt(n, person):
    span = {"starts": first + timedelta(days=told["step"] * n), "ends": first + timedelta(days=told["step"] * n + 2)}
    if told["how"] == "thing":
        services.hold_place(by=person, thing=things[0], **span)
    elif told["how"] == "kind":
        services.hold_place_first_free(by=person, kind=things[0].kind, **span)
    else:
        services.loan_hand_over(by=keeper, thing=things[0], person=person, due_on=first, condition="good")
got = []
(here / f"ready-{number}").touch()
while not (here / "go").exists():
    time.sleep(0.001)
for n, person in enumerate(people):
    try:
        attempt(n, person)
        got.append(["won", "", 0])
    except services.Taken as taken:
        got.append(["taken", " ".join(taken.messages), len(taken.next_free)])
    except services.AlreadyDone as done:
        got.append(["out", str(done), 0])
(here / f"got-{number}.json").write_text(json.dumps(got))
"""


@pytest.fixture
def race(transactional_db, tmp_path):
    """Run the racers over these things; what each attempt came to: [verdict, what was said, free dates told]."""

    def run(things, *, how: str, step: int = 0) -> list[list]:
        people = [make_person().pk for _ in range(RACERS * EACH)]
        first = club_day(timezone.now()) + timedelta(days=1)
        told = {"things": [one.pk for one in things], "people": people, "racers": RACERS, "keeper": make_keeper().pk}
        (tmp_path / "told.json").write_text(json.dumps({**told, "how": how, "step": step, "first": str(first)}))
        return run_racers(tmp_path)

    return run


def run_racers(here: Path) -> list[list]:
    environment = child_environment(here, broker_url="redis://127.0.0.1:1", smtp_port=1)
    environment["DJANGO_SETTINGS_MODULE"] = "club.settings"
    all_at_once(RACER, [[str(n)] for n in range(RACERS)], here=here, environment=environment)
    return [one for n in range(RACERS) for one in json.loads((here / f"got-{n}.json").read_text())]


def test_two_hundred_attempts_for_the_last_canner_one_wins_and_the_others_are_told_the_next_free_dates(race):
    canner = make_thing(now=timezone.now(), turnaround_own=1)
    got = race([canner], how="thing")
    assert Counter(verdict for verdict, _said, _free in got) == {"won": 1, "taken": RACERS * EACH - 1}
    losers = [one for one in got if one[0] == "taken"]
    assert all(free > 0 for _verdict, _said, free in losers)
    assert all("is taken" in said and "Next free for 3 days" in said for _verdict, said, _free in losers)
    assert Hold.objects.count() == 1
    assert ThingDay.objects.count() == 4  # three days and one for cleaning


def test_two_hundred_attempts_for_any_of_three_canners_three_win(race):
    canners = [make_thing(now=timezone.now()) for _ in range(3)]
    got = race(canners, how="kind")
    assert Counter(verdict for verdict, _said, _free in got) == {"won": 3, "taken": RACERS * EACH - 3}
    assert {hold.thing_id for hold in Hold.objects.all()} == {one.pk for one in canners}


def test_spans_that_overlap_crosswise_leave_no_day_with_two_holds_and_nobody_waits_for_ever(race):
    canner = make_thing(now=timezone.now(), turnaround_own=1)
    got = race([canner], how="thing", step=1)
    won = Counter(verdict for verdict, _said, _free in got)["won"]
    assert 0 < won == Hold.objects.count() < len(got)
    assert ThingDay.objects.count() == 4 * won  # no loser left a day behind


def test_two_hundred_hand_overs_of_one_thing_make_one_loan(race):
    canner = make_thing(now=timezone.now())
    got = race([canner], how="loan")
    verdicts = Counter(verdict for verdict, _said, _free in got)
    assert verdicts["won"] == Loan.objects.count() == 1
    assert sum(verdicts.values()) == RACERS * EACH
