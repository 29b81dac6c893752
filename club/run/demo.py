"""Lay down the demo club of fixtures/demo/club.toml through the rooms' own services, with the clock turned back.

Everything a member could do is done as they would do it, so that the demo cannot hold what the site would refuse. Each
table of the file is a section: `SECTIONS` says in which order they come and which method of `Loader` lays a row down.
"""

from __future__ import annotations

import os
import tomllib
import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db import transaction

from club.classes import services as classes
from club.classes.models import ClassSession, SignUp, Station, StationBatch
from club.classes.services import SessionFields, StationFields
from club.core.clock import club_day
from club.core.places import FIXTURES
from club.members.choices import Role
from club.members.models import Kitchen, User
from club.members.services import kitchen_add, kitchen_invitation_answer, kitchen_invite, member_enrol, skill_waive
from club.reminders.services import kinds_for, notification_settings_change
from club.run.site import is_loopback
from club.season.services import household_set, jars_used, region_set, target_set
from inventory.batches import services as batches
from inventory.batches.choices import LotKind
from inventory.batches.ingredients import acids_not_noted, lines_with_lots
from inventory.batches.models import Batch, Stage
from inventory.batches.rules import OwnGauge
from inventory.batches.services.log import batch_start
from inventory.equipment import services as equipment
from inventory.equipment.models import Thing
from inventory.equipment.rules import Reading
from inventory.fruit import services as fruit
from inventory.fruit.models import Offer, Share
from inventory.jars import services as jars
from inventory.jars.models import ClubOrder
from recipes.engine.terms import Canner, Pack
from recipes.models import Recipe, Revision

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

BOUGHT = timedelta(days=400)  # so long ago the equipment came
AT_THE_STOVE = timedelta(hours=3)  # between the first cut and the jars coming out
ORDERED_BEFORE = timedelta(days=5)  # between ordering and the delivery
SATURDAY = 5

Row = Mapping[str, Any]


class DemoRefused(Exception):
    """The demo is laid down on an empty site only."""


@dataclass(frozen=True)
class DemoClub:
    people: Mapping[str, User]
    kitchens: Mapping[str, Kitchen]
    batches: list[Batch]


def signs_of_others() -> list[str]:
    """The variables by which this is a site for others: the demo's password, printed for all, has no place there."""
    signs = {
        "DATABASE_URL": "DATABASE_URL" in os.environ,
        "SMTP_HOST": "SMTP_HOST" in os.environ,
        "BEHIND_PROXY": settings.SECURE_PROXY_SSL_HEADER is not None,
        "SITE_URL": not is_loopback(urlsplit(settings.SITE_URL).hostname or ""),
    }
    return [name for name, is_so in signs.items() if is_so]


@transaction.atomic
def demo_load(*, now: datetime, among_others: bool = False) -> DemoClub:
    """Make the club of the file. DemoRefused where there are people already, unless it may come among others."""
    if User.objects.exists() and not among_others:
        raise DemoRefused("There are people here already: the demo club is laid down on an empty site only.")
    tables = tomllib.loads(CLUB_FILE.read_text(encoding="utf-8"))
    if User.objects.filter(email__in=[email for email, _role in SIGN_INS]).exists():
        raise DemoRefused("The demo's people are here already.")
    loader = Loader(now)
    for table, load_row in SECTIONS:
        for row in tables[table]:
            load_row(loader, row)
    return DemoClub(loader.people, loader.kitchens, loader.batches)


def given(row: Row, *names: str) -> dict[str, Any]:
    """Those of the names that the row has; what is left out is the service's own default."""
    return {name: row[name] for name in names if name in row}


def saturday_from(day: date) -> date:
    """That day, when it is a Saturday, or the next one."""
    return day + timedelta(days=(SATURDAY - day.weekday()) % 7)


