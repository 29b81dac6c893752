"""What is due about club orders: one closes tomorrow, and one's things are there to be fetched."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, time, timedelta

from django.db.models import Exists, OuterRef, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.reminders.letters import Told, letter
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.jars.choices import OrderState
from inventory.jars.models import ClubOrder, OrderPickup, OrderWish

ORDER = "order:"
DAY_BEFORE_AT = time(18, 0)
# Our own choice, no source: who ordered something within the year is asked again, others read it on the site.
ASKED_AGAIN = timedelta(days=365)


def closing_due(now: datetime) -> Iterator[Due]:
    """From 18:00 of the day before until it closes, to everybody who wished for something in an order of this year."""
    open_now = ClubOrder.objects.all().taking_wishes(now).values_list("pk", "closes_at")
    closing = [(pk, at) for pk, at in open_now if evening_before(at) <= now]
    if not closing:
        return
    recent = OrderWish.objects.filter(line__order__opened_at__gt=now - ASKED_AGAIN, member__is_active=True)
    people = sorted(set(recent.order_by().values_list("member", flat=True)))
    for pk, at in closing:
        yield from (Due(f"{ORDER}{pk}", _occurrence(at), person, evening_before(at)) for person in people)


def closing_still_due(reminder: Reminder, now: datetime) -> bool:
    """It takes wishes still, until the same hour."""
    order = ClubOrder.objects.all().taking_wishes(now).filter(pk=_key(reminder)).first()
    return order is not None and reminder.person.is_active and _occurrence(order.closes_at) == reminder.occurrence


def arrived_due(now: datetime) -> Iterator[Due]:
    """At once, to everybody who gets something of an order and has not fetched it."""
    waiting = _waiting().order_by().values_list("line__order", "line__order__arrived_at", "member").distinct()
    for pk, at, person in waiting:
        if at is not None and at <= now:
            yield Due(f"{ORDER}{pk}", _occurrence(at), person, at)


def arrived_still_due(reminder: Reminder, now: datetime) -> bool:
    return _waiting().filter(line__order=_key(reminder), member=reminder.person_id).exists()


def _waiting() -> QuerySet[OrderWish]:
    """Wishes of orders that are there, of members who get something and have not fetched it."""
    fetched = OrderPickup.objects.filter(order=OuterRef("line__order"), member=OuterRef("member"))
    there = OrderWish.objects.filter(line__order__state=OrderState.ARRIVED, got__gt=0, member__is_active=True)
    return there.filter(~Exists(fetched))


def closing_message(reminder: Reminder, now: datetime) -> Message:
    order = ClubOrder.objects.get(pk=_key(reminder))
    mine = OrderWish.objects.filter(line__order=order, member=reminder.person_id).exists()

    def told() -> Told:
        names = {"title": order.title, "when": date_format(timezone.localtime(order.closes_at), "l j F, H:i")}
        said = _("“%(title)s” takes wishes until %(when)s.") % names
        then = _("You have noted yours; they can be changed until then.") if mine else _("You wish for nothing yet.")
        return _("Closes soon: %(title)s") % names, [said, then], _("Look at the order")

    return letter(reminder, order.get_absolute_url(), told)


def arrived_message(reminder: Reminder, now: datetime) -> Message:
    order = ClubOrder.objects.get(pk=_key(reminder))
    wishes = OrderWish.objects.filter(line__order=order, member=reminder.person_id, got__gt=0).select_related("line")
    things = "; ".join(f"{wish.got} × {wish.line}" for wish in wishes.order_by("line"))

    def told() -> Told:
        names = {"title": order.title, "things": things}
        said = _("“%(title)s” has arrived. Yours to pick up: %(things)s.") % names
        then = _("Your bill, line by line, is on the page below.")
        return _("Yours to pick up: %(title)s") % names, [said, then], _("Look at the bill")

    return letter(reminder, reverse("jars:order-bill", args=[order.pk, reminder.person_id]), told)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The order's title by subject; one query, however many."""
    keys = [int(one.removeprefix(ORDER)) for one in subjects if one.startswith(ORDER)]
    if not keys:
        return {}
    return {f"{ORDER}{pk}": title for pk, title in ClubOrder.objects.filter(pk__in=keys).values_list("pk", "title")}


def evening_before(closes_at: datetime) -> datetime:
    """18:00 on the wall of the club, the day before the closing day; in UTC."""
    zone = timezone.get_default_timezone()
    day = timezone.localdate(closes_at, zone) - timedelta(days=1)
    return at_hour(day, DAY_BEFORE_AT)


def _occurrence(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()


def _key(reminder: Reminder) -> int:
    return int(reminder.subject.removeprefix(ORDER))


RULES: tuple[Rule, ...] = (
    Rule("order-closing", gettext_lazy("a club order closes"), closing_due, closing_still_due, closing_message),
    Rule("order-arrived", gettext_lazy("an order to pick up"), arrived_due, arrived_still_due, arrived_message),
)
