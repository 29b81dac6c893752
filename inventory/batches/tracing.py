"""From a code to batches and jars, whom a recall reaches, and who has not answered yet."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.db.models import Count, Exists, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as noop

from club.members.choices import Role
from club.members.models import Kitchen, User
from inventory.batches.choices import RecallKind
from inventory.batches.models import Batch, BatchQuerySet, Jar, JarQuerySet, Recall, RecallAnswer, Whereabouts
from inventory.batches.rules import lot_code_typed
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import Balance, LidLot, Movement
from recipes.models import Revision, unsafe

# From a code to batches and jars: a lot code, a lid lot's code, or a recipe's short name with a revision number.
#
# Everything found is what the person may see; the rest is as if it were not there.


@dataclass(frozen=True)
class Trace:
    """`batches` is a queryset to page through; `whereabouts` counts the jars of all of them."""

    code: str
    batches: BatchQuerySet
    lid_lots: list[LidLot] = field(default_factory=list)
    revisions: list[Revision] = field(default_factory=list)
    whereabouts: list[Whereabouts] = field(default_factory=list)


def trace(user: User, code: str) -> Trace | None:
    """What the code leads to; None when it leads to nothing that this person may see."""
    visible = Batch.objects.visible_to(user)
    lot = lot_code_typed(code)
    batches = visible.filter(lot_code=lot) if lot else visible.none()
    if batches.exists():
        return Trace(code, _rows(batches), whereabouts=Jar.objects.filter(batch__in=batches).whereabouts())
    return _by_lids(visible, code) or _by_revision(visible, code)


def _by_lids(visible: BatchQuerySet, code: str) -> Trace | None:
    lots = list(LidLot.objects.coded(code))
    if not lots:
        return None
    under = Q(lid_lot__in=lots) | Q(failed_lid_lot__in=lots)
    jars = Jar.objects.filter(under, batch__in=visible)
    batches = visible.filter(pk__in=jars.values("batch"))
    if not batches.exists():
        return None
    return Trace(code, _rows(batches), lid_lots=lots, whereabouts=jars.whereabouts())


def _by_revision(visible: BatchQuerySet, code: str) -> Trace | None:
    """`plum-jam` for every revision, `plum-jam 3` for one."""
    slug, _space, number = code.strip().lower().partition(" ")
    revisions = Revision.objects.numbered().filter(recipe__slug=slug).select_related("recipe").defer("content")
    if number.strip():
        if not number.strip().isdecimal() or len(number.strip()) > 6:
            return None
        revisions = revisions.filter(number=int(number))
    found = list(revisions)
    batches = visible.filter(revision__in=found)
    if not found or not batches.exists():
        return None
    jars = Jar.objects.filter(batch__in=batches)
    return Trace(code, _rows(batches), revisions=found, whereabouts=jars.whereabouts())


def _rows(batches: BatchQuerySet) -> BatchQuerySet:
    return batches.for_list().select_related("lid_lot").order_by("-started_at", "-pk")


# Whom a recall reaches, and who has not answered yet. A few queries, however many jars, people and recalls.
#
# A jar is held by the member it was handed to, or else by the people of the kitchen it stands in. Whoever made it is
# asked apart where that kitchen is not theirs: jars from a hall may have gone home with them. The jar ledger adds
# where full jars of the lot were moved by hand. Whoever gave some of them away out of the club is asked as well: only
# they know to whom. An answer settles the one place it was given for: a household its kitchen, and nobody's other
# kitchen with it. Whoever left the club stays on the list; those who run the recall reach them, and note the answer
# for them.

# A batch, and where jars of it are held: "kitchen 4", "maker 7", "person 7", "store", "gave 7".
Key = tuple[int, str]


@dataclass(frozen=True)
class Holding:
    """Jars of one batch under one recall, in one pair of hands. `people` are ids; any one of them may answer.

    `former` are those who left the club: they cannot sign in, and are written to or telephoned.
    """

    recall_id: int
    batch_id: int
    where: str
    people: frozenset[int]
    former: frozenset[int]
    is_answered: bool

    @property
    def is_left_alone(self) -> bool:
        """Nobody is left in the club who could answer: those who run the recall note what they were told."""
        return not self.people


PERSON_WORDS = {
    "person": noop("with %(who)s"),
    "maker": noop("taken home by %(who)s, who made them"),
    "gave": noop("given away by %(who)s"),
}


def affected_jars(recall: Recall) -> JarQuerySet:
    """The jars of a recall that were not thrown away."""
    if recall.kind == RecallKind.REVISION:
        return Jar.objects.filter(batch__revision=recall.revision_id).kept()
    if recall.kind == RecallKind.LID_LOT:
        return Jar.objects.filter(lid_lot=recall.lid_lot_id).kept()
    return Jar.objects.filter(batch=recall.batch_id).kept()


def holdings(recalls: Iterable[Recall]) -> list[Holding]:
    """Every holding that these recalls reach, with whether it was answered; eight queries at most."""
    recalls = list(recalls)
    reached = list(_reached(recalls))
    if not reached:
        return []
    hands, active = _hands({batch for _recall, batch in reached})
    answered = _answered(recalls)
    return [
        Holding(
            recall,
            batch,
            where,
            frozenset(people & active),
            frozenset(people - active),
            is_answered=(recall, batch, where) in answered,
        )
        for recall, batch in sorted(reached)
        for where, people in sorted(hands[batch].items())
    ]


def holders(recall: Recall) -> list[User]:
    """The active people whom the recall reaches, by name."""
    people = {person for one in holdings([recall]) for person in one.people}
    return list(User.objects.get_queryset().filter(pk__in=people).in_order())


def waiting(recalls: Iterable[Recall]) -> list[Holding]:
    """Holdings that nobody has answered for yet."""
    return [one for one in holdings(recalls) if not one.is_answered]


def held_by(user: User, rows: Iterable[Holding]) -> dict[int, list[Holding]]:
    """This person's own holdings by recall; recalls that do not reach them are left out."""
    found: defaultdict[int, list[Holding]] = defaultdict(list)
    for one in rows:
        if user.pk in one.people:
            found[one.recall_id].append(one)
    return dict(found)


