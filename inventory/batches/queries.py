"""Reads of the batch room: who may see what, what is open, due or cooling, and what a page needs with it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Count, Prefetch, Q
from django.db.models.functions import Coalesce

from club.members.models import Kitchen, User
from inventory.batches.rules import looked_at_from
from inventory.batches.words import BatchState, Disposal, Seal
from recipes.models import RevisionState

if TYPE_CHECKING:
    from inventory.batches.models import Batch, Jar  # noqa: F401  (named in the generic bases, which are strings)


# When the jars that still want a look last came out of a canner.
LAST_OUT = Coalesce("reprocessed_out_at", "jars_out_at")


def _cared_for(user: User) -> Q:
    return Q(made_by=user) | Q(kitchen__in=Kitchen.objects.filter(people=user))


@dataclass(frozen=True)
class Whereabouts:
    """So many jars of one size and fate in one kitchen, or with the member they were handed to.

    `disposal` None: not settled yet.
    """

    kitchen: str
    size: str
    seal: Seal
    disposal: Disposal | None
    count: int


class BatchQuerySet(models.QuerySet["Batch"]):
    def visible_to(self, user: User) -> BatchQuerySet:
        """The gate: one's own batches, those of one's own kitchens and those one started; who may trace sees all."""
        return self if user.has_perm("batches.trace_batch") else self.filter(_cared_for(user) | Q(started_by=user))

    def cared_for_by(self, user: User) -> BatchQuerySet:
        """Batches a person made, or that were made in a kitchen of hers."""
        return self.filter(_cared_for(user))

    def changeable_by(self, user: User) -> BatchQuerySet:
        """Who may write in a batch's log. To trace a batch is not to write in it."""
        return self if user.has_perm("batches.change_batch") else self.cared_for_by(user)

    def worked_at_by(self, user: User) -> BatchQuerySet:
        """Who may write what is done at the stove: also whoever started it for somebody else. Seals are not hers."""
        if user.has_perm("batches.change_batch"):
            return self
        return self.filter(_cared_for(user) | Q(started_by=user))

    def open(self) -> BatchQuerySet:
        """On the stove: started, and nothing logged yet."""
        return self.filter(state=BatchState.STARTED)

    def seals_due(self, now: datetime) -> BatchQuerySet:
        """Out for 12 hours or more and no settling look yet, the longest wait first. An early look settles nothing."""
        out = self.filter(state=BatchState.OUT).annotate(last_out=LAST_OUT)
        return out.filter(last_out__lte=looked_at_from(now)).order_by("last_out", "pk")

    def cooling(self, now: datetime) -> BatchQuerySet:
        """Out for less than 12 hours, the soonest due first."""
        out = self.filter(state=BatchState.OUT).annotate(last_out=LAST_OUT)
        return out.filter(last_out__gt=looked_at_from(now)).order_by("last_out", "pk")

    def to_reprocess(self) -> BatchQuerySet:
        """Looked at, with jars that wait to be reprocessed, the soonest to lapse first."""
        from inventory.batches.models import Jar

        # Asked of the jars apart: a second join would count every jar of the list twice.
        waiting = Jar.objects.filter(disposal=Disposal.REPROCESS).values("batch")
        return self.filter(state=BatchState.CHECKED, pk__in=waiting).order_by("jars_out_at", "pk")

    def done(self) -> BatchQuerySet:
        return self.filter(state__in=[BatchState.CHECKED, BatchState.FROZEN, BatchState.ABANDONED])

    def recalled(self) -> BatchQuerySet:
        """Batches with a jar that a recall or a withdrawn revision reaches, cleared ones left out (see recalls.py)."""
        from inventory.batches.models import Jar

        return self.filter(pk__in=Jar.objects.recalled().values("batch"))

    def for_list(self) -> BatchQuerySet:
        """A row of a list: recipe, kitchen, person, and the jars counted by seal, in one query."""
        rows = self.select_related("revision__recipe", "kitchen", "made_by").defer("plan", "revision__content")
        # Said again, as counting drops the model's own order.
        return rows.order_by("-started_at", "-pk").annotate(
            jars_count=Count("jars"),
            sealed_count=Count("jars", filter=Q(jars__seal=Seal.SEALED)),
            unsealed_count=Count("jars", filter=Q(jars__seal=Seal.UNSEALED)),
            broken_count=Count("jars", filter=Q(jars__seal=Seal.BROKEN)),
        )

    def for_page(self) -> BatchQuerySet:
        """Everything a batch's own page shows, in a bounded number of queries."""
        from inventory.batches.models import Jar, SealCheck

        return self.select_related("revision__recipe", "kitchen", "made_by", "started_by", "lid_lot").prefetch_related(
            Prefetch("jars", Jar.objects.select_related("place", "lid_lot", "failed_lid_lot").order_by("number")),
            Prefetch("seal_checks", SealCheck.objects.select_related("checked_by")),
        )


class JarQuerySet(models.QuerySet["Jar"]):
    def to_look_at(self) -> JarQuerySet:
        """Jars that still want a look: nothing was decided about them yet."""
        return self.filter(disposal="")

    def kept(self) -> JarQuerySet:
        """Jars that were not thrown away. Whether one was eaten, only who had it knows."""
        return self.exclude(disposal=Disposal.DISCARD)

    def to_give(self) -> JarQuerySet:
        """Sealed, on the shelf of whoever put them up, and neither called back nor of a withdrawn revision."""
        from inventory.batches.models import Jar

        shelf = self.filter(seal=Seal.SEALED, disposal=Disposal.SHELF, held_by=None)
        return shelf.exclude(pk__in=Jar.objects.recalled().values("pk"))

    def recalled(self) -> JarQuerySet:
        """Jars of a withdrawn revision; and of a revision, lid lot or batch whose recall was not cleared."""
        from inventory.batches.models import Recall

        standing = Recall.objects.not_cleared()
        return self.filter(
            Q(batch__revision__state=RevisionState.WITHDRAWN)
            | Q(batch__revision__in=standing.filter(revision__isnull=False).values("revision"))
            | Q(lid_lot__in=standing.filter(lid_lot__isnull=False).values("lid_lot"))
            | Q(batch__in=standing.filter(batch__isnull=False).values("batch"))
        )

    def whereabouts(self) -> list[Whereabouts]:
        """How many jars stand where, by kitchen, size and what became of them: one query, whatever the number."""
        # By kitchen, not by its name alone: two kitchens may be called the same.
        fate = ("place__name", "place", "held_by__name", "held_by", "size", "seal", "disposal")
        return [
            Whereabouts(
                kitchen=row["held_by__name"] or row["place__name"],
                size=row["size"],
                seal=Seal(row["seal"]),
                disposal=Disposal(row["disposal"]) if row["disposal"] else None,
                count=row["count"],
            )
            for row in self.order_by(*fate).values(*fate).annotate(count=Count("pk"))
        ]
