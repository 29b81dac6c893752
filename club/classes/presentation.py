"""What the pages of the classes show."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Prefetch, Q
from django.db.models.functions import Lower
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from club.classes.choices import SessionState
from club.classes.forms import SignUpForm
from club.classes.models import (
    CannerLoad,
    ClassSession,
    SetAside,
    SetAsideKind,
    SignUp,
    Station,
    StationBatch,
    teaches,
)
from club.classes.planning import PressureCanner, SessionPlan
from club.classes.rules import LAST_OFFER_BEFORE
from club.classes.rules import RULES as RULES_of_classes
from club.classes.services.day import loads_of
from club.classes.services.gear import Shelf
from club.classes.services.notes import needs_read
from club.classes.services.seats import TEACHES, open_check
from club.classes.services.sessions import refusal_words, stations_words
from club.members.models import Kitchen, User
from club.members.rules import altitude_words
from inventory.batches import rules
from inventory.batches.choices import BatchState
from inventory.batches.models import Batch, CannerBeside, Jar, Press
from inventory.batches.rules import Phase
from inventory.batches.services import recalls_of
from inventory.batches.stove import Course, course_of
from recipes import safety
from recipes.charts import Day, Mark, days_svg, tall_svg
from recipes.choices import CANNERS, JARS, PACKS
from recipes.engine import RULES, Plan, StepKind, clock
from recipes.engine.quantities import Amount, format_amount
from recipes.engine.stations import CLEAN_UP, HallPlan, HallRefusal, TotalLine
from recipes.engine.terms import Canner, Caution, Pack, Rule
from recipes.models import Recipe, RevisionState
from recipes.presentation import (
    HandWords,
    KitchenPoints,
    PlanLine,
    ProcessDetails,
    StepLine,
    StepWords,
    amount_pair,
    hand_words,
    headspace_text,
    in_words,
    jar_counts,
    kept_lines,
    kitchen_points,
    own_steps,
    plan_lines,
    pressure_text,
    process_details,
    process_text,
    processes_by_size,
    setting_text,
    step_lines,
    temperature_text,
)
from recipes.safety import Saying
from recipes.services import plan_for
from recipes.shopping import LIDS, PACKAGES, Purchase, packages_text, shopping_list_of

# A session's plan in the words of a page and of the sheet on the wall: nothing here decides, it only says.

PICTURE_EVERY = 30  # the picture begins and ends at a half hour


@dataclass(frozen=True)
class Notice:
    """A refusal or a caution with its stations in front, as the parts refusals.html and cautions.html take it."""

    message: str
    rule: str
    source: str


@dataclass(frozen=True)
class LoadTimes:
    """The clock of one canner load; "" for what does not come, such as cooking a raw pack."""

    number: int
    pot: int
    jars: str
    treated: str  # "10 minutes"
    cook: str
    fill: str
    process: str
    until: str
    out: str


@dataclass(frozen=True)
class StationWords:
    """One station: what is cooked, the process that safety hangs on, and when."""

    station: Station
    heading: str
    title: str
    revision: str
    process: ProcessDetails | None
    processes: Sequence[tuple[str, str]]  # by jar size, where they differ
    jars: str
    canner: str
    burners: str
    begins: str
    ends: str
    lines: list[PlanLine]
    hands: HandWords | None
    steps: list[StepLine]
    times: list[LoadTimes]
    cautions: tuple[Caution, ...]
    refusals: list[Notice]  # those that are about this station


@dataclass(frozen=True)
class TotalWords:
    """One ingredient over all stations."""

    item: str
    prep: str
    amount: str
    beside: str
    stations: str
    optional: bool


@dataclass(frozen=True)
class PowerWords:
    """What the burners draw, against what the hall carries."""

    burners: str
    used: str
    limit: str  # "" while nobody has said
    rule: Rule


@dataclass(frozen=True)
class PlanWords:
    """Everything that the plan page and the wall sheet say."""

    altitude: str
    boiling: str
    stations: list[StationWords]
    refusals: list[Notice]
    cautions: list[Notice]
    totals: list[TotalWords]
    jars: str
    lids: int
    packets: str
    loads: int
    power: PowerWords
    begins: str
    ends: str
    clean_up: Rule


def plan_words(plan: SessionPlan, units: str, refusals: Iterable[HallRefusal]) -> PlanWords:
    """`units` is metric or us, `refusals` whatever stands in the way, the plan's own among them."""
    hall, altitude, against = plan.hall, plan.session.hall.altitude, tuple(refusals)
    boiling = next((each.boiling_point_c for each in plan.plans if each.boiling_point_c is not None), None)
    return PlanWords(
        altitude=altitude_words(altitude) if altitude else "",
        boiling=temperature_text(boiling) if boiling is not None else "",
        stations=[
            _station(each, made, units, against, plan.canners.get(each.number, ()))
            for each, made in zip(plan.stations, plan.plans, strict=True)
        ],
        refusals=[_notice_of(each) for each in against],
        cautions=_cautions(hall),
        totals=[_total(line, units) for line in hall.lines],
        jars=", ".join(f"{jar.count} × {JARS[jar.size]}" for jar in hall.jars),
        lids=hall.lids,
        packets=", ".join(format_amount(Fraction(count), unit) for unit, count in hall.packets),
        loads=hall.loads,
        power=_power(hall),
        begins=clock(hall.begins) if hall.begins is not None else "",
        ends=clock(hall.closes - int(CLEAN_UP.value)),
        clean_up=RULES["CLASS-CLEAN-UP"],
    )


