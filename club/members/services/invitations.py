"""Invitations: the only way into the club."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from club.core.text import seen
from club.members.mail import mail_invitation_on_commit
from club.members.models import Invitation, User
from club.members.queries import invitation_for_token, is_members_email, may_invite
from club.members.roles import Role
from club.members.services.checks import require_perm
from club.members.services.people import NAME_LENGTH, member_enrol
from club.members.tokens import Closed, InvitationClosed, new_nonce

ALREADY_INVITED = _("This person has an open invitation. Send that one again, or withdraw it first.")
SETTLED = _("This invitation was accepted or withdrawn already.")


@transaction.atomic
def invitation_send(*, by: User, email: str, name: str, role: str) -> Invitation:
    """Invite somebody by mail, to join in `role`. Raises PermissionDenied, ValidationError (email, name, role)."""
    if role not in set(Role):
        raise ValidationError({"role": _("Choose one of the roles.")})
    _require_may_invite(by, Role(role))
    now = timezone.now()
    plain = _clean_email(email, now=now)
    name = seen(name)
    if len(name) > NAME_LENGTH:
        raise ValidationError({"name": _("A name has at most %(longest)d letters.") % {"longest": NAME_LENGTH}})
    # One that ran out makes room for the new one.
    Invitation.objects.for_email(plain).unsettled().filter(expires_at__lte=now).update(withdrawn_at=now)
    try:
        with transaction.atomic():
            invitation = Invitation.objects.create(
                email=plain, name=name, role=role, nonce=new_nonce(), invited_by=by, expires_at=_end(now)
            )
    except IntegrityError as error:  # somebody else invited the same person at the same moment
        raise ValidationError({"email": ALREADY_INVITED}) from error
    mail_invitation_on_commit(invitation)
    return invitation


@transaction.atomic
def invitation_send_again(*, by: User, invitation: Invitation) -> Invitation:
    """A new link with a new term, in the name of who sends it now; the older link is dead from now on."""
    _require_may_invite(by, Role(invitation.role))
    if is_members_email(invitation.email):
        raise ValidationError(_("Somebody with this email is in the club already."))
    changed = (
        Invitation.objects.unsettled()
        .filter(pk=invitation.pk)
        .update(nonce=new_nonce(), expires_at=_end(timezone.now()), mailed_at=None, invited_by=by)
    )
    if changed != 1:
        raise ValidationError(SETTLED)
    invitation.refresh_from_db()
    mail_invitation_on_commit(invitation)
    return invitation


@transaction.atomic
def invitation_withdraw(*, by: User, invitation: Invitation) -> None:
    """The link is dead from now on. Withdrawing twice is the same as once."""
    require_perm(by, "members.invite_member")
    now = timezone.now()
    changed = Invitation.objects.unsettled().filter(pk=invitation.pk).update(withdrawn_at=now)
    invitation.refresh_from_db()
    if changed != 1 and invitation.withdrawn_at is None:
        raise ValidationError(SETTLED)


@transaction.atomic
def invitation_accept(*, token: str, name: str, password: str, units: str) -> User:
    """Turn an open invitation into a member; the mail it came by has proved the email.

    1. The link must be good and its row open. 2. The password must be fit for this person. 3. The row is claimed
    by a conditional update, so that of two acceptances at the same moment one wins. 4. The member is made, and
    the row says who. Anything refused leaves the invitation as it was.
    Raises InvitationClosed, ValidationError (name, password, units, email).
    """
    now = timezone.now()
    invitation = invitation_for_token(token, now=now)
    _check_password(password, email=invitation.email, name=name)
    claimed = Invitation.objects.open(now).filter(nonce=invitation.nonce).update(accepted_at=now)
    if claimed != 1:
        raise InvitationClosed(Closed.USED)
    user = member_enrol(
        email=invitation.email, name=name, password=password, units=units, roles=[Role(invitation.role)]
    )
    Invitation.objects.filter(pk=invitation.pk).update(accepted_by=user)
    return user


def _require_may_invite(by: User, role: Role) -> None:
    if not may_invite(by, role):
        raise PermissionDenied


def _clean_email(email: str, *, now: datetime) -> str:
    plain = email.strip().lower()
    try:
        validate_email(plain)
    except ValidationError as error:
        raise ValidationError({"email": error.messages}) from error
    if is_members_email(plain):
        raise ValidationError({"email": _("Somebody with this email is in the club already.")})
    if Invitation.objects.for_email(plain).open(now).exists():
        raise ValidationError({"email": ALREADY_INVITED})
    return plain


def _check_password(password: str, *, email: str, name: str) -> None:
    try:
        validate_password(password, User(email=email, name=name))
    except ValidationError as error:
        raise ValidationError({"password": error.messages}) from error


def _end(now: datetime) -> datetime:
    return now + timedelta(days=settings.INVITATION_DAYS)
