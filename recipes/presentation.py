"""Figures, tables and plans in the words of a page or a terminal: nothing here decides, it only says."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor
from typing import Any

from django.apps import apps
from django.db.models import Count
from django.utils.http import urlencode
from django.utils.text import get_text_list
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as noop

from club.core.money import money_text
from club.core.units import METRIC, US, both, reader_units
from club.members.rules import altitude_words
from recipes.choices import CANNERS, HAND_TASKS, JARS, LIQUIDS, METHODS, PACKS, ROLES, SEEN, STEPS
from recipes.engine import (
    MASS_BALANCE,
    AltitudeError,
    Choice,
    JarMix,
    Line,
    Plan,
    Process,
    ProcessFound,
    Span,
    band_text,
    boiling_point_c,
    choices_of,
    clock,
    find_band,
    jelly_point_c,
    round_for_kitchen,
    terms,
    words_of,
)
from recipes.engine.acidity import TBSP_ML, AcidSheet, FoodClass, KnownFood
from recipes.engine.keeping import heat_text
from recipes.engine.quantities import JAR_ML, JAR_SIZES, UNITS, convert, format_amount, format_decimal, format_number
from recipes.engine.terms import (
    Alternative,
    Altitude,
    Canner,
    Ingredient,
    JarCount,
    JarFact,
    LowTemperature,
    Method,
    MinutesBand,
    Pack,
    PressureBand,
    ProcessRow,
    ProcessTable,
    Range,
    RecipeStep,
    Refusal,
    Role,
    Seen,
    TestedRecipe,
    TestedSource,
    Use,
)
from recipes.engine.yields import COOKED, PACKED, Learned, Logged, Prior, learned, left_of_the_pot
from recipes.models import Revision
from recipes.shopping import Cost

# Figures: what safety hangs on in metric and US at once, amounts in the reader's units first.

KPA_PER_PSI = Fraction("6.894757")
METRIC_UNITS = frozenset({"ml", "l", "g", "kg", "metric-cup"})


@dataclass(frozen=True)
class IngredientLine:
    """One ingredient for one pot: `amount` in the reader's units, `beside` in the others ("" for counted things)."""

    item: str
    prep: str
    role: str
    role_label: str
    amount: str
    beside: str
    as_bought: str
    optional: bool
    is_poured_off: bool


@dataclass(frozen=True)
class KitchenPoints:
    """Where water boils and a spread sets in one kitchen, in both scales."""

    altitude: str
    boiling: str
    jelly: str
    jelly_above_f: str


def temperature_text(celsius: float) -> str:
    """ "96.5 °C (205.7 °F)" """
    return both(f"{celsius:.1f} °C", f"{celsius * 9 / 5 + 32:.1f} °F")


def heat_words(low: Fraction | int | None, high: Fraction | int | None) -> str:
    """ "70 to 75 °F (21 to 24 °C)" as printed; for a metric reader the other way round."""
    return _reordered(heat_text(low, high))


def low_temperature_words(found: LowTemperature | Refusal | None) -> str:
    """The other way to keep these jars, with its figures, or why it is none here; "" where the source says nothing."""
    if found is None:
        return ""
    if isinstance(found, Refusal):
        return in_words(found)
    water = heat_words(found.low_f, found.high_f)
    minutes = ngettext("%(n)s minute", "%(n)s minutes", found.minutes) % {"n": found.minutes}
    text = _(
        "Or, as the source allows, low-temperature pasteurisation: %(minutes)s in water held at %(water)s by a tested"
        " thermometer, its readings in the log. It is chosen when the batch begins."
    )
    said = text % {"minutes": minutes, "water": water}
    return f"{said} {found.dispute}".rstrip()


def kept_cold_words(recipe: TestedRecipe) -> str:
    """Where a recipe without a process is kept, and how long; "" for one that has a process."""
    kept = recipe.kept_cold
    if kept is None:
        frozen = _("Kept in the freezer. There is no process that would make it keep on a shelf.")
        return frozen if recipe.method.is_cold else ""
    weeks = _span_words(kept.weeks, "week")
    text = _("Kept in the refrigerator, for %(weeks)s. There is no process that would make it keep on a shelf.")
    frozen = _("It is not frozen.")
    if kept.freezer_months is not None:
        frozen = _("Or frozen, for %(months)s.") % {"months": _span_words(kept.freezer_months, "month")}
    return " ".join(filter(None, [text % {"weeks": weeks}, frozen, kept.dispute]))


def _span_words(span: Range, unit: str) -> str:
    """ "4 weeks", "2 to 3 months"."""
    count = max(1, ceil(span.high))
    words = {
        "week": ngettext("%(span)s week", "%(span)s weeks", count),
        "month": ngettext("%(span)s month", "%(span)s months", count),
    }
    low, high = format_number(span.low), format_number(span.high)
    return words[unit] % {"span": low if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}}


def pressure_text(psi: int) -> str:
    """ "11 psi (76 kPa)"; kilopascals are rounded up, so that they never ask for less.

    Gauges show psi, so that both are said to everybody.
    """
    metric = _("%(kpa)s kPa") % {"kpa": ceil(psi * KPA_PER_PSI)}
    return both(metric, _("%(psi)s psi") % {"psi": psi}, usual=US)


def band_words(band: str) -> str:
    """An altitude band as `band_text` prints it: feet first, for a metric reader metres."""
    return _reordered(band)


def _reordered(printed: str) -> str:
    """What is printed as "US (metric)", in the reader's order; a text without both stays as it is."""
    found = re.fullmatch(r"(.+) \((.+)\)", printed)
    return both(found[2], found[1], usual=US) if found else printed


def setting_text(setting_psi: int | None, table_psi: int | None, reads_high: Fraction | None) -> str:
    """ "set 15 where the table says 13: this gauge reads 2 psi high"; "" where the gauge is set as the table says."""
    if setting_psi is None or table_psi is None or setting_psi == table_psi or not reads_high:
        return ""
    return _("set %(setting)s where the table says %(table)s: this gauge reads %(error)s psi high") % {
        "setting": setting_psi,
        "table": table_psi,
        "error": f"{float(reads_high):g}",
    }


def headspace_text(inches: Fraction) -> str:
    """ "1/4 in (6 mm)" """
    millimetres = floor(inches * Fraction("25.4") + Fraction(1, 2))
    us = _("%(inches)s in") % {"inches": format_number(inches)}
    return both(_("%(mm)s mm") % {"mm": millimetres}, us, usual=US)


# The steps of a recipe, with their figures in the reader's units.


@dataclass(frozen=True)
class StepWords:
    """One step. `whom` says which jars it is for ("" for all); `look_up` where a figure stands that nobody read."""

    text: str
    action: str
    whom: str
    look_up: str
    dispute: str


