"""The desk is made of heaps of cards: each heap one kind of thing to do, each card one of it, leading to its page."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime

from django.utils import timezone
from django.utils.formats import date_format

SHOWN = 12  # cards in a heap; the room itself lists the rest


@dataclass(frozen=True)
class Card:
    """`about` stands beneath the title; `tag` says how it stands, in the tone of look.css: wait, stop or go."""

    title: str
    url: str
    about: str = ""
    tag: str = ""
    tone: str = "wait"


@dataclass(frozen=True)
class Heap:
    """`more` leads to the rest, where there may be more than `SHOWN`."""

    key: str
    title: str
    cards: list[Card] = field(default_factory=list)
    more: str = ""
    more_url: str = ""

    @property
    def is_full(self) -> bool:
        return len(self.cards) >= SHOWN and bool(self.more_url)


def heap(key: str, title: str, cards: Iterable[Card], *, more: str = "", more_url: str = "") -> Heap:
    return Heap(key, title, list(cards)[:SHOWN], more, more_url)


def hour_words(moment: datetime) -> str:
    """ "Sat 26 Sep, 14:05" on the wall of whoever reads it."""
    return date_format(timezone.localtime(moment), "D j M, H:i")


def day_words(day: date) -> str:
    return date_format(day, "D j M")
