from __future__ import annotations

import pytest

from club.members.models import User
from tests.factories.jars import make_keeper


@pytest.fixture
def keeper() -> User:
    return make_keeper(name="Keeper")
