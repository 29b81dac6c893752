"""Money as a page shows it."""

from __future__ import annotations

from django import template

from inventory.jars.presentation import signed_money

register = template.Library()
register.filter("money", signed_money)
