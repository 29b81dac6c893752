"""Whoever catches "somebody was first" of one room catches that of every other."""

from __future__ import annotations

import pytest
from django.contrib.messages import get_messages
from django.contrib.messages.storage.fallback import FallbackStorage

from club.core.http import refusals_as_messages
from inventory.batches import services as batches
from inventory.equipment import services as equipment
from inventory.fruit import services as fruit

ROOMS = [batches, equipment, fruit]


@pytest.mark.parametrize("raising", ROOMS)
@pytest.mark.parametrize("catching", ROOMS)
def test_one_room_catches_what_another_raises(raising, catching):
    with pytest.raises(catching.AlreadyDone, match="was first"):
        raise raising.AlreadyDone("Somebody was first.")


@pytest.mark.parametrize("room", ROOMS)
def test_a_button_without_a_form_says_that_somebody_was_first(rf, room):
    request = rf.post("/")
    request.session = {}
    request._messages = FallbackStorage(request)
    with refusals_as_messages(request):
        raise room.AlreadyDone("Somebody was first.")
    assert [(each.level_tag, each.message) for each in get_messages(request)] == [("info", "Somebody was first.")]
