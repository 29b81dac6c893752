"""Text that the database keeps only sealed: who has a copy of the database, and not the key, reads nothing of it.

The keys are `NOTE_KEYS` of the settings, the newest first: it seals, and each of them opens. Without the right one text
is `Unreadable`: it says so in place of the words, is not lost, and is written back as it was.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Self

from cryptography.fernet import Fernet, InvalidToken, MultiFernet
from django.conf import settings
from django.core import checks
from django.db import models
from django.utils.translation import gettext as _

if TYPE_CHECKING:
    _TextField = models.TextField[str, str]
else:
    _TextField = models.TextField


class NoKeyError(Exception):
    """There is no key to seal with."""


class Unreadable(str):
    """Stands for a text that cannot be opened just now: in words for people, `sealed` is what the database has."""

    sealed: str

    @classmethod
    def of(cls, sealed: str) -> Self:
        made = cls(_("This cannot be read just now: the key that opens it is not here. It is not lost."))
        made.sealed = sealed
        return made


@checks.register(checks.Tags.security, deploy=True)
def key_there(app_configs: Any, **told: Any) -> list[checks.CheckMessage]:
    """For `check --deploy`: without a key nobody can write a note, and notes that are there are not read."""
    if can_seal():
        return []
    text = "NOTE_KEYS is not set: notes on health and access can be neither written nor read."
    hint = "Make a key once, keep it apart from the database and its backups (README), and set NOTE_KEYS to it."
    return [checks.Warning(text, hint=hint, id="kettlehall.W001")]


def can_seal() -> bool:
    return bool(settings.NOTE_KEYS)


def seal(text: str) -> str:
    """NoKeyError without a key. Twice the same text is sealed in two ways."""
    if not can_seal():
        raise NoKeyError
    return _cipher(tuple(settings.NOTE_KEYS)).encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """The text, or that it is `Unreadable`."""
    if not can_seal():
        return Unreadable.of(sealed)
    try:
        return _cipher(tuple(settings.NOTE_KEYS)).decrypt(sealed.encode()).decode()
    except InvalidToken:
        return Unreadable.of(sealed)


@cache
def _cipher(keys: tuple[str, ...]) -> MultiFernet:
    """ValueError for what is no key (32 bytes in URL-safe base64)."""
    return MultiFernet([Fernet(key) for key in keys])


class SealedTextField(_TextField):
    """A text, sealed on its way into the database and opened on its way out. Nothing at all stays "" there, so that one
    may ask for rows that have something; no query finds what it says.
    """

    def get_prep_value(self, value: Any) -> Any:
        plain = super().get_prep_value(value)
        if isinstance(value, Unreadable):
            return value.sealed
        return seal(plain) if plain else plain

    def from_db_value(self, value: str | None, expression: Any, connection: Any) -> str | None:
        return unseal(value) if value else value


def as_stored(field: models.Field[Any, Any]) -> Any:
    """For `values_list`: the column by its name, but a sealed one as the database has it, so that a backup says no more
    than that and needs no key. Written back by `Unreadable.of`.
    """
    if isinstance(field, SealedTextField):
        return models.ExpressionWrapper(models.F(field.attname), output_field=models.TextField())
    return field.attname
