"""Planning by the canner load, as the source prints it: so many jars, so much of the load.

Where a recipe prints what 7 quarts or 9 pints take, its jars are packed one by one; there is no pot to scale. A food
that has a process table and no recipe is planned the same way.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from recipes.engine.alternatives import same_item
from recipes.engine.jars import SEVEN_QUART, Capacity, JarMix, PartJar
from recipes.engine.messages import Text
from recipes.engine.quantities import JAR_ML, UNITS, Amount, measure_text, round_for_kitchen
from recipes.engine.scaling import MOST_POTS, EachJar, Line, Pots, fruit_lines, within_reason
from recipes.engine.terms import (
    Ingredient,
    JarCount,
    JarFact,
    LoadLine,
    Pack,
    Refusal,
    Role,
    TestedRecipe,
    Use,
)

CANNER_LOAD = "canner-load"  # what jars are planned from, beside the stated yield and the mass balance


class JarLoad(NamedTuple):
    """What is printed for a canner load, for jars of one size. `printed_jar` may be the next larger one."""

    jar: str
    most: int  # jars that go in at once
    printed_jar: str
    printed_count: int
    lines: tuple[LoadLine, ...]  # none where a food is planned from its process table and no load was read

    def each(self, line: LoadLine) -> Fraction:
        """What one jar takes, in the line's unit."""
        return line.amount / line.count * JAR_ML[self.jar] / JAR_ML[line.jar]


def load_for(recipe: TestedRecipe, *, jar: str, pack: Pack | None, canner: Capacity | None) -> JarLoad | None:
    """The load of this jar, or of the next larger one that is printed; None where the recipe goes by the pot.

    `canner` None: no canner was named, and the load is as large as the source prints it.
    """
    if jar not in JAR_ML:
        return None
    seen = [line for line in recipe.loads if line.seen.is_seen and line.pack in (None, pack)]
    sizes = sorted({line.jar for line in seen if JAR_ML[line.jar] >= JAR_ML[jar]}, key=lambda size: JAR_ML[size])
    if not sizes and not recipe.is_by_jar:
        return None
    lines = _of_size(seen, sizes[0], pack) if sizes else ()
    count = lines[0].count if lines and sizes[0] == jar else 0
    holds = canner.holds(jar) if canner else count or SEVEN_QUART.holds(jar)
    most = holds or count or 1  # a jar that does not go in is counted out, and refused where it is loaded
    return JarLoad(jar, most, sizes[0] if sizes else jar, lines[0].count if lines else most, lines)


def _of_size(lines: Sequence[LoadLine], jar: str, pack: Pack | None) -> tuple[LoadLine, ...]:
    """The lines of a jar: for each item that of the pack itself, before the one for both."""
    found: dict[str, LoadLine] = {}
    for line in lines:
        if line.jar == jar and (same_item(line.item) not in found or line.pack is pack):
            found[same_item(line.item)] = line
    return tuple(found.values())


def pots_by_load(
    recipe: TestedRecipe, load: JarLoad, *, pots: int | None, jars: int | None, fruit: Amount | None
) -> Pots | Refusal:
    """Full loads, and what is left in a last one. Just one of the three is given, a whole number from 1 on."""
    spare = None
    if fruit is not None:
        need = _produce_each(recipe, load, fruit.unit)
        if need is None:
            return Refusal("fruit-not-comparable", "FRUIT-PREPARED", {"unit": fruit.unit, "fruit": _printed(load)})
        jars = int(fruit.value / need)
        if not jars:
            return Refusal("fruit-too-little", "POT-LIMITS", {"least": Amount(need, fruit.unit)})
        left = fruit.value - jars * need
        spare = Amount(left, fruit.unit) if left else None
    elif pots is not None:
        jars = pots * load.most
    assert jars is not None  # noqa: S101 - one of the three is given
    full, rest = divmod(jars, load.most)
    if full + bool(rest) > MOST_POTS:
        return within_reason(Pots(full + bool(rest)))
    fills = (load.most,) * full + ((rest,) if rest else ())
    share = _share(recipe, load)
    return Pots(len(fills), share * fills[0], spare, fills=fills, whole=share * jars)


def _share(recipe: TestedRecipe, load: JarLoad) -> Fraction:
    """What one jar is of the recipe's own amounts; of a process table, of its one jar."""
    if recipe.is_by_jar:
        return JAR_ML[load.jar] / JAR_ML[recipe.stated_yield.jar]
    for stated in (*(each for each in recipe.other_yields if each.jar == load.jar), recipe.stated_yield):
        if stated.seen.is_seen:
            return JAR_ML[load.jar] / (stated.low * JAR_ML[stated.jar])
    return max(_produce_shares(recipe, load), default=Fraction(1, load.most))


