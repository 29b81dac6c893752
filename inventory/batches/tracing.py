"""From a code to batches and jars, whom a recall reaches, and who has not answered yet."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count, Exists, OuterRef, Q, Sum
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as noop
from django.utils.translation import ngettext

from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import Kitchen, User, kitchen_words
from inventory.batches.choices import EMPTIED, Container, Disposal, RecallKind, made_for_cold
from inventory.batches.ingredients import notes_in_words
from inventory.batches.models import (
    LOT_SOURCES,
    RECALL_SUBJECTS,
    Batch,
    BatchQuerySet,
    CannerBeside,
    Jar,
    JarQuerySet,
    LotTaken,
    Recall,
    RecallAnswer,
    Whereabouts,
)
from inventory.batches.rules import fruit_code_typed, lot_code_typed
from inventory.equipment.choices import Verdict
from inventory.equipment.models import Doubt, Thing, gauge_doubts
from inventory.equipment.rules import code_scanned
from inventory.jars.choices import JarState, PlaceKind, Reason
from inventory.jars.models import Balance, LidLot, Movement, SupplyLot
from recipes.models import Revision, unsafe

# From a code to batches and jars: a lot code, a lid lot's code, what a bottle or packet prints, our own code of fruit
# out of a freezer or a share, or a recipe's short name with a revision number.
#
# Everything found is what the person may see; the rest is as if it were not there.


@dataclass(frozen=True)
class IngredientTraced:
    """A lot that batches took of: in words, and how a recall of it is asked for."""

    words: str
    kind: str
    code: str


@dataclass(frozen=True)
class Trace:
    """`batches` is a queryset to page through; `whereabouts` counts the jars of all of them."""

    code: str
    batches: BatchQuerySet
    lid_lots: list[LidLot] = field(default_factory=list)
    ingredients: list[IngredientTraced] = field(default_factory=list)
    revisions: list[Revision] = field(default_factory=list)
    canners: list[Thing] = field(default_factory=list)
    whereabouts: list[Whereabouts] = field(default_factory=list)


def trace(user: User, code: str) -> Trace | None:
    """What the code leads to; None when it leads to nothing that this person may see."""
    visible = Batch.objects.visible_to(user)
    lot = lot_code_typed(code)
    batches = visible.filter(lot_code=lot) if lot else visible.none()
    if batches.exists():
        return Trace(code, _rows(batches), whereabouts=Jar.objects.filter(batch__in=batches).whereabouts())
    return (
        _by_lids(visible, code)
        or _by_ingredient(visible, code)
        or _by_revision(visible, code)
        or _by_canner(visible, code)
    )


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


def _by_ingredient(visible: BatchQuerySet, code: str) -> Trace | None:
    of_fruit = fruit_code_typed(code)
    if of_fruit is not None:
        kind, pk = of_fruit
        named = Q(**{RECALL_SUBJECTS[kind]: pk})
    else:
        kind, named = RecallKind.SUPPLY_LOT.value, Q(supply_lot__in=SupplyLot.objects.coded(code))
    taken = LotTaken.objects.live().filter(named, batch__in=visible)
    batches = visible.filter(pk__in=taken.values("batch"))
    found = {(note.words, note.code) for note in notes_in_words(taken.for_page())}
    if not found:
        return None
    lots = [IngredientTraced(words, kind, lot) for words, lot in sorted(found)]
    jars = Jar.objects.filter(batch__in=batches)
    return Trace(code, _rows(batches), ingredients=lots, whereabouts=jars.whereabouts())


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


def _by_canner(visible: BatchQuerySet, code: str) -> Trace | None:
    canners = list(Thing.everything.coded(code_scanned(code)))
    beside = CannerBeside.objects.filter(card__in=canners)
    batches = visible.filter(Q(canner_card__in=canners) | Q(pk__in=beside.values("batch")))
    if not canners or not batches.exists():
        return None
    jars = Jar.objects.filter(batch__in=batches)
    return Trace(code, _rows(batches), canners=canners, whereabouts=jars.whereabouts())


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


@dataclass(frozen=True)
class Holding:
    """Jars of one batch under one recall, in one pair of hands. `people` are ids; any one of them may answer.

    `former` are those who left the club: they cannot sign in, and are written to or telephoned. `jars` is how many
    there are by the books; where jars went home from a hall, those of the hall.
    """

    recall_id: int  # 0: of a recall that is not opened yet
    batch_id: int
    where: str
    jars: int
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
    """The jars of a recall that are there still, as far as anybody knows."""
    if recall.kind == RecallKind.REVISION:
        return Jar.objects.filter(batch__revision=recall.revision_id).kept()
    if recall.kind == RecallKind.LID_LOT:
        return Jar.objects.filter(lid_lot=recall.lid_lot_id).kept()
    if recall.canner is not None:
        return Jar.objects.filter(batch__in=in_doubt(recall)).kept()
    if recall.kind != RecallKind.BATCH:
        source = RECALL_SUBJECTS[recall.kind]
        taken = LotTaken.objects.live().filter(**{source: getattr(recall, f"{source}_id")})
        return Jar.objects.filter(batch__in=taken.values("batch")).kept()
    cooked = LotTaken.objects.live().of_frozen_batches([recall.batch_id]).values("batch")
    return Jar.objects.filter(Q(batch=recall.batch_id) | Q(batch__in=cooked)).kept()


@dataclass(frozen=True)
class CannerDoubt:
    """A gauge's failed test and the good one before; `batches` went by that one. `recall` is the newest of them that
    was opened since the failed test, whether or not it has ended."""

    doubt: Doubt
    batches: BatchQuerySet
    recall: Recall | None


def canner_doubts(canner: Thing) -> list[CannerDoubt]:
    """Each failed test that puts batches in doubt, the newest first; without a good test before only the newest, for
    then everything is. Two queries at most; the batches are asked for by who wants them.
    """
    doubts = gauge_doubts(canner)
    recalls = list(Recall.objects.filter(canner=canner).order_by("-opened_at", "-pk")) if doubts else []
    found = []
    for at, doubt in enumerate(doubts):
        if doubt.good is None and at:
            continue
        day = None if doubt.good is None else doubt.good.tested_on
        since = doubt.failed.recorded_at
        mine = (one for one in recalls if one.opened_at >= since and one.canner_tested_on in (None, day))
        found.append(CannerDoubt(doubt, Batch.objects.in_canner(canner, day), next(mine, None)))
    return found


def went_by(canner: Thing) -> date | None:
    """The day of the gauge's test by which the batches in doubt went: the last good one before a failed one, of the
    newest failure with such batches that was not called back yet; if there is none, of the newest good test. None:
    every batch is in doubt."""
    doubts = canner_doubts(canner)
    open_ones = (one for one in doubts if one.recall is None)
    for one in open_ones:
        if one is doubts[0] or one.batches.exists():
            return None if one.doubt.good is None else one.doubt.good.tested_on
    newest = canner.tests.order_by("-tested_on", "-pk").first()
    if newest is not None and newest.verdict == Verdict.PASSED:
        return newest.tested_on
    return None if not doubts or doubts[0].doubt.good is None else doubts[0].doubt.good.tested_on


def in_doubt(recall: Recall) -> BatchQuerySet:
    """The batches that the recall of a canner reaches, whether or not a jar of them is left."""
    if recall.canner is None:
        return Batch.objects.none()
    # By when it was entered as well: a log that moves the beginning of the cooking later frees nothing.
    before = Q(started_at__lte=recall.opened_at) | Q(created_at__lte=recall.opened_at)
    return Batch.objects.in_canner(recall.canner, recall.canner_tested_on).filter(before)


def holdings(recalls: Iterable[Recall]) -> list[Holding]:
    """Every holding that these recalls reach, with whether it was answered; twelve queries at most.

    A recall need not be opened yet: then it is what it would reach.
    """
    recalls = list(recalls)
    reached = list(_reached(recalls))
    if not reached:
        return []
    hands = _hands({batch for _at, batch in reached})
    everybody = {person for places in hands.values() for hand in places.values() for person in hand.people}
    active = set(User.objects.filter(is_active=True, pk__in=everybody).values_list("pk", flat=True))
    answered = _answered(recalls)
    return [
        Holding(
            recalls[at].pk or 0,
            batch,
            where,
            hand.jars,
            frozenset(hand.people & active),
            frozenset(hand.people - active),
            is_answered=(recalls[at].pk, batch, where) in answered,
        )
        for at, batch in sorted(reached)
        for where, hand in sorted(hands[batch].items())
    ]


@dataclass(frozen=True)
class RecallReach:
    """What a recall calls back: jars of the lots, places they stand in, people written to at once.

    `former` left the club and are telephoned; `given` jars went out of it.
    """

    jars: int
    places: int
    people: int
    former: int
    given: int

    @property
    def words(self) -> str:
        """ "12 jars in 3 households; 5 people are written to at once"."""
        texts = [
            ngettext("%(n)s jar", "%(n)s jars", self.jars) % {"n": self.jars},
            ngettext("%(n)s household", "%(n)s households", self.places) % {"n": self.places},
            ngettext("%(n)s message", "%(n)s messages", self.people) % {"n": self.people},
        ]
        if self.former:
            texts.append(ngettext("%(n)s former member", "%(n)s former members", self.former) % {"n": self.former})
        if self.given:
            texts.append(
                ngettext("%(n)s jar outside the club", "%(n)s jars outside the club", self.given) % {"n": self.given}
            )
        return ", ".join(texts)


def reach_of_recall(recall: Recall, rows: Sequence[Holding]) -> RecallReach:
    """In figures, from its holdings and one more query. A household is a kitchen, a member or the club's store."""
    kinds = {one.where: one.where.partition(" ")[0] for one in rows}
    return RecallReach(
        jars=affected_jars(recall).count(),
        places=sum(kind in ("kitchen", "person", "store") for kind in kinds.values()),
        people=len({person for one in rows for person in one.people}),
        former=len({person for one in rows for person in one.former}),
        given=sum(one.jars for one in rows if kinds[one.where] == "gave"),
    )


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
    asked = {one.recall_id for one in waiting(Recall.objects.open().select_related("canner")) if user.pk in one.people}
    return list(Recall.objects.for_list().filter(pk__in=asked)) if asked else []


