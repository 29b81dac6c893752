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
from functools import cache
from itertools import pairwise

from recipes.engine.changes.foods import ACIDS, DRIED, LOW_ACID, MASHED, SWEETS, Kind, form_of, read_phrase
from recipes.engine.changes.lexemes import Lexeme, filler_at, lexicon, mended, rows
from recipes.engine.changes.normalise import LONGEST_TEXT, STOP, Token, powders, tokenise
from recipes.engine.changes.talk import chatty_wishes, plain_wishes
from recipes.engine.changes.terms import ABOUT, ADDED, ALL, BARE, FOR, HALVES, LITTLE, PART, Act, Change
from recipes.engine.changes.vocabulary import data, food_words, phrases, ways_words, words_of
from recipes.engine.changes.ways import idle_words, is_later, read_accident, read_way, vessel_words
from recipes.engine.quantities import SPELLINGS, Amount, ConversionError, convert

MOST_PARTS = 12
_MOST_READINGS = 24


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


def read(text: str, own: frozenset[str] = frozenset()) -> list[list[Change]]:
    """Every reading of a text, each with the text it was read from; empty where it was not understood.

    `own` are words that the recipe uses of its lines, in the singular.
    """
    if len(text) > LONGEST_TEXT:
        return []
    tokens = _each_of_several(_mended(tokenise(powders(text)), own))
    if accident := read_accident(tokens):
        return [[replace(accident, text=text)]]
    if any(_hangs(part) for part in _pieces(tokens)) or _is_half_water(tokens):
        return []
    reader = _Reader(own)
    found = reader.wishes(_without_ends(tokens))
    for plainer in (lambda told: chatty_wishes(told, reader.reads, own), plain_wishes, _without_remarks):
        if not found and (rest := plainer(tokens)):
            found = reader.wishes(_without_ends(rest))
    found = [_acid_for_acid(reading) for reading in found]
    if any(_is_beside(part) and not _stripped(part) for part in _pieces(tokens)):  # ", too"
        found = [[_on_top(change) for change in reading] for reading in found]
    if is_later(tokens):
        found = [[_too_late(change) for change in reading] for reading in found]
    return [[replace(change, text=text) for change in reading] for reading in found]


def _pieces(tokens: Sequence[Token]) -> list[tuple[Token, ...]]:
    """The tokens cut at full stops and commas."""
    pieces: list[list[Token]] = [[]]
    for token in tokens:
        if token.word in (STOP, ","):
            pieces.append([])
        else:
            pieces[-1].append(token)
    return [tuple(piece) for piece in pieces if piece]


_HANGING = frozenset(
    words_of("of the a an and & or nor than if because since my our your their for from with by -> + - = x at per")
)
_CLOSED_BY = frozenset(words_of("do done go gone work start make begin wait care live"))  # "what I began with"


_OPEN = frozenset({"of", "the", "a", "an", "if", "my", "our", "than"})
_JOINED = frozenset({"and", "&", "but", "so", "because", "with", "or", "then"})


def _hangs(part: Sequence[Token]) -> bool:
    """Whether a part breaks off: "seven of the", "quarts instead of". What was left unsaid is not guessed."""
    words = [token.word for token in part]
    if any(one in _OPEN and other in _JOINED and (one, other) != ("if", "so") for one, other in pairwise(words)):
        return True
    last = part[-1]
    if last.value is not None or last.word not in _HANGING:
        return False
    return not (last.word in ("for", "with", "from") and len(part) > 1 and part[-2].word in _CLOSED_BY)


def _is_half_water(tokens: Sequence[Token]) -> bool:
    """ "Make it with half water": water for half of what is poured in, and not half of the recipe's water."""
    words = [token.word if token.value is None else str(token.value) for token in tokens]
    parts = [at for at, word in enumerate(words[:-1]) if word in ("half", "part", "partly", "third", "1/2", "1/3")]
    alone = [at for at in parts if words[at + 1] == "water" and not set(words[at + 2 :]) & {*_BESIDE_WATER}]
    return bool(alone) and not set(words[: alone[0]]) & {*_BESIDE_WATER}


# With one of these it is said what the water takes the place of.
_BESIDE_WATER = ("half", "instead", "rather", "lieu", "place", "swap", "replace", "substitute", "->", "for", "1/2")


@cache
def _remark_words(name: str) -> frozenset[tuple[str, ...]]:
    return frozenset(words_of(phrase) for phrase in phrases(data("words")["remark"][name]))


# Letters of what may be a wish: none of these words stands in a remark.
_DEEDS = frozenset("FAEZzRWVyILMvTtbfQSXOuqlnsoBdK+->&|")


def _without_remarks(tokens: Sequence[Token]) -> tuple[Token, ...]:
    """A text without the parts that only remark on it ("it overpowers everything"); empty where it has none.

    Of acid nothing is passed over: a remark may say that it is weak.
    """
    words = {token.word for token in tokens}
    acid = set(words_of(data("words")["role"]["acid"].replace(",", " ")))
    if words & (acid | {"vinegar", "lemon", "lime", "citric", "juice", "brine"}):
        return ()
    parts: list[list[Token]] = [[]]
    for at, token in enumerate(tokens):
        after = tokens[at + 1].word if at + 1 < len(tokens) else ""
        letters = {letter for letter, _ in lexicon().get((after,), ())}
        if token.word in (STOP, ",", "because", "since") or (token.word == "so" and not letters <= set("D") | {"P"}):
            parts.append([])
        if token.word not in (STOP, ","):
            parts[-1].append(token)
    kept = [part for part in parts if part and not _is_remark(part)]
    if not kept or len(kept) == len([part for part in parts if part]):
        return ()
    return tuple(token for part in kept for token in (*part, Token(STOP)))


def _is_remark(part: Sequence[Token]) -> bool:
    words = [token.word for token in part]
    while words and (words[0],) in _remark_words("begin"):
        words.pop(0)
    size = next((size for size in (3, 2, 1) if tuple(words[:size]) in _remark_words("subjects")), 0)
    rest = words[size:]
    if words[:1] in (["my"], ["our"]):
        rest = rest[1:]
    while rest and (rest[0],) in _remark_words("between"):
        rest.pop(0)
    is_said = words[:1] and words[0] in ("its", "theyre", "thats", "im", "hes", "shes")
    is_said = is_said or (rest and (rest[0],) in _remark_words("says"))
    if not size or not is_said or any(token.value is not None for token in part):
        return False
    told = [word for word in rest if not any((word,) in _remark_words(name) for name in ("says", "between"))]
    return not any(_may_be_wish(word) for word in told)


