"""Every press that moves jars, seats, money, equipment or fruit, by the table presses.csv: where it is raced.

"here": pressed by two at the same moment below, with what one form sends; the books then are as after one press. A file
is one whose own races press it. "-" moves nothing that is shared.
"""

from __future__ import annotations

import ast
import csv
from collections.abc import Callable, Iterator
from datetime import time, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum

from club.classes.models import CannerLoad, ClassSession, SignUp
from club.classes.services import day, gear, seats, sessions
from club.core.clock import club_day
from club.core.errors import AlreadyDone
from club.core.tables import Row
from club.members.models import User
from club.run.audits import house_audit
from club.run.children import HOME
from inventory.batches import services as batches
from inventory.batches.ingredients import lines_with_lots
from inventory.batches.models import Batch, ContainerUse, Jar, JarClaim, JarOffer, JarsSetAside, LotTaken
from inventory.batches.services.lots import WITHOUT, LotAnswer, lot_take_back
from inventory.equipment.models import Hold, Loan, Thing
from inventory.equipment.services import loan_deposit_settle, thing_retire
from inventory.fruit.models import FreezerItem, Share
from inventory.fruit.services import FreezerFields, freezer_item_add
from inventory.jars import services as jars
from inventory.jars.models import Balance, ClubOrder, Deposit, LidMovement, Movement, SupplyLot, SupplyMovement
from tests import helpers
from tests.factories.batches import make_ferment_done, make_kraut_kept
from tests.factories.class_day import log_out, make_called, make_dial_held
from tests.factories.classes import make_signup
from tests.factories.members import make_person
from tests.factories.recipes import make_process_table
from tests.permissions.world import Belongings, Club

with Path(__file__).with_name("presses.csv").open(encoding="utf-8", newline="") as file:
    TABLE = list(csv.DictReader(file))
ROOMS = {
    "jars": "inventory/jars",
    "equipment": "inventory/equipment",
    "fruit": "inventory/fruit",
    "batches": "inventory/batches",
    "classes": "club/classes",
}
Press = Callable[[], Any]


def services_of(room: str) -> Iterator[str]:
    """The names of a room's writes: each says who acts, and is one transaction."""
    folder = HOME / ROOMS[room]
    for path in [*folder.glob("services.py"), *folder.glob("services/*.py")]:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            is_one_transaction = any(ast.unparse(one) == "transaction.atomic" for one in node.decorator_list)
            if is_one_transaction and "by" in [one.arg for one in node.args.kwonlyargs]:
                yield node.name


def test_every_press_has_its_row_and_what_moves_something_is_raced():
    named = {(row["room"], row["service"]) for row in TABLE}
    assert named == {(room, name) for room in ROOMS for name in services_of(room)}
    assert {row["service"] for row in TABLE if row["raced"] == "here"} == set(PRESSES)
    for row in TABLE:
        if row["raced"] not in ("here", "-"):
            assert row["service"] in (HOME / row["raced"]).read_text(encoding="utf-8"), row
        assert (row["raced"] == "-") <= (row["moves"] == "-"), row


# One press of each, of things of their own.


def _keeper(theirs: Belongings) -> User:
    return theirs.club.keeper


def _bought(theirs: Belongings) -> SupplyMovement:
    return SupplyMovement.objects.filter(lot=theirs.supply_lot()).latest("pk")


def _jars_correct(theirs: Belongings) -> Press:
    return partial(jars.jars_correct, by=_keeper(theirs), movement=theirs.jar_loan, count=2, token=uuid4())


def _deposit_settle(theirs: Belongings) -> Press:
    told = {"person": theirs.owner, "size": theirs.deposit().size, "note": "paid back"}
    return partial(jars.deposit_settle, by=_keeper(theirs), token=uuid4(), **told)


def _loan_deposit_settle(theirs: Belongings) -> Press:
    told = {"loan": theirs.deposit_open(), "back_cents": 500, "note": "the rack is bent"}
    return partial(loan_deposit_settle, by=_keeper(theirs), **told)