def step_words(recipe: TestedRecipe, steps: Iterable[RecipeStep], units: str) -> list[StepWords]:
    """These steps of the recipe; `units` is "metric" or "us" and says which figure comes first."""
    return [
        StepWords(
            text=_step_text(step, units),
            action=step.action,
            whom=_whom(step),
            look_up="" if step.is_read or not step.figures else source_text(step.source or recipe.source),
            dispute=step.dispute,
        )
        for step in steps
    ]


def own_steps(recipe: TestedRecipe, *, pack: str, canner: str, jars: Collection[str], units: str) -> list[StepWords]:
    """The steps of one batch: of its pack, its canner (both "" for what is kept cold) and its jars alone."""
    methods = {Canner.BOILING_WATER: Method.BOILING_WATER, Canner.STEAM: Method.BOILING_WATER, "": recipe.method}
    method, packed = methods.get(canner, Method.PRESSURE), Pack(pack) if pack else None
    own = [step for step in recipe.steps if step.is_for(pack=packed, method=method, jars=jars)]
    return step_words(recipe, steamed(own) if canner == Canner.STEAM else own, units)


def steamed(steps: Iterable[RecipeStep]) -> list[RecipeStep]:
    """The same steps for a steam canner: no jar stands under water there, and time counts from a column of steam."""
    return [replace(step, text=_steam_words()) if _is_under_water(step) else step for step in steps]


def _is_under_water(step: RecipeStep) -> bool:
    return "boiling-water canner" in step.text or (step.method is Method.BOILING_WATER and step.action == "process")


def _steam_words() -> str:
    return _(
        "Stand the hot jars on the rack of the steam canner, over its water and not in it. Count from when steam"
        " streams out of the vent in an even column and the thermometer shows that water boils; process for the time"
        " given for this kitchen, without opening it."
    )


# Measures within a sentence: "one to two inches", "1/4 inch (6 mm)", "180 °F".

_SPELLED = {"half": "1/2", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6"}
_FIGURE = r"(?:\d+ \d+/\d+|\d+/\d+|\d+(?:\.\d+)?|" + "|".join(_SPELLED) + r")"
_INCHES = re.compile(
    rf"(?<!m \()(?P<us>\b(?P<low>{_FIGURE})(?:(?: to |-| or )(?P<high>{_FIGURE}))?[ -]inch(?:es)?\b)"
    r"(?: \((?P<metric>[^()]*[cm]m)\))?",
    re.IGNORECASE,
)
_HEAT = re.compile(
    r"(?<!C \()(?<!\d)(?P<us>(?P<low>\d+)(?:(?: to |-)(?P<high>\d+))? ?°F)(?: \((?P<metric>[^()]*°C)\))?|"
    r"(?P<c>\d+(?: to \d+)? ?°C) \((?P<f>\d+(?: to \d+)? ?°F)\)"
)


def prose(text: str, units: str = "") -> str:
    """A sentence with its inches and degrees Fahrenheit as a metric reader reads them, what was printed beside them.

    `units` "": those of whoever asks for the page. For everybody else the sentence stays as it is.
    """
    if (units or reader_units()) != METRIC:
        return text
    return _HEAT.sub(_in_celsius, _INCHES.sub(_in_millimetres, text))


def _in_millimetres(found: re.Match[str]) -> str:
    return f"{found['metric'] or _piece_in_metric(_span_of(found))} ({found['us']})"


def _in_celsius(found: re.Match[str]) -> str:
    if found["c"]:
        return found[0]
    celsius = Range(*(Fraction(round((end - 32) * Fraction(5, 9))) for end in _span_of(found)))
    return f"{found['metric'] or _ends(celsius) + ' °C'} ({found['us']})"


def _span_of(found: re.Match[str]) -> Range:
    low, high = (_read_number(found[name] or found["low"]) for name in ("low", "high"))
    return Range(low, high)


def _read_number(text: str) -> Fraction:
    return sum((Fraction(_SPELLED.get(part, part)) for part in text.lower().split()), Fraction(0))


def _step_text(step: RecipeStep, units: str) -> str:
    step = replace(step, text=prose(step.text, units))
    if not step.is_read:
        unread = _("(see the source)")
        return step.in_words({name: unread for name in step.figures if f"{{{name}}}" in step.text})
    return step.in_words({name: _figure_words(name, figure, units) for name, figure in step.figures.items()})


def _figure_words(name: str, figure: Range, units: str) -> str:
    many = ceil(figure.high)
    if name == "minutes":
        return ngettext("%(figure)s minute", "%(figure)s minutes", many) % {"figure": _ends(figure)}
    if name == "hours":
        return ngettext("%(figure)s hour", "%(figure)s hours", many) % {"figure": _ends(figure)}
    if name == "temperature":
        celsius = Range(*(Fraction(round((end - 32) * Fraction(5, 9))) for end in figure))
        texts = f"{_ends(figure)} °F", f"{_ends(celsius)} °C"
    else:
        texts = _("%(inches)s in") % {"inches": _ends(figure)}, _piece_in_metric(figure)
    first, second = texts if units == "us" else reversed(texts)
    return _("%(first)s (%(second)s)") % {"first": first, "second": second}


def _piece_in_metric(figure: Range) -> str:
    """Whole millimetres below 2 cm, else centimetres to a half."""
    if figure.high * Fraction("25.4") < 20:
        return f"{_ends(Range(*(Fraction(round(end * Fraction('25.4'))) for end in figure)))} mm"
    low, high = (format_decimal(Fraction(round(end * Fraction("5.08")), 2), places=1) for end in figure)
    return _("%(size)s cm") % {"size": low if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}}


def _ends(figure: Range) -> str:
    low, high = map(format_number, figure)
    return low if low == high else _("%(low)s to %(high)s") % {"low": low, "high": high}


def _whom(step: RecipeStep) -> str:
    parts = [str(PACKS[step.pack])] if step.pack else []
    parts += [str(METHODS[step.method])] if step.method else []
    return ", ".join([*parts, *(str(JARS[jar]) for jar in step.jars)])


# What a recipe says of its loads, jars and choices, in sentences.


def detail_lines(entry: TestedRecipe | ProcessTable) -> list[str]:
    """Each figure as printed, or that it was not read; for the page of a recipe or a table."""
    found = [_load_words(line, entry) for line in entry.loads]
    found += [_jar_words(fact) for fact in entry.per_jar]
    for choice in choices_of(entry):
        found.append(_choice_words(choice))
    if entry.packing_liquids:
        names = ", ".join(liquid_label(name) for name in entry.packing_liquids.names)
        found.append(_("May be covered with: %(names)s.") % {"names": names})
    if isinstance(entry, TestedRecipe):
        for stated in entry.other_yields:
            amount = _ends(Range(stated.low, stated.high))
            words = _("One pot also fills %(amount)s × %(jar)s.") % {"amount": amount, "jar": JARS[stated.jar]}
            found.append(_with_mark(words, stated.seen, ""))
    return found


