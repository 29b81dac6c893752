"""What a plan needs before it can begin, beside what its kitchen's books say is there: jars, lids, a canner, acid."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Case, IntegerField, Q, Sum, Value, When
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.members.models import Kitchen, User
from inventory.batches.choices import LotKind
from inventory.batches.ingredients import lot_kind, lot_words
from inventory.batches.rules import GAUGE_OF
from inventory.equipment.choices import Kind
from inventory.equipment.models import Loan, Thing
from inventory.jars.choices import JarState
from inventory.jars.models import Balance, LidStock, SupplyLot
from inventory.jars.rules import is_past
from recipes.choices import CANNERS, JARS
from recipes.engine import Plan
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Canner

ACIDS = (LotKind.VINEGAR, LotKind.JUICE, LotKind.CITRIC_ACID)


@dataclass(frozen=True)
class Needed:
    """One thing to have before beginning. `lacks` is "" where it is there; `url` is where to come by it."""

    what: str
    have: str
    lacks: str = ""
    url: str = ""
    link: str = ""


def empties_in(kitchen: Kitchen) -> dict[str, int]:
    """The empty jars that stand in a kitchen by size, large to small; nothing where none were ever counted there."""
    rows = Balance.objects.there().filter(place__kitchen=kitchen, state=JarState.EMPTY)
    counts = dict(rows.order_by().values("size").annotate(n=Sum("count")).values_list("size", "n"))
    return {size: counts[size] for size in reversed(JAR_SIZES) if size in counts}


def needed_for(plan: Plan, *, user: User, kitchen: Kitchen, empties: dict[str, int], on: date) -> list[Needed]:
    """Of a plan without refusals, in the order in which somebody looks; four queries at most."""
    return [*_jars(plan, empties), *_lids(plan), *_canner(plan, user, kitchen), *_acids(plan, kitchen, on)]


def _jars(plan: Plan, empties: dict[str, int]) -> list[Needed]:
    found = []
    for jar in plan.jars:
        what, there = f"{jar.count} × {JARS[jar.size]}", empties.get(jar.size, 0)
        have = _("%(n)s empty in this kitchen") % {"n": there}
        short = jar.count - there
        if not empties:
            have = _("no empty jars are counted in this kitchen")
        lacks = _("%(n)s to buy or borrow") % {"n": short} if short > 0 else ""
        found.append(Needed(what, have, lacks, reverse("jars:home") if lacks else "", _("The jar store")))
    return found


def _lids(plan: Plan) -> list[Needed]:
    """A new lid for each jar that is to seal. The club's are counted; a household's are not, so that they are never
    called missing."""
    count = sum(jar.count for jar in plan.jars)
    if not count or plan.process is None:
        return []
    there = LidStock.objects.aggregate(n=Sum("on_hand"))["n"] or 0
    what = ngettext("%(n)s new lid", "%(n)s new lids", count) % {"n": count}
    have = _("the club has %(n)s; your own are not counted here") % {"n": there}
    if there >= count:
        return [Needed(what, have)]
    return [Needed(what, have, _("look whether you have enough"), reverse("jars:lids"), _("Lids"))]


def _canner(plan: Plan, user: User, kitchen: Kitchen) -> list[Needed]:
    """The household's own first, then what is on loan to them, then what could be borrowed."""
    process = plan.process
    if process is None:
        return []
    kinds: list[str] = [kind for kind, gauge in GAUGE_OF.items() if gauge is process.canner]
    # Water boils in a pressure canner too, its lid not locked; steam only in its own.
    kinds = kinds or [Kind.STEAM] if process.canner is Canner.STEAM else kinds or [Kind.BOILING_WATER, *GAUGE_OF]
    lent = Loan.objects.open().filter(person=user).values("thing")
    whose = (When(household=kitchen, then=Value(0)), When(pk__in=lent, then=Value(1)))
    rank = Case(*whose, default=Value(2), output_field=IntegerField())
    own = Q(household=None) | Q(household=kitchen)
    rows = Thing.everything.canners_for(user).filter(own, kind__in=kinds)
    first = rows.annotate(rank=rank).order_by("rank", "code").first()
    what = str(CANNERS[process.canner])
    if first is None:
        text = _("none is noted here as yours, and the club lends none")
        return [Needed(what, text, _("have one"), reverse("equipment:own-canners"), _("Note your own"))]
    if first.rank < 2:  # type: ignore[attr-defined]
        return [Needed(what, str(first))]
    lacks = _("hold one, or use your own")
    kind_page = reverse("equipment:kind", args=[first.kind])
    return [Needed(what, _("none is noted here as yours; the club lends them"), lacks, kind_page, _("Hold one"))]


def _acids(plan: Plan, kitchen: Kitchen, on: date) -> list[Needed]:
    """Acid that keeps the jars safe, of which only a lot strong enough and within its date counts as being there."""
    wanted = [(line, lot_kind(line.ingredient.item, line.ingredient.role.value)) for line in plan.lines]
    acids = [(line, kind) for line, kind in wanted if kind in ACIDS]
    if not acids:
        return []
    rows = SupplyLot.objects.at_hand(kitchen).filter(supply__kind__in=[kind for _line, kind in acids])
    lots = [lot for lot in rows.sound().use_first() if not is_past(lot.use_by, on)]
    found = []
    for line, kind in acids:
        what = f"{line.text} {line.ingredient.item}"
        lot = next((one for one in lots if one.supply.kind == kind and one.in_kitchen), None)  # type: ignore[attr-defined]
        lot = lot or next((one for one in lots if one.supply.kind == kind), None)
        if lot is None:
            text = _("none is noted in this kitchen, nor in the club's store")
            found.append(Needed(what, text, _("buy it, and read its strength")))
            continue
        whose = _("in this kitchen") if lot.in_kitchen else _("in the club's store")  # type: ignore[attr-defined]
        found.append(Needed(what, f"{lot_words(lot)}, {whose}"))
    return found
