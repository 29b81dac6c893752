"""The end of a membership: what it sets free, what it leaves open, and the one act that does it all.

Only this room sees every other. A step is what one room has to do with whoever leaves: its rows in words, and the
room's own service for each. A step without a service is open: somebody has to see to it, and the page says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from club.classes.models import ClassSession, SignUp
from club.classes.services import signup_cancel
from club.core.clock import club_day, now_or
from club.core.errors import AlreadyDone
from club.core.money import money_text
from club.members.models import HouseholdMember, Kitchen, User
from club.members.services import household_leave, member_deactivate
from inventory.batches.models import BatchHand, JarClaim, JarOffer, Recall
from inventory.batches.services import hand_end, jar_claim_withdraw, jar_offer_close, waiting
from inventory.equipment.choices import HoldState
from inventory.equipment.models import Hold, Loan, WaitingEntry
from inventory.equipment.services import hold_cancel, waiting_leave
from inventory.fruit.choices import OfferStage
from inventory.fruit.models import Claim, Offer, Share
from inventory.fruit.services import claim_withdraw, offer_take_back, share_give_back
from inventory.jars.choices import JarState, OrderState
from inventory.jars.models import Balance, ClubOrder, Deposit, OrderEntry
from inventory.jars.services import order_entries_set


@dataclass(frozen=True)
class Step:
    """`rows` finds what it is about; `words` says one row; `act` does it in the name of who leaves, or is None. While
    there is a row of a step that `keeps_the_name`, a former member is not made nameless.
    """

    title: Promise
    then: Promise
    rows: Callable[[User, datetime], Iterable[Any]]
    words: Callable[[Any], str] = str
    act: Callable[[User, Any, datetime], object] | None = None
    keeps_the_name: bool = False


@dataclass(frozen=True)
class Shown:
    title: Promise
    then: Promise
    rows: list[str]
    is_open: bool


# What each room has of a person.


def seats(person: User, now: datetime) -> Iterable[SignUp]:
    coming = SignUp.objects.of(person).open().filter(session__starts_at__gt=now)
    return coming.defer("needs").select_related("session")


def waits(person: User, now: datetime) -> Iterable[WaitingEntry]:
    return WaitingEntry.objects.in_line().filter(person=person)


def holds(person: User, now: datetime) -> Iterable[Hold]:
    """Their own; what they held for a class stays with the class."""
    own = Hold.objects.to_collect(club_day(now)).filter(person=person, purpose="", state=HoldState.HELD)
    return own.select_related("thing")


def entries(person: User, now: datetime) -> Iterable[ClubOrder]:
    return ClubOrder.objects.taking_entries(now).filter(lines__entries__member=person).distinct()


def entries_clear(person: User, order: ClubOrder, now: datetime) -> None:
    lines = OrderEntry.objects.filter(line__order=order, member=person).values_list("line", flat=True)
    order_entries_set(by=person, order=order, entries=dict.fromkeys(lines, 0), now=now)


def shares(person: User, now: datetime) -> Iterable[Share]:
    return Share.objects.promised().filter(person=person).select_related("offer", "claim")


def claims(person: User, now: datetime) -> Iterable[Claim]:
    return Claim.objects.open().filter(person=person, share=None).select_related("offer")


def offers(person: User, now: datetime) -> Iterable[Offer]:
    return Offer.objects.filter(giver=person, stage__in=[OfferStage.OPEN, OfferStage.SHARED])


def offer_end(person: User, offer: Offer, now: datetime) -> None:
    offer_take_back(by=person, offer=offer, reason=gettext("The giver has left the club."), now=now)


def jar_claims(person: User, now: datetime) -> Iterable[JarClaim]:
    return JarClaim.objects.filter(person=person, state="asked").select_related("offer__batch")


def jar_offers(person: User, now: datetime) -> Iterable[JarOffer]:
    return JarOffer.objects.open().filter(giver=person).select_related("batch")


def hands(person: User, now: datetime) -> Iterable[BatchHand]:
    return BatchHand.objects.live().filter(person=person).select_related("batch")


def shared_kitchens(person: User, now: datetime) -> Iterable[Kitchen]:
    others = HouseholdMember.objects.filter(user__is_active=True).exclude(user=person)
    return person.kitchens.filter(is_hall=False, pk__in=others.values("kitchen"))


def loans(person: User, now: datetime) -> Iterable[Loan]:
    return Loan.objects.open().filter(person=person).select_related("thing")


def deposits(person: User, now: datetime) -> Iterable[Deposit]:
    return Deposit.objects.open().filter(person=person)


def jars_held(person: User, now: datetime) -> Iterable[Balance]:
    """At their own place, and in kitchens that are nobody else's."""
    alone = person.kitchens.filter(is_hall=False).exclude(pk__in=[one.pk for one in shared_kitchens(person, now)])
    there = Balance.objects.there().select_related("place__kitchen", "place__person", "batch")
    return there.filter(place__person=person) | there.filter(place__kitchen__in=alone)


def full_jars_held(person: User, now: datetime) -> Iterable[Balance]:
    return (one for one in jars_held(person, now) if one.state == JarState.FULL)


def other_jars_held(person: User, now: datetime) -> Iterable[Balance]:
    return (one for one in jars_held(person, now) if one.state != JarState.FULL)


def unpaid(person: User, now: datetime) -> Iterable[ClubOrder]:
    running = ClubOrder.objects.filter(state__in=[OrderState.ORDERED, OrderState.ARRIVED])
    return running.filter(lines__entries__member=person).exclude(pickups__member=person).distinct()


def taught(person: User, now: datetime) -> Iterable[ClassSession]:
    return ClassSession.objects.filter(instructors=person, ends_at__gt=now).exclude(state="cancelled")