def to_answer(user: User) -> list[Recall]:
    """Open recalls that wait for this person's answer, the newest first; one query where none is open."""
    recalls = list(Recall.objects.open().for_list())
    asked = {one.recall_id for one in waiting(recalls) if user.pk in one.people}
    return [one for one in recalls if one.pk in asked]


def withdrawn_without_recall() -> Iterable[Revision]:
    """Revisions withdrawn for safety with a jar that no recall asked about: none opened, or all ended before its day.

    Each carries `recalls_before`, how many there were.
    """
    asked = Recall.objects.filter(revision=OuterRef("batch__revision")).filter(
        Q(closed_at=None) | Q(closed_at__gte=OuterRef("batch__jars_out_at"))
    )
    unasked = Jar.objects.kept().filter(~Exists(asked), unsafe("batch__revision__"))
    found = Revision.objects.filter(pk__in=unasked.values("batch__revision")).annotate(recalls_before=Count("recalls"))
    return found.select_related("recipe", "withdrawn_by").defer("content").order_by("pk")


def _reached(recalls: list[Recall]) -> Iterator[tuple[int, int]]:
    """(recall, batch) for every batch with a jar that a recall reaches, in one query for all the recalls."""
    by_revision = {one.revision_id: one.pk for one in recalls if one.revision_id}
    by_lids = {one.lid_lot_id: one.pk for one in recalls if one.lid_lot_id}
    by_batch = {one.batch_id: one.pk for one in recalls if one.batch_id}
    reach = Q(batch__revision__in=by_revision) | Q(lid_lot__in=by_lids) | Q(batch__in=by_batch)
    rows = Jar.objects.kept().filter(reach).order_by().values_list("batch", "batch__revision", "lid_lot").distinct()
    found: set[tuple[int, int]] = set()
    for batch, revision, lids in rows:
        hits = (by_revision.get(revision), by_lids.get(lids), by_batch.get(batch))
        found.update((recall, batch) for recall in hits if recall is not None)
    yield from found


def _hands(batches: set[int]) -> tuple[dict[int, dict[str, set[int]]], set[int]]:
    """By batch, who holds jars where; and who of all these people is in the club still."""
    makers = dict(Batch.objects.filter(pk__in=batches).order_by().values_list("pk", "made_by"))
    hands: dict[int, dict[str, set[int]]] = {batch: defaultdict(set) for batch in batches}
    for (batch, where), person in (*_by_jars(batches, makers), *_by_ledger(batches, makers)):
        hands[batch][where].add(person)
    everybody = {person for places in hands.values() for people in places.values() for person in people}
    return hands, set(User.objects.filter(is_active=True, pk__in=everybody).values_list("pk", flat=True))


def _by_jars(batches: set[int], makers: dict[int, int]) -> Iterator[tuple[Key, int]]:
    rows = Jar.objects.kept().filter(batch__in=batches).order_by()
    households: defaultdict[tuple[int, int], set[int]] = defaultdict(set)
    for batch, place, holder, person in rows.values_list("batch", "place", "held_by", "place__people").distinct():
        if holder is not None:
            yield (batch, f"person {holder}"), holder
        else:
            households[batch, place].update({person} - {None})
    for (batch, place), people in households.items():
        maker = makers[batch]
        yield from (((batch, f"kitchen {place}"), person) for person in people or {maker})
        if people and maker not in people:
            yield (batch, f"maker {maker}"), maker