def _count_book(theirs: Belongings) -> Press:
    counted = jars.Counted("pint", "empty", None, 5, 0)
    told = {"count": theirs.shelf_count(), "counted": [counted], "why": "unwritten"}
    return partial(jars.count_book, by=_keeper(theirs), **told)


def _counts_take_checked(theirs: Belongings) -> Press:
    rows = [Row(2, {"what": "jars", "place": "store", "size": "quart", "count": "7"})]
    return partial(jars.counts_take_checked, by=_keeper(theirs), name="shelf.csv", digest="5e" * 32, rows=rows)


def _lids_move(theirs: Belongings) -> Press:
    lot = LidMovement.objects.get(**theirs.lid_movement()).lot
    return partial(jars.lids_move, by=_keeper(theirs), reason="bought", lot=lot, count=12, token=uuid4())


def _lids_correct(theirs: Belongings) -> Press:
    movement = LidMovement.objects.get(**theirs.lid_movement())
    return partial(jars.lids_correct, by=_keeper(theirs), movement=movement, count=10, token=uuid4())


def _supply_buy(theirs: Belongings) -> Press:
    return partial(
        jars.supply_buy, by=_keeper(theirs), supply=theirs.supply_lot().supply, count=4, token=uuid4(), code="A 7"
    )


def _supply_use(theirs: Belongings) -> Press:
    return partial(jars.supply_use, by=_keeper(theirs), supply=theirs.supply_lot().supply, count=2, token=uuid4())


def _supply_spoil(theirs: Belongings) -> Press:
    return partial(jars.supply_spoil, by=_keeper(theirs), lot=theirs.supply_lot(), count=2, token=uuid4())


def _supply_correct(theirs: Belongings) -> Press:
    return partial(jars.supply_correct, by=_keeper(theirs), movement=_bought(theirs), count=1, token=uuid4())


def _order_cancel(theirs: Belongings) -> Press:
    return partial(jars.order_cancel, by=_keeper(theirs), order=theirs.order, reason="nobody sells them")


def _companion_take(theirs: Belongings) -> Press:
    signup = make_called(theirs.today.session, now=theirs.now)
    return partial(day.companion_take, by=theirs.club.teacher, signup=signup, name="Gwen", now=theirs.now)


def _absent_seat_free(theirs: Belongings) -> Press:
    signup = make_called(theirs.today.session, came=0, now=theirs.now)
    return partial(day.absent_seat_free, by=theirs.club.teacher, signup=signup, now=theirs.now)


def _signup_come_alone(theirs: Belongings) -> Press:
    pair = make_signup(theirs.session, make_person(), places=2, companion="Gwen", now=theirs.now)
    return partial(seats.signup_come_alone, by=pair.person, signup=pair, now=theirs.now)


def _session_cancel(theirs: Belongings) -> Press:
    return partial(sessions.session_cancel, by=theirs.club.teacher, session=theirs.signup.session, reason="flood")


def _jar_claim_withdraw(theirs: Belongings) -> Press:
    return partial(batches.jar_claim_withdraw, by=theirs.club.stranger, claim=theirs.jar_claim)


def _jar_claim_decline(theirs: Belongings) -> Press:
    return partial(batches.jar_claim_decline, by=theirs.owner, claim=theirs.jar_claim)


def _jar_offer_close(theirs: Belongings) -> Press:
    return partial(batches.jar_offer_close, by=theirs.owner, offer=theirs.jar_claim.offer)


def _lot_take_back(theirs: Belongings) -> Press:
    taken = LotTaken.objects.get(pk=theirs.lot_taken()["pk"])
    return partial(lot_take_back, by=theirs.owner, taken=taken)


def _set_aside_clear(theirs: Belongings) -> Press:
    told = {"set_aside": JarsSetAside.objects.get(pk=theirs.set_aside()["pk"]), "note": "looked at: sound"}
    return partial(batches.set_aside_clear, by=theirs.club.instructor, **told)


