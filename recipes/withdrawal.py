"""What withdrawing a revision calls back: asked before the press, and said on the page of what was withdrawn.

The rooms of batches and jars stand above this one: their tables are named by words here, and not imported.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.apps import apps
from django.db.models import Count
from django.utils.translation import ngettext

from recipes.models import Revision


@dataclass(frozen=True)
class Reach:
    """How many jars that were not thrown away come from a revision, and in how many households they are."""

    jars: int
    households: int

    @property
    def words(self) -> str:
        """ "12 jars in 3 households"."""
        jars = ngettext("%(n)s jar", "%(n)s jars", self.jars) % {"n": self.jars}
        told = ngettext("%(jars)s in %(n)s household", "%(jars)s in %(n)s households", self.households)
        return told % {"jars": jars, "n": self.households}


def reach_of(revision: Revision) -> Reach:
    """Two queries. A household is a kitchen, a member whom jars were handed or moved to, or the club's store."""
    jars = apps.get_model("batches", "Jar")._default_manager.filter(batch__revision=revision)
    kept = jars.exclude(disposal="discard").order_by().values_list("held_by", "place").annotate(Count("pk"))
    count, households = 0, set[tuple[str, int | None]]()
    for holder, kitchen, here in kept:
        count += here
        households.add(("kitchen", kitchen) if holder is None else ("member", holder))
    full = apps.get_model("jars", "Balance")._default_manager.filter(
        batch__revision=revision, is_inside=True, state="full", count__gt=0
    )
    for kind, kitchen, person in full.order_by().values_list("place__kind", "place__kitchen", "place__person"):
        households.add((kind, kitchen or person))
    return Reach(count, len(households))
