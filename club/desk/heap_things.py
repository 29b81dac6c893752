"""What one has of the club's things, what is free for one, and what is not back yet."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.desk.heaps import SHOWN, Card, Heap, day_words, heap, hour_words
from club.members.models import User
from inventory.equipment.choices import WaitState
from inventory.equipment.models import KEEP, Loan, Thing, WaitingEntry, club_day


def thing_heaps(user: User, now: datetime) -> Iterator[Heap]:
    yield heap("offered", _("Free for you"), offer_cards(user, now))
    yield heap("to-bring-back", _("Yours to bring back"), loan_cards(user, now))
    yield heap("club-overdue", _("At the counter"), overdue_cards(user, now))


def offer_cards(user: User, now: datetime) -> Iterator[Card]:
    offered = WaitingEntry.objects.filter(person=user, state=WaitState.OFFERED, offer_until__gt=now)
    for entry in offered.select_related("hold__thing")[:SHOWN]:
        assert entry.hold is not None  # a constraint of the table: what is offered names both
        assert entry.offer_until is not None
        days = f"{day_words(entry.hold.starts)} – {day_words(entry.hold.ends)}"
        until = _("take it or leave it until %(when)s") % {"when": hour_words(entry.offer_until)}
        yield Card(entry.hold.thing.name, reverse("equipment:mine"), days, until)


def loan_cards(user: User, now: datetime) -> Iterator[Card]:
    """The soonest due first."""
    today = club_day(now)
    loans = Loan.objects.open().filter(person=user).select_related("thing").order_by("due_on", "pk")
    for loan in loans[:SHOWN]:
        day = {"day": day_words(loan.due_on)}
        if loan.due_on < today:
            tag, tone = _("overdue, was due %(day)s") % day, "stop"
        else:
            tag, tone = _("due %(day)s") % day, "wait"
        yield Card(loan.thing.name, reverse("equipment:mine"), loan.thing.code, tag, tone)


def overdue_cards(user: User, now: datetime) -> Iterator[Card]:
    """For keepers: a card that counts what others have not brought back, and one for things that lack a part."""
    if not user.has_perm(KEEP):
        return
    if count := Loan.objects.overdue(club_day(now)).exclude(person=user).count():
        said = ngettext("%(n)s thing is not back yet", "%(n)s things are not back yet", count) % {"n": count}
        yield Card(said, reverse("equipment:overdue"))
    if count := Thing.objects.short_of_parts().count():
        said = ngettext("A part of %(n)s thing is missing", "Parts of %(n)s things are missing", count) % {"n": count}
        yield Card(said, f"{reverse('equipment:list')}?show=missing")