def liquid_label(name: str) -> str:
    return str(LIQUIDS.get(name, name))


def _load_words(line: terms.LoadLine, entry: TestedRecipe | ProcessTable) -> str:
    item = line.item or (entry.food if isinstance(entry, ProcessTable) else "")
    words = _("A canner load of %(count)s × %(jar)s takes %(amount)s of %(item)s.") % {
        "count": line.count,
        "jar": JARS[line.jar],
        "amount": format_amount(line.amount, line.unit),
        "item": item,
    }
    return _with_mark(words, line.seen, line.dispute)


def _jar_words(fact: JarFact) -> str:
    words = _("In each %(jar)s: %(amount)s of %(item)s.") % {
        "jar": JARS[fact.jar],
        "amount": _amount_words(fact),
        "item": fact.item,
    }
    return _with_mark(words, fact.seen, fact.dispute)


def _choice_words(choice: Choice) -> str:
    parts = []
    for line in choice.lines:
        where = _(" in each %(jar)s") % {"jar": JARS[line.jar]} if line.jar else ""
        parts.append(_("%(amount)s of %(item)s") % {"amount": _amount_words(line), "item": line.item} + where)
    words = _("Instead of %(item)s: %(lines)s.") % {"item": ", ".join(choice.instead_of), "lines": "; ".join(parts)}
    seen = next((line.seen for line in choice.lines if not line.seen.is_seen), choice.lines[0].seen)
    return _with_mark(words, seen, choice.lines[0].dispute)


def _amount_words(line: JarFact | Alternative) -> str:
    high = format_amount(line.amount_high or line.amount, line.unit)
    return high if line.amount_high is None else _("%(low)s to %(high)s") % {"low": _number_of(line), "high": high}


def _number_of(line: JarFact | Alternative) -> str:
    return format_number(line.amount)


def _with_mark(words: str, seen: Seen, dispute: str) -> str:
    if not seen.is_seen:
        words = _("%(words)s Not used in plans: %(mark)s.") % {"words": words, "mark": SEEN[seen]}
    return f"{words} {dispute}".strip()


def source_text(source: TestedSource) -> str:
    return ", ".join(part for part in (source.title, source.edition, source.place) if part)


def kitchen_points(altitude: Altitude | None, recipe: TestedRecipe | None = None) -> KitchenPoints | None:
    """Boiling point and jelly point here; None where the altitude is not known or no kitchen has it."""
    above_f = (recipe and recipe.endpoint_f_above_boiling) or Fraction(8)
    if altitude is None:
        return None
    try:
        return KitchenPoints(
            altitude=altitude_words(altitude),
            boiling=temperature_text(boiling_point_c(altitude)),
            jelly=temperature_text(jelly_point_c(altitude, above_f)),
            jelly_above_f=format_number(above_f),
        )
    except AltitudeError:
        return None


def ingredient_lines(recipe: TestedRecipe, units: str) -> list[IngredientLine]:
    """The ingredients of one pot; `units` is "metric" or "us" and says which figure comes first."""
    return [_line(line, units) for line in recipe.ingredients]


def _line(line: Ingredient, units: str) -> IngredientLine:
    amount, beside = amount_pair(line, units)
    return IngredientLine(
        item=line.item,
        prep=line.prep,
        role=line.role.value,
        role_label=str(ROLES[line.role]),
        amount=amount,
        beside=beside,
        as_bought=line.as_bought,
        optional=line.optional,
        is_poured_off=line.use is Use.SOAK,
    )


def amount_pair(line: Ingredient, units: str, *, customary: str = "") -> tuple[str, str]:
    """The amount in the reader's units, and beside it in the other ones ("" for counted things).

    `customary` is the text for a line that the engine has worded already, in the recipe's own unit.
    """
    if line.unit in METRIC_UNITS:
        metric, other = customary or _metric(line), _customary(line)
    else:
        metric, other = _metric(line), customary or _customary(line)
    first, second = (metric, other) if units == "metric" else (other, metric)
    return first or second, second if first and second != first else ""


def _customary(line: Ingredient) -> str:
    """As printed where that is US; else turned into cups or ounces. Counted things are as printed too."""
    if line.unit not in METRIC_UNITS:
        return _as_printed(line)
    return _turned(line, "cup" if UNITS[line.unit].kind == "volume" else "oz")


def _metric(line: Ingredient) -> str:
    """Grams where a weight is given with the recipe, but for what is poured; else the same volume or weight; "" for
    counted things."""
    if line.unit in METRIC_UNITS:
        return _as_printed(line)
    is_poured = line.role in (Role.LIQUID, Role.ACID) and UNITS[line.unit].kind == "volume"
    if line.grams is not None and not is_poured:
        low, high = line.grams, line.grams * (line.amount_high or line.amount) / line.amount
        return _range(low, high, "g", line)
    kind = UNITS[line.unit].kind
    return "" if kind == "count" else _turned(line, "ml" if kind == "volume" else "g")


def _as_printed(line: Ingredient) -> str:
    text = format_amount(line.amount_high or line.amount, line.unit)
    if line.amount_high is None:
        return text
    return _("%(low)s to %(high)s") % {"low": format_number(line.amount), "high": text}


def _turned(line: Ingredient, unit: str) -> str:
    low = convert(line.amount, line.unit, unit)
    return _range(low, convert(line.amount_high or line.amount, line.unit, unit), unit, line)


def _range(low: Fraction, high: Fraction, unit: str, line: Ingredient) -> str:
    texts = [_readable(value, unit, line) for value in (low, high)]
    return texts[0] if low == high else _("%(low)s to %(high)s") % {"low": texts[0], "high": texts[1]}


def _readable(value: Fraction, unit: str, line: Ingredient) -> str:
    """Rounded the way the ingredient's role allows; from 1,000 g or ml in kg or l."""
    rounded = round_for_kitchen(value, unit, line.role)
    large = {"g": "kg", "ml": "l"}.get(unit)
    if large and rounded.value >= 1000:
        return format_amount(rounded.value / 1000, large)
    return rounded.text


# Process tables: one for each pack and gauge, bands downwards, jars across.

Bands = Sequence[MinutesBand] | Sequence[PressureBand]


@dataclass(frozen=True)
class BandLine:
    """One altitude band: its limits in feet and metres, and one figure for each jar."""

    text: str
    is_here: bool
    figures: tuple[str, ...]