class Loader:
    """A method for each table, one row at a time. Rows name people, kitchens and equipment by their keys."""

    def __init__(self, now: datetime) -> None:
        self.now = now
        self.people: dict[str, User] = {}
        self.kitchens: dict[str, Kitchen] = {}
        self.equipment: dict[str, Thing] = {}
        self.batches: list[Batch] = []

    def ago(self, **span: int) -> datetime:
        return self.now - timedelta(**span)

    @property
    def today(self) -> date:
        return club_day(self.now)

    @cached_property
    def keeper(self) -> User:
        return next(user for user in self.people.values() if user.has_role(Role.KEEPER))

    @cached_property
    def organiser(self) -> User:
        return next(user for user in self.people.values() if user.has_role(Role.ORGANISER))

    # People and kitchens

    def person(self, row: Row) -> None:
        self.people[row["key"]] = member_enrol(
            email=f"{row['key']}@tallowbench.example",
            name=row["name"],
            password=PASSWORD,
            units=row["units"],
            roles=[Role(role) for role in row["roles"]],
        )

    def kitchen(self, row: Row) -> None:
        owners = [self.people[key] for key in row.get("people", [])]
        kitchen = kitchen_add(
            by=owners[0] if owners else self.organiser,
            name=row["name"],
            **given(row, "altitude_text", "altitude_how", "is_hall", "power_limit_w"),
        )
        for other in owners[1:]:
            kitchen_invite(by=owners[0], kitchen=kitchen, email=other.email)
            kitchen_invitation_answer(by=other, invitation=kitchen.invitations.get(person=other), accept=True)
        self.kitchens[row["key"]] = kitchen

    def notifications(self, row: Row) -> None:
        """How somebody wants to be reached; the others have said nothing."""
        by = self.people[row["by"]]
        notification_settings_change(
            by=by,
            zone_name=row.get("zone_name", ""),
            quiet_from=time.fromisoformat(row["quiet_from"]),
            quiet_until=time.fromisoformat(row["quiet_until"]),
            digest_weekday=row.get("digest_weekday"),
            digest_hour=row.get("digest_hour", 8),
            mailed=[rule.name for rule in kinds_for(by) if rule.may_mute and rule.name not in row["site_alone"]],
        )

    # Batches, jars to give away, recalls

    def batch(self, row: Row) -> None:
        """One batch as far as it has come: on the stove, cooling, or checked."""
        by = self.people[row["by"]]
        out_at = self.ago(hours=row["out_hours_ago"]) if "out_hours_ago" in row else None
        began = out_at - AT_THE_STOVE if out_at else self.ago(hours=row["started_hours_ago"])
        batch = batch_start(
            by=by,
            revision=Revision.objects.get(current_of__slug=row["recipe"]),
            kitchen=self.kitchens[row["kitchen"]],
            token=uuid.uuid4(),
            pots=row["pots"],
            jar=row["jar"],
            pack=Pack(row["pack"]) if "pack" in row else None,
            canner=Canner(row["canner"]) if "canner" in row else None,
            canner_code=row.get("canner_code", ""),
            own_gauge=OwnGauge() if row.get("own_weighted_gauge") else None,
            started_at=began,
            now=began,
        )
        if out_at is not None:
            batch = batches.batch_log_process(
                by=by,
                batch=batch,
                jars=row["filled"],
                jars_out_at=out_at,
                minutes=batch.required_minutes,
                psi=batch.setting_psi,
                lots=_acids_without_lots(batch),
                now=out_at,
                **given(row, "lid_code"),
            )
            if "checked_after_hours" in row:
                self._check_seals(row, batch, out_at + timedelta(hours=row["checked_after_hours"]))
        self.batches.append(batch)

    def keeping(self, row: Row) -> None:
        """One batch in stages, as far as what was done since brought it."""
        by, began = self.people[row["by"]], self.ago(hours=row["began_hours_ago"])
        batch = batches.keeping_start(
            by=by,
            way=row["way"],
            key=row["key"],
            kitchen=self.kitchens[row["kitchen"]],
            weighed_g=row["weighed_g"],
            choices=batches.KeepingChoices(room_f=Fraction(row["room_f"]) if "room_f" in row else None),
            token=uuid.uuid4(),
            now=began,
        )
        for done in row["then"]:
            told: dict[str, Any] = {"by": by, "batch": batch, "now": self.ago(hours=done["hours_ago"])}
            if "ends" in done:
                running = Stage.objects.running().get(batch=batch)
                batches.stage_finish(number=running.number, passed=True, **told)
            elif "ph" in done:
                value, meter = Decimal(done["ph"]), done["meter"]
                batches.reading_note(measured="ph", value=value, instrument_code=meter, token=uuid.uuid4(), **told)
            elif "put_up" in done:
                batches.keeping_put_up(counts=done["put_up"], grams=done["grams"], **told)
            else:
                seen = given(done, "scum", "cover", "smell", "moisture")
                batches.stage_look(token=uuid.uuid4(), **seen, **told)

    def _check_seals(self, row: Row, batch: Batch, at: datetime) -> None:
        unsealed: list[int] = row.get("unsealed", [])
        broken: list[int] = row.get("broken", [])
        kept: str = row.get("kept", "")
        numbers = batch.jars.values_list("number", flat=True)
        batches.seals_record(
            by=self.people[row["by"]],
            batch=batch,
            token=uuid.uuid4(),
            results={n: "unsealed" if n in unsealed else "broken" if n in broken else "sealed" for n in numbers},
            disposals=dict.fromkeys(unsealed, kept),
            now=at,
        )

    def _first_batch(self, recipe: str, made_by: str) -> Batch:
        found = Batch.objects.filter(revision__recipe__slug=recipe, made_by=self.people[made_by])
        return found.earliest("started_at")

    def jar_offer(self, row: Row) -> None:
        giver, made = self.people[row["by"]], self.ago(days=row["days_ago"])
        offer = batches.jar_offer_make(
            by=giver,
            batch=self._first_batch(row["recipe"], row["by"]),
            size=row["size"],
            count=row["count"],
            token=uuid.uuid4(),
            now=made,
            **given(row, "by_choice", "note"),
        )
        for key, count in row["asked"].items():
            claim = batches.jar_claim_make(by=self.people[key], offer=offer, count=count, token=uuid.uuid4(), now=made)
            if key in row.get("handed", []):
                batches.jars_hand_over(by=giver, claim=claim, seals_firm=True, now=self.now)

    def recall(self, row: Row) -> None:
        batches.recall_open(
            by=self.people[row["by"]],
            batch=self._first_batch(row["recipe"], row["made_by"]),
            reason=row["reason"],
            token=uuid.uuid4(),
            now=self.ago(hours=row["hours_ago"]),
        )

    # Equipment lent

    def thing(self, row: Row) -> None:
        fields = equipment.ThingFields(
            home=self.kitchens["hall"],
            **given(row, "kind", "name", "code", "capacity", "two_layers", "place", "deposit_cents", "care"),
        )
        thing = equipment.thing_add(by=self.keeper, fields=fields, now=self.now - BOUGHT)
        self._tests(row, self.keeper, thing)
        if "repair" in row:
            equipment.thing_repair(by=self.keeper, thing=thing, note=row["repair"], now=self.ago(days=3))
        self.equipment[row["code"]] = thing

    def own_canner(self, row: Row) -> None:
        by = self.people[row["by"]]
        card = given(row, "kind", "name", "capacity")
        made = equipment.own_canner_add(by=by, kitchen=self.kitchens[row["kitchen"]], now=self.now - BOUGHT, **card)
        self._tests(row, by, made)

    def _tests(self, row: Row, by: User, thing: Thing) -> None:
        for test in row.get("tests", []):
            at = self.ago(days=test["days_ago"])
            equipment.instrument_test_record(
                by=by,
                thing=thing,
                tested_on=club_day(at),
                readings=[Reading(Decimal(reference), Decimal(shown)) for reference, shown in test["readings"]],
                reference=test["against"],
                now=at,
            )

    def loan(self, row: Row) -> None:
        thing, out_at = self.equipment[row["thing"]], self.ago(days=row["out_days_ago"])
        loan = equipment.loan_hand_over(
            by=self.keeper,
            thing=thing,
            person=self.people[row["to"]],
            due_on=club_day(out_at) + timedelta(days=row["for_days"]),
            condition="good",
            deposit_cents=thing.deposit_cents,
            now=out_at,
            **given(row, "purpose"),
        )
        if "back_days_ago" in row:
            back_at = self.ago(days=row["back_days_ago"])
            back = {"condition": "good", **given(row, "condition", "missing_parts")}
            equipment.loan_return(by=self.keeper, loan=loan, now=back_at, **back)

    def hold(self, row: Row) -> None:
        first = self.today + timedelta(days=row["in_days"])
        equipment.hold_place(
            by=self.people[row["by"]],
            thing=self.equipment[row["thing"]],
            starts=first,
            ends=first + timedelta(days=row["days"] - 1),
            now=self.now,
            **given(row, "purpose"),
        )

    def wait(self, row: Row) -> None:
        equipment.waiting_join(
            by=self.people[row["by"]],
            kind=row["kind"],
            days=row["days"],
            not_before=self.today,
            not_after=self.today + timedelta(days=row["within_days"]),
            now=self.now,
        )

    # The season and club orders

    def household(self, row: Row) -> None:
        household_set(
            by=self.people[row["by"]],
            kitchen=self.kitchens[row["kitchen"]],
            evening_minutes=row["evening_minutes"],
            lids_at_home=row.get("lids_at_home", 0),
            is_counted=row["is_counted"],
        )

    def region(self, row: Row) -> None:
        """Whose published calendar the club's harvest goes by."""
        region_set(by=self.organiser, region=row["calendar"])

    def yearly(self, row: Row) -> None:
        """What a household goes through in a year."""
        target_set(
            by=self.people[row["by"]],
            kitchen=self.kitchens[row["kitchen"]],
            recipe=Recipe.objects.get(slug=row["recipe"]) if "recipe" in row else None,
            jar_size=row["jar_size"],
            jars=row["jars"],
            **given(row, "kind", "produce", "canner"),
        )

    def opened(self, row: Row) -> None:
        """Jars that left the shelf since."""
        jars_used(
            by=self.people[row["by"]],
            kitchen=self.kitchens[row["kitchen"]],
            what=row.get("what", "emptied"),
            recipe_id=Recipe.objects.get(slug=row["recipe"]).pk,
            size=row["jar"],
            count=row["count"],
            token=uuid.uuid4(),
            now=self.ago(days=row["days_ago"]),
        )

    def order(self, row: Row) -> None:
        """An order as far as it has come: open, or arrived and partly fetched."""
        opened = self.ago(days=row["opened_days_ago"])
        order = jars.order_open(
            by=self.people[row["by"]],
            title=row["title"],
            closes_at=opened + timedelta(days=row["open_days"]),
            token=uuid.uuid4(),
            terms=jars.Terms(**row["terms"]),
            lines=[self._order_line(line) for line in row["line"]],
            now=opened,
            **given(row, "supplier", "note"),
        )
        lines = list(order.lines.order_by("pk"))
        for wish in row["wish"]:
            jars.order_entries_set(
                by=self.people[wish["person"]],
                order=order,
                entries={line.pk: units for line, units in zip(lines, wish["units"], strict=True)},
                now=opened + timedelta(hours=wish["after_hours"]),
            )
        if "arrived_days_ago" in row:
            self._order_arrives(row, order, self.ago(days=row["arrived_days_ago"]))

    def _order_line(self, line: Row) -> jars.LineFields:
        if "supply" not in line:
            return jars.LineFields(**line)
        return jars.LineFields(**{**line, "supply": jars.supply_add(by=self.keeper, **line["supply"])})

    def _order_arrives(self, row: Row, order: ClubOrder, at: datetime) -> None:
        jars.order_place(by=self.keeper, order=order, now=at - ORDERED_BEFORE)
        lines = zip(order.lines.order_by("pk"), row["received"], row["lids"], strict=True)
        received = {line.pk: jars.Received(units, lid_code=code) for line, units, code in lines}
        jars.order_arrive(by=self.keeper, order=order, received=received, token=uuid.uuid4(), now=at)
        for paid in row["paid"]:
            jars.order_payment_note(
                by=self.keeper,
                order=order,
                member=self.people[paid["person"]],
                cents=paid["cents"],
                token=uuid.uuid4(),
                now=at,
            )
        for key in row["fetched"]:
            jars.order_pick_up(by=self.keeper, order=order, member=self.people[key], token=uuid.uuid4(), now=at)

    def shelf(self, row: Row) -> None:
        """Empties bought into the hall, lids of a lot, or a supply."""
        if "jar" in row:
            jars.jars_move(
                by=self.keeper,
                reason="bought",
                size=row["jar"],
                count=row["count"],
                source=jars.outside_place("bought"),
                target=jars.kitchen_place(self.kitchens["hall"]),
                token=uuid.uuid4(),
            )
        elif "lids" in row:
            lot = jars.lid_lot_get_or_add(by=self.keeper, code=row["lids"])
            jars.lids_move(by=self.keeper, reason="bought", lot=lot, count=row["count"], token=uuid.uuid4())
        else:
            supply = jars.supply_add(by=self.keeper, name=row["supply"], unit=row["unit"], **given(row, "kind"))
            label: dict[str, Any] = given(row, "code", "strength_tenths")
            if "use_by_in_days" in row:
                label["use_by"] = self.today + timedelta(days=row["use_by_in_days"])
            jars.supply_buy(by=self.keeper, supply=supply, count=row["count"], token=uuid.uuid4(), **label)

    def lots(self, row: Row) -> None:
        """From which lots a batch took its ingredients; what a row does not say of one is what a form would not."""
        batch = self._first_batch(row["recipe"], row["by"])
        places = {line.item: line.at for line in lines_with_lots(batch)}
        answers = [
            batches.LotAnswer(at=places[took["item"]], **{key: took[key] for key in took if key != "item"})
            for took in row["took"]
        ]
        by = self.people[row["by"]]
        for unread in batch.lots_taken.live().filter(item__in=[took["item"] for took in row["took"]]):
            batches.lot_take_back(by=by, taken=unread, now=self.now)
        batches.lots_note(by=by, batch=batch, answers=answers, token=uuid.uuid4(), now=self.now)

    # Classes

    def waived(self, row: Row) -> None:
        """What somebody learned before the site was there."""
        skill_waive(
            by=self.people[row["by"]],
            person=self.people[row["person"]],
            skill=row["skill"],
            reason=row["reason"],
            now=self.now,
        )

    def class_session(self, row: Row) -> None:
        """Planned some days ago, then signed up for, then held where the row says so."""
        by, made_days_ago = self.people[row["by"]], row.get("made_days_ago", 0)
        planned = self.ago(days=made_days_ago)
        fields = SessionFields(
            title=row["title"],
            hall=self.kitchens["hall"],
            starts=time.fromisoformat(row["starts"]),
            ends=time.fromisoformat(row["ends"]),
            instructors=[self.people[key] for key in row.get("teach", [row["by"]])],
            **given(row, "about", "what_to_bring", "price_note", "skill", "minimum_people"),
        )
        day = saturday_from(club_day(planned) + timedelta(days=row["in_days"] + made_days_ago))
        session = classes.session_make(by=by, fields=fields, day=day, token=uuid.uuid4(), now=planned)
        for station in row["station"]:
            station_fields = StationFields(
                revision=Revision.objects.get(current_of__slug=station["recipe"]),
                burners_w=tuple(station["burners_w"]),
                **given(station, "pots", "jar_size", "pack", "canner", "capacity", "seats", "name"),
            )
            classes.station_add(by=by, session=session, fields=station_fields, now=planned)
        if row.get("gather"):
            classes.gear_gather(by=by, session=session, now=planned)
        if row.get("publish"):
            session = classes.session_publish(by=by, session=session, now=planned)
        seats_load(row.get("seat", []), session, self.people, self.now)
        if row.get("held"):
            class_day_load(session, now=self.now)

    # Fruit and the freezer

    def offer(self, row: Row) -> None:
        fields = fruit.OfferFields(
            produce=row["produce"],
            amount=row.get("count") or row["grams"],
            where=row["where"],
            about_where=row["about_where"],
            windows=tuple(
                fruit.Hours(self.today + timedelta(days=day), time(first), time(last))
                for day, first, last in row["pick_up"]
            ),
            state="frozen" if "frozen_days_ago" in row else "fresh",
            frozen_on=self.today - timedelta(days=row["frozen_days_ago"]) if "frozen_days_ago" in row else None,
            **given(row, "name", "container", "kept", "grown", "note"),
        )
        made_at = self.ago(days=row["days_ago"])
        offer = fruit.offer_make(by=self.people[row["by"]], fields=fields, now=made_at)
        for claim in row["claims"]:
            fruit.claim_set(
                by=self.people[claim["by"]],
                offer=offer,
                asked=claim["asked"],
                least=claim.get("least", 1),
                windows=list(offer.windows.values_list("pk", flat=True)),
                recipe=Recipe.objects.filter(slug=claim.get("recipe", "")).first(),
                now=offer.created_at + timedelta(hours=claim["after_hours"]),
            )
        if "shared_hours_ago" in row:
            fruit.offer_share_out(by=offer.giver, offer=offer, now=self.ago(hours=row["shared_hours_ago"]))
            self._fetch(row, offer)

    def _fetch(self, row: Row, offer: Offer) -> None:
        people = [self.people[key] for key in row.get("fetched", [])]
        for share in Share.objects.filter(offer=offer, person__in=people).select_related("offer"):
            fetched_at = self.ago(hours=row["fetched_hours_ago"])
            fruit.share_note_picked_up(by=share.person, share=share, now=fetched_at)

    def freezer(self, row: Row) -> None:
        by, put_in = self.people[row["by"]], self.ago(days=row["days_ago"])
        fields = fruit.FreezerFields(
            kitchen=self.kitchens[row["kitchen"]],
            frozen_on=club_day(put_in),
            **given(row, "what", "grams", "bags", "state", "with_sugar", "freezer"),
        )
        item = fruit.freezer_item_add(by=by, fields=fields, token=uuid.uuid4(), now=put_in)
        if "taken" in row:
            taken_at = self.ago(days=row["days_ago"] // 2)
            fruit.freezer_item_take(by=by, item=item, grams=row["taken"], token=uuid.uuid4(), now=taken_at)


# Each section names only what was laid down by those before it: opened jars and recalls need the batches.
SECTIONS: tuple[tuple[str, Callable[[Loader, Row], None]], ...] = (
    ("person", Loader.person),
    ("kitchen", Loader.kitchen),
    ("thing", Loader.thing),
    ("own_canner", Loader.own_canner),
    ("batch", Loader.batch),
    ("keeping", Loader.keeping),
    ("loan", Loader.loan),
    ("hold", Loader.hold),
    ("wait", Loader.wait),
    ("notifications", Loader.notifications),
    ("region", Loader.region),
    ("household", Loader.household),
    ("yearly", Loader.yearly),
    ("opened", Loader.opened),
    ("order", Loader.order),
    ("shelf", Loader.shelf),
    ("waived", Loader.waived),
    ("class", Loader.class_session),
    ("offer", Loader.offer),
    ("freezer", Loader.freezer),
    ("lots", Loader.lots),
    ("jar_offer", Loader.jar_offer),
    ("recall", Loader.recall),
)


# Who comes to a class, who waits and who gave a seat up.


def seats_load(rows: Iterable[Row], session: ClassSession, people: Mapping[str, User], now: datetime) -> None:
    """`rows`: the `seat` tables of one class, in the order in which people signed up.

    Nothing is dated before sign-up opened, whatever the file says.
    """

    def ago(hours: int) -> datetime:
        return max(now - timedelta(hours=hours), session.signup_opens_at)

    seats = [
        (
            row,
            classes.signup_place(
                by=people[row["by"]],
                session=session,
                places=2 if "companion" in row else 1,
                now=ago(row["hours_ago"]),
                **given(row, "companion", "needs"),
            ),
        )
        for row in rows
    ]
    for row, signup in seats:
        if "gave_up_hours_ago" in row:
            classes.signup_cancel(by=people[row["by"]], signup=signup, now=ago(row["gave_up_hours_ago"]))
    classes.seats_move_on(now)


# A class as it went.

CLASS_LIDS = "TB-CLASS"
LEARNED = "Four hours were enough with everything washed beforehand. Warm the jars while the fruit comes to the boil."
NOTE = "Mine set after a night. Next time I chop the fruit smaller."
STARTED_AFTER = timedelta(minutes=15)
COOKED_FOR = timedelta(minutes=40)
CLEANING = timedelta(minutes=15)
LOOKED_AFTER = timedelta(hours=14)


def class_day_load(session: ClassSession, *, now: datetime) -> ClassSession:
    """Call the roll, seat everybody, cook, log, close and look at the seals, each at its hour; none of it after `now`.

    `session` is published, with stations and seated sign-ups, and over before `now`. Of three parties or more the
    last to sign up was absent; one jar of the first batch did not seal. An instructor presses, each taker looks.
    """
    by = session.instructors.order_by("pk").first() or session.created_by
    _call_roll(by, session)
    classes.everybody_sit(by=by, session=session, now=session.starts_at)
    _choose_takers(by, session)
    started = classes.stations_start(by=by, session=session, now=session.starts_at + STARTED_AFTER)
    cooked = [_cook(by, cooking) for cooking in started.new]
    ended = max([session.ends_at, *(batch.jars_out_at for batch in cooked if batch.jars_out_at)])
    agreed = classes.codes_of(classes.still_cooking(session))
    held = classes.session_close(by=by, session=session, learned=LEARNED, agreed_to=agreed, now=ended)
    first = SignUp.objects.came().filter(session=session).order_by("joined_at", "pk").first()
    if first is not None:
        noted = min(now, session.ends_at + LOOKED_AFTER)
        classes.own_note_write(by=first.person, signup=first, text=NOTE, now=noted)
    for number, batch in enumerate(cooked):
        _look_at_seals(batch, unsealed=[1] if number == 0 else [], now=now)
    return held


def _call_roll(by: User, session: ClassSession) -> None:
    signups = list(SignUp.objects.seated().filter(session=session).order_by("joined_at", "pk"))
    for number, signup in enumerate(signups, start=1):
        was_absent = number == len(signups) > 2
        came = 0 if was_absent else signup.places
        classes.roll_call(by=by, signup=signup, came=came, now=session.starts_at)


def _choose_takers(by: User, session: ClassSession) -> None:
    for station in Station.objects.filter(session=session):
        signup = SignUp.objects.came().filter(station=station).order_by("joined_at", "pk").first()
        if signup is not None:
            classes.taker_choose(by=by, station=station, signup=signup, now=session.starts_at)


def _acids_without_lots(batch: Batch) -> list[batches.LotAnswer]:
    """Of each acid that nothing was noted of: nobody could read a lot, and a vinegar had 5 %."""
    return [
        batches.LotAnswer(line.at, "without", strength_tenths=50 if line.kind == LotKind.VINEGAR else None)
        for line in acids_not_noted(batch)
    ]


def _cook(by: User, cooking: StationBatch) -> Batch:
    """Its loads go in one after the other; the jars are out a quarter of an hour before the session ends."""
    session, batch = cooking.station.session, cooking.batch
    minutes = timedelta(minutes=batch.required_minutes or 0)
    begins = session.starts_at + STARTED_AFTER + COOKED_FOR
    for number in range(1, classes.loads_of(cooking) + 1):
        at = begins + (number - 1) * minutes
        classes.load_begin(by=by, cooking=cooking, number=number, now=at)
    out = max(session.ends_at - CLEANING, begins + minutes)
    filled = Counter({jar["size"]: jar["count"] for jar in batch.plan["jars"]}) or Counter({batch.jar_size: 1})
    return batches.batch_log_process(
        by=by,
        batch=batch,
        jars=filled,
        minutes=batch.required_minutes,
        psi=batch.setting_psi,
        lots=_acids_without_lots(batch),
        process_started_at=None if batch.is_cold_kind else begins,
        jars_out_at=out,
        lid_code="" if batch.is_cold_kind else CLASS_LIDS,
        now=out,
    )


def _look_at_seals(batch: Batch, *, unsealed: list[int], now: datetime) -> None:
    at = batch.jars_out_at + LOOKED_AFTER if batch.jars_out_at else now
    if batch.is_cold_kind or at > now:
        return
    numbers = batch.jars.values_list("number", flat=True)
    batches.seals_record(
        by=batch.made_by,
        batch=batch,
        token=uuid.uuid4(),
        results={number: "unsealed" if number in unsealed else "sealed" for number in numbers},
        disposals=dict.fromkeys(unsealed, "refrigerate"),
        now=at,
    )
