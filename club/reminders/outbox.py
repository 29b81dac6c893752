"""The outbox: gather what is due, send it once, and never lose it."""

from __future__ import annotations

import contextlib
import logging
import random
import re
import shutil
import smtplib
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from itertools import islice
from types import TracebackType
from typing import Literal, Self, TypedDict
from uuid import uuid4

import redis
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend as SmtpBackend
from django.db import DatabaseError, InterfaceError, OperationalError, connection, transaction
from django.db.models import F, Q, QuerySet, prefetch_related_objects

from club.core.faults import migrations_missing_and_unknown
from club.core.logs import number_header
from club.members.choices import Role
from club.members.models import User
from club.reminders.models import (
    BACKUP_JOB,
    TEST_JOB,
    IsIn,
    NotificationSettings,
    PeriodicJob,
    Reminder,
    ReminderState,
    message_id_of,
    notification_settings_of,
    quiet_until,
)
from club.reminders.rules import AnyRule, Due, Message, stop_link
from club.reminders.services import RULES, mailbox_note_bounce

# Pure sums of the outbox: how long to wait, when to give up, and which refusals are final.

# With the waits below: a mail that fails for itself is given up after about four hours.
MOST_ATTEMPTS = 10
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
NO_MAILBOX = re.compile(rb"5\.1\.\d")
SERVER_TROUBLE = (
    smtplib.SMTPServerDisconnected,
    smtplib.SMTPConnectError,
    smtplib.SMTPHeloError,
    smtplib.SMTPNotSupportedError,
    smtplib.SMTPAuthenticationError,
    smtplib.SMTPSenderRefused,
)


def wait_after(attempt: int, *, jitter: float) -> timedelta:
    """Wait before the next try: doubling from a minute up to an hour, then spread by a quarter either way.

    `jitter` is a number from 0 to 1. Without the spread, all that failed together would come back together.
    """
    doubled: timedelta = FIRST_WAIT * 2 ** min(
        attempt - 1, 16
    )  # no further: an outage of days must not overflow the sum
    plain = min(doubled, LONGEST_WAIT)
    return plain * (0.75 + 0.5 * jitter)


def is_final(error: Exception) -> bool:
    """True when the mail server refused the very address for good (a 5xx answer): asking again gets a club banned.

    A refused sign-in or a refused connection is not final: an organiser can mend it.
    """
    return isinstance(error, smtplib.SMTPRecipientsRefused) and all(
        500 <= code < 600 for code, _text in error.recipients.values()
    )


def is_server_away(error: Exception) -> bool:
    """True when no mail at all would go out just now: no connection, no sign-in, or our own address refused."""
    if isinstance(error, smtplib.SMTPException):
        return isinstance(error, SERVER_TROUBLE)
    return isinstance(error, OSError)


def is_no_mailbox(error: Exception) -> bool:
    """True when the server says that there is no such mailbox (RFC 3463, 5.1.x): the address is wrong, not we.

    Any other refusal for good may be our own fault, such as a relay that does not know us, and says nothing of them.
    """
    if not isinstance(error, smtplib.SMTPRecipientsRefused) or not error.recipients:
        return False
    return all(500 <= code < 600 and NO_MAILBOX.match(text) for code, text in error.recipients.values())


def is_given_up(error: Exception, attempts: int) -> bool:
    """A poisoned mail has so many tries. One that only waits for the server keeps trying until its rule lets go."""
    return is_final(error) or (attempts >= MOST_ATTEMPTS and not is_server_away(error))


# One clock at a time: a second beat, or a message that comes twice, finds the round begun and does no harm.

JOB = "reminders"
# A machine whose clock was wrong for a moment must not stop the rules from being asked for a year.
NO_LEASE_IS_LONGER = timedelta(hours=1)


def round_begin(*, now: datetime) -> bool:
    """True when this round is ours. It stays so for two rounds' time; then whoever began it counts as gone."""
    if _take(now):
        return True
    if PeriodicJob.objects.filter(name=JOB).exists():
        return False
    PeriodicJob.objects.bulk_create([PeriodicJob(name=JOB, free_at=now)], ignore_conflicts=True)
    return _take(now)


