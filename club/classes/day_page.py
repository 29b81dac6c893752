"""What the pages of the day show: the roll, the stations with their people and canners, and what came of it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Prefetch, Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.functional import cached_property

from club.classes.models import CannerLoad, ClassSession, SignUp, Station, StationBatch
from club.classes.services.stations_day import loads_of
from club.members.models import User
from inventory.batches.models import Batch, BatchState, Jar
from inventory.batches.rules import Phase
from recipes.engine.rules import RULES
from recipes.engine.terms import Rule

MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Roll:
    """Everybody with a seat, and who was absent and gave it up; people are counted, not parties."""

    rows: tuple[SignUp, ...]
    waiting: int

    @property
    def came(self) -> int:
        return sum(row.came or 0 for row in self.rows)

    @property
    def awaited(self) -> int:
        """People of the parties that were not called yet."""
        return sum(row.places for row in self.rows if row.came is None)

    @property
    def absent(self) -> int:
        return sum(row.places - row.came for row in self.rows if row.came is not None)


def roll_of(session: ClassSession) -> Roll:
    """Two queries, however many."""
    signups = session.signups.filter(Q(pk__in=SignUp.objects.seated()) | Q(came=0))
    rows = signups.select_related("person", "station", "own_note").order_by(Lower("person__name"), "pk")
    return Roll(tuple(rows), SignUp.objects.waiting().filter(session=session).count())


@dataclass(frozen=True)
class LoadShown:
    """`done_at` is when its minutes are over."""

    number: int
    began_at: datetime | None = None
    done_at: datetime | None = None


@dataclass(frozen=True)
class StationShown:
    """One station on the day. `may_log`: the person asking may write down what came out of its canner."""

    station: Station
    people: tuple[SignUp, ...]
    cooking: StationBatch | None
    may_log: bool
    now: datetime

    @property
    def phase(self) -> Phase | None:
        return self.batch.phase_at(self.now) if self.batch else None

    @property
    def batch(self) -> Batch | None:
        return self.cooking.batch if self.cooking else None

    @property
    def taker(self) -> SignUp | None:
        """Who was chosen; before the start also the only party that came."""
        chosen = getattr(self.station, "taker", None)
        if chosen is not None:
            found: SignUp = chosen.signup
            return found
        came = [signup for signup in self.people if signup.came]
        return came[0] if len(came) == 1 else None

    @property
    def used(self) -> int:
        return sum(signup.places for signup in self.people)

    @property
    def free(self) -> int:
        return self.station.seats - self.used

    @property
    def has_somebody(self) -> bool:
        return any(signup.came for signup in self.people)

    @cached_property
    def loads(self) -> list[LoadShown]:
        if self.cooking is None or self.cooking.batch.required_minutes is None:
            return []
        minutes = timedelta(minutes=self.cooking.batch.required_minutes)
        begun = {load.number: load.began_at for load in self.cooking.loads.all()}
        shown = []
        for number in range(1, loads_of(self.cooking) + 1):
            began = begun.get(number)
            shown.append(LoadShown(number, began, began + minutes if began else None))
        return shown

    @property
    def began_typed(self) -> str:
        """When the first load began to count, as a form takes it. To the next whole minute: never a longer process."""
        begun = [load.began_at for load in self.loads if load.began_at]
        if not begun:
            return ""
        whole = min(begun).replace(second=0, microsecond=0)
        return f"{timezone.localtime(whole if whole == min(begun) else whole + MINUTE):%Y-%m-%dT%H:%M}"

    @property
    def is_to_begin(self) -> bool:
        """Whether a load is still to be put in."""
        return any(load.began_at is None for load in self.loads)

    @property
    def count_rule(self) -> Rule:
        """When the minutes count, and when they begin anew."""
        under_pressure = self.batch is not None and self.batch.required_psi is not None
        return RULES["PC-RESTART" if under_pressure else "BWC-RESTART"]

    @property
    def is_on_the_stove(self) -> bool:
        return self.batch is not None and self.batch.state == BatchState.STARTED

    @property
    def seals(self) -> Counter[str]:
        """Jars by what was found; where the page asked for them."""
        return Counter(jar.seal for jar in self.batch.jars.all()) if self.batch else Counter()


def stations_of(session: ClassSession, user: User, now: datetime) -> list[StationShown]:
    """The stations in their order; the same few queries for one as for thirty."""
    here = SignUp.objects.at_the_hall().select_related("person").order_by("joined_at", "pk")
    stations = (
        session.stations.select_related("revision__recipe", "taker__signup__person")
        .defer("revision__content")
        .prefetch_related(Prefetch("signups", here, to_attr="people"))
    )
    cooking = StationBatch.objects.filter(station__session=session).select_related(
        "batch__revision__recipe", "batch__made_by", "batch__started_by"
    )
    cooking = cooking.defer("batch__revision__content").prefetch_related(
        Prefetch("loads", CannerLoad.objects.order_by("number")),
        Prefetch("batch__jars", Jar.objects.only("batch", "number", "seal", "size")),
    )
    by_station = {one.station_id: one for one in cooking}
    mine = set(Batch.objects.worked_at_by(user).filter(at_station__in=cooking).values_list("pk", flat=True))
    shown = []
    for station in stations:
        one = by_station.get(station.pk)
        people = tuple(station.people)
        shown.append(StationShown(station, people, one, one is not None and one.batch_id in mine, now))
    return shown


def standing_of(session: ClassSession) -> list[SignUp]:
    """Who came or is awaited, and sits nowhere yet."""
    nowhere = SignUp.objects.at_the_hall().filter(session=session, station=None)
    return list(nowhere.select_related("person").order_by(Lower("person__name"), "pk"))
