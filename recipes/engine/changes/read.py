"""From a text to changes: split into wishes, each read whole. Nothing here knows the recipe; nothing here raises.

    read(text) -> the readings of a text: each is the changes it would mean; none where any word is left over

A wish becomes a row of lexemes, each with the letter of its sort (`words.toml`). Numbers, foods and what describes them
are drawn together into a noun phrase (N, or D where only a description stands). Then the row of letters has to fit
one of `_FORMS` whole. Where a word is of two sorts, every row that fits is a reading.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache, lru_cache
from itertools import islice, product
from typing import NamedTuple

from recipes.engine.changes.foods import ACIDS, LOW_ACID, Kind, foods, form_of, read_phrase
from recipes.engine.changes.normalise import ARROW, LONGEST_TEXT, STOP, Token, tokenise
from recipes.engine.changes.terms import ABOUT, ADDED, ALL, BARE, FOR, LITTLE, PART, Act, Change
from recipes.engine.changes.vocabulary import data, phrases, spellings, word_lists, words_of
from recipes.engine.changes.ways import read_accident, read_way
from recipes.engine.quantities import SPELLINGS, Amount, ConversionError, convert

MOST_PARTS = 12
_MOST_ROWS = 48
_JOINTS = "&,|w"  # where a wish may end and another begin
_SHARE_WORDS = ("some", "part")


class Lexeme(NamedTuple):
    """One word or fixed phrase: its letter, its words, and what it stands for."""

    letter: str
    words: tuple[str, ...]
    value: object = None


@dataclass(frozen=True)
class Noun:
    """A food with all that was said of it, or a description alone (`food` is "")."""

    name: str
    food: str
    amount: Amount | None = None
    share: Fraction | None = None
    word: str = ""  # ALL or ABOUT
    is_part: bool = False  # "some of the", without a number
    only: bool = False
    little: bool = False
    plenty: bool = False
    strength: Fraction | None = None
    letter: str = "N"

    @property
    def is_plain(self) -> bool:
        return not (
            self.amount
            or self.share is not None
            or self.is_part
            or self.only
            or self.little
            or self.plenty
            or self.word
        )


Item = Lexeme | Noun


def read(text: str) -> list[list[Change]]:
    """Every reading of a text, each with the text it was read from; empty where it was not understood."""
    if len(text) > LONGEST_TEXT:
        return []
    tokens = tokenise(text)
    if accident := read_accident(tokens):
        return [[replace(accident, text=text)]]
    found = _read_wishes(_without_ends(tokens))
    return [[replace(change, text=text) for change in reading] for reading in found]


def _without_ends(tokens: Sequence[Token]) -> tuple[Token, ...]:
    words = list(tokens)
    while words and words[0].word in (STOP, ","):
        words.pop(0)
    while words and words[-1].word in (STOP, ","):
        words.pop()
    return tuple(words)


def _read_wishes(tokens: tuple[Token, ...]) -> list[list[Change]]:
    """A way of working said by the whole text, else each sentence by itself, one after another."""
    clauses: list[list[Token]] = [[]]
    for token in tokens:
        if token.word == STOP:
            clauses.append([])
        else:
            clauses[-1].append(token)
    clauses = [clause for clause in clauses if _stripped(clause)]
    if not 0 < len(clauses) <= MOST_PARTS:
        return []
    readings: list[list[Change]] = [[]]
    for clause in clauses:
        longer = []
        for before in readings:
            longer += [before + more for more in _read_clause(tuple(clause), tuple(before))]
        readings = longer[:8]
        if not readings:
            return []
    return readings


def _stripped(tokens: Sequence[Token]) -> tuple[Token, ...]:
    """The tokens without polite words round them: "can I ... please", "to the salsa"."""
    kept = []
    at = 0
    while at < len(tokens):
        size = _filler_at(tokens, at)
        if not size:
            kept.append(tokens[at])
        at += size or 1
    return tuple(token for token in kept if token.word != ",") and tuple(kept)


# Lexemes.


@cache
def _lexicon() -> dict[tuple[str, ...], list[tuple[str, object]]]:
    """Every phrase of `words.toml` and of the foods, with the letters it may have."""
    words = data("words")
    found: dict[tuple[str, ...], list[tuple[str, object]]] = {}

    def note(text: str, letter: str, value: object = None) -> None:
        for phrase in phrases(text):
            key = words_of(phrase)
            for other, spelled in spellings().items():  # a phrase holds words that are brought to one spelling
                if len(other) <= len(key) and other != spelled:
                    key = _respell(key, other, spelled)
            entries = found.setdefault(key, [])
            if (letter, value) not in entries:
                entries.append((letter, value))

    for letter, text in words["verb"].items():
        note(text, "v" if letter == "leave" else letter)
    for word, factor in words["times"].items():
        note(word, "T", Fraction(factor))
    for letter, text in words["link"].items():
        note(text, letter)
    for name, letter in (
        ("some", "s"),
        ("only", "q"),
        ("at_least", "c"),
        ("about", "k"),
        ("little", "l"),
        ("plenty", "n"),
    ):
        note(words["measure"][name], letter)
    note(words["measure"]["to_taste"], "Y")
    note(words["measure"]["pronoun"], "P")
    note(words["describing"]["words"], "D")
    note(words["describing"]["same"], "G")
    for name, text in words["form"].items():
        note(text, "O", name)
    for role, text in words["role"].items():
        note(text, "F", f"role {role}")
    for word, item in words["leaves_out"].items():
        note(word, "o", item)
    note("added", "d")
    for name, food in foods().items():
        found.setdefault(name, []).append(("F", food.name))
    for sign, letter in ((ARROW, ">"), ("=", ">"), ("+", "+"), ("-", "-"), (",", ","), ("&", "&")):
        found.setdefault((sign,), []).append((letter, None))
    note("plus", "&")
    note("and, as well as, along with, together with, or, nor, and also", "&")
    note("but, while, whereas, yet, then, after that, and then", "|")
    return found


def _respell(key: tuple[str, ...], other: tuple[str, ...], spelled: tuple[str, ...]) -> tuple[str, ...]:
    for at in range(len(key) - len(other) + 1):
        if key[at : at + len(other)] == other:
            return key[:at] + spelled + key[at + len(other) :]
    return key


@cache
def _fillers() -> tuple[frozenset[tuple[str, ...]], frozenset[str], frozenset[tuple[str, ...]]]:
    words = data("words")["filler"]
    dish = frozenset(words_of(phrase) for phrase in phrases(words["dish"]))
    purpose = frozenset(words_of(phrase) for phrase in phrases(words["purpose"]))
    return word_lists()["filler"] | purpose, frozenset(words["before_dish"].replace(",", " ").split()), dish


@cache
def _filler_sizes() -> range:
    return range(max(map(len, _fillers()[0])), 0, -1)


_LOOSE = frozenset({"it", "this", "that", "them"})


def _filler_at(tokens: Sequence[Token], at: int) -> int:
    """How many tokens from here change nothing in a wish."""
    words = tuple(token.word for token in tokens[at : at + 12])
    fillers, before, dishes = _fillers()
    best = next((size for size in _filler_sizes() if size <= len(words) and words[:size] in fillers), 0)
    if words and words[0] in before:
        skip = 2 if len(words) > 1 and words[1] in ("the", "my", "this", "our", "a") else 1
        for size in (3, 2, 1):
            dish = words[skip : skip + size]
            sure = skip == 2 or words[0] in ("to", "in", "into", "from")
            if dish in dishes and sure and (dish[0] not in _LOOSE or words[0] not in ("for", "with", "of", "on")):
                after = words[skip + size : skip + size + 1]
                if not after or after[0] in (
                    ",",
                    "and",
                    "but",
                    "please",
                    "for",
                    "instead",
                    "with",
                    "so",
                    "to",
                    "by",
                    "in",
                ):
                    best = max(best, skip + size)
                break
    return best


def _unit_at(tokens: Sequence[Token], at: int) -> tuple[str, int] | None:
    """The unit that the words from here name, and how many they are."""
    for size in (2, 1):
        word = " ".join(token.word for token in tokens[at : at + size])
        if len(tokens) >= at + size and all(t.value is None for t in tokens[at : at + size]) and word != "whole":
            name = SPELLINGS.get(word) or SPELLINGS.get(word + "s")
            if name:
                return name, size
    return None


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
        for name, jar in _JAR_NAMES.items():
            end = at + size + len(name)
            if tuple(token.word for token in tokens[at + size : end]) == name:
                if len(tokens) > end and tokens[end].word == "jar":
                    end += 1
                return jar, end - at, before
    return None


@cache
def _each_words() -> frozenset[str]:
    return frozenset(phrases(data("words")["each"]["before"]))


def _options_at(tokens: Sequence[Token], at: int, before: Token | None) -> tuple[int, list[Lexeme]]:
    """The sorts that the words from here may be, and how many words they are; none where no list holds them."""
    token = tokens[at]
    if token.value is not None:
        return _number_at(tokens, at)
    if each := _each_jar_at(tokens, at):
        jar, size, said = each
        after = tokens[at + size].word if len(tokens) > at + size else ""
        sure = said not in ("a", "an", "the", "to a", "to the", "in my") or (
            before is not None and after != "of" and (after,) not in foods()
        )
        if sure:
            return size, [Lexeme("j", (), jar)]
    if token.word in ("a", "an") and (unit := _unit_at(tokens, at + 1)) and unit[0] != "jar":
        size = 1 + unit[1] + (1 if len(tokens) > at + 1 + unit[1] and tokens[at + 1 + unit[1]].word == "of" else 0)
        return size, [Lexeme("Q", (), Amount(Fraction(1), unit[0]))]
    if token.word == "x" and len(tokens) > at + 1 and (value := tokens[at + 1].value) is not None:
        return 2, [Lexeme("X", (), value)]
    if token.word == "/" and len(tokens) > at + 1 and (value := tokens[at + 1].value):
        return 2, [Lexeme("X", (), 1 / value)]
    if token.word == "time" and len(tokens) > at + 1 and (value := tokens[at + 1].value) is not None:
        return 2, [Lexeme("X", (), value)]
    if token.word in ("at", "of") and len(tokens) > at + 1 and tokens[at + 1].value is not None:
        return 1, []
    filler = _filler_at(tokens, at)
    share = data("words")["share"].get(token.word)
    size, options = _longest_lexeme(tokens, at)
    if filler and filler >= size and not (filler == size and any(o.letter in "F" for o in options)):
        return filler, []
    if share and size <= 1:
        return _share_size(tokens, at), [Lexeme("S", (token.word,), Fraction(share))]
    return size, options


def _share_size(tokens: Sequence[Token], at: int) -> int:
    return 2 if len(tokens) > at + 1 and tokens[at + 1].word == "of" else 1


@cache
def _longest_key() -> int:
    return max(map(len, _lexicon()))


def _longest_lexeme(tokens: Sequence[Token], at: int) -> tuple[int, list[Lexeme]]:
    words = tuple(token.word if token.value is None else str(token.value) for token in tokens[at : at + _longest_key()])
    for size in range(len(words), 0, -1):
        if (entries := _lexicon().get(words[:size])) is not None:
            options = [Lexeme(letter, words[:size], value) for letter, value in entries]
            return size, options
    return 0, []


def _number_at(tokens: Sequence[Token], at: int) -> tuple[int, list[Lexeme]]:
    token = tokens[at]
    value = token.value
    assert value is not None
    words = [t.word for t in tokens[at + 1 : at + 6]] + [""] * 5
    if token.word == "share":
        return 1 + (words[0] == "of"), [Lexeme("S", (), value)]
    if words[0] == "%":
        acid = words[1] in ("acid", "acidity", "strength", "acetic")
        size = 2 + acid + (acid and words[2] in ("acid", "strength"))
        if words[1] == "of":
            return 3, [Lexeme("S", (), value / 100)]
        return size, [Lexeme("p" if acid else "%", (), value)]
    if words[0] == "grain":
        return 2, [Lexeme("p", (), value / 10)]
    if (
        words[0] in ("x", "time")
        and tokens[at + 1].value is None
        and not (len(tokens) > at + 2 and tokens[at + 2].value)
    ):
        return 2, [Lexeme("X", (), value)]
    if words[0] in ("to", "-", "or") and len(tokens) > at + 2 and (high := tokens[at + 2].value) is not None:
        unit = _unit_at(tokens, at + 3)
        if unit and high > value:  # a range: each end is a reading, and the worse counts
            size = 3 + unit[1] + (len(tokens) > at + 3 + unit[1] and tokens[at + 3 + unit[1]].word == "of")
            return size, [Lexeme("Q", (), Amount(value, unit[0])), Lexeme("Q", (), Amount(high, unit[0]))]
    if unit := _unit_at(tokens, at + 1):
        end = at + 1 + unit[1]
        size = 1 + unit[1] + (len(tokens) > end and tokens[end].word == "of")
        options = [Lexeme("Q", (), Amount(value, unit[0]))]
        garlic = any(t.word == "garlic" for t in tokens)
        if (tokens[at + 1].word,) in foods() and not garlic:
            return 1, [Lexeme("Q", (), Amount(value, "each"))]  # "12 cloves": the spice, not a measure
        return size, options
    of_it = words[0] in ("of", "the")
    if value < 1:
        options = [Lexeme("S", (), value)]
        if not of_it:
            options.append(Lexeme("Q", (), Amount(value, "each")))
        return 1 + (words[0] == "of"), options
    return 1, [Lexeme("#", (), value)]


def _rows(tokens: Sequence[Token]) -> Iterator[list[Lexeme]]:
    """The rows of lexemes that a wish may be; none where a word stands in no list."""
    found: list[list[Lexeme]] = []
    at, before = 0, None
    while at < len(tokens):
        size, options = _options_at(tokens, at, before)
        if not size:
            return
        if options:
            found.append(options)
            before = tokens[at + size - 1]
        at += size
    for row in islice(product(*found), _MOST_ROWS):
        yield _with_strengths(list(row))


def _with_strengths(row: list[Lexeme]) -> list[Lexeme]:
    """A percentage beside a vinegar is its strength, any other a share of what the recipe has."""
    found = []
    for at, lexeme in enumerate(row):
        if lexeme.letter == "%":
            value = lexeme.value
            assert isinstance(value, Fraction)
            before = next((other for other in reversed(row[:at]) if other.letter != "G"), None)
            after = "".join(other.letter for other in row[at + 1 : at + 3])
            vinegar_after = re.match(r"[DOG]*F", "".join(o.letter for o in row[at + 1 :])) is not None and any(
                o.letter == "F" and "vinegar" in o.words for o in row[at + 1 : at + 4]
            )
            vinegar_before = before is not None and before.letter == "F" and "vinegar" in before.words
            signed = before is not None and before.letter in ("-+RI" if vinegar_after else "-+bt>RI")
            strong = (
                value <= 20 and not signed and after[:1] not in tuple("LMRIuz") and (vinegar_after or vinegar_before)
            )
            found.append(Lexeme("p", (), value) if strong else Lexeme("S", (), value / 100))
        else:
            found.append(lexeme)
    return found


# Noun phrases.

_NOUN = re.compile(r"([qckGulnsSQXp#]*)((?:[DOGp])*)(F)([DOG]*p?[DOG]*)|([qckGulnsSQX]*)([DO][DOG]*)")


def _nouns(row: list[Lexeme]) -> list[Item] | None:
    """The row with numbers, foods and descriptions drawn together; None where they do not go together."""
    row = _joined(row)
    letters = "".join(item.letter for item in row)
    found: list[Item] = []
    at = 0
    while at < len(row):
        match = _NOUN.match(letters, at)
        if match is None or match.end() == at:
            found.append(row[at])
            at += 1
            continue
        noun = _noun(row[at : match.end()], match[3] is not None)
        if noun is None:
            return None
        found.append(noun)
        at = match.end()
    return [item for item in found if item.letter != "G"]


def _joined(row: list[Lexeme]) -> list[Lexeme]:
    """ "Yellow and orange peppers", "lemon or lime": two descriptions of one food."""
    letters = "".join(item.letter for item in row)
    while match := re.search(r"(?<=D)[&,](?=[DO]*F)", letters):
        row = row[: match.start()] + row[match.end() :]
        letters = "".join(item.letter for item in row)
    return row


def _noun(parts: list[Lexeme], has_food: bool) -> Noun | None:
    amounts: list[Amount] = []
    shares: list[Fraction] = []
    names: list[str] = []
    food, strength = "", None
    flags = set()
    for part in parts:
        if part.letter == "Q" and isinstance(part.value, Amount):
            amounts.append(part.value)
        elif part.letter == "#" and isinstance(part.value, Fraction):
            amounts.append(Amount(part.value, "each"))
        elif part.letter in "SX" and isinstance(part.value, Fraction):
            shares.append(part.value)
        elif part.letter == "p" and isinstance(part.value, Fraction):
            if strength is not None:
                return None
            strength = part.value
        elif part.letter in "DO":
            names += part.words if len(part.words) == 1 or part.letter == "D" else (str(part.value),)
        elif part.letter == "F":
            food = str(part.value)
            names.append(food.removeprefix("role "))
        else:
            flags.add(part.letter)
    amount = _sum(amounts)
    if (amounts and amount is None) or len(shares) > 1 or (amount and shares):
        return None
    if "l" in flags and (amount or shares):
        if any(word == "scant" for part in parts for word in part.words):
            return None
    name = " ".join(names)
    if strength is not None:
        name = f"{_decimal(strength)} % {name}"
    return Noun(
        name,
        food,
        amount,
        shares[0] if shares else None,
        ABOUT if "k" in flags else ALL if "G" in flags and not amounts and not shares else "",
        "s" in flags,
        "q" in flags,
        "l" in flags,
        "n" in flags,
        strength,
        "N" if has_food else "D",
    )


def _decimal(value: Fraction) -> str:
    return str(value) if value.denominator == 1 else f"{float(value):g}"


def _sum(amounts: list[Amount]) -> Amount | None:
    """ "1 cup 2 tbsp" as one amount; None where the two cannot be added."""
    if not amounts:
        return None
    total = amounts[0].value
    for amount in amounts[1:]:
        try:
            total += convert(amount.value, amount.unit, amounts[0].unit)
        except ConversionError:
            return None
    return Amount(total, amounts[0].unit)


# Forms of a wish: letters of a row, and the changes it means.

Build = Callable[[list[Item]], "list[Change] | None"]


def _n(item: Item) -> Noun:
    assert isinstance(item, Noun)
    return item


def _amount_of(item: Item) -> Amount | None:
    value = item.value if isinstance(item, Lexeme) else item.amount
    if isinstance(value, Amount):
        return value
    return Amount(value, "each") if isinstance(value, Fraction) else None


def _share_of(item: Item) -> Fraction:
    assert isinstance(item, Lexeme)
    assert isinstance(item.value, Fraction)
    return item.value


def _scaled(item: str, factor: Fraction) -> Change:
    act = Act.OMIT if factor == 0 else Act.LESS if factor < 1 else Act.MORE
    return Change(act, item=item, factor=factor)


def _use(noun: Noun, *, word: str = "") -> list[Change] | None:
    """ "Honey", "5 cups sugar", "half the onions": a new amount, a swap or an addition, by what the recipe holds."""
    if noun.share is not None:
        return [_scaled(noun.name, noun.share)]
    if noun.is_part:
        return [Change(Act.USE, noun.name, word=PART)]
    if noun.plenty:
        return [Change(Act.MORE, noun.name, word=LITTLE)]
    if noun.little and noun.amount is None:
        return [Change(Act.USE, noun.name, word=LITTLE)]
    if noun.only and noun.amount:
        return [Change(Act.SET, noun.name, amount=noun.amount)]
    return [Change(Act.USE, noun.name, amount=noun.amount, word=noun.word or word)]


def _add(noun: Noun, amount: Amount | None = None, *, sure: bool = True) -> list[Change] | None:
    said = noun.amount or amount
    if noun.amount and amount:
        return None
    if noun.share is not None:
        return [_scaled(noun.name, noun.share)]
    if noun.only and said:
        return [Change(Act.SET, noun.name, amount=said)]
    if (noun.little or noun.is_part) and said is None:
        return [Change(Act.ADD, noun.name, word=LITTLE)]
    return [Change(Act.ADD, noun.name, amount=said, word=ADDED if sure else "")]


def _is_sure(verb: Item) -> bool:
    """Whether a verb of adding says that it comes on top: "put in 1 cup" may be all of it."""
    return isinstance(verb, Lexeme) and verb.words[:1] in (("add",), ("adding",), ("plus",), ("introduce",), ("added",))


def _less_by(noun: Noun, by: Item | None) -> list[Change] | None:
    if not _may_be_less(noun):
        return None
    if by is None:
        return [Change(Act.LESS, noun.name, other_amount=noun.amount)]
    if by.letter == "S":
        share = _share_of(by)
        return [_scaled(noun.name, 1 - share)] if share <= 1 else None
    return [Change(Act.LESS, noun.name, other_amount=_amount_of(by), word="by")] if noun.amount is None else None


def _more_by(noun: Noun, by: Item | None) -> list[Change] | None:
    if not _may_be_less(noun):
        return None
    if by is None:
        return [Change(Act.MORE, noun.name, other_amount=noun.amount)]
    if by.letter == "S":
        if by.value == Fraction(1, 2) and by.words:
            return None  # "half more": by half, or half of it and more
        return [_scaled(noun.name, 1 + _share_of(by))]
    return [Change(Act.MORE, noun.name, other_amount=_amount_of(by), word="by")] if noun.amount is None else None


def _may_be_less(noun: Noun) -> bool:
    return noun.share is None and not noun.is_part and not noun.only


def _to(noun: Noun, new: Item, told: Item | None = None) -> list[Change] | None:
    """A new amount in place of the printed one, or a share of it."""
    if noun.share is not None or noun.is_part or noun.little:
        return None
    before = told if told is not None else None
    numbers = tuple(
        amount.value for amount in (noun.amount, _amount_of(before) if before is not None else None) if amount
    )
    if new.letter == "S":
        return [replace(_scaled(noun.name, _share_of(new)), told=numbers)]
    amount = _amount_of(new)
    if amount is None:
        return None
    if amount.value == 0:
        return [Change(Act.OMIT, noun.name, told=numbers)]
    old = noun.amount or (_amount_of(before) if before is not None else None)
    if new.letter == "#" and old is not None:
        amount = Amount(amount.value, old.unit)
    return [Change(Act.SET, noun.name, amount=amount, told=numbers)]


def _swap(old: Noun, new: Noun, *, word: str = "", either: bool = False) -> list[Change] | None:
    if not (old.name or new.name):
        return None
    if new.letter == "D" and old.letter == "D" and not (old.name and new.name):
        return None
    factor = old.share
    if old.is_part or old.little:
        word, factor = word or PART, None
        if new.share is not None:
            return None
        return [Change(Act.SWAP, old.name, new.name, old.amount, new.amount, Fraction(1, 2), word, either_way=either)]
    if new.share is not None or new.is_part or (new.little and new.amount is None):
        if old.share is not None and old.share == new.share:
            word = ""
        else:
            factor, word = new.share, PART
    if new.letter == "D" and old.food and old.letter == "N":
        new = replace(new, name=f"{new.name} {_bare_food(old.food)}")
    return [Change(Act.SWAP, old.name, new.name, old.amount, new.amount, factor, word, either_way=either)]


def _bare_food(food: str) -> str:
    return food.removeprefix("role ")


def _of_two(items: list[Item]) -> list[Change] | None:
    """ "Half hot and half mild peppers": a part of the one in place of the other."""
    one, other = _n(items[0]), _n(items[1])
    if one.share is None or other.share is None or one.share + other.share != 1:
        return None
    name = one.name if one.food else f"{one.name} {_bare_food(other.food)}"
    return [Change(Act.SWAP, name, other.name, factor=other.share, either_way=True)]


def _instead(new: Noun, old: Noun) -> list[Change] | None:
    """ "5 cups sugar instead of 7 cups sugar" is a new amount; else one thing in place of another."""
    if new.amount and old.amount and (not old.food or old.food == new.food) and old.name in ("", new.name, old.food):
        if not old.food or old.name == new.name:
            return [Change(Act.SET, new.name, amount=new.amount, told=(old.amount.value,))]
    return _swap(old, new)


def _set_instead(items: list[Item]) -> list[Change] | None:
    """ "5 cups sugar instead of 7": the number after it is what the recipe has."""
    noun, told = _n(items[0]), _amount_of(items[1])
    if noun.amount is None or told is None:
        return None
    return [Change(Act.SET, noun.name, amount=noun.amount, told=(told.value,))]


def _another(more: Item, noun: Noun) -> list[Change] | None:
    """ "Another vinegar" is another kind of it; "another cup of vinegar" is more."""
    if isinstance(more, Lexeme) and more.words == ("another",) and noun.amount is None:
        if read_phrase(noun.name).kinds & LOW_ACID:
            return [Change(Act.MORE, noun.name)]
        return [Change(Act.SWAP, noun.name, "another")] if noun.is_plain else None
    return None


def _times(noun: Noun, factor: Fraction) -> list[Change] | None:
    if noun.amount or noun.share is not None or noun.is_part:
        return None
    return [_scaled(noun.name, factor)]


def _strength(items: list[Item]) -> list[Change] | None:
    noun = _n(items[0])
    if (
        noun.strength is None
        or noun.only
        or noun.word
        or noun.amount
        or noun.share is not None
        or noun.is_part
        or noun.little
    ):
        return None
    item = re.sub(r"^\S+ % ", "", noun.name)
    return [Change(Act.ACIDITY, item=item, factor=noun.strength)]


def _form_swap(new: Noun, old: Noun | None) -> list[Change] | None:
    forms = ("fresh", "frozen", "canned", "dried", "bottled")
    said, before = (form_of(words_of(noun.name)) if noun else "" for noun in (new, old))
    if new.letter == "D" and said in forms and new.is_plain and (old is None or before in forms):
        return [Change(Act.FORM, word=said, other=before)]
    return None


def _leaves_out(noun: Noun) -> bool:
    return noun.name in data("words")["leaves_out"]


def _omit(noun: Noun) -> list[Change] | None:
    if noun.amount or noun.share is not None or noun.is_part:
        return None
    return [Change(Act.OMIT, noun.name)]


_E = "[Ew]?"
# The groups of a form are the items that its change is made of.
_FORMS: tuple[tuple[str, Build], ...] = (
    # put in
    (r"(A)(N)", lambda i: _add(_n(i[1]), sure=_is_sure(i[0]))),
    (r"(A)(N)[qc]?(Q)", lambda i: _add(_n(i[1]), _amount_of(i[2]), sure=_is_sure(i[0]))),
    (r"(N)d", lambda i: _add(_n(i[0]))),
    (r"[AEw]?(M)(N)", lambda i: _another(i[0], _n(i[1]))),
    (r"A[ln]?M(N)|[Ew]?[ln]?M(N)|(N)[ln]?M|I(N)|(N)I", lambda i: _more_by(_n(i[0]), None)),
    (r"[AEw]?([QS])M(N)", lambda i: _more_by(_n(i[1]), i[0])),
    (r"A?M([Q])(N)", lambda i: _more_by(_n(i[1]), i[0])),
    (r"(N)([QS])[MI]|I(N)b([QS#])|(N)\+([QS])|(N)Ib([QS])|(N)Mb([QS])", lambda i: _more_by(_n(i[0]), i[1])),
    # left out
    (r"Z[GE]?(N)[zd]?|v(N)z|(N)z|ZE(N)|R(N)z", lambda i: _omit(_n(i[0]))),
    (r"(o)", lambda i: [Change(Act.OMIT, str(i[0].value))] if isinstance(i[0], Lexeme) else None),
    # less
    (r"[AEw]?[ln]?L(N)|R(N)|(N)[ln]?[LR]", lambda i: _less_by(_n(i[0]), None)),
    (r"[AEw]?([QS])[LR]M?(N)", lambda i: _less_by(_n(i[1]), i[0])),
    (
        r"(N)([QS])[LRz]|R(N)[bEw]([QS])|(N)-([QS])|(N)R[bw]?([QS])|(N)L([QS])|(N)Lb([QS])",
        lambda i: _less_by(_n(i[0]), i[1]),
    ),
    (r"R(N)[ln]", lambda i: _less_by(_n(i[0]), None)),
    # times
    (r"(T)u?(N)", lambda i: _times(_n(i[1]), _share_of(i[0]))),
    (r"(N)([TX])", lambda i: _times(_n(i[0]), _share_of(i[1]))),
    # a new amount
    (
        r"[Ew]?(N)[qc]?(Q)",
        lambda i: (
            _use(replace(_n(i[0]), amount=_amount_of(i[1]), only=False))
            if _n(i[0]).amount is None and _n(i[0]).share is None and not _n(i[0]).little and not _n(i[0]).is_part
            else None
        ),
    ),
    (r"[RI]?(N)[>t][qc]?([QS#])|(N)b?E([S])|(N)q([QS])", lambda i: _to(_n(i[0]), i[1])),
    (r"[RI]?(N)m?([Q#])[>t][qc]?([Q#])", lambda i: _to(_n(i[0]), i[2], i[1])),
    (r"R(N)[bt]?([S])", lambda i: _to(_n(i[0]), i[1]) if False else None),
    (r"[Ew]?(N)i([Q#])", _set_instead),
    # a share of it
    (r"[Ew]?(N)q?(S)u?", lambda i: _times(_n(i[0]), _share_of(i[1]))),
    # one in place of another
    (r"[WVRIy]?(N)>(N)|[WVRI]?(N)>(D)|[WV]?(D)>(N)", lambda i: _swap(_n(i[0]), _n(i[1]))),
    (r"[WV](N)[wbtE](N)|[WV](D)[wbtE](N)|[WV](N)[wbtE](D)", lambda i: _swap(_n(i[0]), _n(i[1]))),
    (r"[WV](N)[fi](N)|[WV](D)[fi](N)|[WV](N)[fi](D)", lambda i: _swap(_n(i[0]), _n(i[1]), either=True)),
    (r"y(N)[fi]([ND])|y(D)[fi](N)", lambda i: _swap(_n(i[1]), _n(i[0]))),
    (r"y(N)[w](N)", lambda i: _swap(_n(i[0]), _n(i[1]))),
    (r"[AEw]*(N)i[E]?(N)|[AEw]*(N)i(D)|[AEw]*(D)i(N)", lambda i: _instead(_n(i[0]), _n(i[1]))),
    (
        r"[AEw]?(N)f(N)|[AEw]?(N)f(D)|[AEw]?(D)f(N)",
        lambda i: _swap(_n(i[1]), _n(i[0]), word="" if i[0] is None else FOR),
    ),
    (r"i[E]?(N),?[AEw]*(N)|i(D),?[AEw]*(N)", lambda i: _swap(_n(i[0]), _n(i[1]))),
    (r"[AEw]?(N)K|[AEw]?(N)i", lambda i: _use(_n(i[0]))),
    (r"[AEw]?(D)K", lambda i: _use(_n(i[0]))),
    (r"[AEw]*([ND])[&,]?(N)", _of_two),
    (
        r"[WVE]?P?(N)[fiwbt>]a|[WVE](N)[fiwbt>]?a",
        lambda i: [Change(Act.SWAP, _n(i[0]).name, "another")] if _n(i[0]).is_plain else None,
    ),
    # form, strength, used
    (r"[Ew]?(D)", lambda i: _form_swap(_n(i[0]), None)),
    (r"[Ew]?(D)[fi](D)|", lambda i: _form_swap(_n(i[0]), _n(i[1])) if len(i) == 2 else None),
    (r"[W]?(D)[>twE](D)", lambda i: _form_swap(_n(i[1]), _n(i[0]))),
    (r"[Ew]?(N)", _strength),
    (r"[Ew]?(D)", lambda i: _use(_n(i[0])) if not _form_swap(_n(i[0]), None) and not _leaves_out(_n(i[0])) else None),
    (r"[Ew](N)", lambda i: _use(_n(i[0])) if _n(i[0]).strength is None or _n(i[0]).amount else None),
    (r"(N)", lambda i: _use(_n(i[0]), word=BARE) if _n(i[0]).strength is None or _n(i[0]).amount else None),
)


@cache
def _forms() -> tuple[tuple[re.Pattern[str], Build], ...]:
    return tuple((re.compile(pattern), build) for pattern, build in _FORMS)


# What follows a wish and speaks of it: "and half of it", ", only 1 tbsp", "; less".

_AFTER: tuple[tuple[str, Callable[[list[Item], Change], list[Change] | None]], ...] = (
    (r"[EwqG]*(S)P?u?|[q]?(X)", lambda i, last: [_scaled(_last_item(last), _share_of(i[0]))]),
    (r"[EwA]?[ln]?LP?|RP?|[Ew]?[ls]P?", lambda i, last: [Change(Act.LESS, _last_item(last))]),
    (r"[EwA]?[ln]?M P?", lambda i, last: [Change(Act.MORE, _last_item(last))]),
    (r"(T)P|(T)", lambda i, last: [_scaled(_last_item(last), _share_of(i[0]))]),
    (r"RP[bEwt]?(S)", lambda i, last: [_scaled(_last_item(last), 1 - _share_of(i[0]))]),
    (r"[EwA]?[qc]?([Q])P?", lambda i, last: _with_amount(last, _amount_of(i[0]))),
    (r"[EwA]?q([Q])", lambda i, last: _with_amount(last, _amount_of(i[0]))),
    (r"G", lambda i, last: []),
)


def _last_item(last: Change) -> str:
    return last.other if last.act is Act.SWAP else last.item


def _with_amount(last: Change, amount: Amount | None) -> list[Change] | None:
    """The change before with an amount that was said after it, in the mark `told` of a change that takes its place."""
    if last.act is Act.SWAP and last.other_amount is None:
        return [replace(last, other_amount=amount, text="again")]
    if last.act in (Act.USE, Act.ADD) and last.amount is None and last.word != LITTLE:
        return [replace(last, amount=amount, word="" if last.act is Act.ADD else last.word, text="again")]
    if last.act in (Act.LESS, Act.MORE) and last.other_amount is None and last.factor is None:
        return [replace(last, other_amount=amount, text="again")]
    return None


# From the tokens of a sentence to changes.


def _read_clause(tokens: tuple[Token, ...], before: tuple[Change, ...]) -> list[list[Change]]:
    """Every reading of one sentence: whole, or cut where a wish may end, the longest wishes first."""
    if way := read_way(_stripped(tokens)):
        return [[way]]
    whole = _read_wish(tokens, before, None)
    if whole:
        return whole
    return _read_parts(tokens, before, None, 0)


@lru_cache(maxsize=64)
def _joint_words() -> frozenset[tuple[str, ...]]:
    return frozenset(
        words for words, entries in _lexicon().items() if any(letter in "&,|" for letter, _ in entries)
    ) | {("with",)}


def _joint_at(tokens: Sequence[Token], at: int) -> int:
    words = tuple(token.word for token in tokens[at : at + 3])
    return next((size for size in (3, 2, 1) if words[:size] in _joint_words()), 0)


def _read_parts(
    tokens: tuple[Token, ...], before: tuple[Change, ...], verb: Change | None, depth: int
) -> list[list[Change]]:
    if depth > MOST_PARTS:
        return []
    joints = [(at, size) for at in range(1, len(tokens)) if (size := _joint_at(tokens, at))]
    for at, size in reversed(joints):
        head = tokens[:at]
        rest = tokens[at + size :]
        while rest and (more := _joint_at(rest, 0)):  # ", and"
            if rest[0].word == "with":
                break
            rest = rest[more:]
        if not rest:
            continue
        for first in _read_part(head, before, verb):
            after = [*before, *first]
            carried = _carried(first, tokens[at].word, rest)
            if tokens[at].word == "plus":
                carried = Change(Act.ADD, word=ADDED)
            tail = tokens[at:] if tokens[at].word == "with" else rest
            if tail is rest:
                found = _read_part(rest, tuple(after), carried) or _read_parts(rest, tuple(after), carried, depth + 1)
            else:
                found = _read_part(rest, tuple(after), None) or _read_parts(rest, tuple(after), None, depth + 1)
            if found:
                return [_merged(first, more) for more in found]
    return []


_AND = frozenset({"and", "&", "or", "nor", "plus", "as", "along", "together"})


def _merged(first: list[Change], more: list[Change]) -> list[Change]:
    """An amount said after a wish takes the wish's place."""
    if more and more[0].text == "again" and first:
        return [*first[:-1], replace(more[0], text=""), *more[1:]]
    return [*first, *more]


