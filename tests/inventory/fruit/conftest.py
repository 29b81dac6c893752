from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from club.members.models import User


@pytest.fixture
def sign_in() -> Callable[[User], Client]:
    """A client signed in as that person."""

    def signed_in(person: User) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return signed_in