def plan_picture(plan: SessionPlan) -> str:
    """All stations on one clock, with the session's beginning, its cleaning up and its end; "" where none is timed."""
    hall = plan.hall
    if not hall.days:
        return ""
    names = {station.number: station_heading(station) for station in plan.stations}
    titles = {each.number: each.plan.recipe.title for each in hall.stations}
    first = min(hall.opens, hall.begins or hall.opens) // PICTURE_EVERY * PICTURE_EVERY
    return days_svg(
        [Day(f"{names[day.number]}: {titles[day.number]}", day.timeline) for day in hall.days],
        title=f"{plan.session.title}, {date_format(plan.session.day, 'D j M Y')}",
        first=first,
        last=-(-hall.closes // PICTURE_EVERY) * PICTURE_EVERY,
        when=clock,
        marks=(
            Mark(hall.opens, _("begin")),
            Mark(hall.closes - int(CLEAN_UP.value), _("last jar out")),
            Mark(hall.closes, _("end")),
        ),
        prefix="hall",
    )


def tall_pictures(plan: SessionPlan) -> list[tuple[str, str]]:
    """For a phone: of each station that is timed its heading, and its own day from above down."""
    names = {station.number: station_heading(station) for station in plan.stations}
    return [
        (names[day.number], tall_svg(day.timeline, title=names[day.number], when=clock, prefix=f"hall-{day.number}"))
        for day in plan.hall.days
    ]


def station_heading(station: Station) -> str:
    number = stations_words((station.number,))
    return f"{number}, {station.name}" if station.name else number


def _notice_of(hall_refusal: HallRefusal) -> Notice:
    return Notice(refusal_words(hall_refusal), hall_refusal.refusal.rule, hall_refusal.refusal.source)


def _canner_words(station: Station, held: Sequence[PressureCanner]) -> str:
    """ "1 × dial gauge (DGC-01)": the codes of what is held for the station, where it is under pressure."""
    if not station.canner:
        return ", ".join(one.thing.code for one in held)
    words = f"{station.canners} × {CANNERS[station.canner]}"
    return f"{words} ({', '.join(one.thing.code for one in held)})" if held else words


def _station(
    station: Station, plan: Plan, units: str, refusals: Iterable[HallRefusal], canners: Sequence[PressureCanner]
) -> StationWords:
    timed = plan.day is not None and plan.begins is not None and plan.finish is not None
    return StationWords(
        station=station,
        heading=station_heading(station),
        title=plan.recipe.title,
        revision=str(plan.revision or ""),
        process=process_details(plan.process),
        processes=processes_by_size(plan) or _one_process(plan),
        jars=", ".join(f"{jar.count} × {JARS[jar.size]}" for jar in plan.jars),
        canner=_canner_words(station, canners),
        burners=" + ".join(f"{watts:,} W" for watts in station.burners_w),
        begins=clock(plan.begins or 0) if timed else "",
        ends=clock(plan.finish or 0) if timed else "",
        lines=plan_lines(plan, units),
        hands=hand_words(plan, units),
        steps=step_lines(plan),
        times=_load_times(plan),
        cautions=plan.cautions,
        refusals=[_notice_of(each) for each in refusals if station.number in each.stations],
    )


def _load_times(plan: Plan) -> list[LoadTimes]:
    """When each load is cooked, filled, processed and lifted out; nothing where there is no clock."""
    day, begins = plan.day, plan.begins
    if day is None or begins is None:
        return []
    found = []
    for load in plan.loads:
        steps = {step.kind: step for step in day.steps if step.load == load.number and step.canner is not None}
        cook = next((step for step in day.steps if step.kind is StepKind.COOK and step.pot == load.pot), None)
        fill = next((step for step in day.steps if step.kind is StepKind.FILL and step.load == load.number), None)
        process = steps.get(StepKind.PROCESS)
        out = steps.get(StepKind.OUT)
        minutes = [
            step and step.start for step in (cook, fill, process, process and process._replace(start=process.end), out)
        ]
        times = ["" if minute is None else clock(begins + minute) for minute in minutes]
        found.append(LoadTimes(load.number, load.pot, jar_counts(load.jars), process_text(load.process), *times))
    return found


def _one_process(plan: Plan) -> list[tuple[str, str]]:
    """The one process of all loads with its jar; nothing where there is none."""
    if not plan.loads:
        return []
    load = plan.loads[0]
    return [(str(JARS[load.jars[0].size]), process_text(load.process))]


def _cautions(hall: HallPlan) -> list[Notice]:
    """Those about some stations only say which; what is true of all of them is said plainly."""
    everybody = tuple(each.number for each in hall.stations)
    found = []
    for hall_caution in hall.cautions:
        before = "" if hall_caution.stations == everybody else stations_words(hall_caution.stations)
        message = f"{before}: {in_words(hall_caution.caution)}" if before else in_words(hall_caution.caution)
        found.append(Notice(message, hall_caution.caution.rule, hall_caution.caution.source))
    return found


def _total(line: TotalLine, units: str) -> TotalWords:
    counted = replace(line.ingredient, amount=line.amount, amount_high=line.amount_high, grams=line.grams)
    amount, beside = amount_pair(counted, units, customary=line.text)
    return TotalWords(
        item=line.ingredient.item,
        prep=line.ingredient.prep,
        amount=amount,
        beside=beside,
        stations=", ".join(map(str, line.stations)),
        optional=line.ingredient.optional,
    )


def _power(hall: HallPlan) -> PowerWords:
    power = hall.power
    return PowerWords(
        burners=f"{power.burners_w:,} W",
        used=f"{power.used_at_once_w:,} W",
        limit="" if power.limit_w is None else f"{power.limit_w:,} W",
        rule=RULES["CLASS-POWER"],
    )


# What the pages of the day show: the roll, the stations with their people and canners, and what came of it.

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
    def correction(self) -> str:
        """ "set 15 where the table says 13: this gauge reads 2 psi high", or nothing."""
        if self.batch is None:
            return ""
        return setting_text(self.batch.setting_psi, self.batch.required_psi, self.batch.reads_high)

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
        "batch__revision__recipe", "batch__made_by", "batch__started_by", "batch__canner_card"
    )
    cooking = cooking.defer("batch__revision__content").prefetch_related(
        Prefetch("loads", CannerLoad.objects.order_by("number")),
        Prefetch("batch__jars", Jar.objects.only("batch", "number", "seal", "size")),
        Prefetch("batch__canners_beside", CannerBeside.objects.select_related("card")),
    )
    by_station = {one.station_id: one for one in cooking}
    mine = set(Batch.objects.worked_at_by(user).filter(at_station__in=cooking).values_list("pk", flat=True))
    shown = []
    for station in stations:
        one = by_station.get(station.pk)
        people = tuple(station.people)
        shown.append(StationShown(station, people, one, one is not None and one.batch_id in mine, now))
    return shown


