"""What to buy for a plan: whole packets and bottles, sugar and salt as they are sold, lids for every full jar.

`PACKAGES` says how things are sold: common practice, no source. Nothing here is a recipe's amount; a cook measures by
the plan, and buys at least that much.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor
from typing import Protocol

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from recipes.engine import Line, Plan
from recipes.engine.mass_balance import weigh_line
from recipes.engine.quantities import JAR_ML, UNITS, Amount, convert, format_amount
from recipes.engine.terms import JarCount, Refusal, Role

WEIGHED = frozenset({Role.FRUIT, Role.LOW_ACID, Role.SUGAR})
WATER = frozenset({"water", "boiling water", "cold water", "ice"})
LIDS = "lids"
BANDS = "bands"


@dataclass(frozen=True)
class Package:
    """One way in which something is sold."""

    value: Fraction
    unit: str
    words: str | Promise  # "bag"


@dataclass(frozen=True)
class Purchase:
    """One thing to buy. `item` is the name that a price is noted under.

    `grams`, `ml` and `pieces` (in `unit`) are what the plan takes, as far as each is known. `bought` says in whole
    packages what to bring home, "" where it is sold loose.
    """

    item: str
    need: str
    bought: str = ""
    note: str = ""
    optional: bool = False
    grams: Fraction | None = None
    ml: Fraction | None = None
    pieces: Fraction | None = None
    unit: str = ""
    is_poured: bool = False  # bought and told by volume


def _package(value: str, unit: str, words: str | Promise) -> Package:
    return Package(Fraction(value), unit, words)


_BAG, _BOTTLE, _BOX = gettext_lazy("bag"), gettext_lazy("bottle"), gettext_lazy("box")

# How things are sold, small to large, for a reader of metric and of US units. Common practice, no source.
PACKAGES: dict[str, dict[str, tuple[Package, ...]]] = {
    "sugar": {
        "metric": (_package("1", "kg", _BAG), _package("2", "kg", _BAG), _package("4", "kg", _BAG)),
        "us": (_package("4", "lb", _BAG), _package("10", "lb", _BAG)),
    },
    "brown sugar": {"metric": (_package("1", "kg", _BAG),), "us": (_package("2", "lb", _BAG),)},
    "vinegar": {
        "metric": (_package("1", "l", _BOTTLE), _package("4", "l", _BOTTLE)),
        "us": (_package("1", "quart", _BOTTLE), _package("1", "gallon", _BOTTLE)),
    },
    "bottled juice": {
        "metric": (_package("440", "ml", _BOTTLE), _package("945", "ml", _BOTTLE)),
        "us": (_package("15", "fl-oz", _BOTTLE), _package("32", "fl-oz", _BOTTLE)),
    },
    "salt": {"metric": (_package("1", "kg", _BOX),), "us": (_package("4", "lb", _BOX),)},
    "liquid pectin": dict.fromkeys(("metric", "us"), (_package("2", "pouch", _BOX),)),
    "powdered pectin": dict.fromkeys(("metric", "us"), (_package("1", "box", ""),)),
    LIDS: dict.fromkeys(("metric", "us"), (_package("12", "each", _BOX),)),
    BANDS: dict.fromkeys(("metric", "us"), (_package("12", "each", _BOX),)),
}


def shopping_list(plan: Plan, units: str) -> list[Purchase]:
    """Everything that the plan takes but water, in the recipe's order, then lids and bands; `units`: metric or us."""
    return shopping_together([(plan, 1)], units)


def shopping_list_of(plans: Sequence[Plan], units: str, have: Mapping[str, Amount] | None = None) -> list[Purchase]:
    """One list for several plans, each once."""
    return shopping_together([(plan, 1) for plan in plans], units, have)


def shopping_together(
    plans: Sequence[tuple[Plan, int]], units: str, have: Mapping[str, Amount] | None = None
) -> list[Purchase]:
    """One list for several plans, each so many times over, packages counted on the sum.

    Less what there is already: `have` by the name that a thing is bought by. What is at hand in a measure that the
    plans do not tell is not taken off: then all of it is on the list.
    """
    wanted = needed_together(plans)
    kinds = {_item(line): _sold_as(line) for plan, _n in plans for line in plan.lines}
    kinds |= {LIDS: LIDS, BANDS: BANDS}
    left = (_less(purchase, (have or {}).get(item)) for item, purchase in wanted.items())
    return [_worded(purchase, kinds[purchase.item], units) for purchase in left if purchase is not None]