def _produce_shares(recipe: TestedRecipe, load: JarLoad) -> list[Fraction]:
    """For each line of the load, what one jar takes of the recipe's own amount."""
    shares = []
    for line in load.lines:
        for printed in recipe.ingredients:
            if same_item(printed.item) == same_item(line.item) and printed.use is Use.JAR:
                own, other = UNITS[printed.unit], UNITS[line.unit]
                if own.kind == other.kind and (own.kind != "count" or own is other):
                    shares.append(load.each(line) * other.size / (printed.amount * own.size))
    return shares


def _produce_each(recipe: TestedRecipe, load: JarLoad, unit: str) -> Fraction | None:
    """The produce of one jar in `unit`; None where the load is not measured that way."""
    if unit not in UNITS:
        return None
    named = {same_item(line.item) for line in fruit_lines(recipe)}
    produce = [line for line in load.lines if not named or same_item(line.item) in named]
    other = UNITS[unit]
    total = Fraction(0)
    for line in produce:
        own = UNITS[line.unit]
        if own.kind != other.kind or (own.kind == "count" and own is not other):
            return None
        total += load.each(line) * own.size / other.size
    return total or None


def _printed(load: JarLoad) -> tuple[Text, ...]:
    measures = tuple(
        Text("part.measure", {"amount": Amount(line.amount, line.unit), "item": line.item}) for line in load.lines
    )
    return measures or (Text("part.no-fruit"),)


def lines_by_load(recipe: TestedRecipe, load: JarLoad, pots: Pots) -> tuple[Line, ...]:
    """Every ingredient for these jars: as the load prints it, and what it does not print by what the jars hold.

    An acid goes by the load's food where that asks for more than the volume does.
    """
    jars = sum(pots.fills)
    by_item = {same_item(line.item): line for line in load.lines}
    share = pots.whole / jars if pots.whole is not None else Fraction(1)
    most = max([share, *_produce_shares(recipe, load)])
    found = []
    for printed in recipe.ingredients:
        line = by_item.pop(same_item(printed.item), None) if printed.use is Use.JAR else None
        if line is not None:
            found.append(_line(_loaded(printed, line), load.each(line), pots))
        else:
            each = most if printed.role is Role.ACID else share
            found.append(_line(printed, printed.amount * each, pots))
    for line in by_item.values():  # of a process table: the food itself
        food = Ingredient(line.item, "", Role.FRUIT, line.amount, line.unit)
        found.append(_line(food, load.each(line), pots))
    return tuple(found)


def _loaded(printed: Ingredient, line: LoadLine) -> Ingredient:
    """The ingredient as the load measures it."""
    if printed.unit == line.unit:
        return printed
    return Ingredient(printed.item, printed.prep, printed.role, line.amount, line.unit, optional=printed.optional)


def _line(printed: Ingredient, each: Fraction, pots: Pots) -> Line:
    """One ingredient, `each` for one jar; rounded as a cook measures it for the first load and in all."""
    first = round_for_kitchen(each * pots.fills[0], printed.unit, printed.role)
    total = round_for_kitchen(each * sum(pots.fills), printed.unit, printed.role)
    high = high_of_pot = None
    if printed.amount_high is not None:
        share = printed.amount_high / printed.amount
        high = round_for_kitchen(each * share * sum(pots.fills), printed.unit, printed.role).value
        high_of_pot = round_for_kitchen(each * share * pots.fills[0], printed.unit, printed.role).value
    return Line(
        ingredient=printed,
        amount=total.value,
        amount_high=high,
        amount_per_pot=first.value,
        text=_range_text(total.text, high, printed.unit),
        text_per_pot=_range_text(first.text, high_of_pot, printed.unit),
        grams=grams_of(printed, total.value),
        rounding_error_pct=total.error_pct,
    )


def _range_text(low: str, high: Fraction | None, unit: str) -> str:
    return f"{low} to {measure_text(high, unit)}" if high else low


def grams_of(printed: Ingredient, total: Fraction) -> Fraction | None:
    unit = UNITS[printed.unit]
    if unit.kind == "mass":
        return total * unit.size
    return None if printed.grams is None else printed.grams * total / printed.amount


def mixes_by_load(load: JarLoad, pots: Pots, empties: Mapping[str, int] | None) -> tuple[JarMix, ...]:
    """The jars of each load; what finds no empty jar at hand stays over."""
    left = None if empties is None else empties.get(load.jar, 0)
    found = []
    for wanted in pots.fills:
        count = wanted if left is None else min(wanted, left)
        left = None if left is None else left - count
        over = (wanted - count) * JAR_ML[load.jar]
        jars = (JarCount(load.jar, count),) if count else ()
        found.append(JarMix(jars, 1 if count else 0, over, PartJar(None, over) if over else None))
    return tuple(found)


