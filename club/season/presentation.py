"""The season of a household, and of the households that the club counts, as their pages show them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any
from uuid import UUID, uuid4

import drawsvg
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.http import urlencode
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.core.charts import as_wide_as_the_page, new_picture, words_at
from club.core.clock import club_day
from club.members.models import Kitchen, Units
from club.season.harvest import (
    Clash,
    Region,
    WeekLoad,
    Weeks,
    Wish,
    lay_evenings,
    median_week,
    mondays_ahead,
    week_of,
)
from club.season.models import KEPT_KINDS, SIZES, HarvestWeeks, YearlyTarget
from club.season.rules import MonthShelf, Need, PutUp, SeasonPlan, season_plan, shelf_ahead, shelf_past, short_of
from club.season.services import (
    NO_RECIPE,
    ContainerDates,
    Cooking,
    Harvests,
    Kept,
    Reading,
    Stove,
    readings,
    revisions_for,
    shelf_changes,
)
from recipes.choices import CANNERS, JARS, SEEN
from recipes.engine import Plan
from recipes.engine.quantities import JAR_SIZES
from recipes.presentation import HandWords, hand_words, source_text
from recipes.search import food_words
from recipes.shopping import BANDS, LIDS, Purchase, shopping_together

NONE_KNOWN: Mapping[str, int] = {}
SOON = timedelta(days=30)  # our own choice, no source


@dataclass(frozen=True)
class SeasonRow:
    """One target with what is there of it and what is to be done."""

    target: YearlyTarget
    cooking: Cooking
    on_shelf: int
    used: int  # opened or given away in the last twelve months, by the ledger
    never_sealed: int  # of those, jars that never sealed: eaten soon or thrown away
    put_up: PutUp
    hands: HandWords | None = None  # for one pot

    @property
    def can_be_planned(self) -> bool:
        return self.cooking.plan is not None

    @property
    def learned(self) -> int:
        """What a year really took, by the books."""
        return max(0, self.used - self.never_sealed)

    @property
    def differs(self) -> bool:
        return 0 < self.learned != self.target.jars

    @property
    def recipe_title(self) -> str:
        return self.cooking.revision.recipe.title if self.cooking.revision else ""

    @property
    def source(self) -> str:
        return source_text(self.cooking.revision.tested.source) if self.cooking.revision else ""

    @property
    def keep_url(self) -> str:
        """Where such food is begun, of what is kept in stages; "" else."""
        if not self.target.is_kept_in_stages or not self.put_up.wanted:
            return ""
        return f"{reverse('batches:keep')}?{urlencode({'way': self.target.kind, 'q': self.target.produce})}"

    @property
    def plan_url(self) -> str:
        """The recipe's own plan page, asked for just these pots; "" where there is nothing to cook."""
        if self.cooking.revision is None or not self.put_up.pots:
            return ""
        asked: dict[str, str | int] = {
            "kitchen": self.target.kitchen_id,
            "pots": self.put_up.pots,
            "jar": self.target.jar_size,
        }
        asked |= {"canner": self.target.canner} if self.target.canner else {}
        asked |= {"pack": self.cooking.pack.value} if self.cooking.pack else {}
        return f"{reverse('recipes:plan', args=[self.cooking.revision.recipe.slug])}?{urlencode(asked)}"

    @property
    def how_long(self) -> str:
        """ "2 evenings of 3 pots at most" """
        if not self.put_up.evenings or not self.put_up.pots_an_evening:
            return ""
        evenings = ngettext("%(n)s evening", "%(n)s evenings", self.put_up.evenings) % {"n": self.put_up.evenings}
        at_most = ngettext("%(n)s pot fits", "%(n)s pots fit", self.put_up.pots_an_evening)
        return f"{evenings} ({at_most % {'n': self.put_up.pots_an_evening}})"


