"""A revision that waits for another instructor's eyes: said once, a day after it was handed over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.members.choices import Role
from club.reminders.letters import Told, day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import holders_of, ids_of, subject_id
from club.reminders.terms import Rule
from club.reminders.wording import Due, Message
from recipes.models import Revision, RevisionQuerySet, RevisionState

REVISION = "revision:"
# Our own choice, no source: a day in which somebody may have seen it on the desk. A second mail would be nagging.
AFTER = timedelta(days=1)


def review_due(now: datetime) -> Iterator[Due]:
    """To every instructor but the author, once for each time it is handed over. Two queries."""
    waiting = list(_waiting(now).values_list("pk", "author", "submitted_at"))
    instructors = holders_of(Role.INSTRUCTOR) if waiting else []
    for revision_id, author, at in waiting:
        for instructor in instructors:
            if at is not None and instructor != author:
                since = at.astimezone(UTC)
                yield Due(f"{REVISION}{revision_id}", since.isoformat(), instructor, since + AFTER)


def review_still_due(reminder: Reminder, now: datetime) -> bool:
    """Not published, sent back or handed over anew since, and the person may review it still."""
    revision = _waiting(now).filter(pk=subject_id(reminder)).exclude(author=reminder.person_id).first()
    if revision is None or revision.submitted_at is None or not reminder.person.is_active:
        return False
    is_same = revision.submitted_at.astimezone(UTC).isoformat() == reminder.occurrence
    return is_same and reminder.person.has_role(Role.INSTRUCTOR)


def review_message(reminder: Reminder, now: datetime) -> Message:
    revision = Revision.objects.select_related("recipe", "author").get(pk=subject_id(reminder))

    def told() -> Told:
        since = day_words(timezone.localtime(datetime.fromisoformat(reminder.occurrence)).date())
        names = {"recipe": revision.recipe.title, "author": str(revision.author or ""), "since": since}
        said = _("%(recipe)s by %(author)s waits for a second pair of eyes since %(since)s.") % names
        then = _("Compare each figure with its source. Until somebody has, nobody can cook from it.")
        return _("To review: %(recipe)s") % names, [said, then], _("Read it, publish it or send it back")

    return letter(reminder, reverse("recipes:draft", args=[revision.pk]), told)


def _waiting(now: datetime) -> RevisionQuerySet:
    return Revision.objects.filter(state=RevisionState.IN_REVIEW, submitted_at__lte=now.astimezone(UTC) - AFTER)


def words(subjects: Iterable[str]) -> dict[str, str]:
    """The recipe's title, by subject; one query."""
    rows = Revision.objects.filter(pk__in=ids_of(subjects, REVISION)).values_list("pk", "recipe__title")
    return {f"{REVISION}{pk}": title for pk, title in rows}


RULES = (
    Rule(
        "revision-to-review",
        gettext_lazy("review a recipe"),
        review_due,
        review_still_due,
        review_message,
        keeps_a_week=True,
        only_to=frozenset({Role.INSTRUCTOR}),
    ),
)
