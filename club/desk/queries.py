"""What needs a hand today, for one person. Reads only; every list is bounded so that the page keeps its shape."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from club.members.models import Kitchen, User
from inventory.batches.models import Batch
from inventory.batches.queries import BatchQuerySet
from inventory.batches.rules import SealWindow
from inventory.equipment.models import Loan, WaitingEntry
from inventory.equipment.queries import KEEP, club_day
from inventory.equipment.words import WaitState
from recipes.models import Revision, RevisionState

SHOWN = 12  # rows of each kind on the desk; the room itself lists the rest


@dataclass(frozen=True)
class BatchCard:
    batch: Batch
    window: SealWindow
    reprocess_until: datetime | None  # None where there is no reprocessing (any more)
    has_lapsed: bool


@dataclass(frozen=True)
class LoanCard:
    loan: Loan
    is_late: bool


@dataclass(frozen=True)
class Desk:
    to_reprocess: list[BatchCard]
    seals_due: list[BatchCard]
    cooling: list[BatchCard]
    on_the_stove: list[Batch]
    club_seals_due: list[BatchCard]
    to_review: list[Revision]
    kitchens_without_altitude: list[Kitchen]
    has_kitchen: bool
    to_bring_back: list[LoanCard]
    offered: list[WaitingEntry]
    club_overdue: int  # of others, for keepers
    most: int = SHOWN

    @property
    def is_quiet(self) -> bool:
        heaps = (
            self.to_reprocess,
            self.seals_due,
            self.cooling,
            self.on_the_stove,
            self.club_seals_due,
            self.to_review,
            self.to_bring_back,
            self.offered,
            self.club_overdue,
        )
        return not any(heaps)


def cards(batches: BatchQuerySet, now: datetime) -> list[BatchCard]:
    """Each batch whose jars are out, with the moments that hang on that."""
    return [
        BatchCard(batch, batch.window, until := batch.reprocess_until, has_lapsed=until is None or now >= until)
        for batch in batches[:SHOWN]
        if batch.window is not None
    ]


def desk_for(user: User, *, now: datetime) -> Desk:
    mine = Batch.objects.filter(made_by=user).for_list()
    elsewhere = Batch.objects.visible_to(user).exclude(made_by=user).for_list()
    kitchens = list(Kitchen.objects.filter(people=user))
    return Desk(
        to_reprocess=cards(mine.to_reprocess(), now),
        seals_due=cards(mine.seals_due(now), now),
        cooling=cards(mine.cooling(now), now),
        on_the_stove=list(mine.open()[:SHOWN]),
        club_seals_due=cards(elsewhere.seals_due(now), now),
        to_review=revisions_to_review(user),
        kitchens_without_altitude=[kitchen for kitchen in kitchens if kitchen.altitude_m is None],
        has_kitchen=bool(kitchens),
        to_bring_back=loan_cards(user, now),
        offered=offers_to(user, now),
        club_overdue=overdue_of_others(user, now),
    )


def loan_cards(user: User, now: datetime) -> list[LoanCard]:
    """What this person has of the club's, the soonest due first."""
    today = club_day(now)
    loans = Loan.objects.open().filter(person=user).select_related("thing").order_by("due_on", "pk")
    return [LoanCard(loan, is_late=loan.due_on < today) for loan in loans[:SHOWN]]


def offers_to(user: User, now: datetime) -> list[WaitingEntry]:
    offered = WaitingEntry.objects.filter(person=user, state=WaitState.OFFERED, offer_until__gt=now)
    return list(offered.select_related("hold__thing")[:SHOWN])


def overdue_of_others(user: User, now: datetime) -> int:
    if not user.has_perm(KEEP):
        return 0
    return Loan.objects.overdue(club_day(now)).exclude(person=user).count()


def revisions_to_review(user: User) -> list[Revision]:
    """Drafts that wait for somebody else's eyes; an author never reviews her own."""
    if not user.has_perm("recipes.review_revision"):
        return []
    waiting = Revision.objects.filter(state=RevisionState.IN_REVIEW).exclude(author=user)
    return list(waiting.select_related("recipe", "author").order_by("submitted_at", "pk")[:SHOWN])
