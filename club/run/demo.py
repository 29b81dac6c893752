"""Lay down the demo club of fixtures/demo/club.toml through the rooms' own services, with the clock turned back."""

from __future__ import annotations

import os
import tomllib
import uuid
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from django.conf import settings
from django.db import transaction

from club.classes.models import ClassSession, SignUp, Station, StationBatch
from club.classes.services import (
    SessionFields,
    StationFields,
    everybody_sit,
    gear_gather,
    load_begin,
    loads_of,
    own_note_write,
    roll_call,
    seats_move_on,
    session_close,
    session_make,
    session_publish,
    signup_cancel,
    signup_place,
    station_add,
    stations_start,
    taker_choose,
)
from club.core.clock import club_day
from club.core.clock import club_day as club_day_of_core
from club.core.places import FIXTURES
from club.members.choices import Role
from club.members.models import Kitchen, User
from club.members.services import kitchen_add, kitchen_invitation_answer, kitchen_invite, member_enrol, skill_waive
from club.reminders.services import kinds_for, wishes_change
from club.run.site import is_loopback
from club.season.services import household_set, jars_used, target_set
from inventory.batches.models import Batch
from inventory.batches.services import (
    batch_log_process,
    jar_claim_make,
    jar_offer_make,
    jars_hand_over,
    recall_answer,
    recall_open,
    seals_record,
)
from inventory.batches.services.log import batch_start
from inventory.equipment import services
from inventory.equipment.choices import Measure
from inventory.equipment.models import Thing
from inventory.equipment.rules import Reading
from inventory.fruit import services as fruit_services
from inventory.fruit.models import Offer, Share
from inventory.fruit.services.freezer import FreezerFields, freezer_item_add, freezer_item_take
from inventory.jars import services as jars
from inventory.jars import services as jars_services
from inventory.jars.models import ClubOrder, Supply
from inventory.jars.services import LineFields, Received, Terms, lid_lot_get_or_add
from recipes.engine.terms import Canner, Pack
from recipes.models import Recipe, Revision

# The demo club's things, their tests and loans, laid down through the services with the clock turned back.

BOUGHT_DAYS_AGO = 400


def things_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> None:
    keeper = next(user for user in people.values() if user.has_role(Role.KEEPER))
    things = {one["code"]: _thing(one, keeper, kitchens, now) for one in told.get("thing", [])}
    for one in told.get("loan", []):
        _loan(one, things[one["thing"]], people[one["to"]], keeper, now)
    for one in told.get("hold", []):
        first = club_day(now) + timedelta(days=one["in_days"])
        last = first + timedelta(days=one["days"] - 1)
        by, purpose = people[one["by"]], one.get("purpose", "")
        services.hold_place(by=by, thing=things[one["thing"]], starts=first, ends=last, purpose=purpose, now=now)
    for one in told.get("wait", []):
        today = club_day(now)
        services.waiting_join(
            by=people[one["by"]],
            kind=one["kind"],
            days=one["days"],
            not_before=today,
            not_after=today + timedelta(days=one["within_days"]),
            now=now,
        )


def _thing(told: Mapping[str, Any], keeper: User, kitchens: Mapping[str, Kitchen], now: datetime) -> Thing:
    fields = services.ThingFields(
        kind=told["kind"],
        name=told["name"],
        code=told["code"],
        capacity=told.get("jars", {}),
        home=kitchens["hall"],
        place=told.get("place", ""),
        deposit_cents=told.get("deposit_cents", 0),
        care=told.get("care", ""),
    )
    thing = services.thing_add(by=keeper, fields=fields, now=now - timedelta(days=BOUGHT_DAYS_AGO))
    for test in told.get("tests", []):
        at = now - timedelta(days=test["days_ago"])
        record = services.gauge_test_record if thing.facts.measure is Measure.PSI else services.calibration_record
        record(
            by=keeper,
            thing=thing,
            tested_on=club_day(at),
            readings=[Reading(Decimal(reference), Decimal(shown)) for reference, shown in test["readings"]],
            reference=test["against"],
            now=at,
        )
    if "repair" in told:
        services.thing_repair(by=keeper, thing=thing, note=told["repair"], now=now - timedelta(days=3))
    return thing


