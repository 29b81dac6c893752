"""What a rule is: one class for each reason to remind somebody, and the mail that says it.

A rule is a query for what is due now, so nothing hangs on an event being seen. Gathering and the re-check just before
sending are the same for all; a rule says which rows it is about, whom it reaches and what tells one call from another.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any, ClassVar, Generic, Literal, TypeVar

from django.conf import settings
from django.core import signing
from django.db.models import Model, QuerySet
from django.template import Context
from django.template.loader import get_template, render_to_string
from django.template.loader_tags import BlockNode
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.members.choices import Role
from club.members.models import User
from club.reminders.models import Reminder

Row = TypeVar("Row")


@dataclass(frozen=True)
class _Said:
    """What a mail is made of: its subject line, its paragraphs, what its link does and where that leads."""

    subject: str
    paragraphs: list[str]
    action: str
    path: str


@dataclass(frozen=True)
class Due:
    """One thing due to one person. `occurrence` tells two of the same kind apart: a later hour, a second round."""

    subject: str
    occurrence: str
    person_id: int
    due_at: datetime


@dataclass(frozen=True)
class Message:
    """A mail's subject line, its body twice, and the page where the thing is done. The link signs nobody in."""

    subject: str
    text: str
    html: str
    link: str


class Rule(Generic[Row]):
    """One reason to remind somebody.

    A subclass gives `due_rows`, `occurrence`, `due_at` and `mail`, a person or a role whom it reaches, and a mail
    template under its name. `open_rows` and the switches below are for what differs.
    """

    name: ClassVar[str]
    title: ClassVar[str | Promise]

    # What its rows are: a reminder's subject is "batch:41", and on lists it goes by `subject_field` of that row.
    prefix: ClassVar[str]
    model: ClassVar[type[Model]]
    subject_field: ClassVar[str]

    # Whom it reaches: the person under this name on the row, or every active person with this role.
    person_field: ClassVar[str] = ""
    role: ClassVar[Role | None] = None
    # Whom of that role a row leaves out, such as its author.
    but_not_field: ClassVar[str] = ""

    # Whether a person may choose to see it on the site alone.
    may_mute: ClassVar[bool] = True
    # Whether it waits for the end of the person's quiet hours.
    may_wait: ClassVar[bool] = True
    # Whether it is as good a few days later, and so goes into the weekly digest of those who want one; what hangs on
    # a day or an hour does not keep.
    keeps_a_week: ClassVar[bool] = False
    # A sender that died while it sent the mail leaves it unknown whether it went out. "again" where a second mail
    # costs less than one that nobody gets (seals, recalls); "hold" keeps it back and shows it to an organiser.
    after_lost_lease: ClassVar[Literal["again", "hold"]] = "again"
    # Due from the moment it happens, so that no hour is waited for.
    at_once: ClassVar[bool] = False
    # Whether several for one person are one mail. Never what runs out within hours, or is not to be eaten.
    gathers: ClassVar[bool] = False
    # How long the first waits for others, where they come one by one through a morning.
    gathers_for: ClassVar[timedelta] = timedelta(0)
    # False: a reminder once gathered stays due while its row is open, though the occurrence would be another now.
    settles_with_occurrence: ClassVar[bool] = True

    def due_rows(self, now: datetime) -> Iterable[Row]:
        """What may be due at `now`; asked each minute, so it must stay true for longer than that."""
        raise NotImplementedError

    def open_rows(self, now: datetime) -> QuerySet[Any]:
        """What is still due when it was gathered earlier."""
        rows = self.due_rows(now)
        assert isinstance(rows, QuerySet)
        return rows

    def occurrence(self, row: Row, now: datetime) -> str:
        """What makes this due once more, such as another hour; empty when there is nothing to say (any more)."""
        raise NotImplementedError

    def due_at(self, row: Row, now: datetime) -> datetime:
        raise NotImplementedError

    def recipients(self, row: Row) -> Iterable[int]:
        """Keys of the people whom it reaches, where no role says that."""
        return (getattr(row, f"{self.person_field}_id"),)

    def reaches(self, row: Row, person: User) -> bool:
        """Whether the person is among the recipients still."""
        if self.role is None:
            return person.pk in self.recipients(row)
        return person.has_role(self.role) and person.pk != self._left_out(row)

    def _left_out(self, row: Row) -> int | None:
        return getattr(row, f"{self.but_not_field}_id") if self.but_not_field else None

    def address(self, reminder: Reminder) -> str:
        """Where its mail goes."""
        return reminder.person.email

    def mail(self, reminder: Reminder, now: datetime) -> tuple[str, dict[str, Any]]:
        """Of a reminder that is still due: the page where the thing is done, and the context of the mail template."""
        raise NotImplementedError

    # The same for every rule.

    @property
    def only_to(self) -> frozenset[Role]:
        """Who can ever get it, by role; nothing: everybody."""
        return frozenset({self.role}) if self.role else frozenset()

    def due(self, now: datetime) -> Iterator[Due]:
        """What is due at `now`, for gathering."""
        with_role: list[int] | None = None
        for row in self.due_rows(now):
            occurrence = self.occurrence(row, now)
            if not occurrence:
                continue
            due_at = self.due_at(row, now)
            if due_at > now and not self.at_once:
                continue
            if self.role and with_role is None:
                with_role = holders_of(self.role)
            for person_id in self.recipients(row) if with_role is None else with_role:
                if person_id != self._left_out(row):
                    yield Due(f"{self.prefix}{self.key(row)}", occurrence, person_id, due_at)

    def still_due(self, reminder: Reminder, now: datetime) -> bool:
        """Asked again just before sending: False when it was settled meanwhile."""
        if not reminder.person.is_active:
            return False
        row = self.open_row(reminder, now)
        if row is None or not self.reaches(row, reminder.person):
            return False
        return not self.settles_with_occurrence or self.occurrence(row, now) == reminder.occurrence

    def open_row(self, reminder: Reminder, now: datetime) -> Row | None:
        """The row that the reminder is about, while it is open."""
        row: Row | None = self.open_rows(now).filter(pk=reminder.subject_id).first()
        return row

    def key(self, row: Row) -> int:
        """The number in the reminder's subject."""
        return row.pk  # type: ignore[attr-defined, no-any-return]

    def names(self, keys: Collection[int]) -> dict[int, str]:
        """What the rows under these keys are called on a list; one query, however many."""
        rows = self.model._default_manager.filter(pk__in=keys)
        return {pk: str(name) for pk, name in rows.values_list("pk", self.subject_field)}

    def message(self, reminder: Reminder, now: datetime) -> Message:
        """The mail, in the club's zone and language."""
        with _club_words():
            return self._letter(reminder, self._said(reminder, now))

    def message_of_several(self, reminders: Sequence[Reminder], now: datetime) -> Message:
        """One mail of several for one person. What is said of each stands once; what is the same for all, after it."""
        with _club_words():
            said = [self._said(one, now) for one in reminders]
            counted = Counter(text for one in said for text in dict.fromkeys(one.paragraphs))
            of_each = [text for text in counted if counted[text] < len(said)]
            same = [text for text in counted if counted[text] == len(said)]
            params = {"first": said[0].subject, "n": len(said) - 1}
            subject = ngettext("%(first)s, and %(n)s more", "%(first)s, and %(n)s more", len(said) - 1) % params
            paths = {one.path for one in said}
            action = said[0].action if len(paths) == 1 else _("Your inbox, where each leads to its page")
            path = paths.pop() if len(paths) == 1 else reverse("reminders:inbox")
            return self._letter(reminders[0], _Said(subject, [*of_each, *same], action, path))

    def _said(self, reminder: Reminder, now: datetime) -> _Said:
        path, values = self.mail(reminder, now)
        subject, *paragraphs, action = _blocks(f"reminders/mail/{self.name}.txt", values)
        return _Said(" ".join(subject.split()), paragraphs, action, path)

    def _letter(self, reminder: Reminder, said: _Said) -> Message:
        link = settings.SITE_URL + said.path
        context = {
            "greeting": _("Hello %(name)s,") % {"name": reminder.person.get_short_name()},
            "paragraphs": said.paragraphs,
            "action": said.action,
            "link": link,
            "stop_link": stop_link(reminder.person_id, self.name) if self.may_mute else "",
            "club_name": settings.CLUB_NAME,
        }
        return Message(
            subject=said.subject,
            text=render_to_string("reminders/mail/letter.txt", context),
            html=render_to_string("reminders/mail/letter.html", context),
            link=link,
        )


