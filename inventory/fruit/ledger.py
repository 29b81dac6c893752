"""The season's ledger: who gave how much and who had how much, in grams."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Sum

from club.members.models import User
from inventory.fruit.models import Share


@dataclass(frozen=True)
class SeasonRow:
    """Grams that a person had, promised or picked up, and that others had of her fruit."""

    person: User
    had_g: int
    gave_g: int


def season_rows(year: int) -> list[SeasonRow]:
    """Everybody who had or gave some, who had least first: the next tie goes to them. Three queries."""
    standing = Share.objects.standing().in_season(year).order_by()
    had = dict(standing.values_list("person").annotate(Sum("grams")))
    gave = dict(standing.values_list("offer__giver").annotate(Sum("grams")))
    people = User.objects.get_queryset().filter(pk__in={*had, *gave}).in_order()
    rows = [SeasonRow(one, had.get(one.pk, 0), gave.get(one.pk, 0)) for one in people]
    return sorted(rows, key=lambda row: row.had_g)


def season_of_person(person: User, year: int) -> SeasonRow:
    standing = Share.objects.standing().in_season(year)
    had = standing.filter(person=person).aggregate(g=Sum("grams"))["g"]
    gave = standing.filter(offer__giver=person).aggregate(g=Sum("grams"))["g"]
    return SeasonRow(person, had or 0, gave or 0)