def _by_ledger(batches: set[int], makers: dict[int, int]) -> Iterator[tuple[Key, int]]:
    full = Balance.objects.there().filter(batch__in=batches, state=JarState.FULL).order_by()
    rows = full.values_list("batch", "place__kind", "place__person", "place__kitchen").distinct()
    there = list(rows)
    households = _households({kitchen for _batch, _kind, _person, kitchen in there if kitchen is not None})
    keepers: list[int] = []
    if any(kind == PlaceKind.STORE for _batch, kind, _person, _kitchen in there):
        keepers = list(User.objects.get_queryset().holding(Role.KEEPER).values_list("pk", flat=True))
    for batch, kind, person, kitchen in there:
        # A kitchen that nobody belongs to any more: whoever made the jars is the one to ask.
        where, people = f"kitchen {kitchen}", households[kitchen] or [makers[batch]]
        if kind == PlaceKind.STORE:
            where, people = "store", keepers
        elif person is not None:
            where, people = f"person {person}", [person]
        yield from (((batch, where), one) for one in people)
    given = Movement.objects.filter(batch__in=batches, reason=Reason.GIVEN, target__kind=PlaceKind.GIVEN_AWAY)
    for batch, by in given.order_by().values_list("batch", "by").distinct():
        if batch is not None:
            yield (batch, f"gave {by}"), by


def _households(kitchens: set[int]) -> defaultdict[int | None, list[int]]:
    found: defaultdict[int | None, list[int]] = defaultdict(list)
    for kitchen, person in Kitchen.objects.filter(pk__in=kitchens).order_by().values_list("pk", "people"):
        if person is not None:
            found[kitchen].append(person)
    return found


def _answered(recalls: list[Recall]) -> set[tuple[int, int, str]]:
    return set(RecallAnswer.objects.filter(recall__in=recalls).order_by().values_list("recall", "batch", "where"))


@dataclass(frozen=True)
class HoldingRow:
    """A holding in words, for those who run the recall."""

    batch: Batch
    place: str
    people: tuple[User, ...]
    former: tuple[User, ...]
    is_answered: bool


def holding_rows(found: Sequence[Holding]) -> list[tuple[Holding, HoldingRow]]:
    """Holdings of one recall, each with its words, those without an answer first; four queries."""
    people = User.objects.in_bulk({pk for row in found for pk in row.people | row.former})
    batches = Batch.objects.for_list().in_bulk({row.batch_id for row in found})
    places = place_words(one.where for one in found)
    rows = []
    for one in found:
        here, gone = (_by_name(people[pk] for pk in some) for some in (one.people, one.former))
        rows.append((one, HoldingRow(batches[one.batch_id], places[one.where], here, gone, one.is_answered)))
    return sorted(rows, key=lambda row: (row[1].is_answered, row[1].batch.lot_code, row[1].place))


def _by_name(people: Iterable[User]) -> tuple[User, ...]:
    return tuple(sorted(people, key=lambda person: (person.name, person.pk)))


def place_words(wheres: Iterable[str]) -> dict[str, str]:
    """Each place of a holding or an answer, in words; two queries. "": an answer from before places were asked for."""
    keys = {where: where.partition(" ")[::2] for where in wheres}
    kitchens = Kitchen.objects.in_bulk({int(key) for kind, key in keys.values() if kind == "kitchen"})
    people = User.objects.in_bulk({int(key) for kind, key in keys.values() if kind in PERSON_WORDS})
    words = {"": "", "store": _("the club's store")}
    for where, (kind, key) in keys.items():
        if kind == "kitchen":
            words[where] = kitchens[int(key)].name
        elif kind in PERSON_WORDS:
            words[where] = _(PERSON_WORDS[kind]) % {"who": people[int(key)]}
    return words


def recalls_of(batch: Batch) -> list[Recall]:
    """The recalls that a batch's jars are under and that were not cleared, the newest first."""
    lids = Jar.objects.filter(batch=batch).values("lid_lot")
    reach = Q(revision=batch.revision_id) | Q(batch=batch) | Q(lid_lot__in=lids)
    return list(Recall.objects.not_cleared().for_list().filter(reach))


def is_called_back(batch: Batch, recalls: Sequence[Recall] | None = None) -> bool:
    """Whether a jar of the batch is called back, or its revision is unsafe: then nothing of it is kept or given.

    `recalls` are those of `recalls_of`, from a caller who has them.
    """
    if batch.revision.is_unsafe:
        return True
    return bool(recalls_of(batch) if recalls is None else recalls)
