"""What is due about kitchens: somebody asks a member into theirs, and a kitchen's altitude was changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.members.models import AltitudeChange, Kitchen, KitchenInvitation, height_words
from club.reminders.letters import Told, day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message

INVITATION, ALTITUDE = "kitchen-invitation:", "altitude:"
# Our own choice, no source: a site that was down for so long tells of it still.
TOLD_WITHIN = timedelta(days=14)


def invited_due(now: datetime) -> Iterator[Due]:
    """At once, to the member who is asked."""
    open_now = KitchenInvitation.objects.open(now).order_by().values_list("pk", "invited_at", "person")
    for pk, at, person in open_now:
        yield Due(f"{INVITATION}{pk}", _stamp(at), person, at)


def invited_still_due(reminder: Reminder, now: datetime) -> bool:
    """Neither answered nor taken back since, nor asked anew."""
    waiting = KitchenInvitation.objects.open(now).filter(pk=subject_id(reminder), person=reminder.person_id).first()
    return waiting is not None and _stamp(waiting.invited_at) == reminder.occurrence


def invited_message(reminder: Reminder, now: datetime) -> Message:
    invitation = KitchenInvitation.objects.select_related("kitchen", "invited_by").get(pk=subject_id(reminder))

    def told() -> Told:
        by = invitation.invited_by
        names = {"who": str(by), "email": by.email, "kitchen": invitation.kitchen.name}
        said = _("%(who)s (%(email)s) asks whether you preserve in the kitchen “%(kitchen)s” too.") % names
        then = _("Nothing changes until you say yes. If you do not know them, say no or do nothing.")
        return _("You are asked into a kitchen: %(kitchen)s") % names, [said, then], _("Say yes or no")

    return letter(reminder, reverse("members:me"), told)


def altitude_due(now: datetime) -> Iterator[Due]:
    """At once, to everybody of the household, whoever changed it among them: it need not have been them who pressed.

    Of several changes of one kitchen the last. Two queries.
    """
    recent = AltitudeChange.objects.filter(changed_at__gt=now - TOLD_WITHIN).order_by("changed_at", "pk")
    last = {kitchen: (pk, at) for kitchen, pk, at in recent.values_list("kitchen", "pk", "changed_at")}
    if not last:
        return
    active = Kitchen.objects.filter(pk__in=last, people__is_active=True).order_by()
    for kitchen, person in active.values_list("pk", "people"):
        pk, at = last[kitchen]
        yield Due(f"{ALTITUDE}{pk}", _stamp(at), person, at)


def altitude_still_due(reminder: Reminder, now: datetime) -> bool:
    """It is the last change of that kitchen, and the person is of the household still."""
    change = AltitudeChange.objects.filter(pk=subject_id(reminder), kitchen__people=reminder.person_id).first()
    if change is None or not reminder.person.is_active:
        return False
    return change == AltitudeChange.objects.filter(kitchen=change.kitchen_id).last()


def altitude_message(reminder: Reminder, now: datetime) -> Message:
    change = AltitudeChange.objects.select_related("kitchen", "changed_by").get(pk=subject_id(reminder))

    def told() -> Told:
        unknown = _("unknown")
        names = {
            "kitchen": change.kitchen.name,
            "who": str(change.changed_by),
            "day": day_words(timezone.localdate(change.changed_at)),
            "before": height_words(change.from_m) or unknown,
            "now": height_words(change.to_m) or unknown,
        }
        said = _("%(who)s changed the altitude of %(kitchen)s on %(day)s: from %(before)s to %(now)s.") % names
        then = _("It decides every process time in this kitchen. If it is wrong, mend it before the next batch.")
        kept = _("Batches already started keep the altitude they were started with.")
        return _("Another altitude: %(kitchen)s, now %(now)s") % names, [said, then, kept], _("Look at the kitchen")

    return letter(reminder, reverse("members:kitchen-change", args=[change.kitchen_id]), told)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The kitchen's name by subject; two queries, however many."""
    wanted = list(subjects)
    asked = KitchenInvitation.objects.filter(pk__in=ids_of(wanted, INVITATION)).values_list("pk", "kitchen__name")
    changes = AltitudeChange.objects.filter(pk__in=ids_of(wanted, ALTITUDE)).values_list("pk", "kitchen__name")
    return {f"{INVITATION}{pk}": name for pk, name in asked} | {f"{ALTITUDE}{pk}": name for pk, name in changes}


def _stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat()


RULES: tuple[Rule, ...] = (
    Rule(
        "kitchen-invitation",
        gettext_lazy("you are asked into a kitchen"),
        invited_due,
        invited_still_due,
        invited_message,
    ),
    Rule(
        "kitchen-altitude",
        gettext_lazy("a kitchen's altitude was changed"),
        altitude_due,
        altitude_still_due,
        altitude_message,
        may_mute=False,
    ),
)