@dataclass(frozen=True)
class ShelfRow:
    """Jars of one recipe and size: on the shelf, and gone from it this year; whether a target counts them."""

    title: str
    recipe: int
    size: str
    on_shelf: int
    used: int
    has_target: bool
    oldest: datetime | None = None  # when the oldest of them left its canner, or was put away
    food: str = ""  # of what was kept in stages
    target_query: str = ""  # how the form of a target is filled in with it
    container: ContainerDates | None = None

    @property
    def size_word(self) -> str:
        return str(SIZES[self.size])

    def age_on(self, day: date) -> str:
        """ "past" its date, "soon" in the last month before it, else ""; also where no date is printed."""
        until = self.container.best_by if self.container else None
        if until is None or day < until - SOON:
            return ""
        return "past" if day > until else "soon"


@dataclass(frozen=True)
class Short:
    """What is missing of one thing: so many are needed, so many are there."""

    name: str
    word: str
    needed: int
    there: int

    @property
    def short(self) -> int:
        return max(0, self.needed - self.there)


@dataclass(frozen=True)
class Season:
    reading: Reading
    rows: list[SeasonRow]
    plan: SeasonPlan
    shelf_rows: list[ShelfRow]
    jars: list[Short]
    lids: Short
    frozen: Mapping[str, int]  # grams in the freezer by produce

    def shopping(self, units: str) -> list[Purchase]:
        """For all the pots that can be planned, but lids and bands, which are counted apart."""
        return bought_for([self], units)

    @property
    def not_planned(self) -> int:
        """Jars to put up that no tested recipe can be planned for."""
        return sum(row.put_up.wanted for row in self.rows if not row.can_be_planned)

    @property
    def without_target(self) -> list[ShelfRow]:
        return [row for row in self.shelf_rows if not row.has_target]

    @property
    def is_long(self) -> bool:
        return any(row.put_up.is_long and row.put_up.pots for row in self.rows)

    def shelf(self, now: datetime) -> list[MonthShelf]:
        """Twelve months back by the ledger, of all full jars; twelve ahead of the good ones, as a year takes them."""
        today = club_day(now)
        past = shelf_past(self.reading.full, shelf_changes(self.reading.places, now=now), today)
        # Containers are in no ledger, so they are left out of both halves.
        stocks = [(row.on_shelf, row.target.jars) for row in self.rows if row.target.jar_size in JAR_SIZES]
        stocks += [(one.on_shelf, one.used) for one in self.without_target if one.size in JAR_SIZES]
        return past + shelf_ahead(stocks, 0, today)


def bought_for(seasons: Iterable[Season], units: str) -> list[Purchase]:
    plans = [
        (row.cooking.plan, row.put_up.pots)
        for season in seasons
        for row in season.rows
        if row.cooking.plan is not None and row.put_up.pots
    ]
    return [one for one in shopping_together(plans, units) if one.item not in (LIDS, BANDS)]


def season_of(
    kitchen: Kitchen, *, now: datetime, frozen: Mapping[str, int] = NONE_KNOWN, units: str = Units.METRIC
) -> Season:
    """`frozen` is what lies in the household's freezer, in grams by produce as recipes name it ("strawberries");
    `units` those of the reader."""
    reading = readings([kitchen], now=now)[kitchen.pk]
    return _season(reading, frozen, _by_target([reading]), units)


def _by_target(found: Sequence[Reading]) -> dict[int, Cooking]:
    revisions, stove = revisions_for(found), Stove()
    return {target.pk: stove.cooking(revisions[target.pk], target, one) for one in found for target in one.targets}


