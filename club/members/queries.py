"""Reads that need more than one queryset method."""

from __future__ import annotations

from datetime import datetime, timedelta

from allauth.account.models import EmailAddress
from django.conf import settings

from club.members.models import Invitation, User
from club.members.roles import Role
from club.members.tokens import Closed, InvitationClosed, nonce_from


def invitation_for_token(token: str, *, now: datetime) -> Invitation:
    """The open invitation that the link names. Raises InvitationClosed with the reason otherwise."""
    nonce = nonce_from(token, good_for=timedelta(days=settings.INVITATION_DAYS))
    invitation = Invitation.objects.filter(nonce=nonce).select_related("invited_by").first()
    if invitation is None:
        raise InvitationClosed(Closed.REPLACED)  # our signature, no row: sent again since, with a new link
    if reason := closed_because(invitation, now=now):
        raise InvitationClosed(reason)
    return invitation


def closed_because(invitation: Invitation, *, now: datetime) -> Closed | None:
    """An invitation stands as long as whoever sent it may still send it: a former organiser lets nobody in."""
    if invitation.accepted_at is not None:
        return Closed.USED
    if invitation.withdrawn_at is not None or not may_invite(invitation.invited_by, Role(invitation.role)):
        return Closed.WITHDRAWN
    return Closed.EXPIRED if invitation.expires_at <= now else None


def may_invite(by: User, role: Role) -> bool:
    """An invitation into a role gives that role."""
    asked = ["members.invite_member", *([] if role is Role.MEMBER else ["members.grant_role"])]
    return by.has_perms(asked)


def was_accepted_by(token: str, user: User) -> bool:
    """True when this person used this very link: somebody who presses twice is let through."""
    try:
        nonce = nonce_from(token, good_for=timedelta(days=settings.INVITATION_DAYS))
    except InvitationClosed:
        return False
    return Invitation.objects.filter(nonce=nonce, accepted_by=user).exists()


def is_members_email(email: str) -> bool:
    """True when the address signs somebody in, or is one of somebody's confirmed addresses."""
    plain = email.strip()
    return (
        User.objects.filter(email__iexact=plain).exists()
        or EmailAddress.objects.filter(email__iexact=plain, verified=True).exists()
    )
