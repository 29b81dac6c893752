"""The way from a session's own page to its day, for who runs it, and to the handout, for who came."""

from __future__ import annotations

from typing import Any

from django import template

from club.classes.choices import SessionState
from club.classes.models import ClassSession, SignUp

register = template.Library()


@register.inclusion_tag("classes/parts/day_links.html", takes_context=True)
def day_links(context: dict[str, Any], session: ClassSession) -> dict[str, Any]:
    """`{% day_links session %}`; two queries at most, none for a draft."""
    if session.state == SessionState.DRAFT:
        return {}
    user = context["request"].user
    return {
        "session": session,
        "runs": ClassSession.objects.run_by(user).filter(pk=session.pk).exists(),
        "mine": SignUp.objects.came().of(user).filter(session=session).first(),
    }