@dataclass(frozen=True)
class StationBoard:
    """A station with a batch on the stove: where its cook stands, and its timers, what runs out next first."""

    station: Station
    batch: Batch
    course: Course

    @property
    def next_ends(self) -> datetime | None:
        return self.course.running[0].ends_at if self.course.running else None


def board_of(session: ClassSession, units: str) -> list[StationBoard]:
    """The stations whose batch is on the stove; whose minutes run out next stand first, then those without a timer."""
    rows = StationBatch.objects.filter(station__session=session, batch__state=BatchState.STARTED)
    named = rows.select_related("station", "batch__revision__recipe", "batch__kitchen", "batch__canner_card")
    cooking = list(
        named.prefetch_related(
            Prefetch("batch__presses", Press.objects.in_order()),
            Prefetch("batch__canners_beside", CannerBeside.objects.select_related("card")),
        ).order_by("station__number")
    )
    found = [
        StationBoard(one.station, one.batch, course_of(one.batch, units, presses=list(one.batch.presses.all())))
        for one in cooking
    ]
    return sorted(found, key=lambda one: (one.next_ends is None, one.next_ends or session.starts_at))


def without_station(session: ClassSession) -> list[SignUp]:
    """Who came or is awaited, and sits nowhere yet."""
    nowhere = SignUp.objects.at_the_hall().filter(session=session, station=None)
    return list(nowhere.select_related("person").order_by(Lower("person__name"), "pk"))