# What goes into each jar, once it is known which jars there are.


def with_jar_facts(
    lines: Sequence[Line], facts: Sequence[JarFact], mixes: Sequence[JarMix], pack: Pack | None
) -> tuple[Line, ...]:
    """The lines with the facts for each jar in place of those of the same item; what has no such line is added."""
    counts: dict[str, int] = {}
    for mix in mixes:
        for size, count in mix.counts.items():
            counts[size] = counts.get(size, 0) + count
    if not counts:
        return tuple(lines)
    found = list(lines)
    for item in dict.fromkeys(same_item(fact.item) for fact in facts):
        of_item = [fact for fact in facts if same_item(fact.item) == item and fact.seen.is_seen]
        of_item = [fact for fact in of_item if fact.pack in (None, pack)]
        if not of_item:
            continue
        each = {size: _for_size(of_item, size, pack) for size in counts}
        at = next((i for i, line in enumerate(found) if _is_in_jars(line, item, of_item[0].role)), None)
        line = _fact_line(found[at].ingredient if at is not None else None, each, counts, mixes[0].counts)
        if line is None:
            continue
        if at is None:
            found.append(line)
        else:
            found[at] = line
    return tuple(found)


def _is_in_jars(line: Line, item: str, role: Role) -> bool:
    printed = line.ingredient
    return same_item(printed.item) == item and printed.role is role and printed.use is Use.JAR


def _for_size(facts: Sequence[JarFact], size: str, pack: Pack | None) -> tuple[JarFact, Fraction, Fraction | None]:
    """The fact for a size: its own, else that of the next larger jar, else of the largest, as its share by volume."""
    ordered = sorted(facts, key=lambda fact: (JAR_ML[fact.jar], fact.pack is not pack))
    fact = next((each for each in ordered if JAR_ML[each.jar] >= JAR_ML[size]), None)
    if fact is None:
        largest = ordered[-1].jar
        fact = next(each for each in ordered if each.jar == largest)
    share = JAR_ML[size] / JAR_ML[fact.jar]
    return fact, fact.amount * share, None if fact.amount_high is None else fact.amount_high * share


def _fact_line(
    printed: Ingredient | None,
    each: Mapping[str, tuple[JarFact, Fraction, Fraction | None]],
    counts: Mapping[str, int],
    first: Mapping[str, int],
) -> Line | None:
    """One line out of the facts; None where the sizes are measured in different units."""
    facts = [fact for fact, _amount, _high in each.values()]
    fact = facts[0]
    if len({one.unit for one in facts}) > 1:
        return None
    total = sum((each[size][1] * count for size, count in counts.items()), Fraction(0))
    of_first = sum((each[size][1] * count for size, count in first.items()), Fraction(0))
    high = None
    if all(amount is not None for _fact, _amount, amount in each.values()):
        high = sum(((each[size][2] or Fraction(0)) * count for size, count in counts.items()), Fraction(0))
    base = printed if printed is not None and printed.unit == fact.unit else None
    optional = fact.optional if printed is None else printed.optional
    ingredient = base or Ingredient(fact.item, fact.prep, fact.role, total, fact.unit, optional=optional)
    in_all, of_pot = (_measured(amount, fact) for amount in (total, of_first))
    return Line(
        ingredient=ingredient,
        amount=in_all,
        amount_high=high,
        amount_per_pot=of_pot,
        text=_range_text(measure_text(in_all, fact.unit), high, fact.unit),
        text_per_pot=measure_text(of_pot, fact.unit),
        grams=grams_of(ingredient, in_all),
        rounding_error_pct=(in_all - total) / total * 100 if total else Fraction(0),
        each=() if fact.is_mixed else tuple(_each_jars(each)),
    )


def _measured(amount: Fraction, fact: JarFact) -> Fraction:
    """What is measured into each jar adds up exactly; what is mixed first is rounded as a cook measures it."""
    if not fact.is_mixed or not amount:
        return amount
    return round_for_kitchen(amount, fact.unit, fact.role).value


def _each_jars(each: Mapping[str, tuple[JarFact, Fraction, Fraction | None]]) -> Iterator[EachJar]:
    for size, (fact, amount, high) in each.items():
        exact = amount if size == fact.jar else round_for_kitchen(amount, fact.unit, fact.role).value
        text = _range_text(measure_text(exact, fact.unit), high, fact.unit)
        yield EachJar(size, exact, high, fact.unit, text)
