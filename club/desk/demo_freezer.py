"""The demo club's freezers, surplus jars and a recall, laid down through the services with the clock turned back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from club.members.models import Kitchen, User
from inventory.batches.models import Batch
from inventory.batches.services import jar_claim_make, jar_offer_make, jars_hand_over, recall_answer, recall_open
from inventory.fruit.services.freezer import FreezerFields, club_today, freezer_item_add, freezer_item_take


def freezer_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> None:
    """Also the jars to give and the recall, which need the batches to be there."""
    for one in told.get("freezer", []):
        _lot(one, people[one["by"]], kitchens[one["kitchen"]], now)
    for one in told.get("jar_offer", []):
        _offer(one, people, now)
    for one in told.get("recall", []):
        _recall(one, people, now)


def _lot(told: Mapping[str, Any], by: User, kitchen: Kitchen, now: datetime) -> None:
    put_in = now - timedelta(days=told["days_ago"])
    fields = FreezerFields(
        kitchen=kitchen,
        what=told["what"],
        frozen_on=club_today(put_in),
        grams=told["grams"],
        bags=told.get("bags"),
        state=told.get("state", "fruit"),
        with_sugar=told.get("with_sugar", False),
        freezer=told.get("freezer", ""),
    )
    item = freezer_item_add(by=by, fields=fields, token=uuid.uuid4(), now=put_in)
    if "taken" in told:
        taken = now - timedelta(days=told["days_ago"] // 2)
        freezer_item_take(by=by, item=item, grams=told["taken"], token=uuid.uuid4(), now=taken)


def _batch(told: Mapping[str, Any], by: User) -> Batch:
    return Batch.objects.filter(revision__recipe__slug=told["recipe"], made_by=by).earliest("started_at")


def _offer(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> None:
    giver, made = people[told["by"]], now - timedelta(days=told["days_ago"])
    offer = jar_offer_make(
        by=giver,
        batch=_batch(told, giver),
        size=told["size"],
        count=told["count"],
        by_choice=told.get("by_choice", False),
        note=told.get("note", ""),
        token=uuid.uuid4(),
        now=made,
    )
    for person, count in told.get("asked", {}).items():
        claim = jar_claim_make(by=people[person], offer=offer, count=count, token=uuid.uuid4(), now=made)
        if person in told.get("handed", []):
            jars_hand_over(by=giver, claim=claim, seals_firm=True, now=now)


def _recall(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> None:
    batch = _batch(told, people[told["made_by"]])
    opened = now - timedelta(hours=told["hours_ago"])
    recall = recall_open(by=people[told["by"]], batch=batch, reason=told["reason"], token=uuid.uuid4(), now=opened)
    for person, jars in told.get("answered", {}).items():
        recall_answer(
            by=people[person], recall=recall, batch=batch, outcome="set-apart", jars=jars, token=uuid.uuid4(), now=now
        )