def withdrawn_without_recall() -> Iterable[Revision]:
    """Revisions withdrawn for safety with a jar that no recall asked about: none opened, or all ended before the jar
    was put up or the revision was withdrawn.

    Each carries `recalls_before`, how many there were.
    """
    asked = Recall.objects.filter(revision=OuterRef("batch__revision")).filter(
        Q(closed_at=None)
        | Q(closed_at__gte=OuterRef("batch__jars_out_at"))
        # One that ended before, perhaps as cleared, did not know what the withdrawal says.
        & Q(closed_at__gte=OuterRef("batch__revision__withdrawn_at"))
    )
    unasked = Jar.objects.kept().filter(~Exists(asked), unsafe("batch__revision__"))
    found = Revision.objects.filter(pk__in=unasked.values("batch__revision")).annotate(recalls_before=Count("recalls"))
    return found.select_related("recipe", "withdrawn_by").defer("content").order_by("pk")


def _reached(recalls: list[Recall]) -> Iterator[tuple[int, int]]:
    """(place in the list, batch) for every batch with a jar that a recall reaches; two queries, and one a canner."""
    by_revision = {one.revision_id: at for at, one in enumerate(recalls) if one.revision_id}
    by_lids = {one.lid_lot_id: at for at, one in enumerate(recalls) if one.lid_lot_id}
    by_batch = {one.batch_id: at for at, one in enumerate(recalls) if one.batch_id}
    reach = Q(batch__revision__in=by_revision) | Q(lid_lot__in=by_lids) | Q(batch__in=by_batch)
    rows = Jar.objects.kept().filter(reach).order_by().values_list("batch", "batch__revision", "lid_lot").distinct()
    found: set[tuple[int, int]] = set()
    for batch, revision, lids in rows:
        hits = (by_revision.get(revision), by_lids.get(lids), by_batch.get(batch))
        found.update((at, batch) for at in hits if at is not None)
    found.update(_reached_by_lots(recalls))
    for at, one in enumerate(recalls):
        if one.canner is not None:
            batches = affected_jars(one).order_by().values_list("batch", flat=True).distinct()
            found.update((at, batch) for batch in batches)
    yield from found