def recalls(person: User, now: datetime) -> Iterable[Recall]:
    """Open ones that wait for an answer about jars in their hands, also once they left."""
    running = Recall.objects.open().select_related("canner")
    asked = {one.recall_id for one in waiting(running) if person.pk in one.people | one.former}
    return list(Recall.objects.for_list().filter(pk__in=asked)) if asked else []


def jars_in_words(one: Balance) -> str:
    return f"{one.place}: {one.count} × {one.size}, {one.get_state_display()}"


# In their order: an offer of a thing is declined before holds are looked at, a share given back before its claim.
STEPS = (
    Step(
        _("Seats in classes"),
        _("Given up, and offered to the next in line."),
        seats,
        lambda one: str(one.session),
        lambda person, one, now: signup_cancel(by=person, signup=one, now=now),
    ),
    Step(
        _("Places in waiting lines"),
        _("Left; what was offered goes to the next."),
        waits,
        lambda one: str(one.get_kind_display()),
        lambda person, one, now: waiting_leave(by=person, entry=one, now=now),
    ),
    Step(
        _("Things kept for them"),
        _("Free for others."),
        holds,
        lambda one: f"{one.thing}, {one.starts} – {one.ends}",
        lambda person, one, now: hold_cancel(by=person, hold=one, now=now),
    ),
    Step(
        _("Batches of others that they cook along"),
        _("They leave the stove; whose batch it is goes on."),
        hands,
        lambda one: str(one.batch),
        lambda person, one, now: hand_end(by=person, hand=one, now=now),
    ),
    Step(_("Wishes in club orders"), _("Withdrawn."), entries, str, entries_clear),
    Step(
        _("Shares of fruit not picked up"),
        _("Given back, and shared out again."),
        shares,
        lambda one: str(one.offer),
        lambda person, one, now: share_give_back(by=person, share=one, now=now),
    ),
    Step(
        _("Claims on fruit"),
        _("Withdrawn."),
        claims,
        lambda one: str(one.offer),
        lambda person, one, now: claim_withdraw(by=person, claim=one, now=now),
    ),
    Step(_("Fruit offered"), _("Taken back; whoever hoped for it is told."), offers, str, offer_end),
    Step(
        _("Jars asked for"),
        _("Withdrawn."),
        jar_claims,
        lambda one: str(one.offer.batch),
        lambda person, one, now: jar_claim_withdraw(by=person, claim=one, now=now),
    ),
    Step(
        _("Jars offered"),
        _("Taken back; what was not handed over stays where it is."),
        jar_offers,
        lambda one: str(one.batch),
        lambda person, one, now: jar_offer_close(by=person, offer=one, now=now),
    ),
    Step(
        _("Kitchens shared with others"),
        _("They stay with the others, with the jars in them."),
        shared_kitchens,
        str,
        lambda person, one, now: household_leave(by=person, kitchen=one, now=now),
    ),
    Step(
        _("Loans"),
        _("To be brought back to a keeper."),
        loans,
        lambda one: f"{one.thing}, {one.due_on}",
        keeps_the_name=True,
    ),
    Step(
        _("Deposits"),
        _("To be settled with a keeper when the jars are back."),
        deposits,
        lambda one: f"{one.jars} × {one.size}: {money_text(one.cents)}",
        keeps_the_name=True,
    ),
    Step(
        _("Full jars in their hands"),
        _(
            "In a kitchen of theirs alone. Until they are used up or handed on in the jar ledger, name and telephone"
            " stay, so that a recall reaches them."
        ),
        full_jars_held,
        jars_in_words,
        keeps_the_name=True,
    ),
    Step(
        _("Empty jars in their hands"),
        _("In a kitchen of theirs alone. To be brought back, or handed on to somebody, in the jar ledger."),
        other_jars_held,
        jars_in_words,
    ),
    Step(_("Club orders on their way"), _("To be fetched and paid."), unpaid, keeps_the_name=True),
    Step(_("Sessions they teach"), _("Somebody else has to teach them, or they are called off."), taught),
    Step(
        _("Open recalls"),
        _("Name and address stay until these are answered, so that they can be reached."),
        recalls,
        keeps_the_name=True,
    ),
)


def what_follows(person: User, *, now: datetime | None = None) -> list[Shown]:
    """What the end of this membership does and leaves open, room by room; steps without a row are left out."""
    moment = now_or(now)
    found = ((step, [step.words(row) for row in step.rows(person, moment)]) for step in STEPS)
    return [Shown(step.title, step.then, rows, step.act is None) for step, rows in found if rows]


def has_open_matters(person: User, *, now: datetime) -> bool:
    """Whether something is left for which the club has to know who they are."""
    return any(next(iter(step.rows(person, now)), None) is not None for step in STEPS if step.keeps_the_name)


@transaction.atomic
def membership_end(*, by: User, person: User, now: datetime | None = None) -> None:
    """Set free what is theirs and end the membership: all of it, or nothing.

    One's own, or (organisers) another's. PermissionDenied; ValidationError where a room refuses, and for the club's
    last organiser.
    """
    if by.pk != person.pk and not by.has_perm("members.grant_role"):
        raise PermissionDenied
    moment = now_or(now)
    for step in STEPS:
        for row in list(step.rows(person, moment)) if step.act is not None and person.is_active else []:
            _do(step, person, row, moment)
    member_deactivate(by=by, person=person)


def _do(step: Step, person: User, row: Any, moment: datetime) -> None:
    """What somebody did a moment before us is done."""
    assert step.act is not None
    try:
        with transaction.atomic():
            step.act(person, row, moment)
    except AlreadyDone:
        return