# What is left to buy for a session.


def to_buy(plans: Sequence[Plan], units: str, kept: Iterable[SetAside], shelves: Sequence[Shelf]) -> list[Purchase]:
    """The shopping list, less lids and supplies that are set aside. Ingredients that nobody keeps are all on it."""
    have: dict[str, Amount] = {}
    by_key = {(each.what, each.key): each for each in shelves}
    for row in kept:
        shelf = by_key.get((row.what, row.key))
        if row.what == SetAsideKind.LID:
            lids = have.get(LIDS, Amount(Fraction(0), "each"))
            have[LIDS] = Amount(lids.value + row.quantity, "each")
        elif row.what == SetAsideKind.SUPPLY and shelf is not None and shelf.holds is not None:
            have[shelf.name.lower()] = Amount(shelf.holds.value * row.quantity, shelf.holds.unit)
    return shopping_list_of(plans, units, have)


def jars_to_buy(plans: Sequence[Plan], units: str, kept: Iterable[SetAside]) -> list[Purchase]:
    """Empty jars that the plans fill and that are not set aside; boxed by the dozen, as lids are."""
    lacking: dict[str, int] = {}
    for jar in (jar for plan in plans for jar in plan.jars):
        lacking[jar.size] = lacking.get(jar.size, 0) + jar.count
    for row in kept:
        if row.what == SetAsideKind.JAR and row.key in lacking:
            lacking[row.key] -= row.quantity
    return [
        replace(wanted, bought=packages_text(wanted, PACKAGES[LIDS][units]))
        for size, count in lacking.items()
        if count > 0
        for wanted in [
            Purchase(_("empty jars, %(size)s") % {"size": JARS[size]}, str(count), pieces=Fraction(count), unit="each")
        ]
    ]


# What the pages of sessions and seats show: a few queries each, however many people there are.

PAST_SHOWN = 20


def session_context(session: ClassSession, user: User, form: SignUpForm) -> dict[str, Any]:
    """The page of one session: for everybody, and for those who run it who comes and who waits."""
    now = timezone.now()
    signup = SignUp.objects.of(user).open().filter(session=session).defer("needs").with_place().first()
    if signup is not None:
        _set_hours(signup, session, now)
    runs = ClassSession.objects.run_by(user).filter(pk=session.pk).exists()
    is_teacher = teaches(user, session)
    closed = TEACHES if is_teacher else why_closed(session, now)
    return {
        "session": session,
        "signup": signup,
        "form": None if signup or closed else form,
        "closed": closed,
        "recipes": Recipe.objects.readable().filter(revisions__stations__session=session).distinct(),
        "seat_rules": RULES_of_classes,
        "runs": runs,
        "has_begun": session.starts_at <= now,
        **(people_context(session, user) if runs or is_teacher else {}),
    }


def _set_hours(signup: SignUp, session: ClassSession, now: datetime) -> None:
    signup.has_begun = session.starts_at <= now  # type: ignore[attr-defined]
    signup.offers_are_over = now >= session.starts_at - LAST_OFFER_BEFORE  # type: ignore[attr-defined]


