"""What goes with giving jars away, each sentence with its source."""

from __future__ import annotations

from django.utils.translation import gettext_noop as noop

from inventory.batches.rules import BEST_WITHIN
from recipes.engine.terms import Rule

LOCAL_LAW = Rule(
    "giving-jars-local-law",
    noop(
        "Whether home-canned food may be given away or sold, to whom and with what label, is a matter of local law: the"
        " club knows it, this site does not. Ask an organiser before you give jars beyond the club, and never sell one"
        " on the word of this page."
    ),
    "common practice, no source",
)
LOOK_AGAIN = Rule(
    "giving-jars-look-at-the-seal-again",
    noop(
        "Just before a jar changes hands look at it again: the lid firm and drawn down, nothing leaking, nothing"
        " cloudy or foaming that was not so. In doubt it stays, and nobody tastes it."
    ),
    "common practice, no source",
)
GIVING_RULES = (LOCAL_LAW, LOOK_AGAIN, BEST_WITHIN)
