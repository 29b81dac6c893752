"""Money as a page shows it."""

from __future__ import annotations

from django import template

from club.core.money import money_text

register = template.Library()
register.filter("money", money_text)
