"""What a batch's page, its labels and the list of lids show."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import groupby
from math import ceil
from typing import Any

from django.conf import settings
from django.db.models import Count, Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext

from club.core.clock import zoned_text
from club.core.papers import square_svg
from club.members.models import Kitchen, User
from inventory.batches.accidents import name_of
from inventory.batches.choices import BatchState, Disposal, Measured, PressKind, Seal
from inventory.batches.models import Batch, Jar, JarsSetAside, StageReading
from inventory.batches.rules import BEST_BY_KIND, BEST_WITHIN, GAUGE_OF, PH_TOO_HIGH, best_before
from inventory.batches.statistics import Comparison, Rate, compare, rate
from inventory.batches.stove import Course, Part, mixed_words, range_words
from inventory.batches.tracing import is_called_back
from inventory.equipment.choices import CANNER_KINDS
from inventory.equipment.models import Loan, Thing
from inventory.jars.models import LidLot
from recipes.allergens import Allergens, allergens_of
from recipes.engine import USUAL_STOVE, Burner, boiling_point_c
from recipes.engine.mass_balance import boil_on
from recipes.engine.terms import Canner, Refusal, Rule, TestedRecipe
from recipes.library import known_foods
from recipes.presentation import headspace_text, heat_words
from recipes.safety import Food, Saying, food_of, opening_for

# What a jar's label says. No label calls an unsealed jar good, and a jar that is called back has none.


@dataclass(frozen=True)
class Label:
    """`best_before` None: no printed time was seen. `keep` says how it is kept, where that is not on a shelf."""

    number: int
    size: str
    contents: str
    put_up: date
    best_before: date | None
    lot_code: str
    kitchen: str
    is_unchecked: bool
    keep: str | Promise = ""


@dataclass(frozen=True)
class LabelText:
    """What the labels of a batch say alike, by the plan that it was cooked from.

    `unknown` are ingredients with words that nobody classed: whether they hold an allergen is not known here.
    `best_by` is the rule of the date; None for what is kept frozen, for which no printed time was seen, and for what is
    kept in stages, whose dates have a source of their own. `square` is an SVG, to be scanned for the batch's page;
    `notes` are what must be said of this very batch.
    """

    ingredients: str
    allergens: Allergens
    unknown: tuple[str, ...]
    opening: list[Saying]
    best_by: Rule | None
    square: str
    notes: tuple[str, ...] = ()


def label_text(batch: Batch) -> LabelText:
    lines = batch.plan["lines"]
    frozen = batch.required_minutes is None
    opening, best = ([], None) if frozen else _in_a_jar(batch)
    items = [_("%(item)s (if used)") % line if line["optional"] else line["item"] for line in lines]
    return LabelText(
        ingredients=", ".join(dict.fromkeys(items)),
        allergens=allergens_of((line["item"], line["prep"]) for line in lines),
        unknown=tuple(line["item"] for line in lines if known_foods().read(line["item"]).unknown),
        opening=opening,
        best_by=best,
        square=square_svg(settings.SITE_URL + batch.get_absolute_url()),
        notes=(_("Not blanched"),) if batch.plan.get("is_unblanched") else (),
    )


def _into_words(batch: Batch) -> str:
    if batch.is_chilled_kind:
        return _("Into the refrigerator")
    return _("Into the freezer") if batch.is_cold_kind else _("Jars came out")


def _in_a_jar(batch: Batch) -> tuple[list[Saying], Rule]:
    if batch.revision is None:  # a ferment that was canned: how acid it is was measured, not read in a recipe
        return opening_for(Food.NEAR), BEST_WITHIN
    tested = batch.revision.tested
    return opening_for(food_of(tested)), BEST_BY_KIND.get(tested.kind, BEST_WITHIN)


KEEP_WORDS: dict[str, str | Promise] = {
    Disposal.FREEZE.value: _lazy("Keep frozen"),
    Disposal.REFRIGERATE.value: _lazy("Keep in the refrigerator"),
}


def labels_of(batch: Batch, *, every: bool = False) -> list[Label]:
    """Labels for the sealed (or frozen) jars; with `every` also for jars whose seal is not settled yet, marked so.

    None at all where a jar of the batch is called back, or its recipe was withdrawn, and none for a jar that is set
    aside: a label calls a jar good to keep.
    """
    if batch.jars_out_at is None or is_called_back(batch):
        return []
    put_up = timezone.localdate(batch.jars_out_at, timezone.get_default_timezone())
    until = batch.best_by if batch.required_minutes is None else best_before(put_up)
    return [
        Label(
            number=jar.number,
            size=jar.size,
            contents=batch.title,
            put_up=put_up,
            best_before=until,
            lot_code=batch.lot_code,
            kitchen=batch.kitchen.name,
            is_unchecked=not jar.disposal,
            keep=KEEP_WORDS.get(jar.disposal, ""),
        )
        for jar in batch.jars.all()
        if jar.set_aside_id is None
        and getattr(jar, "use", None) is None
        and (
            jar.disposal == "shelf"
            or (jar.seal == Seal.NONE and jar.disposal in KEEP_WORDS)
            or (every and not jar.disposal)
        )
    ]


# Which canner somebody means, as far as it can be told without asking.

CANNERS_OFFERED = 40


def canners_offered(user: User, gauge: Canner | None) -> list[Thing]:
    """The canners that a process of this gauge (None: boiling water) may name, their households' own first."""
    kinds = [kind for kind, one in GAUGE_OF.items() if one is gauge] or list(CANNER_KINDS)
    rows = Thing.everything.canners_for(user).filter(kind__in=kinds)
    return list(rows.order_by(F("household").asc(nulls_last=True), "code")[:CANNERS_OFFERED])