def _may_be_wish(word: str) -> bool:
    """Whether a word is a food, a measure, a deed or a way of working, or begins as one: "diluted", "unprocessed"."""
    letters = {letter for letter, _ in lexicon().get((word,), ())}
    if "D" in letters and word not in food_words():
        return False
    stem = word.removeprefix("un")
    return bool(letters & _DEEDS) or word in _telling() or (len(stem) >= _STEM and stem[:_STEM] in _stems())


_STEM = 5


@cache
def _telling() -> frozenset[str]:
    deeds = [words for words, entries in lexicon().items() if {letter for letter, _ in entries} & _DEEDS]
    told = food_words() | ways_words() | {word for words in deeds for word in words}
    return frozenset(told - idle_words() - {words[0] for name in ("says", "between") for words in _remark_words(name)})


@cache
def _stems() -> frozenset[str]:
    return frozenset(word[:_STEM] for word in _telling() if len(word) >= _STEM)


def _too_late(change: Change) -> Change:
    """ "Add the vinegar when serving": acid that is not in the jar on the shelf."""
    name = change.other if change.act is Act.SWAP else change.item
    acid = bool(read_phrase(name).kinds & (ACIDS | {Kind.CITRUS})) or name in phrases(data("words")["role"]["acid"])
    put_in = change.act in (Act.ADD, Act.USE, Act.SWAP, Act.SET, Act.MORE)
    return Change(Act.PRACTICE, word="ACID-LATER") if acid and put_in else change


def _mended(tokens: tuple[Token, ...], own: frozenset[str]) -> tuple[Token, ...]:
    """The tokens with each slip of the pen put right; the reading says back what it was taken for."""
    kept = [token.value is not None or token.word in own for token in tokens]
    return tuple(
        token if is_kept else replace(token, word=mended(token.word))
        for token, is_kept in zip(tokens, kept, strict=True)
    )


def _each_of_several(tokens: tuple[Token, ...]) -> tuple[Token, ...]:
    """ "1 tsp each cumin and oregano", "cumin and oregano, 1 tsp each": the measure written before each of them."""
    words = [token.word for token in tokens]
    for at in range(2, len(tokens)):
        measured = words[at] == "each" and tokens[at - 2].value is not None and words[at - 1] in SPELLINGS
        if not measured or words[at + 1 : at + 2] in (["jar"], ["pint"], ["quart"], ["half"], ["quarter"]):
            continue
        amount = tokens[at - 2 : at]
        if at + 1 == len(tokens) or words[at + 1] in (STOP, ","):
            listed = _before(tokens, at - 2)
            return (*tokens[: listed[0]], *_with_measure(tokens[listed[0] : listed[1]], amount), *tokens[at + 1 :])
        rest = at + 1 + (words[at + 1] == "of")
        end = next((place for place in range(rest, len(tokens)) if words[place] == STOP), len(tokens))
        return (*tokens[: at - 2], *_with_measure(tokens[rest:end], amount), *tokens[end:])
    return tokens


def _before(tokens: Sequence[Token], end: int) -> tuple[int, int]:
    """Where the list of foods before a measure begins, behind the verb, and where it ends."""
    end -= 1 if end and tokens[end - 1].word == "," else 0
    start = next((at + 1 for at in range(end - 1, -1, -1) if tokens[at].word == STOP), 0)
    letters = [{letter for letter, _ in lexicon().get((token.word,), ())} for token in tokens]
    verbs = [at + 1 for at in range(start, end) if letters[at] & {"A", "E"}]
    return (verbs[-1] if verbs else start), end


def _with_measure(listed: Sequence[Token], amount: Sequence[Token]) -> tuple[Token, ...]:
    """A list with the amount before each thing; a list with numbers of its own is left for the reader to refuse."""
    found = list(amount)
    for token in listed:
        found.append(token)
        if token.word in ("and", "&", ","):
            found += amount
    twice = [at for at in range(1, len(found)) if found[at].word in ("and", "&") and found[at - 1] == amount[-1]]
    for at in reversed(twice):  # ", and"
        del found[at - len(amount) : at]
    return tuple(found)


def _acid_for_acid(reading: list[Change]) -> list[Change]:
    """ "No lemon juice but citric acid, 1/2 tsp a quart": one acid left out and another named is a swap."""
    out = [change for change in reading if change.act is Act.OMIT and read_phrase(change.item).kinds & ACIDS]
    used = [change for change in reading if change.act in (Act.USE, Act.ADD) and change.word in ("", BARE, ADDED)]
    put_in = [change for change in used if read_phrase(change.item).kinds & ACIDS]
    if len(out) != 1 or len(put_in) != 1 or out[0].item == put_in[0].item:
        return reading
    old, new = out[0], put_in[0]
    swap = Change(Act.SWAP, old.item, new.item, other_amount=new.amount, per_jar=new.per_jar)
    return [swap, *(change for change in reading if change is not old and change is not new)]


def _without_ends(tokens: Sequence[Token]) -> tuple[Token, ...]:
    words = list(tokens)
    while words and words[0].word in (STOP, ","):
        words.pop(0)
    while words and words[-1].word in (STOP, ","):
        words.pop()
    return tuple(words)


def _stripped(tokens: Sequence[Token]) -> tuple[Token, ...]:
    """The tokens without polite words round them: "can I ... please", "to the salsa"."""
    kept = []
    at = 0
    while at < len(tokens):
        size = filler_at(tokens, at)
        if not size:
            kept.append(tokens[at])
        at += size or 1
    return tuple(kept)


def _asked(tokens: Sequence[Token]) -> Sequence[Token]:
    """The tokens without a first or last part that wishes nothing: ", is that ok"."""
    commas = [at for at, token in enumerate(tokens) if token.word == ","]
    last = next((at for at in commas if not _stripped(tokens[at + 1 :])), len(tokens))
    first = next((at + 1 for at in commas if at < last and not _stripped(tokens[:at])), 0)
    return tokens[first:last]


# Noun phrases.