def _season(
    reading: Reading, frozen: Mapping[str, int], cookings: Mapping[int, Cooking], units: str = Units.METRIC
) -> Season:
    there, gone = reading.shelf + reading.in_freezer, reading.used + reading.out_of_freezer
    shelf, used, failed = (reading.counted(each) for each in (there, gone, reading.never_sealed))
    needs = [_need(target, cookings.get(target.pk, NO_RECIPE), shelf.get(target.pk, 0)) for target in reading.targets]
    plan = season_plan(needs, evening_minutes=reading.household.evening_minutes, frozen=frozen)
    rows = [
        SeasonRow(
            target=target,
            cooking=cookings.get(target.pk, NO_RECIPE),
            on_shelf=shelf.get(target.pk, 0),
            used=used.get(target.pk, 0),
            never_sealed=failed.get(target.pk, 0),
            put_up=put_up,
            hands=hand_words(made, units) if put_up.pots and (made := _plan_of(cookings, target)) else None,
        )
        for target, put_up in zip(reading.targets, plan.rows, strict=True)
    ]
    jars, lids = _short(rows, reading)
    return Season(reading, rows, plan, shelf_rows(reading), jars, lids, frozen)


def _plan_of(cookings: Mapping[int, Cooking], target: YearlyTarget) -> Plan | None:
    return cookings.get(target.pk, NO_RECIPE).plan


def _need(target: YearlyTarget, cooking: Cooking, on_shelf: int) -> Need:
    return Need(
        key=target.pk,
        jars_a_year=target.jars,
        on_shelf=on_shelf,
        jars_a_pot=cooking.jars_a_pot,
        minutes=cooking.minutes,
        produce=cooking.produce,
        fruit_grams=cooking.fruit_grams,
    )


def _short(rows: Iterable[SeasonRow], reading: Reading) -> tuple[list[Short], Short]:
    """Of what can be planned: nobody buys jars for what is refused."""
    needed: dict[str, int] = {}
    for row in rows:
        if row.put_up.jars and row.can_be_planned:
            needed[row.target.jar_size] = needed.get(row.target.jar_size, 0) + row.put_up.jars
    jars = [
        Short(size, str(JARS[size]), needed.get(size, 0), reading.empties.get(size, 0))
        for size in JAR_SIZES
        if size in needed or reading.empties.get(size)
    ]
    return jars, Short("lids", _("lids"), sum(needed.values()), reading.household.lids_at_home)


def shelf_rows(reading: Reading) -> list[ShelfRow]:
    kept: set[Kept] = {*reading.shelf, *reading.used}
    rows = [
        ShelfRow(
            title=reading.recipes[one.made_of].title,
            recipe=one.recipe,
            food=one.food,
            target_query=_target_query(reading, one),
            container=reading.containers.get(one),
            size=one.size,
            on_shelf=reading.shelf[one],
            used=max(0, reading.used[one] - reading.never_sealed[one]),
            has_target=reading.target_of(one) is not None,
            oldest=reading.oldest.get(one),
        )
        for one in kept
    ]
    rows = [row for row in rows if row.on_shelf or row.used]
    return sorted(rows, key=lambda row: (row.title, list(SIZES).index(row.size)))


def _target_query(reading: Reading, kept: Kept) -> str:
    known, query = reading.recipes[kept.made_of], {"jar_size": kept.size}
    if not kept.food:
        return urlencode(query | {"recipe": str(kept.recipe)})
    if known.kind not in KEPT_KINDS or not known.produce:
        return ""
    return urlencode(query | {"of_kind": f"{known.kind}|{known.produce[0]}"})


# The year: which evenings, and what is ripe together.


@dataclass(frozen=True)
class RowYear:
    """One target's harvest: its weeks, its evenings in words, and how many lids are short before it is done."""

    weeks: str
    days: str
    left: int
    canner: str
    lids_short: int


@dataclass(frozen=True)
class WeekWords:
    monday: date
    what: str
    hours: str
    lids: int
    lids_short: int


@dataclass(frozen=True)
class ClashWords:
    names: str
    first: date
    last: date
    evenings: int
    there: int
    hours: str
    hours_there: str
    left: int


@dataclass(frozen=True)
class Year:
    by_key: Mapping[int, RowYear]
    weeks: list[WeekWords]
    clash: ClashWords | None
    region: Region | None


DAYS_SAID = 8