def canner_proposed(user: User, kitchen: Kitchen, offered: Sequence[Thing]) -> Thing | None:
    """The one that was used last in this kitchen, the household's only one, the one on loan to them; else none."""
    by_id = {thing.pk: thing for thing in offered}
    used = Batch.objects.filter(made_by=user, kitchen=kitchen, canner_card__in=by_id).order_by("-started_at", "-pk")
    if last := used.values_list("canner_card", flat=True).first():
        return by_id[last]
    own = [thing for thing in offered if thing.household_id == kitchen.pk]
    if own:
        return own[0] if len(own) == 1 else None
    lent = Loan.objects.open().filter(person=user, thing__in=by_id).values_list("thing", flat=True)[:2]
    return by_id[lent[0]] if len(lent) == 1 else None


# The one thing that a batch's page leads with.


@dataclass(frozen=True)
class Headline:
    """What is next, in a few words, and beside it by when or since when ("" where no clock runs)."""

    words: str
    beside: str = ""


def headline(batch: Batch, now: datetime, *, course: Course | None, waiting: Sequence[Jar]) -> Headline | None:
    """`course` is the cook's, of a batch at the stove; `waiting` are jars to reprocess. None where nothing is next."""
    if batch.state == BatchState.STARTED:
        return None if course is None else _at_the_stove(course, now)
    if batch.state == BatchState.OUT and batch.window is not None:
        if now < batch.window.opens:
            return Headline(_("Look at the seals from %(when)s") % {"when": day_words(batch.window.opens, now)})
        since = _("They were due from %(when)s.") % {"when": day_words(batch.window.opens, now)}
        return Headline(_("Look at the seals now"), since)
    if batch.state == BatchState.CHECKED and waiting:
        words = ngettext("Reprocess %(n)s jar", "Reprocess %(n)s jars", len(waiting)) % {"n": len(waiting)}
        until = batch.reprocess_until
        if until is None or until <= now:
            return Headline(_("Put the unsealed jars away"))
        return Headline(words, _("Out of the canner again by %(when)s.") % {"when": day_words(until, now)})
    return None