_NOUN = r"([qckGulnsSQXp#]*)((?:[DOGp])*)(F)([DOG]*p?[DOG]*)|([qckGulnsSQX]*)([DO][DOG]*)"


@cache
def _noun_pattern() -> re.Pattern[str]:
    return re.compile(_NOUN)


def _nouns(row: list[Lexeme]) -> list[Item] | None:
    """The row with numbers, foods and descriptions drawn together; None where they do not go together."""
    row = _joined(row)
    letters = "".join(item.letter for item in row)
    found: list[Item] = []
    at = 0
    while at < len(row):
        match = _noun_pattern().match(letters, at)
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


_COLOURS = frozenset({"red", "green", "yellow", "orange", "white", "purple", "black", "brown", "golden"})


def _joined(row: list[Lexeme]) -> list[Lexeme]:
    """ "Yellow and orange peppers", "fresh or frozen": two descriptions of one food; "the yellow ones"."""
    row = [item for at, item in enumerate(row) if item.letter != "P" or not at or row[at - 1].letter not in "DO"]
    return [item for at, item in enumerate(row) if not _joins_descriptions(row, at)]


def _joins_descriptions(row: Sequence[Lexeme], at: int) -> bool:
    if row[at].letter not in "&," or not 0 < at < len(row) - 1 or row[at - 1].letter not in "DO":
        return False
    if re.match(r"[DO]+(?:[&,]{1,2}[DO]+)*F", "".join(item.letter for item in row[at + 1 :])):
        return True
    if at + 2 == len(row) and row[at + 1].letter == "D":  # "instead of red and green"
        return set(row[at - 1].words) | set(row[at + 1].words) <= _COLOURS
    return row[at + 1].letter == "F" and set(row[at - 1].words) | set(row[at + 1].words[:1]) <= _COLOURS


def _noun(parts: list[Lexeme], has_food: bool) -> Noun | None:
    """One noun phrase of its lexemes; None where two amounts or an amount and a share do not go together."""
    flags = {part.letter for part in parts}
    said = [part.value for part in parts if part.letter == "Q"]
    counts = [part.value for part in parts if part.letter == "#"]
    amounts = [value for value in said if isinstance(value, Amount)]
    amounts += [Amount(value, "each") for value in counts if isinstance(value, Fraction)]
    shares = [part.value for part in parts if part.letter in "SX" and isinstance(part.value, Fraction)]
    strengths = [part.value for part in parts if part.letter == "p" and isinstance(part.value, Fraction)]
    amount = _sum(amounts)
    is_scant = any("scant" in part.words for part in parts) and bool(amount or shares)
    if "k" in flags and not (amounts or shares):
        return None  # "under tomatoes" is no amount
    if (amounts and amount is None) or len(shares) + bool(amount) > 1 or len(strengths) > 1 or is_scant:
        return None
    food = next((at for at, part in enumerate(parts) if part.letter == "F"), len(parts))
    behind = [part for part in parts[food:] if part.letter == "D"]  # "peaches that are white" are white peaches
    told = [*behind, *(part for at, part in enumerate(parts) if at < food or part.letter != "D")]
    name = " ".join(word for part in told for word in _name_of(part))
    return Noun(
        f"{_decimal(strengths[0])} % {name}" if strengths else name,
        next((str(part.value) for part in parts if part.letter == "F"), ""),
        amount,
        shares[0] if shares else None,
        ABOUT if "k" in flags else ALL if "G" in flags and not amounts and not shares else "",
        "s" in flags,
        "q" in flags,
        "l" in flags,
        "n" in flags,
        strengths[0] if strengths else None,
        "N" if has_food else "D",
    )


def _name_of(part: Lexeme) -> tuple[str, ...]:
    """The words that a lexeme gives to the name of a food."""
    if part.letter == "F":
        return (str(part.value).removeprefix("role "),)
    if part.letter == "O" and len(part.words) > 1:
        return (str(part.value),)
    return part.words if part.letter in "DO" else ()


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
        return [Change(Act.SET, noun.name, amount=noun.amount, word=noun.word)]
    if noun.only and not read_phrase(noun.name).kinds & ACIDS:
        word = ALL
    return [Change(Act.USE, noun.name, amount=noun.amount, word=noun.word or word)]


def _measured(noun: Noun, amount: Amount | None) -> list[Change] | None:
    """ "Onions 1 cup": a food with its amount behind it."""
    if noun.amount or noun.share is not None or noun.little or noun.is_part:
        return None
    return _use(replace(noun, amount=amount))


def _add(noun: Noun, amount: Amount | None = None, *, sure: bool = True) -> list[Change] | None:
    said = noun.amount or amount
    if noun.amount and amount:
        return None
    if noun.share is not None:
        return [_scaled(noun.name, noun.share)]
    if noun.only and said:
        return [Change(Act.SET, noun.name, amount=said, word=noun.word)]
    if (noun.little or noun.is_part) and said is None:
        return [Change(Act.ADD, noun.name, word=LITTLE)]
    return [Change(Act.ADD, noun.name, amount=said, word=noun.word or (ADDED if sure else ""))]


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
        if isinstance(by, Lexeme) and by.value == Fraction(1, 2) and by.words:
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
    if old.name == new.name and not (old.amount or new.amount):  # "courgettes instead of zucchini"
        same = old.food and old.is_plain and new.is_plain and not read_phrase(new.name).kinds & ACIDS
        return [Change(Act.USE, new.name)] if same else None
    if new.letter == "D" and old.letter == "D" and not (old.name and new.name):
        return None
    factor = Fraction(1) if _is_all_sugar(old) else old.share
    if old.is_part or old.little:
        word, factor = word or PART, None
        if new.share is not None:
            return None
        share = None if read_phrase(old.name).kinds <= SWEETS else Fraction(1, 2)
        return [Change(Act.SWAP, old.name, new.name, old.amount, new.amount, share, word, either_way=either)]
    if new.share is not None or new.is_part or (new.little and new.amount is None):
        if old.share is not None and old.share == new.share:
            word = ""
        else:
            factor, word = new.share, PART
    if new.word == ABOUT or old.word == ABOUT:
        word = word or ABOUT
    if new.letter == "D" and old.food and old.letter == "N":
        new = replace(new, name=f"{new.name} {_bare_food(old.food)}")
    return [Change(Act.SWAP, old.name, new.name, old.amount, new.amount, factor, word, either_way=either)]