def year_of(season: Season, harvests: Harvests, today: date) -> Year:
    """The evenings of the season laid into the harvest weeks, from `today` on."""
    household = season.reading.household
    rows = {row.target.pk: row for row in season.rows if row.put_up.evenings}
    ripe = {key: weeks for key, row in rows.items() if (weeks := _harvest_of(row, harvests))}
    wishes = [_wish(rows[key], mondays_ahead(weeks, today)) for key, weeks in ripe.items()]
    laid = lay_evenings(wishes, weekdays=household.weekdays, evening_minutes=household.evening_minutes, today=today)
    lids = _lids_by_day(rows, laid.days)
    loads = [_week_words(load, rows, lids, household.lids_at_home) for load in laid.weeks]
    by_key = {
        key: RowYear(
            weeks=weeks_words(spans),
            days=_days_words(laid.days[key]),
            left=laid.left.get(key, 0),
            canner=_canner_of(rows[key]),
            lids_short=_short_by(laid.days[key], lids, household.lids_at_home, rows[key].put_up.jars),
        )
        for key, spans in ripe.items()
    }
    return Year(by_key, loads, _clash_words(laid.clash, wishes, rows, household.evening_minutes), harvests.region)


def _harvest_of(row: SeasonRow, harvests: Harvests) -> tuple[Weeks, ...]:
    """The weeks of the first of its foods that a calendar knows."""
    foods = row.cooking.revision.tested.produce if row.cooking.revision else ()
    return next((weeks for food in foods if (weeks := harvests.of(food))), ())


def _wish(row: SeasonRow, mondays: tuple[date, ...]) -> Wish:
    lengths, at_once = row.cooking.minutes, row.put_up.pots_an_evening or 1
    minutes = lengths[min(at_once, len(lengths)) - 1] if lengths else 0
    return Wish(row.target.pk, row.put_up.evenings or 0, minutes, _canner_of(row), mondays)


def _canner_of(row: SeasonRow) -> str:
    plan = row.cooking.plan
    return str(CANNERS[plan.process.canner]) if plan is not None and plan.process is not None else ""


def _lids_by_day(rows: Mapping[int, SeasonRow], days: Mapping[int, Sequence[date]]) -> dict[date, int]:
    """New lids for each evening: whole pots, as many as fit, until the target's jars are full."""
    found: dict[date, int] = {}
    for key, evenings in days.items():
        row = rows[key]
        left = row.put_up.jars
        for day in evenings:
            jars = min(left, (row.put_up.pots_an_evening or 1) * (row.cooking.jars_a_pot or 0))
            found[day], left = jars, left - jars
    return found


def _short_by(days: Sequence[date], lids: Mapping[date, int], there: int, needed: int) -> int:
    """Lids that are missing when the last of these evenings is over; at most what these evenings take."""
    if not days:
        return 0
    used = sum(count for day, count in lids.items() if day <= days[-1])
    return min(needed, max(0, used - there))


def _week_words(load: WeekLoad, rows: Mapping[int, SeasonRow], lids: Mapping[date, int], there: int) -> WeekWords:
    ends = load.monday + timedelta(days=7)
    return WeekWords(
        monday=load.monday,
        what=", ".join(rows[key].target.title for key in load.keys),
        hours=_("%(hours)s of %(there)s h") % {"hours": _hours(load.minutes), "there": _hours(load.there)},
        lids=sum(count for day, count in lids.items() if load.monday <= day < ends),
        lids_short=max(0, sum(count for day, count in lids.items() if day < ends) - there),
    )


def _clash_words(
    clash: Clash | None, wishes: Sequence[Wish], rows: Mapping[int, SeasonRow], evening_minutes: int
) -> ClashWords | None:
    if clash is None:
        return None
    minutes = sum(wish.minutes * wish.evenings for wish in wishes if wish.key in clash.keys)
    return ClashWords(
        names=get_text_list([rows[key].target.title for key in clash.keys], _("and")),
        first=clash.first,
        last=clash.last + timedelta(days=6),
        evenings=clash.evenings,
        there=clash.there,
        hours=_hours(minutes),
        hours_there=_hours(clash.there * evening_minutes),
        left=clash.left,
    )