def _carried(changes: Sequence[Change], joint: str, rest: Sequence[Token]) -> Change | None:
    """The wish whose verb reaches over the foods that follow it in a list that is one."""
    if not changes:
        return None
    last = changes[-1]
    ends = joint in _AND or any(token.word in _AND for token in rest)
    if last.act in (Act.OMIT, Act.LESS, Act.USE) and not ends:
        return None  # "omit salt, onions": or onions put in
    return last if last.act in (Act.ADD, Act.OMIT, Act.LESS, Act.MORE, Act.USE) else None


def _read_part(tokens: tuple[Token, ...], before: tuple[Change, ...], verb: Change | None) -> list[list[Change]]:
    if way := read_way(_stripped(tokens)):
        return [[way]]
    return _read_wish(tokens, before, verb)


def _read_wish(tokens: tuple[Token, ...], before: tuple[Change, ...], verb: Change | None) -> list[list[Change]]:
    """One wish, every word of it; a reading for each row of sorts that fits a form."""
    found: list[list[Change]] = []
    for row in _rows(tokens):
        jars = {str(item.value) for item in row if item.letter == "j"}
        vague = any(item.letter == "Y" for item in row)
        items = _nouns([item for item in row if item.letter not in "jY"])
        if items is None or len(jars) > 1:
            continue
        for changes in _fits(items, before, verb):
            said = [_for_each_jar(change, next(iter(jars), "")) for change in changes]
            said = [replace(change, word=LITTLE) if vague else change for change in said]
            if said not in found:
                found.append(said)
    strange = None if found else _strange(tokens)
    return [strange] if strange else found


