"""What the people's ledger says, on a page."""

from __future__ import annotations

from django import template

from club.members.presentation import reference_words

register = template.Library()
register.filter("reference_words", reference_words)