def _at_the_stove(course: Course, now: datetime) -> Headline:
    """The clock that runs out first, else the step where the cook stands, to its first stop."""
    here = course.here
    if not course.running:
        words = here.heading
        for stop in (";", ". "):
            words = words.partition(stop)[0]
        return Headline(words.rstrip("."), here.where)
    first = course.running[0]
    minutes = ceil(first.left(now) / timedelta(minutes=1))
    at = _("at %(time)s") % {"time": date_format(timezone.localtime(first.ends_at), "H:i")}
    if minutes <= 0:
        return Headline(_("%(what)s: time is over") % {"what": first.step.name}, at)
    left = ngettext("%(n)s minute", "%(n)s minutes", minutes) % {"n": minutes}
    if first.step.part is Part.REST:
        return Headline(_("Jars out in %(left)s") % {"left": left}, at)
    return Headline(_("%(what)s: %(left)s left") % {"what": first.step.name, "left": left}, at)


def day_words(moment: datetime, now: datetime) -> str:
    """ "07:30 tomorrow", "18:30 today"; any other day with its date and zone."""
    local, today = timezone.localtime(moment), timezone.localtime(now).date()
    time = date_format(local, "H:i")
    days = (local.date() - today).days
    if days == 0:
        return _("%(time)s today") % {"time": time}
    if days == 1:
        return _("%(time)s tomorrow") % {"time": time}
    if days == -1:
        return _("%(time)s yesterday") % {"time": time}
    return zoned_text(moment)


# What happened to a batch and what comes next, as moments in order: for its page.


@dataclass(frozen=True)
class Moment:
    at: datetime
    text: str
    is_past: bool


def timeline(batch: Batch, now: datetime) -> list[Moment]:
    """Every moment that is known or due, the earliest first. Reads `seal_checks`; prefetch them."""
    moments = [(batch.started_at, _("Cooking began"))]
    if batch.process_started_at:
        moments.append((batch.process_started_at, _("Process began")))
    if batch.jars_out_at:
        moments.append((batch.jars_out_at, _into_words(batch)))
    if batch.reprocessed_out_at:
        moments.append((batch.reprocessed_out_at, _("Reprocessed jars came out")))
    moments += [
        (look.checked_at, _("Early look at the seals") if look.was_early else _("Seals looked at"))
        for look in batch.seal_checks.all()
    ]
    if batch.abandoned_at:
        moments.append((batch.abandoned_at, _("Given up")))
    moments += _window(batch)
    return [Moment(at, text, at <= now) for at, text in sorted(moments, key=lambda one: one[0])]


def _window(batch: Batch) -> list[tuple[datetime, str]]:
    """The moments of the seal window, as long as something hangs on them."""
    moments: list[tuple[datetime, str]] = []
    if batch.state == BatchState.OUT and batch.window is not None:
        moments.append((batch.window.opens, _("12 hours: look at the seals")))
        moments.append((batch.window.second_call, _("20 hours: second call, if nothing was recorded")))
    if batch.reprocess_until is not None:
        moments.append((batch.reprocess_until, _("24 hours: reprocessing lapses")))
    return moments


def set_aside_rows(batch: Batch) -> list[tuple[JarsSetAside, str, list[int]]]:
    """Each setting aside that still holds jars, what went wrong, and the jars by number. Reads `jars`; prefetch them.

    What was thrown away meanwhile is no jar to warn of.
    """
    rows: dict[JarsSetAside, list[int]] = {}
    for jar in batch.jars.all():
        if jar.set_aside is not None and jar.disposal != Disposal.DISCARD:
            rows.setdefault(jar.set_aside, []).append(jar.number)
    return [(row, name_of(row.situation), numbers) for row, numbers in rows.items()]


# Jars in a row that share everything are shown as one line: a full canner is often eighteen times the same.