def _is_all_sugar(old: Noun) -> bool:
    """ "Honey for all the sugar": nothing is left to guess of what goes and how much of it."""
    return old.word == ALL and bool(old.food) and read_phrase(old.name).kinds <= SWEETS


def _is_all_but(new: Noun, old: Noun) -> bool:
    """ "All green peppers, no red": of what is no acid."""
    return new.word == ALL and old.is_plain and not read_phrase(new.name).kinds & ACIDS


def _bare_food(food: str) -> str:
    return food.removeprefix("role ")


def _of_two(items: list[Item]) -> list[Change] | None:
    """ "Half hot and half mild peppers": a part of the one in place of the other."""
    one, other = _n(items[0]), _n(items[1])
    if one.share is None or other.share is None or one.share + other.share != 1:
        return None
    name = one.name if one.food else f"{one.name} {_bare_food(other.food)}"
    return [Change(Act.SWAP, name, other.name, factor=other.share, word=HALVES, either_way=True)]


def _both(first: list[Change] | None, second: list[Change] | None) -> list[Change] | None:
    return [*first, *second] if first and second else None


def _two_for(one: Noun, other: Noun, old: Noun) -> list[Change] | None:
    """ "Poblanos and anaheims for the peppers": both in place of the one."""
    if not (one.is_plain and other.is_plain and old.is_plain):
        return None
    name = one.name if one.food else f"{one.name} {_bare_food(other.food)}"
    if not read_phrase(name).kinds & read_phrase(other.name).kinds:
        return None  # two wishes: cumin put in, and another vinegar
    return [Change(Act.SWAP, old.name, name), Change(Act.SWAP, old.name, other.name)]


def _swap_of(new: Noun, old: Noun, amount: Amount | None) -> list[Change] | None:
    """ "Vinegar instead of lemon juice at 4 tbsp a quart": the amount is that of what comes in."""
    return _swap(old, replace(new, amount=amount)) if new.amount is None and new.share is None else None


def _packed(items: list[Item]) -> list[Change] | None:
    """ "Pack the apples in water": what is packed, and in what."""
    verb, what, liquid = items[0], _n(items[1]), _n(items[2])
    if not isinstance(verb, Lexeme) or verb.words not in (("pack",), ("can", "up"), ("put", "up")) or not what.is_plain:
        return None
    used = _use(liquid)
    return [Change(Act.USE, what.name), *used] if used else None


def _mix_of(items: list[Item]) -> list[Change] | None:
    """ "A mix of bell peppers and jalapenos, 2 lb in all": both in place of what the recipe has, in that amount."""
    one, other = _n(items[0]), _n(items[1])
    if one.word != ALL or not other.is_plain or read_phrase(one.name).kinds != read_phrase(other.name).kinds:
        return None
    found = [Change(Act.USE, noun.name, word=ALL) for noun in (one, other)]
    if len(items) == 2:
        return found
    whole = "peppers" if read_phrase(one.name).kinds == {Kind.PEPPER} else ""
    return [*found, Change(Act.SET, whole, amount=_amount_of(items[2]))] if whole else None


def _mixed(items: list[Item]) -> list[Change] | None:
    """ "Mix strawberries and raspberries": a part of the one in place of the other."""
    verb, one, other = items[0], _n(items[1]), _n(items[2])
    if not isinstance(verb, Lexeme) or verb.words[:1] not in (("mix",), ("combine",), ("blend",)):
        return None
    if not (one.is_plain and other.is_plain) or read_phrase(one.name).kinds != read_phrase(other.name).kinds:
        return None
    return [Change(Act.SWAP, one.name, other.name, factor=Fraction(1, 2), either_way=True)]


def _only(noun: Noun) -> list[Change] | None:
    """ "Green peppers only": in place of the others. Of an acid it may as well mean how little of it."""
    if noun.amount and not noun.is_part and not noun.little and noun.share is None:
        return _use(replace(noun, only=True))
    if not noun.is_plain or read_phrase(noun.name).kinds & ACIDS:
        return None
    return _use(replace(noun, word=ALL))


def _instead(new: Noun, old: Noun) -> list[Change] | None:
    """ "5 cups sugar instead of 7 cups sugar" is a new amount; else one thing in place of another."""
    if new.amount and old.amount and old.name in ("", new.name):
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


def _is_seasoning(noun: Noun) -> bool:
    """ "Put in another cinnamon stick": one more."""
    return read_phrase(noun.name).kinds == {Kind.SPICE}


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


def _cut_swap(new: Noun, old: Noun) -> list[Change] | None:
    """ "Diced instead of sliced": of what the recipe is of."""
    phrases = [read_phrase(noun.name) for noun in (new, old)]
    plain = all(phrase.preps and not (phrase.foods or phrase.forms or phrase.unknown) for phrase in phrases)
    return [Change(Act.FORM, word=new.name, other=old.name)] if plain and new.is_plain and old.is_plain else None


def _formed(noun: Noun, form: Noun) -> list[Change] | None:
    """ "Our strawberries are frozen"."""
    if not form_of(words_of(form.name)) or not noun.is_plain or not form.is_plain:
        return None
    return [Change(Act.USE, f"{form.name} {noun.name}")]


def _leaves_out(noun: Noun) -> bool:
    return noun.name in data("words")["leaves_out"]


def _omit(noun: Noun) -> list[Change] | None:
    if noun.share is not None and noun.share <= 1:
        return [_scaled(noun.name, 1 - noun.share)]
    if noun.is_part:
        return [Change(Act.LESS, noun.name)]
    return [Change(Act.OMIT, noun.name)] if noun.amount is None and not noun.little and not noun.only else None