def _session_close(theirs: Belongings) -> Press:
    assert theirs.today
    later = theirs.now + timedelta(hours=3)
    log_out(theirs.today.station.cooking, now=later)
    session = theirs.today.session
    agreed = day.codes_of(day.still_cooking(session))
    return partial(day.session_close, by=theirs.club.teacher, session=session, agreed_to=agreed, now=later)


def _thing_retire(theirs: Belongings) -> Press:
    pk = theirs.thing.pk
    return lambda: thing_retire(by=_keeper(theirs), thing=Thing.objects.get(pk=pk), note="cracked")


def _counts_take(theirs: Belongings) -> Press:
    told = {"name": "shelf.csv", "content": b"what,place,size,state,lot,count\njars,club store,quart,,,30\n"}
    return partial(jars.counts_take, by=_keeper(theirs), **told)


def _order_close(theirs: Belongings) -> Press:
    order = theirs.order_come
    jars.order_pick_up(by=_keeper(theirs), order=order, member=theirs.owner, token=uuid4(), now=theirs.now)
    return partial(jars.order_close, by=_keeper(theirs), order=order)


def _freezer_item_add(theirs: Belongings) -> Press:
    today = club_day(theirs.now)
    fields = FreezerFields(kitchen=theirs.kitchen, what="plums", frozen_on=today, grams=2400, bags=3)
    return partial(freezer_item_add, by=theirs.owner, fields=fields, token=uuid4())


def _lots_note(theirs: Belongings) -> Press:
    batch = theirs.cooking
    answer = LotAnswer(at=lines_with_lots(batch)[0].at, chosen=WITHOUT)
    return partial(batches.lots_note, by=theirs.owner, batch=batch, answers=[answer], token=uuid4())


def _keeping_put_up(theirs: Belongings) -> Press:
    began = theirs.now - timedelta(days=30)
    kraut = make_ferment_done(**theirs.mine, began=began)
    return partial(batches.keeping_put_up, by=theirs.owner, batch=kraut, counts={"keeping-jar": 3}, grams=2100)


def _keeping_can(theirs: Belongings) -> Press:
    make_process_table(food="dill pickles", variant="fermented")
    dills = make_ferment_done(key="fermented-dills", **theirs.mine, began=theirs.now - timedelta(days=30))
    return partial(batches.keeping_can, by=theirs.owner, batch=dills, pack="hot", jar="pint")


def _station_start_again(theirs: Belongings) -> Press:
    cooking = theirs.today.station.cooking
    batches.batch_abandon(by=cooking.batch.started_by, batch=cooking.batch, reason="scorched", now=theirs.now)
    return partial(day.station_start_again, by=theirs.club.teacher, station=theirs.today.station, now=theirs.now)


def _load_take_back(theirs: Belongings) -> Press:
    told = {"by": theirs.club.teacher, "cooking": theirs.today.station.cooking, "number": 1, "now": theirs.now}
    day.load_begin(**told)
    return partial(day.load_take_back, **told)


def _gear_release(theirs: Belongings) -> Press:
    make_dial_held(theirs.session, now=theirs.now)
    return partial(gear.gear_release, by=theirs.club.teacher, session=theirs.session)


def _session_change(theirs: Belongings) -> Press:
    return partial(sessions.session_change, by=theirs.club.teacher, session=theirs.session, title="Plums by noon")


def _session_move(theirs: Belongings) -> Press:
    hours = {"day": theirs.session.day + timedelta(days=1), "starts": time(11), "ends": time(15)}
    return partial(sessions.session_move, by=theirs.club.teacher, session=theirs.session, **hours)


def _containers_use(theirs: Belongings) -> Press:
    kept = make_kraut_kept(**theirs.mine, began=theirs.now - timedelta(days=23))
    told = {"among": kept.jars.all(), "count": 1, "what": "emptied", "token": uuid4()}
    return partial(batches.containers_use, by=theirs.owner, **told)


