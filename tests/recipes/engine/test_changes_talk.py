"""What people say round a wish: it is taken off, and what it says of a food is judged all the same."""

from __future__ import annotations

import pytest

from recipes.engine.changes import Ruling, check_change
from recipes.engine.changes.normalise import tokenise
from recipes.engine.changes.read import read
from recipes.engine.changes.talk import plain_wishes
from tests.published.library import recipes


def plain(text: str) -> str:
    return " ".join(token.word if token.value is None else str(token.value) for token in plain_wishes(tokenise(text)))


@pytest.mark.parametrize(
    ("text", "wish"),
    [
        ("my son hates cumin, so I would leave it out", "i would leave cumin out"),
        ("I've got frozen corn from last year, can I use that?", "can i use frozen corn"),
        ("we don't care for cloves, can we do without?", "leave out clove"),
        ("I've citric acid, 1/2 tsp to a quart, may I use it", "may i use citric acid , 1/2 tsp to a quart"),
        ("Could the peppers be orange instead of red? There are only two of us", "orange pepper instead of red pepper"),
        ("we love onions. Leave out the cumin", "more onion ; leave out the cumin"),
    ],
)
def test_a_food_that_was_spoken_of_is_taken_up_or_stands_as_a_wish_of_its_own(text, wish):
    assert plain(text) == wish


@pytest.mark.parametrize("text", ["leave out the cumin", "half the vinegar", "flumox the gribble", ""])
def test_a_text_without_talk_is_left_alone(text):
    assert plain_wishes(tokenise(text)) == ()


@pytest.mark.parametrize(
    ("slug", "text", "rule"),
    [
        ("peach-pie-filling", "I have white peaches. Can I leave out the almond extract?", "FRUIT-WHITE-PEACH"),
        ("dill-pickles-fermented", "My doctor told me to avoid salt. Can I skip the garlic?", "SALT-FERMENT"),
        ("chile-salsa", "we love onions and can I leave out the cumin", "VEGETABLE-MORE"),
        ("bread-and-butter-pickles", "My kids hate vinegar! May I add a bit of cinnamon?", "ACID-LESS"),
        ("marinated-mushrooms", "a friend gave me wild mushrooms, may I use those?", "MUSHROOM-WILD"),
        ("mushrooms", "I'd use mushrooms from the woods", "MUSHROOM-WILD"),
        ("peaches-halved", "My peaches are white, is that fine?", "FRUIT-WHITE-PEACH"),
    ],
)
def test_what_talk_says_of_a_food_is_judged_with_the_wish(slug, text, rule):
    answer = check_change(recipes()[slug], text)
    assert (answer.verdict, answer.rule) == (Ruling.REFUSED, rule), answer


@pytest.mark.parametrize(
    "text",
    [
        "leave out the cumin because of the",
        "quarts instead of",
        "red onions instead of yellow; seven of the",
        "as if. cider vinegar instead of vinegar",
        "leave out the cumin so it by it",
        "less salt, 500 salt",
        "I hate cumin, so half the vinegar and without it",
    ],
)
def test_what_breaks_off_or_says_nothing_leaves_the_whole_text_refused(text):
    assert check_change(recipes()["chile-salsa"], text).verdict is Ruling.REFUSED


# Asides in free words


@pytest.mark.parametrize(
    ("slug", "text", "reading"),
    [
        ("snap-beans", "My aunt from Kent comes on Sunday, so could I use pints?", "pint jars"),
        ("pickled-beets", "Sorry to bother you all. I can't stand cloves, so I'd leave them out", "clove left out"),
        ("mint-jelly-liquid", "My kids grew up with E numbers. May I leave out the food colour?", ""),
        (
            "cranberry-orange-chutney",
            "I can't find golden raisins anywhere. Would ordinary raisins do?",
            "ordinary raisin in place of golden raisin",
        ),
    ],
)
def test_a_clause_is_passed_over_only_where_each_of_its_words_is_one_of_an_aside(slug, text, reading):
    assert check_change(recipes()[slug], text).reading == reading


@pytest.mark.parametrize(
    ("slug", "text"),
    [
        ("tomatoes-raw-no-liquid", "we have no lemon juice so could I add a bit of dried basil"),
        ("dilly-beans-usda", "The kids hate vinegar. Can I leave out the garlic?"),
        ("tomatoes-raw-no-liquid", "lemon juice as printed. My gran never did that. And no salt"),
        ("snap-beans", "no salt please, and my gran never did the pressure bit"),
        ("chile-salsa", "we have loads of onions, so use those too"),
        ("carrots", "no salt, they are mashed"),
        ("snap-beans", "10 minutes, we never do it. No salt"),
        ("bread-and-butter-pickles", "no turmeric, my gran did it her way with less of it"),
    ],
)
def test_an_aside_never_swallows_a_change(slug, text):
    assert check_change(recipes()[slug], text).verdict is Ruling.REFUSED


def test_what_an_aside_says_of_a_food_is_part_of_the_reading():
    changes = read("We ran out of cloves and the shop is shut. My dad loves cinnamon, so add a cinnamon stick")[0]
    assert [(change.act.value, change.item) for change in changes] == [("omit", "clove"), ("add", "cinnamon stick")]


@pytest.mark.parametrize(
    "text",
    [
        "no salt where the cat",
        "no salt and sing to the jars",
        "no salt with dance",
        "no salt and vinegar is a river",
        "where the cat. no salt",
        "My aunt pasteurised it. No salt",
        "My gran did hers another way. May I do that? No salt with vinegar",
    ],
)
def test_everyday_words_in_a_heap_leave_a_wish_not_understood(text):
    assert check_change(recipes()["chile-salsa"], text).rule == "NOT-UNDERSTOOD"


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("My mother plays the bassoon. No salt please", "salt left out"),
        ("Peppers mean a lot to us. Leave out the salt", "salt left out"),
        ("Cloves remind me of the dentist. Leave out the salt", "clove left out; salt left out"),
    ],
)
def test_a_sentence_of_talk_is_passed_over_and_what_it_dislikes_is_judged(text, reading):
    assert check_change(recipes()["chile-salsa"], text).reading == reading