def people_context(session: ClassSession, user: User) -> dict[str, Any]:
    """Who comes, who was offered a seat and who waits; what they wrote, where this person is to see it."""
    rows = SignUp.objects.open().filter(session=session).select_related("person").defer("needs")
    wrote = needs_read(by=user, session=session)
    shown = list(rows.order_by("joined_at", "pk"))
    for row in shown:
        row.shown_needs = wrote.get(row.pk, "")  # type: ignore[attr-defined]
        row.hides_needs = row.shown_needs is None  # type: ignore[attr-defined]
    return {
        "shows_people": True,
        "comes": [one for one in shown if one.state == "seated"],
        "offered": [one for one in shown if one.state == "offered"],
        "waits": [one for one in shown if one.state == "waiting"],
    }


def my_signups(user: User, now: datetime) -> dict[str, Any]:
    """What one is signed up for, soonest first; and where one was."""
    rows = SignUp.objects.of(user).defer("needs").select_related("session__hall")
    coming = rows.open().filter(session__ends_at__gt=now).with_place().order_by("session__starts_at", "pk")
    signups = list(coming)
    for signup in signups:
        _set_hours(signup, signup.session, now)
    past = rows.seated().filter(session__ends_at__lte=now).exclude(session__state=SessionState.CANCELLED)
    return {"signups": signups, "past": past.order_by("-session__starts_at", "-pk")[:PAST_SHOWN]}


def why_closed(session: ClassSession, now: datetime) -> str:
    """Why nobody can sign up just now, in words; empty while it is open."""
    try:
        open_check(session, now)
    except ValidationError as error:
        return " ".join(error.messages)
    return ""


# What a student takes home: the recipe as their station cooked it, and what their own kitchen's altitude asks for.
#
# A process time is looked up by the engine for each kitchen, or there is none and the reason stands in its place.


@dataclass(frozen=True)
class KitchenTime:
    """One kitchen's process in words, or `refusals` in its place; `also` is what else its altitude asks for."""

    name: str
    altitude: str
    process: str = ""
    also: tuple[str, ...] = ()
    refusals: tuple[str, ...] = ()


@dataclass(frozen=True)
class Handout:
    """`hall` is the process as planned for the station; `own` the student's own kitchens, which may be none.

    `called_back` says why, of each recall that the jars are under. Of a withdrawn revision no process is shown; where
    it is `unsafe` nobody eats of its jars.
    """

    signup: SignUp
    batch: Batch
    hall: KitchenTime
    own: tuple[KitchenTime, ...]
    withdrawn: str
    unsafe: bool
    called_back: tuple[str, ...]

    @property
    def lines(self) -> list[PlanLine]:
        """The amounts as scaled for the station, in the student's units."""
        return kept_lines(self.batch.plan["lines"], self.signup.person.units)

    @property
    def steps(self) -> list[StepWords]:
        """Of the batch's own pack, canner and jars, with figures in the student's units."""
        return own_steps(
            self.batch.cooked_from.tested,
            pack=self.batch.pack,
            canner=self.batch.canner,
            jars=[jar["size"] for jar in self.batch.plan["jars"]],
            units=self.signup.person.units,
        )

    @property
    def cautions(self) -> list[dict[str, str]]:
        return list(self.batch.plan["cautions"])

    @property
    def headspace(self) -> str:
        return headspace_text(self.batch.cooked_from.tested.headspace_in)

    @property
    def source(self) -> str:
        source = self.batch.plan["source"]
        return ", ".join(filter(None, [source["title"], source["edition"], source["place"]]))

    @property
    def at_home(self) -> tuple[Rule | Saying, ...]:
        """What to do with the jars at home, in the order in which it comes up; nothing of jars that nobody eats."""
        if self.batch.is_cold_kind or self.given_up or self.is_called_back:
            return ()
        again = rules.REPROCESS if self.batch.is_reprocessable else rules.REPROCESS_HOT
        late = rules.STOOD_TOO_LONG
        return (rules.SEAL_LOOK, again, rules.REFRIGERATE, rules.FREEZE, late, rules.BEST_WITHIN, *self._botulism)

    @property
    def _botulism(self) -> tuple[Saying, ...]:
        """Of food from a pressure canner: what a jar of it can do, and when it is boiled before tasting."""
        words = (*safety.BOTULISM, *safety.BEFORE_EATING) if self.batch.required_psi is not None else ()
        return tuple(safety.sayings(words))

    @property
    def is_called_back(self) -> bool:
        """Whether nobody keeps, gives or eats these jars."""
        return self.unsafe or bool(self.called_back)

    @property
    def given_up(self) -> str:
        """Why there are no jars; empty where there are."""
        return self.batch.abandoned_reason

    @property
    def is_hers(self) -> bool:
        """Whether the jars went home with the student."""
        return self.batch.made_by_id == self.signup.person_id