def _take(now: datetime) -> bool:
    free = Q(free_at__lte=now) | Q(free_at__gt=now + NO_LEASE_IS_LONGER)
    until = now + timedelta(seconds=2 * settings.REMINDER_TICK_SECONDS)
    return PeriodicJob.objects.filter(free, name=JOB).update(free_at=until, began_at=now) == 1


def round_end(*, began: datetime, now: datetime) -> None:
    """The next round may begin three quarters of the interval after this one began: a clock is never that early."""
    free_at = began + timedelta(seconds=0.75 * settings.REMINDER_TICK_SECONDS)
    PeriodicJob.objects.filter(name=JOB, began_at=began).update(free_at=free_at, ended_at=now)


def since_ended(now: datetime) -> dict[str, timedelta]:
    """How long ago each job of those that are noted last ended, the rounds among them; without those that never did."""
    ends = PeriodicJob.objects.values_list("name", "ended_at")
    return {name: now - ended for name, ended in ends if ended is not None}


# Which sender has which row. Every change of state of a row on its way is here, each a conditional update.
#
# A sender leases a batch of due rows, and then sends one after the other. A lease that ran out belonged to a sender
# that died: rows that were only leased are due again; of the one that was being sent nobody knows whether it left.

log = logging.getLogger(__name__)

MOST_LEASED = 50
DATABASE_AWAY = (OperationalError, InterfaceError)
# Together half a minute: a database that restarts is back by then, and the lease runs much longer.
PAUSES_S = (0.5, 1, 2, 4, 8, 16)
ALL_DIED = "Each sender died before it could say."
UNKNOWN = "The sender died with this mail in hand: it may have arrived. Ask, before you send it again."


def lease_time() -> timedelta:
    return timedelta(seconds=settings.REMINDER_LEASE_SECONDS)


def lease_begin(*, now: datetime, most: int = MOST_LEASED) -> list[Reminder]:
    """So many of the rows that wait, the longest wait first; an empty list when none does.

    PostgreSQL passes over the rows that another is taking at this moment. SQLite knows no row locks; there the
    transaction has the whole database to itself from its first statement.
    """
    while True:
        with transaction.atomic():
            waiting = Reminder.objects.waiting(now).select_related("person__notification_settings")
            found = list(waiting.select_for_update(skip_locked=True, of=("self",))[:most])
            rows = _without_the_given_up(found)
            key, until = uuid4(), now + lease_time()
            Reminder.objects.filter(pk__in=[row.pk for row in rows]).update(
                state=ReminderState.LEASED, lease=key, leased_until=until
            )
        if rows or not found:
            break
    for row in rows:
        row.state, row.lease, row.leased_until = ReminderState.LEASED, key, until
    # Rules ask for a person's roles; asked here they cost one query a lease.
    prefetch_related_objects(rows, "person__groups")
    return rows


def _without_the_given_up(found: list[Reminder]) -> list[Reminder]:
    """Those of which a dead sender leaves nothing to ask; the others go to the dead letters."""
    given_up = {row.pk: why for row in found if (why := _why_not_again(row))}
    for why in set(given_up.values()):
        rows = Reminder.objects.filter(pk__in=[pk for pk, its in given_up.items() if its == why])
        rows.update(state=ReminderState.DEAD, lease=None, leased_until=None, last_error=why)
        log.error("Reminders %s are given up: %s", [pk for pk, its in given_up.items() if its == why], why)
    return [row for row in found if row.pk not in given_up]


def _why_not_again(row: Reminder) -> str:
    if row.state != ReminderState.SENDING:
        return ""
    rule = RULES.get(row.rule)
    if rule is not None and rule.after_lost_lease == "hold":
        return UNKNOWN
    return ALL_DIED if row.attempts >= MOST_ATTEMPTS else ""