# The groups of a form are the items that its change is made of.
_FORMS: tuple[tuple[str, Build], ...] = (
    # put in
    (r"(A)(N)", lambda i: _add(_n(i[1]), sure=_is_sure(i[0]))),
    (r"(A)(N)[qc]?(Q)", lambda i: _add(_n(i[1]), _amount_of(i[2]), sure=_is_sure(i[0]))),
    (r"(N)d", lambda i: _add(_n(i[0]))),
    (r"(A)(N)E", lambda i: _add(_n(i[1]), sure=False)),
    (r"A(M)(N)", lambda i: _more_by(_n(i[1]), None) if _is_seasoning(_n(i[1])) else _another(i[0], _n(i[1]))),
    (r"[Ew]?(M)(N)", lambda i: _another(i[0], _n(i[1]))),
    (r"A[ln]?M(N)|[Ew]?[ln]?M(N)|[Ew]?(N)[ln]?M|I(N)|(N)I", lambda i: _more_by(_n(i[0]), None)),
    (r"[AEw]?([QS#])M(N)", lambda i: _more_by(_n(i[1]), i[0])),
    (r"A?M([Q])(N)", lambda i: _more_by(_n(i[1]), i[0])),
    (r"(N)([QS])[MI]|I(N)b([QS#])|(N)\+([QS])|(N)Ib([QS])|(N)Mb([QS])", lambda i: _more_by(_n(i[0]), i[1])),
    # left out
    (r"E?Z[GE]?(N)[zd]?(?:ZP|vPz)?|v(N)zz?|(N)zz?|ZE(N)|R(N)z", lambda i: _omit(_n(i[0]))),
    (r"(B)P?", lambda i: [Change(Act.ADD, str(i[0].value), word=ADDED)] if isinstance(i[0], Lexeme) else None),
    (r"v?P?(o)", lambda i: [Change(Act.OMIT, str(i[0].value))] if isinstance(i[0], Lexeme) else None),
    # less
    (r"[AEw]?[ln]?L(N)|R(N)|[Ew]?(N)[ln]?[LR]|[vR](N)R[ln]?", lambda i: _less_by(_n(i[0]), None)),
    (r"[AEw]?([QS])[LR]M?(N)", lambda i: _less_by(_n(i[1]), i[0])),
    (
        r"(N)([QS])[LRz]|R(N)[bEw]([QS])|(N)-([QS])|(N)R[bw]?([QS])|(N)L([QS])|(N)Lb([QS])",
        lambda i: _less_by(_n(i[0]), i[1]),
    ),
    (r"-([S])(N)", lambda i: _less_by(_n(i[1]), i[0])),
    (r"\+([S])(N)", lambda i: _more_by(_n(i[1]), i[0])),
    (r"Z(N)t([QS#])", lambda i: _to(_n(i[0]), i[1])),
    (r"(N)Z([QS])", lambda i: _less_by(_n(i[0]), i[1])),
    (r"R(N)[ln]", lambda i: _less_by(_n(i[0]), None)),
    # times
    (r"(T)u?(N)", lambda i: _times(_n(i[1]), _share_of(i[0]))),
    (r"(N)([TX])", lambda i: _times(_n(i[0]), _share_of(i[1]))),
    # a new amount
    (r"[Ew]?(N)[qc]?([Q#])", lambda i: _measured(_n(i[0]), _amount_of(i[1]))),
    (r"[RI]?(N)[>t][qc]?([QS#])|(N)b?E([S])|(N)q([QS])", lambda i: _to(_n(i[0]), i[1])),
    (r"[RI]?(N)m?([Q#])[>t][qc]?([Q#])", lambda i: _to(_n(i[0]), i[2], i[1])),
    (r"[Ew]?(N)i([Q#])", _set_instead),
    (r"[Ew]?(N)([Q#])i([Q#])", lambda i: _to(_n(i[0]), i[1], i[2])),
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
        lambda i: _swap(_n(i[1]), _n(i[0]), word=FOR),
    ),
    (r"[AEw]?(N)[fi](N)[qc]?(Q)", lambda i: _swap_of(_n(i[0]), _n(i[1]), _amount_of(i[2]))),
    (r"i[E]?(N),?[AEw]*(N)|i(D),?[AEw]*(N)", lambda i: _swap(_n(i[0]), _n(i[1]))),
    (r"[AEw]?(N)K|[AEw]?(N)i", lambda i: _use(_n(i[0]))),
    (r"[AEw]?(D)K", lambda i: _use(_n(i[0]))),
    (r"[AEw]*([ND])[&,]?(N)", _of_two),
    (
        r"[WVE]?P?(N)[fiwbt>]a|[WVE](N)[fiwbt>]?a",
        lambda i: [Change(Act.SWAP, _n(i[0]).name, "another")] if _n(i[0]).is_plain else None,
    ),
    (r"(N)(D)", lambda i: _formed(_n(i[0]), _n(i[1]))),
    (r"[Ew]?([ND])[&,](N)[fi](N)", lambda i: _two_for(_n(i[0]), _n(i[1]), _n(i[2]))),
    (r"h(N),?[AEw]*(N)K?|h(N),?[AEw]*(D)K?", lambda i: _swap(_n(i[0]), _n(i[1]))),
    (r"h(N),?(?:vPz?|ZP|z)?", lambda i: _omit(_n(i[0]))),
    (r"[Ew]?(N)Z(D)", lambda i: _use(_n(i[0])) if _is_all_but(_n(i[0]), _n(i[1])) else None),
    (r"Z(N)Z(N)", lambda i: _both(_omit(_n(i[0])), _omit(_n(i[1])))),
    (r"Z(N),?(N)", lambda i: _both(_omit(_n(i[0])), _use(_n(i[1]))) if _n(i[1]).only else None),
    (r"[Ew]?(N)q", lambda i: _only(_n(i[0]))),
    (r"(N)l", lambda i: _use(replace(_n(i[0]), little=True)) if _n(i[0]).is_plain else None),
    (r"(E)(N)[Ew](N)", _packed),
    (r"(A)(N)&(N)", _mixed),
    (r"[Ew]?(N)&(N)", _mix_of),
    (r"[Ew]?(N)&(N),?(Q)", _mix_of),
    # form, strength, used
    (r"[Ew]?(D)", lambda i: _form_swap(_n(i[0]), None)),
    (r"[Ew]?(D)[fi](D)", lambda i: _form_swap(_n(i[0]), _n(i[1])) or _cut_swap(_n(i[0]), _n(i[1]))),
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


