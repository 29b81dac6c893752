"""What may follow the heart of a wish without being a wish of its own: "jar pint instead of a quart jar".

Only words that can add nothing; anything else leaves the text unread, so that nothing hides behind a known form.
"""

from __future__ import annotations

from collections.abc import Callable
from re import Match

from recipes.engine.change_terms import Act, Change

# No minutes, hours or pounds among them: a time or a pressure is a wish to be judged.
_WORDS = (
    "the|a|an|of|it|them|that|this|what|one|ones|hot|raw|cold|pack|packed|packing|jars?|sizes?|mason|smaller|larger|"
    "tested|printed|stated|given|original|usual|recipe|says?|boiling|water|bath|waterbath|"
    "pressure|steam|canner|canning|"
    "canned|process|processing|dial|weighted|gauge|called|for|in"
)
_SIZES = "pints?|quarts?|half|quarter|gallons?|oz|ounces?|ml|l|liters?|litres?|cups?|[0-9]+(?:[./][0-9]+)?"
REST = rf"(?: (?:{_WORDS}))" + "{0,8}"
SIZE_REST = rf"(?: (?:{_WORDS}|{_SIZES}))" + "{0,8}"


def always(act: Act, word: str) -> Callable[[Match[str]], Change]:
    """A form that always means the same change."""
    return lambda _: Change(act, word=word)
