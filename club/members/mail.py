"""The room's mails, sent straight to the mail server once the change they tell of is committed."""

from __future__ import annotations

import logging

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from club.members.models import Invitation
from club.members.tokens import token_for

log = logging.getLogger(__name__)


def mail_invitation_on_commit(invitation: Invitation) -> None:
    """A mail server that is down must not undo the invitation: `mailed_at` stays empty and the page says so."""

    def mail_invitation_or_log() -> None:
        try:
            mail_invitation(invitation)
        except OSError:  # smtplib's errors are OSErrors, as are refused connections
            log.exception("Invitation %s could not be mailed", invitation.pk)

    transaction.on_commit(mail_invitation_or_log)


def mail_invitation(invitation: Invitation) -> None:
    told = {
        "invitation": invitation,
        "club_name": settings.CLUB_NAME,
        "link": settings.SITE_URL + reverse("members:invitation", args=[token_for(invitation.nonce)]),
    }
    subject = " ".join(render_to_string("members/mail/invitation_subject.txt", told).split())
    text = render_to_string("members/mail/invitation.txt", told)
    message = EmailMultiAlternatives(subject, text, settings.DEFAULT_FROM_EMAIL, [invitation.email])
    message.attach_alternative(render_to_string("members/mail/invitation.html", told), "text/html")
    message.send()
    # Only if it was not sent again meanwhile: the mark belongs to this link.
    Invitation.objects.filter(pk=invitation.pk, nonce=invitation.nonce).update(mailed_at=timezone.now())
