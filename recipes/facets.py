"""What a list may be narrowed to, and how many recipes each choice would leave."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

FACETS = ("produce", "kind", "method", "jar")


@dataclass(frozen=True)
class IndexRow:
    """One recipe by its words in each facet."""

    pk: int
    words: Mapping[str, tuple[str, ...]]


def matching(rows: Iterable[IndexRow], wanted: Mapping[str, str], *, besides: str = "") -> list[IndexRow]:
    """Rows that have each wanted word, the facet `besides` left out of account; "" wants nothing."""
    asked = {facet: word for facet, word in wanted.items() if word and facet != besides}
    return [row for row in rows if all(word in row.words[facet] for facet, word in asked.items())]


def facet_counts(rows: Iterable[IndexRow], wanted: Mapping[str, str]) -> dict[str, Counter[str]]:
    """For each facet, how many recipes each of its words would leave with the other facets as they are."""
    rows = list(rows)
    return {
        facet: Counter(word for row in matching(rows, wanted, besides=facet) for word in row.words[facet])
        for facet in FACETS
    }
