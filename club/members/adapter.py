"""Where allauth asks us: sign-up is by invitation only; mails carry the club's name and lead to its own address; whose
guesses slow whom; a shared device; what of somebody's way in was changed; second factors under the club's name.
"""

from __future__ import annotations

import base64
import ipaddress
from typing import Any
from urllib.parse import urlsplit

from allauth.account.adapter import DefaultAccountAdapter, get_adapter
from allauth.core.exceptions import ImmediateHttpResponse
from allauth.core.internal import ratelimit
from allauth.mfa.adapter import DefaultMFAAdapter
from cryptography.fernet import Fernet, MultiFernet
from django.conf import settings
from django.contrib import messages
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from club.core.logs import number_header
from club.members import services, sessions
from club.members.choices import SignInChangeKind
from club.members.models import User

APP = "club.members"  # of whose limits these are: beside allauth's own

# Wrong passwords, and codes and links asked for by mail, are counted by the address that is tried and the network that
# tries it: a stranger elsewhere uses up their own tries. All strangers together have a limit for an address as well,
# which does not hold for a device where its owner has signed in before. Our own choice of numbers, no source.
PASSWORD, CODE, RESET = "wrong-password", "mailed-code", "reset-mail"
LIMITS: dict[str, dict[str, str]] = {
    PASSWORD: {"near": "5/5m/key,10/m/ip", "all": "30/h/key", "known": "5/5m/key"},
    CODE: {"near": "3/10m/key", "all": "10/h/key", "known": "3/10m/key"},
    RESET: {"near": "5/h/key", "all": "30/h/key", "known": "5/h/key"},
}
# Of an address of one network: a household, a hall, a provider's corner.
V4_BITS, V6_BITS = 24, 48

# Mails to addresses that nobody has confirmed, for one member in a day. Our own choice, no source.
UNCONFIRMED_A_DAY = "5/d/key"

KNOWN_FOR = 180 * 86_400  # seconds
MOST_KNOWN = 6  # people on one device
SALT = "kettlehall.device"

CHANGES = {
    "account/email/email_changed": SignInChangeKind.EMAIL,
    "account/email/email_deleted": SignInChangeKind.EMAIL_REMOVED,
    "account/email/password_changed": SignInChangeKind.PASSWORD,
    "account/email/password_set": SignInChangeKind.PASSWORD,
    "account/email/password_reset": SignInChangeKind.PASSWORD_RESET,
    "mfa/email/totp_activated": SignInChangeKind.TOTP_ADDED,
    "mfa/email/totp_deactivated": SignInChangeKind.TOTP_REMOVED,
    "mfa/email/webauthn_added": SignInChangeKind.PASSKEY_ADDED,
    "mfa/email/webauthn_removed": SignInChangeKind.PASSKEY_REMOVED,
    "mfa/email/recovery_codes_generated": SignInChangeKind.RECOVERY,
}