@dataclass(frozen=True)
class BandTable:
    """One table. `is_above` says that the kitchen is higher than its last band."""

    title: str
    pack: str
    jars: tuple[str, ...]
    lines: tuple[BandLine, ...]
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    is_above: bool

    @property
    def caption(self) -> str:
        return f"{self.title}, {self.pack}"

    @property
    def here(self) -> tuple[tuple[str, str], ...]:
        """(jar, figure) of the kitchen's own band; empty where no kitchen was chosen, and above the table."""
        return tuple(pair for line in self.lines if line.is_here for pair in zip(self.jars, line.figures, strict=True))


@dataclass(frozen=True)
class ProcessHere:
    """What one kitchen's band says, of every pack for which it says the same. Without figures: it lies above."""

    title: str
    packs: str
    figures: tuple[tuple[str, str], ...]


def process_here(tables: Iterable[BandTable]) -> list[ProcessHere]:
    """In the order of the tables; those in which no kitchen was looked up are left out."""
    packs: dict[tuple[str, tuple[tuple[str, str], ...]], list[str]] = {}
    for table in tables:
        if table.here or table.is_above:
            packs.setdefault((table.title, table.here), []).append(table.pack)
    return [ProcessHere(title, ", ".join(names), figures) for (title, figures), names in packs.items()]


@dataclass(frozen=True)
class _Kind:
    """One sort of table: its title, the bands a row has for it, and what is said once for all of its rows."""

    title: str
    bands_of: Callable[[ProcessRow], Bands]
    usual: TestedRecipe | ProcessTable


def band_tables(
    rows: Iterable[ProcessRow], altitude: Altitude | None, usual: TestedRecipe | ProcessTable
) -> list[BandTable]:
    """Every row that was seen in print, in as few tables as their packs, gauges and bands allow.

    The headspace and source of `usual`, which the page says once, are left out of the tables.
    """
    seen = sorted((row for row in rows if row.seen.is_seen), key=lambda row: JAR_SIZES.index(row.jar))
    boiling = [row for row in seen if row.method is Method.BOILING_WATER]
    pressure = [row for row in seen if row.method is Method.PRESSURE]
    return [
        *_tables(boiling, altitude, _Kind(_("Boiling water"), lambda row: row.minutes_bands, usual)),
        *_tables(pressure, altitude, _Kind(_("Pressure, dial gauge"), lambda row: row.dial, usual)),
        *_tables(pressure, altitude, _Kind(_("Pressure, weighted gauge"), lambda row: row.weighted, usual)),
    ]


def _tables(rows: list[ProcessRow], altitude: Altitude | None, kind: _Kind) -> list[BandTable]:
    groups: dict[tuple[Pack, tuple[int | None, ...]], list[ProcessRow]] = {}
    for row in rows:
        limits = tuple(band.upper_ft for band in kind.bands_of(row))
        if limits:
            groups.setdefault((row.pack, limits), []).append(row)
    return [_table(limits, group, altitude, kind) for (_pack, limits), group in groups.items()]


def _table(limits: tuple[int | None, ...], rows: list[ProcessRow], altitude: Altitude | None, kind: _Kind) -> BandTable:
    here = find_band(limits, altitude) if altitude else None
    lines = tuple(
        BandLine(
            text=band_words(band_text(limits[index - 1] if index else None, upper)),
            is_here=here is not None and here.index == index,
            figures=tuple(_figure(kind.bands_of(row)[index]) for row in rows),
        )
        for index, upper in enumerate(limits)
    )
    return BandTable(
        title=kind.title,
        pack=str(PACKS[rows[0].pack]),
        jars=tuple(_jar(row, kind.usual.headspace_in) for row in rows),
        lines=lines,
        notes=_unique(text for row in rows for text in _row_notes(row)),
        sources=_unique(source_text(row.source) for row in rows if row.source != kind.usual.source),
        is_above=altitude is not None and here is None,
    )


def _row_notes(row: ProcessRow) -> Iterator[str]:
    """What is to be read beside a row: its note, whom it is for, and what another publication prints."""
    yield row.note
    if row.only_for:
        yield _("%(jar)s: only for %(foods)s.") % {"jar": JARS[row.jar], "foods": ", ".join(row.only_for)}
    if row.not_for:
        yield _("%(jar)s: not for %(foods)s.") % {"jar": JARS[row.jar], "foods": ", ".join(row.not_for)}
    yield row.condition
    if row.dispute:
        yield _("Publications differ here: %(dispute)s") % {"dispute": row.dispute}


def _figure(band: MinutesBand | PressureBand) -> str:
    if isinstance(band, MinutesBand):
        return _("%(minutes)s min") % {"minutes": band.minutes}
    return _("not recommended") if band.psi is None else pressure_text(band.psi)


def _jar(row: ProcessRow, usual_in: Fraction) -> str:
    """A column's head: the jar, the minutes that hold at every altitude, and a headspace that is not the usual one."""
    parts = [str(JARS[row.jar])]
    if row.minutes is not None:
        parts.append(_("%(minutes)s min") % {"minutes": row.minutes})
    if row.headspace_in != usual_in:
        parts.append(_("headspace %(space)s") % {"space": headspace_text(row.headspace_in)})
    return ", ".join(parts)


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))


# A plan: its ingredients, process and jars.


@dataclass(frozen=True)
class PlanLine:
    """One ingredient: over all pots, and for each pot. `beside` is the same amount in the other units."""

    item: str
    prep: str
    role: str
    role_label: str
    optional: bool
    amount: str
    beside: str
    per_pot: str
    per_pot_beside: str
    per_jar: str  # "1/2 tsp in each pint (473 ml)"; "" where it is not measured by the jar
    is_poured_off: bool


@dataclass(frozen=True)
class ProcessDetails:
    """The process that was found, as a page says it. `pressure` is what the gauge must show."""

    method: str
    minutes: str
    pressure: str
    correction: str  # of a dial gauge that reads high: "set 15 where the table says 13"; else ""
    gauge: str
    band: str
    pack: str
    jar: str
    headspace: str
    vent_minutes: int
    source: str


def plan_steps(plan: Plan) -> list[RecipeStep]:
    return steamed(plan.steps) if plan.process and plan.process.in_steam else list(plan.steps)


def plan_lines(plan: Plan, units: str) -> list[PlanLine]:
    return [_plan_line(line, units) for line in plan.lines]


def _plan_line(line: Line, units: str) -> PlanLine:
    printed = line.ingredient
    share = line.amount_per_pot / line.amount if line.amount else Fraction(1)
    amount, beside = amount_pair(_scaled(printed, line, Fraction(1)), units, customary=line.text)
    per_pot, per_pot_beside = amount_pair(_scaled(printed, line, share), units, customary=line.text_per_pot)
    per_jar = [(each.text, each.jar) for each in line.each]
    return _worded(printed, amount, beside, per_pot, per_pot_beside, per_jar)