def _loan(told: Mapping[str, Any], thing: Thing, person: User, keeper: User, now: datetime) -> None:
    out_at = now - timedelta(days=told["out_days_ago"])
    loan = services.loan_hand_over(
        by=keeper,
        thing=thing,
        person=person,
        due_on=club_day(out_at) + timedelta(days=told["for_days"]),
        condition="good",
        deposit_cents=thing.deposit_cents,
        purpose=told.get("purpose", ""),
        now=out_at,
    )
    if "back_days_ago" in told:
        services.loan_return(
            by=keeper,
            loan=loan,
            condition=told.get("condition", "good"),
            missing_parts=told.get("missing", ""),
            now=now - timedelta(days=told["back_days_ago"]),
        )


# Who comes to a session of the demo club, who waits and who gave a seat up, with the clock turned back.


def seats_lay_down(
    told: Iterable[Mapping[str, Any]], session: ClassSession, people: Mapping[str, User], now: datetime
) -> None:
    """`told`: the tables `seat` of the demo file, in the order in which people signed up for this one session.

    Nothing is dated before sign-up opened, whatever the file says.
    """
    rows = list(told)
    made = {}
    for one in rows:
        made[one["by"]] = signup_place(
            by=people[one["by"]],
            session=session,
            places=2 if "with" in one else 1,
            companion=one.get("with", ""),
            needs=one.get("needs", ""),
            now=_ago(one["hours_ago"], session, now),
        )
    for one in rows:
        if "gave_up_hours_ago" in one:
            at = _ago(one["gave_up_hours_ago"], session, now)
            signup_cancel(by=people[one["by"]], signup=made[one["by"]], now=at)
    seats_move_on(now)


def _ago(hours: int, session: ClassSession, now: datetime) -> datetime:
    return max(now - timedelta(hours=hours), session.signup_opens_at)


# A class of the demo club as it went: run through the rooms' own services, with the clock turned back.

LIDS = "TB-CLASS"
LEARNED = "Four hours were enough with everything washed beforehand. Warm the jars while the fruit comes to the boil."
NOTE = "Mine set after a night. Next time I chop the fruit smaller."
STARTED_AFTER = timedelta(minutes=15)
COOKED_FOR = timedelta(minutes=40)
CLEANING = timedelta(minutes=15)
LOOKED_AFTER = timedelta(hours=14)


def class_day_lay_down(session: ClassSession, *, now: datetime) -> ClassSession:
    """Call the roll, seat everybody, cook, log, close and look at the seals, each at its hour; none of it after `now`.

    `session` is published, with stations and seated sign-ups, and over before `now`. Of three parties or more the
    last to sign up was absent; one jar of the first batch did not seal. An instructor presses, each taker looks.
    """
    by = session.instructors.order_by("pk").first() or session.created_by
    _roll(by, session)
    everybody_sit(by=by, session=session, now=session.starts_at)
    _takers(by, session)
    started = stations_start(by=by, session=session, now=session.starts_at + STARTED_AFTER)
    batches = [_cook(by, cooking) for cooking in started.new]
    held = session_close(by=by, session=session, learned=LEARNED, now=max(_outs(batches, session.ends_at)))
    first = SignUp.objects.came().filter(session=session).order_by("joined_at", "pk").first()
    if first is not None:
        own_note_write(by=first.person, signup=first, text=NOTE, now=min(now, session.ends_at + LOOKED_AFTER))
    for number, batch in enumerate(batches):
        _look(batch, unsealed=number == 0, now=now)
    return held


def _roll(by: User, session: ClassSession) -> None:
    signups = list(SignUp.objects.seated().filter(session=session).order_by("joined_at", "pk"))
    for number, signup in enumerate(signups, start=1):
        was_absent = number == len(signups) > 2
        came = 0 if was_absent else signup.places
        roll_call(by=by, signup=signup, came=came, now=session.starts_at)


