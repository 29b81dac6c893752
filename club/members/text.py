"""Text as it is kept, in whichever room."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _


def plain(text: str, *, field: str, longest: int) -> str:
    """Spaces put together; ValidationError on `field` where it is too long."""
    told = " ".join(text.replace("\0", "").split())
    if len(told) > longest:
        raise ValidationError({field: _("At most %(n)s characters.") % {"n": longest}})
    return told
