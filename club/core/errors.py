"""What services of every room raise besides Django's own refusals."""

from __future__ import annotations


class AlreadyDone(Exception):
    """The thing asked for was done before, by this press or by somebody else's. The message says so to a person.

    One class for the whole house: a room that uses another's services catches theirs with its own.
    """