@dataclass(frozen=True)
class JarRun:
    """Jars `first` to `last`, both included; `jar` is one of them and speaks for all."""

    first: int
    last: int
    jar: Jar

    @property
    def count(self) -> int:
        return self.last - self.first + 1


def jar_runs(jars: Iterable[Jar]) -> list[JarRun]:
    """`jars` by ascending number, without gaps; every jar is in exactly one run."""
    runs = (list(run) for _fate, run in groupby(jars, key=_fate))
    return [JarRun(run[0].number, run[-1].number, run[0]) for run in runs]


def _fate(jar: Jar) -> tuple[object, ...]:
    return (
        jar.size,
        jar.seal,
        jar.disposal,
        jar.set_aside_id,
        jar.is_set_apart,
        jar.place_id,
        jar.held_by_id,
        jar.lid_lot_id,
        jar.failed_lid_lot_id,
        used.what if (used := getattr(jar, "use", None)) else "",
    )


# How the lids of each lot have done: counted over every jar they sat on, the failed first lids among them.


@dataclass(frozen=True)
class LidFigures:
    lot: LidLot
    batches: int
    sealed: int
    unsealed: int
    broken: int
    unchecked: int

    @property
    def looked_at(self) -> int:
        return self.sealed + self.unsealed

    @property
    def failed_percent(self) -> int | None:
        """Unsealed of those that could seal, in percent; a broken jar says nothing of its lid."""
        return round(100 * self.unsealed / self.looked_at) if self.looked_at else None

    @property
    def rate(self) -> Rate | None:
        """The rate with the interval that so many lids bear; None where none was looked at."""
        return rate(self.unsealed, self.looked_at)


def lid_figures(lots: Sequence[LidLot]) -> list[LidFigures]:
    """The figures of these lots, in their order; two queries for any number of lots."""
    by_seal = {seal.name.lower(): Count("pk", filter=Q(seal=seal)) for seal in Seal}
    used = Jar.objects.filter(lid_lot__in=lots).order_by().values("lid_lot")
    rows: dict[int, Any] = {
        row["lid_lot"]: row for row in used.annotate(batches=Count("batch", distinct=True), **by_seal)
    }
    # A lot may have been used in a batch only for lids that failed; its other batches are counted above.
    also = Exists(Jar.objects.filter(batch=OuterRef("batch"), lid_lot=OuterRef("failed_lid_lot")))
    failed = Jar.objects.filter(failed_lid_lot__in=lots).order_by().values("failed_lid_lot")
    failed = failed.annotate(jars=Count("pk"), batches=Count("batch", distinct=True, filter=~also))
    failures: dict[int, Any] = {row["failed_lid_lot"]: row for row in failed}
    none: dict[str, int] = {}
    return [
        LidFigures(
            lot=lot,
            batches=rows.get(lot.pk, none).get("batches", 0) + failures.get(lot.pk, none).get("batches", 0),
            sealed=rows.get(lot.pk, none).get("sealed", 0),
            unsealed=rows.get(lot.pk, none).get("unsealed", 0) + failures.get(lot.pk, none).get("jars", 0),
            broken=rows.get(lot.pk, none).get("broken", 0),
            unchecked=rows.get(lot.pk, none).get("unchecked", 0),
        )
        for lot in lots
    ]


@dataclass(frozen=True)
class LidsCompared:
    a: LidFigures
    b: LidFigures
    found: Comparison

    @property
    def chance_in(self) -> int:
        """“About once in so many”: how often chance alone does as much, as a whole number."""
        return max(1, round(1 / self.found.p))


def lids_compared(a: LidLot, b: LidLot) -> LidsCompared:
    """Two lots side by side, over all their jars, with what the difference bears."""
    one, other = lid_figures([a, b])
    return LidsCompared(one, other, compare(one.unsealed, one.looked_at, other.unsealed, other.looked_at))


# The log, filled from what was pressed at the stove: looked over by whoever signs it, and refused as if it were typed.


