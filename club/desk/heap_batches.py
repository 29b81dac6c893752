"""What batches want: jars to reprocess, seals to look at, a log to write."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from datetime import datetime

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.desk.heaps import SHOWN, Card, Heap, heap, hour_words
from club.members.models import User
from inventory.batches.models import Batch, BatchQuerySet


def batch_heaps(user: User, now: datetime) -> Iterator[Heap]:
    mine = Batch.objects.filter(made_by=user).for_list()
    yield heap("to-reprocess", _("Jars to reprocess"), seal_cards(mine.to_reprocess(), now, page="batches:reprocess"))
    yield heap(
        "seals-due",
        _("Seals to look at"),
        seal_cards(mine.seals_due(now), now),
        more=_("All seals due"),
        more_url=_listed("due"),
    )
    yield heap(
        "on-the-stove",
        _("On the stove"),
        map(stove_card, mine.open()[:SHOWN]),
        more=_("All on the stove"),
        more_url=_listed("open"),
    )
    yield heap(
        "cooling",
        _("Cooling, leave them be"),
        cooling_cards(mine.cooling(now)),
        more=_("All that cool"),
        more_url=_listed("cooling"),
    )


def club_seals_heap(user: User, now: datetime) -> Heap:
    """What fellows have to do. Its cards lead to the page for noting seals only where this person may note them."""
    elsewhere = Batch.objects.visible_to(user).exclude(made_by=user).for_list()
    due = list(elsewhere.seals_due(now)[:SHOWN])
    hers = set(Batch.objects.changeable_by(user).filter(pk__in=[one.pk for one in due]).values_list("pk", flat=True))
    return heap(
        "club-seals",
        _("Seals others have yet to look at"),
        seal_cards(due, now, names=True, may_note=hers),
        more=_("All seals due in the club"),
        more_url=f"{_listed('due')}&whose=all",
    )


def seal_cards(
    batches: Sequence[Batch] | BatchQuerySet,
    now: datetime,
    *,
    page: str = "batches:seals",
    names: bool = False,
    may_note: Container[int] | None = None,
) -> Iterator[Card]:
    """Each batch whose jars are out, with how long a jar that did not seal may still be reprocessed.

    `may_note` are the batches whose cards lead to `page`, the others lead to the batch; None: all do.
    """
    for batch in batches[:SHOWN]:
        if batch.window is None:
            continue
        until = batch.reprocess_until
        if until is None:
            tag, tone = _("not to be reprocessed"), "stop"
        elif now >= until:
            tag, tone = _("reprocessing lapsed %(when)s") % {"when": hour_words(until)}, "stop"
        else:
            hour = date_format(timezone.localtime(until), "D H:i")
            tag, tone = _("reprocess at the latest %(when)s") % {"when": hour}, "wait"
        about = [batch.lot_code, batch.kitchen.name, *([str(batch.made_by)] if names else [])]
        to_page = may_note is None or batch.pk in may_note
        url = reverse(page, args=[batch.lot_code]) if to_page else batch.get_absolute_url()
        yield Card(batch.title, url, " · ".join(about), tag, tone)


def stove_card(batch: Batch) -> Card:
    started = _("started %(when)s") % {"when": hour_words(batch.started_at)}
    about = " · ".join([batch.lot_code, batch.kitchen.name, started])
    return Card(batch.title, batch.get_absolute_url(), about, _("write down what was done"))


def cooling_cards(batches: BatchQuerySet) -> Iterator[Card]:
    for batch in batches[:SHOWN]:
        if batch.window is not None:
            look = _("look at the seals from %(when)s") % {"when": hour_words(batch.window.opens)}
            yield Card(batch.title, batch.get_absolute_url(), f"{batch.lot_code} · {look}")


def _listed(show: str) -> str:
    return f"{reverse('batches:list')}?show={show}"
