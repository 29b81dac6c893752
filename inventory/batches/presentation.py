"""What a batch's page, its labels and the list of lids show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from django.conf import settings
from django.db.models import Count, F, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from club.core.papers import square_svg
from club.members.models import Kitchen, User
from inventory.batches.accidents import NAMES, Situation
from inventory.batches.choices import BatchState, Disposal, PressKind, Seal
from inventory.batches.models import Batch, Jar, JarsSetAside
from inventory.batches.rules import BEST_BY_KIND, BEST_WITHIN, GAUGE_OF, best_before
from inventory.batches.statistics import Comparison, Rate, compare, rate
from inventory.batches.stove import Course
from inventory.batches.tracing import is_called_back
from inventory.equipment.choices import CANNER_KINDS
from inventory.equipment.models import Loan, Thing
from inventory.jars.models import LidLot
from recipes.allergens import Allergens, allergens_of
from recipes.engine.terms import Canner, Rule
from recipes.library import known_foods
from recipes.safety import Saying, food_of, opening_for

# What a jar's label says. No label calls an unsealed jar good, and a jar that is called back has none.


@dataclass(frozen=True)
class Label:
    """`best_before` None: kept frozen, for which no printed time was seen."""

    number: int
    size: str
    contents: str
    put_up: date
    best_before: date | None
    lot_code: str
    kitchen: str
    is_unchecked: bool


@dataclass(frozen=True)
class LabelText:
    """What the labels of a batch say alike, by the plan that it was cooked from.

    `unknown` are ingredients with words that nobody classed: whether they hold an allergen is not known here.
    `best_by` is the rule of the date; None for what is kept frozen, for which no printed time was seen. `square` is
    an SVG, to be scanned for the batch's page.
    """

    ingredients: str
    allergens: Allergens
    unknown: tuple[str, ...]
    opening: list[Saying]
    best_by: Rule | None
    square: str


def label_text(batch: Batch) -> LabelText:
    lines = batch.plan["lines"]
    frozen = batch.is_frozen_kind
    tested = batch.revision.tested
    items = [_("%(item)s (if used)") % line if line["optional"] else line["item"] for line in lines]
    return LabelText(
        ingredients=", ".join(dict.fromkeys(items)),
        allergens=allergens_of((line["item"], line["prep"]) for line in lines),
        unknown=tuple(line["item"] for line in lines if known_foods().read(line["item"]).unknown),
        opening=[] if frozen else opening_for(food_of(tested)),
        best_by=None if frozen else BEST_BY_KIND.get(tested.kind, BEST_WITHIN),
        square=square_svg(settings.SITE_URL + batch.get_absolute_url()),
    )


def labels_of(batch: Batch, *, every: bool = False) -> list[Label]:
    """Labels for the sealed (or frozen) jars; with `every` also for jars whose seal is not settled yet, marked so.

    None at all where a jar of the batch is called back, or its recipe was withdrawn, and none for a jar that is set
    aside: a label calls a jar good to keep.
    """
    if batch.jars_out_at is None or is_called_back(batch):
        return []
    put_up = timezone.localdate(batch.jars_out_at, timezone.get_default_timezone())
    frozen = batch.is_frozen_kind
    return [
        Label(
            number=jar.number,
            size=jar.size,
            contents=batch.title,
            put_up=put_up,
            best_before=None if frozen else best_before(put_up),
            lot_code=batch.lot_code,
            kitchen=batch.kitchen.name,
            is_unchecked=not jar.disposal,
        )
        for jar in batch.jars.all()
        if jar.set_aside_id is None
        and (
            jar.disposal == "shelf"
            or (jar.seal == Seal.NONE and jar.disposal == "freeze")
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
        moments.append((batch.jars_out_at, _("Into the freezer") if batch.is_frozen_kind else _("Jars came out")))
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
    return [(row, str(NAMES[Situation(row.situation)]), numbers) for row, numbers in rows.items()]


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
    """The figures of these lots, in their order; three queries for any number of lots."""
    by_seal = dict.fromkeys(((lot.pk, seal) for lot in lots for seal in Seal.values), 0)
    for row in Jar.objects.filter(lid_lot__in=lots).order_by().values("lid_lot", "seal").annotate(n=Count("pk")):
        by_seal[row["lid_lot"], row["seal"]] = row["n"]
    failed = Jar.objects.filter(failed_lid_lot__in=lots).order_by().values("failed_lid_lot").annotate(n=Count("pk"))
    for lot, count in failed.values_list("failed_lid_lot", "n"):
        by_seal[lot, Seal.UNSEALED.value] += count
    batches = _batches(lots)
    return [
        LidFigures(
            lot=lot,
            batches=len(batches[lot.pk]),
            sealed=by_seal[lot.pk, Seal.SEALED.value],
            unsealed=by_seal[lot.pk, Seal.UNSEALED.value],
            broken=by_seal[lot.pk, Seal.BROKEN.value],
            unchecked=by_seal[lot.pk, Seal.UNCHECKED.value],
        )
        for lot in lots
    ]


def _batches(lots: Sequence[LidLot]) -> dict[int, set[int]]:
    """The batches each lot was used in, be it only for lids that failed."""
    used = Jar.objects.filter(Q(lid_lot__in=lots) | Q(failed_lid_lot__in=lots)).order_by().distinct()
    found: dict[int, set[int]] = {lot.pk: set() for lot in lots}
    for lid_lot, failed, batch in used.values_list("lid_lot", "failed_lid_lot", "batch"):
        for lot in (lid_lot, failed):
            if lot in found:
                found[lot].add(batch)
    return found


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