AnyRule = Rule[Any]


@contextmanager
def _club_words() -> Iterator[None]:
    """The club's zone and language: a worker has no visitor whose own it could take."""
    with timezone.override(timezone.get_default_timezone()), translation.override(settings.LANGUAGE_CODE):
        yield


def _blocks(template_name: str, context: dict[str, Any]) -> list[str]:
    """What a mail template's blocks say, in plain text: the subject line, each paragraph, what the link does.

    A block that says nothing is no paragraph; one named "lines" is a paragraph for each of its lines. The letter in
    text and the one in HTML are both made of these, so that the two never say different things.
    """
    template = get_template(template_name).template  # type: ignore[attr-defined]
    data = Context(context, autoescape=False)
    texts: list[str] = []
    with data.render_context.push_state(template), data.bind_template(template):
        for block in template.nodelist.get_nodes_by_type(BlockNode):
            text = str(block.render(data)).strip("\n")
            texts += [line for line in text.splitlines() if line] if block.name == "lines" else [text] if text else []
    return texts


def holders_of(role: Role) -> list[int]:
    """Keys of the active people who hold the role; one query."""
    return list(User.objects.get_queryset().holding(role).values_list("pk", flat=True))


# Moments and how mails write them.


def stamp(moment: datetime | None) -> str:
    """A moment as an occurrence."""
    return moment.astimezone(UTC).isoformat() if moment is not None else ""


def format_day(day: date) -> str:
    return date_format(day, "l j F")


def format_moment(moment: datetime | None) -> str:
    """In the club's zone, with day and zone named: "Sunday 1 November, 17:10 (MST)" leaves nothing to guess."""
    return date_format(timezone.localtime(moment), "l j F, H:i (T)") if moment else ""


# The link in a mail that stops mails of its kind to its person, and does nothing else: it signs nobody in. Signed and
# without an end: a mail is kept for years, and its link should still do what it says.

SALT = "kettlehall.reminders.stop"


def stop_link(person_id: int, kind: str) -> str:
    """The whole address. The same for the same person and kind, so that a mail sent again is the same mail."""
    return settings.SITE_URL + reverse("reminders:stop", args=[stop_token(person_id, kind)])


def stop_token(person_id: int, kind: str) -> str:
    return signing.Signer(salt=SALT).sign_object([person_id, kind])


def read_stop_token(token: str) -> tuple[int, str] | None:
    """Whom and which kind a token is for; None for one that we did not make."""
    try:
        person_id, kind = signing.Signer(salt=SALT).unsign_object(token)
    except (signing.BadSignature, ValueError, TypeError):
        return None
    return person_id, kind