def _form_after(items: list[Item], last: Change) -> list[Change] | None:
    """ "Lime juice, bottled": the form of what was named before."""
    form = _n(items[0])
    told = read_phrase(form.name)
    describes = not (told.foods or told.unknown or told.preps or told.forms)  # "sea salt, fine grain"
    amount, form = form.amount, replace(form, amount=None)  # ", 1 tbsp, bottled"
    if not (form_of(words_of(form.name)) or describes) or not form.is_plain:
        return None
    if last.act not in (Act.USE, Act.ADD, Act.SWAP) or MASHED in told.forms:
        return None
    if amount is not None:
        measured = _with_amount(last, amount)
        if not measured:
            return None
        last = measured[0]
    if last.act is Act.SWAP:
        return [replace(last, other=f"{form.name} {last.other}", text="again")]
    return [replace(last, item=f"{form.name} {last.item}", text="again")]


def _share_after(items: list[Item], last: Change) -> list[Change] | None:
    """ "..., half of it". A share behind a food alone, "onions and a half", may be more as well as less."""
    if len(items) == 1 and last.act is Act.USE and last.word == BARE:
        return None
    return [_scaled(_last_item(last), _share_of(items[0]))]


def _a_little_of(last: Change) -> list[Change]:
    """ "Cayenne, a pinch": how much of what was named; of anything else less of it."""
    if last.act in (Act.USE, Act.ADD) and last.amount is None and not read_phrase(last.item).kinds & ACIDS:
        return [replace(last, word=LITTLE, text="again")]
    return [Change(Act.LESS, _last_item(last))]


def _strength_after(items: list[Item], last: Change) -> list[Change] | None:
    """ "Cider vinegar, it is 5 %": its strength. With "of it" the percentage is a share."""
    percent = _share_of(items[0]) * 100
    named = read_phrase(_last_item(last)).kinds == {Kind.VINEGAR}
    if not (named and last.act in (Act.USE, Act.ADD, Act.SWAP) and percent in _TABLE_VINEGARS):
        return None
    if last.act is Act.SWAP:
        return [replace(last, other=f"{percent} % {last.other}", text="again")]
    return [replace(last, item=f"{percent} % {last.item}", text="again")]


_TABLE_VINEGARS = (5, 6, 7)
_AFTER: tuple[tuple[str, Callable[[list[Item], Change], list[Change] | None]], ...] = (
    (r"[EwqG]+(S)P?u?|(S)P|[q]?(X)|(S)", _share_after),
    (r"l", lambda i, last: _a_little_of(last)),
    (r"[EwA]?[ln]?LP?|RP?|[Ew]?[ls]P?", lambda i, last: [Change(Act.LESS, _last_item(last))]),
    (r"[EwA]?M([Q])", lambda i, last: _with_amount(last, _amount_of(i[0])) if last.act is Act.MORE else None),
    (r"[EwA]?[ln]?M P?", lambda i, last: [Change(Act.MORE, _last_item(last))]),
    (r"(T)P|(T)", lambda i, last: [_scaled(_last_item(last), _share_of(i[0]))]),
    (r"RP[bEwt]?(S)", lambda i, last: [_scaled(_last_item(last), 1 - _share_of(i[0]))]),
    (r"[EwA]?[qc]?([Q#])P?", lambda i, last: _with_amount(last, _amount_of(i[0]))),
    (r"k([Q])P?", lambda i, last: None if _names_acid(last) else _with_amount(last, _amount_of(i[0]))),
    (r"EP", lambda i, last: [] if last.act is Act.USE else None),
    (r"[EwA]?q([Q])", lambda i, last: _with_amount(last, _amount_of(i[0]))),
    (r"[EA]?ZP|vPz|ZP[zd]?|Pz|z|hP?", lambda i, last: [] if _is_spice(last) else [Change(Act.OMIT, _last_item(last))]),
    (r"[EA]?vP|vP", lambda i, last: [] if last.act is Act.OMIT else None),
    (r"Z[DO]+", lambda i, last: [] if last.act is Act.USE and last.word == ALL and not _names_acid(last) else None),
    (r"G", lambda i, last: []),
)


@cache
def _after() -> tuple[tuple[re.Pattern[str], Callable[[list[Item], Change], list[Change] | None]], ...]:
    return tuple((re.compile(pattern), follow) for pattern, follow in _AFTER)


def _is_spice(last: Change) -> bool:
    """ "Add a cinnamon stick and take it out": it gave its taste; in the jar or not, it is a spice added."""
    return last.act is Act.ADD and read_phrase(last.item).kinds == {Kind.SPICE}


def _names_acid(change: Change) -> bool:
    return bool(read_phrase(change.item).kinds & ACIDS)


def _last_item(last: Change) -> str:
    return last.other if last.act is Act.SWAP else last.item


def _with_amount(last: Change, amount: Amount | None) -> list[Change] | None:
    """The change before with an amount that was said after it, in the mark `told` of a change that takes its place."""
    if last.act is Act.SWAP and last.other_amount is None:
        return [replace(last, other_amount=amount, text="again")]
    if last.act is Act.ADD and last.amount is None and last.word == LITTLE and not _names_acid(last):
        return [replace(last, amount=amount, word=ADDED, text="again")]  # "a dab of butter, half a teaspoon"
    if last.act in (Act.USE, Act.ADD) and last.amount is None and last.word != LITTLE:
        return [replace(last, amount=amount, word="" if last.act is Act.ADD else last.word, text="again")]
    if last.act in (Act.LESS, Act.MORE) and last.other_amount is None and last.factor is None:
        return [replace(last, other_amount=amount, text="again")]
    return None


# From the tokens of a sentence to changes.


@cache
def _joint_words() -> frozenset[tuple[str, ...]]:
    joints = {words for words, entries in lexicon().items() if any(letter in "&,|" for letter, _ in entries)}
    return frozenset(joints | {("with",), ("without",)})


def _joint_at(tokens: Sequence[Token], at: int) -> int:
    words = tuple(token.word for token in tokens[at : at + 3])
    return next((size for size in (3, 2, 1) if words[:size] in _joint_words()), 0)


_AND = frozenset({"and", "&", "or", "nor", "plus", "as", "along", "together"})
Readings = list[list[Change]]


