"""The weekly digest: what could wait, in one mail, on the weekday and at the hour that a person chose.

What goes into it was shown on the site when it fell due. The digest lists what she has not read there since the last
one, and leaves out what was settled meanwhile; with nothing left it is not sent.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from club.members.models import User
from club.reminders.letters import Told, letter
from club.reminders.models import Reminder, ReminderQuerySet, ReminderState, Wishes, last_weekly, wishes_of
from club.reminders.subjects import ids_of
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message

NAME = "weekly-digest"
PERSON = "person:"
# Our own choice, no source: after a night without the site the week's mail is still welcome, days later it is not.
WITHIN = timedelta(days=2)
A_MOMENT = timedelta(seconds=1)


def digest_due(now: datetime) -> Iterator[Due]:
    """To each whose weekday and hour came within the last two days, when something was kept for her. Two queries."""
    wanted = Wishes.objects.filter(digest_weekday__isnull=False, person__is_active=True).select_related("person")
    hers = {wishes.person_id: wishes for wishes in wanted if _is_wanted(wishes)}
    hours = {person: hour for person, wishes in hers.items() if now - (hour := _hour(wishes, now)) < WITHIN}
    kept = _kept().filter(person__in=hours).values_list("person", "rule", "sent_at") if hours else []
    told = {person for person, rule, at in kept if _goes_in(hers[person], rule, at, hours[person])}
    for person in sorted(told):
        yield Due(f"{PERSON}{person}", hours[person].isoformat(), person, hours[person])


def digest_still_due(reminder: Reminder, now: datetime) -> bool:
    """She wants one still, at that hour, and something is left to say."""
    wishes = wishes_of(reminder.person)
    if not reminder.person.is_active or not _is_wanted(wishes):
        return False
    return _hour(wishes, now).isoformat() == reminder.occurrence and bool(_still_open(reminder, now))


def digest_message(reminder: Reminder, now: datetime) -> Message:
    headlines = [one.headline for one in _still_open(reminder, now)]

    def told() -> Told:
        count = len(headlines)
        subject = ngettext("This week: %(n)d thing", "This week: %(n)d things", count) % {"n": count}
        said = _("What could wait, and waits still:")
        return subject, [said, *(f"- {one}" for one in headlines)], _("Your inbox, where each leads to its page")

    return letter(reminder, reverse("reminders:inbox"), told)


def _still_open(digest: Reminder, now: datetime) -> list[Reminder]:
    """What the digest lists; each one's rule is asked again."""
    from club.reminders.rules import RULES  # of which this one is itself a part

    hour, wishes = datetime.fromisoformat(digest.occurrence), wishes_of(digest.person)
    kept = _kept().filter(person=digest.person_id).select_related("person").order_by("sent_at", "pk")
    rows = [one for one in kept if _goes_in(wishes, one.rule, one.sent_at, hour)]
    return [one for one in rows if RULES[one.rule].still_due(one, now)]


def _kept() -> ReminderQuerySet:
    """What was shown on the site for a digest to list, and was not read there."""
    from club.reminders.rules import RULES  # of which this one is itself a part

    weekly = [rule.name for rule in RULES.values() if rule.may_wait and rule.keeps_a_week]
    return Reminder.objects.filter(state=ReminderState.SHOWN, read_at=None, rule__in=weekly).exclude(headline="")


def _goes_in(wishes: Wishes, rule: str, shown_at: datetime | None, hour: datetime) -> bool:
    """Shown in the week that ends with `hour`, and not of a kind of which she wants no mail at all."""
    if shown_at is None or rule in wishes.muted_kinds:
        return False
    return _hour(wishes, hour - A_MOMENT) < shown_at <= hour


def _is_wanted(wishes: Wishes) -> bool:
    return wishes.has_digest and NAME not in wishes.muted_kinds and not wishes.is_bounced


def _hour(wishes: Wishes, now: datetime) -> datetime:
    return last_weekly(now, wishes.digest_weekday or 0, wishes.digest_hour, wishes.zone)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The person it is for, by subject; one query."""
    people = User.objects.filter(pk__in=ids_of(subjects, PERSON))
    return {f"{PERSON}{person.pk}": str(person) for person in people}


RULES = (
    Rule(
        NAME,
        gettext_lazy("the week in one mail, for those who want one"),
        digest_due,
        digest_still_due,
        digest_message,
        may_wait=False,  # she chose the hour herself
        after_lost_lease="hold",  # a digest twice is a nuisance, and what it lists is on the site
    ),
)