def _hours(minutes: int) -> str:
    return f"{minutes / 60:.1f}".removesuffix(".0")


def _days_words(days: Sequence[date]) -> str:
    said = [date_format(day, "D j M") for day in days[:DAYS_SAID]]
    return ", ".join(said) + (" …" if len(days) > DAYS_SAID else "")


def weeks_words(spans: Iterable[Weeks]) -> str:
    """ "30 June to 28 September": the days of a usual year."""
    return "; ".join(
        _("%(first)s to %(last)s")
        % {"first": date_format(weeks.days[0], "j M"), "last": date_format(weeks.days[1], "j M")}
        for weeks in spans
    )


@dataclass(frozen=True)
class CalendarLine:
    days: str
    sort: str
    source: str
    seen: str


@dataclass(frozen=True)
class HarvestRow:
    """One produce: what is printed, what an organiser corrected, and the median week that was seen here."""

    produce: str
    name: str
    lines: list[CalendarLine]
    corrected: HarvestWeeks | None
    corrected_days: str
    seen_days: str
    seen_count: int
    is_now: bool


def harvest_rows(harvests: Harvests, seen: Mapping[str, Mapping[int, int]], today: date) -> list[HarvestRow]:
    """By the week in which it begins; what only was seen comes last."""
    by_word: dict[str, Counter[int]] = {}
    for produce, weeks in seen.items():
        by_word.setdefault(harvests.word(produce) or produce, Counter()).update(weeks)
    foods = {*harvests.lines, *harvests.corrected, *by_word}
    ordered = sorted(foods, key=lambda food: (min((span.first for span in harvests.of(food)), default=99), food))
    return [_harvest_row(food, harvests, by_word.get(food, {}), today) for food in ordered]


def _harvest_row(food: str, harvests: Harvests, seen: Mapping[int, int], today: date) -> HarvestRow:
    row, median = harvests.corrected.get(food), median_week(seen)
    return HarvestRow(
        produce=food,
        name=food_words(food, harvests.british_first),
        lines=[
            CalendarLine(line.printed, line.sort, line.source, str(SEEN[line.seen]))
            for line in harvests.lines.get(food, ())
        ],
        corrected=row,
        corrected_days=weeks_words([row.weeks]) if row and row.weeks else "",
        seen_days=weeks_words([Weeks(median, median)]) if median else "",
        seen_count=sum(seen.values()),
        is_now=any(week_of(today) in span for span in harvests.of(food)),
    )


@dataclass(frozen=True)
class Shelf:
    """A household's full jars, the oldest first; each row with the token of its form."""

    kitchen: Kitchen
    reading: Reading
    rows: list[tuple[ShelfRow, UUID]]
    today: date

    @property
    def aged(self) -> list[tuple[ShelfRow, UUID, str]]:
        """With whether it is "past" its date or "soon" will be."""
        return [(row, token, row.age_on(self.today)) for row, token in self.rows]

    @property
    def jars(self) -> int:
        return sum(row.on_shelf for row, _token in self.rows if row.container is None)

    @property
    def containers(self) -> int:
        return sum(row.on_shelf for row, _token in self.rows if row.container is not None)


def shelves_of(kitchens: Sequence[Kitchen], *, now: datetime) -> list[Shelf]:
    """In a number of queries that does not grow with the households."""
    found = readings(kitchens, now=now) if kitchens else {}
    shelves = []
    for kitchen in kitchens:
        rows = [row for row in shelf_rows(found[kitchen.pk]) if row.on_shelf]
        rows.sort(key=lambda row: row.oldest or now)
        shelves.append(Shelf(kitchen, found[kitchen.pk], [(row, uuid4()) for row in rows], club_day(now)))
    return shelves


# The club


@dataclass(frozen=True)
class HouseholdSums:
    """One household's line on the club's page."""

    kitchen: str
    jars: int
    pots: int
    evenings: int