@dataclass(frozen=True)
class _Reader:
    """Reads the tokens of one text; `own` are the recipe's own words for its lines."""

    own: frozenset[str]

    def reads(self, tokens: tuple[Token, ...]) -> bool:
        """Whether the tokens are wishes that change something."""
        return any(self.wishes(_without_ends(tokens)))

    def wishes(self, tokens: tuple[Token, ...]) -> Readings:
        """Each sentence by itself, one after another; what speaks of the wish before it is read with it."""
        clauses: list[list[Token]] = [[]]
        for token in tokens:
            if token.word == STOP:
                clauses.append([])
            else:
                clauses[-1].append(token)
        clauses = [clause for clause in clauses if any(token.word != "," for token in _stripped(clause))]
        if not 0 < len(clauses) <= MOST_PARTS:
            return []
        readings: Readings = [[]]
        for clause in map(_asked, clauses):
            asked = any(token.word in _ASKED_OF for token in clause)
            readings = [
                _merged(before, _asked_of(more) if asked else more)
                for before in readings
                for more in self._clause(tuple(clause), tuple(before))
            ][:_MOST_READINGS]
        return readings

    def _clause(self, tokens: tuple[Token, ...], before: tuple[Change, ...]) -> Readings:
        """One sentence: whole, or cut where a wish may end, the longest wishes first."""
        return self._part(tokens, before, None) or self._parts(tokens, before, None, 0) or self._in_jars(tokens, before)

    def _in_jars(self, tokens: tuple[Token, ...], before: tuple[Change, ...]) -> Readings:
        """ "Hot pack in quarts", "quarts, raw pack": a wish, and the jar it goes into."""
        if not any(token.word in vessel_words() for token in tokens):
            return []
        for at in range(1, len(tokens)):
            jar, pack = read_way(tokens[:at]), read_way(tokens[at:])
            if jar and pack and (jar.act, pack.act) == (Act.JAR, Act.PACK):
                return [[jar, pack]]
        for at in range(len(tokens) - 1, 0, -1):
            way = read_way(tokens[at:])
            if way and (way.act is Act.JAR or (way.act is Act.SYRUP and tokens[at].word == "in")):
                first = read_way(tokens[:at])
                firsts = (
                    [[first]] if first else self._part(tokens[:at], before, None) if tokens[at].word == "in" else []
                )
                return [[*changes, way] for changes in firsts]
        return []

    def _part(self, tokens: tuple[Token, ...], before: tuple[Change, ...], verb: Change | None) -> Readings:
        way = read_way(tokens) or read_way(_stripped(tokens))
        if way and way.act is Act.JAR and tokens[0].word in ("a", "an") and tokens[-1].word != "jar":
            way = None  # "a quart and a cup of vinegar"
        if way and before and way.act is Act.POT and any(token.word in ("it", "them") for token in tokens):
            return self._wish(tokens, before, verb) or [[way]]  # "the vinegar, halve it"
        return [[way]] if way else self._wish(tokens, before, verb)

    def _parts(
        self, tokens: tuple[Token, ...], before: tuple[Change, ...], verb: Change | None, depth: int
    ) -> Readings:
        if depth > MOST_PARTS:
            return []
        joints = [(at, size) for at in range(1, len(tokens)) if (size := _joint_at(tokens, at))]
        for at, size in reversed(joints):
            joint = tokens[at].word
            rest = tokens[at:] if joint in ("with", "without") else _after_joint(tokens, at + size)
            if not rest:
                continue
            readings: Readings = []
            for first in self._part(tokens[:at], before, verb):
                after, carried = (*before, *first), _carried(first, joint, rest)
                found = self._part(rest, after, carried) or self._parts(rest, after, carried, depth + 1)
                if found and joint == "with":
                    found = [[_with_it(changes[0]), *changes[1:]] if changes else [] for changes in found]
                readings += [_merged(first, more) for more in found]
            if readings:
                return readings[:_MOST_READINGS]
        return []

    def _wish(self, tokens: tuple[Token, ...], before: tuple[Change, ...], verb: Change | None) -> Readings:
        """One wish, every word of it; a reading for each row of sorts that fits a form."""
        found: Readings = []
        if verb is not None and verb.act is Act.LESS and _is_beside(tokens):
            verb = None  # "half the peppers and hotter ones as well"
        for row in rows(tokens, self.own):
            if any(one.letter == "i" and other.letter == "j" for one, other in pairwise(row)):
                continue  # "in the pot, not per jar"
            jars = {str(item.value) for item in row if item.letter == "j"}
            row = [item for at, item in enumerate(row) if item.letter != "," or _letter(row, at + 1) != "i"]
            items = _nouns([item for item in row if item.letter not in "jY"])
            if items is None or len(jars) > 1:
                continue
            if not items and before and row and all(item.letter == "G" for item in row):
                return [[]]  # ", same amount"
            word = LITTLE if any(item.letter == "Y" for item in row) else None
            for changes in _fits(items, before, verb):
                said = [_with(change, next(iter(jars), ""), word) for change in changes]
                said = [_on_top(change) for change in said] if _is_beside(tokens) else said
                if said not in found:
                    found.append(said)
        strange = None if found else _strange(tokens)
        return [strange] if strange else found


_ASKED_OF = frozenset({"ok", "okay", "alright", "fine", "acceptable"})


def _asked_of(changes: list[Change]) -> list[Change]:
    """ "Red onions ok?": whether they may be used, not whether they come on top."""
    return [replace(change, word="") if change.word == BARE else change for change in changes]


def _letter(row: Sequence[Lexeme], at: int) -> str:
    return row[at].letter if at < len(row) else ""


def _after_joint(tokens: tuple[Token, ...], at: int) -> tuple[Token, ...]:
    """What follows a joint, and another behind it: ", and"."""
    rest = tokens[at:]
    while rest and rest[0].word not in ("with", "without") and (more := _joint_at(rest, 0)):
        rest = rest[more:]
    return rest


def _merged(first: list[Change], more: list[Change]) -> list[Change]:
    """An amount said after a wish takes the wish's place; a description that it had already adds nothing."""
    if first and len(more) == 1 and more[0].act is first[-1].act is Act.USE and _is_said_already(more[0], first[-1]):
        return first  # "all my peppers are red, can I use the red ones"
    if more and more[0].text == "again" and first:
        return [*first[:-1], replace(more[0], text=first[-1].text), *more[1:]]  # "oregano, dried, 1 tsp"
    return [*first, *more]


def _is_said_already(change: Change, before: Change) -> bool:
    words = set(change.item.split())
    plain = (change.amount, change.per_jar, change.factor) == (None, "", None) and change.word in (
        "",
        BARE,
        before.word,
    )
    return plain and words <= _COLOURS and words < set(before.item.split())


