"""Texts about something that went wrong with jars: no change to a recipe, and no rule about something else."""

from __future__ import annotations

import pytest

from recipes.engine.changes import CHANGE_RULES, Ruling, check_change
from recipes.engine.changes.vocabulary import data
from tests.published.library import recipes

LOW_ACID, TOMATOES, JAM = "snap-beans", "tomato-juice", "strawberry-jam-liquid"
TOLD = {
    "ACCIDENT-UNSEALED": [
        "a jar did not seal",
        "one jar didn't seal",
        "the lids never sealed",
        "beans unsealed for two days, can I freeze them",
        "the lid popped off",
        "the seal broke",
        "hasn't sealed after 24 hours",
        "can I save the unsealed beans by freezing",
    ],
    "ACCIDENT-STOOD": [
        "my jars stood out overnight",
        "the jars sat on the counter for 2 days",
        "I left them in the canner overnight",
        "can I still eat it after two days",
    ],
    "ACCIDENT-SIPHON": ["the jar siphoned", "it lost half its liquid in the canner"],
    "ACCIDENT-PRESSURE": [
        "the pressure dropped for a minute",
        "pressure fell below 10 for 5 minutes",
        "it stopped boiling",
        "the water went off the boil",
    ],
    "ACCIDENT-GAUGE": ["the gauge read wrong", "my gauge was 2 pounds off all summer"],
    "ACCIDENT-ACID": ["I forgot the lemon juice", "forgot to add the vinegar", "we did not put in citric acid"],
    "ACCIDENT-HEADSPACE": ["I left too much headspace", "overfilled the jars"],
    "ACCIDENT-JAR": ["used the wrong jars", "I used the wrong size jar"],
    "ACCIDENT-SET": ["it did not set", "the jam is runny"],
    "ACCIDENT-CLOUDY": ["they are cloudy", "my beans are all cloudy"],
    "ACCIDENT-SOFT": ["the pickles went soft", "mushy pickles"],
    "ACCIDENT-DRY": ["the canner boiled dry", "it ran out of water"],
    "ACCIDENT-THAWED": ["the freezer failed", "our freezer defrosted"],
    "ACCIDENT-POWER": ["power cut", "the power went out half way", "we lost power while canning"],
    "ACCIDENT-BROKEN": ["a jar cracked", "the bottom broke out of a jar", "I dropped a jar"],
    "ACCIDENT-SPOILED": [
        "a jar leaked",
        "there is mould on top",
        "mold on the jam",
        "it smells off",
        "a lid is bulging",
    ],
    "ACCIDENT-PROCESS": ["I canned the beans in a water bath", "we processed pints for 10 minutes instead of 20"],
    "ACCIDENT-OTHER": ["something went wrong", "I forgot the time"],
}


@pytest.mark.parametrize(("code", "text"), [(code, text) for code, texts in TOLD.items() for text in texts])
def test_an_accident_has_its_own_answer_for_every_recipe(code, text):
    for slug in (LOW_ACID, TOMATOES, JAM):
        answer = check_change(recipes()[slug], text)
        assert (answer.rule, answer.verdict) == (code, Ruling.REFUSED)
        assert "not of a change to the recipe" in answer.message
        assert "ask an instructor" in answer.message.lower()


def test_low_acid_food_that_stood_is_thrown_away_and_not_sent_to_the_freezer():
    for texts in (texts for code, texts in TOLD.items() if code != "ACCIDENT-SET"):
        for text in texts:
            for slug in (LOW_ACID, TOMATOES):
                message = check_change(recipes()[slug], text).message
                assert message.startswith("Low-acid food and tomatoes that stood unsealed")
                assert "freeze the food" not in message
                assert "never saved in a freezer" in message


def test_every_accident_is_refused_and_names_a_source_of_its_own():
    codes = {entry["code"] for entry in data("ways")["accident"]}
    assert codes == {code for code in CHANGE_RULES if code.startswith("ACCIDENT")} == set(TOLD)
    for entry in map(CHANGE_RULES.__getitem__, codes):
        assert entry.verdict is Ruling.REFUSED
        assert entry.source != "a rule of this club" or entry.code == "ACCIDENT-OTHER"


def test_an_accident_beside_a_wish_is_answered_first():
    assert check_change(recipes()[LOW_ACID], "omit salt, and one jar did not seal").rule == "ACCIDENT-UNSEALED"


@pytest.mark.parametrize(
    "text",
    [
        "use cracked peppercorns",
        "1/2 tsp butter to stop foaming",
        "split peas",
        "mouldy tomatoes",
        "let the jars self seal",
    ],
)
def test_a_wish_with_a_like_word_is_no_accident(text):
    assert not check_change(recipes()[TOMATOES], text).rule.startswith("ACCIDENT")


@pytest.mark.parametrize("code", ["NOT-COVERED", "NOT-UNDERSTOOD"])
def test_the_answer_to_what_was_not_read_never_ends_in_the_freezer(code):
    """It may be a text about jars that stood, which nobody foresaw."""
    assert "freeze" not in CHANGE_RULES[code].answer("x").message.lower()
    assert "instructor" in CHANGE_RULES[code].answer("x").message