def _for_each_jar(change: Change, jar: str) -> Change:
    return replace(change, per_jar=jar) if jar else change


def _strange(tokens: tuple[Token, ...]) -> list[Change] | None:
    """ "Add unicorn dust": an addition of which no word is known."""
    words = [token.word for token in tokens]
    names = words[1:]
    if not 0 < len(names) < 4 or words[0] not in ("add", "include") or any(token.value is not None for token in tokens):
        return None
    if any((word,) in _lexicon() or not word.isalpha() for word in names):
        return None
    return [Change(Act.ADD, " ".join(names), word=ADDED)]


def _fits(items: list[Item], before: tuple[Change, ...], verb: Change | None) -> Iterator[list[Change]]:
    letters = "".join(item.letter for item in items)
    if letters == "N" and verb is not None and _n(items[0]).is_plain and _may_reach(verb, _n(items[0])):
        yield [_reached(verb, _n(items[0]).name)]
        return
    bare = re.sub(r"^[qc](?=[AZRIWVEyT])", "", letters)
    items = items[len(letters) - len(bare) :]
    for pattern, build in _forms():
        if bare and (match := pattern.fullmatch(bare)):
            groups = [items[match.start(at)] for at in range(1, (match.lastindex or 0) + 1) if match[at] is not None]
            groups = [item for item in groups if item is not None]
            if changes := build(groups):
                yield changes
                return
    if before:
        for text, follow in _AFTER:
            if match := re.fullmatch(text, bare):
                groups = [
                    items[match.start(at)] for at in range(1, (match.lastindex or 0) + 1) if match[at] is not None
                ]
                changes = follow(groups, before[-1])
                if changes is not None and _last_item(before[-1]):
                    yield changes
                return


def _may_reach(verb: Change, noun: Noun) -> bool:
    """ "Add cinnamon, vinegar": whether the vinegar is added too is not said."""
    kinds = read_phrase(noun.name).kinds
    return verb.act in (Act.OMIT, Act.LESS) or not kinds & (ACIDS | {Kind.CITRUS})


def _reached(verb: Change, name: str) -> Change:
    """ "Add onions and garlic": what the verb does to the first, it does to the next, without the first's measure."""
    return replace(
        verb, item=name, other="", amount=None, other_amount=None, factor=verb.factor, per_jar="", told=(), text=""
    )
