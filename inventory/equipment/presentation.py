"""Days as people read them; a month as a table: of one thing, day by day; of a kind, how many are free."""

from __future__ import annotations

import calendar
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count
from django.utils.formats import date_format, get_format
from django.utils.functional import Promise
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from club.members.models import User
from inventory.equipment.choices import ThingState
from inventory.equipment.models import FreeSpan, Loan, Thing, ThingDay
from inventory.equipment.rules import DAY, FURTHEST_AHEAD_DAYS, Span, days_between


def day_words(day: date) -> str:
    return date_format(day, "D j M Y")


def span_words(span: Span) -> str:
    if span.starts == span.ends:
        return day_words(span.starts)
    return gettext("%(first)s to %(last)s") % {"first": date_format(span.starts, "D j M"), "last": day_words(span.ends)}


def days_words(count: int) -> str:
    return ngettext("%(n)s day", "%(n)s days", count) % {"n": count}


def free_words(free: Sequence[FreeSpan], span: Span) -> str:
    """Such as: Next free for 3 days: Mon 5 Oct to Wed 7 Oct 2026 (BWC-01); and so on."""
    length = days_words(span.length)
    if not free:
        return gettext("It is not free for %(days)s at any time in the coming year. Join the waiting line.") % {
            "days": length
        }
    dates = "; ".join(f"{span_words(one.span)} ({one.code})" for one in free)
    return gettext("Next free for %(days)s: %(dates)s.") % {"days": length, "dates": dates}


# A month as a table.


@dataclass(frozen=True)
class Cell:
    """One day. `word` stands under the number; `look` free, taken, yours, cleaning or past; `can_hold`: link to it."""

    day: date
    is_in_month: bool
    is_today: bool
    word: str | Promise
    look: str
    can_hold: bool


@dataclass(frozen=True)
class Month:
    first: date
    weekdays: list[date]  # one day of each weekday, in the order of the table, for their names
    weeks: list[list[Cell]]
    earlier: date | None
    later: date | None


def month_asked(text: str, today: date) -> date:
    """The first of the month "2026-10" names, within a year or so of today; else of this month."""
    try:
        year, month = (int(part) for part in text.split("-"))
        first = date(year, month, 1)
    except ValueError:
        first = today.replace(day=1)
    return first if abs((first - today).days) <= FURTHEST_AHEAD_DAYS else today.replace(day=1)


def _month(first: date, today: date, cell: Callable[[date], tuple[str | Promise, str, bool]]) -> Month:
    weeks = calendar.Calendar((int(get_format("FIRST_DAY_OF_WEEK")) - 1) % 7).monthdatescalendar(
        first.year, first.month
    )
    earlier, later = (first - DAY).replace(day=1), (first + timedelta(days=32)).replace(day=1)
    return Month(
        first=first,
        weekdays=weeks[0],
        weeks=[[Cell(day, day.month == first.month, day == today, *cell(day)) for day in week] for week in weeks],
        earlier=earlier if month_asked(f"{earlier:%Y-%m}", today) == earlier else None,
        later=later if month_asked(f"{later:%Y-%m}", today) == later else None,
    )


def thing_month(thing: Thing, first: date, *, today: date, viewer: User) -> Month:
    """Two queries. Whose a day is, only its holder and the keepers are told, and that in the list below."""
    rows = ThingDay.objects.filter(thing=thing).between(first - 7 * DAY, first + 38 * DAY).select_related("hold")
    taken = {row.day: row.hold for row in rows}
    is_late = Loan.objects.overdue(today).filter(thing=thing).exists()
    late = set(days_between(today, today + thing.turnaround_days * DAY)) if is_late else set()

    def cell(day: date) -> tuple[str | Promise, str, bool]:
        hold = taken.get(day)
        if hold is not None and day > hold.ends:
            return _("clean"), "cleaning", False
        if hold is not None:
            return (_("yours"), "yours", False) if hold.person_id == viewer.pk else (_("taken"), "taken", False)
        if day < today:
            return "", "past", False
        if day in late:
            return _("late"), "taken", False
        return _("free"), "free", thing.state == ThingState.IN_SERVICE

    return _month(first, today, cell)


def kind_month(kind: str, first: date, *, today: date) -> Month:
    """How many of a kind are free each day, as "2/3". Two queries, however many things."""
    lent = Thing.objects.in_service().filter(kind=kind)
    total = lent.count()
    rows = ThingDay.objects.filter(thing__in=lent).between(first - 7 * DAY, first + 38 * DAY).order_by()
    taken = dict(rows.values_list("day").annotate(count=Count("pk")))

    def cell(day: date) -> tuple[str | Promise, str, bool]:
        if day < today:
            return "", "past", False
        free = total - taken.get(day, 0)
        return f"{free}/{total}", "free" if free else "taken", free > 0

    return _month(first, today, cell)
