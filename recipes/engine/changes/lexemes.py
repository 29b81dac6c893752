"""Lexemes: the words of a wish, each with the letter of its sort, its value, and whatever else it may be.

The letters are those of `words.toml` (A put in, Z leave out, R lessen, W swap, f "for", i "instead of" ...), and F a
food, D a description, O a form, G "all" or "the same", Q an amount, # a number, S a share, X a factor, p a strength,
j each jar, Y "to taste", P a pronoun, > an arrow, and the joints & , |.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cache
from itertools import islice, product
from typing import NamedTuple

from recipes.engine.changes.foods import foods
from recipes.engine.changes.normalise import ARROW, STOP, Token
from recipes.engine.changes.vocabulary import (
    data,
    food_words,
    phrases,
    places,
    singular,
    spellings,
    ways_words,
    word_lists,
    words_of,
)
from recipes.engine.quantities import SPELLINGS, Amount

_MOST_ROWS = 48
_MEASURES = {
    "some": "s",
    "only": "q",
    "at_least": "c",
    "about": "k",
    "little": "l",
    "plenty": "n",
    "to_taste": "Y",
    "pronoun": "P",
}
_SIGNS = {ARROW: ">", "=": ">", "+": "+", "-": "-", ",": ",", "&": "&"}
_JOINTS = {
    "&": "plus, and, as well as, along with, together with, or, nor, and also",
    "|": "because, but, while, whereas, yet, then, after that, and then",
}


class Lexeme(NamedTuple):
    """One word or fixed phrase: its letter, its words, and what it stands for."""

    letter: str
    words: tuple[str, ...]
    value: object = None


Entries = dict[tuple[str, ...], list[tuple[str, object]]]


@cache
def lexicon() -> Entries:
    """Every phrase of `words.toml` and of the foods, with the letters it may have."""
    found: Entries = {}
    for text, letter, value in _listed():
        for phrase in phrases(text):
            key = words_of(phrase)
            for other, spelled in spellings().items():  # a phrase holds words that are brought to one spelling
                if len(other) <= len(key) and other != spelled:
                    key = _respell(key, other, spelled)
            entries = found.setdefault(key, [])
            if (letter, value) not in entries:
                entries.append((letter, value))
    for key, food in foods().items():
        found.setdefault(key, []).append(("F", food.name))
    for sign, letter in _SIGNS.items():
        found.setdefault((sign,), []).append((letter, None))
    return found


def _listed() -> Iterator[tuple[str, str, object]]:
    """Each list of words, with its letter and what its words stand for."""
    words = data("words")
    yield from ((text, "v" if letter == "leave" else letter, None) for letter, text in words["verb"].items())
    yield from ((word, "T", Fraction(factor)) for word, factor in words["times"].items())
    yield from ((text, letter, None) for letter, text in words["link"].items())
    yield from ((words["measure"][name], letter, None) for name, letter in _MEASURES.items())
    describing = (("words", "D"), ("prepared", "D"), ("same", "G"))
    yield from ((words["describing"][name], letter, None) for name, letter in describing)
    yield from ((text, "D", None) for text in (*words["variety"].values(), places()))
    yield from ((text, "O", name) for name, text in words["form"].items())
    yield from ((text, "F", f"role {role}") for role, text in words["role"].items())
    yield from ((word, "o", item) for word, item in words["leaves_out"].items())
    yield from ((word, "B", item) for word, item in words["puts_in"].items())
    yield ("added", "d", None)
    yield from ((text, letter, None) for letter, text in _JOINTS.items())


def _respell(key: tuple[str, ...], other: tuple[str, ...], spelled: tuple[str, ...]) -> tuple[str, ...]:
    for at in range(len(key) - len(other) + 1):
        if key[at : at + len(other)] == other:
            return key[:at] + spelled + key[at + len(other) :]
    return key


# Words that change nothing.


@cache
def _fillers() -> tuple[frozenset[tuple[str, ...]], frozenset[str], frozenset[tuple[str, ...]]]:
    words = data("words")["filler"]
    dish = frozenset(words_of(phrase) for phrase in phrases(words["dish"]))
    purpose = frozenset(words_of(phrase) for phrase in phrases(words["purpose"]))
    likes = {
        words_of(f"{who} {like} {what} {taste}")
        for who, like, what, taste in product(
            phrases(words["who"]), ("like", "want", "prefer"), ("it", "them"), phrases(words["tastes"])
        )
    }
    asked = {
        words_of(f"{ask} {fine} {then}")
        for ask, fine, then in product(*(phrases(words[f"ask_{part}"]) for part in ("open", "fine", "then")))
    }
    plenty = {words_of(f"{have} {much}") for have, much in product(phrases(words["have"]), phrases(words["plenty"]))}
    return (
        word_lists()["filler"] | purpose | likes | asked | plenty,
        frozenset(words["before_dish"].replace(",", " ").split()),
        dish,
    )


@cache
def _filler_sizes() -> range:
    return range(max(map(len, _fillers()[0])), 0, -1)


_ACID_WORDS = frozenset({"vinegar", "acid", "citric", "lemon", "lime", "juice", "water", "acv"})
_MAY_BE_MEASURE = frozenset({"so", "as", "that", "which", "to", "for"})
_ENDS = frozenset({STOP, ","})
_CONNECTING = frozenset(words_of("of as if it by the a an and or but so to in at on for with from that this i we they"))
_LOOSE = frozenset({"it", "this", "that", "them"})
_MAY_FOLLOW = frozenset(
    {
        *(",", "and", "but", "please", "for", "instead", "with", "so", "to", "by", "in"),
        *("while", "when", "during", "because", "since", "at"),
    }
)


def filler_at(tokens: Sequence[Token], at: int) -> int:
    """How many tokens from here change nothing in a wish."""
    words = tuple(token.word for token in tokens[at : at + 12])
    fillers, before, _ = _fillers()
    best = next((size for size in _filler_sizes() if size <= len(words) and words[:size] in fillers), 0)
    if len(words) > 2 and words[0] in food_words() - _ACID_WORDS and (at == 0 or tokens[at - 1].word in _BEFORE_REASON):
        best = max(best, _taste_at(tokens, at))
    if words and words[0] in _reasons().starts and (size := _reason_at(tokens, at)):
        best = max(best, size)
    return max(best, _dish_at(words)) if words and words[0] in before else best


_BEFORE_REASON = frozenset({STOP, ",", "because", "since", "as"})
_TASTES = frozenset(words_of("sweet sweeter sour tart tarter sharp sharper tangy bitter bland watery juicy mild hot"))
_OF_TASTES = frozenset(words_of("a bit little very so too rather quite really this year and"))


def _taste_at(tokens: Sequence[Token], at: int) -> int:
    """ "The tomatoes are sharp this year": how many tokens, to the end of the sentence, say how the fruit tastes."""
    end = next((place for place in range(at, len(tokens)) if tokens[place].word in _ENDS), len(tokens))
    said = [token.word for token in tokens[at:end]]
    is_said = len(said) > 2 and said[1] in ("is", "are", "was", "were", "be", "taste") and set(said[2:]) & _TASTES
    return end - at if is_said and set(said[2:]) <= _TASTES | _OF_TASTES else 0


class _Reasons(NamedTuple):
    """The words of a reason: the phrases it begins with, their first words, and the lists of `words.toml`."""

    begin: tuple[tuple[str, ...], ...]
    starts: frozenset[str]
    words: frozenset[str]
    may_not: frozenset[str]
    likes: frozenset[str]
    sour: frozenset[str]
    verbs: frozenset[str]
    pronouns: frozenset[tuple[str, ...]]


@cache
def _reasons() -> _Reasons:
    lists = data("words")["reason"]
    begin = sorted((words_of(phrase) for phrase in phrases(lists["begin"])), key=len, reverse=True)
    names = ("words", "may_not", "likes", "sour", "verbs")
    words, may_not, likes, sour, verbs = (frozenset(words_of(lists[name])) for name in names)
    pronouns = frozenset(words_of(phrase) for phrase in phrases(lists["pronouns"]))
    return _Reasons(
        tuple(begin), frozenset(phrase[0] for phrase in begin), words, may_not, likes, sour, verbs, pronouns
    )


def _reason_at(tokens: Sequence[Token], at: int) -> int:
    """ "Because it tastes nice": how many tokens, to the end of the sentence, say only why something is wished."""
    reasons = _reasons()
    end = next((place for place in range(at, len(tokens)) if tokens[place].word in _ENDS), len(tokens))
    said = tuple(token.word for token in tokens[at:end])
    begin = next((phrase for phrase in reasons.begin if said[: len(phrase)] == phrase), ())
    rest = said[len(begin) :]
    if not begin or not rest or any(token.value is not None for token in tokens[at:end]):
        return 0
    if set(rest) <= _CONNECTING:
        return 0  # "so it by it" tells no reason
    likes = set(rest) & reasons.likes
    of_it = rest[-1] in ("it", "them") and begin[0] not in ("because", "since")
    if _longest_lexeme(tokens, at)[0] > 1 or (likes and (begin[0] in _MAY_BE_MEASURE or of_it)):
        return 0  # "as you like", "so we like it": how much of it
    if begin == ("for",) and any(letter in "DOG" for word in rest for letter, _ in lexicon().get((word,), ())):
        return 0  # "hot for mild" is a wish
    if begin in reasons.pronouns and rest[0] not in reasons.verbs:
        return 0
    known = reasons.words
    if begin[0] in ("because", "since"):  # "since the apples are sweet"
        is_plain = not set(rest) & {"and", "or", "but", "with", "of", "for", "in"} and bool(set(rest) & reasons.verbs)
        known = known | reasons.sour | (food_words() - _ACID_WORDS if is_plain else frozenset())
    if not set(rest) <= known | {"not"}:
        return 0
    may_not = set(rest) & reasons.may_not and (not set(rest) & reasons.likes or rest[-1] in reasons.may_not)
    return end - at if "not" not in said or may_not else 0


def _dish_at(words: tuple[str, ...]) -> int:
    """ "To the salsa", "in it": how many words name the dish, where what follows is no food."""
    skip = 2 if len(words) > 1 and words[1] in ("the", "my", "this", "our", "a") else 1
    sure = skip == 2 or words[0] in ("to", "in", "into", "from")
    for size in (3, 2, 1):
        dish = words[skip : skip + size]
        if dish in _fillers()[2] and sure and (dish[0] not in _LOOSE or words[0] not in ("for", "with", "of", "on")):
            after = words[skip + size : skip + size + 1]
            return skip + size if not after or after[0] in _MAY_FOLLOW else 0
    return 0


# Amounts and numbers.


def _unit_at(tokens: Sequence[Token], at: int) -> tuple[str, int] | None:
    """The unit that the words from here name, and how many they are."""
    for size in (2, 1):
        word = " ".join(token.word for token in tokens[at : at + size])
        if len(tokens) >= at + size and all(t.value is None for t in tokens[at : at + size]) and word != "whole":
            name = SPELLINGS.get(word) or SPELLINGS.get(word + "s")
            if name:
                return name, size
    return None


def _measure(tokens: Sequence[Token], at: int, value: Fraction, before: int) -> tuple[int, Amount] | None:
    """An amount whose unit stands from here, and how many tokens it is with `before` tokens and an "of"."""
    unit = _unit_at(tokens, at)
    if unit is None:
        return None
    end = at + unit[1]
    return before + unit[1] + (len(tokens) > end and tokens[end].word == "of"), Amount(value, unit[0])


_JAR_NAMES = {
    ("half", "pint"): "half-pint",
    ("quarter", "pint"): "quarter-pint",
    ("half", "gallon"): "half-gallon",
    ("pint",): "pint",
    ("quart",): "quart",
    ("jar",): "jar",
    ("litre",): "quart",
    ("liter",): "quart",
}


def _each_jar_at(tokens: Sequence[Token], at: int) -> tuple[str, int, str] | None:
    """ "Per quart", "in each jar": the jar, how many tokens, and the words before it."""
    for size in (2, 1):
        before = " ".join(token.word for token in tokens[at : at + size])
        if before not in _each_words():
            continue
        if before in _IN_EACH and (len(tokens) == at + size or tokens[at + size].word in _ENDS):
            return "jar", size, before  # "a pinch of sugar in each"
        for name, jar in _JAR_NAMES.items():
            end = at + size + len(name)
            if tuple(token.word for token in tokens[at + size : end]) == name:
                if len(tokens) > end and tokens[end].word == "jar":
                    end += 1
                return jar, end - at, before
    return None


_IN_EACH = frozenset({"in each", "to each", "into each", "for each"})


@cache
def _each_words() -> frozenset[str]:
    return frozenset(phrases(data("words")["each"]["before"]))


def _sure_jar_at(tokens: Sequence[Token], at: int, before: Token | None) -> tuple[int, list[Lexeme]] | None:
    """ "A quart" is each quart only behind an amount or a food: "2 tbsp a quart", not "a quart of vinegar"."""
    if (each := _each_jar_at(tokens, at)) is None:
        return None
    jar, size, said = each
    after = tokens[at + size].word if len(tokens) > at + size else ""
    loose = said in ("a", "an", "the", "to a", "to the", "in my")
    if loose and (before is None or after == "of" or (after,) in foods()):
        return None
    return size, [Lexeme("j", (), jar)]


def _number_at(tokens: Sequence[Token], at: int) -> tuple[int, list[Lexeme]]:
    """What a number may be with the words behind it: an amount, a share, a factor, a strength, or a count."""
    value = tokens[at].value
    assert value is not None
    after = [token.word for token in tokens[at + 1 : at + 4]] + [""] * 3
    if tokens[at].word == "share":
        return 1 + (after[0] == "of"), [Lexeme("S", (), value)]
    if after[0] == "%":
        return _percent(value, after)
    if after[0] == "grain":
        return 2, [Lexeme("p", (), value / 10)]
    if after[0] in _pieces():
        return 2 + (after[1] == "of"), [Lexeme("Q", (), Amount(value, "each"))]
    is_last = len(tokens) <= at + 2 or not tokens[at + 2].value
    if after[0] in ("x", "time") and tokens[at + 1].value is None and is_last:
        return 2, [Lexeme("X", (), value)]
    return _range_at(tokens, at, value) or _measured(tokens, at, value) or _count(value, after)


@cache
def _pieces() -> frozenset[str]:
    """Words that count a little of something: "2 drops"."""
    return frozenset(words_of(data("words")["measure"]["pieces"]))


def _percent(value: Fraction, after: list[str]) -> tuple[int, list[Lexeme]]:
    if after[1] == "of":
        return 3, [Lexeme("S", (), value / 100)]
    acid = after[1] in ("acid", "acidity", "strength", "acetic")
    size = 2 + acid + (acid and after[2] in ("acid", "strength"))
    return size, [Lexeme("p" if acid else "%", (), value)]


def _range_at(tokens: Sequence[Token], at: int, low: Fraction) -> tuple[int, list[Lexeme]] | None:
    """ "3 to 4 cups": each end is a reading, and the worse counts."""
    if len(tokens) < at + 3 or tokens[at + 1].word not in ("to", "-", "or"):
        return None
    high = tokens[at + 2].value
    found = _measure(tokens, at + 3, high, 3) if high is not None and high > low else None
    return (found[0], [Lexeme("Q", (), Amount(low, found[1].unit)), Lexeme("Q", (), found[1])]) if found else None


def _measured(tokens: Sequence[Token], at: int, value: Fraction) -> tuple[int, list[Lexeme]] | None:
    found = _measure(tokens, at + 1, value, 1)
    if found and (tokens[at + 1].word,) in foods() and not any(token.word == "garlic" for token in tokens):
        return 1, [Lexeme("Q", (), Amount(value, "each"))]  # "12 cloves": the spice, not a measure
    return (found[0], [Lexeme("Q", (), found[1])]) if found else None


def _count(value: Fraction, after: list[str]) -> tuple[int, list[Lexeme]]:
    if value >= 1:
        return 1, [Lexeme("#", (), value)]
    pieces = [] if after[0] in ("of", "the") else [Lexeme("Q", (), Amount(value, "each"))]
    return 1 + (after[0] == "of"), [Lexeme("S", (), value), *pieces]


def _factor_at(tokens: Sequence[Token], at: int) -> tuple[int, list[Lexeme]] | None:
    """ "x 2", "/ 2", "times 2"."""
    value = tokens[at + 1].value if len(tokens) > at + 1 else None
    if value is None or tokens[at].word not in ("x", "time", "/") or (tokens[at].word == "/" and not value):
        return None
    return 2, [Lexeme("X", (), 1 / value if tokens[at].word == "/" else value)]


# Slips of the pen.

_SHORTEST_SLIP = 6
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


@cache
def _mendable() -> frozenset[str]:
    """The words that a slip may have been meant for: foods, what is done to them, forms, cuts; no description."""
    telling = [key for key, entries in lexicon().items() if not {letter for letter, _ in entries} <= set("DG")]
    words = {word for key in (*telling, *word_lists()["prepared"]) for word in key}
    also = set(words_of(data("words")["typo"]["also"]))
    return frozenset(word for word in words | also if len(word) >= _SHORTEST_SLIP - 1)


@cache
def _known() -> frozenset[str]:
    """Every word of any list: none of these is a slip."""
    words = {word for key in lexicon() for word in key}
    words |= {word for fillers in (_fillers()[0], _fillers()[2]) for key in fillers for word in key}
    words |= {word for key in spellings() for word in key} | _reasons().words | _reasons().may_not
    words |= {word for phrase in _reasons().begin for word in phrase}
    words |= {word for phrase in (*_each_words(), *SPELLINGS) for word in words_of(phrase)}
    talk = data("talk")["aside"]
    words |= {
        word
        for name in ("words", "verbs", "things", "manners", "names", "taste", "against", "polite")
        for word in words_of(talk[name])
    }
    return frozenset(words | ways_words() | set(words_of(data("words")["typo"]["never"])))


@cache
def mended(word: str) -> str:
    """The one word that `word` is a slip of, by a letter more, less, other or two changed about; else `word` itself."""
    if len(word) < _SHORTEST_SLIP or not word.isascii() or not word.isalpha() or word in _known():
        return word
    cuts = [(word[:at], word[at:]) for at in range(1, len(word) + 1)]
    near = {a + b[1:] for a, b in cuts if b} | {a + b[1] + b[0] + b[2:] for a, b in cuts if len(b) > 1}
    near |= {a + c + b[1:] for a, b in cuts if b for c in _LETTERS} | {a + c + b for a, b in cuts for c in _LETTERS}
    found = {singular(other) for other in near} & _mendable()
    return found.pop() if len(found) == 1 else word


# Words.


def _share_size(tokens: Sequence[Token], at: int) -> int:
    return 2 if len(tokens) > at + 1 and tokens[at + 1].word == "of" else 1


@cache
def _longest_key() -> int:
    return max(map(len, lexicon()))


def _longest_lexeme(tokens: Sequence[Token], at: int) -> tuple[int, list[Lexeme]]:
    words = tuple(token.word if token.value is None else str(token.value) for token in tokens[at : at + _longest_key()])
    for size in range(len(words), 0, -1):
        if (entries := lexicon().get(words[:size])) is not None:
            options = [Lexeme(letter, words[:size], value) for letter, value in entries]
            return size, options
    return 0, []


def _options_at(tokens: Sequence[Token], at: int, before: Token | None) -> tuple[int, list[Lexeme]]:
    """What the words from here may be, and how many they are; none of either where no list holds them."""
    token = tokens[at]
    if token.value is not None:
        size, options = _longest_lexeme(tokens, at)  # "2 kinds of"
        return (size, options) if size > 1 else _number_at(tokens, at)
    if found := _sure_jar_at(tokens, at, before) or _factor_at(tokens, at):
        return found
    one = _measure(tokens, at + 1, Fraction(1), 1) if token.word in ("a", "an") else None
    if before is not None and before.word in ("extra", "another", "additional"):
        one = one or _measure(tokens, at, Fraction(1), 0)
    if before is None and token.word in _SPOONS and tokens[at + 1 : at + 2] == (Token("of"),):
        one = _measure(tokens, at, Fraction(1), 0)  # "tsp of orange zest"
    if one and one[1].unit != "jar":
        return one[0], [Lexeme("Q", (), one[1])]
    if token.word in ("at", "of") and len(tokens) > at + 1 and tokens[at + 1].value is not None:
        return 1, []
    return _word_at(tokens, at)


_SPOONS = frozenset({"tsp", "tbsp", "teaspoon", "tablespoon", "cup"})


def _word_at(tokens: Sequence[Token], at: int) -> tuple[int, list[Lexeme]]:
    filler = filler_at(tokens, at)
    size, options = _longest_lexeme(tokens, at)
    if tokens[at].word == "cut" and size == 1 and [token.word for token in tokens[at + 1 : at + 2]] == ["the"]:
        options = [option for option in options if option.letter != "D"]  # "cut the peppers to 4"
    if filler and filler >= size and not (filler == size and any(option.letter == "F" for option in options)):
        return filler, []
    share = data("words")["share"].get(tokens[at].word)
    if share and size <= 1:
        return _share_size(tokens, at), [Lexeme("S", (tokens[at].word,), Fraction(share))]
    return size, options


def rows(tokens: Sequence[Token], own: frozenset[str] = frozenset()) -> Iterator[list[Lexeme]]:
    """The rows of lexemes that a wish may be; none where a word stands in no list and is none of the recipe's own."""
    found: list[list[Lexeme]] = []
    at, before = 0, None
    while at < len(tokens):
        size, options = _options_at(tokens, at, before)
        if not size and tokens[at].word in own:
            size, options = 1, [Lexeme("D", (tokens[at].word,))]
        if not size:
            return
        if options:
            found.append(options)
            before = tokens[at + size - 1]
        at += size
    for row in islice(product(*found), _MOST_ROWS):
        if not any(_is_misplaced(row, at) for at in range(len(row))):
            yield [_strength_or_share(list(row), at) if item.letter == "%" else item for at, item in enumerate(row)]