def _carried(changes: Sequence[Change], joint: str, rest: Sequence[Token]) -> Change | None:
    """The wish whose verb reaches over the foods that follow it in a list that is one."""
    if joint == "plus":
        return Change(Act.ADD, word=ADDED)
    if not changes or joint in ("with", "without"):
        return None
    if joint == "or" and rest and rest[0].word in _ASKING:
        return None  # "do I need it, or will cornstarch do"
    last = changes[-1]
    ends = joint in _AND or (joint == "," and _ends_in_and(rest))
    if last.act in (Act.OMIT, Act.LESS, Act.USE) and not ends:
        return None  # "omit salt, onions": or onions put in
    return last if last.act in (Act.ADD, Act.OMIT, Act.LESS, Act.MORE, Act.USE) else None


_ASKING = frozenset(words_of("will would can could may might shall should does do is are"))


def _ends_in_and(rest: Sequence[Token]) -> bool:
    """Whether a list goes on to an "and" with a food behind it, and no wish of its own."""
    at = next((at for at, token in enumerate(rest) if token.word in _AND), None)
    if at is None:
        return False
    after = [letter for token in rest[at + 1 : at + 2] for letter, _ in lexicon().get((token.word,), [])]
    return not set(after) & set("AEZRIWVyLMTq")


def _with_it(change: Change) -> Change:
    """ "Less sugar with onions": as a food alone, in place of something or on top."""
    return replace(change, word=BARE) if change.act is Act.USE and not change.word else change


def _with(change: Change, jar: str, word: str | None) -> Change:
    return replace(change, per_jar=jar or change.per_jar, word=change.word if word is None else word)


# What says that a thing comes beside what the recipe has.
_BESIDE = (
    *(("as", "well"), ("also",), ("on", "top"), ("beside",), ("besides",), ("additionally",), ("in", "addition")),
    *(("with", "it"), ("with", "them"), ("for", "extra"), ("for", "more")),
)


def _is_beside(tokens: tuple[Token, ...]) -> bool:
    """Whether a wish says that something comes beside what the recipe has: "also", "as well", "too" at its end."""
    words = [token.word for token in tokens]
    said = " ".join(words).replace("just as well", "")
    return (
        said.endswith("too")
        or said.startswith("too ")
        or any(f" {' '.join(phrase)} " in f" {said} " for phrase in _BESIDE)
    )


def _on_top(change: Change) -> Change:
    """ "Use jalapenos as well": not in place of the peppers that the recipe has."""
    return replace(change, act=Act.ADD, word=ADDED) if change.act is Act.USE and change.word != LITTLE else change


def _strange(tokens: tuple[Token, ...]) -> list[Change] | None:
    """ "Add unicorn dust": an addition of which no word is known."""
    words = [token.word for token in tokens]
    names = words[1:]
    if not 0 < len(names) < 4 or words[0] not in ("add", "include") or any(token.value is not None for token in tokens):
        return None
    if any((word,) in lexicon() or not word.isalpha() for word in names):
        return None
    return [Change(Act.ADD, " ".join(names), word=ADDED)]


def _fits(items: list[Item], before: tuple[Change, ...], verb: Change | None) -> Iterator[list[Change]]:
    """The changes of the first form that a row fits, else of what it says of the wish before it."""
    letters = "".join(item.letter for item in items)
    if letters == "N" and verb is not None and _n(items[0]).is_plain and _may_reach(verb, _n(items[0])):
        yield [_reached(verb, _in_form_of(verb, _n(items[0]).name))]
        return
    bare = re.sub(r"^[qc](?=[AZRIWVEyTv])", "", letters)
    items = items[len(letters) - len(bare) :]
    if bare == "o" and before and read_phrase(_last_item(before[-1])).kinds & {Kind.FRUIT, Kind.JUICE}:
        return  # "canned blueberries, unsweetened": the blueberries
    if bare == "D" and before and (changes := _form_after(items, before[-1])) is not None:
        yield changes
        return
    for pattern, build in _forms():
        if (match := pattern.fullmatch(bare)) and (changes := build(_groups(match, items))):
            yield changes
            return
    for pattern, follow in _after() if before and _last_item(before[-1]) else ():
        if match := pattern.fullmatch(bare):
            changes = _strength_after(items, before[-1]) if bare == "S" else None
            changes = changes or follow(_groups(match, items), before[-1])
            if changes is not None:
                yield _named_before(changes, before[-1])
            return


def _named_before(changes: list[Change], last: Change) -> list[Change]:
    """ "The salt, can I leave it out?": what only named the food gives way to what is said of it."""
    only_named = last.act is Act.USE and last.word == BARE and last.amount is None
    only_named = only_named or (last.act is Act.OMIT and changes[:1] != [] and changes[0].act is Act.OMIT)
    return [replace(changes[0], text="again"), *changes[1:]] if only_named and changes else changes


def _groups(match: re.Match[str], items: list[Item]) -> list[Item]:
    """The items that the groups of a form stand for."""
    return [items[match.start(at)] for at in range(1, (match.lastindex or 0) + 1) if match[at] is not None]


def _may_reach(verb: Change, noun: Noun) -> bool:
    """ "Add cinnamon, vinegar": whether the vinegar is added too is not said."""
    kinds = read_phrase(noun.name).kinds
    unsure = ACIDS | {Kind.CITRUS} | (LOW_ACID if verb.act is Act.USE else frozenset())
    return verb.act in (Act.OMIT, Act.LESS) or not kinds & unsure


def _in_form_of(first: Change, name: str) -> str:
    """ "Dried oregano and basil": both are dried, where both are herbs and nothing else is said of either."""
    herb, other = read_phrase(first.item.removeprefix(f"{DRIED} ")), read_phrase(name)
    are_herbs = herb.kinds == other.kinds == {Kind.HERB} and first.item.startswith(f"{DRIED} ")
    plain = not (other.forms or "leaf" in other.words or herb.foods == other.foods)
    return f"{DRIED} {name}" if are_herbs and plain else name


def _reached(verb: Change, name: str) -> Change:
    """ "Add onions and garlic": what the verb does to the first, it does to the next, without the first's measure."""
    return replace(
        verb, item=name, other="", amount=None, other_amount=None, factor=verb.factor, per_jar="", told=(), text=""
    )