@dataclass(frozen=True)
class ClubSums:
    """What the households that chose to be counted need together. What one has too much of is not another's.

    `missing` are jars by size beyond each household's own empties; `bought` what the pots take, for a reader of each
    system of units.
    """

    households: list[HouseholdSums]
    missing: dict[str, int]
    lids: int
    bought: dict[str, list[Purchase]]

    def as_json(self) -> dict[str, Any]:
        """Without what no page shows: weights and volumes of purchases."""
        bought = {
            units: [
                {
                    "item": one.item,
                    "need": one.need,
                    "bought": one.bought,
                    "optional": one.optional,
                    "pieces": None if one.pieces is None else str(one.pieces),
                }
                for one in purchases
            ]
            for units, purchases in self.bought.items()
        }
        households = [[one.kitchen, one.jars, one.pots, one.evenings] for one in self.households]
        return {"households": households, "missing": self.missing, "lids": self.lids, "bought": bought}

    @classmethod
    def of_json(cls, kept: Mapping[str, Any]) -> ClubSums:
        bought = {
            units: [
                Purchase(**{**one, "pieces": None if one["pieces"] is None else Fraction(one["pieces"])})
                for one in purchases
            ]
            for units, purchases in kept["bought"].items()
        }
        return cls([HouseholdSums(*one) for one in kept["households"]], kept["missing"], kept["lids"], bought)


@dataclass(frozen=True)
class ClubSeason:
    """The sums beside what the club itself has, as its page shows them. `made_at` where they were reckoned before."""

    households: list[HouseholdSums]
    jars: list[Short]
    lids: Short
    bought: list[Purchase]
    made_at: datetime | None = None

    @property
    def wants(self) -> list[str]:
        """As the form of a new club order takes them: lids, jars and pectin, in pieces."""
        wants = [f"lids::{self.lids.short}"] if self.lids.short else []
        wants += [f"jars:{one.name}:{one.short}" for one in self.jars if one.short]
        wants += [f"supply:{one.item}:{-(-one.pieces // 1)}" for one in self.pectin if one.pieces]
        return wants

    @property
    def pectin(self) -> list[Purchase]:
        return [one for one in self.bought if one.item.endswith("pectin") and one.pieces]

    @property
    def order_url(self) -> str:
        return f"{reverse('jars:order-new')}?{urlencode([('want', want) for want in self.wants])}"


def club_sums(kitchens: Sequence[Kitchen], *, now: datetime) -> ClubSums:
    """Sums over the households' own plans."""
    found = list(readings(kitchens, now=now).values())
    cookings = _by_target(found)
    seasons = [_season(one, NONE_KNOWN, cookings) for one in found]
    missing: dict[str, int] = {}
    for season in seasons:
        for size, count in short_of(
            {one.name: one.needed for one in season.jars}, {one.name: one.there for one in season.jars}
        ).items():
            missing[size] = missing.get(size, 0) + count
    return ClubSums(
        [HouseholdSums(str(one.reading.kitchen), one.plan.wanted, one.plan.pots, one.plan.evenings) for one in seasons],
        missing,
        sum(season.lids.needed for season in seasons),
        {units: bought_for(seasons, units) for units in Units.values},
    )


def club_season(
    sums: ClubSums,
    *,
    units: str,
    store_empties: Mapping[str, int],
    lids_on_hand: int,
    made_at: datetime | None = None,
) -> ClubSeason:
    jars = [
        Short(size, str(JARS[size]), sums.missing[size], store_empties.get(size, 0))
        for size in JAR_SIZES
        if size in sums.missing
    ]
    lids = Short("lids", _("lids"), sums.lids, lids_on_hand)
    return ClubSeason(sums.households, jars, lids, sums.bought[units], made_at)


# The pantry over the year as an SVG picture, to stand inline in a page; the table beneath it says the same.
#
# Months ahead are open bars, so that colour alone tells nothing.

WIDTH, HEIGHT = 360, 190  # a phone's, so that its letters stay readable there
LEFT, RIGHT, TOP, FOOT = 30, 4, 16, 34
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1_000)  # jars between two lines of the scale, of which there are few
EVERY = 3  # months between two names