def needed_of(plans: Sequence[Plan]) -> dict[str, Purchase]:
    """What the plans take, each once."""
    return needed_together([(plan, 1) for plan in plans])


def needed_together(plans: Sequence[tuple[Plan, int]]) -> dict[str, Purchase]:
    """What the plans take in all, by name, in the order of the list; nothing is worded yet."""
    wanted: dict[str, Purchase] = {}
    for plan, times in plans:
        for line in plan.lines:
            if line.ingredient.item.lower() in WATER:
                continue
            found = _times(_wanted(plan, line), times)
            same = wanted.get(found.item)
            wanted[found.item] = found if same is None else _together(same, found)
    if len({plan.recipe.slug for plan, _n in plans}) > 1:  # a note is of one recipe's pot
        wanted = {item: replace(purchase, note="") for item, purchase in wanted.items()}
    for purchase in _for_jars(sum(times * jar.count for plan, times in plans for jar in plan.jars)):
        wanted[purchase.item] = purchase
    return wanted


def _less(purchase: Purchase, have: Amount | None) -> Purchase | None:
    """What is still to be bought; None where there is enough. Each measure shrinks by the same share."""
    need = amount_in(purchase, have.unit) if have else None
    if have is None or not need:
        return purchase
    share = 1 - have.value * UNITS[have.unit].size / need
    if share <= 0:
        return None
    parts = {name: value and value * share for name in ("grams", "ml", "pieces") for value in [getattr(purchase, name)]}
    return replace(purchase, **parts)


def _times(purchase: Purchase, times: int) -> Purchase:
    """So many times as much of it."""
    if times == 1:
        return purchase
    grams, ml, pieces = (
        None if amount is None else amount * times for amount in (purchase.grams, purchase.ml, purchase.pieces)
    )
    return replace(purchase, grams=grams, ml=ml, pieces=pieces)


def fruit_grams(plan: Plan) -> int:
    """Fruit and vegetables that the plan takes, in whole grams; 0 where a weight is not known."""
    produce = [line for line in plan.lines if line.ingredient.role in (Role.FRUIT, Role.LOW_ACID)]
    weights = [_grams(plan, line, line.amount_high or line.amount) for line in produce]
    return 0 if None in weights else ceil(sum(filter(None, weights), Fraction(0)))


def _wanted(plan: Plan, line: Line) -> Purchase:
    """What one line takes in all, up to the high end of a range; nothing worded yet."""
    printed = line.ingredient
    amount = line.amount_high or line.amount
    kind = UNITS[printed.unit].kind
    note = (
        "" if not printed.as_bought else _("as bought, for one whole pot: %(amount)s") % {"amount": printed.as_bought}
    )
    return Purchase(
        item=_item(line),
        need="",
        note=note,
        optional=printed.optional,
        grams=_grams(plan, line, amount),
        ml=convert(amount, printed.unit, "ml") if kind == "volume" else None,
        pieces=amount if kind == "count" else None,
        unit=printed.unit if kind == "count" else "",
        is_poured=printed.role not in WEIGHED or "juice" in printed.item,
    )


def _grams(plan: Plan, line: Line, amount: Fraction) -> Fraction | None:
    """The recipe's own weight; for produce and sugar else the one that the mass balance takes."""
    printed = line.ingredient
    if line.grams is not None:
        return line.grams * amount / line.amount
    if printed.role not in WEIGHED:
        return None
    weighed = weigh_line(replace(printed, amount_high=None, optional=False), pectin=plan.recipe.pectin)
    if isinstance(weighed, Refusal):
        return None
    return Fraction(round(weighed.grams.best)) * amount / printed.amount


def _item(line: Line) -> str:
    """The name to buy it by."""
    printed = line.ingredient
    name = printed.item.lower()
    if printed.role is Role.PECTIN:
        return "liquid pectin" if printed.unit == "pouch" else "powdered pectin"
    if printed.role is Role.SUGAR and "brown" in printed.prep and "brown" not in name:
        return f"brown {name}"
    return name


