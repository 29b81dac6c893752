"""What needs a hand today, for one person: sections of cards, each bounded so that the page keeps its shape."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Case, Exists, Q, QuerySet, When
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.classes.choices import SEAT_STATES, SessionState, SignUpState
from club.classes.models import ClassSession, SignUp
from club.core.clock import at_hour, club_day
from club.members.choices import Role
from club.members.models import Kitchen, User
from club.reminders.models import audit_to_tell
from inventory.batches.models import Batch, BatchHand, BatchQuerySet, Stage
from inventory.equipment.choices import WaitState
from inventory.equipment.models import KEEP, Loan, Thing, WaitingEntry
from inventory.fruit.choices import OfferStage
from inventory.fruit.models import Offer, Share
from inventory.jars.models import Balance
from recipes.models import Revision, RevisionState

SHOWN = 12  # cards in a section; the room itself lists the rest
# Our own choices, no source. What is further ahead than `SOON` stands on the classes' own page; what presses and runs
# out within `NOW` hours stands above everything else; what falls within `THIS_WEEK` comes before what can wait.
SOON = timedelta(days=14)
NOW = timedelta(hours=6)
THIS_WEEK = timedelta(days=7)
ONE_DAY = timedelta(hours=12)  # at a stove


@dataclass(frozen=True)
class Card:
    """One thing to do, leading to its page. `about` stands beneath the title; `tag` says what is due, in the tone of
    look.css: wait, stop or go. `at` is when it falls due or happens; `is_pressing` that it cannot be done afterwards.
    """

    title: str
    url: str
    about: str = ""
    tag: str = ""
    tone: str = "wait"
    at: datetime | None = None
    is_pressing: bool = False

    def weight(self, now: datetime) -> str:
        """ "now", "soon" or "whenever": how the page shows it."""
        if self.is_pressing and (self.at is None or self.at <= now + NOW):
            return "now"
        is_near = self.at is not None and self.at <= now + THIS_WEEK
        return "soon" if is_near or self.is_pressing or self.tone == "stop" else "whenever"


@dataclass(frozen=True)
class Section:
    """One kind of thing to do. `more` leads to the rest, where there may be more than `SHOWN`."""

    key: str
    title: str
    cards: list[Card] = field(default_factory=list)
    more: str = ""
    more_url: str = ""

    @property
    def is_full(self) -> bool:
        return len(self.cards) >= SHOWN and bool(self.more_url)


@dataclass(frozen=True)
class Step:
    """One thing a new club sees to; done as soon as the club's own rows say so."""

    title: str
    url: str
    is_done: bool


@dataclass(frozen=True)
class Desk:
    """`sections` are those that hold anything, the most pressing first."""

    sections: list[Section]
    kitchens_without_altitude: list[Kitchen]
    has_kitchen: bool
    moment: datetime
    set_up: list[Step]

    @property
    def is_quiet(self) -> bool:
        return not self.sections

    @property
    def now(self) -> list[tuple[Section, Card]]:
        """What runs out within hours, the soonest first."""
        return self._weighing("now")

    @property
    def soon(self) -> list[tuple[Section, Card]]:
        """The days ahead, in their order; what is overdue comes first."""
        return self._weighing("soon")

    @property
    def whenever(self) -> list[tuple[Section, Card]]:
        return self._weighing("whenever")

    def _weighing(self, weight: str) -> list[tuple[Section, Card]]:
        found = [(one, card) for one in self.sections for card in one.cards if card.weight(self.moment) == weight]
        return sorted(found, key=lambda pair: pair[1].at or self.moment)

    @property
    def full(self) -> list[Section]:
        """Sections of which there is more than the page shows."""
        return [one for one in self.sections if one.is_full]

    @property
    def steps_left(self) -> int:
        return sum(not step.is_done for step in self.set_up)

    def section(self, key: str) -> Section | None:
        return next((one for one in self.sections if one.key == key), None)


def desk_for(user: User, *, now: datetime) -> Desk:
    kitchens = list(Kitchen.objects.filter(people=user))
    return Desk(
        sections=[one for one in _sections(user, now) if one.cards],
        kitchens_without_altitude=[kitchen for kitchen in kitchens if kitchen.altitude_m is None],
        has_kitchen=bool(kitchens),
        moment=now,
        set_up=set_up_steps(user),
    )


