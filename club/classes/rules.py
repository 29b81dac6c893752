"""The rules of the seats: whose turn it is when one comes free, and how long an offer stands.

Pure: no Django model, no request and no clock; `now` is an argument. All of these are our own choices, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext_noop as noop

from club.core.clock import moment_near
from recipes.engine import SEVEN_QUART
from recipes.engine.terms import Rule

OWN_CHOICE = "our own choice, no source"
MOST_PLACES = 2  # of one sign-up
OFFER_STANDS = timedelta(hours=48)
SHORT_OFFER = timedelta(hours=4)
LAST_DAY = timedelta(hours=24)
NIGHT_FROM, NIGHT_TO = time(21), time(8)
LAST_OFFER_BEFORE = timedelta(hours=2)
PAIR_WAITS_UNTIL = timedelta(hours=72)
LAPSING_CALL_LEAVES = timedelta(hours=1)

MOST_DAYS = 30  # of one series
# After publishing only these fields of a session change, besides its hours: the rest is what people signed up for.
SAFE = frozenset({"title", "about", "what_to_bring", "instructors"})
# Of a station's canner, where nobody said otherwise: the canner of seven quarts.
USUAL_CAPACITY = {jar.size: jar.count for jar in SEVEN_QUART.jars}

IN_ORDER = Rule(
    "seats-in-order",
    noop(
        "A seat that comes free is offered to whoever has waited longest. While somebody waits whom it could seat, a"
        " new sign-up waits too."
    ),
    OWN_CHOICE,
)
OFFER_TIME = Rule(
    "an-offer-stands-48-hours",
    noop(
        "An offer stands for 48 hours. On the last day before sign-up closes, and after it, it stands for 4 hours, and"
        " the hours from 21:00 to 8:00 at the hall do not count. An offer of the days before ends with the first 4"
        " hours of that last day. Nothing is offered in the last 2 hours before the session begins."
    ),
    OWN_CHOICE,
)
PAIRS = Rule(
    "parties-of-two-stay-together",
    noop(
        "When the next in line is a party of two and one seat is free, the seat waits for a second one until 72 hours"
        " before the session begins. From then on it goes to the next in line who comes alone; the party keeps its"
        " place at the front."
    ),
    OWN_CHOICE,
)
RULES = (IN_ORDER, OFFER_TIME, PAIRS)


@dataclass(frozen=True)
class Waiter:
    """Somebody in the line: a key of the caller's, and how many places the party wants (1 or 2)."""

    key: int
    places: int


@dataclass(frozen=True)
class Hours:
    """When the session begins and its sign-up closes (aware moments), and the zone whose wall clock the hall has."""

    starts_at: datetime
    signup_closes_at: datetime
    zone: ZoneInfo

    @property
    def last_day_from(self) -> datetime:
        """24 elapsed hours before sign-up closes, or before the session begins where that comes first."""
        return min(self.starts_at, self.signup_closes_at).astimezone(UTC) - LAST_DAY


def next_in_line(line: Sequence[Waiter], free: int, *, singles_may_pass: bool) -> list[Waiter]:
    """Who is seated or offered a seat now, in order, when so many seats are free.

    In the order of the line, until one comes who does not fit. Whoever comes alone passes a party of two only where
    `singles_may_pass`.
    """
    chosen: list[Waiter] = []
    for waiter in line:
        if free == 0:
            break
        if waiter.places <= free:
            chosen.append(waiter)
            free -= waiter.places
        elif not singles_may_pass:
            break
    return chosen


def singles_may_pass(now: datetime, hours: Hours) -> bool:
    """Whether a single seat has waited long enough for a second one, should a party of two be next."""
    return now >= hours.starts_at - PAIR_WAITS_UNTIL


def offer_until(now: datetime, hours: Hours) -> datetime | None:
    """Until when an offer made at `now` stands, in UTC; None when it is too late to make one.

    A later offer never ends before an earlier one.
    """
    at, starts = now.astimezone(UTC), hours.starts_at.astimezone(UTC)
    if at >= starts - LAST_OFFER_BEFORE:
        return None
    into_last_day = day_hours_after(max(at, hours.last_day_from), SHORT_OFFER, hours.zone)
    return min(at + OFFER_STANDS, into_last_day, starts)


def day_hours_after(moment: datetime, length: timedelta, zone: ZoneInfo) -> datetime:
    """The moment, in UTC, at which `length` has gone by since, the hours of the night at the hall left out."""
    at, left = moment.astimezone(UTC), length
    while True:
        at = night_end(at, zone) or at
        evening = _wall(at, NIGHT_FROM, zone)
        if at + left <= evening:
            return at + left
        left -= evening - at
        at = evening


def night_end(moment: datetime, zone: ZoneInfo) -> datetime | None:
    """The end of the night that `moment` falls in, in UTC; None by day."""
    hour = moment.astimezone(zone).time()
    if hour < NIGHT_TO:
        return _wall(moment, NIGHT_TO, zone)
    return _wall(moment, NIGHT_TO, zone, days=1) if hour >= NIGHT_FROM else None


def offer_notice_at(offered_at: datetime, until: datetime, zone: ZoneInfo) -> datetime:
    """When to tell of an offer: at once, or in the morning where that still leaves the hours of a short offer."""
    return _out_of_the_night(offered_at, until - SHORT_OFFER, zone)


def lapsing_notice_at(offered_at: datetime, until: datetime, zone: ZoneInfo) -> datetime:
    """When to call again: a quarter of the time since it was told is left; by night only where morning is too late."""
    notice_at = offer_notice_at(offered_at, until, zone)
    return _out_of_the_night(until - (until - notice_at) / 4, until - LAPSING_CALL_LEAVES, zone)


def _out_of_the_night(moment: datetime, latest: datetime, zone: ZoneInfo) -> datetime:
    morning = night_end(moment, zone)
    return morning if morning is not None and morning <= latest else moment.astimezone(UTC)


def _wall(moment: datetime, hour: time, zone: ZoneInfo, *, days: int = 0) -> datetime:
    """That hour of the day on which `moment` falls at the hall, or so many days later, in UTC."""
    day = moment.astimezone(zone).date() + timedelta(days=days)
    return moment_near(day, hour, zone)


# Who sits where: parties stay together, no station over its seats, and the stations alike in people.
#
# Pure: plain values in, plain values out. Parties are of one or of two.


@dataclass(frozen=True)
class Party:
    """People who came together and sit together; `size` is 1 or 2."""

    key: int
    size: int


@dataclass(frozen=True)
class Table:
    """A station: how many seats it has, and how many of them are taken already."""

    key: int
    seats: int
    taken: int = 0


def seat_everybody(parties: Sequence[Party], tables: Sequence[Table]) -> dict[int, int]:
    """Station by party. A party that is not in the answer found no room.

    Pairs choose first, then those who came alone; each takes the station with the fewest people that has room, the
    first of several. That order never fails where everybody can be seated at all: each pair uses up exactly one
    free pair of seats wherever it sits, and one person fits in whatever seat is left.
    """
    people = {table.key: table.taken for table in tables}
    free = {table.key: max(table.seats - table.taken, 0) for table in tables}
    seated: dict[int, int] = {}
    for party in sorted(parties, key=lambda party: -party.size):
        roomy = [table.key for table in tables if free[table.key] >= party.size]
        if roomy:
            chosen = min(roomy, key=lambda key: people[key])
            seated[party.key] = chosen
            people[chosen] += party.size
            free[chosen] -= party.size
    return seated