def _frozen_by(recalls: list[Recall]) -> dict[int, int]:
    """What called-back batches put into a freezer, by the recall's place in the list."""
    places = {one.batch_id: at for at, one in enumerate(recalls) if one.batch_id}
    rows = Batch.objects.filter(pk__in=places, freezer_item__isnull=False) if places else Batch.objects.none()
    return {item: places[pk] for pk, item in rows.order_by().values_list("pk", "freezer_item") if item is not None}


def _reached_by_lots(recalls: list[Recall]) -> Iterator[tuple[int, int]]:
    """As `_reached`, of recalls of an ingredient, and of a batch that was frozen and cooked from; no query where there
    is none."""
    by_source: dict[str, dict[int, int]] = {source: {} for source in LOT_SOURCES}
    reach = Q()
    frozen = _frozen_by(recalls)
    for item, at in frozen.items():
        by_source["freezer_item"][item] = at
        reach |= Q(freezer_item=item)
    for at, one in enumerate(recalls):
        for source in LOT_SOURCES:
            if lot := getattr(one, f"{source}_id"):
                by_source[source][lot] = at
                reach |= Q(**{source: lot})
    if not reach:
        return
    taken = LotTaken.objects.live().filter(reach, batch__in=Jar.objects.kept().values("batch"))
    for batch, *lots in taken.order_by().values_list("batch", *LOT_SOURCES).distinct():
        for source, lot in zip(LOT_SOURCES, lots, strict=True):
            if lot in by_source[source]:
                yield by_source[source][lot], batch