def reminder_begin_sending(*, reminder: Reminder, now: datetime) -> bool:
    """From now on it is being sent, under the lease anew; False when another sender leased it meanwhile.

    The try is counted now: a mail that kills its senders must run out of tries as well.
    """
    ours = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.LEASED, lease=reminder.lease)
    if not ours.update(state=ReminderState.SENDING, attempts=F("attempts") + 1, leased_until=now + lease_time()):
        return False
    reminder.state, reminder.attempts = ReminderState.SENDING, reminder.attempts + 1
    return True


def reminder_note(*, reminder: Reminder, state: ReminderState, **changes: object) -> None:
    """What became of the row being sent. Only while it is ours: another may have leased it since."""
    ours = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.SENDING, lease=reminder.lease)
    _surely(partial(ours.update, state=state, lease=None, leased_until=None, **changes))
    reminder.state = state


def lease_release(rows: Collection[Reminder]) -> None:
    """What of a lease was not begun is due again at once, its tries as they were."""
    for key in {row.lease for row in rows}:  # one: they were leased together
        ours = Reminder.objects.filter(pk__in=[row.pk for row in rows], lease=key, state=ReminderState.LEASED)
        _surely(partial(ours.update, state=ReminderState.DUE, lease=None, leased_until=None))


def _surely(write: Callable[[], object]) -> None:
    """A mail that left must be noted: when the database is away for a moment we wait for it, and send nothing new.

    Writing twice does no harm: after the first time the row is no longer ours.
    """
    for pause in PAUSES_S:
        try:
            write()
            return
        except DATABASE_AWAY as error:
            if connection.in_atomic_block:
                raise
            log.warning("The database is away, again in %s s: %s", pause, error)
            connection.close()
            time.sleep(pause)
    write()


# Gathering: each rule is asked what is due, and what nobody wrote down yet becomes a row of the outbox.

# So many are looked up and written in one statement: a query has a limit to its parameters.
AT_ONCE = 500
Key = tuple[str, str, int]


def gather(now: datetime) -> int:
    """Write an outbox row for all that is due at `now`; returns how many were new. Gathering twice writes once.

    A rule that breaks does not keep the others from being asked; its error is raised when all were.
    """
    written, errors = 0, []
    for rule in RULES.values():
        try:
            written += sum(_write_new(rule, some, now) for some in _in_parts(rule.due(now)))
        except Exception as error:
            log.exception("AnyRule %s could not be asked", rule.name)
            errors.append(error)
    if errors:
        raise errors[0]
    return written


def _in_parts(due: Iterable[Due]) -> Iterator[list[Due]]:
    rest = iter(due)
    while some := list(islice(rest, AT_ONCE)):
        yield some


def known(rule: str, due: list[Due]) -> QuerySet[Reminder, Key]:
    """Which of these the outbox has: (subject, occurrence, person).

    The unique key answers this alone, whatever lies in the table: nothing else may be selected here, nor sorted by.
    """
    same = Reminder.objects.filter(
        rule=rule, subject__in={one.subject for one in due}, occurrence__in={one.occurrence for one in due}
    )
    return same.order_by().values_list("subject", "occurrence", "person_id")


def _write_new(rule: AnyRule, due: list[Due], now: datetime) -> int:
    there = set(known(rule.name, due))
    waits = now + rule.gathers_for if rule.gathers_for else None
    new = [
        Reminder(
            rule=rule.name,
            subject=one.subject,
            occurrence=one.occurrence,
            person_id=one.person_id,
            due_at=one.due_at,
            next_try_at=waits or now,
            not_before=waits,
        )
        for one in due
        if (one.subject, one.occurrence, one.person_id) not in there
    ]
    # Another process may have gathered between the two lines: the unique key then keeps the first.
    Reminder.objects.bulk_create(new, ignore_conflicts=True)
    return len(new)


# How a reminder reaches its person: by mail now, by mail later, or on the site alone.


@dataclass(frozen=True)
class Route:
    """`not_before`: put it off until then. Without `by_mail` it is shown on the site alone."""

    by_mail: bool = True
    not_before: datetime | None = None