def set_up_steps(user: User) -> list[Step]:
    """For organisers, until all is done: what a new club and a new hall need, in one query."""
    if not user.has_perm("members.grant_role"):
        return []
    others = User.objects.filter(is_active=True).exclude(pk=user.pk)
    steps: list[tuple[str, str, QuerySet[Any]]] = [
        (_("Name the hall"), "members:kitchen-add", Kitchen.objects.filter(is_hall=True)),
        (
            _("Say how high the hall lies"),
            "members:kitchen-add",
            Kitchen.objects.filter(is_hall=True, altitude_m__isnull=False),
        ),
        (_("Invite the members"), "members:invite", others),
        (_("Say who keeps gear and jars"), "members:people", others.filter(groups__name=Role.KEEPER)),
        (_("Say who teaches"), "members:people", others.filter(groups__name=Role.INSTRUCTOR)),
        (_("List the club's equipment"), "equipment:list", Thing.objects.all()),
        (_("Count the jars"), "jars:home", Balance.objects.there()),
        (_("Announce the first class"), "classes:new", ClassSession.objects.exclude(state=SessionState.DRAFT)),
    ]
    done = (
        User.objects.filter(pk=user.pk).values_list(*(Exists(rows.order_by()) for _title, _name, rows in steps)).get()
    )
    if all(done):
        return []
    return [Step(title, reverse(name), is_done) for (title, name, _rows), is_done in zip(steps, done, strict=True)]


def _sections(user: User, now: datetime) -> Iterator[Section]:
    yield audit_section(user, now)
    yield from batch_sections(user, now)
    yield from class_sections(user, now)
    yield from fruit_sections(user, now)
    yield section("offered", _("Free for you"), offer_cards(user, now))
    yield section("to-bring-back", _("Yours to bring back"), loan_cards(user, now))
    yield section("club-overdue", _("At the counter"), overdue_cards(user, now))
    yield review_section(user)
    yield club_seals_section(user, now)


def audit_section(user: User, now: datetime) -> Section:
    """For organisers: the night's audit found something."""
    title = _("The books do not agree")
    found = audit_to_tell(now) if user.has_perm("members.grant_role") else None
    if found is None:
        return Section("audit", title)
    words = ngettext("%(n)d thing does not go together", "%(n)d things do not go together", found.problems)
    about = _("found on %(day)s") % {"day": day_words(found.day)}
    return section(
        "audit",
        title,
        [Card(words % {"n": found.problems}, reverse("reminders:audit"), about, tone="stop", is_pressing=True)],
    )


def section(key: str, title: str, cards: Iterable[Card], *, more: str = "", more_url: str = "") -> Section:
    return Section(key, title, list(cards)[:SHOWN], more, more_url)


def hour_words(moment: datetime) -> str:
    """ "Sat 26 Sep, 14:05" on the wall of whoever reads it."""
    return date_format(timezone.localtime(moment), "D j M, H:i")


def day_words(day: date) -> str:
    return date_format(day, "D j M")


# Batches: jars to reprocess, seals to look at, a log to write.


def batch_sections(user: User, now: datetime) -> Iterator[Section]:
    mine = Batch.objects.filter(made_by=user).for_cards()
    yield section("asked-to-cook", _("Asked to the stove"), map(hand_card, BatchHand.objects.asking(user)[:SHOWN]))
    yield section(
        "to-reprocess", _("Jars to reprocess"), seal_cards(mine.to_reprocess(), now, page="batches:reprocess")
    )
    yield section(
        "seals-due",
        _("Seals to look at"),
        seal_cards(mine.seals_due(now), now),
        more=_("All seals due"),
        more_url=_listed("due"),
    )
    yield section(
        "on-the-stove",
        _("On the stove"),
        (stove_card(one, now) for one in mine.open()[:SHOWN]),
        more=_("All on the stove"),
        more_url=_listed("open"),
    )
    yield section(
        "under-way",
        _("Under way"),
        stage_cards(user, now),
        more=_("All under way"),
        more_url=_listed("underway"),
    )
    yield section(
        "cooling",
        _("Cooling, leave them be"),
        cooling_cards(mine.cooling(now)),
        more=_("All that cool"),
        more_url=_listed("cooling"),
    )