@dataclass
class _Hand:
    """Who has jars in one place: `rows` of the batch that stand there, and how many are `booked` to it.

    The two may differ, for the ledger follows jars that were moved by hand; a batch's own rows do not.
    """

    people: set[int] = field(default_factory=set)
    rows: int = 0
    booked: int = 0

    @property
    def jars(self) -> int:
        return self.booked or self.rows

    def add(self, people: Iterable[int], *, rows: int = 0, booked: int = 0) -> None:
        self.people.update(people)
        self.rows += rows
        self.booked += booked


def _hands(batches: set[int]) -> dict[int, dict[str, _Hand]]:
    """By batch, who holds jars where."""
    makers = dict(Batch.objects.filter(pk__in=batches).order_by().values_list("pk", "made_by"))
    hands: dict[int, dict[str, _Hand]] = {batch: defaultdict(_Hand) for batch in batches}
    rows = Jar.objects.kept().filter(batch__in=batches).order_by()
    jars = rows.values_list("batch", "place", "held_by", "disposal", "seal", "size").annotate(Count("pk"))
    full = Balance.objects.there().filter(batch__in=batches, state=JarState.FULL).order_by()
    columns = ("batch", "place__kind", "place__person", "place__kitchen")
    balances = full.values_list(*columns).annotate(Sum("count"))
    kept, booked = list(jars), list(balances)
    kitchens = {kitchen for _batch, _kind, _person, kitchen, _count in booked if kitchen is not None}
    households = _households({place for _batch, place, *_rest in kept} | kitchens)
    keepers: list[int] = []
    if any(row[3] == Disposal.RETURNED for row in kept) or any(row[1] == PlaceKind.STORE for row in booked):
        keepers = list(User.objects.get_queryset().holding(Role.KEEPER).values_list("pk", flat=True))
    for batch, place, holder, disposal, seal, size, count in kept:
        is_booked = made_for_cold(seal, disposal) and size not in Container.values
        is_counted_here = disposal in EMPTIED and not is_booked  # the full ones are booked below
        there = {"rows": count, "booked": count if is_counted_here else 0}
        if disposal == Disposal.RETURNED:
            hands[batch]["store"].add(keepers, **there)
        elif holder is not None:
            hands[batch][f"person {holder}"].add([holder], **there)
        else:
            hands[batch][f"kitchen {place}"].add(households[place] or [makers[batch]], **there)
            if households[place] and makers[batch] not in households[place]:
                hands[batch][f"maker {makers[batch]}"].add([makers[batch]])
    for batch, kind, person, kitchen, count in booked:
        # A kitchen that nobody belongs to any more: whoever made the jars is the one to ask.
        where, people = f"kitchen {kitchen}", households[kitchen] or [makers[batch]]
        if kind == PlaceKind.STORE:
            where, people = "store", keepers
        elif person is not None:
            where, people = f"person {person}", [person]
        hands[batch][where].add(people, booked=count)
    for batch, by, count in _given(batches):
        hands[batch][f"gave {by}"].add([by], booked=count)
    return hands


