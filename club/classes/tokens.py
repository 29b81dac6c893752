"""The link in a mail about a seat: the sign-up's own number, signed. It opens that one sign-up, and signs nobody in."""

from __future__ import annotations

from django.core import signing
from django.urls import reverse

from club.classes.models import SignUp

SALT = "kettlehall.class-seat"


def seat_token(signup_id: int) -> str:
    return signing.Signer(salt=SALT).sign(str(signup_id))


def seat_path(signup_id: int) -> str:
    """The public page of a sign-up: what it is for, and a button to give it up or to answer an offer."""
    return reverse("classes:by-mail", args=[seat_token(signup_id)])


def signup_for_token(token: str) -> SignUp | None:
    """The sign-up that the link names, without what was written in `needs`; None for a link that is not ours."""
    try:
        key = int(signing.Signer(salt=SALT).unsign(token))
    except (signing.BadSignature, ValueError):
        return None
    return SignUp.objects.select_related("session__hall", "person").defer("needs").filter(pk=key).first()