def _sold_as(line: Line) -> str:
    """The key of `PACKAGES`; "" for what is sold loose, or in ways of its own."""
    item, role = _item(line), line.ingredient.role
    if role is Role.ACID:
        return "vinegar" if "vinegar" in item else "bottled juice" if "juice" in item else ""
    if role is Role.SALT:
        return "salt" if "salt" in item else ""
    return item if item in PACKAGES and role in (Role.SUGAR, Role.PECTIN) else ""


def _together(first: Purchase, second: Purchase) -> Purchase:
    """Two lines of the same thing; a measure that one of them lacks is not known of both."""
    if first.unit != second.unit:
        return replace(first, pieces=None, unit="", grams=_sum(first.grams, second.grams), ml=_sum(first.ml, second.ml))
    return replace(
        first,
        optional=first.optional and second.optional,
        grams=_sum(first.grams, second.grams),
        ml=_sum(first.ml, second.ml),
        pieces=_sum(first.pieces, second.pieces),
    )


def _sum(first: Fraction | None, second: Fraction | None) -> Fraction | None:
    return None if first is None or second is None else first + second


def _worded(purchase: Purchase, kind: str, units: str) -> Purchase:
    packages = PACKAGES[kind][units] if kind else ()
    return replace(purchase, need=_need(purchase, units), bought=packages_text(purchase, packages))


def _need(purchase: Purchase, units: str) -> str:
    if purchase.pieces is not None:
        return format_amount(Fraction(ceil(purchase.pieces)), purchase.unit)
    if purchase.ml is not None and (purchase.is_poured or purchase.grams is None):
        return _volume(purchase.ml, units)
    return _mass(purchase.grams, units) if purchase.grams is not None else _("as the recipe says")


def _mass(grams: Fraction, units: str) -> str:
    """Rounded up, to 5 g as plans say it, or a tenth of a pound; less than 50 g to a gram, than a pound to an ounce."""
    if units == "us":
        pounds = convert(grams, "g", "lb")
        return f"{ceil(pounds * 10) / 10:g} lb" if pounds >= 1 else f"{ceil(pounds * 16)} oz"
    step = 1 if grams < 50 else 5
    rounded = Fraction(ceil(grams / step) * step)
    return format_amount(rounded / 1000, "kg") if rounded >= 1000 else format_amount(rounded, "g")


def _volume(ml: Fraction, units: str) -> str:
    """Rounded up, to 10 ml, or to a quarter of a cup or teaspoon."""
    if units == "us":
        unit = "cup" if ml >= 59 else "tsp"
        return format_amount(Fraction(ceil(convert(ml, "ml", unit) * 4), 4), unit)
    return f"{ceil(ml / 10) / 100:g} l" if ml >= 1000 else f"{ceil(ml)} ml"


def packages_text(purchase: Purchase, packages: Sequence[Package]) -> str:
    """ "1 × 2 kg bag, 1 × 1 kg bag": the packages with least to spare, then the fewest; "" where there are none."""
    need = amount_in(purchase, packages[0].unit) if packages else None
    if need is None:
        return ""
    counts = fewest_packages(need, [_size(package) for package in packages])
    counted = zip(counts, packages, strict=True)
    return ", ".join(f"{count} × {_package_text(package)}" for count, package in reversed(list(counted)) if count)


def amount_in(purchase: Purchase, unit: str) -> Fraction | None:
    """What is needed in g, ml or pieces, whichever a package in `unit` holds; None where that is not known."""
    kind = UNITS[unit].kind
    if kind == "mass":
        return purchase.grams
    if kind == "volume":
        return purchase.ml
    return purchase.pieces if purchase.unit == unit else None


def fewest_packages(need: Fraction, sizes: Sequence[Fraction]) -> tuple[int, ...]:
    """How many of each size, small to large, hold `need` with least to spare; of equals the fewest packages."""
    if len(sizes) == 1:
        return (ceil(need / sizes[0]),)
    most = ceil(need / sizes[-1])
    ways = []
    for large in range(most + 1):
        rest = max(need - large * sizes[-1], Fraction(0))
        ways.append((*fewest_packages(rest, sizes[:-1]), large))
    return min(ways, key=lambda way: (sum(n * size for n, size in zip(way, sizes, strict=True)), sum(way)))