def kept_lines(lines: Iterable[Mapping[str, Any]], units: str) -> list[PlanLine]:
    """The lines of a plan as a batch keeps them (`plan_as_dict`), worded and rounded as the plan's own are."""
    return [_kept_line(line, units) for line in lines]


def _kept_line(line: Mapping[str, Any], units: str) -> PlanLine:
    kept = Ingredient(
        item=line["item"],
        prep=line["prep"],
        role=Role(line["role"]),
        amount=_exact(line["amount"]),
        unit=line["unit"],
        amount_high=_exact(line["amount_high"]) if line["amount_high"] else None,
        grams=_exact(line["grams"]) if line["grams"] else None,
        optional=line["optional"],
        use=Use(line.get("use", Use.JAR)),
    )
    amount, beside = per_pot, per_pot_beside = line["text"], ""
    if kept.amount:
        amount, beside = amount_pair(kept, units, customary=line["text"])
        of_a_pot = _share_of(kept, _exact(line["amount_per_pot"]) / kept.amount)
        per_pot, per_pot_beside = amount_pair(of_a_pot, units, customary=line["text_per_pot"])
    per_jar = [(each["text"], each["jar"]) for each in line.get("per_jar", ())]
    return _worded(kept, amount, beside, per_pot, per_pot_beside, per_jar)


def _worded(
    line: Ingredient, amount: str, beside: str, per_pot: str, per_pot_beside: str, per_jar: Iterable[tuple[str, str]]
) -> PlanLine:
    """`per_jar`: what goes into each jar, and into which."""
    return PlanLine(
        item=line.item,
        prep=line.prep,
        role=line.role.value,
        role_label=str(ROLES[line.role]),
        optional=line.optional,
        amount=amount,
        beside=beside,
        per_pot=per_pot,
        per_pot_beside=per_pot_beside,
        per_jar="; ".join(
            _("%(amount)s in each %(jar)s") % {"amount": text, "jar": JARS[jar]} for text, jar in per_jar
        ),
        is_poured_off=line.use is Use.SOAK,
    )


def _exact(number: float) -> Fraction:
    return Fraction(str(number))


def _share_of(line: Ingredient, share: Fraction) -> Ingredient:
    return replace(
        line,
        amount=line.amount * share,
        amount_high=line.amount_high and line.amount_high * share,
        grams=line.grams and line.grams * share,
    )


def _scaled(printed: Ingredient, line: Line, share: Fraction) -> Ingredient:
    of_all = replace(printed, amount=line.amount, amount_high=line.amount_high, grams=line.grams)
    return _share_of(of_all, share)


def process_details(found: ProcessFound | None) -> ProcessDetails | None:
    if found is None:
        return None
    return ProcessDetails(
        method=str(CANNERS[Canner.STEAM] if found.in_steam else METHODS[found.method]),
        minutes=_("%(minutes)s minutes") % {"minutes": found.minutes},
        pressure="" if found.setting_psi is None else pressure_text(found.setting_psi),
        correction=setting_text(found.setting_psi, found.pressure_psi, found.reads_high),
        gauge={"dial": str(CANNERS["dial-gauge"]), "weighted": str(CANNERS["weighted-gauge"])}.get(
            found.gauge or "", ""
        ),
        band=band_words(found.band),
        pack=str(PACKS[found.pack]),
        jar=str(JARS[found.jar]),
        headspace=headspace_text(found.headspace_in),
        vent_minutes=found.vent_minutes,
        source=source_text(found.source),
    )


def jar_texts(plan: Plan) -> list[str]:
    """ "7 × half-pint (237 ml)" """
    return [f"{jars.count} × {JARS[jars.size]}" for jars in plan.jars]


def volume_text(volume_ml: Fraction | None) -> str:
    """ "1.7 l (7 1/4 US cups)"; "" where the volume is not known, or nothing."""
    if not volume_ml:
        return ""
    quarters = Fraction(round(volume_ml / Fraction("236.5882365") * 4), 4)
    metric = f"{float(volume_ml) / 1000:.1f} l" if volume_ml >= 1000 else f"{round(volume_ml)} ml"
    return _("%(metric)s (%(cups)s US cups)") % {"metric": metric, "cups": format_number(quarters)}


def start_query(revision_pk: int, asked: Mapping[str, str]) -> str:
    """The query that starts a batch from this very plan: what was asked, and of which revision."""
    return urlencode({"revision": str(revision_pk), **asked})


# A plan: its yield, canner loads, day and cost.


@dataclass(frozen=True)
class YieldDetails:
    """What the pots give: a figure, its reach, and what it rests on ("" where it is not known)."""

    volume: str
    reach: str
    brix: str
    jars_a_pot: str
    basis: str
    filled_by: str
    estimates: tuple[str, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class LearnedYield:
    """How many jars to have ready, by the published figures and the logs; and what that rests on, a sentence each."""

    ready: str
    rests_on: tuple[str, ...]


@dataclass(frozen=True)
class PotJars:
    """One or several pots that are filled alike."""

    pots: str
    jars: str
    part_jar: str


@dataclass(frozen=True)
class LoadLine:
    """One canner load."""

    number: int
    pot: int
    canner: str
    jars: str
    process: str
    room: str


@dataclass(frozen=True)
class StepLine:
    """One step of the day; "" where it takes no burner, canner or cook."""

    begin: str
    end: str
    what: str
    pot: int
    burner: str
    canner: str
    cook: str


@dataclass(frozen=True)
class HandLine:
    """What hands do to one food, and how long that takes the cooks there are."""

    what: str  # "wash, peel and core 9.5 kg tomatoes"
    how_long: str  # "25 to 45 min"


@dataclass(frozen=True)
class HandWords:
    """The hand work of a plan; `sources` say where the minutes are from."""

    lines: tuple[HandLine, ...]
    cooks: int
    sources: tuple[str, ...]


@dataclass(frozen=True)
class CostDetails:
    """What is used costs, as far as prices are known; `unknown` is not in it. `total` is "" with no price at all."""

    total: str
    parts: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]
    jars: tuple[tuple[str, str], ...]


def in_words(reason: object) -> str:
    """What the engine says (a refusal, a caution, a text) in the reader's language; what was stored, as it was said."""
    return prose(str(reason["message"]) if isinstance(reason, Mapping) else words_of(reason, get_language()))