def _given(batches: set[int]) -> Iterator[tuple[int, int, int]]:
    """(batch, who gave, jars) of what went out of the club and did not come back by a correction."""
    out = Movement.objects.filter(batch__in=batches).filter(
        Q(source__kind=PlaceKind.GIVEN_AWAY) | Q(target__kind=PlaceKind.GIVEN_AWAY)
    )
    net: defaultdict[tuple[int, int], int] = defaultdict(int)
    for batch, by, corrected, target, count in out.order_by().values_list(
        "batch", "by", "corrects__by", "target__kind", "count"
    ):
        if batch is not None:
            net[batch, corrected or by] += count if target == PlaceKind.GIVEN_AWAY else -count
    yield from ((batch, by, count) for (batch, by), count in net.items() if count > 0)


def _households(kitchens: set[int]) -> defaultdict[int | None, list[int]]:
    found: defaultdict[int | None, list[int]] = defaultdict(list)
    for kitchen, person in Kitchen.objects.filter(pk__in=kitchens).order_by().values_list("pk", "people"):
        if person is not None:
            found[kitchen].append(person)
    return found


def _answered(recalls: list[Recall]) -> set[tuple[int, int, str]]:
    opened = [one for one in recalls if one.pk is not None]
    return set(RecallAnswer.objects.filter(recall__in=opened).order_by().values_list("recall", "batch", "where"))


@dataclass(frozen=True)
class HoldingRow:
    """A holding in words, for those who run the recall. `gifts` are what was noted of jars that left the club."""

    batch: Batch
    place: str
    jars: int
    people: tuple[User, ...]
    former: tuple[User, ...]
    is_answered: bool
    gifts: tuple[Movement, ...]


def holding_rows(found: Sequence[Holding]) -> list[tuple[Holding, HoldingRow]]:
    """Holdings of one recall, each with its words, those without an answer first; five queries."""
    people = User.objects.in_bulk({pk for row in found for pk in row.people | row.former})
    batches = Batch.objects.for_list().in_bulk({row.batch_id for row in found})
    places = place_words(one.where for one in found)
    gifts: defaultdict[tuple[int | None, str], list[Movement]] = defaultdict(list)
    if any(one.where.startswith("gave ") for one in found):
        for gift in Movement.objects.filter(batch__in=batches, reason=Reason.GIVEN).order_by("at", "pk"):
            gifts[gift.batch_id, f"gave {gift.by_id}"].append(gift)
    rows = []
    for one in found:
        here, gone = (_by_name(people[pk] for pk in some) for some in (one.people, one.former))
        rows.append(
            (
                one,
                HoldingRow(
                    batch=batches[one.batch_id],
                    place=places[one.where],
                    jars=one.jars,
                    people=here,
                    former=gone,
                    is_answered=one.is_answered,
                    gifts=tuple(gifts[one.batch_id, one.where]),
                ),
            )
        )
    return sorted(rows, key=lambda row: (row[1].is_answered, row[1].batch.lot_code, row[1].place))


