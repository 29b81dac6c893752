"""What people say round a wish, taken off it: who likes what, what they have at hand, why they ask.

    plain_wishes(tokens) -> the same text in plain words; () where no talk is found in it

Only talk that a line of `talk.toml` reads whole is taken off. What it says of a food is never dropped: either a word
of the wish takes it up ("my son hates cumin, so I would leave it out"), or it is judged as a wish of its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache

from recipes.engine.changes.lexemes import filler_at
from recipes.engine.changes.normalise import STOP, Token
from recipes.engine.changes.vocabulary import data, phrases, words_of

_ENDS = frozenset({STOP, ","})
# A joint ends a clause where one of these follows, for then somebody or something else is spoken of.
_JOINTS = frozenset(
    {"so", "as", "since", "because", "cos", "coz", "cause", "but", "and", "though", "although", "while"}
)
_STARTS = frozenset(
    words_of(
        "i we he she they it you im id ill ive were wed weve its theyre thats hes shes there my our can could may "
        "might would no should shall nobody everyone everybody none please is mum mom dad grandma granny maybe "
        "perhaps that"
    )
)
_PLACES = ("FOOD", "OLD", "HOW", "OTHER")
# None of these is part of a food's name: where one stands, a place of a line ends.
_NO_NAME = words_of(
    "i we he she they it them that this those these id ill wed can could may would if when while not but leave put"
)


@cache
def _class(name: str) -> str:
    """A class of phrases as a pattern over words, each followed by one blank; a class may name another."""
    found = []
    for phrase in sorted(phrases(data("talk")["class"][name]), key=lambda text: -len(text.split())):
        found.append("".join(_part(word) for word in phrase.split()))
    return "(?:" + "|".join(found) + ")"


def _part(word: str) -> str:
    """One word of a line as a pattern: a place, a class, or one of several words."""
    bare, often = (word[:-1], word[-1]) if word[-1] in "?*" else (word, "")
    if bare in _PLACES:
        return rf"(?P<{bare}>(?:(?!(?:{'|'.join(_NO_NAME)}) )\S+ ){{1,8}}?){often}"
    if bare == "<form>":
        return f"(?P<form>{_class('form')}){often}"
    if bare.startswith("<"):
        return _class(bare.strip("<>")) + often
    options = "|".join(re.escape(" ".join(words_of(option))) for option in bare.split("|"))
    return f"(?:(?:{options}) ){often}"


@cache
def _line(line: str) -> re.Pattern[str]:
    return re.compile("".join(map(_part, line.split())))


def _match(lines: Sequence[str], text: str) -> re.Match[str] | None:
    return next((found for line in lines if (found := _line(line).fullmatch(text))), None)


class _Clause:
    """One clause with the sign or joint before it."""

    def __init__(self, before: str, tokens: Sequence[Token]) -> None:
        self.before = before
        self.tokens = _stripped_ends(tokens)

    @property
    def text(self) -> str:
        return "".join(f"{_written(token)} " for token in self.tokens)


def _written(token: Token) -> str:
    """A token as a word; a number keeps its sort: "share:1/2"."""
    return (
        token.word if token.value is None else f"{token.word}:{token.value}" if token.word != "#" else str(token.value)
    )


def _read_back(word: str, numbers: dict[str, Token]) -> Token:
    return numbers.get(word, Token(word))


def _stripped_ends(tokens: Sequence[Token]) -> tuple[Token, ...]:
    """The tokens without a joint before them or polite words round them."""
    found = list(tokens)
    while found and found[0].word in _JOINTS | {"then", "well", "oh", "hmm", "also"}:
        found.pop(0)
    return tuple(found)


def _clauses(tokens: Sequence[Token]) -> Iterator[_Clause]:
    """The text cut at full stops, commas, and joints behind which somebody else is spoken of."""
    start, before = 0, STOP
    for at, token in enumerate(tokens):
        after = tokens[at + 1].word if at + 1 < len(tokens) else ""
        is_joint = token.word in _JOINTS and after in _STARTS and at > start
        if token.word in _ENDS or is_joint:
            if at > start:
                yield _Clause(before, tokens[start:at])
            start, before = at + 1, "," if token.word == "," else STOP
    if start < len(tokens):
        yield _Clause(before, tokens[start:])


def _asks_only(tokens: Sequence[Token]) -> bool:
    """Whether every word of a clause is polite: "is that ok", "please"."""
    at = 0
    while at < len(tokens):
        size = filler_at(tokens, at)
        if not size:
            return False
        at += size
    return True


_TAKEN_UP = ("it", "them", "they", "that", "those", "these", "some", "both")
_ACID = frozenset(words_of("vinegar acv lemon lime citric acid juice brine acidity sour sourness tart tang sharp"))
_AMOUNT_ALONE = re.compile(r"[0-9][0-9/]* \S+ (?:(?:to|per|in|a|each|the|every) ){0,2}(?:(?:pint|quart|jar) )?")
_WITHOUT = re.compile(
    r"((?:\S+ )*?)(?:none|without|go without)"
    r"(?: (?:it|them|any|at all|please|(?:for|in) (?:me|us|mine|our|her|hi|him)))* "
)
_DONE_WITHOUT = frozenset(
    {"", "it ", "them ", "this ", "do ", "do it ", "do them ", "make it ", "make them ", "make ", "have it ", "go "}
)


def _with_food(text: str, food: str) -> str | None:
    """A wish with the food that was named before it in place of the word that takes it up; None without such a word."""
    words = text.split()
    if (found := _WITHOUT.fullmatch(text)) and _without_asking(found[1]) in _DONE_WITHOUT:
        return f"leave out {food} "
    at = next((at for at in range(len(words)) if _takes_up(words, at)), None)
    if at is None:
        return None
    return " ".join((*words[:at], food, *words[at + 1 :])) + " "


def _takes_up(words: list[str], at: int) -> bool:
    """Whether a word stands for the food: not "is it ok to", "than it says", "that I picked"."""
    before, after = words[at - 1] if at else "", words[at + 1] if at + 1 < len(words) else ""
    if words[at] not in _TAKEN_UP or after in ("say", "ask", "i", "we"):
        return False
    return words[at] != "it" or before not in _ASKING or after not in _ASKED


_ASKING = frozenset(words_of("is would will could can may might be does do if was should"))
_ASKED = frozenset(
    words_of("be is ok okay fine alright all safe possible allowed hurt matter work harm do would help make change")
)


def _turned(text: str) -> str:
    """A turn of phrase as the plain wish that it is, with or without the polite words before it."""
    bare = _without_asking(text)
    return next((turned for said in (text, bare) if (turned := _turn_of(said)) != said), text)


def _without_asking(text: str) -> str:
    tokens = [Token(word) for word in text.split()]
    at = 0
    while at < len(tokens) and (size := filler_at(tokens, at)):
        at += size
    return "".join(f"{token.word} " for token in tokens[at:])


def _turn_of(text: str) -> str:
    for turn in data("talk")["turn"]:
        if found := _match(turn["says"], text):
            said = {name: value.strip() for name, value in found.groupdict().items() if value}
            return " ".join(said.get(word, word) for word in turn["becomes"].split()) + " "
    return text


def plain_wishes(tokens: Sequence[Token]) -> tuple[Token, ...]:
    """The text without its talk, each food that was spoken of in the wish that is meant; () where it holds no talk."""
    numbers = {_written(token): token for token in tokens if token.value is not None}
    found: list[tuple[str, str]] = []
    waiting: tuple[int, str] | None = None  # where a food that was spoken of stands, until a wish takes it up
    amounts: list[str] = []
    has_talk = False
    beside_acid = any(token.word in _ACID for token in tokens)
    for clause in _clauses(tokens):
        text = clause.text
        told = _told(text, beside_acid)
        if told is not None:
            has_talk = True
            wish, food = told
            if food:
                found.append((STOP, f"{wish} {food} "))
                waiting = (len(found) - 1, food)
            continue
        if _asks_only(clause.tokens):
            has_talk = True
            continue
        if waiting and (taken := _with_food(text, waiting[1])) is not None:
            found[waiting[0]] = ("", "")
            found.append((STOP, _turned(taken)))
            found += [(",", told) for told in amounts]
            waiting, amounts = None, []
            continue
        if waiting and _AMOUNT_ALONE.fullmatch(text):
            amounts.append(text)  # "I have citric acid, 1/2 tsp a quart, may I use it": said of the wish that follows
            continue
        turned = _turned(text)
        has_talk = has_talk or turned != text
        found.append((clause.before, turned))
    if not has_talk or amounts:
        return ()
    plain: list[Token] = []
    for before, text in found:
        if text:
            plain += [Token(before), *(_read_back(word, numbers) for word in text.split())]
    return tuple(plain[1:])


def _told(text: str, beside_acid: bool) -> tuple[str, str] | None:
    """What a clause that only tells something says of a food, as a wish and the food; ("", "") where of none."""
    remarks = data("talk")["remark"]
    if _match(remarks["says"], text) or (not beside_acid and _match(remarks["liking"], text)):
        return "", ""
    for entry in data("talk")["of_food"]:
        if found := _match(entry["says"], text):
            food = found["FOOD"].strip()
            form = found.groupdict().get("form")
            wish = entry["wish"]
            if wish == "use" and _is_measured(food):
                if set(food.split()) & _ACID:
                    return None  # "there is only a cup of vinegar left": whether that is enough is not guessed
                wish = "only"
            return wish, f"{form.strip()} {food}" if form else food
    return None


def _is_measured(food: str) -> bool:
    """ "There is only a cup of vinegar left": all there is."""
    return any(char.isdigit() for char in food) or food.split()[0] in (
        "a",
        "an",
        "half",
        "another",
        "enough",
        "barely",
        "just",
    )
