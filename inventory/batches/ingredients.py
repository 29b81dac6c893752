"""Which ingredients of a batch have lots, and the lots that its household or its hall could have taken.

Read off the batch's own plan, so that a later revision of the recipe changes nothing about it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.core.clock import club_day
from club.members.models import User
from inventory.batches.choices import LotKind, RecallKind
from inventory.batches.models import Batch, LotTaken, Recall
from inventory.fruit.choices import ACTIVE_STAGES
from inventory.fruit.models import FreezerItem, Offer, OfferQuerySet, Share
from inventory.jars.models import SupplyLot
from inventory.jars.rules import is_past
from recipes.engine.acidity import JUICES, FoodClass
from recipes.engine.terms import Role
from recipes.library import known_foods

# So many lots are shown for one ingredient, and so many offers of fruit looked through.
OFFERED_A_LINE = 8
OFFERS_LOOKED_AT = 50

# By what a line names; else by the role that the recipe gives it.
_BY_CLASS = {
    FoodClass.VINEGAR: LotKind.VINEGAR,
    FoodClass.CITRIC_ACID: LotKind.CITRIC_ACID,
    **dict.fromkeys(JUICES, LotKind.JUICE),
}
_BY_ROLE = {
    Role.PECTIN.value: LotKind.PECTIN,
    Role.SALT.value: LotKind.SALT,
    Role.FRUIT.value: LotKind.FRUIT,
    Role.LOW_ACID.value: LotKind.FRUIT,
}


@dataclass(frozen=True)
class LotLine:
    """One ingredient whose lot is asked for; `at` is its place among the lines of the plan."""

    at: int
    item: str
    kind: LotKind
    foods: frozenset[str]


def lines_with_lots(batch: Batch) -> list[LotLine]:
    """Each ingredient of the plan that has lots, once, in the recipe's order."""
    found: dict[str, LotLine] = {}
    for at, line in enumerate(batch.plan["lines"]):
        if (kind := lot_kind(line["item"], line["role"])) is not None:
            found.setdefault(line["item"], LotLine(at, line["item"], kind, names_of(line["item"])))
    return list(found.values())


def lot_kind(item: str, role: str) -> LotKind | None:
    """Which lots an ingredient is taken of; None where it has none."""
    named = known_foods().read(item).foods
    return next((_BY_CLASS[food.kind] for food in named if food.kind in _BY_CLASS), _BY_ROLE.get(role))


def names_of(text: str) -> frozenset[str]:
    """The foods that a text names, each under the one name of `acidity.csv`."""
    return frozenset(food.name for food in known_foods().read(text).foods)


@dataclass(frozen=True)
class Proposal:
    """A lot that may have been taken. `key` as a form names it: whose shelf or which room, and the row."""

    key: str
    words: str


def proposals(batch: Batch, user: User, lines: Iterable[LotLine]) -> dict[int, list[Proposal]]:
    """By `LotLine.at`, the lots at hand for it, those of the kitchen first; none weak, past its date or called back.

    Three queries at most.
    """
    wanted = list(lines)
    day = club_day(batch.started_at)
    kinds = {line.kind.value for line in wanted}
    at_hand = SupplyLot.objects.at_hand(batch.kitchen).filter(supply__kind__in=kinds)
    supplies = [lot for lot in at_hand.sound().use_first() if not is_past(lot.use_by, day)]
    frozen: Sequence[FreezerItem] = ()
    offers: Sequence[Offer] = ()
    if LotKind.FRUIT in kinds:
        freezers = FreezerItem.objects.visible_to(user).there().filter(frozen_on__lte=day)
        sound = freezers.exclude(pk__in=_called_back("freezer_item"))
        frozen = list(sound.exclude(batch_frozen__recalls__is_cleared=False).oldest_first())
        had = fruit_had(batch, user).exclude(pk__in=_called_back("fruit_offer"))
        offers = list(had.select_related("giver").order_by("-pk")[:OFFERS_LOOKED_AT])
    return {
        line.at: (_of_fruit(line, frozen, offers, user.units) if line.kind == LotKind.FRUIT else _of(line, supplies))
        for line in wanted
    }


def _called_back(source: str) -> QuerySet[Recall, Any]:
    """The lots of that source with a recall that was not cleared."""
    rows: QuerySet[Recall, Any] = Recall.objects.not_cleared().filter(**{f"{source}__isnull": False}).values(source)
    return rows


def fruit_had(batch: Batch, user: User) -> OfferQuerySet:
    """What was offered to the club, and this person or whoever made the batch gave, or had a share of."""
    people = {user.pk, batch.made_by_id}
    shares = Share.objects.filter(person__in=people, stage__in=ACTIVE_STAGES)
    return Offer.objects.filter(Q(giver__in=people) | Q(pk__in=shares.values("offer")))


def _of(line: LotLine, supplies: Iterable[SupplyLot]) -> list[Proposal]:
    home, club = [], []
    for lot in supplies:
        if lot.supply.kind != line.kind:
            continue
        in_kitchen: int = lot.in_kitchen  # type: ignore[attr-defined]
        if in_kitchen:
            home.append(Proposal(f"home-{lot.pk}", _("%(lot)s (in this kitchen)") % {"lot": lot_words(lot)}))
        if lot.count:
            text = _("%(lot)s (the club's: %(n)s %(unit)s)")
            words = text % {"lot": lot_words(lot), "n": lot.count, "unit": lot.supply.unit}
            club.append(Proposal(f"club-{lot.pk}", words))
    return [*home, *club][:OFFERED_A_LINE]