def _is_misplaced(row: Sequence[Lexeme], at: int) -> bool:
    """ "Sour" and "sweet" are the acid and the sugar only behind "less" or "more"; else they describe a food."""
    item = row[at]
    describes = str(item.value).startswith("role ") and any(letter == "D" for letter, _ in lexicon()[item.words])
    return describes and (not at or row[at - 1].letter not in "LMRIZ")


def _strength_or_share(row: list[Lexeme], at: int) -> Lexeme:
    """A percentage beside a vinegar is its strength, any other a share of what the recipe has."""
    value = row[at].value
    assert isinstance(value, Fraction)
    before = next((item for item in reversed(row[:at]) if item.letter != "G"), None)
    after = "".join(item.letter for item in row[at + 1 :])
    food = re.match(r"[DOG]*F", after)
    vinegar_after = food is not None and "vinegar" in row[at + food.end()].words
    vinegar_before = before is not None and before.letter == "F" and "vinegar" in before.words
    signed = before is not None and before.letter in ("-+RI" if vinegar_after else "-+bt>RI")
    is_strength = value <= 20 and not signed and after[:1] not in tuple("LMRIuz") and (vinegar_after or vinegar_before)
    return Lexeme("p", (), value) if is_strength else Lexeme("S", (), value / 100)