def route_for(reminder: Reminder, rule: AnyRule, now: datetime) -> Route:
    """As its person chose. One query at most; none where the row was read with "person__notification_settings".

    What is shown on the site alone is shown at once: it wakes nobody.
    """
    preferences = notification_settings_of(reminder.person)
    if is_site_alone(preferences, rule):
        return Route(by_mail=False)
    if rule.may_wait:
        return Route(not_before=quiet_until(now, preferences.quiet, preferences.zone))
    return Route()


def is_site_alone(preferences: NotificationSettings, rule: AnyRule) -> bool:
    """Their mailbox sends our mail back, or they muted the kind, or it waits for their digest, which lists it."""
    is_muted = rule.may_mute and rule.name in preferences.muted_kinds
    return preferences.is_bounced or is_muted or (preferences.has_digest and rule.may_wait and rule.keeps_a_week)


def mail_headers(reminder: Reminder, rule: AnyRule) -> dict[str, str]:
    """Headers of the mail beside those that every reminder has.

    Auto-Submitted keeps absence notes quiet (RFC 3834). A kind that may be muted names where (RFC 2369), and that one
    POST there is enough (RFC 8058), which that RFC allows for https alone.
    """
    headers = {"Auto-Submitted": "auto-generated", **number_header()}
    if rule.may_mute:
        headers["List-Unsubscribe"] = f"<{stop_link(reminder.person_id, rule.name)}>"
        if settings.IS_HTTPS:
            headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers


# The line to the mail server: one connection for many mails, opened anew when it broke.

# Our own choice, no source: servers that limit the mails of one connection allow more than this.
MAILS_A_CONNECTION = 50
# Refusals of one mail. After anything else nobody knows what the server waits for.
OF_THE_MAIL = (smtplib.SMTPRecipientsRefused, smtplib.SMTPDataError)


def mail_of(reminders: Sequence[Reminder], rule: AnyRule, message: Message) -> EmailMultiAlternatives:
    """One mail of these, all of one kind and to one person."""
    headers = {"Message-ID": message_id_of(reminders), **mail_headers(reminders[0], rule)}
    mail = EmailMultiAlternatives(message.subject, message.text, to=[rule.address(reminders[0])], headers=headers)
    mail.attach_alternative(message.html, "text/html")
    return mail


class MailLine:
    """Use it in a `with` block; `send` raises what the server, or its absence, raised."""

    def __init__(self) -> None:
        self._smtp: SmtpBackend | None = None
        self._carried = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._hang_up()

    def send(self, mail: EmailMultiAlternatives) -> None:
        mail.connection = self._connection()
        try:
            mail.send()
        except OF_THE_MAIL:
            raise
        except Exception:
            self._drop()
            raise
        self._carried += 1

    def _connection(self) -> BaseEmailBackend:
        """A connection that was just seen to work. A server may hang up between two mails: that is no failure."""
        if self._carried >= MAILS_A_CONNECTION:
            self._hang_up()
        elif self._smtp is not None and not self._answers():
            self._drop()
        if self._smtp is None:
            made = get_connection()
            if not isinstance(made, SmtpBackend):
                return made
            made.open()
            self._smtp, self._carried = made, 0
        return self._smtp

    def _answers(self) -> bool:
        talk = self._smtp.connection if self._smtp is not None else None
        try:
            return talk is not None and talk.noop()[0] == 250
        except (smtplib.SMTPException, OSError):
            return False

    def _hang_up(self) -> None:
        if self._smtp is not None:
            with contextlib.suppress(smtplib.SMTPException, OSError):
                self._smtp.close()
        self._smtp = None

    def _drop(self) -> None:
        """Without a word: the server may no longer listen, and we would wait for its answer."""
        if self._smtp is not None and self._smtp.connection is not None:
            self._smtp.connection.close()
        self._smtp = None


# Sending: what waits goes out once, whichever process or server fails.
#
# Any number of processes may run this at once, on PostgreSQL and on SQLite. No lock is held and no transaction is open
# while a mail server is talked to.