def _jar_used(theirs: Belongings) -> Press:
    jar = theirs.kept.jars.get(number=1)
    return partial(batches.jar_used, by=theirs.owner, jar=jar, what="emptied", token=uuid4())


PRESSES: dict[str, Callable[[Belongings], Press]] = {
    made.__name__.removeprefix("_"): made
    for made in (
        *(_jars_correct, _deposit_settle, _lids_move, _lids_correct, _supply_buy, _supply_use, _supply_spoil),
        *(_supply_correct, _order_cancel, _companion_take, _absent_seat_free, _signup_come_alone, _session_cancel),
        *(_jar_claim_withdraw, _jar_claim_decline, _jar_offer_close, _lot_take_back, _set_aside_clear, _session_close),
        *(_thing_retire, _counts_take, _order_close, _freezer_item_add, _lots_note, _keeping_put_up, _keeping_can),
        *(_station_start_again, _load_take_back, _gear_release, _session_change, _session_move),
        *(_loan_deposit_settle, _count_book, _counts_take_checked, _containers_use, _jar_used),
    )
}


def books() -> dict[str, object]:
    """What two presses could move twice: rows of each ledger, what stands where, seats, money, and states."""
    counted = {
        model.__name__: model.objects.count()
        for model in (Movement, LidMovement, SupplyMovement, LotTaken, ContainerUse)
    }
    whose = ("place__kind", "place__kitchen", "place__person")  # the first press makes the place anew
    return counted | {
        "jars": sorted(Balance.objects.there().values_list(*whose, "size", "state", "count"), key=str),
        "supplies": sorted(SupplyLot.objects.values_list("supply", "code", "count")),
        "money": sorted(Deposit.objects.values_list("person", "size", "jars", "cents")),
        "seats": ClassSession.objects.aggregate(taken=Sum("seats_taken"))["taken"],
        "signups": sorted(SignUp.objects.values_list("pk", "state", "places")),
        "holds": sorted(Hold.objects.values_list("pk", "state")),
        "loans": Loan.objects.count(),
        "deposits": sorted(Loan.objects.values_list("pk", "deposit_back_cents", "deposit_note")),
        "things": sorted(Thing.everything.values_list("pk", "state")),
        "sessions": sorted(ClassSession.objects.values_list("pk", "state")),
        "orders": sorted(ClubOrder.objects.values_list("pk", "state")),
        "set aside": JarsSetAside.objects.open().count(),
        "taken": LotTaken.objects.filter(taken_back_at=None).count(),
        "shares": sorted(Share.objects.values_list("pk", "stage", "units")),
        "claims": sorted(JarClaim.objects.values_list("pk", "state")),
        "freezer": sorted(FreezerItem.objects.values_list("kitchen", "what", "grams_left", "bags_left")),
        "batches": sorted(Batch.objects.values_list("state", "required_minutes", "put_up_g"), key=str),
        "containers": Jar.objects.count(),
        "loads": CannerLoad.objects.count(),
        "hours": sorted(ClassSession.objects.values_list("pk", "title", "starts_at", "sequence")),
        "offers": sorted(JarOffer.objects.values_list("pk", "state")),
    }


@pytest.mark.django_db(transaction=True)
@pytest.mark.long
@pytest.mark.parametrize("service", PRESSES)
def test_of_two_presses_at_once_one_moves_something(service):
    club, owner = Club.make(), make_person(name="Owner")
    press = PRESSES[service](Belongings(club, owner, housemate=club.housemate))
    for person in (club.keeper, club.teacher, owner, club.stranger):
        person.has_perm("jars.run_orders")  # asked once here, so that no racer pays for it
    before = books()
    with transaction.atomic():
        press()
        once = books()
        transaction.set_rollback(True)
    assert once != before
    answers = helpers.at_once(press, press, refusals=(ValidationError, AlreadyDone))
    assert any(not isinstance(answer, Exception) for answer in answers), answers
    assert {key: value for key, value in books().items() if value != once[key]} == {}
    assert not any(house_audit().values())
