"""Two calls to who keeps the supplies: something runs low, and something is past its date.

Each is due once for each time it happens: "low" counts from the moment it began, "past" from the date on the packet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, time, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.core.clock import club_day
from club.members.choices import Role
from club.members.models import User
from club.reminders.letters import Told, letter
from club.reminders.models import Reminder
from club.reminders.subjects import at_hour, holders_of, ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from inventory.jars.models import KEEP, Supply, SupplyLot, is_low

LOW, PAST = "supply:", "supply-lot:"


def low_due(now: datetime) -> Iterator[Due]:
    """Supplies with too little left that can be used. One whose stock only lapsed is `past_due`'s to tell."""
    keepers = holders_of(Role.KEEPER)
    for supply in Supply.objects.with_counts(club_day(now)):
        if is_low(supply) and supply.low_since is not None:
            since = supply.low_since.astimezone(UTC)
            yield from (Due(f"{LOW}{supply.pk}", since.isoformat(), person, due_at=since) for person in keepers)


def low_still_due(reminder: Reminder, now: datetime) -> bool:
    supply = Supply.objects.with_counts(club_day(now)).filter(pk=subject_id(reminder)).first()
    if supply is None or supply.low_since is None or not is_low(supply):
        return False
    return supply.low_since.astimezone(UTC).isoformat() == reminder.occurrence and _keeps(reminder.person)


def past_due(now: datetime) -> Iterator[Due]:
    """Lots that are past their date and still on the shelf."""
    keepers = holders_of(Role.KEEPER)
    for pk, use_by in SupplyLot.objects.past(club_day(now)).values_list("pk", "use_by"):
        if use_by is not None:
            yield from (
                Due(f"{PAST}{pk}", use_by.isoformat(), person, due_at=_morning_after(use_by)) for person in keepers
            )


def past_still_due(reminder: Reminder, now: datetime) -> bool:
    lot = SupplyLot.objects.past(club_day(now)).filter(pk=subject_id(reminder)).first()
    return lot is not None and str(lot.use_by) == reminder.occurrence and _keeps(reminder.person)


def _morning_after(use_by: date) -> datetime:
    """The first moment of the next day on the club's calendar."""
    return at_hour(use_by + timedelta(days=1), time(0))


def _keeps(person: User) -> bool:
    return person.is_active and person.has_perm(KEEP)


def low_message(reminder: Reminder, now: datetime) -> Message:
    supply = Supply.objects.with_counts(club_day(now)).get(pk=subject_id(reminder))
    told = {"name": supply.name, "n": supply.usable, "unit": supply.unit, "low": supply.low_level}  # type: ignore[attr-defined]

    def say() -> Told:
        said = _("%(name)s: %(n)s %(unit)s left that can be used; low from %(low)s. Time to buy more.")
        return _("Running low: %(name)s") % told, [said % told], _("Open the page of this supply")

    return letter(reminder, supply.get_absolute_url(), say)


def past_message(reminder: Reminder, now: datetime) -> Message:
    lot = SupplyLot.objects.select_related("supply").get(pk=subject_id(reminder))

    def say() -> Told:
        date = date_format(lot.use_by, "j F Y") if lot.use_by else ""
        told = {"name": lot.supply.name, "n": lot.count, "unit": lot.supply.unit, "date": date}
        said = _("%(name)s: %(n)s %(unit)s were to be used by %(date)s. Take them off the shelf.")
        return _("Past its date: %(name)s") % told, [said % told], _("Open the page of this supply")

    return letter(reminder, lot.supply.get_absolute_url(), say)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The supply's name by subject, for those that are supplies or lots of one; two queries, however many."""
    wanted = list(subjects)
    kinds = Supply.objects.filter(pk__in=ids_of(wanted, LOW)).values_list("pk", "name")
    lots = SupplyLot.objects.filter(pk__in=ids_of(wanted, PAST)).values_list("pk", "supply__name")
    return {f"{LOW}{pk}": name for pk, name in kinds} | {f"{PAST}{pk}": name for pk, name in lots}


RULES = (
    Rule(
        "supply-low",
        gettext_lazy("buy more of what runs low"),
        low_due,
        low_still_due,
        low_message,
        keeps_a_week=True,
        only_to=frozenset({Role.KEEPER}),
    ),
    Rule(
        "supply-past",
        gettext_lazy("take what is past its date off the shelf"),
        past_due,
        past_still_due,
        past_message,
        keeps_a_week=True,
        only_to=frozenset({Role.KEEPER}),
    ),
)