def log_filled(course: Course) -> dict[str, object]:
    """The log form's fields of which the presses say something. Times only where every load was held to its end: of
    the first load that began and the last that came out, as one log stands for all of them."""
    if not any(press.kind != PressKind.LIDS for press in course.live):
        return {"lid_code": course.lid_code} if course.lid_code else {}
    found: dict[str, object] = {f"jars_{size}": count for size, count in course.jars.items()}
    found["note"] = "\n".join(course.notes())
    found["lid_code"] = course.lid_code
    if not course.is_all_out:
        return found
    found["jars_out_at"] = course.outs[-1].at
    if course.held:
        found["process_started_at"] = min(one.began_at for one in course.held)
        found["minutes"] = min(one.minutes for one in course.held)
    if course.lowest_psi is not None:
        found["psi"] = course.lowest_psi
        for row in course.batch.canners_beside.all():
            found[f"psi_{row.pk}"] = row.setting_psi
    return found


# A batch in stages: what its table says, and where it stands.


def keeping_facts(plan: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The figures of the food's row as the batch keeps them, in words: a name and its value."""
    blanching = [
        (name, _("%(minutes)s minutes") % {"minutes": range_words(plan[key])})
        for key, name in (("blanch_water", _("Blanch in boiling water")), ("blanch_steam", _("Blanch in steam")))
        if plan.get(key)
    ]
    salt = plan.get("salt_g")
    found = [
        (_("Pieces"), plan.get("piece", "")),
        (_("Salt"), _("%(grams)s g, by weight") % {"grams": range_words(salt)} if salt else ""),
        (_("Water"), _("%(n)s ml") % {"n": plan["water_ml"]} if plan.get("water_ml") else ""),
        (_("Vinegar of 5 %"), _("%(n)s ml") % {"n": plan["vinegar_ml"]} if plan.get("vinegar_ml") else ""),
        (_("Printed as"), plan.get("salt_printed", "")),
        (_("Before it"), plan.get("pretreatment", "")),
        *blanching,
        (
            _("Cool in ice water"),
            _("%(n)s minutes") % {"n": mixed_words(plan["cool_min"])} if plan.get("cool_min") else "",
        ),
        (_("Pack"), plan.get("pack", "")),
        (_("Sugar"), plan.get("sugar", "")),
        (
            _("Syrup"),
            _("%(n)s %% sugar") % {"n": range_words(plan["syrup_percent"])} if plan.get("syrup_percent") else "",
        ),
        (_("Ascorbic acid"), plan.get("ascorbic_acid", "")),
        (_("Headspace"), headspace_text(Fraction(plan["headspace_in"])) if plan.get("headspace_in") else ""),
        (_("Heat of the drier"), heat_words(*map(Fraction, plan["dry_f"])) if plan.get("dry_f") else ""),
        (_("Hours"), range_words(plan["hours"]) if plan.get("hours") else ""),
        (_("Dry when"), plan.get("test", "")),
        (
            _("It should weigh"),
            _("%(grams)s g") % {"grams": range_words(plan["dry_g"][::2])} if plan.get("dry_g") else "",
        ),
        *_days_by_room(plan),
        (_("Look for"), plan.get("look_for", "")),
        (_("Done when"), plan.get("done", "")),
        (_("pH when it is done"), _decimals(plan["ph_end"]) if plan.get("ph_end") else ""),
        (_("Throw it away when"), plan.get("spoilt", "")),
        (_("Kept"), plan.get("keep", "")),
        (
            _("Months"),
            range_words(plan["months"]) if plan.get("months") else mixed_words(plan.get("months_frozen") or ""),
        ),
        *_months_by_store(plan),
        (_("Other sources"), plan.get("otherwise", "")),
    ]
    return [(name, value) for name, value in found if value]


def _days_by_room(plan: Mapping[str, Any]) -> list[tuple[str, str]]:
    found = []
    for low, high, *days in plan.get("bands", []):
        ends = [Fraction(end) if end else None for end in (low, high)]
        name = _("Days at %(heat)s") % {"heat": heat_words(*ends)} if any(ends) else _("Days in a room")
        found.append((name, range_words(days)))
    return found


def _months_by_store(plan: Mapping[str, Any]) -> list[tuple[str, str]]:
    return [
        (_("Months at %(heat)s") % {"heat": heat_words(int(f), None)}, mixed_words(months))
        for f, months in plan.get("months_by_f", {}).items()
    ]


def _decimals(ends: Sequence[str]) -> str:
    return _(" to ").join(dict.fromkeys(f"{float(Fraction(end)):g}" for end in ends))


@dataclass(frozen=True)
class ReadingRow:
    """A reading in words; `says` what follows from a pH, never that a food is fine."""

    reading: StageReading
    figure: str
    with_what: str
    says: str
    rule: Rule | None


def reading_rows(batch: Batch, units: str) -> list[ReadingRow]:
    """The readings of a batch, the newest first; one query."""
    return [
        ReadingRow(one, _figure(one, units), _with_what(one), *_follows(one, batch))
        for one in batch.readings.select_related("instrument", "noted_by", "stage")
    ]


def _boil_on(tested: TestedRecipe, batch: Batch, brix: float) -> str:
    """How much longer one pot boils, by the mass balance; nothing of a recipe that has no end point."""
    ring = Burner.of_kind(USUAL_STOVE)
    water_c = boiling_point_c(batch.altitude)
    found = boil_on(tested, brix, scale=Fraction(batch.pot_scale), boiling_water_c=water_c, burner=ring)
    if isinstance(found, Refusal):
        return ""
    end = _("Its end point here lies at %(low)d to %(high)d °Bx.") % {
        "low": round(found.end_brix.low),
        "high": round(found.end_brix.high),
    }
    if not found.water_g.best:
        return end + " " + _("It is as thick as that: test for the set now.")
    text = _(
        "%(end)s Boil on for some %(low)d to %(high)d minutes a pot on a ring of %(watts)d W (%(grams)d g of water to"
        " go by the mass balance), and test for the set from then on."
    )
    low, high = found.minutes
    values = {"low": low, "high": high, "watts": round(ring.watts), "grams": round(found.water_g.best)}
    return text % {"end": end, **values}


def _figure(one: StageReading, units: str) -> str:
    if one.measured == Measured.PH:
        return _("pH %(value)s") % {"value": one.value}
    if one.measured == Measured.BRIX:
        return _("%(value)s °Bx") % {"value": one.value.normalize()}
    degrees = one.value * 9 / 5 + 32 if units == "us" else one.value
    return f"{degrees.normalize():f} {'°F' if units == 'us' else '°C'}"


def _with_what(one: StageReading) -> str:
    if one.by_strip:
        return _("test strip")
    day = date_format(one.calibrated_on, "j M Y") if one.calibrated_on else ""
    name = one.instrument.code if one.instrument is not None else _("own instrument")
    return _("%(name)s, tested %(day)s") % {"name": name, "day": day}


def _follows(one: StageReading, batch: Batch) -> tuple[str, Rule | None]:
    """Of a ferment's pH, and of the degrees Brix of a pot on the stove; nothing is said of other readings."""
    if one.measured == Measured.BRIX and batch.revision is not None and one.hundredths:
        return _boil_on(batch.revision.tested, batch, float(one.value)), None
    if one.limit_hundredths is None:
        return "", None
    if one.is_above_limit:
        limit = Decimal(one.limit_hundredths) / 100
        return _("Above %(limit)s: not acid enough to be kept.") % {"limit": limit}, PH_TOO_HIGH
    end = Fraction(batch.plan["ph_end"][1])
    if Fraction(one.hundredths, 100) > end:
        text = _("Below the limit, and not yet as sour as the finished food (%(end)s).")
        return text % {"end": _decimals(batch.plan["ph_end"])}, None
    return _("As sour as the finished food."), None
