"""A made-up season of any size, laid down in bulk under the same constraints as a real one, for measuring.

It grows out of the demo club: each invented batch is one of the demo's put up again by another household, so that its
plan and its process are the engine's own. What is written is what the services would have written, row by row; the
audit of the ledger finds nothing amiss. The same scale and seed give the same season.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, time, timedelta
from functools import cached_property
from itertools import islice
from typing import Any
from uuid import UUID

from allauth.account.models import EmailAddress
from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.db import connection, transaction
from django.db.models import Model
from django.db.models.expressions import RawSQL

from club.classes.choices import SessionState, SignUpState
from club.classes.models import ClassSession, SignUp, Station
from club.core.clock import at_hour, club_day
from club.members.choices import Role
from club.members.models import AltitudeHow, HouseholdMember, Kitchen, KitchenAltitude, User
from club.reminders.models import Reminder, ReminderState
from club.season.models import HouseholdSeason, YearlyTarget
from inventory.batches.choices import BatchState, Disposal, LotKind, RecallKind, Seal, Way
from inventory.batches.models import Batch, Jar, JarOffer, LotTaken, OfferedJar, Recall, SealCheck
from inventory.batches.rules import COOL_MIN, SALTS, lot_code
from inventory.equipment.choices import FACTS, TESTED_KINDS, Condition, HoldState, Kind, Occasion, Verdict
from inventory.equipment.models import ConditionNote, Hold, InstrumentTest, Loan, Thing, ThingDay
from inventory.equipment.rules import DAY, days_between, lapses_on
from inventory.fruit.choices import FruitState, OfferStage, ShareStage
from inventory.fruit.models import Claim, FreezerItem, Offer, PickUpWindow, Share, SharingRound
from inventory.fruit.sharing import ClaimInput, share_out
from inventory.jars.choices import OUTSIDE, LidAccount, LidReason, PlaceKind, Reason, SupplyKind
from inventory.jars.models import Balance, LidLot, LidMovement, LidStock, Movement, Place, Supply, SupplyLot
from inventory.jars.models.stock import code_key
from inventory.jars.rules import CHIPPED, EMPTY, FULL
from inventory.jars.services import outside_place, store_place

PORTION = 5_000  # rows of one INSERT


@dataclass(frozen=True)
class Scale:
    """How many of each. Jars are shared evenly among the batches."""

    households: int
    people: int
    batches: int
    jars: int
    movements: int
    things: int
    loans: int
    sessions: int
    offers: int
    reminders: int

    def times(self, factor: float) -> Scale:
        """The same club, so much larger or smaller; never without anything."""
        return Scale(**{name: max(1, round(number * factor)) for name, number in asdict(self).items()})


SEASON = Scale(
    households=2_000,
    people=5_000,
    batches=200_000,
    jars=1_000_000,
    movements=1_000_000,
    things=1_000,
    loans=50_000,
    sessions=600,
    offers=4_000,
    reminders=300_000,
)
SCALES = {"small": SEASON.times(0.005), "tenth": SEASON.times(0.1), "fifth": SEASON.times(0.2), "season": SEASON}


class SeedRefused(Exception):
    """A season is laid down once, upon the demo club."""


@dataclass(frozen=True)
class PutUp:
    """A batch of the season that filled jars, as the ledger and the reminders need it."""

    pk: int
    lot_code: str
    place: Place
    maker: int
    size: str
    jars: int
    out_at: datetime
    is_checked: bool


def season_seed(scale: Scale, *, now: datetime, password: str, seed: int = 1, tell: Callable[[str], None]) -> None:
    """Lay the season down; `tell` hears what was written. SeedRefused without a demo club, or where one lies already.

    Portion by portion, each in a transaction of its own: a million rows in one would keep all of them in memory.
    """
    if Kitchen.objects.filter(name__startswith=HOUSEHOLD).exists():
        raise SeedRefused("There is a made-up season here already.")
    if not Batch.objects.filter(canner_card=None, jars__isnull=False).exists():
        raise SeedRefused("There is no demo club here whose batches could be put up again.")
    season = Season(scale, now, random.Random(seed), password)
    for part in (
        season.people,
        season.lids,
        season.batches,
        season.ledger,
        season.equipment,
        season.sessions,
        season.fruit,
        season.jar_offers,
        season.recalls,
        season.reminders,
    ):
        tell(part())
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def _portions(rows: Iterable[Any], size: int = PORTION) -> Iterator[list[Any]]:
    rest = iter(rows)
    while portion := list(islice(rest, size)):
        yield portion


def _write(rows: Iterable[Model]) -> list[Any]:
    """Rows of one table, in portions."""
    made: list[Any] = []
    for portion in _portions(rows):
        with transaction.atomic():
            made += type(portion[0])._default_manager.bulk_create(portion)
    return made


HOUSEHOLD = "Season household"
FIRST_NAMES = ("Ada", "Bela", "Cleo", "Dov", "Edda", "Finn", "Gita", "Hugo", "Ines", "Jory")
LAST_NAMES = ("Arbor", "Birk", "Calder", "Dell", "Elm", "Ford", "Garth", "Heath", "Inch")
YEARS = 4
LASTS = timedelta(days=365 * YEARS)
COOKING = timedelta(hours=3)
NEVER_LOOKED_AT = 400  # one batch in so many
GIVEN_UP = 300
WITH_A_LOT = 4
MANY = 10  # one batch in so many has lids of the first lot
OFFICES = {Role.INSTRUCTOR: 200, Role.KEEPER: 500, Role.ORGANISER: 1_000}  # one person in so many


class Season:
    """One part of the club after the other; each says what it wrote."""

    def __init__(self, scale: Scale, now: datetime, dice: random.Random, password: str) -> None:
        self.scale, self.now, self.dice, self.password = scale, now, dice, password
        self.members: list[User] = []
        self.kitchens: list[Kitchen] = []
        self.household: list[list[User]] = []
        self.places: list[Place] = []
        self.lots: list[LidLot] = []
        self.pectin: list[SupplyLot] = []
        self.put_up: list[PutUp] = []
        self.organiser = User.objects.get_queryset().holding(Role.ORGANISER).earliest("pk")
        self.keeper = User.objects.get_queryset().holding(Role.KEEPER).earliest("pk")
        self.teachers = list(User.objects.get_queryset().holding(Role.INSTRUCTOR).order_by("pk"))

    def token(self) -> UUID:
        return UUID(int=self.dice.getrandbits(128), version=4)

    @cached_property
    def models(self) -> list[Batch]:
        """The demo's batches that the season puts up again: of a recipe, without a card of a canner, with jars."""
        put_up = Batch.objects.filter(way=Way.RECIPE, canner_card=None, jars__isnull=False)
        found = put_up.exclude(state=BatchState.STARTED)
        return list(found.distinct().select_related("revision__recipe").order_by("pk"))

    # People and households

    def people(self) -> str:
        hashed = make_password(self.password)
        joined = self.now - LASTS
        self.members = _write(
            User(
                email=f"member-{n}@season.example",
                name=f"{FIRST_NAMES[n % len(FIRST_NAMES)]} {LAST_NAMES[n // len(FIRST_NAMES) % len(LAST_NAMES)]} {n}",
                password=hashed,
                joined_at=joined,
            )
            for n in range(1, self.scale.people + 1)
        )
        _write(EmailAddress(user=user, email=user.email, verified=True, primary=True) for user in self.members)
        groups = {role: Group.objects.get(name=role.value) for role in Role}
        held = [(user, Role.MEMBER) for user in self.members]
        held += [
            (user, role)
            for role, each in OFFICES.items()
            for n, user in enumerate(self.members)
            if n % each == each - 1
        ]
        _write(User.groups.through(user_id=user.pk, group_id=groups[role].pk) for user, role in held)
        self.teachers += [user for user, role in held if role == Role.INSTRUCTOR]
        heights = sorted({model.altitude_m for model in self.models})
        self.household = [self.members[n :: self.scale.households] for n in range(self.scale.households)]
        self.kitchens = _write(
            Kitchen(
                name=f"{HOUSEHOLD} {n}",
                founded_by=people[0] if people else self.organiser,
                created_at=joined,
            )
            for n, people in enumerate(self.household)
        )
        _write(
            HouseholdMember(kitchen=kitchen, user=user, is_keeper=user is people[0])
            for kitchen, people in zip(self.kitchens, self.household, strict=True)
            for user in people
        )
        _write(
            KitchenAltitude(
                kitchen=kitchen,
                altitude_m=heights[n % len(heights)],
                how=AltitudeHow.MAP,
                since=joined,
                noted_by=people[0] if people else self.organiser,
            )
            for n, (kitchen, people) in enumerate(zip(self.kitchens, self.household, strict=True))
        )
        for number, height in enumerate(heights):  # a kitchen says what its dated rows say, which are there now
            there = self.kitchens[number :: len(heights)]
            Kitchen.objects.filter(pk__in=[one.pk for one in there]).update(
                altitude_m=height, altitude_how=AltitudeHow.MAP
            )
            for one in there:
                one.altitude_m, one.altitude_how = height, AltitudeHow.MAP
        _write(HouseholdSeason(kitchen=kitchen, is_counted=True, lids_at_home=24) for kitchen in self.kitchens)
        _write(
            YearlyTarget(
                kitchen=kitchen, recipe_id=model.cooked_from.recipe_id, jar_size=model.jar_size, jars=6 + n % 13
            )
            for n, kitchen in enumerate(self.kitchens)
            for model in self._targets(n)
        )
        _write(
            FreezerItem(
                kitchen=kitchen,
                what="strawberries",
                produce="strawberries",
                frozen_on=club_day(self.now) - (30 + n % 200) * DAY,
                grams=2_000,
                grams_left=500 * (n % 5),
                put_in_by=people[0] if people else self.organiser,
                token=self.token(),
            )
            for n, (kitchen, people) in enumerate(zip(self.kitchens, self.household, strict=True))
        )
        return f"{len(self.members)} people in {len(self.kitchens)} households"

    def _targets(self, n: int) -> list[Batch]:
        """Three models of different recipes or sizes, by turns."""
        found = {
            (model.cooked_from.recipe_id, model.jar_size): model
            for model in (self.models[(n + shift) % len(self.models)] for shift in (0, 5, 9))
        }
        return list(found.values())

    def lids(self) -> str:
        """Lots of lids, of which the first is a large one, and of pectin. Their stock is written with the batches."""
        wanted = range(max(3, self.scale.jars // 2_500))
        bought_on = club_day(self.now - LASTS)
        self.lots = _write(
            LidLot(code=f"SL {n}", code_key=code_key(f"SL {n}"), maker="Season", bought_on=bought_on) for n in wanted
        )
        pectin = Supply.objects.create(name="Season pectin", unit="packets", kind=SupplyKind.PECTIN)
        codes = [f"SP {n}" for n in range(max(2, len(self.lots) // 4))]
        self.pectin = _write(SupplyLot(supply=pectin, code=code, code_key=code_key(code)) for code in codes)
        return f"{len(self.lots)} lots of lids, {len(self.pectin)} of pectin"

    # Batches and jars

    def batches(self) -> str:
        self.places = _write(Place(kind=PlaceKind.KITCHEN, kitchen=kitchen) for kitchen in self.kitchens)
        used: Counter[int] = Counter()
        jars = 0
        for portion in _portions(range(self.scale.batches), PORTION // 5):
            with transaction.atomic():
                jars += self._put_up(portion, used)
        _write(LidStock(lot=lot, bought=used[lot.pk] + 100, used=used[lot.pk], on_hand=100) for lot in self.lots)
        _write(
            LidMovement(
                lot=lot, count=count, source=source, target=target, reason=reason, by=self.keeper, token=self.token()
            )
            for lot in self.lots
            for count, source, target, reason in (
                (used[lot.pk] + 100, LidAccount.BOUGHT, LidAccount.ON_HAND, LidReason.BOUGHT),
                (used[lot.pk], LidAccount.ON_HAND, LidAccount.USED, LidReason.USED),
            )
            if count
        )
        return f"{self.scale.batches} batches with {jars} jars"

    def _put_up(self, numbers: Sequence[int], used: Counter[int]) -> int:
        """A portion of the batches with their jars, looks and lots; how many jars."""
        rows = [self._batch(n) for n in numbers]
        Batch.objects.bulk_create(rows)
        jars, looks, taken = [], [], []
        for n, batch in zip(numbers, rows, strict=True):
            if batch.state in (BatchState.STARTED, BatchState.ABANDONED):
                continue
            mine = list(self._jars(batch, self._jar_count(n)))
            jars += mine
            used[batch.lid_lot_id or 0] += len(mine)
            assert batch.jars_out_at is not None  # of every batch with jars
            self.put_up.append(
                PutUp(
                    batch.pk,
                    batch.lot_code,
                    self.places[n % len(self.places)],
                    batch.made_by_id,
                    batch.jar_size,
                    len(mine),
                    batch.jars_out_at,
                    batch.state == BatchState.CHECKED,
                )
            )
            if batch.state == BatchState.CHECKED:
                looks.append(self._look(batch, mine))
            if n % WITH_A_LOT == 0:
                taken.append(self._taken(batch, n))
        Jar.objects.bulk_create(jars)
        SealCheck.objects.bulk_create(looks)
        LotTaken.objects.bulk_create(taken)
        return len(jars)

    def _jar_count(self, n: int) -> int:
        return self.scale.jars * (n + 1) // self.scale.batches - self.scale.jars * n // self.scale.batches

    @cached_property
    def _by_height(self) -> dict[Any, list[Batch]]:
        found = defaultdict(list)
        for model in self.models:
            found[model.altitude_m].append(model)
        return found

    def _batch(self, n: int) -> Batch:
        """The n-th from the oldest, as one of the models for that kitchen's height."""
        kitchen = self.kitchens[n % len(self.kitchens)]
        people = self.household[n % len(self.kitchens)]
        fitting = self._by_height[kitchen.altitude_m]
        model = fitting[n // len(self.kitchens) % len(fitting)]
        began = self.now - LASTS * (1 - n / self.scale.batches) - timedelta(minutes=1)
        # Copied inside the database: some kilobytes of JSON for each of so many batches are not sent again.
        plan: Any = RawSQL("(SELECT plan FROM batches_batch WHERE id = %s)", [model.pk])
        batch = Batch(
            token=self.token(),
            lot_code=self._code(club_day(began)),
            kitchen=kitchen,
            made_by=people[n % len(people)] if people else self.organiser,
            created_at=began,
            started_at=began,
            plan=plan,
            **{name: getattr(model, name) for name in AS_PLANNED},
        )
        out_at = began + COOKING
        if n % GIVEN_UP == 1:
            batch.state, batch.abandoned_at, batch.abandoned_reason = BatchState.ABANDONED, began, "The fruit was bad."
        elif out_at < self.now:
            for name in AS_LOGGED:
                setattr(batch, name, getattr(model, name))
            batch.jars_out_at = out_at
            if model.is_cold_kind:
                batch.state = BatchState.FROZEN
                return batch
            batch.lid_lot = self.lots[0 if n % MANY == 0 else n % len(self.lots)]
            batch.state = BatchState.OUT
            looked_at = out_at + COOL_MIN + timedelta(hours=n % 6)
            if looked_at < self.now and n % NEVER_LOOKED_AT != 2:
                batch.state, batch.checked_at = BatchState.CHECKED, looked_at
        return batch

    def _code(self, day: date) -> str:
        """A code that no batch of that day has."""
        while True:
            self._salts[day] += 1
            if (code := lot_code(day, self._salts[day] % SALTS)) not in self._codes:
                return code

    @cached_property
    def _salts(self) -> Counter[date]:
        return Counter()

    @cached_property
    def _codes(self) -> set[str]:
        return set(Batch.objects.values_list("lot_code", flat=True))

    def _jars(self, batch: Batch, count: int) -> Iterator[Jar]:
        for number in range(1, count + 1):
            seal, disposal = Seal.UNCHECKED, ""
            if batch.state == BatchState.FROZEN:
                seal, disposal = Seal.NONE, Disposal.FREEZE
            elif batch.state == BatchState.CHECKED:
                roll = self.dice.randrange(100)
                seal, disposal = Seal.SEALED, Disposal.SHELF
                if roll < 2:
                    seal, disposal = Seal.UNSEALED, Disposal.REFRIGERATE
                elif roll < 3:
                    seal, disposal = Seal.BROKEN, Disposal.DISCARD
            yield Jar(
                batch=batch,
                number=number,
                size=batch.jar_size,
                seal=seal,
                disposal=disposal,
                place_id=batch.kitchen_id,
                lid_lot_id=batch.lid_lot_id,
            )

    def _look(self, batch: Batch, jars: Sequence[Jar]) -> SealCheck:
        found = Counter(jar.seal for jar in jars)
        assert batch.checked_at is not None  # of every batch that was looked at
        return SealCheck(
            batch=batch,
            token=self.token(),
            checked_by_id=batch.made_by_id,
            checked_at=batch.checked_at,
            sealed=found[Seal.SEALED],
            unsealed=found[Seal.UNSEALED],
            broken=found[Seal.BROKEN],
        )

    def _taken(self, batch: Batch, n: int) -> LotTaken:
        return LotTaken(
            batch=batch,
            kind=LotKind.PECTIN,
            item="powdered pectin",
            supply_lot=self.pectin[n % len(self.pectin)],
            taken_on=club_day(batch.started_at),
            by_id=batch.made_by_id,
            token=self.token(),
        )

    # The jar ledger

    def ledger(self) -> str:
        people = _write(Place(kind=PlaceKind.MEMBER, person=user) for user in self.members)
        balances = Counter[Key](
            {
                (place, size, state, lot): count
                for place, size, state, lot, count in Balance.objects.values_list(
                    "place", "size", "state", "batch", "count"
                )
            }
        )
        accounts = {kind: outside_place(kind) for kind in sorted(OUTSIDE)}
        store = store_place()
        by = {place.pk: people[0].pk for place, people in zip(self.places, self.household, strict=True) if people}
        ledger = Ledger(
            by | {store.pk: self.keeper.pk}, self.keeper.pk, [store, *self.places], people, self.put_up, self.dice,
            accounts, balances,
        )  # fmt: skip
        began = self.now - LASTS
        step = LASTS / self.scale.movements
        for portion in _portions(range(1, self.scale.movements + 1)):
            with transaction.atomic():
                Movement.objects.bulk_create(ledger.movement(began + step * n) for n in portion)
        _write_balances(ledger.balances)
        return f"{self.scale.movements} movements of jars"

    # Equipment and loans

    def equipment(self) -> str:
        made = _write(self._things())
        _write(self._tests(made))
        for number, thing in enumerate(made):
            share = self.scale.loans * (number + 1) // len(made) - self.scale.loans * number // len(made)
            with transaction.atomic():
                self._lend(thing, share)
        return f"{len(made)} things and {self.scale.loans} loans"

    def _things(self) -> Iterator[Thing]:
        """The kinds in turn, numbered within each; their numbers are no label that the demo has."""
        kinds = list(Kind.values)
        for n in range(self.scale.things):
            kind = kinds[n % len(kinds)]
            code = f"{FACTS[kind].prefix}-{n // len(kinds) + 1_001:04d}"
            yield Thing(
                code=code, code_key=code.replace("-", ""), kind=kind, name=f"Season {code}", created_at=self.now
            )

    def _tests(self, things: Sequence[Thing]) -> Iterator[InstrumentTest]:
        """A good one for each instrument, sixty days ago."""
        tested = club_day(self.now) - timedelta(days=60)
        for thing in things:
            if thing.kind in TESTED_KINDS and (measure := thing.facts.measure):
                yield InstrumentTest(
                    thing=thing,
                    token=self.token(),
                    tested_on=tested,
                    reference="made up",
                    readings=[["0", "0"]],
                    verdict=Verdict.PASSED,
                    lapses_on=lapses_on(tested, measure),
                    recorded_by=self.keeper,
                    recorded_at=self.now,
                )

    def _lend(self, thing: Thing, count: int) -> None:
        """The loans of one thing, from today backwards, each with its hold, its days and two notes."""
        holds, loans = [], []
        dice, today = self.dice, club_day(self.now)
        is_out = count > 0 and dice.randrange(OUT_ONE_IN) == 0
        ends = today - 2 * DAY
        if is_out and dice.randrange(OUT_ONE_IN):
            ends = today + dice.randint(1, 5) * DAY
        for n in range(count):
            starts = min(ends, today) - dice.randrange(LONGEST_LOAN) * DAY
            is_open = is_out and n == 0
            holds.append(self._hold(thing, dice.choice(self.members), starts, ends, is_open))
            loans.append(self._loan(holds[-1], is_open))
            ends = starts - (thing.turnaround_days + 1 + dice.randrange(3)) * DAY
        for hold, made in zip(Hold.objects.bulk_create(holds), loans, strict=True):
            made.hold = hold
        Loan.objects.bulk_create(loans)
        ThingDay.objects.bulk_create(
            ThingDay(thing=thing, day=day, hold=one)
            for one in holds
            for day in days_between(one.starts, one.kept_until)
        )
        ConditionNote.objects.bulk_create(note for loan in loans for note in _notes(loan))

    def _hold(self, thing: Thing, person: User, starts: date, ends: date, is_open: bool) -> Hold:
        return Hold(
            thing=thing,
            token=self.token(),
            person=person,
            starts=starts,
            ends=ends,
            kept_until=ends + thing.turnaround_days * DAY,
            state=HoldState.OUT if is_open else HoldState.BACK,
            placed_by=person,
            placed_at=at_hour(starts, HANDED_OVER_AT),
        )

    def _loan(self, hold: Hold, is_open: bool) -> Loan:
        loan = Loan(
            thing=hold.thing,
            hold=hold,
            token=self.token(),
            person=hold.person,
            due_on=hold.ends,
            handed_over_at=at_hour(hold.starts, HANDED_OVER_AT),
            handed_over_by=self.keeper,
            condition_out=Condition.GOOD,
        )
        if not is_open:
            loan.returned_at = at_hour(hold.ends, RETURNED_AT)
            loan.taken_back_by, loan.condition_in = self.keeper, Condition.GOOD
        return loan

    # Classes

    def sessions(self) -> str:
        """One every few days: one in fifty is still to come; the others were held, with everybody there."""
        hall = Kitchen.objects.filter(is_hall=True).earliest("pk")
        first = club_day(self.now - LASTS)
        to_come = max(1, self.scale.sessions // 50)
        span = LASTS.days / max(1, self.scale.sessions - to_come)
        days = [first + timedelta(days=int(n * span)) for n in range(self.scale.sessions - to_come)]
        days += [club_day(self.now) + timedelta(days=7 * (n + 1)) for n in range(to_come)]
        made = _write(self._session(n, hall, day) for n, day in enumerate(days))
        _write(
            ClassSession.instructors.through(
                classsession_id=session.pk, user_id=self.teachers[n % len(self.teachers)].pk
            )
            for n, session in enumerate(made)
        )
        stations = _write(self._station(session, number) for session in made for number in range(1, STATIONS + 1))
        _write(
            SignUp(
                session=station.session,
                token=self.token(),
                person=self.members[(n * self._seats() + seat) % len(self.members)],
                state=SignUpState.SEATED,
                joined_at=station.session.signup_opens_at,
                seated_at=station.session.signup_opens_at,
                station=station,
                came=1 if station.session.state == SessionState.HELD else None,
            )
            for n, station in enumerate(stations)
            for seat in range(self._seats())
        )
        return f"{len(made)} sessions with {STATIONS} stations each"

    def _seats(self) -> int:
        """At each station, so that nobody sits twice in one session, however few people there are."""
        return min(SEATS, len(self.members) // STATIONS)

    def _session(self, n: int, hall: Kitchen, day: date) -> ClassSession:
        starts_at, ends_at = at_hour(day, time(10)), at_hour(day, time(14))
        is_over = ends_at < self.now
        return ClassSession(
            token=self.token(),
            title=f"Season class {n + 1}",
            hall=hall,
            day=day,
            starts=time(10),
            ends=time(14),
            zone=settings.TIME_ZONE,
            starts_at=starts_at,
            ends_at=ends_at,
            signup_opens_at=starts_at - timedelta(days=60),
            signup_closes_at=starts_at - timedelta(days=1),
            seats_total=STATIONS * SEATS,
            seats_taken=STATIONS * self._seats(),
            state=SessionState.HELD if is_over else SessionState.PUBLISHED,
            published_at=starts_at - timedelta(days=60),
            held_at=ends_at if is_over else None,
            changed_at=starts_at - timedelta(days=60),
            created_by=self.teachers[n % len(self.teachers)],
            created_at=starts_at - timedelta(days=61),
        )

    def _station(self, session: ClassSession, number: int) -> Station:
        model = self.models[(session.pk + number) % len(self.models)]
        return Station(
            session=session,
            number=number,
            revision=model.cooked_from,
            jar_size=model.jar_size,
            pack=model.pack,
            canner=model.canner,
            burners_w=[2000, 1800],
            seats=SEATS,
        )

    # Fruit

    def fruit(self) -> str:
        """One in a hundred is open, the others were shared out and fetched."""
        if len(self.members) < CLAIMS + 1:
            return "no fruit: too few people"
        n_open = max(1, self.scale.offers // 100)
        offers = _write(self._offer(n, is_open=n >= self.scale.offers - n_open) for n in range(self.scale.offers))
        windows = _write(self._window(offer) for offer in offers)
        claims = _write(
            Claim(
                offer=offer,
                person=self.members[(n + 1 + c) % len(self.members)],
                asked=4_000 + 1_000 * c,
                least=1_000,
                made_at=offer.created_at,
                changed_at=offer.created_at,
            )
            for n, offer in enumerate(offers)
            for c in range(CLAIMS)
        )
        _write(
            Claim.windows.through(claim_id=claim.pk, pickupwindow_id=windows[n // CLAIMS].pk)
            for n, claim in enumerate(claims)
        )
        rounds, shares = [], []
        for n, offer in enumerate(offers):
            if offer.stage == OfferStage.SHARED:
                made, gone = self._shared(offer, claims[n * CLAIMS : (n + 1) * CLAIMS], windows[n])
                rounds.append(made)
                shares += gone
        _write(rounds)
        _write(shares)
        return f"{len(offers)} offers of fruit, {len(shares)} shares"

    def _offer(self, n: int, *, is_open: bool) -> Offer:
        at = self.now - (timedelta(days=1) if is_open else LASTS * (1 - n / self.scale.offers) + timedelta(days=9))
        closes = at + timedelta(days=3)
        return Offer(
            token=self.token(),
            giver=self.members[n % len(self.members)],
            produce=("plums", "apples", "pears")[n % 3],
            state=FruitState.FRESH,
            units=OFFERED_G,
            shared=0 if is_open else OFFERED_G,
            where="By the gate",
            use_by=club_day(at) + timedelta(days=8),
            closes_at=closes,
            stage=OfferStage.OPEN if is_open else OfferStage.SHARED,
            rounds=0 if is_open else 1,
            created_at=at,
            shared_at=None if is_open else closes,
        )

    def _window(self, offer: Offer) -> PickUpWindow:
        day = club_day(offer.closes_at) + DAY
        return PickUpWindow(
            offer=offer, day=day, starts=time(16), ends=time(18),
            starts_at=at_hour(day, time(16)), ends_at=at_hour(day, time(18)),
        )  # fmt: skip

    def _shared(self, offer: Offer, claims: Sequence[Claim], window: PickUpWindow) -> tuple[SharingRound, list[Share]]:
        outcome = share_out(OFFERED_G, [ClaimInput(str(one.pk), one.asked, one.least) for one in claims])
        parts = {part.key: {**asdict(part), "had": 0} for part in outcome.parts}
        made = SharingRound(offer=offer, number=1, at=offer.closes_at, supply=OFFERED_G, left=outcome.left, parts=parts)
        shares = [
            Share(
                claim=claim,
                offer=offer,
                person_id=claim.person_id,
                units=part.units,
                grams=part.units,
                window=window,
                stage=ShareStage.PICKED_UP,
                round_number=1,
                promised_at=offer.closes_at,
                changed_at=offer.closes_at,
                noted_at=window.ends_at,
                noted_by_id=offer.giver_id,
            )
            for claim, part in zip(claims, outcome.parts, strict=True)
            if part.units
        ]
        return made, shares

    # Jars to give away, recalls, reminders

    def jar_offers(self) -> str:
        """Of the youngest batches on the shelf, two jars each."""
        wanted = max(1, self.scale.offers // 10)
        checked = [one for one in reversed(self.put_up) if one.is_checked][:wanted]
        found: dict[int, list[Jar]] = defaultdict(list)
        for jar in Jar.objects.filter(batch__in=[one.pk for one in checked], disposal=Disposal.SHELF).order_by(
            "number"
        ):
            found[jar.batch_id].append(jar)
        offers = _write(
            JarOffer(batch_id=one.pk, size=one.size, giver_id=one.maker, token=self.token())
            for one in checked
            if len(found[one.pk]) > 1
        )
        _write(OfferedJar(offer=offer, jar=jar) for offer in offers for jar in found[offer.batch_id][:2])
        return f"{len(offers)} offers of jars"

    def recalls(self) -> str:
        """Of two batches, a lot of lids and a lot of pectin; that of the oldest batch was cleared."""
        opened = self.now - timedelta(days=2)
        common = {"reason": "Made up.", "opened_by": self.organiser, "opened_at": opened}
        subjects: list[tuple[RecallKind, dict[str, Any]]] = [
            (RecallKind.BATCH, {"batch_id": self.put_up[-1].pk}),
            (RecallKind.LID_LOT, {"lid_lot": self.lots[-1]}),
            (RecallKind.SUPPLY_LOT, {"supply_lot": self.pectin[-1]}),
        ]
        rows = [Recall(kind=kind, token=self.token(), **subject, **common) for kind, subject in subjects]
        rows.append(
            Recall(
                kind=RecallKind.BATCH,
                batch_id=self.put_up[0].pk,
                token=self.token(),
                closed_at=self.now,
                closed_by=self.organiser,
                closed_note="Found sound.",
                is_cleared=True,
                **common,
            )
        )
        return f"{len(_write(rows))} recalls"

    def reminders(self) -> str:
        """Of looks at seals, loans and classes, the latest first; the last of each person is not read yet."""
        seals = (
            (one.maker, "seal-check", f"batch:{one.pk}", one.out_at + COOL_MIN, f"/batches/{one.lot_code}/seals/")
            for one in reversed(self.put_up)
            if one.is_checked
        )
        loans = (
            (person, "loan-due", f"loan:{pk}", at_hour(due_on, RETURNED_AT), "/equipment/")
            for pk, person, due_on in Loan.objects.exclude(returned_at=None)
            .order_by("-pk")
            .values_list("pk", "person", "due_on")
        )
        seats = (
            (person, "class-tomorrow", f"seat:{pk}", at - DAY, "/classes/")
            for pk, person, at in SignUp.objects.filter(came=1)
            .order_by("-pk")
            .values_list("pk", "person", "session__starts_at")
        )
        again = (
            (one.maker, "seal-second-call", f"batch:{one.pk}", one.out_at + 2 * COOL_MIN, "/batches/")
            for one in reversed(self.put_up)
            if one.is_checked
        )
        told: set[int] = set()
        rows = islice((row for rows in (seals, loans, seats, again) for row in rows), self.scale.reminders)
        made = 0
        for portion in _portions(rows):
            with transaction.atomic():
                made += len(Reminder.objects.bulk_create(self._reminder(row, told) for row in portion))
        return f"{made} reminders sent"

    def _reminder(self, row: tuple[int, str, str, datetime, str], told: set[int]) -> Reminder:
        person, rule, subject, at, path = row
        is_read = person in told
        told.add(person)
        return Reminder(
            rule=rule,
            subject=subject,
            occurrence=at.isoformat(),
            person_id=person,
            due_at=at,
            state=ReminderState.SENT,
            attempts=1,
            next_try_at=at,
            sent_at=at,
            headline="Told long ago",
            path=path,
            read_at=at if is_read else None,
            created_at=at,
        )


# Columns that a batch of the season repeats of its model: as it was planned, and as it was logged.
AS_PLANNED = (
    "revision_id",
    "pots",
    "pot_scale",
    "altitude_m",
    "canner",
    "pack",
    "jar_size",
    "required_minutes",
    "required_psi",
    "gauge_tested_on",
    "gauge_reads_high_hundredths",
    "setting_psi",
    "is_reprocessable",
)
AS_LOGGED = ("processed_minutes", "processed_psi")

STATIONS, SEATS = 4, 3
CLAIMS = 3
OFFERED_G = 12_000

OUT_ONE_IN = 4  # one thing in so many is out now, and of those one in as many is late
LONGEST_LOAN = 4  # days
HANDED_OVER_AT, RETURNED_AT = time(10, 0), time(17, 0)


def _notes(loan: Loan) -> list[ConditionNote]:
    common = {"thing": loan.thing, "by": loan.handed_over_by, "condition": Condition.GOOD}
    notes = [ConditionNote(at=loan.handed_over_at, occasion=Occasion.HANDED_OVER, **common)]
    if loan.returned_at is not None:
        notes.append(ConditionNote(at=loan.returned_at, occasion=Occasion.RETURNED, **common))
    return notes


# How often each reason comes besides filling, which comes with each batch; what cannot happen for want of jars is a
# purchase instead.
OFTEN = {
    Reason.EMPTIED: 50,
    Reason.LENT: 14,
    Reason.RETURNED: 14,
    Reason.MOVED: 9,
    Reason.GIVEN: 4,
    Reason.BROKEN: 3,
    Reason.CHIPPED: 1,
    Reason.BOUGHT: 2,
}
Key = tuple[int, str, str, int | None]  # place, size, state, lot


@dataclass
class Ledger:
    """Each batch fills its own jars when it came out; between, whatever the balances allow."""

    by: dict[int, int]
    keeper: int
    places: Sequence[Place]
    people: Sequence[Place]
    lots: Sequence[PutUp]
    dice: random.Random
    accounts: dict[str, Place]
    balances: Counter[Key]
    filled: int = 0
    full: list[Key] = field(default_factory=list)

    def movement(self, at: datetime) -> Movement:
        """One movement that the balances allow, and the balances after it."""
        if self.filled < len(self.lots) and (lot := self.lots[self.filled]).out_at <= at:
            source: Key = (lot.place.pk, lot.size, EMPTY, None)
            if self.balances[source] < lot.jars:
                return self._row(*self._purchase(source), max(lot.jars, 24), at)
            self.filled += 1
            target: Key = (lot.place.pk, lot.size, FULL, lot.pk)
            self.full.append(target)
            return self._row(Reason.FILLED, source, target, lot.jars, at)
        reason = self.dice.choices(list(OFTEN), weights=list(OFTEN.values()))[0]
        if reason == Reason.EMPTIED and self.full:
            return self._emptied(at)
        place = self.dice.choice(self.places)
        source, target = self._ends(reason, place, self.dice.choice(("half-pint", "pint", "quart")))
        there = self.balances[source]
        if reason in (Reason.BOUGHT, Reason.EMPTIED) or there < 1:
            return self._row(*self._purchase((place.pk, source[1], EMPTY, None)), self.dice.randint(12, 48), at)
        return self._row(reason, source, target, self.dice.randint(1, min(12, there)), at)

    def _emptied(self, at: datetime) -> Movement:
        n = self.dice.randrange(len(self.full))
        source = self.full[n]
        count = self.dice.randint(1, self.balances[source])
        if count == self.balances[source]:
            self.full[n] = self.full[-1]
            self.full.pop()
        return self._row(Reason.EMPTIED, source, (source[0], source[1], EMPTY, None), count, at)

    def _ends(self, reason: Reason, place: Place, size: str) -> tuple[Key, Key]:
        empty: Key = (place.pk, size, EMPTY, None)
        person: Key = (self.dice.choice(self.people).pk, size, EMPTY, None)
        others = [one for one in (self.dice.choice(self.places), self.places[0], self.places[1]) if one != place]
        targets: dict[Reason, Key] = {
            Reason.MOVED: (others[0].pk, size, EMPTY, None),
            Reason.GIVEN: (self.accounts[PlaceKind.GIVEN_AWAY].pk, size, EMPTY, None),
            Reason.BROKEN: (self.accounts[PlaceKind.BROKEN].pk, size, EMPTY, None),
            Reason.CHIPPED: (place.pk, size, CHIPPED, None),
        }
        return (person, empty) if reason == Reason.RETURNED else (empty, targets.get(reason, person))

    def _purchase(self, wanted: Key) -> tuple[Reason, Key, Key]:
        return Reason.BOUGHT, (self.accounts[PlaceKind.BOUGHT].pk, wanted[1], EMPTY, None), wanted

    def _row(self, reason: Reason, source: Key, target: Key, count: int, at: datetime) -> Movement:
        self.balances[source] -= count
        self.balances[target] += count
        return Movement(
            size=source[1],
            count=count,
            source_id=source[0],
            source_state=source[2],
            target_id=target[0],
            target_state=target[2],
            batch_id=source[3] or target[3],
            reason=reason,
            by_id=self.by.get(source[0]) or self.by.get(target[0]) or self.keeper,
            at=at,
            token=UUID(int=self.dice.getrandbits(128), version=4),
        )


def _write_balances(balances: Counter[Key]) -> None:
    inside = dict(Place.objects.values_list("pk", "kind"))
    known = {(row.place_id, row.size, row.state, row.batch_id): row for row in Balance.objects.all()}
    changed, new = [], []
    for key, count in balances.items():
        if key in known:
            known[key].count = count
            changed.append(known[key])
        else:
            place, size, state, lot = key
            is_inside = inside[place] not in OUTSIDE
            new.append(Balance(place_id=place, is_inside=is_inside, size=size, state=state, batch_id=lot, count=count))
    with transaction.atomic():
        Balance.objects.bulk_update(changed, ["count"], batch_size=500)
    _write(new)