def handout_of(signup: SignUp) -> Handout | None:
    """None where the sign-up sat at no station, or nothing was cooked there."""
    cooking = getattr(signup.station, "cooking", None)
    if cooking is None:
        return None
    batch: Batch = cooking.batch
    homes = Kitchen.objects.filter(people=signup.person, is_hall=False)
    withdrawn = batch.cooked_from.withdrawn_reason if batch.cooked_from.state == RevisionState.WITHDRAWN else ""
    return Handout(
        signup=signup,
        batch=batch,
        hall=_withdrawn_at(batch, withdrawn) if withdrawn else _at_the_hall(batch),
        own=tuple(_at_home(batch, home) for home in homes),
        withdrawn=withdrawn,
        unsafe=batch.cooked_from.is_unsafe,
        called_back=tuple(recall.reason for recall in recalls_of(batch)),
    )


def _withdrawn_at(batch: Batch, why: str) -> KitchenTime:
    refusal = _("This revision was withdrawn: %(why)s") % {"why": why}
    return KitchenTime(batch.kitchen.name, altitude_words(batch.altitude), refusals=(refusal,))


def _at_the_hall(batch: Batch) -> KitchenTime:
    process = batch.plan["process"]
    # The table's pressure, not what that gauge was set to: whoever takes the sheet home has another canner.
    words = _process(batch, process["minutes"], process["pressure_psi"], process["vent_minutes"]) if process else None
    points = kitchen_points(batch.altitude, batch.cooked_from.tested)
    return KitchenTime(
        name=batch.kitchen.name,
        altitude=altitude_words(batch.altitude),
        process=words or _frozen(),
        also=_also(batch, points, sterile=bool(batch.plan["sterilise_jars"])),
    )


def _at_home(batch: Batch, home: Kitchen) -> KitchenTime:
    """The same pots, jars, pack and kind of canner, at the altitude of the student's own kitchen."""
    plan = plan_for(
        revision=batch.cooked_from,
        altitude=home.altitude,
        pots=batch.pots,
        jar=batch.jar_size,
        pack=Pack(batch.pack) if batch.pack else None,
        canner=Canner(batch.canner) if batch.canner else None,
    )
    altitude = altitude_words(home.altitude) if home.altitude else _("altitude not known")
    if not plan.ok or home.altitude is None:
        why = tuple(map(in_words, plan.refusals))
        return KitchenTime(home.name, altitude, refusals=why or (_("Give this kitchen its altitude first."),))
    points = kitchen_points(home.altitude, batch.cooked_from.tested)
    also = _also(batch, points, sterile=bool(plan.sterilise_jars))
    return KitchenTime(home.name, altitude, process=_planned(batch, plan), also=also)


def _planned(batch: Batch, plan: Plan) -> str:
    found = plan.process
    return _process(batch, found.minutes, found.pressure_psi, found.vent_minutes) if found else _frozen()


def _process(batch: Batch, minutes: int, psi: int | None, vent: int) -> str:
    """ "10 minutes, boiling-water canner, hot pack, jars up to half-pint (237 ml)" """
    parts = [_("%(n)s minutes") % {"n": minutes}]
    if psi is not None:
        parts = [_("%(n)s minutes at %(pressure)s") % {"n": minutes, "pressure": pressure_text(psi)}]
        parts.append(_("after venting for %(n)s minutes") % {"n": vent})
    parts += [str(CANNERS[Canner(batch.canner)]), str(PACKS[Pack(batch.pack)])]
    return ", ".join([*parts, _("jars up to %(jar)s") % {"jar": JARS[batch.jar_size]}])


def _frozen() -> str:
    return _("Kept in the freezer: there is no process, and it never stands on a shelf.")


def _also(batch: Batch, points: KitchenPoints | None, *, sterile: bool) -> tuple[str, ...]:
    also = [_("Sterilise the empty jars first: the process is shorter than 10 minutes.")] if sterile else []
    if points is not None:
        also.append(_("Water boils at %(at)s.") % {"at": points.boiling})
        if batch.cooked_from.tested.endpoint_f_above_boiling:
            also.append(_("Done, by the thermometer, at %(at)s.") % {"at": points.jelly})
    return tuple(also)
