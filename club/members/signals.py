"""What Django and allauth tell of signing in, passwords, addresses and second steps, written into the people's ledger;
and since when a session lasts.

No rule of the club hangs on these: they note what has just happened.
"""

from __future__ import annotations

from typing import Any

from allauth.account import signals as account
from allauth.mfa import signals as mfa
from django.contrib.auth.signals import user_logged_in, user_login_failed
from django.db.models import Q
from django.dispatch import Signal, receiver
from django.http import HttpRequest

from club.members import sessions
from club.members.choices import EventKind
from club.members.models import User
from club.members.services import person_event, stranger_digest

KINDS: dict[Signal, EventKind] = {
    account.password_changed: EventKind.PASSWORD_CHANGED,
    account.password_set: EventKind.PASSWORD_CHANGED,
    account.password_reset: EventKind.PASSWORD_CHANGED,
    account.email_added: EventKind.EMAIL_ADDED,
    account.email_changed: EventKind.EMAIL_CHANGED,
    account.email_removed: EventKind.EMAIL_REMOVED,
    mfa.authenticator_added: EventKind.FACTOR_ADDED,
    mfa.authenticator_removed: EventKind.FACTOR_REMOVED,
    mfa.authenticator_reset: EventKind.RECOVERY_RENEWED,
}
WRONG_CODE: list[Signal] = [account.login_code_rejected, mfa.authentication_failed]


def doer(request: HttpRequest | None) -> User | None:
    """Whoever is signed in; nobody where a link in a mail is all that they showed."""
    asking = getattr(request, "user", None)
    return asking if isinstance(asking, User) else None


@receiver(list(KINDS))
def note_change(
    signal: Signal, user: User, request: HttpRequest | None = None, authenticator: Any = None, **_rest: Any
) -> None:
    """`authenticator` tells which second step it was, such as "totp"."""
    # Who changes their password is signed out everywhere first, and yet it was they.
    by = user if signal is account.password_changed else doer(request)
    person_event(KINDS[signal], by=by, person=user, reference=str(getattr(authenticator, "type", "")))


@receiver(account.email_confirmed)
def note_confirmed(email_address: Any, request: HttpRequest | None = None, **_rest: Any) -> None:
    person_event(EventKind.EMAIL_CONFIRMED, by=doer(request), person=email_address.user)


@receiver(user_logged_in)
def note_sign_in(user: User, request: HttpRequest, **_rest: Any) -> None:
    sessions.begin(request, user)
    person_event(EventKind.SIGNED_IN, by=user, person=user)


@receiver(account.authentication_step_completed)
def note_asked_again(request: HttpRequest, reauthenticated: bool = False, **_rest: Any) -> None:
    if reauthenticated:
        sessions.renew(request)


@receiver(user_login_failed)
def note_refusal(credentials: dict[str, Any], **_rest: Any) -> None:
    address = str(credentials.get("email") or credentials.get("username") or "").strip().lower()
    owned = Q(email=address) | Q(emailaddress__email=address, emailaddress__verified=True)
    person = User.objects.filter(owned).first()
    person_event(EventKind.SIGN_IN_REFUSED, person=person, reference="" if person else stranger_digest(address))


@receiver(WRONG_CODE)
def note_wrong_code(user: User, **_rest: Any) -> None:
    person_event(EventKind.SIGN_IN_REFUSED, person=user, reference="code")
