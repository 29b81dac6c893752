"""A batch kept in stages that take days: started, looked at, measured, each stage ended, put away or canned."""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID, uuid5

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from club.core.clock import club_day, in_utc, now_or, zoned_text
from club.core.errors import AlreadyDone, same_form
from club.members.models import Kitchen, User
from club.members.services import kitchen_used
from inventory.batches.choices import (
    BY_THE_CLOCK,
    BatchState,
    Container,
    Cover,
    Disposal,
    Measured,
    Moisture,
    Scum,
    Seal,
    Smell,
    StageKind,
    Way,
)
from inventory.batches.models import STAGE_NOTE_LENGTH, Batch, Jar, Stage, StageCheck, StageReading
from inventory.batches.rules import (
    MOST_CONTAINERS,
    MOST_PH_HUNDREDTHS,
    MOST_WEIGHED_G,
    OWN_CALIBRATION_DAYS,
    READINGS_IN_HUNDREDTHS,
    SALTS,
    SPOILT,
    Need,
    lot_code,
)
from inventory.batches.services.common import Problems, batch_lock, moment_check, writing_check
from inventory.equipment.choices import Kind
from inventory.equipment.models import Thing
from inventory.equipment.services import reading_check
from inventory.fruit.services import freezer_item_add
from inventory.fruit.validators import FREEZER_LENGTHS, FreezerFields
from recipes.engine import process_for
from recipes.engine.keeping import (
    DRY_WATER,
    WATER,
    Between,
    Blanch,
    Cited,
    Dried,
    Ferment,
    Frozen,
    StagePlan,
    Tables,
    band_for,
    best_by,
    blanch_minutes,
    dry_yield,
    drying_stages,
    ferment_stages,
    freezer_months,
    freezing_stages,
    stage_dates,
    store_months,
    waits_of,
    weighed_in,
)
from recipes.engine.terms import Altitude, Canner, Method, Pack, RecipeStep, Refusal, Role
from recipes.library import keeping_tables
from recipes.models import ProcessTable
from recipes.presentation import in_words

LOT_CODE_TRIES = 20
# The process table by which a finished ferment is canned, as the library names its food and variant.
CANNED_BY: Mapping[str, tuple[str, str]] = {
    "fermented dills": ("dill pickles", "fermented"),
    "sauerkraut": ("sauerkraut", ""),
}


@dataclass(frozen=True)
class KeepingChoices:
    """What the tables leave to the cook. `room_f`, in degrees F, is where a ferment stands."""

    room_f: Fraction | None = None
    is_blanched: bool = True
    is_pasteurised: bool = False


# What may be kept.


@dataclass(frozen=True)
class KeepingFood:
    """A row of a table: the food, and how it is cut or packed; `said` is what it is found by, `asks` what its beginning
    asks beside its weight: room, blanched, pasteurised."""

    way: str
    key: str
    food: str
    about: str
    said: str
    asks: frozenset[str]


def keeping_foods() -> list[KeepingFood]:
    """Every food of the tables, by name."""
    tables = keeping_tables()
    rows = [
        *(_food_row(Way.FERMENT, key, one, one.keep, _ferment_asks(one)) for key, one in tables.ferments.items()),
        *(_food_row(Way.DRY, key, one, one.piece, {"pasteurised"}) for key, one in tables.dried.items()),
        *(
            _food_row(Way.FREEZE, key, one, f"{one.piece}{PACK_WORDS.get(one.pack, '')}", _frozen_asks(one))
            for key, one in tables.frozen.items()
        ),
    ]
    return sorted(rows, key=lambda row: (row.food.lower(), row.about, row.way))


def keeping_names(way: str, key: str) -> tuple[str, ...]:
    """What the food of a row is called, its own name first; of a ferment also what goes into it. Empty: no such row."""
    tables = keeping_tables()
    if way == Way.FERMENT:
        food = tables.ferments.get(key)
        return () if food is None else (food.food, food.brine.vegetable, *food.names)
    rows: Mapping[str, Dried | Frozen] = tables.dried if way == Way.DRY else tables.frozen
    return (rows[key].food, *rows[key].names) if key in rows else ()


PACK_WORDS: Mapping[str, Any] = {
    "sugar": _lazy(", with sugar"),
    "syrup": _lazy(", in syrup"),
    "water": _lazy(", in water"),
}


def _food_row(way: Way, key: str, food: Ferment | Dried | Frozen, about: str, asks: set[str]) -> KeepingFood:
    said = " ".join([food.food, *food.names]).lower()
    return KeepingFood(way.value, key, food.food, about, said, frozenset(asks))


def _ferment_asks(food: Ferment) -> set[str]:
    return {"room"} if any(band.days and band.f_low is not None for band in food.bands) else set()


