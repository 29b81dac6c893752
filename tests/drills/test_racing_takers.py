"""Ten jars and forty takers, each a real process' press: ten are served, on the database this suite runs on."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections import Counter
from uuid import uuid4

import pytest

from club.run.children import HOME, end
from inventory.jars import services
from inventory.jars.models import Balance, Movement
from inventory.jars.words import PlaceKind
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
print(json.dumps(got))
"""


def race(folder, **told):
    """What each press got, all processes having set off together."""
    environment = child_environment(folder, broker_url="redis://127.0.0.1:1", smtp_port=1)
    environment["DJANGO_SETTINGS_MODULE"] = "club.settings"
    takers = [
        subprocess.Popen(
            [sys.executable, "-c", TAKER, str(folder), str(n), json.dumps(told)],
            env=environment,
            cwd=HOME,
            stdout=subprocess.PIPE,
            text=True,
        )
        for n in range(TAKERS)
    ]
    try:
        deadline = time.monotonic() + 90
        while len(list(folder.glob("ready-*"))) < TAKERS:
            assert time.monotonic() < deadline
            time.sleep(0.01)
        (folder / "go").touch()
        said = [taker.communicate(timeout=90)[0] for taker in takers]
        assert [taker.returncode for taker in takers] == [0] * TAKERS
    finally:
        end(takers, patience=1)
    return Counter(one for text in said for one in json.loads(text))


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
