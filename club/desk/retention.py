"""What the club keeps of people, why, and how long: the table that the privacy page shows and the task enforces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.functional import Promise
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from club.classes import services as classes
from club.classes.services import NEEDS_KEPT, needs_erase
from club.core.jobs import one_by_one
from club.desk.leaving import has_open_matters
from club.members import services as members
from club.members.models import User, privacy_of_the_club
from club.members.services import INVITATION_KEPT, JOIN_KEPT, invitations_forget, joins_forget
from club.reminders import services as reminders
from inventory.batches import services as batches
from inventory.fruit import services as fruit


@dataclass(frozen=True)
class Kept:
    """`how_long` in words; `enforce` erases what is over, and gives how much. None: it is kept for good."""

    what: Promise
    why: Promise
    how_long: Callable[[], str]
    enforce: Callable[[datetime], int] | None = None


def days(number: int) -> str:
    return ngettext("%(n)s day", "%(n)s days", number) % {"n": number}


def for_good() -> str:
    return gettext("as long as the club keeps its books")


def as_long_as_a_member() -> str:
    months = privacy_of_the_club().months
    text = ngettext(
        "as long as you are a member, and %(n)s month after; longer while a loan, a deposit or a recall is open,"
        " or while you have full jars",
        "as long as you are a member, and %(n)s months after; longer while a loan, a deposit or a recall is open,"
        " or while you have full jars",
        months,
    )
    return text % {"n": months}


def former_forget(now: datetime) -> int:
    """Make those nameless whose term is over and who have nothing open; how many."""
    left_before = months_before(now, privacy_of_the_club().months)
    return sum(one_by_one(User.objects.get_queryset().to_forget(left_before), lambda person: _forget(person, now)))


def months_before(moment: datetime, months: int) -> datetime:
    """The same day so many months before, or the last of that month."""
    year, month = divmod(moment.year * 12 + moment.month - 1 - months, 12)
    for day in range(moment.day, 0, -1):
        try:
            return moment.replace(year=year, month=month + 1, day=day)
        except ValueError:
            continue
    raise AssertionError("every month has a first day")


@transaction.atomic
def _forget(person: User, now: datetime) -> bool:
    if has_open_matters(person, now=now) or not members.person_forget(person=person, now=now):
        return False
    for room in (batches, classes, fruit, reminders):
        room.person_forget(person=person)
    return True


RETENTION = (
    Kept(
        _("Name, email, telephone, roles, how you sign in, what is written to you"),
        _("To know who is in the club and to reach you; the telephone only when jars are called back"),
        as_long_as_a_member,
        former_forget,
    ),
    Kept(
        _("What you write about allergies and access for a class"),
        _("Your instructors have to know; they alone read it, each look is noted, and it is kept sealed"),
        lambda: gettext("%(days)s after the class") % {"days": days(NEEDS_KEPT.days)},
        lambda now: needs_erase(now=now),
    ),
    Kept(
        _("The first name of a guest whom you bring to a class"),
        _("To greet them; they did not agree to more"),
        lambda: gettext("until your own name is erased"),
    ),
    Kept(
        _("Addresses of people who were asked to join and did not"),
        _("To ask nobody twice"),
        lambda: days(INVITATION_KEPT.days),
        lambda now: invitations_forget(now=now),
    ),
    Kept(
        _("Name, address and words of who asked to join"),
        _("So that an organiser can answer"),
        lambda: days(JOIN_KEPT.days),
        lambda now: joins_forget(now=now),
    ),
    Kept(
        _("Who did what to whose account: sign-ins, roles, households, notes read, files taken out"),
        _("So that misuse is seen; after your name is erased it says only “former member”"),
        for_good,
    ),
    Kept(
        _("What you note of how a batch came out: set, texture, a line for the next time"),
        _("The next plan of the recipe shows it to your household; those who trace a lot see it too"),
        lambda: gettext("until your name is erased"),
    ),
    Kept(
        _("Batches, lots, where jars went, recalls, loans, deposits, the jar ledger"),
        _("A bad lot is traced to every jar, also years later; once your name is erased, to a “former member”"),
        for_good,
    ),
    Kept(
        _(
            "Pictures of classes, fruit, jars and things, without the place and time that a phone writes into them; of"
            " a class only those of which whoever added them said that everybody in them agreed"
        ),
        _("For those who were there, and to know what is offered"),
        lambda: gettext(
            "until somebody who may removes them; those of your offers and of your jars until your name is erased"
        ),
    ),
)


def retention_enforce(now: datetime) -> int:
    """Erase everything whose term is over; how much. May run twice at once."""
    return sum(one_by_one([row.enforce for row in RETENTION if row.enforce is not None], lambda enforce: enforce(now)))