class InvitationOnlyAdapter(DefaultAccountAdapter):  # type: ignore[misc]
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def format_email_subject(self, subject: str) -> str:
        return f"{settings.CLUB_NAME}: {subject}"

    def render_mail(self, template_prefix: str, email: str, context: dict[str, Any], headers: Any = None) -> Any:
        return super().render_mail(template_prefix, email, context, {**(headers or {}), **number_header()})

    def send_notification_mail(
        self, template_prefix: str, user: User, context: dict[str, Any] | None = None, email: str | None = None
    ) -> None:
        """Written down, and mailed by the outbox (club/reminders): a mail server that is away delays it, no more."""
        told = context or {}
        detail = told.get("to_email") or told.get("deleted_email") or ""
        services.sign_in_change_note(person=user, kind=CHANGES[template_prefix], address=email or "", detail=detail)

    def get_reset_password_from_key_url(self, key: str) -> str:
        return at_home(super().get_reset_password_from_key_url(key))

    def get_email_confirmation_url(self, request: HttpRequest, emailconfirmation: Any) -> str:
        return at_home(super().get_email_confirmation_url(request, emailconfirmation))

    def send_confirmation_mail(self, request: HttpRequest, emailconfirmation: Any, signup: bool) -> None:
        """To an address that may be anybody's: so many a day for one member, and not a word that a member wrote."""
        address = emailconfirmation.email_address
        limit = {"unconfirmed": UNCONFIRMED_A_DAY}
        if not ratelimit.consume(
            request, app=APP, action="unconfirmed", config=limit, key=f"member {address.user_id}", limit_get=True
        ):
            raise ImmediateHttpResponse(ratelimit.respond_429(request))
        url = self.get_email_confirmation_url(request, emailconfirmation)
        self.send_mail("account/email/email_confirmation", address.email, {"activate_url": url})

    def confirm_email(self, request: HttpRequest, email_address: Any) -> bool:
        """An address beside a confirmed one is confirmed at both: a thief of a browser owns the new one alone."""
        if services.address_ask(address=email_address):
            return bool(super().confirm_email(request, email_address))
        messages.info(
            request,
            _("That one is yours. Now open the link that goes to your present email, or ask an organiser."),
        )
        return False

    # Whose guesses slow whom.

    def take_try(self, request: HttpRequest, sort: str, email: str) -> ratelimit.RateLimitUsage | None:
        """Count a try at this address; None where there was one too many."""
        rates, address = LIMITS[sort], email.strip().lower()

        def count(which: str, key: str) -> ratelimit.RateLimitUsage | None:
            action = f"{sort}-{which}"
            return ratelimit.consume(request, app=APP, action=action, config={action: rates[which]}, key=key)

        if mark := known_mark(request, address):
            return count("known", f"{address} {mark}")
        near = count("near", f"{address} {network_of(self.get_client_ip(request))}")
        everybody = count("all", address) if near else None
        if near is None or everybody is None:
            return None
        return ratelimit.RateLimitUsage(usage=[*near.usage, *everybody.usage])

    def pre_authenticate(self, request: HttpRequest, **credentials: Any) -> None:
        email = str(credentials.get("email") or credentials.get("username") or "")
        self._login_failed_rl_usage = self.take_try(request, PASSWORD, email)
        if not self._login_failed_rl_usage:
            raise self.validation_error("too_many_login_attempts")

    def _delete_login_attempts_cached_email(self, request: HttpRequest, **credentials: Any) -> None:
        """Whoever has just chosen a new password through their mail is let in, whatever strangers tried before."""
        address = str(credentials.get("email") or "").strip().lower()
        keys = {"all": address, "near": f"{address} {network_of(self.get_client_ip(request))}"}
        for which, key in keys.items():
            action = f"{PASSWORD}-{which}"
            ratelimit.clear(request, app=APP, action=action, config={action: LIMITS[PASSWORD][which]}, key=key)

    # A shared device, and a known one.

    def pre_login(self, request: HttpRequest, user: User, **told: Any) -> HttpResponse | None:
        request.session[sessions.SHARED] = bool(request.POST.get("shared_device"))
        answer: HttpResponse | None = super().pre_login(request, user, **told)
        return answer

    def login(self, request: HttpRequest, user: User) -> None:
        super().login(request, user)
        if request.session.get(sessions.SHARED):
            request.session.set_expiry(0)  # with the browser

    def post_login(self, request: HttpRequest, user: User, **told: Any) -> HttpResponse:
        response: HttpResponse = super().post_login(request, user, **told)
        if not request.session.get(sessions.SHARED):
            known = [one for one in known_on(request) if one[0] != user.pk][-MOST_KNOWN + 1 :]
            value = signing.dumps([*known, [user.pk, mark_of(user)]], salt=SALT)
            response.set_cookie(
                settings.KNOWN_DEVICE_COOKIE_NAME,
                value,
                max_age=KNOWN_FOR,
                secure=settings.SESSION_COOKIE_SECURE,
                httponly=True,
                samesite="Lax",
            )
        return response


def known_on(request: HttpRequest) -> list[list[Any]]:
    """Who signed in on this device before: key and mark of each, as far as we signed it."""
    try:
        found = signing.loads(request.COOKIES.get(settings.KNOWN_DEVICE_COOKIE_NAME, ""), salt=SALT, max_age=KNOWN_FOR)
    except signing.BadSignature:
        return []
    return list(found)


def known_mark(request: HttpRequest, email: str) -> str:
    """The mark of the owner of this address, when they signed in on this device with the password they have now."""
    known = known_on(request)
    owner = User.objects.filter(email=email, pk__in=[pk for pk, _mark in known]).first() if known else None
    if owner is None:
        return ""
    mark = mark_of(owner)
    return mark if any(pk == owner.pk and constant_time_compare(its, mark) for pk, its in known) else ""


def mark_of(user: User) -> str:
    """Another password, or "sign out everywhere", makes every device unknown."""
    return salted_hmac(SALT, f"{user.pk}:{user.session_epoch}:{user.password}", algorithm="sha256").hexdigest()[:32]


def network_of(address: str) -> str:
    try:
        ip = ipaddress.ip_address(address)
    except ValueError:
        return address
    return str(ipaddress.ip_network(f"{ip}/{V4_BITS if ip.version == 4 else V6_BITS}", strict=False))


def at_home(url: str) -> str:
    """The same page at SITE_URL: a mail never leads to a host and port that a request named."""
    return f"{settings.SITE_URL}{urlsplit(url).path}"


class SecondFactorAdapter(DefaultMFAAdapter):  # type: ignore[misc]
    """Keys for one-time and recovery codes lie encrypted: a copy of the database alone makes no code."""

    def _get_site_name(self) -> str:
        return settings.CLUB_NAME

    def generate_authenticator_name(self, user: User, type: Any) -> str:
        return _("Passkey")

    def encrypt(self, text: str) -> str:
        return _boxes().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        return _boxes().decrypt(encrypted_text.encode()).decode()


def _boxes() -> MultiFernet:
    """The present secret locks, the earlier ones open still."""
    secrets = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    keys = [salted_hmac("kettlehall.factor", "", secret=secret, algorithm="sha256").digest() for secret in secrets]
    return MultiFernet([Fernet(base64.urlsafe_b64encode(key)) for key in keys])


# Requests to join, from one network in an hour and from everywhere in a day. Our own choice, no source.
JOINS = {"near": "5/h/key", "all": "60/d/key"}


def may_ask_to_join(request: HttpRequest) -> bool:
    """Count a request to join; False where there was one too many, whichever address it names."""
    for which, key in (("near", network_of(get_adapter(request).get_client_ip(request))), ("all", "everybody")):
        action = f"join-{which}"
        if not ratelimit.consume(request, app=APP, action=action, config={action: JOINS[which]}, key=key):
            return False
    return True