def _frozen_asks(food: Frozen) -> set[str]:
    return {"blanched"} if food.is_blanched else set()


# Starting.


@transaction.atomic
def keeping_start(
    *,
    by: User,
    way: str,
    key: str,
    kitchen: Kitchen,
    weighed_g: int,
    token: UUID,
    choices: KeepingChoices | None = None,
    started_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> Batch:
    """Start a batch of a food of the tables; its plan and its stages are worked out here and kept with it.

    1. The person may put up batches, and in this kitchen: else PermissionDenied.
    2. A token that made a batch before gives that batch: the form was sent twice.
    3. The weight, the moment, the room's temperature can be: else ValidationError (weighed_g, started_at, room_f,
       kitchen); LookupError for a food that no table has.
    4. The batch and its stages are written; the first stage begins with it.
    """
    now = now_or(now)
    began = now if started_at is None else in_utc(started_at)
    fresh = Kitchen.objects.usable_by(by).filter(pk=kitchen.pk).first()
    if fresh is None or not by.has_perm("batches.add_batch"):
        raise PermissionDenied
    kitchen = fresh
    made = Batch.objects.filter(token=token).first()
    if made is not None:
        return same_form(made, made_by_id=by.pk, kitchen_id=kitchen.pk, food=key)
    problems = Problems()
    moment_check(problems, "started_at", began, now)
    if not 1 <= weighed_g <= MOST_WEIGHED_G:
        problems.add("weighed_g", _("Weigh what is prepared: up to %(n)s kg.") % {"n": MOST_WEIGHED_G // 1000})
    if kitchen.altitude is None:
        problems.add("kitchen", _("Give this kitchen its altitude first: blanching and canning hang on it."))
    problems.raise_if_any()
    planned = _planned(problems, Way(way), key, weighed_g, choices or KeepingChoices(), kitchen.altitude)
    problems.raise_if_any()
    assert planned is not None
    plan, stages = planned
    batch = _write(
        token,
        way=way,
        food=key,
        food_title=plan["title"],
        weighed_g=weighed_g,
        kitchen=kitchen,
        made_by=by,
        state=BatchState.UNDERWAY,
        plan=plan,
        pots=1,
        altitude_m=kitchen.altitude_m,
        started_at=began,
        created_at=now,
        note=note.strip(),
    )
    if batch.stages.exists():
        return batch
    _stages_write(batch, stages, 1, began)
    kitchen_used(by=by, kitchen=kitchen)
    return batch


def _write(token: UUID, **fields: Any) -> Batch:
    """Two of a day's batches may draw the same letters: draw again. A racing twin with our token wins instead."""
    day = club_day(fields["started_at"])
    for left in reversed(range(LOT_CODE_TRIES)):
        try:
            with transaction.atomic():
                return Batch.objects.create(lot_code=lot_code(day, secrets.randbelow(SALTS)), token=token, **fields)
        except IntegrityError:
            made = Batch.objects.filter(token=token).first()
            if made is not None:
                return same_form(made, made_by_id=fields["made_by"].pk, food=fields["food"])
            if not left:
                raise
    raise AssertionError("unreachable: the last try returns or raises")


def _stages_write(batch: Batch, stages: list[StagePlan] | tuple[StagePlan, ...], first: int, began: datetime) -> None:
    """From number `first` on; that one begins now."""
    rows = []
    for number, (stage, dates) in enumerate(zip(stages, stage_dates(stages, began), strict=True), start=first):
        every = stage.look_every
        rows.append(
            Stage(
                batch=batch,
                number=number,
                kind=stage.kind.value,
                look_every_hours=None if every is None else every // timedelta(hours=1),
                begins_at=dates.begins,
                words=stage.words[:STAGE_NOTE_LENGTH],
                shortest_minutes=_minutes(stage.shortest),
                longest_minutes=_minutes(stage.longest),
                ends_from=dates.ends_from,
                ends_by=dates.ends_by,
            )
        )
    Stage.objects.bulk_create(rows)
    _begin(Stage.objects.get(batch=batch, number=first), began)


def waits_begin(batch: Batch, steps: Iterable[RecipeStep]) -> None:
    """The waits of a batch by recipe become its stages, the first begun with the batch; nothing where it has none."""
    if waits := waits_of(steps):
        _stages_write(batch, waits, 1, batch.started_at)


def waits_end(by: User, batch: Batch, at: datetime) -> None:
    """The jars are logged: what was still waiting is over."""
    batch.stages.filter(began_at__lte=at, ended_at=None).update(ended_at=at, ended_by=by)


def _minutes(length: timedelta | None) -> int | None:
    return None if length is None else length // timedelta(minutes=1)


def _begin(stage: Stage, at: datetime) -> None:
    """Its printed times count from now on."""
    shortest, longest, every = stage.shortest_minutes, stage.longest_minutes, stage.look_every_hours
    stage.began_at = stage.begins_at = at
    stage.ends_from = None if shortest is None else at + timedelta(minutes=shortest)
    stage.ends_by = None if longest is None else at + timedelta(minutes=longest)
    stage.look_due_at = None if every is None else at + timedelta(hours=every)
    stage.save(update_fields=["began_at", "begins_at", "ends_from", "ends_by", "look_due_at"])


# The plan: the figures of the food's row as they stood, and what goes in, as a plan of a recipe has it.


def _planned(
    problems: Problems, way: Way, key: str, weighed_g: int, choices: KeepingChoices, altitude: Altitude | None
) -> tuple[dict[str, Any], tuple[StagePlan, ...]] | None:
    tables = keeping_tables()
    if way == Way.FERMENT:
        return _ferment_planned(problems, tables.ferments[key], weighed_g, choices)
    if way == Way.DRY:
        return _drying_planned(tables.dried[key], tables, weighed_g, choices, altitude)
    return _freezing_planned(tables.frozen[key], tables, weighed_g, choices, altitude)


def keeping_preview(way: str, key: str) -> dict[str, Any]:
    """The plan of a kilogram at sea level, for a page to show before anything is weighed. LookupError as above."""
    warm = (
        next((band.f_low for band in keeping_tables().ferments[key].bands if band.days), None)
        if way == Way.FERMENT
        else None
    )
    planned = _planned(Problems(), Way(way), key, 1000, KeepingChoices(room_f=warm), None)
    assert planned is not None  # the room is one of the printed ones
    return planned[0]


def _ferment_planned(
    problems: Problems, food: Ferment, weighed_g: int, choices: KeepingChoices
) -> tuple[dict[str, Any], tuple[StagePlan, ...]] | None:
    timed = [band for band in food.bands if band.days is not None]
    if choices.room_f is None and any(band.f_low is not None for band in timed):
        problems.add("room_f", _("Say how warm it is where it will stand: its days hang on that."))
        return None
    band = band_for(food, choices.room_f or Fraction(70))
    if isinstance(band, Refusal):
        problems.add("room_f", in_words(band))
        return None
    goes_in = weighed_in(food.brine, weighed_g)
    lines = [
        _line(food.brine.vegetable, Role.LOW_ACID, weighed_g),
        _line(_("canning salt"), Role.SALT, goes_in.salt_g[0]),
    ]
    if goes_in.water_ml:
        lines.append(_line(_("water"), Role.LIQUID, goes_in.water_ml))
    if goes_in.vinegar_ml:
        lines.append(_line(_("vinegar"), Role.ACID, goes_in.vinegar_ml))
    plan = {
        "title": food.food[:1].upper() + food.food[1:],
        "food": food.food,
        "lines": lines,
        "cautions": [],
        "salt_g": list(goes_in.salt_g),
        "salt_printed": food.brine.printed,
        "water_ml": goes_in.water_ml,
        "vinegar_ml": goes_in.vinegar_ml,
        "room_f": str(choices.room_f or ""),
        "bands": [[str(one.f_low or ""), str(one.f_high or ""), *_texts(one.days)] for one in timed],
        "ph_end": _texts(food.ph_end),
        "ph_most": min(int(food.ph_most * 100), MOST_PH_HUNDREDTHS),
        "look_for": food.look_for,
        "done": food.done,
        "keep": food.keep,
        "spoilt": food.spoilt,
        "months": _texts(food.months),
        "may_be_canned": food.may_be_canned,
        "canned_by": "",
        # No jar holds more than what went in; a jar for what clings is left to the count.
        "most_ml": str(weighed_g + goes_in.water_ml + goes_in.vinegar_ml),
        **_cited(band.cited),
    }
    return plan, ferment_stages(food, band)


def _drying_planned(
    food: Dried, tables: Tables, weighed_g: int, choices: KeepingChoices, altitude: Altitude | None
) -> tuple[dict[str, Any], tuple[StagePlan, ...]]:
    water, left = WATER.get(food.food), DRY_WATER.get(food.kind)
    plan = {
        "title": _("%(food)s, dried") % {"food": food.food[:1].upper() + food.food[1:]},
        "food": food.food,
        "kind": food.kind,
        "piece": food.piece,
        "lines": [_line(food.food, Role.FRUIT if food.kind == "fruit" else Role.LOW_ACID, weighed_g)],
        "cautions": [],
        "pretreatment": food.pretreatment,
        **_blanched(food.blanch, tables, altitude),
        "dry_f": _texts(food.f),
        "hours": _texts(food.hours),
        "test": food.test,
        "months_by_f": {str(f): str(months.low) for f, months in food.months.items()},
        "dry_g": [] if water is None or left is None else [round(one) for one in dry_yield(weighed_g, water, left)],
        "is_pasteurised": choices.is_pasteurised,
        "most_ml": "0",
        **_cited(food.cited),
    }
    return plan, drying_stages(food, tables.rules, pasteurise=choices.is_pasteurised)


def _freezing_planned(
    food: Frozen, tables: Tables, weighed_g: int, choices: KeepingChoices, altitude: Altitude | None
) -> tuple[dict[str, Any], tuple[StagePlan, ...]]:
    months = freezer_months(food, blanched=choices.is_blanched)
    lines = [_line(food.food, Role.FRUIT if food.kind == "fruit" else Role.LOW_ACID, weighed_g)]
    if food.pack in ("sugar", "syrup"):
        lines.append(_line(_("sugar"), Role.SUGAR, None))
    if food.ascorbic_acid:
        lines.append(_line(_("ascorbic acid"), Role.SPICE, None))
    plan = {
        "title": _("%(food)s, frozen") % {"food": food.food[:1].upper() + food.food[1:]},
        "food": food.food,
        "kind": food.kind,
        "piece": food.piece,
        "pack": food.pack,
        "sugar": food.sugar,
        "syrup_percent": _texts(food.syrup_percent),
        "ascorbic_acid": food.ascorbic_acid,
        "method": food.method,
        "lines": lines,
        "cautions": [in_words(months)] if isinstance(months, Refusal) else [],
        "is_unblanched": food.is_blanched and not choices.is_blanched,
        **(_blanched(food.blanch, tables, altitude) if choices.is_blanched else {}),
        "cool_min": None if food.cool_minutes is None else str(food.cool_minutes),
        "headspace_in": None if food.headspace_in is None else str(food.headspace_in),
        "months_frozen": None if isinstance(months, Refusal) else str(months),
        "most_ml": "0",
        **_cited(food.cited),
    }
    return plan, freezing_stages(food, blanched=choices.is_blanched)


def _line(item: str, role: Role, grams: int | None) -> dict[str, Any]:
    return {"item": item, "prep": "", "role": role.value, "grams": grams, "optional": False}


def _texts(span: Between | None) -> list[str]:
    return [] if span is None else [str(span.low), str(span.high)]


def _blanched(blanch: Blanch, tables: Tables, altitude: Altitude | None) -> dict[str, list[str]]:
    ways = {"blanch_water": blanch.water, "blanch_steam": blanch.steam}
    height = altitude or Altitude(Fraction(0))
    return {name: _texts(blanch_minutes(span, tables.rules, height)) for name, span in ways.items() if span is not None}


def _cited(cited: Cited) -> dict[str, str]:
    return {"source": cited.source, "place": cited.place, "seen": cited.seen.value, "otherwise": cited.otherwise}


# Looking at a stage.


@transaction.atomic
def stage_look(
    *,
    by: User,
    batch: Batch,
    token: UUID,
    scum: str = "",
    cover: str = "",
    smell: str = "",
    moisture: str = "",
    note: str = "",
    at: datetime | None = None,
    now: datetime | None = None,
) -> StageCheck:
    """Write down one look at the stage that is running. The same token again finds the first.

    Drops seen while dried food conditions send it back to the drier: that stage ends, and drying begins anew.
    PermissionDenied; AlreadyDone where no stage is running; ValidationError by field.
    """
    now = now_or(now)
    looked_at = now if at is None else in_utc(at)
    writing_check(by, batch)
    batch_lock(batch.pk)
    before = StageCheck.objects.filter(token=token).select_related("stage").first()
    if before is not None:
        same_form(before.stage, batch_id=batch.pk)
        return same_form(before, noted_by_id=by.pk)
    stage = _running(batch)
    if stage.kind not in (StageKind.FERMENT, StageKind.CONDITION):
        raise AlreadyDone(_("This stage is not looked at day by day; end it when it is over."))
    problems = Problems()
    _stage_moment_check(problems, "at", stage, looked_at, now)
    seen = {"scum": scum, "cover": cover, "smell": smell, "moisture": moisture}
    _seen_check(problems, stage, seen, note)
    problems.raise_if_any()
    check = StageCheck.objects.create(
        stage=stage, at=looked_at, noted_by=by, token=token, note=" ".join(note.split()), **seen
    )
    if stage.look_every_hours is not None:
        due = looked_at + timedelta(hours=stage.look_every_hours)
        Stage.objects.filter(pk=stage.pk).update(look_due_at=max(due, stage.look_due_at or due))
    if stage.kind == StageKind.CONDITION and moisture == Moisture.DROPS:
        _dry_on(by, batch, stage, looked_at)
    return check


def _seen_check(problems: Problems, stage: Stage, seen: Mapping[str, str], note: str) -> None:
    asked: dict[str, type[Scum | Cover | Smell | Moisture]] = (
        {"moisture": Moisture} if stage.kind == StageKind.CONDITION else {"scum": Scum, "cover": Cover, "smell": Smell}
    )
    for field, value in seen.items():
        if field in asked and value not in asked[field].values:
            problems.add(field, _("Say what you saw."))
        elif field not in asked and value:
            problems.add(field, _("That is not asked of this stage."))
    if len(note) > STAGE_NOTE_LENGTH:
        problems.add("note", _("At most %(n)s characters, please.") % {"n": STAGE_NOTE_LENGTH})


def _dry_on(by: User, batch: Batch, stage: Stage, at: datetime) -> None:
    """What comes after stays planned, behind a second drying and conditioning."""
    drying = batch.stages.filter(kind=StageKind.DRY).order_by("number").last()
    later = [*batch.stages.filter(number__gt=stage.number).order_by("number")]
    Stage.objects.filter(pk__in=[one.pk for one in later]).delete()
    Stage.objects.filter(pk=stage.pk).update(ended_at=at, ended_by=by, note=_("Not dry enough: back to the drier."))
    again = [_plan_of(drying)] if drying is not None else []
    _stages_write(batch, [*again, _plan_of(stage), *map(_plan_of, later)], stage.number + 1, at)


def _plan_of(stage: Stage) -> StagePlan:
    shortest, longest, every = stage.shortest_minutes, stage.longest_minutes, stage.look_every_hours
    return StagePlan(
        StageKind(stage.kind),  # type: ignore[arg-type]  # the same words as the engine's
        None if shortest is None else timedelta(minutes=shortest),
        None if longest is None else timedelta(minutes=longest),
        None if every is None else timedelta(hours=every),
        stage.words,
    )


def _running(batch: Batch) -> Stage:
    """AlreadyDone where none is."""
    stage = Stage.objects.running().filter(batch=batch).first()
    if stage is None:
        raise AlreadyDone(_("No stage of this batch is running any more; nothing was written."))
    return stage


def _stage_moment_check(problems: Problems, field: str, stage: Stage, at: datetime, now: datetime) -> None:
    assert stage.began_at is not None  # it is running
    moment_check(problems, field, at, now)
    if at < stage.began_at:
        text = _("This stage began at %(time)s: give a time after that.")
        problems.add(field, text % {"time": zoned_text(stage.began_at)})


# Measuring.

INSTRUMENTS: Mapping[str, str] = {
    Measured.PH: Kind.PH_METER,
    Measured.BRIX: Kind.REFRACTOMETER,
    Measured.TEMPERATURE: Kind.THERMOMETER,
}


@transaction.atomic
def reading_note(
    *,
    by: User,
    batch: Batch,
    measured: str,
    value: Decimal,
    token: UUID,
    instrument_code: str = "",
    own_calibrated_on: date | None = None,
    by_strip: bool = False,
    note: str = "",
    at: datetime | None = None,
    now: datetime | None = None,
) -> StageReading:
    """Write down what an instrument showed: a pH, degrees Brix or degrees C. The same token again finds the first.

    The instrument is the club's, by its code, and its test is good on that day; or one's own, and was calibrated
    within the last 90 days; a pH may be read off a test strip. Else ValidationError (instrument_code,
    own_calibrated_on), as for a value that cannot be (value). PermissionDenied.
    """
    now = now_or(now)
    taken_at = now if at is None else in_utc(at)
    writing_check(by, batch)
    before = StageReading.objects.filter(token=token).first()
    if before is not None:
        return same_form(before, batch_id=batch.pk, noted_by_id=by.pk)
    problems = Problems()
    moment_check(problems, "at", taken_at, now)
    stage = Stage.objects.running().filter(batch=batch).first()
    if taken_at < batch.started_at or (stage is not None and stage.began_at and taken_at < stage.began_at):
        since = batch.started_at if stage is None or stage.began_at is None else stage.began_at
        problems.add("at", _("That is before it began (%(time)s).") % {"time": zoned_text(since)})
    hundredths = _hundredths(problems, measured, value)
    if len(note) > STAGE_NOTE_LENGTH:
        problems.add("note", _("At most %(n)s characters, please.") % {"n": STAGE_NOTE_LENGTH})
    instrument, calibrated_on = None, None
    if not problems:
        instrument, calibrated_on = _instrument(
            problems, by, measured, instrument_code, own_calibrated_on, by_strip, club_day(taken_at)
        )
    problems.raise_if_any()
    limit = batch.plan.get("ph_most") if measured == Measured.PH and batch.is_staged else None
    return StageReading.objects.create(
        batch=batch,
        stage=stage,
        measured=measured,
        hundredths=hundredths,
        limit_hundredths=limit,
        at=taken_at,
        noted_by=by,
        instrument=instrument,
        calibrated_on=calibrated_on,
        by_strip=by_strip,
        note=" ".join(note.split()),
        token=token,
    )


def _hundredths(problems: Problems, measured: str, value: Decimal) -> int:
    if measured not in Measured.values:
        problems.add("measured", _("Choose one of the list."))
        return 0
    low, high = READINGS_IN_HUNDREDTHS[measured]
    # A pH that falls between two hundredths is taken for the higher one: acid is never rounded in one's favour.
    found = int((value * 100).to_integral_value(rounding="ROUND_CEILING")) if value.is_finite() else high + 1
    if not low <= found <= high:
        text = _("A reading lies from %(low)s to %(high)s: check the figure.")
        problems.add("value", text % {"low": low // 100, "high": high // 100})
    return found


def _instrument(
    problems: Problems, by: User, measured: str, code: str, own_on: date | None, by_strip: bool, on: date
) -> tuple[Thing | None, date | None]:
    ways = sum((bool(code.strip()), own_on is not None, by_strip))
    if ways != 1:
        text = _("Say what it was read with: the club's instrument by its code, your own, or a test strip.")
        problems.add("instrument_code", text)
    elif by_strip and measured != Measured.PH:
        problems.add("by_strip", _("A test strip shows a pH only."))
    elif own_on is not None:
        if not on - timedelta(days=OWN_CALIBRATION_DAYS) < own_on <= on:
            text = _("It must have been calibrated in the %(n)s days before the reading.")
            problems.add("own_calibrated_on", text % {"n": OWN_CALIBRATION_DAYS})
        return None, own_on
    elif code.strip():
        return _carded(problems, by, measured, code, on)
    return None, None


def _carded(problems: Problems, by: User, measured: str, code: str, on: date) -> tuple[Thing | None, date | None]:
    thing = Thing.objects.visible_to(by).coded(code).filter(kind=INSTRUMENTS[measured]).first()
    if thing is None:
        problems.add("instrument_code", _("The club has no such instrument for that. Check the code on its label."))
    else:
        try:
            return thing, reading_check(thing, on).tested_on
        except ValidationError as error:
            problems.add("instrument_code", " ".join(error.messages))
    return None, None


# Ending a stage.


@transaction.atomic
def stage_finish(
    *,
    by: User,
    batch: Batch,
    number: int,
    passed: bool = False,
    ended_at: datetime | None = None,
    note: str = "",
    now: datetime | None = None,
) -> Stage:
    """End stage `number`; the next one begins at the same moment. `passed`: the food passed the source's own test.

    1. A ferment ends with a pH at or below its limit and not before its shortest printed time; drying by its test;
       conditioning and two days in a freezer by their time, the former after a look without drops.
    2. Two who press at once: the second gets AlreadyDone, as does who ends a stage that is not running.
    ValidationError (ended_at, passed, note); PermissionDenied.
    """
    now = now_or(now)
    at = now if ended_at is None else in_utc(ended_at)
    writing_check(by, batch)
    batch_lock(batch.pk)
    stage = _running(batch)
    if stage.number != number:
        raise AlreadyDone(_("That stage has ended already; this is the next one."))
    batch = Batch.objects.get(pk=batch.pk)
    problems = Problems()
    _stage_moment_check(problems, "ended_at", stage, at, now)
    if stage.kind in BY_THE_CLOCK and stage.ends_from is not None and at < stage.ends_from:
        text = _("Its shortest printed time is over at %(time)s, not before.")
        problems.add("ended_at", text % {"time": zoned_text(stage.ends_from)})
    if len(note) > STAGE_NOTE_LENGTH:
        problems.add("note", _("At most %(n)s characters, please.") % {"n": STAGE_NOTE_LENGTH})
    ph = _end_check(problems, batch, stage, passed)
    problems.raise_if_any()
    ended = Stage.objects.filter(pk=stage.pk, ended_at=None).update(
        ended_at=at, ended_by=by, note=" ".join(note.split()), look_due_at=None
    )
    if ended != 1:
        raise AlreadyDone(_("That stage has ended already."))
    if ph is not None:
        Batch.objects.filter(pk=batch.pk).update(ph_hundredths=ph)
    following = batch.stages.filter(number=number + 1).first()
    if following is not None:
        _begin(following, at)
    return Stage.objects.get(pk=stage.pk)


def _end_check(problems: Problems, batch: Batch, stage: Stage, passed: bool) -> int | None:
    """What the end of a stage asks for; the pH in hundredths that a ferment ends with."""
    if stage.kind == StageKind.DRY and not passed:
        problems.add("passed", _("Let some pieces cool and test them: drying ends by that test, not by the clock."))
    last = stage.checks.order_by("-at", "-pk").first()
    if stage.kind == StageKind.CONDITION and last is None:
        problems.add("ended_at", _("Shake the jar, look at its lid, and write that down first."))
    if stage.kind != StageKind.FERMENT:
        return None
    if last is not None and last.is_spoilt:
        problems.add("ended_at", f"{_(SPOILT.statement)} {_('Give the batch up here.')}")
    reading = stage.readings.filter(measured=Measured.PH).order_by("-at", "-pk").first()
    if reading is None:
        problems.add("ended_at", _("Measure its pH first: it is finished by that, not by its days alone."))
    elif reading.is_above_limit or reading.hundredths > MOST_PH_HUNDREDTHS:
        text = _("Its last pH is %(ph)s, above %(limit)s: it is not acid enough to be kept.")
        params = {"ph": reading.value, "limit": Decimal(batch.plan["ph_most"]) / 100}
        problems.add("ended_at", text % params)
    else:
        return reading.hundredths
    return None


# Putting the food away, or canning a ferment.


@transaction.atomic
def keeping_put_up(
    *,
    by: User,
    batch: Batch,
    counts: Mapping[str, int],
    grams: int,
    store_f: Fraction | None = None,
    freezer: str = "",
    note: str = "",
    at: datetime | None = None,
    now: datetime | None = None,
) -> Batch:
    """Put what is finished into containers: each gets a number and a label; what is frozen lies in the freezer's list.

    `counts` by `Container`. A ferment goes into the refrigerator, dried food onto a shelf of `store_f` degrees F
    (None: not known, so there is no date), frozen food into the freezer, which ends its last stage.
    ValidationError (containers, grams, store_f, at); AlreadyDone; PermissionDenied.
    """
    now = now_or(now)
    put_at = now if at is None else in_utc(at)
    writing_check(by, batch)
    batch_lock(batch.pk)
    batch = Batch.objects.select_related("kitchen").get(pk=batch.pk)
    if batch.state != BatchState.UNDERWAY:
        raise AlreadyDone(_("This batch was put away or given up before; nothing was written a second time."))
    problems = Problems()
    moment_check(problems, "at", put_at, now)
    last = _last_stage_check(problems, batch, put_at)
    filled = {kind: count for kind, count in counts.items() if count}
    if not filled or not all(kind in Container.values and count > 0 for kind, count in filled.items()):
        problems.add("containers", _("Count what was filled: at least one bag, box or jar."))
    elif sum(filled.values()) > MOST_CONTAINERS:
        problems.add("containers", _("That is more than %(n)s: count again.") % {"n": MOST_CONTAINERS})
    _grams_check(problems, batch, grams)
    until = _best_by(problems, batch, club_day(put_at), store_f)
    problems.raise_if_any()
    state = BatchState.FROZEN if batch.way == Way.FREEZE else BatchState.KEPT
    if last is not None and last.is_running:
        Stage.objects.filter(pk=last.pk, ended_at=None).update(ended_at=put_at, ended_by=by)
    item = _into_the_freezer(by, batch, sum(filled.values()), grams, freezer, put_at, now)
    done = Batch.objects.filter(pk=batch.pk, state=BatchState.UNDERWAY).update(
        state=state,
        jars_out_at=put_at,
        put_up_g=grams,
        best_by=until,
        freezer_item=item,
        note="\n".join(filter(None, [batch.note, note.strip()])),
    )
    if done != 1:
        raise AlreadyDone(_("This batch was put away or given up before; nothing was written a second time."))
    where = {Way.FERMENT: Disposal.REFRIGERATE, Way.DRY: Disposal.SHELF, Way.FREEZE: Disposal.FREEZE}[Way(batch.way)]
    kinds = [kind for kind in Container.values for _each in range(filled.get(kind, 0))]
    Jar.objects.bulk_create(
        Jar(batch=batch, number=number, size=kind, seal=Seal.NONE, disposal=where, place=batch.kitchen)
        for number, kind in enumerate(kinds, start=1)
    )
    return Batch.objects.get(pk=batch.pk)


def _last_stage_check(problems: Problems, batch: Batch, at: datetime) -> Stage | None:
    """All stages have ended; the freezing itself ends with this."""
    stages = list(batch.stages.order_by("number"))
    last = stages[-1] if stages else None
    open_ones = [stage for stage in stages if stage.ended_at is None]
    if [stage.kind for stage in open_ones] not in ([], [StageKind.FREEZE.value]):
        problems.add("at", _("First end the stage that is running: what comes after it hangs on that."))
    since = max((moment for one in stages for moment in (one.began_at, one.ended_at) if moment), default=None)
    if since is not None and at < since:
        problems.add("at", _("Its last stage was at %(time)s: give a time after that.") % {"time": zoned_text(since)})
    return last


def _grams_check(problems: Problems, batch: Batch, grams: int) -> None:
    """Drying only takes away; sugar, syrup and brine add at most as much again: a slip of the pen beyond."""
    most = (batch.weighed_g or 0) * (1 if batch.way == Way.DRY else 2) + int(Fraction(batch.plan["most_ml"]))
    if not 1 <= grams <= most:
        problems.add("grams", _("Weigh it: more than %(n)s g cannot have come of it.") % {"n": most})


def _best_by(problems: Problems, batch: Batch, day: date, store_f: Fraction | None) -> date | None:
    plan = batch.plan
    months: Fraction | Refusal | None = None
    if batch.way == Way.FERMENT and plan["months"]:
        months = Fraction(plan["months"][0])
    elif batch.way == Way.FREEZE and plan["months_frozen"] is not None:
        months = Fraction(plan["months_frozen"])
    elif batch.way == Way.DRY and store_f is not None and plan["months_by_f"]:
        by_f = {int(f): Fraction(text) for f, text in plan["months_by_f"].items()}
        months = store_months(plan["food"], by_f, store_f)
    if isinstance(months, Refusal):
        problems.add("store_f", in_words(months))
        return None
    return None if months is None else best_by(day, months)


def _into_the_freezer(by: User, batch: Batch, bags: int, grams: int, freezer: str, at: datetime, now: datetime) -> Any:
    if batch.way != Way.FREEZE:
        return None
    plan = batch.plan
    words = [plan["piece"], *([_("not blanched")] if plan["is_unblanched"] else []), batch.lot_code]
    fields = FreezerFields(
        kitchen=batch.kitchen,
        what=plan["food"],
        frozen_on=club_day(at),
        grams=grams,
        bags=bags,
        with_sugar=plan["pack"] in ("sugar", "syrup"),
        freezer=freezer,
        note=", ".join(words)[-FREEZER_LENGTHS["note"] :],
    )
    return freezer_item_add(by=by, fields=fields, token=uuid5(batch.token, "freezer"), now=now)


@transaction.atomic
def keeping_can(*, by: User, batch: Batch, pack: str, jar: str, now: datetime | None = None) -> Batch:
    """Can a finished ferment by its own table: from here on it is a batch on the stove, with its process to reach.

    ValidationError (jar) where no tested row serves; AlreadyDone where it was put away or canned before.
    """
    writing_check(by, batch)
    batch_lock(batch.pk)
    batch = Batch.objects.get(pk=batch.pk)
    if batch.state != BatchState.UNDERWAY or batch.way != Way.FERMENT:
        raise AlreadyDone(_("This batch was put away, canned or given up before."))
    if batch.stages.filter(ended_at=None).exists() or batch.ph_hundredths is None:
        raise ValidationError(_("End the ferment first, with its pH."))
    table = canning_table(batch)
    if table is None:
        raise ValidationError(_("No tested process for it was found in print. Keep it in the refrigerator."))
    found = process_for(
        table.table.rows, jar=jar, pack=Pack(pack), canner=Canner.BOILING_WATER, altitude=batch.altitude
    )
    if isinstance(found, Refusal):
        raise ValidationError({"jar": in_words(found)})
    batch.plan["canned_by"] = table.key
    batch.canner, batch.pack, batch.jar_size = Canner.BOILING_WATER.value, found.pack.value, found.tested_jar
    batch.required_minutes = found.minutes
    changes: dict[str, Any] = {
        "plan": batch.plan,
        "canner": batch.canner,
        "pack": batch.pack,
        "jar_size": batch.jar_size,
        "required_minutes": batch.required_minutes,
        "is_reprocessable": isinstance(batch.reprocess_need(), Need),
    }
    done = Batch.objects.filter(pk=batch.pk, state=BatchState.UNDERWAY).update(state=BatchState.STARTED, **changes)
    if done != 1:
        raise AlreadyDone(_("This batch was put away, canned or given up before."))
    return Batch.objects.get(pk=batch.pk)


def canning_table(batch: Batch) -> ProcessTable | None:
    """The process table that a ferment is canned by; None where none was seen in print."""
    named = CANNED_BY.get(batch.plan["food"]) if batch.plan.get("may_be_canned") else None
    if named is None:
        return None
    rows = ProcessTable.objects.filter(food=named[0], method=Method.BOILING_WATER.value, is_held_back=False)
    return rows.filter(variant=named[1]).first() if named[1] else rows.first()
