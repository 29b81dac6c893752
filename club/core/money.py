"""Money: kept in whole cents, written and read as people write it. Which money it is, the club's setting says."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

_TYPED = re.compile(r"([0-9]{1,7})(?:[.,]([0-9]{1,2}))?")


def money_text(cents: int, *, with_sign: bool = True) -> str:
    """ "$1,204.99", and "−$1.20" for what is a discount, or owed by the club; a spreadsheet goes without the sign."""
    if cents < 0:
        return f"−{money_text(-cents, with_sign=with_sign)}"
    return f"{settings.CURRENCY_SIGN if with_sign else ''}{cents // 100:,}.{cents % 100:02d}"


def money_words(cents: int) -> str:
    """ "1204.99": as it is typed, in a form or a spreadsheet; `cents_typed` reads it."""
    whole, rest = divmod(cents, 100)
    return f"{whole}.{rest:02d}"


def cents_typed(text: str) -> int | None:
    """Cents of "20", "20.5" or "20,50", never through a float; 0 of nothing; None of anything else."""
    if not text.strip():
        return 0
    found = _TYPED.fullmatch(text.strip())
    return int(found[1]) * 100 + int((found[2] or "").ljust(2, "0") or 0) if found else None


class MoneyField(forms.Field):
    """A sum as people type it: gives cents, and `empty_value` where nothing was typed. Initial values are cents."""

    default_error_messages = {"invalid": _("Write a price such as 4.99.")}

    def __init__(self, *, empty_value: int | None = None, **options: Any) -> None:
        self.empty_value = empty_value
        widget = forms.TextInput(attrs={"inputmode": "decimal", "maxlength": 12})
        super().__init__(**{"widget": widget, **options})

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int):
            return "" if value == self.empty_value else money_words(value)
        return value

    def to_python(self, value: Any) -> int | None:
        text = str(value or "").strip()
        if not text:
            return self.empty_value
        cents = cents_typed(text)
        if cents is None:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        return cents
