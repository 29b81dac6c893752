"""What to do with jars that are called back, each sentence with its source; and how often somebody is asked."""

from __future__ import annotations

from datetime import timedelta

from django.utils.translation import gettext_noop as noop

from recipes.engine.terms import Rule

# Our own choices, no source: an answer is asked for again every third day, ten times; then an organiser telephones.
ASK_AGAIN_AFTER = timedelta(days=3)
MOST_CALLS = 10

NOT_EATEN = Rule(
    "recalled-jars-are-not-eaten",
    noop("Eat nothing from these jars and taste nothing: food that can make you ill may look and smell right."),
    "Clemson University Extension HGIC, discarding spoiled or improperly canned foods",
)
HELD_APART = Rule(
    "recalled-jars-are-held-apart",
    noop("Mark the jars, put them where nobody takes them for others, and leave them closed."),
    "common practice, no source",
)
THROWN_AWAY = Rule(
    "recalled-jars-are-thrown-away-sealed",
    noop(
        "To throw away a jar that is still sealed, leave it closed, put it into a strong bag, close the bag and put"
        " it into the rubbish, where neither people nor animals get at it."
    ),
    "Clemson University Extension HGIC, discarding spoiled or improperly canned foods",
)
OPEN_ONES = Rule(
    "recalled-jars-open-or-leaking",
    noop(
        "A jar that is open or leaks: do not touch the food with bare hands. Ask the local food-safety authority how"
        " to make it harmless, and do as it says."
    ),
    "Clemson University Extension HGIC, discarding spoiled or improperly canned foods",
)
ATE_SOME = Rule(
    "recalled-jars-somebody-ate-some",
    noop(
        "If somebody ate from such a jar and feels unwell, ask a doctor at once and say what was eaten. Blurred sight,"
        " a dry mouth or trouble with swallowing or speaking is an emergency."
    ),
    "from memory",
)
AUTHORITY = Rule(
    "recalled-jars-local-authority",
    noop("What the local food-safety authority says comes before anything on this page."),
    "common practice, no source",
)

WHAT_TO_DO = (NOT_EATEN, HELD_APART, THROWN_AWAY, OPEN_ONES, ATE_SOME, AUTHORITY)