def club_seals_section(user: User, now: datetime) -> Section:
    """What other members have to do. Its cards lead to the page for noting seals only where this member may."""
    elsewhere = Batch.objects.visible_to(user).exclude(made_by=user).for_cards()
    due = list(elsewhere.seals_due(now)[:SHOWN])
    own = set(Batch.objects.changeable_by(user).filter(pk__in=[one.pk for one in due]).values_list("pk", flat=True))
    return section(
        "club-seals",
        _("Seals others have yet to look at"),
        seal_cards(due, now, names=True, may_note=own),
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
        # What others have to do presses them.
        at = None if names else until or batch.window.reprocess_until
        yield Card(batch.title, url, " · ".join(about), tag, tone, at=at, is_pressing=not names)


def hand_card(hand: BatchHand) -> Card:
    """Somebody asks for a second pair of hands, or to take a batch over."""
    text = _("%(who)s asks you to take it over") if hand.takes_over else _("%(who)s asks you to cook along")
    return Card(
        hand.batch.title,
        reverse("batches:stove-list"),
        f"{hand.batch.lot_code} · {hand.batch.kitchen.name}",
        text % {"who": hand.asked_by},
        at=hand.asked_at,
        is_pressing=True,
    )


def stove_card(batch: Batch, now: datetime) -> Card:
    """What was begun on another day presses nobody any more."""
    started = _("started %(when)s") % {"when": hour_words(batch.started_at)}
    about = " · ".join([batch.lot_code, batch.kitchen.name, started])
    todo = _("write down what was done")
    return Card(
        batch.title,
        batch.get_absolute_url(),
        about,
        todo,
        at=batch.started_at,
        is_pressing=batch.started_at > now - ONE_DAY,
    )


def stage_cards(user: User, now: datetime) -> Iterator[Card]:
    """Batches that take days, in the stage they are in; what wants a look or may be over goes first."""
    rows = Stage.objects.running().filter(batch__made_by=user)
    rows = rows.select_related("batch__kitchen", "batch__revision__recipe")
    rows = rows.defer("batch__plan", "batch__revision__content")
    for stage in rows.order_by(Coalesce("look_due_at", "ends_from", "began_at"), "pk")[:SHOWN]:
        batch, at = stage.batch, stage.look_due_at or stage.ends_from
        about = " · ".join([batch.lot_code, batch.kitchen.name, stage.get_kind_display()])
        if stage.look_due_at is not None and stage.look_due_at <= now:
            look = reverse("batches:look", args=[batch.lot_code])
            yield Card(batch.title, look, about, _("look at it today"), at=at)
        elif stage.ends_from is not None and stage.ends_from <= now:
            yield Card(batch.title, batch.get_absolute_url(), about, _("may be over"), at=at)
        else:
            yield Card(batch.title, batch.get_absolute_url(), about, at=at)


def cooling_cards(batches: BatchQuerySet) -> Iterator[Card]:
    for batch in batches[:SHOWN]:
        if batch.window is not None:
            look = _("look at the seals from %(when)s") % {"when": hour_words(batch.window.opens)}
            yield Card(batch.title, batch.get_absolute_url(), f"{batch.lot_code} · {look}", at=batch.window.opens)


def _listed(show: str) -> str:
    return f"{reverse('batches:list')}?show={show}"


# Classes: seats one is offered, classes one goes to, and those one runs.


def class_sections(user: User, now: datetime) -> Iterator[Section]:
    mine = list(_seats(user, now))
    offered = [one for one in mine if one.state == SignUpState.OFFERED]
    seated = [one for one in mine if one.state == SignUpState.SEATED]
    yield section("seats-offered", _("A seat for you"), map(_offer_card, offered))
    yield section(
        "classes-mine",
        _("Your classes"),
        (_session_card(one.session, reverse("classes:session", args=[one.session_id])) for one in seated),
        more=_("All your classes"),
        more_url=reverse("classes:mine"),
    )
    yield section("classes-taught", _("Classes you run"), _taught_cards(user, now))


def _seats(user: User, now: datetime) -> Iterator[SignUp]:
    """Seats near at hand; an offer runs out in hours, so it is shown however far ahead its session is, and first."""
    rows = SignUp.objects.of(user).filter(
        Q(state=SignUpState.OFFERED) | Q(session__starts_at__lt=now + SOON),
        state__in=SEAT_STATES,
        session__state=SessionState.PUBLISHED,
        session__ends_at__gt=now,
    )
    first = Case(When(state=SignUpState.OFFERED, then=0), default=1)
    yield from rows.select_related("session__hall").defer("needs").order_by(first, "session__starts_at", "pk")[:SHOWN]


def _offer_card(signup: SignUp) -> Card:
    until = hour_words(signup.offer_until) if signup.offer_until else ""
    tag = _("take it or leave it until %(when)s") % {"when": until}
    card = _session_card(signup.session, reverse("classes:session", args=[signup.session_id]), tag=tag)
    return replace(card, at=signup.offer_until, is_pressing=True)


def _taught_cards(user: User, now: datetime) -> Iterator[Card]:
    """What one teaches, from two weeks before to the day it is closed; a draft that nobody published yet as well."""
    if not user.has_perm("classes.plan_session"):
        return
    sessions = ClassSession.objects.filter(
        instructors=user, state__in=[SessionState.DRAFT, SessionState.PUBLISHED], starts_at__lt=now + SOON
    ).select_related("hall")
    for session in sessions.order_by("starts_at", "pk")[:SHOWN]:
        if session.state == SessionState.DRAFT:
            yield _session_card(session, reverse("classes:plan", args=[session.pk]), tag=_("not published yet"))
        elif session.ends_at <= now:
            yield _session_card(
                session, reverse("classes:after", args=[session.pk]), tag=_("call the roll and close it")
            )
        else:
            taken = ngettext("%(n)s seat taken", "%(n)s seats taken", session.seats_taken) % {"n": session.seats_taken}
            yield _session_card(session, reverse("classes:session", args=[session.pk]), tag=taken, tone="go")


def _session_card(session: ClassSession, url: str, *, tag: str = "", tone: str = "wait") -> Card:
    about = f"{hour_words(session.starts_at)} · {session.hall.name}"
    return Card(session.title, url, about, tag, tone, at=session.starts_at)


# Fruit: shares to pick up, and one's own offers.


def fruit_sections(user: User, now: datetime) -> Iterator[Section]:
    shares = Share.objects.promised().filter(person=user).select_related("offer__giver", "window")
    yield section(
        "fruit-to-fetch",
        _("Fruit to pick up"),
        (_share_card(one, user.units, now) for one in shares.order_by("window__starts_at", "pk")[:SHOWN]),
        more=_("All your fruit"),
        more_url=reverse("fruit:mine"),
    )
    offers = Offer.objects.filter(giver=user, stage=OfferStage.OPEN).order_by("closes_at", "pk")
    yield section("fruit-offered", _("Fruit you offer"), map(_fruit_offer_card, offers[:SHOWN]))


def _share_card(share: Share, units: str, now: datetime) -> Card:
    offer = share.offer
    about = f"{offer.amount_text(share.units, units)} · {offer.giver}"
    if share.window.ends_at <= now:
        tag, tone = _("was to be picked up by %(when)s") % {"when": hour_words(share.window.ends_at)}, "stop"
    else:
        tag, tone = _("pick it up from %(when)s") % {"when": hour_words(share.window.starts_at)}, "wait"
    title, ends = capfirst(str(offer.title)), share.window.ends_at
    return Card(title, offer.get_absolute_url(), about, tag, tone, at=ends, is_pressing=ends > now)


def _fruit_offer_card(offer: Offer) -> Card:
    closes = _("claims close %(when)s") % {"when": hour_words(offer.closes_at)}
    use_by = _("best used by %(day)s") % {"day": day_words(offer.use_by)}
    return Card(capfirst(str(offer.title)), offer.get_absolute_url(), use_by, closes, at=offer.closes_at)


# Equipment: what one has of the club's, what is free for one, and what is not back yet.


def offer_cards(user: User, now: datetime) -> Iterator[Card]:
    offered = WaitingEntry.objects.filter(person=user, state=WaitState.OFFERED, offer_until__gt=now)
    for entry in offered.select_related("hold__thing")[:SHOWN]:
        assert entry.hold is not None  # a constraint of the table: what is offered names both
        assert entry.offer_until is not None
        days = f"{day_words(entry.hold.starts)} – {day_words(entry.hold.ends)}"
        until = _("take it or leave it until %(when)s") % {"when": hour_words(entry.offer_until)}
        at = entry.offer_until
        yield Card(entry.hold.thing.name, reverse("equipment:mine"), days, until, at=at, is_pressing=True)


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
        at = at_hour(loan.due_on, time.max)
        yield Card(loan.thing.name, reverse("equipment:mine"), loan.thing.code, tag, tone, at=at)


def overdue_cards(user: User, now: datetime) -> Iterator[Card]:
    """For keepers: a card that counts what others have not brought back, and one for equipment that lacks a part."""
    if not user.has_perm(KEEP):
        return
    if count := Loan.objects.overdue(club_day(now)).exclude(person=user).count():
        title = ngettext("%(n)s thing is not back yet", "%(n)s things are not back yet", count) % {"n": count}
        yield Card(title, reverse("equipment:overdue"))
    if count := Thing.objects.short_of_parts().count():
        title = ngettext("A part of %(n)s thing is missing", "Parts of %(n)s things are missing", count) % {"n": count}
        yield Card(title, f"{reverse('equipment:list')}?show=missing")


# Recipes to review.


def review_section(user: User) -> Section:
    """Drafts that wait for somebody else's eyes; authors never review their own."""
    title = _("Recipes waiting for a second pair of eyes")
    if not user.has_perm("recipes.review_revision"):
        return Section("to-review", title)
    waiting = Revision.objects.filter(state=RevisionState.IN_REVIEW).exclude(author=user)
    cards = map(_review_card, waiting.select_related("recipe", "author").order_by("submitted_at", "pk")[:SHOWN])
    return section("to-review", title, cards, more=_("All that wait for review"), more_url=reverse("recipes:drafts"))


def _review_card(revision: Revision) -> Card:
    when = date_format(revision.submitted_at, "j M") if revision.submitted_at else ""
    about = _("from %(author)s, %(when)s") % {"author": revision.author, "when": when}
    return Card(revision.content["title"], reverse("recipes:draft", args=[revision.pk]), about)
