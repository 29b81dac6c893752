"""Ten jars and forty takers, each a real process' press: ten are served, on the database this suite runs on."""

from __future__ import annotations

import json
from collections import Counter
from uuid import uuid4

import pytest

from inventory.jars import services
from inventory.jars.choices import PlaceKind
from inventory.jars.models import Balance, Movement
from tests.drills.racing import all_at_once
from tests.drills.site import child_environment
from tests.factories.jars import make_jars, make_keeper
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.worker

TAKERS = 8
EACH = 5
JARS = 10
TAKER = """
import json, sys, time, pathlib, uuid, django
django.setup()
from django.core.exceptions import ValidationError
from club.members.models import User
from inventory.jars import services
from inventory.jars.models import Place
here, number, told = pathlib.Path(sys.argv[1]), sys.argv[2], json.loads(sys.argv[3])
by = User.objects.get(pk=told["by"])
source, target = Place.objects.get(pk=told["source"]), Place.objects.get(pk=told["target"])
(here / f"ready-{number}").touch()
while not (here / "go").exists():
    time.sleep(0.001)
got = []
for n in range(told["each"]):
    token = uuid.UUID(told["token"]) if told["token"] else uuid.uuid4()
    try:
        ends = {"source": source, "target": target}
        services.jars_move(by=by, reason=told["reason"], size="pint", count=1, token=token, **ends)
        got.append("moved")
    except services.NotEnough:
        got.append("refused")
(here / f"got-{number}.json").write_text(json.dumps(got))
"""


def race(folder, **told):
    """What each press got, all processes having set off together."""
    environment = child_environment(folder, broker_url="redis://127.0.0.1:1", smtp_port=1)
    environment["DJANGO_SETTINGS_MODULE"] = "club.settings"
    all_at_once(TAKER, [[str(n), json.dumps(told)] for n in range(TAKERS)], here=folder, environment=environment)
    return Counter(one for n in range(TAKERS) for one in json.loads((folder / f"got-{n}.json").read_text()))


def test_of_forty_takers_ten_get_a_jar_and_none_is_made_up(transactional_db, tmp_path):
    keeper, store = make_keeper(), services.store_place()
    make_jars(store, JARS, by=keeper)
    target = services.person_place(make_person())
    got = race(tmp_path, by=keeper.pk, source=store.pk, target=target.pk, reason="lent", each=EACH, token="")
    assert got == {"moved": JARS, "refused": TAKERS * EACH - JARS}
    assert Balance.objects.get(place=store).count == 0
    assert Balance.objects.get(place=target).count == JARS
    assert services.ledger_audit().is_sound


def test_forty_presses_of_one_form_move_one_jar(transactional_db, tmp_path):
    keeper, store = make_keeper(), services.store_place()
    make_jars(store, JARS, by=keeper)
    target = services.person_place(make_person())
    got = race(tmp_path, by=keeper.pk, source=store.pk, target=target.pk, reason="lent", each=EACH, token=str(uuid4()))
    assert got == {"moved": TAKERS * EACH}
    assert Movement.objects.filter(reason="lent").count() == 1
    assert Balance.objects.get(place=store).count == JARS - 1
    assert services.ledger_audit().is_sound


def test_forty_purchases_into_a_place_that_had_none_all_count(transactional_db, tmp_path):
    """Forty begin the same two balances at once; none is lost and nothing waits for ever."""
    keeper, place = make_keeper(), services.kitchen_place(make_kitchen())
    bought = services.outside_place(PlaceKind.BOUGHT)
    got = race(tmp_path, by=keeper.pk, source=bought.pk, target=place.pk, reason="bought", each=EACH, token="")
    assert got == {"moved": TAKERS * EACH}
    assert Balance.objects.get(place=place).count == TAKERS * EACH
    assert services.ledger_audit().is_sound