def yield_details(plan: Plan) -> YieldDetails | None:
    """None where neither the source nor the mass balance tells."""
    predicted = plan.predicted
    if predicted is None:
        return None
    bases = {
        MASS_BALANCE: _("By weight: what goes in, less what boils off."),
        PACKED: _("By its kind of food: what is left when it is trimmed, and what a jar of its kind takes."),
        COOKED: _("By its kind of food: what goes into the pot, and what is left of such a pot."),
    }
    return YieldDetails(
        volume=volume_text(predicted.best_ml),
        reach="" if predicted.low_ml == predicted.high_ml else _reach(predicted.low_ml, predicted.high_ml),
        brix=_span(predicted.brix, 0) if predicted.brix else "",
        jars_a_pot=_span(predicted.jars_a_pot, 1) if predicted.jars_a_pot else "",
        basis=bases.get(predicted.basis) or in_words(predicted.why_not or ""),
        filled_by=_filled_by(plan),
        estimates=predicted.estimates,
        assumptions=tuple(map(in_words, predicted.assumptions)),
    )


def learned_yield(
    tested: TestedRecipe, prior: Prior, logged: Logged, *, is_club: bool, planned_ml: Fraction, jar: str
) -> LearnedYield:
    """Jars of one size to have ready for what is planned from `planned_ml`."""
    found = learned(prior.share, logged)
    jars = float(planned_ml / JAR_ML[jar])
    ahead = found.next_batch.times(jars)
    rests_on = [
        _("The next such batch fills %(span)s × %(jar)s, in 19 cases of 20.")
        % {"span": _span(ahead, 1), "jar": JARS[jar]},
        _whose_logs(found, is_club),
    ]
    left = left_of_the_pot(tested, found.mean.times(prior.jars))
    if left is not None:
        text = _("Of a pot's volume %(best)d %% is left in the jars (%(low)d to %(high)d %%).")
        rests_on.append(text % {name: round(100 * share) for name, share in left._asdict().items()})
    rests_on.append(_("This says which jars to have ready, and changes no time, no acid and no canner load."))
    ready = _("%(count)d × %(jar)s") % {"count": ceil(ahead.high - 0.05), "jar": JARS[jar]}
    return LearnedYield(ready, tuple(rests_on))


def _whose_logs(found: Learned, is_club: bool) -> str:
    if not found.batches:
        text = _("It goes by the published figures: no log is counted here yet.")
    elif is_club:
        text = ngettext(
            "It goes by the published figures and %(n)d batch of the club.",
            "It goes by the published figures and %(n)d batches of the club.",
            found.batches,
        )
    else:
        text = ngettext(
            "It goes by the published figures and %(n)d batch of your own kitchens.",
            "It goes by the published figures and %(n)d batches of your own kitchens.",
            found.batches,
        )
    text %= {"n": found.batches}
    if not found.left_out:
        return text
    out = ngettext("%(n)d that lies far off is left out.", "%(n)d that lie far off are left out.", found.left_out)
    return f"{text} {out % {'n': found.left_out}}"


def pot_jars(plan: Plan) -> list[PotJars]:
    """The jars of each pot; pots in a row that are filled alike share a line."""
    found: list[PotJars] = []
    first = 0
    for number, mix in enumerate(plan.mixes):
        last = number + 1 == len(plan.mixes) or plan.mixes[number + 1] != mix
        if last:
            found.append(PotJars(_pots(first + 1, number + 1), jar_counts(mix.jars), _part_jar(mix)))
            first = number + 1
    return found


def jar_counts(jars: tuple[JarCount, ...]) -> str:
    """ "3 × pint (473 ml), 2 × half-pint (237 ml)"; "" for none."""
    return ", ".join(f"{jar.count} × {JARS[jar.size]}" for jar in jars)


def load_lines(plan: Plan) -> list[LoadLine]:
    return [
        LoadLine(
            number=load.number,
            pot=load.pot,
            canner="" if load.canner is None else str(load.canner),
            jars=jar_counts(load.jars),
            process=process_text(load.process),
            room=f"{round(load.filled * 100)} %",
        )
        for load in plan.loads
    ]


def process_text(process: Process) -> str:
    """ "25 minutes at 12 psi (83 kPa)"; the pressure as the gauge must show it."""
    minutes = ngettext("%(n)s minute", "%(n)s minutes", process.minutes) % {"n": process.minutes}
    psi = process.pressure_psi if process.setting_psi is None else process.setting_psi
    return (
        minutes
        if psi is None
        else _("%(minutes)s at %(pressure)s")
        % {
            "minutes": minutes,
            "pressure": pressure_text(psi),
        }
    )


def step_lines(plan: Plan) -> list[StepLine]:
    """Every step in order, timed as `minute_format` has it."""
    if plan.day is None:
        return []
    when = minute_format(plan)
    return [
        StepLine(
            begin=when(step.start),
            end=when(step.end),
            what=str(STEPS[step.kind][0]),
            pot=step.pot,
            burner=_number(step.burner),
            canner=_number(step.canner),
            cook=_number(step.cook),
        )
        for step in plan.day.steps
    ]


SPOONFULS_MIN = 3  # minutes of one cook; food that takes less goes into one line together


def hand_words(plan: Plan, units: str) -> HandWords | None:
    """A line for each food that hands are long at, and one for all the rest; None where nothing is to be done."""
    if not plan.hand_work:
        return None
    long = [work for work in plan.hand_work if work.high >= SPOONFULS_MIN]
    rest = [work for work in plan.hand_work if work.high < SPOONFULS_MIN]
    lines = [
        HandLine(
            _("%(tasks)s %(weight)s %(food)s")
            % {
                "tasks": get_text_list([str(HAND_TASKS[task]) for task in work.tasks], _("and")),
                "weight": _weight(work.kg, units),
                "food": work.item,
            },
            _minutes_between(*work.minutes(plan.cooks)),
        )
        for work in long
    ]
    if rest:
        low, high = (sum(ends) for ends in zip(*((work.low, work.high) for work in rest), strict=True))
        words = _minutes_between(ceil(low / plan.cooks), ceil(high / plan.cooks))
        lines.append(HandLine(get_text_list([work.item for work in rest], _("and")), words))
    sources = dict.fromkeys(source for work in plan.hand_work for source in work.sources)
    return HandWords(tuple(lines), plan.cooks, tuple(sources))


def _weight(kg: float, units: str) -> str:
    amount, unit = (kg * 2.20462, "lb") if units == "us" else (kg, "kg")
    return f"{amount:.0f} {unit}" if amount >= 10 else f"{amount:.1f} {unit}"