def _size(package: Package) -> Fraction:
    return package.value * UNITS[package.unit].size


def _package_text(package: Package) -> str:
    if package.value > 1 and UNITS[package.unit].kind == "count":
        return _("%(box)s of %(count)s") % {"box": package.words, "count": format_amount(package.value, package.unit)}
    return f"{format_amount(package.value, package.unit)} {package.words}".strip()


def _for_jars(full: int) -> Iterator[Purchase]:
    """A new lid for every full jar; bands are used again."""
    if not full:
        return
    for item, note in (
        (LIDS, pgettext("shopping", "new for every jar; of the jars' width")),
        (BANDS, pgettext("shopping", "used ones serve when they are sound")),
    ):
        yield Purchase(item, "", note=note, pieces=Fraction(full), unit="each", optional=item == BANDS)


# What a plan costs, as far as prices are known: integer cents, split so that the parts are always the whole.
#
# A thing counts for the part of its package that is used. What has no price, or one that cannot be compared with what
# is needed (a price by the pound for something counted), is listed as unknown and never guessed.


class Priced(Protocol):
    """A price of one package."""

    @property
    def amount(self) -> Amount: ...

    @property
    def cents(self) -> int: ...


@dataclass(frozen=True)
class JarCost:
    """What a full jar of one size costs; of equal jars some may cost one cent more."""

    size: str
    count: int
    low_cents: int
    high_cents: int


@dataclass(frozen=True)
class Cost:
    """`parts` are (item, cents) and sum to `total_cents`; `unknown` names what is not in it."""

    total_cents: int
    parts: tuple[tuple[str, int], ...]
    unknown: tuple[str, ...]
    jars: tuple[JarCost, ...]


def cost_of(purchases: Sequence[Purchase], prices: Mapping[str, Priced], jars: Sequence[JarCount]) -> Cost:
    """The cost of what is used. Bands are used again and cost nothing."""
    known: list[tuple[str, Fraction]] = []
    unknown: list[str] = []
    for purchase in purchases:
        if purchase.item == BANDS:
            continue
        share = _share(purchase, prices.get(purchase.item))
        if share is None:
            unknown.append(purchase.item)
        else:
            known.append((purchase.item, share))
    exact = sum((share for _, share in known), Fraction(0))
    total = floor(exact + Fraction(1, 2))
    parts = split_cents(total, [share for _, share in known])
    return Cost(
        total_cents=total,
        parts=tuple((item, cents) for (item, _), cents in zip(known, parts, strict=True)),
        unknown=tuple(unknown),
        jars=_by_jar(total, jars) if known else (),
    )


def split_cents(total: int, shares: Sequence[Fraction]) -> list[int]:
    """The whole in proportion to the shares by largest remainder; of equal remainders the first. It always sums."""
    whole = sum(shares, Fraction(0))
    if not whole:
        return [total, *([0] * (len(shares) - 1))] if shares else []
    exact = [total * share / whole for share in shares]
    cents = [floor(part) for part in exact]
    left = total - sum(cents)
    for index in sorted(range(len(shares)), key=lambda at: (cents[at] - exact[at], at))[:left]:
        cents[index] += 1
    return cents


def _share(purchase: Purchase, price: Priced | None) -> Fraction | None:
    """The exact cents of what is used of it."""
    if price is None:
        return None
    need = amount_in(purchase, price.amount.unit)
    return None if need is None else price.cents * need / (price.amount.value * UNITS[price.amount.unit].size)


def _by_jar(total: int, jars: Sequence[JarCount]) -> tuple[JarCost, ...]:
    """By volume, over the full jars."""
    each = [jar.size for jar in jars for _ in range(jar.count)]
    cents = split_cents(total, [JAR_ML[size] for size in each])
    costs = []
    for jar in jars:
        paid = [part for size, part in zip(each, cents, strict=True) if size == jar.size]
        costs.append(JarCost(jar.size, jar.count, min(paid), max(paid)))
    return tuple(costs)