# One run takes no new row after this long: with the slowest mail on top it ends before Celery's time limit.
RUN_FOR = timedelta(seconds=45)
# With the run that gathered.
MOST_SENDERS = 4


class Watch:
    """The hour of the caller, moved on by the seconds that passed since."""

    def __init__(self, now: datetime) -> None:
        self._start, self._began = now, time.monotonic()

    def now(self) -> datetime:
        return self._start + self.ran()

    def ran(self) -> timedelta:
        return timedelta(seconds=time.monotonic() - self._began)


def send_due(now: datetime, run_for: timedelta = RUN_FOR) -> Counter[str]:
    """Send what waits, the longest wait first; returns how many ended in each state.

    1. Lease a batch of rows.
    2. Begin to send one, and of a kind that gathers all that wait for its person. Somebody else has it: leave it.
    3. Ask its rule again. Settled meanwhile: say so and send nothing.
    4. Send, in no transaction: a failure later must not un-mark what has left the house.
    5. Note the outcome before the next mail is begun: a sender that dies leaves one mail unknown, never two.
    A row that breaks is put off, so that the run is never caught on it. When the mail server or the database is away
    the run ends: the others are given back and keep their tries.
    """
    watch, outcomes = Watch(now), Counter[str]()
    with MailLine() as line:
        while watch.ran() < run_for and (rows := lease_begin(now=watch.now())):
            try:
                for row in rows:
                    if watch.ran() >= run_for:
                        break
                    if not reminder_begin_sending(reminder=row, now=watch.now()):
                        continue
                    together = [row, *_others_for(row, rows, watch.now())]
                    error = _send(together, watch.now(), line)
                    outcomes.update(one.state for one in together)
                    if error is not None and (is_server_away(error) or isinstance(error, DATABASE_AWAY)):
                        return outcomes
            finally:
                lease_release(rows)
    return outcomes


