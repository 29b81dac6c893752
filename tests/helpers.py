"""What the tests of many rooms do alike: a signed-in client, the words of a page, several people at the same moment."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from html import unescape
from threading import Barrier
from typing import Any

from django.db import connection, transaction
from django.http import HttpResponse
from django.test import Client, override_settings
from django.urls import reverse
from hypothesis import settings

from club.members.models import User

LONGEST_WAIT = 20  # seconds for everybody to reach the starting line
# `prove --hours` takes the whole of what otherwise is a sample; nobody waits for it.
IS_WHOLE = os.environ.get("TEST_WHOLE") == "1"
QUICK = "quick"  # the Hypothesis profile of `prove --quick`
FEW = 10  # examples


def examples(number: int, **more: Any) -> settings:
    """So many examples of a property, or a few where the run is a quick one."""
    is_quick = settings.get_current_profile_name() == QUICK
    return settings(max_examples=min(number, FEW) if is_quick else number, **more)


# Quick to check; a password of a test guards nothing.
HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
NOTE_KEY = "a2V0dGxlcyBhbmQgamFycywgMzIgYnl0ZXMgbG9uZyE="  # opens the notes of tests alone


@contextmanager
def filled_once(blocker: Any) -> Iterator[None]:
    """For a fixture that fills the database for a whole module; what a test writes is taken back after it."""
    with override_settings(PASSWORD_HASHERS=HASHERS, NOTE_KEYS=[NOTE_KEY]), blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


def signed_in(person: User) -> Client:
    """A client of its own, signed in as that person."""
    client = Client()
    client.force_login(person)
    return client


def just_asked(client: Client) -> Client:
    """The client, whose person has just said their password once more, as services ask for that change a sign-in."""
    session = client.session
    session["account_authentication_methods"] = [{"method": "password", "at": time.time(), "reauthenticated": True}]
    session["account_authentication_methods_user"] = session["_auth_user_id"]
    session.save()
    return client


def text_of(response: HttpResponse) -> str:
    """The words of a page, without its tags, spaces put together."""
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", response.content.decode())).split())


CONTROL = re.compile(r"<(?:input|select|textarea)\b[^>]*>")


def refused_fields(response: HttpResponse) -> set[str]:
    """The names of the fields that a page marks as not to be taken as they are."""
    marked = [control for control in CONTROL.findall(response.content.decode()) if 'aria-invalid="true"' in control]
    return {re.findall(r'\bname="([^"]+)"', control)[0] for control in marked}


def levels_of(response: HttpResponse) -> list[str]:
    """Of each message at the head of a page, whether it is a "success", an "info", a "warning" or an "error"."""
    return [message.level_tag for message in response.context["messages"]]


def addresses_of(room: str) -> Callable[..., str]:
    """A function that gives the address of a page of this room, by the page's name."""
    return lambda page, *args: reverse(f"{room}:{page}", args=args)


def at_once(
    *calls: Callable[[], Any], refusals: type[Exception] | tuple[type[Exception], ...] = Exception
) -> list[Any]:
    """Run all from one starting line, each in a thread; what each returned, or the refusal that it raised."""
    line = Barrier(len(calls))

    def run(call: Callable[[], Any]) -> Any:
        try:
            line.wait(timeout=LONGEST_WAIT)
            return call()
        except refusals as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))


def race(
    press: Callable[[int], Any], *, racers: int, refusals: type[Exception] | tuple[type[Exception], ...]
) -> list[Any]:
    """What each of the racers got, or the class of the refusal, all having set off together."""
    answers = at_once(*(partial(press, number) for number in range(racers)), refusals=refusals)
    return [type(answer) if isinstance(answer, refusals) else answer for answer in answers]