def _minutes_between(low: int, high: int) -> str:
    """ "40 to 70 min": from ten minutes on in fives, outward."""
    low, high = (low if low < 10 else low // 5 * 5), (high if high < 10 else -(-high // 5) * 5)
    if low == high:
        return _("%(n)s min") % {"n": high}
    return _("%(low)s to %(high)s min") % {"low": low, "high": high}


def minute_format(plan: Plan) -> Callable[[int], str]:
    """How a minute of the plan's day is said: as a time of the day with a finish, else as hours from the start."""
    begins = plan.begins
    if begins is None:
        return lambda minute: f"{minute // 60}:{minute % 60:02d}"
    return lambda minute: clock(begins + minute)


def day_summary(plan: Plan) -> str:
    """ "13:58 to 16:00, 2 h 2 min"; "" without a timeline."""
    if plan.day is None:
        return ""
    length = _("%(hours)s h %(minutes)s min") % {"hours": plan.day.minutes // 60, "minutes": plan.day.minutes % 60}
    if plan.begins is None or plan.finish is None:
        return length
    begin = clock(plan.begins) if plan.begins >= 0 else _("%(time)s the day before") % {"time": clock(plan.begins)}
    return _("%(begin)s to %(end)s, %(length)s") % {"begin": begin, "end": clock(plan.finish), "length": length}


def processes_by_size(plan: Plan) -> list[tuple[str, str]]:
    """Each jar size and its process, where the jars of a plan are not all processed alike."""
    found = {jar.size: load.process for load in plan.loads for jar in load.jars}
    if len(set(found.values())) < 2:
        return []
    return [(str(JARS[size]), process_text(process)) for size, process in found.items()]


def cost_details(cost: Cost) -> CostDetails:
    return CostDetails(
        total=money_text(cost.total_cents) if cost.parts else "",
        parts=tuple((item, money_text(cents)) for item, cents in cost.parts),
        unknown=cost.unknown,
        jars=tuple((str(JARS[jar.size]), _from_to(jar.low_cents, jar.high_cents)) for jar in cost.jars),
    )


def _from_to(low: int, high: int) -> str:
    if low == high:
        return money_text(low)
    return _("%(low)s or %(high)s") % {"low": money_text(low), "high": money_text(high)}


def _filled_by(plan: Plan) -> str:
    if plan.filled_basis == MASS_BALANCE:
        return _("Jars are planned from the low end of the weight, for no source prints a yield that was seen.")
    if plan.printed_load is not None and plan.printed_load.lines:
        return _("Jars are planned by the canner load: %(count)s × %(jar)s, as the source prints it.") % {
            "count": plan.printed_load.printed_count,
            "jar": JARS[plan.printed_load.printed_jar],
        }
    if plan.printed_load is not None:
        return _("Jars are planned by the canner load.")
    return _("Jars are planned from the low end of the yield that the source states.")


def _reach(low: Fraction, high: Fraction) -> str:
    return _("%(low)s to %(high)s") % {"low": volume_text(low), "high": volume_text(high)}


def _span(span: Span, places: int) -> str:
    best, low, high = (f"{figure:.{places}f}" for figure in (span.best, span.low, span.high))
    return _("%(best)s (%(low)s to %(high)s)") % {"best": best, "low": low, "high": high}


def _pots(first: int, last: int) -> str:
    if first == last:
        return _("Pot %(number)s") % {"number": first}
    return _("Pots %(first)s to %(last)s, each") % {"first": first, "last": last}


def _part_jar(mix: JarMix) -> str:
    part = mix.part_jar
    if part is None:
        return ""
    if part.size is None:
        return _("%(volume)s with no empty jar for it") % {"volume": volume_text(part.ml)}
    params = {"size": JARS[part.size], "volume": volume_text(part.ml)}
    return _("%(volume)s in a %(size)s jar for the refrigerator, not processed") % params


def _number(number: int | None) -> str:
    return "" if number is None else str(number)


# A plan as plain text for a terminal: the same figures as the page.


def plan_text(plan: Plan) -> str:
    return "\n".join(_paragraphs(plan))


def _paragraphs(plan: Plan) -> Iterator[str]:
    yield f"{plan.recipe.title} (revision {plan.revision})"
    yield f"Tested by: {source_text(plan.source)}"
    if plan.altitude is not None:
        yield f"Altitude: {altitude_words(plan.altitude)}"
    if plan.boiling_point_c is not None:
        yield f"Water boils at {temperature_text(plan.boiling_point_c)}"
    if plan.jelly_point_c is not None:
        yield f"Jelly point: {temperature_text(plan.jelly_point_c)}"
    for refusal in plan.refusals:
        yield f"\nREFUSED: {in_words(refusal)}\n  Rule {refusal.rule}; source: {refusal.source}"
    yield from _amounts(plan)
    yield from _process(plan)
    for number, step in enumerate(step_words(plan.recipe, plan_steps(plan), "us"), start=1):
        yield f"{number}. {step.text}"
    yield from _day(plan)
    for text in plan.look_up:
        yield f"? {in_words(text)}"
    for caution in plan.cautions:
        yield f"! {in_words(caution)} ({caution.source})"


def _amounts(plan: Plan) -> Iterator[str]:
    if plan.pots is None:
        return
    yield f"\nPots: {plan.pots}"
    for line in plan_lines(plan, "us"):
        each = f"; each pot {line.per_pot}" if plan.pots > 1 else ""
        beside = f" ({line.beside})" if line.beside else ""
        each = f"{each}; {line.per_jar}" if line.per_jar else each
        yield f"  {line.item}{', ' + line.prep if line.prep else ''}: {line.amount}{beside}{each}"
    yield from _jars(plan)


def _jars(plan: Plan) -> Iterator[str]:
    found = yield_details(plan)
    if found:
        reach = f", from {found.reach}" if found.reach else ""
        yield f"\nPredicted: {found.volume}{reach}"
        yield f"  {found.basis}"
    if found and found.brix:
        yield f"  {found.jars_a_pot} {plan.stated_yield.jar} jars a pot; degrees Brix {found.brix}"
    if plan.jars:
        left_over = volume_text(plan.leftover_ml)
        yield f"Fills: {', '.join(jar_texts(plan))}{'; left over: ' + left_over if left_over else ''}"
    for pot in pot_jars(plan):
        over = f"; over: {pot.part_jar}" if pot.part_jar else ""
        yield f"  {pot.pots}: {pot.jars or 'no full jar'}{over}"


def _process(plan: Plan) -> Iterator[str]:
    process = process_details(plan.process)
    if process is None:
        if cold := kept_cold_words(plan.recipe):
            yield f"\n{cold}"
        return
    pressure = f" at {process.pressure}, {process.gauge}" if process.pressure else ""
    yield f"\nProcess, {process.method}: {process.minutes}{pressure}"
    if process.correction:
        yield f"  {process.correction[0].upper()}{process.correction[1:]}."
    yield f"  {process.jar}, {process.pack}, headspace {process.headspace}, altitude band {process.band}"
    yield f"  Source: {process.source}"
    if low := low_temperature_words(plan.low_temperature):
        yield f"  {low}"
    if plan.sterilise_jars:
        yield f"  Boil the empty jars for {plan.sterilise_minutes} minutes first."
    elif plan.sterilise_jars is False:
        yield "  The empty jars need not be sterilised, only clean and hot."


def _day(plan: Plan) -> Iterator[str]:
    if plan.loads:
        yield f"\nCanner loads: {len(plan.loads)}"
    for load in load_lines(plan):
        canner = f", canner {load.canner}" if load.canner else ""
        yield f"  load {load.number}, pot {load.pot}{canner}: {load.jars}; {load.process}; {load.room} full"
    if (hands := hand_words(plan, "metric")) is not None:
        yield f"\nHand work, cooks: {hands.cooks}"
        yield from (f"  {line.what}: {line.how_long}" for line in hands.lines)
    if plan.day:
        yield f"\nThe day: {day_summary(plan)}"
    for step in step_lines(plan):
        named = (("burner", step.burner), ("canner", step.canner), ("cook", step.cook))
        where = "".join(f", {what} {number}" for what, number in named if number)
        yield f"  {step.begin:>5} to {step.end:>5}  {step.what}, pot {step.pot}{where}"


# What withdrawing a revision calls back. The rooms of batches and jars stand above this one: their tables are named by
# words here, and not imported.


@dataclass(frozen=True)
class Reach:
    """How many jars that are there still come from a revision, and in how many households they are."""

    jars: int
    households: int

    @property
    def words(self) -> str:
        """ "12 jars in 3 households"."""
        jars = ngettext("%(n)s jar", "%(n)s jars", self.jars) % {"n": self.jars}
        text = ngettext("%(jars)s in %(n)s household", "%(jars)s in %(n)s households", self.households)
        return text % {"jars": jars, "n": self.households}


def reach_of(revision: Revision) -> Reach:
    """Two queries. A household is a kitchen, a member whom jars were handed or moved to, or the club's store."""
    jars = apps.get_model("batches", "Jar")._default_manager.filter(batch__revision=revision)
    kept = jars.exclude(disposal__in=["discard", "gone"]).order_by()
    count, households = 0, set[tuple[str, int | None]]()
    for holder, kitchen, disposal, here in kept.values_list("held_by", "place", "disposal").annotate(Count("pk")):
        count += here
        if disposal != "returned":  # those are counted where they were brought to
            households.add(("kitchen", kitchen) if holder is None else ("member", holder))
    full = apps.get_model("jars", "Balance")._default_manager.filter(
        batch__revision=revision, is_inside=True, state="full", count__gt=0
    )
    for kind, kitchen, person in full.order_by().values_list("place__kind", "place__kitchen", "place__person"):
        households.add((kind, kitchen or person))
    return Reach(count, len(households))


# The acid ledger of a recipe in words, for its author and its reviewer.

CLASSES: dict[FoodClass, str] = {
    FoodClass.FRUIT: noop("fruit, pH 4.6 or below"),
    FoodClass.NEAR: noop("near pH 4.6, wants acid by weight"),
    FoodClass.LOW_ACID: noop("low-acid food"),
    FoodClass.PRESSURE_ONLY: noop("only under pressure"),
    FoodClass.NEVER: noop("never canned at home"),
    FoodClass.OIL: noop("oil"),
    FoodClass.BUTTER: noop("butter"),
    FoodClass.STARCH: noop("starch or flour"),
    FoodClass.MODIFIED_STARCH: noop("modified starch"),
    FoodClass.UNTESTED: noop("only as a tested recipe has it"),
    FoodClass.VINEGAR: noop("vinegar"),
    FoodClass.LEMON_JUICE: noop("lemon juice"),
    FoodClass.LIME_JUICE: noop("lime juice"),
    FoodClass.EITHER_JUICE: noop("lemon or lime juice"),
    FoodClass.CITRIC_ACID: noop("citric acid"),
    FoodClass.NO_TESTED_ACID: noop("no tested acid"),
    FoodClass.SPICE: noop("spice or seasoning"),
    FoodClass.NEUTRAL: noop("neither sour nor low-acid"),
    FoodClass.WATER: noop("water"),
    FoodClass.DESCRIBES: noop("no food"),
}


@dataclass(frozen=True)
class AcidLine:
    """One ingredient: what the list takes it for, its printed pH, and its acid as 5 percent vinegar ("" where none)."""

    item: str
    amount: str
    kinds: tuple[str, ...]
    ph: str
    acid: str
    unknown: tuple[str, ...]


@dataclass(frozen=True)
class AcidWords:
    """`asked` is "" where no acid is asked for, or how much cannot be worked out."""

    lines: tuple[AcidLine, ...]
    needs_acid: bool
    given: str
    asked: str
    is_short: bool
    rule: str
    statement: str
    tested: str


def acid_lines(tested: TestedRecipe, sheet: AcidSheet | None) -> AcidWords | None:
    if sheet is None:
        return None
    lines = []
    for row, line in zip(sheet.lines, tested.ingredients, strict=True):
        printed = [food for food in row.foods if food.ph_high is not None]
        lines.append(
            AcidLine(
                item=line.item,
                amount=f"{format_number(line.amount)} {line.unit}",
                kinds=tuple(dict.fromkeys(_(CLASSES[food.kind]) for food in row.foods)),
                ph=", ".join(dict.fromkeys(_ph_range(food) for food in printed)),
                acid="" if row.vinegar_ml is None else acid_text(row.vinegar_ml, up=False),
                unknown=row.unknown,
            )
        )
    asked = "" if sheet.required_ml is None else acid_text(sheet.required_ml, up=True)
    return AcidWords(
        lines=tuple(lines),
        needs_acid=sheet.needs_acid,
        given=acid_text(sheet.given_ml, up=False),
        asked=asked,
        is_short=sheet.is_short,
        rule=sheet.rule,
        statement=sheet.statement,
        tested=sheet.tested,
    )


def _ph_range(food: KnownFood) -> str:
    assert food.ph_high is not None  # those without a figure were left out
    high = format_decimal(food.ph_high, places=2)
    if food.ph_low is None or food.ph_low == food.ph_high:
        return high
    return f"{format_decimal(food.ph_low, places=2)}–{high}"


def acid_text(ml: Fraction, *, up: bool) -> str:
    """In tablespoons and millilitres. What is asked for is rounded `up`, what is given down: never the better way."""
    hundredths = ml / TBSP_ML * 100
    whole = -(-hundredths // 1) if up else hundredths // 1
    millilitres = -(-ml // 1) if up else ml // 1
    tablespoons = format_decimal(Fraction(whole) / 100, places=2)
    return _("%(tbsp)s tbsp (%(ml)s ml)") % {"tbsp": tablespoons, "ml": millilitres}