def _takers(by: User, session: ClassSession) -> None:
    for station in Station.objects.filter(session=session):
        signup = SignUp.objects.came().filter(station=station).order_by("joined_at", "pk").first()
        if signup is not None:
            taker_choose(by=by, station=station, signup=signup, now=session.starts_at)


def _cook(by: User, cooking: StationBatch) -> Batch:
    """Its loads go in one after the other; the jars are out a quarter of an hour before the session ends."""
    session, batch = cooking.station.session, cooking.batch
    minutes = timedelta(minutes=batch.required_minutes or 0)
    begins = session.starts_at + STARTED_AFTER + COOKED_FOR
    for number in range(1, loads_of(cooking) + 1):
        at = begins + (number - 1) * minutes
        load_begin(by=by, cooking=cooking, number=number, now=at)
    out = max(session.ends_at - CLEANING, begins + minutes)
    jars = Counter({jar["size"]: jar["count"] for jar in batch.plan["jars"]}) or Counter({batch.jar_size: 1})
    return batch_log_process(
        by=by,
        batch=batch,
        jars=jars,
        minutes=batch.required_minutes,
        psi=batch.required_psi,
        process_started_at=None if batch.is_frozen_kind else begins,
        jars_out_at=out,
        lid_code="" if batch.is_frozen_kind else LIDS,
        now=out,
    )


def _outs(batches: list[Batch], ends: datetime) -> list[datetime]:
    return [ends, *(batch.jars_out_at for batch in batches if batch.jars_out_at)]


def _look(batch: Batch, *, unsealed: bool, now: datetime) -> None:
    at = batch.jars_out_at + LOOKED_AFTER if batch.jars_out_at else now
    if batch.is_frozen_kind or at > now:
        return
    loose = [1] if unsealed else []
    numbers = batch.jars.values_list("number", flat=True)
    seals_record(
        by=batch.made_by,
        batch=batch,
        token=uuid4(),
        results={number: "unsealed" if number in loose else "sealed" for number in numbers},
        disposals=dict.fromkeys(loose, "refrigerate"),
        now=at,
    )


# The demo club's classes, planned through the services: one to come with its gear held, one that cannot be yet.

SATURDAY = 5


def classes_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> list[ClassSession]:
    keeper = next(user for user in people.values() if user.has_role(Role.KEEPER))
    for one in told.get("shelf", []):
        _shelf(one, keeper, kitchens["hall"])
    for one in told.get("waived", []):
        by, person = people[one["by"]], people[one["person"]]
        skill_waive(by=by, person=person, skill=one["skill"], reason=one["reason"], now=now)
    return [_class(one, people, kitchens, now) for one in told.get("class", [])]