def own_places(user: User) -> list[str]:
    """Every place of a holding or an answer that is this person's to speak of; the store is the keepers'."""
    kitchens = Kitchen.objects.filter(people=user).values_list("pk", flat=True)
    return [*(f"{kind} {user.pk}" for kind in PERSON_WORDS), *(f"kitchen {pk}" for pk in kitchens)]


def _by_name(people: Iterable[User]) -> tuple[User, ...]:
    return tuple(sorted(people, key=lambda person: (person.name, person.pk)))


def place_words(wheres: Iterable[str]) -> dict[str, str]:
    """Each place of a holding or an answer, in words; two queries. "": an answer from before places were asked for."""
    keys = {where: where.partition(" ")[::2] for where in wheres}
    kitchens = Kitchen.objects.in_bulk({int(key) for kind, key in keys.values() if kind == "kitchen"})
    kitchen_names = kitchen_words(kitchens.values())
    people = User.objects.in_bulk({int(key) for kind, key in keys.values() if kind in PERSON_WORDS})
    words = {"": "", "store": _("the club's store")}
    for where, (kind, key) in keys.items():
        if kind == "kitchen":
            words[where] = kitchen_names[int(key)]
        elif kind in PERSON_WORDS:
            words[where] = _(PERSON_WORDS[kind]) % {"who": people[int(key)]}
    return words


def recalls_of(batch: Batch) -> list[Recall]:
    """The recalls that a batch's jars are under and that were not cleared, the newest first."""
    # Most batches are under none, and the words of a recall are of nine tables.
    found = _recall_keys(batch)
    return list(Recall.objects.for_list().filter(pk__in=found)) if found else []


def _recall_keys(batch: Batch) -> list[int]:
    lids = Jar.objects.filter(batch=batch).values("lid_lot")
    reach = Q(batch=batch) | Q(lid_lot__in=lids)
    if batch.revision_id is not None:  # a recall without a revision is none of this batch's
        reach |= Q(revision=batch.revision_id)
    taken = LotTaken.objects.live().filter(batch=batch)
    for source in LOT_SOURCES:
        reach |= Q(**{f"{source}__in": taken.filter(**{f"{source}__isnull": False}).values(source)})
    reach |= Q(batch__in=taken.filter(freezer_item__isnull=False).values("freezer_item__batch_frozen"))
    used: list[tuple[int, date | None]] = []
    if batch.canner_card_id is not None and batch.setting_psi is not None:
        used = [(batch.canner_card_id, batch.gauge_tested_on)]
        used += [(one.card_id, one.gauge_tested_on) for one in batch.canners_beside.all()]
    for card, tested_on in used:
        by_test = Q(canner_tested_on=None)
        if tested_on:
            by_test |= Q(canner_tested_on__range=(tested_on, max(tested_on, club_day(batch.started_at))))
        reach |= by_test & Q(canner=card, opened_at__gte=min(batch.started_at, batch.created_at))
    return list(Recall.objects.not_cleared().filter(reach).order_by().values_list("pk", flat=True))


def is_called_back(batch: Batch, recalls: Sequence[Recall] | None = None) -> bool:
    """Whether a jar of the batch is called back, or its revision is unsafe: then nothing of it is kept or given.

    `recalls` are those of `recalls_of`, from a caller who has them.
    """
    if batch.revision is not None and batch.revision.is_unsafe:
        return True
    return bool(_recall_keys(batch) if recalls is None else recalls)
