"""The filter by which every page shows what the engine says."""

from __future__ import annotations

import pytest
from django.template import Context, Template
from django.utils import translation

from recipes.engine import messages
from recipes.engine.terms import Refusal

SHOWN = Template("{% load recipe_labels %}{{ reason|in_words }}")


def shown(reason: object) -> str:
    return SHOWN.render(Context({"reason": reason}))


def test_a_refusal_a_stored_caution_and_a_plain_string_are_shown():
    assert shown(Refusal("no-cook", "NO-WAIT")) == "Nobody is there to cook. Add at least one cook."
    assert shown({"code": "cool", "message": "Let them stand."}) == "Let them stand."
    assert shown("5 < 6") == "5 &lt; 6"


@pytest.fixture
def dutch(monkeypatch):
    read = messages.rows
    known = [{"key": "no-cook", "text": "Niemand kookt."}]
    monkeypatch.setattr(messages, "rows", lambda name: iter(known) if name == "messages.nl.csv" else read(name))
    messages.texts.cache_clear()
    yield
    messages.texts.cache_clear()


def test_a_reader_of_another_language_reads_its_catalogue(dutch):
    with translation.override("nl"):
        assert shown(Refusal("no-cook", "NO-WAIT")) == "Niemand kookt."
        assert shown(Refusal("no-burner", "BURNER-EACH")).startswith("There is no burner")