def _class(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> ClassSession:
    """Planned some days ago, then signed up for, then held where the file says so."""
    planned = now - timedelta(days=told.get("made_days_ago", 0))
    session = _session(told, people, kitchens, planned, in_days=told["in_days"] + told.get("made_days_ago", 0))
    seats_lay_down(told.get("seat", []), session, people, now)
    return class_day_lay_down(session, now=now) if told.get("held") else session


def _session(
    told: Mapping[str, Any],
    people: Mapping[str, User],
    kitchens: Mapping[str, Kitchen],
    now: datetime,
    *,
    in_days: int,
) -> ClassSession:
    by = people[told["by"]]
    fields = SessionFields(
        title=told["title"],
        hall=kitchens["hall"],
        starts=time.fromisoformat(told["starts"]),
        ends=time.fromisoformat(told["ends"]),
        instructors=[people[key] for key in told.get("teach", [told["by"]])],
        about=told.get("about", ""),
        what_to_bring=told.get("bring", ""),
        price_note=told.get("price", ""),
        skill=told.get("skill", ""),
        minimum_people=told.get("minimum", 2),
    )
    day = saturday_from(club_day(now) + timedelta(days=in_days))
    session = session_make(by=by, fields=fields, day=day, token=uuid.uuid4(), now=now)
    for station in told.get("station", []):
        station_add(by=by, session=session, fields=_station(station), now=now)
    if told.get("gather"):
        gear_gather(by=by, session=session, now=now)
    return session_publish(by=by, session=session, now=now) if told.get("publish") else session


def _station(told: Mapping[str, Any]) -> StationFields:
    return StationFields(
        revision=Revision.objects.get(current_of__slug=told["recipe"]),
        burners_w=tuple(told["burners_w"]),
        pots=told.get("pots", 1),
        jar_size=told["jar"],
        pack=told.get("pack", ""),
        canner=told["canner"],
        capacity=told["jars"],
        seats=told["seats"],
        name=told.get("name", ""),
    )


def _shelf(told: Mapping[str, Any], keeper: User, hall: Kitchen) -> None:
    """Empties bought into the hall, lids of a lot, or a supply."""
    if "jar" in told:
        jars.jars_move(
            by=keeper,
            reason="bought",
            size=told["jar"],
            count=told["count"],
            source=jars.outside_place("bought"),
            target=jars.kitchen_place(hall),
            token=uuid.uuid4(),
        )
    elif "lids" in told:
        lot = lid_lot_get_or_add(by=keeper, code=told["lids"])
        jars.lids_buy(by=keeper, lot=lot, count=told["count"], token=uuid.uuid4())
    else:
        supply = jars.supply_add(by=keeper, name=told["supply"], unit=told["unit"])
        jars.supply_buy(by=keeper, supply=supply, count=told["count"], token=uuid.uuid4())


def saturday_from(day: date) -> date:
    """That day, when it is a Saturday, or the next one."""
    return day + timedelta(days=(SATURDAY - day.weekday()) % 7)


# The demo club's fruit: offers, claims and shares, laid down through the services with the clock turned back.


def fruit_lay_down(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> None:
    for one in told.get("offer", []):
        offer = _offer(one, people, now)
        for claim in one.get("claims", []):
            _claim(claim, offer, people, now)
        if "shared_hours_ago" in one:
            fruit_services.offer_share_out(
                by=offer.giver, offer=offer, now=now - timedelta(hours=one["shared_hours_ago"])
            )
            _fetched(one, offer, people, now)


def _offer(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> Offer:
    today = club_day_of_core(now)
    made_at = now - timedelta(days=told["days_ago"])
    fields = fruit_services.OfferFields(
        produce=told["produce"],
        name=told.get("sort", ""),
        amount=told.get("count") or told["grams"],
        container=told.get("container", ""),
        kept=told.get("kept", 0),
        where=told["where"],
        about_where=told["about_where"],
        state="frozen" if "frozen_days_ago" in told else "fresh",
        frozen_on=today - timedelta(days=told["frozen_days_ago"]) if "frozen_days_ago" in told else None,
        windows=tuple(
            fruit_services.Hours(today + timedelta(days=day), time(first), time(last))
            for day, first, last in told["pick_up"]
        ),
        grown=told.get("grown", ""),
        note=told.get("note", ""),
    )
    return fruit_services.offer_make(by=people[told["by"]], fields=fields, now=made_at)


def _claim(told: Mapping[str, Any], offer: Offer, people: Mapping[str, User], now: datetime) -> None:
    """In every window of the offer, some hours after it was made."""
    fruit_services.claim_set(
        by=people[told["by"]],
        offer=offer,
        asked=told["asked"],
        least=told.get("least", 1),
        windows=list(offer.windows.values_list("pk", flat=True)),
        recipe=Recipe.objects.filter(slug=told.get("recipe", "")).first(),
        now=offer.created_at + timedelta(hours=told["after_hours"]),
    )


def _fetched(told: Mapping[str, Any], offer: Offer, people: Mapping[str, User], now: datetime) -> None:
    names = [people[key] for key in told.get("fetched", [])]
    for share in Share.objects.filter(offer=offer, person__in=names).select_related("offer"):
        fruit_services.share_note_picked_up(
            by=share.person, share=share, now=now - timedelta(hours=told["fetched_hours_ago"])
        )


# The demo club's freezers, surplus jars and a recall, laid down through the services with the clock turned back.


def freezer_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> None:
    """Also the jars to give and the recall, which need the batches to be there."""
    for one in told.get("freezer", []):
        _lot(one, people[one["by"]], kitchens[one["kitchen"]], now)
    for one in told.get("jar_offer", []):
        _offer_jars(one, people, now)
    for one in told.get("recall", []):
        _recall(one, people, now)


def _lot(told: Mapping[str, Any], by: User, kitchen: Kitchen, now: datetime) -> None:
    put_in = now - timedelta(days=told["days_ago"])
    fields = FreezerFields(
        kitchen=kitchen,
        what=told["what"],
        frozen_on=club_day(put_in),
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


def _batch_of(told: Mapping[str, Any], by: User) -> Batch:
    return Batch.objects.filter(revision__recipe__slug=told["recipe"], made_by=by).earliest("started_at")


def _offer_jars(told: Mapping[str, Any], people: Mapping[str, User], now: datetime) -> None:
    giver, made = people[told["by"]], now - timedelta(days=told["days_ago"])
    offer = jar_offer_make(
        by=giver,
        batch=_batch_of(told, giver),
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
    batch = _batch_of(told, people[told["made_by"]])
    opened = now - timedelta(hours=told["hours_ago"])
    recall = recall_open(by=people[told["by"]], batch=batch, reason=told["reason"], token=uuid.uuid4(), now=opened)
    for person, count in told.get("answered", {}).items():
        recall_answer(
            by=people[person], recall=recall, batch=batch, outcome="set-apart", jars=count, token=uuid.uuid4(), now=now
        )


# How people of the demo club want to be reached, laid down through the service; the others have said nothing.


def wishes_lay_down(told: Mapping[str, Any], people: Mapping[str, User]) -> None:
    for one in told.get("wishes", []):
        by = people[one["by"]]
        wishes_change(
            by=by,
            zone_name=one.get("zone", ""),
            quiet_from=time.fromisoformat(one["quiet_from"]),
            quiet_until=time.fromisoformat(one["quiet_until"]),
            digest_weekday=one.get("digest_weekday"),
            digest_hour=one.get("digest_hour", 8),
            mailed=[rule.name for rule in kinds_for(by) if rule.may_mute and rule.name not in one["site_alone"]],
        )


# The demo club's season: what households go through, jars they opened, and two club orders, through the services.


def season_lay_down(
    told: Mapping[str, Any], people: Mapping[str, User], kitchens: Mapping[str, Kitchen], now: datetime
) -> None:
    """After the batches, whose jars are opened here."""
    keeper = next(user for user in people.values() if user.has_role(Role.KEEPER))
    for one in told.get("household", []):
        _household(one, people[one["by"]], kitchens[one["kitchen"]])
    for one in told.get("yearly", []):
        _yearly(one, people[one["by"]], kitchens[one["kitchen"]])
    for one in told.get("opened", []):
        _opened(one, people[one["by"]], kitchens[one["kitchen"]], now)
    for one in told.get("order", []):
        _order(one, people, keeper, now)


def _household(told: Mapping[str, Any], by: User, kitchen: Kitchen) -> None:
    household_set(
        by=by,
        kitchen=kitchen,
        evening_minutes=told["evening_minutes"],
        lids_at_home=told.get("lids", 0),
        is_counted=told.get("counted", False),
    )


def _yearly(told: Mapping[str, Any], by: User, kitchen: Kitchen) -> None:
    recipe = Recipe.objects.get(slug=told["recipe"]) if "recipe" in told else None
    kind, produce, canner = (told.get(name, "") for name in ("kind", "produce", "canner"))
    what = {"kind": kind, "produce": produce, "canner": canner}
    target_set(by=by, kitchen=kitchen, recipe=recipe, jar_size=told["jar"], jars=told["jars"], **what)


def _opened(told: Mapping[str, Any], by: User, kitchen: Kitchen, now: datetime) -> None:
    jars_used(
        by=by,
        kitchen=kitchen,
        what=told.get("what", "emptied"),
        recipe_id=Recipe.objects.get(slug=told["recipe"]).pk,
        size=told["jar"],
        count=told["count"],
        token=uuid.uuid4(),
        now=now - timedelta(days=told["days_ago"]),
    )


def _order(told: Mapping[str, Any], people: Mapping[str, User], keeper: User, now: datetime) -> None:
    """An order as far as it has come: taking wishes, or arrived and partly fetched."""
    opened = now - timedelta(days=told["opened_days_ago"])
    order = jars_services.order_open(
        by=people[told["by"]],
        title=told["title"],
        supplier=told.get("supplier", ""),
        note=told.get("note", ""),
        closes_at=opened + timedelta(days=told["open_days"]),
        token=uuid.uuid4(),
        terms=Terms(**told.get("terms", {})),
        lines=[_line(line, keeper) for line in told["line"]],
        now=opened,
    )
    lines = list(order.lines.order_by("pk"))
    for wish in told.get("wish", []):
        asked = {line.pk: units for line, units in zip(lines, wish["units"], strict=True)}
        at = opened + timedelta(hours=wish["after_hours"])
        jars_services.order_wishes_set(by=people[wish["member"]], order=order, wishes=asked, now=at)
    if "arrived_days_ago" in told:
        _arrive(told, order, people, keeper, now - timedelta(days=told["arrived_days_ago"]))


def _line(told: Mapping[str, Any], keeper: User) -> LineFields:
    fields = dict(told)
    if "supply" in fields:
        fields["supply"] = _supply(fields["supply"], keeper)
    return LineFields(**fields)


def _supply(told: Mapping[str, Any], keeper: User) -> Supply:
    return jars_services.supply_add(by=keeper, name=told["name"], unit=told["unit"], low_level=told.get("low", 0))


def _arrive(told: Mapping[str, Any], order: ClubOrder, people: Mapping[str, User], keeper: User, at: datetime) -> None:
    jars_services.order_place(by=keeper, order=order, now=at - timedelta(days=5))
    lines = zip(order.lines.order_by("pk"), told["received"], told["lids"], strict=True)
    received = {line.pk: Received(units, lid_code=code) for line, units, code in lines}
    jars_services.order_arrive(by=keeper, order=order, received=received, token=uuid.uuid4(), now=at)
    for one in told.get("paid", []):
        member, cents = people[one["member"]], one["cents"]
        jars_services.order_payment_note(by=keeper, order=order, member=member, cents=cents, token=uuid.uuid4(), now=at)
    for key in told.get("fetched", []):
        jars_services.order_pick_up(by=keeper, order=order, member=people[key], token=uuid.uuid4(), now=at)


# Lay down the demo club of fixtures/demo/club.toml through the rooms' own services, with the clock turned back.
#
# Everything a member could do is done as she would do it, so that the demo cannot hold what the site would refuse.

CLUB_FILE = FIXTURES / "demo" / "club.toml"
# Printed by `up`; the last one is the member whose desk shows the most.
SIGN_INS: tuple[tuple[str, str], ...] = (
    ("marguerite@tallowbench.example", "organiser"),
    ("tobias@tallowbench.example", "keeper"),
    ("ilse@tallowbench.example", "instructor"),
    ("samuel@tallowbench.example", "instructor and keeper"),
    ("petra@tallowbench.example", "member"),
)
PASSWORD = "damson-kettle-42"  # of a demo club that lives on one machine; `up --no-demo` lays none down
STOVE_HOURS = 3  # between the first cut and the jars coming out


@dataclass(frozen=True)
class DemoClub:
    people: Mapping[str, User]
    kitchens: Mapping[str, Kitchen]
    batches: list[Batch]


class DemoRefused(Exception):
    """The demo is laid down on an empty site only."""


def signs_of_others() -> list[str]:
    """The variables by which this is a site for others: the demo's password, printed for all, has no place there."""
    told = {
        "DATABASE_URL": "DATABASE_URL" in os.environ,
        "SMTP_HOST": "SMTP_HOST" in os.environ,
        "BEHIND_PROXY": settings.SECURE_PROXY_SSL_HEADER is not None,
        "SITE_URL": not is_loopback(urlsplit(settings.SITE_URL).hostname or ""),
    }
    return [name for name, is_so in told.items() if is_so]


@transaction.atomic
def demo_lay_down(*, now: datetime) -> DemoClub:
    """Make the people, kitchens and batches. DemoRefused where there are people already."""
    if User.objects.exists():
        raise DemoRefused("There are people here already: the demo club is laid down on an empty site only.")
    told = tomllib.loads(CLUB_FILE.read_text(encoding="utf-8"))
    people = {person["key"]: _person(person) for person in told["person"]}
    organiser = next(user for user in people.values() if user.has_role(Role.ORGANISER))
    kitchens = {kitchen["key"]: _kitchen(kitchen, organiser, people) for kitchen in told["kitchen"]}
    batches = [_batch(batch, people[batch["by"]], kitchens[batch["kitchen"]], now) for batch in told["batch"]]
    things_lay_down(told, people, kitchens, now)
    wishes_lay_down(told, people)
    season_lay_down(told, people, kitchens, now)
    classes_lay_down(told, people, kitchens, now)
    fruit_lay_down(told, people, now)
    freezer_lay_down(told, people, kitchens, now)
    return DemoClub(people, kitchens, batches)


def _person(told: Mapping[str, Any]) -> User:
    return member_enrol(
        email=f"{told['key']}@tallowbench.example",
        name=told["name"],
        password=PASSWORD,
        units=told["units"],
        roles=[Role(role) for role in told["roles"]],
    )


def _kitchen(told: Mapping[str, Any], organiser: User, people: Mapping[str, User]) -> Kitchen:
    owners = [people[key] for key in told.get("people", [])]
    kitchen = kitchen_add(
        by=owners[0] if owners else organiser,
        name=told["name"],
        altitude_text=told.get("altitude", ""),
        altitude_how=told.get("how", ""),
        is_hall=told.get("hall", False),
        power_limit_w=told.get("power_limit_w"),
    )
    for other in owners[1:]:
        kitchen_invite(by=owners[0], kitchen=kitchen, email=other.email)
        kitchen_invitation_answer(by=other, invitation=kitchen.invitations.get(person=other), accept=True)
    return kitchen


def _batch(told: Mapping[str, Any], by: User, kitchen: Kitchen, now: datetime) -> Batch:
    """One batch as far as it has come: on the stove, cooling, or looked at."""
    out_at = now - timedelta(hours=told["out_hours_ago"]) if "out_hours_ago" in told else None
    began = out_at - timedelta(hours=STOVE_HOURS) if out_at else now - timedelta(hours=told["started_hours_ago"])
    batch = batch_start(
        by=by,
        revision=Revision.objects.get(current_of__slug=told["recipe"]),
        kitchen=kitchen,
        token=uuid.uuid4(),
        pots=told["pots"],
        jar=told["jar"],
        pack=Pack(told["pack"]) if "pack" in told else None,
        canner=Canner(told["canner"]) if "canner" in told else None,
        started_at=began,
        now=began,
    )
    if out_at is None:
        return batch
    batch = batch_log_process(
        by=by,
        batch=batch,
        jars=told["filled"],
        jars_out_at=out_at,
        minutes=batch.required_minutes,
        psi=batch.required_psi,
        lid_code=told.get("lids", ""),
        now=out_at,
    )
    if "checked_after_hours" in told:
        _look_at_seals(told, by, batch, out_at + timedelta(hours=told["checked_after_hours"]))
    return batch


def _look_at_seals(told: Mapping[str, Any], by: User, batch: Batch, at: datetime) -> None:
    unsealed, broken = told.get("unsealed", []), told.get("broken", [])
    numbers = batch.jars.values_list("number", flat=True)
    results = {n: "unsealed" if n in unsealed else "broken" if n in broken else "sealed" for n in numbers}
    seals_record(
        by=by,
        batch=batch,
        token=uuid.uuid4(),
        results=results,
        disposals=dict.fromkeys(unsealed, told.get("kept", "")),
        now=at,
    )