def senders_wanted(now: datetime) -> int:
    """How many senders are worth their while beside the one who asks: one for each further lease that waits."""
    waiting = Reminder.objects.waiting(now).order_by()[: MOST_LEASED * MOST_SENDERS].count()
    return max(0, -(-waiting // MOST_LEASED) - 1)


def _others_for(row: Reminder, rows: list[Reminder], now: datetime) -> list[Reminder]:
    """What of a gathering kind goes into the same mail: the rest of our lease, and what else waits for that person.

    Each is begun as a row by itself: another sender keeps what it has. The rest comes under our lease and into
    `rows`, so that it is given back with them.
    """
    rule = RULES.get(row.rule)
    if rule is None or not rule.gathers:
        return []
    same = Reminder.objects.filter(IsIn(ReminderState.DUE), rule=row.rule, person=row.person_id)
    wanted = list(same.order_by("due_at", "pk").values_list("pk", flat=True)[:MOST_LEASED])
    if wanted and same.filter(pk__in=wanted).update(
        state=ReminderState.LEASED, lease=row.lease, leased_until=now + lease_time()
    ):
        leased = Reminder.objects.filter(pk__in=wanted, state=ReminderState.LEASED, lease=row.lease)
        for one in leased.order_by("due_at", "pk"):
            one.person = row.person
            rows.append(one)
    ours = [one for one in rows if (one.rule, one.person_id) == (row.rule, row.person_id) and one.pk != row.pk]
    return [one for one in ours if reminder_begin_sending(reminder=one, now=now)]


def _send(reminders: list[Reminder], now: datetime, line: MailLine) -> Exception | None:
    """Steps 3 to 5 of `send_due` for one mail; the error when it failed. One that breaks keeps no other back."""
    failed: Exception | None = None
    told: dict[Reminder, Message] = {}
    for reminder in reminders:
        try:
            if (message := _to_tell(reminder, now)) is not None:
                told[reminder] = message
        except Exception as error:
            _note_failure(reminder, error, now)
            failed = error
    if not told:
        return failed
    state = ReminderState.SHOWN
    try:
        first, *others = told
        rule = RULES[first.rule]
        if route_for(first, rule, now).by_mail:
            message = rule.message_of_several(list(told), now) if others else told[first]
            line.send(mail_of(list(told), rule, message))
            state = ReminderState.SENT
    except Exception as error:
        for reminder in told:
            _note_failure(reminder, error, now)
        return error
    for reminder, message in told.items():
        shown = {"headline": message.subject[:200], "path": message.link.removeprefix(settings.SITE_URL)[:200]}
        reminder_note(reminder=reminder, state=state, sent_at=now, last_error="", **shown)
        if state == ReminderState.SENT:
            late = (now - reminder.due_at).total_seconds()
            log.info("Reminder %s sent, %d s after it was due: %s", reminder.pk, late, message_id_of(list(told)))
    return failed


def _to_tell(reminder: Reminder, now: datetime) -> Message | None:
    """What is to be said now. None: it was settled meanwhile, or is put off for quiet hours, and that is noted."""
    rule = RULES[reminder.rule]
    if not rule.still_due(reminder, now):
        reminder_note(reminder=reminder, state=ReminderState.SETTLED)
        return None
    route = route_for(reminder, rule, now)
    if route.not_before is not None and route.not_before > now:
        _put_off(reminder, route.not_before)
        return None
    return rule.message(reminder, now)


def _put_off(reminder: Reminder, later: datetime) -> None:
    """Nothing was tried, so the try is given back. That it is ours hangs on the lease, not on the number of tries."""
    tries = {"attempts": reminder.attempts - 1, "next_try_at": later, "not_before": later}
    reminder_note(reminder=reminder, state=ReminderState.DUE, **tries)


def _note_failure(reminder: Reminder, error: Exception, now: datetime) -> None:
    reason = f"{type(error).__name__}: {error}"[:300]
    if is_given_up(error, reminder.attempts):
        log.error("Reminder %s is given up: %s", reminder.pk, reason)
        reminder_note(reminder=reminder, state=ReminderState.DEAD, last_error=reason)
        if is_no_mailbox(error):
            mailbox_note_bounce(person=reminder.person, reason=reason, now=now)
        return
    # A rule that could not be asked for want of a database is asked as soon as there is one.
    is_ours = isinstance(error, DATABASE_AWAY)
    wait = timedelta(0) if is_ours else wait_after(reminder.attempts, jitter=random.random())
    log.warning("Reminder %s failed, again in %d s: %s", reminder.pk, wait.total_seconds(), reason)
    reminder_note(reminder=reminder, state=ReminderState.DUE, next_try_at=now + wait, last_error=reason)


# The periodic job, and an organiser's second try.


def gather_and_send(now: datetime, call_senders: Callable[[int], None] = lambda number: None) -> None:
    """Run each minute: what is due is gathered, what waits is sent.

    Two clocks do no more than one: a round is begun once. Sending is anybody's; when much waits, `call_senders` is
    told how many more senders are worth their while.
    A rule that cannot be asked must not hold up what waits to be sent.
    """
    watch = Watch(now)
    with ExitStack() as at_last:  # run from the last to the first, each whether or not the one before it broke
        at_last.callback(lambda: send_due(watch.now()))
        if round_begin(now=now):
            at_last.callback(lambda: call_senders(senders_wanted(watch.now())))
            at_last.callback(lambda: round_end(began=now, now=watch.now()))
            at_last.callback(gather, now)


def reminder_resend(*, by: User, reminder: Reminder, now: datetime) -> bool:
    """Try a given-up reminder again, from the first attempt. False when it was not given up (any more)."""
    if not by.has_role(Role.ORGANISER):
        raise PermissionDenied
    dead = Reminder.objects.filter(pk=reminder.pk, state=ReminderState.DEAD)
    return dead.update(state=ReminderState.DUE, attempts=0, next_try_at=now) == 1


# Is the site well? Asked by monitors and by `up` without signing in, and by organisers on a page.

State = Literal["ok", "gone", "full"]
Age = Literal["ok", "missing", "newer"]
PATIENCE_S = 2
PROCESS_BEGAN = time.monotonic()
# Our own choice, no source: less than this is gone with the next photographs and a log.
LEAST_ROOM_BYTES = 20_000_000
# Rounds missed before an organiser is told: one may fall into a restart.
TICKS_MISSED = 3
# Our own choice, no source: a reminder a quarter of an hour late is one that somebody should look after.
LATE_S = 15 * 60
# A daily backup that is two days old did not happen yesterday.
OLD_BACKUP_S = 48 * 3600


class Health(TypedDict):
    """The figures are None while the database is gone."""

    database: State
    migrations: Age | None  # whether the database is as old as the code
    broker: State
    disk: State
    oldest_due_reminder_late_s: int | None
    last_tick_s_ago: int | None  # None also before the first
    reminders_waiting: int | None
    reminders_given_up: int | None
    last_backup_s_ago: int | None  # None also before the first, as the next one
    last_restore_test_s_ago: int | None


def health_at(now: datetime) -> Health:
    answer: Health = {
        "database": "gone",
        "migrations": None,
        "broker": broker_state(),
        "disk": disk_state(),
        "oldest_due_reminder_late_s": None,
        "last_tick_s_ago": None,
        "reminders_waiting": None,
        "reminders_given_up": None,
        "last_backup_s_ago": None,
        "last_restore_test_s_ago": None,
    }
    try:
        late, since = Reminder.objects.lateness(now), since_ended(now)
        answer["reminders_waiting"] = Reminder.objects.waiting(now).order_by().count()
        answer["reminders_given_up"] = Reminder.objects.dead().count()
        missing, unknown = migrations_missing_and_unknown()
    except DatabaseError:
        connection.close()  # a broken connection kept open would fail the next request too
        return answer
    answer["oldest_due_reminder_late_s"] = int(late.total_seconds())
    seconds = {name: int(span.total_seconds()) for name, span in since.items()}
    answer["last_tick_s_ago"] = seconds.get(JOB)
    answer["last_backup_s_ago"] = seconds.get(BACKUP_JOB)
    answer["last_restore_test_s_ago"] = seconds.get(TEST_JOB)
    answer["database"] = "ok"
    answer["migrations"] = "missing" if missing else "newer" if unknown else "ok"
    return answer


def is_ticking(found: Health) -> bool:
    """False when the clock behind the reminders stands still."""
    ago = found["last_tick_s_ago"]
    return ago is not None and ago <= TICKS_MISSED * settings.REMINDER_TICK_SECONDS


def not_ready_because(found: Health) -> list[str]:
    """What keeps the site from its work, in words for monitors; empty while it does all of it.

    A database newer than the code is none: while hosts are renewed one by one, the old code runs on for a while.
    """
    never_ticked = found["last_tick_s_ago"] is None
    has_had_time = time.monotonic() - PROCESS_BEGAN > TICKS_MISSED * settings.REMINDER_TICK_SECONDS
    told = {
        "the database does not answer": found["database"] != "ok",
        "migrations are missing": found["migrations"] == "missing",
        "the broker does not answer": found["broker"] == "gone",
        "the broker takes nothing more": found["broker"] == "full",
        "the disk is full": found["disk"] != "ok",
        "the reminders' last round is late": found["database"] == "ok"
        and not is_ticking(found)
        and (has_had_time or not never_ticked),
    }
    return [words for words, holds in told.items() if holds]


def broker_state() -> State:
    """A server out of room still answers, so it is asked to keep something."""
    try:
        with redis.from_url(settings.REDIS_URL, socket_connect_timeout=PATIENCE_S, socket_timeout=PATIENCE_S) as client:
            client.set("kettlehall-health", 1, ex=60)
    except redis.ResponseError:
        return "full"
    except redis.RedisError:
        return "gone"
    return "ok"


def disk_state() -> State:
    """Of the disk with the data folder."""
    try:
        return "ok" if shutil.disk_usage(settings.DATA_DIR).free >= LEAST_ROOM_BYTES else "full"
    except OSError:
        return "gone"