def pantry_svg(months: Sequence[MonthShelf], *, title: str, prefix: str = "pantry") -> str:
    """A bar a month: past months filled, months ahead open, and a line between them for today."""
    drawing = new_picture(
        WIDTH, HEIGHT, title=title, description=pantry_sentence(months), css_class="kh-pantry", prefix=prefix
    )
    most = scale_top(months)
    _draw_scale(drawing, most, _step(months))
    for number, month in enumerate(months):
        _draw_month(drawing, month, number, len(months), most)
    return as_wide_as_the_page(drawing)


def scale_top(months: Sequence[MonthShelf]) -> int:
    """The upper end of the scale: the fullest month, up to the next whole step."""
    step = _step(months)
    return max(1, -(-max((month.jars for month in months), default=0) // step)) * step


def _step(months: Sequence[MonthShelf]) -> int:
    most = max((month.jars for month in months), default=0)
    return next((step for step in STEPS if most <= step * 5), STEPS[-1])


def pantry_sentence(months: Sequence[MonthShelf]) -> str:
    """The whole picture in words."""
    past = [month for month in months if not month.is_ahead]
    ahead = [month for month in months if month.is_ahead]
    if not past:
        return _("Nothing is known of the pantry.")
    fullest = max(past, key=lambda month: (month.jars, month.first))
    now = ngettext("Now %(n)s full jar.", "Now %(n)s full jars.", past[-1].jars) % {"n": past[-1].jars}
    params = {"n": fullest.jars, "month": month_words(fullest)}
    best = ngettext("Fullest in %(month)s: %(n)s jar.", "Fullest in %(month)s: %(n)s jars.", fullest.jars) % params
    parts = [now, best]
    if ahead:
        left = ngettext(
            "If nothing is put up, %(n)s jar is left in %(month)s.",
            "If nothing is put up, %(n)s jars are left in %(month)s.",
            ahead[-1].jars,
        )
        parts.append(left % {"n": ahead[-1].jars, "month": month_words(ahead[-1])})
    return " ".join(parts)


def month_words(month: MonthShelf) -> str:
    """ "Nov 2026" """
    return date_format(month.first, "M Y")


def _draw_scale(drawing: drawsvg.Drawing, most: int, step: int) -> None:
    for jars in range(0, most + 1, step):
        y = _y(jars, most)
        drawing.append(drawsvg.Line(LEFT, y, WIDTH - RIGHT, y, stroke="currentColor", stroke_opacity=0.2))
        drawing.append(_text(str(jars), LEFT - 5, y + 4, anchor="end"))


def _draw_month(drawing: drawsvg.Drawing, month: MonthShelf, number: int, count: int, most: int) -> None:
    room = (WIDTH - LEFT - RIGHT) / count
    x, y = LEFT + number * room, _y(month.jars, most)
    bar = drawsvg.Rectangle(
        round(x + 1, 1),
        y,
        round(room - 2, 1),
        round(HEIGHT - FOOT - y, 1),
        fill="none" if month.is_ahead else "currentColor",
        fill_opacity=0.6,
        stroke="currentColor",
        class_="kh-pantry-ahead" if month.is_ahead else "kh-pantry-past",
    )
    bar.append_title(f"{month_words(month)}: {month.jars}")
    drawing.append(bar)
    if number % EVERY == 0 and number + EVERY <= count:  # a name needs the room of three bars
        drawing.append(_text(date_format(month.first, "M"), x, HEIGHT - FOOT + 14))
    if month.first.month == 1:
        drawing.append(_text(str(month.first.year), x, HEIGHT - 5))


def _y(jars: int, most: int) -> float:
    return round(HEIGHT - FOOT - (HEIGHT - FOOT - TOP) * jars / most, 1)


def _text(words: str, x: float, y: float, anchor: str = "start") -> drawsvg.Text:
    return words_at(words, x, y, 11, text_anchor=anchor)
