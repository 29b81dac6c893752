"""What needs a hand today, for one person. Reads only; every heap is bounded so that the page keeps its shape."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.desk.heap_batches import batch_heaps, club_seals_heap
from club.desk.heap_classes import class_heaps
from club.desk.heap_fruit import fruit_heaps
from club.desk.heap_things import thing_heaps
from club.desk.heaps import SHOWN, Card, Heap, heap
from club.members.models import Kitchen, User
from recipes.models import Revision, RevisionState


@dataclass(frozen=True)
class Desk:
    """`heaps` are those that hold anything, the most pressing first."""

    heaps: list[Heap]
    kitchens_without_altitude: list[Kitchen]
    has_kitchen: bool

    @property
    def is_quiet(self) -> bool:
        return not self.heaps

    def heap(self, key: str) -> Heap | None:
        return next((one for one in self.heaps if one.key == key), None)


def desk_for(user: User, *, now: datetime) -> Desk:
    kitchens = list(Kitchen.objects.filter(people=user))
    return Desk(
        heaps=[one for one in _heaps(user, now) if one.cards],
        kitchens_without_altitude=[kitchen for kitchen in kitchens if kitchen.altitude_m is None],
        has_kitchen=bool(kitchens),
    )


def _heaps(user: User, now: datetime) -> Iterator[Heap]:
    yield from batch_heaps(user, now)
    yield from class_heaps(user, now)
    yield from fruit_heaps(user, now)
    yield from thing_heaps(user, now)
    yield review_heap(user)
    yield club_seals_heap(user, now)


def review_heap(user: User) -> Heap:
    """Drafts that wait for somebody else's eyes; an author never reviews her own."""
    title = _("Recipes waiting for a second pair of eyes")
    if not user.has_perm("recipes.review_revision"):
        return Heap("to-review", title)
    waiting = Revision.objects.filter(state=RevisionState.IN_REVIEW).exclude(author=user)
    cards = map(_review_card, waiting.select_related("recipe", "author").order_by("submitted_at", "pk")[:SHOWN])
    return heap("to-review", title, cards, more=_("All that wait for review"), more_url=reverse("recipes:drafts"))


def _review_card(revision: Revision) -> Card:
    told = {
        "author": revision.author,
        "when": date_format(revision.submitted_at, "j M") if revision.submitted_at else "",
    }
    about = _("from %(author)s, %(when)s") % told
    return Card(revision.content["title"], reverse("recipes:draft", args=[revision.pk]), about)
