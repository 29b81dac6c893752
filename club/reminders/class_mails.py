"""What the mails about class sessions say. The link opens the page of the one sign-up, and signs nobody in."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from django.db.models import Sum
from django.utils import timezone
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from club.classes.models import ClassSession, SignUp
from club.classes.services.seats import seat_path
from club.reminders.letters import Told, day_words, letter
from club.reminders.models import Reminder
from club.reminders.subjects import subject_id
from club.reminders.wording import Message

SEAT, CLASS = "seat:", "class:"
Mail = Callable[[Reminder, datetime], Message]


def seat_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("You have a seat in %(title)s: %(when)s.") % names
        return _("Your seat: %(title)s, %(day)s") % names, [said, *_party(signup), *_bring(names)], _give_up()

    return _seat_letter(reminder, told)


def week_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("Next week you have a seat in %(title)s: %(when)s.") % names
        then = _("If you cannot come, say so now: somebody may be waiting for your place.")
        paragraphs = [said, *_party(signup), *_bring(names), then]
        return _("Next week: %(title)s, %(day)s") % names, paragraphs, _give_up()

    return _seat_letter(reminder, told)


def tomorrow_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("%(title)s: %(when)s.") % names
        paragraphs = [said, *_party(signup), *_bring(names), *_price(signup.session)]
        is_today = timezone.localdate(now) == signup.session.day  # it may have waited for a mail server
        subject = _("Today: %(title)s, %(hour)s") if is_today else _("Tomorrow: %(title)s, %(hour)s")
        return subject % names, paragraphs, _give_up()

    return _seat_letter(reminder, told)


def starting_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("%(title)s begins at %(hour)s in %(hall)s.") % names
        return _("At %(hour)s: %(title)s") % names, [said, *_party(signup), *_bring(names)], _give_up()

    return _seat_letter(reminder, told)


def offered_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = ngettext(
            "A seat has come free for you in %(title)s: %(when)s.",
            "Two seats have come free for you in %(title)s: %(when)s.",
            signup.places,
        )
        then = _("Take it or leave it until %(until)s; after that it is offered to the next in line.")
        paragraphs = [said % names, *_party(signup), then % names]
        return _("A seat for you until %(until)s: %(title)s") % names, paragraphs, _("Take it, or say no")

    return _seat_letter(reminder, told)


def lapsing_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("The seat that is offered to you in %(title)s (%(when)s) goes to the next in line at %(until)s.")
        then = _("If you would rather not come, saying so helps whoever waits behind you.")
        return _("Still yours until %(until)s: %(title)s") % names, [said % names, then], _("Take it, or say no")

    return _seat_letter(reminder, told)


def cancelled_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("%(title)s on %(day)s does not take place: %(reason)s") % names
        then = _("You need not do anything. We are sorry.")
        return _("Cancelled: %(title)s, %(day)s") % names, [said, then], _("What was planned")

    return _seat_letter(reminder, told)


def moved_message(reminder: Reminder, now: datetime) -> Message:
    def told(signup: SignUp, names: dict[str, str]) -> Told:
        said = _("%(title)s has other hours now: %(when)s.") % names
        keeps = _("You keep your seat.") if signup.is_seated else _("You keep your place in the line.")
        if signup.state == "offered":
            keeps = _("The seat is still offered to you until %(until)s.") % names
        then = _("If you cannot come then, give it up with one press.")
        return _("Other hours: %(title)s, now %(day)s") % names, [said, f"{keeps} {then}"], _give_up()

    return _seat_letter(reminder, told)


def minimum_message(reminder: Reminder, now: datetime) -> Message:
    session = ClassSession.objects.select_related("hall").get(pk=subject_id(reminder))
    seated = SignUp.objects.seated().filter(session=session).aggregate(n=Sum("places"))["n"] or 0

    def told() -> Told:
        counts = {"few": str(seated), "least": str(session.minimum_people)}
        names = {**_names(session), **counts, "closes": _moment(session.signup_closes_at)}
        said = _(
            "%(title)s on %(day)s needs %(least)s people to run, and %(few)s have a seat. Sign-up closes %(closes)s."
        )
        then = _("Tell people about it, move it, or cancel it while there is time for everybody to hear.")
        subject = _("%(few)s of at least %(least)s: %(title)s, %(day)s")
        return subject % names, [said % names, then], _("Open the session")

    return letter(reminder, session.get_absolute_url(), told)


def _seat_letter(reminder: Reminder, told: Callable[[SignUp, dict[str, str]], Told]) -> Message:
    """A letter about one sign-up, read without what she wrote to the instructors."""
    signups = SignUp.objects.select_related("session__hall").defer("needs")
    signup = signups.get(pk=subject_id(reminder))

    def written() -> Told:
        names = _names(signup.session)
        names["until"] = _moment(signup.offer_until) if signup.offer_until else ""
        return told(signup, names)

    return letter(reminder, seat_path(signup.pk), written)


def _names(session: ClassSession) -> dict[str, str]:
    day, hour = day_words(session.day), time_format(session.starts, "H:i")
    hall, end = session.hall.name, time_format(session.ends, "H:i")
    told = {"day": day, "hour": hour, "end": end, "hall": hall}
    return {
        **told,
        "title": session.title,
        "when": _("%(day)s, %(hour)s to %(end)s, %(hall)s") % told,
        "bring": session.what_to_bring,
        "reason": session.cancel_reason,
    }


def _moment(moment: datetime) -> str:
    return date_format(timezone.localtime(moment), "l j F, H:i")


def _party(signup: SignUp) -> list[str]:
    return [_("It is for you and %(name)s.") % {"name": signup.companion}] if signup.companion else []


def _bring(names: dict[str, str]) -> list[str]:
    return [_("Please bring: %(bring)s") % names] if names["bring"] else []


def _price(session: ClassSession) -> list[str]:
    return [_("Price: %(price)s") % {"price": session.price_note}] if session.price_note else []


def _give_up() -> str:
    return _("The details, and giving up your place")