def lot_words(lot: SupplyLot) -> str:
    """ "Cider vinegar, lot A123, 5 %, use by 3 Mar 2027": what its label says; reads the supply."""
    parts = [str(lot.supply)]
    if lot.code:
        parts.append(_("lot %(code)s") % {"code": lot.code})
    if lot.strength_tenths is not None:
        parts.append(f"{lot.strength_text} %")
    if lot.use_by:
        parts.append(_("use by %(day)s") % {"day": date_format(lot.use_by, "j M Y")})
    return ", ".join(parts)


def _of_fruit(line: LotLine, frozen: Iterable[FreezerItem], offers: Iterable[Offer], units: str) -> list[Proposal]:
    """Fruit that shares a name with the line, as it is written on the bag or in the offer."""
    found = [
        Proposal(f"freezer-{item.pk}", f"{frozen_words(item)}: {item.weight_text(units)}")
        for item in frozen
        if line.foods & names_of(f"{item.what} {item.produce}")
    ]
    found += [
        Proposal(f"offer-{offer.pk}", offer_words(offer))
        for offer in offers
        if line.foods & names_of(f"{offer.produce} {offer.name}")
    ]
    return found[:OFFERED_A_LINE]


def frozen_words(item: FreezerItem) -> str:
    return _("%(what)s, frozen on %(day)s") % {"what": item.what, "day": date_format(item.frozen_on, "j M Y")}


def offer_words(offer: Offer) -> str:
    """Reads the giver."""
    params = {"what": offer.title, "who": offer.giver, "day": date_format(club_day(offer.created_at), "j M Y")}
    return _("%(what)s shared by %(who)s, offered on %(day)s") % params


@dataclass(frozen=True)
class Note:
    """What was noted of one ingredient, in words."""

    taken: LotTaken
    words: str
    code: str  # by which the lot is traced; empty where there is none


def notes_of(batch: Batch) -> list[Note]:
    """What stands noted of the batch's lots, in the order it was written; one query."""
    return notes_in_words(batch.lots_taken.live().for_page())


def notes_in_words(rows: Iterable[LotTaken]) -> list[Note]:
    """Of rows of `for_page`."""
    return [Note(taken, _taken_words(taken), lot_code_of(taken)) for taken in rows]


def _taken_words(taken: LotTaken) -> str:
    if taken.supply_lot is not None:
        return lot_words(taken.supply_lot)
    if taken.freezer_item is not None:
        return frozen_words(taken.freezer_item)
    if taken.fruit_offer is not None:
        return offer_words(taken.fruit_offer)
    if taken.kind == LotKind.FRUIT:
        return _("neither shared nor from a freezer")
    if taken.strength_tenths is not None:
        return _("without a lot, %(strength)s %%") % {"strength": taken.strength_text}
    return _("without a lot")


def lot_code_of(taken: LotTaken) -> str:
    """What somebody types to trace it: the code on its label, or our own for fruit. Empty where there is none."""
    if taken.supply_lot is not None:
        return taken.supply_lot.code
    if taken.freezer_item_id:
        return f"{RecallKind.FROZEN}-{taken.freezer_item_id}"
    return f"{RecallKind.SHARED}-{taken.fruit_offer_id}" if taken.fruit_offer_id else ""


def lines_not_noted(batch: Batch, notes: Iterable[Note]) -> list[str]:
    """The bought ingredients whose lot nobody noted yet, by name."""
    noted = {note.taken.item for note in notes}
    lines = lines_with_lots(batch)
    return [line.item for line in lines if line.kind != LotKind.FRUIT and line.item not in noted]


# What acidity rests on: a log is not written while nothing at all is said of these.
ACIDS = frozenset({LotKind.VINEGAR, LotKind.JUICE, LotKind.CITRIC_ACID})


def acids_not_noted(batch: Batch) -> list[LotLine]:
    """The acids in the jars of which nothing was noted yet; one query, and none where the plan has no acid.

    What the recipe leaves to the cook, and what is kept in the freezer, is not asked about.
    """
    if batch.required_minutes is None:
        return []
    optional = {at for at, line in enumerate(batch.plan["lines"]) if line["optional"]}
    acids = [line for line in lines_with_lots(batch) if line.kind in ACIDS and line.at not in optional]
    noted = set(batch.lots_taken.live().values_list("item", flat=True)) if acids else set()
    return [line for line in acids if line.item not in noted]


def lines_to_ask(batch: Batch, user: User, more: str = "") -> tuple[list[LotLine], dict[int, list[Proposal]]]:
    """The ingredients that nothing was noted of yet, and the one at `more`, with the lots at hand for each.

    Fruit is asked about only where some was shared or lies in a freezer.
    """
    noted = set(batch.lots_taken.live().values_list("item", flat=True))
    lines = [line for line in lines_with_lots(batch) if line.item not in noted or str(line.at) == more]
    offered = proposals(batch, user, lines) if lines else {}
    return [line for line in lines if line.kind != LotKind.FRUIT or offered[line.at]], offered
