"""What people say round a wish, taken off it: who likes what, what they have at hand, why they ask.

    plain_wishes(tokens) -> the same text in plain words; () where no talk is found in it
    chatty_wishes(tokens, is_read) -> the same for talk in free words, where all that is left can be read

Only talk that a line of `talk.toml` reads whole is taken off, or that is made of the words of its asides alone. What
talk says of a food is never dropped: either a word of the wish takes it up ("my son hates cumin, so I would leave it
out"), or it is judged as a wish of its own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise

from recipes.engine.changes.lexemes import filler_at, lexicon
from recipes.engine.changes.normalise import STOP, Token
from recipes.engine.changes.vocabulary import data, food_words, phrases, ways_words, words_of

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
    r"((?:\S+ )*?)(?:none|without|go without"
    r"|(?:not|do not|did not|didnt) (?:put|add|use|have|include|put in) (?:any|it|them)(?: in)?)"
    r"(?: (?:it|them|any|at all|please|then|this year|this time|(?:for|in) (?:me|us|mine|our|her|hi|him)))* "
)
_DONE_WITHOUT = frozenset(
    {
        "",
        "if ",
        "if i ",
        "if we ",
        "it ",
        "them ",
        "this ",
        "do ",
        "do it ",
        "do them ",
        "make it ",
        "make them ",
        "make ",
        "can these ",
        "can them ",
        "can it ",
        "do these ",
        "make these ",
        "do this ",
        "make this ",
        "have it ",
        "go ",
    }
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
    if after == "be" and words[at + 2 : at + 3] and words[at + 2] in _LEFT:
        return True
    if before in _OF_THE_DISH and words[at] != "they":
        return False  # "make these with": all of it
    return words[at] != "it" or before not in _ASKING or after not in _ASKED


_LEFT = frozenset(words_of("left skipped omitted dropped missed taken halved swapped replaced reduced cut"))
_OF_THE_DISH = frozenset(words_of("make made making can canning canned bottle do did doing cook process"))
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
    return next(_turns_of(text), text)


def _turns_of(text: str) -> Iterator[str]:
    """A text as each plain wish that a turn of phrase may make of it."""
    for turn in data("talk")["turn"]:
        if found := _match(turn["says"], text):
            said = {name: value.strip() for name, value in found.groupdict().items() if value}
            turned = " ".join(said.get(word, word) for word in turn["becomes"].split()) + " "
            if not (turned.startswith("add ") and set(turned.split()) & _JARS):
                yield turned


# Nobody puts these in: "I'd like half pint jars".
_JARS = frozenset({"jar", "pint", "quart"})


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


# Talk in free words.


class _Asides:
    """The lists of `talk.toml` under [aside], as words in the singular."""

    def __init__(self) -> None:
        lists = data("talk")["aside"]
        self.words, self.against, self.taste, self.having, self.liking, self.polite, self.doing = (
            frozenset(words_of(lists[name]))
            for name in ("words", "against", "taste", "having", "liking", "polite", "doing")
        )
        self.polite_phrases, self.subjects = (
            frozenset(words_of(phrase) for phrase in phrases(lists[name])) for name in ("polite_phrases", "subjects")
        )
        self.tail_phrases = frozenset(words_of(phrase) for phrase in phrases(lists["tail_phrases"]))
        self.tails, self.plenty, self.empty = (
            frozenset(words_of(lists[name])) for name in ("tails", "plenty", "empty")
        )
        self.verbs, self.aux, self.carrying, self.no_subject, self.openers, self.bad, self.apposed = (
            frozenset(words_of(lists[name]))
            for name in ("verbs", "aux", "carrying", "no_subject", "openers", "bad", "described")
        )
        self.names = frozenset(words_of(lists["names"]))
        self.describing = frozenset(words_of(lists["describing"]))
        self.words |= self.describing | self.apposed
        more = (frozenset(words_of(lists[name])) for name in ("things", "manners", "names"))
        self.words = self.words.union(*more, self.verbs, self.aux, self.carrying, self.openers) - self.against


@cache
def _asides() -> _Asides:
    return _Asides()


@cache
def _frame() -> re.Pattern[str]:
    """One phrase of what stands before a wish; longer phrases first."""
    found = sorted(phrases(data("talk")["aside"]["frame"]), key=lambda text: -len(text.split()))
    parts = ["".join(_part(word) for word in phrase.split()) for phrase in found]
    return re.compile("(?:" + "|".join(parts) + ")")


# Beside these an aside may be the wish itself: "the recipe says 10 minutes, my gran never did it".
_HEAT = frozenset(
    words_of(
        "canner canning pressure process processed processing boil boiled boiling bath waterbath minute hour heat oven "
        "steam psi pound seal sealed lid vent vented gauge microwave dishwasher kettle instantpot cook cooked cooker"
    )
)
_STRICTLY_ACID = _ACID - {"juice", "sour", "tart", "sharp"}
_POINTS = frozenset({"it", "them", "that", "this", "those", "these", "some", "any", "one", "so", "they", "mine"})
_IS_FOR = re.compile(
    r"(?:its|theyre|thats|(?:it|this|that|these|they) (?:is|are|be|will be)) (?:just |all |only )?for "
)
_COUNTED = frozenset(
    words_of(
        "dollar euro quid cent penny buck cat dog hen mile acre friend cousin aunt sister brother daughter son "
        "teenager neighbor guest mouth men women of kid child children boy girl year day week month people "
        "grandkid grandchild go"
    )
)
_AGES = frozenset({"is", "are", "am", "im", "was", "she", "he", "turned", "only", "just", "be", "nearly"})


@dataclass
class _Parse:
    """What a text was cut into: wishes in order, and the foods that asides spoke of."""

    wishes: list[tuple[Token, ...]] = field(default_factory=list)
    foods: list[tuple[int, str, tuple[Token, ...]]] = field(default_factory=list)  # place, what is said of it, the food


@cache
def _said_as_pattern() -> tuple[re.Pattern[str], dict[str, str]]:
    names = {
        " ".join(words_of(phrase)): word
        for word, others in data("talk")["aside"]["said_as"].items()
        for phrase in phrases(others)
    }
    longest = sorted(names, key=len, reverse=True)
    return re.compile(r"(?<!\S)(" + "|".join(map(re.escape, longest)) + r")(?!\S)"), names


def _said_as(text: str) -> str:
    """ "My other half", "a low salt diet": each as one word of the lists."""
    pattern, names = _said_as_pattern()
    text = _OR_SO.sub(r"about \1 ", _OUT_OF_IT.sub("out ", text))
    text = _AT_ODDS.sub(r"\1i do not like \2", text)
    return _FROM_OURS.sub("", _IN_MINE.sub(r"\1 it", pattern.sub(lambda found: names[found[1]], text)))


# "Turmeric and I don't get along."
_AT_ODDS = re.compile(r"(^|; )((?:\S+ ){1,3}?)and (?:i|me|my \S+) (?:do not|dont) (?:get on|get along|agree|mix) ")
# "A teaspoon or so"; "leave it out of the potatoes".
_OR_SO = re.compile(r"(?<!\S)((?:[0-9/]+|a) \S+) or so (?=;|,|$)")
_OUT_OF_IT = re.compile(r"(?<!\S)out of (?:the|these|my|our|this) (?!brine|vinegar|water)\S+ (?=;|$)")
# "From my dad's plot": where a food was grown or bought.
_FROM_OURS = re.compile(
    r"(?<!\S)(?:from|off|at|on|in) (?:my|our|his|her|their|the|a) "
    r"(?:(?:own|local|village|farmer|dad|father|mum|mom|mother|gran|friend|neighbor|uncle|aunt|sister|brother) )*"
    r"(?:plot|garden|allotment|tree|farm|orchard|greenhouse|market|shop|store|field|yard|stall|supermarket) "
)
# "In her strawberry jam": no food is spoken of.
_IN_MINE = re.compile(
    r"(?<!\S)(in|to|out of|from) (?:(?:my|our|his|her|their|all|most|the) )?(?:own )?(?:(?!it |with |and )\S+ )?"
    r"(?:jam|jelly|pickle|chutney|salsa|relish|sauce|ketchup|marmalade|preserve|filling)(?!\S)"
)


def _flat(tokens: Sequence[Token]) -> str:
    return "".join(f"{_written(token)} " for token in tokens)


@cache
def _lines(name: str) -> re.Pattern[str]:
    lines = data("talk")["aside"]["lines"][name]
    return re.compile(r"(?<!\S)(?:" + "|".join(_line(line).pattern for line in lines) + ")")


def _plain_against(text: str) -> str:
    """ "Ran out of", "allergic to": each as one word."""
    return _lines("hate").sub("hate ", _lines("lack").sub("lack ", text))


def _is_aside(tokens: Sequence[Token], *, is_doubtful: bool, joint: str = "", is_loose: bool = False) -> bool:
    """Whether each word of a clause only tells who asks, when, where and why."""
    asides = _asides()
    words = [token.word for token in tokens]
    if not words:
        return True
    if _is_polite(tokens):
        return True
    if set(words) <= asides.empty:
        return False
    if not (_goes_on(words, joint) if joint else _has_subject(words) or _says_something(words) or _is_apposed(words)):
        return False
    said = [word for at, word in enumerate(words) if not _counts_people(tokens, at)]
    known = asides.words | asides.against
    if not is_doubtful:
        known |= {"just"}
        known |= asides.taste if set(words) & (asides.liking | _TOO) else frozenset()
    if any(token.value is not None and not _counts_people(tokens, at) for at, token in enumerate(tokens)):
        return False
    if not set(said) <= known and not (is_loose and not is_doubtful and _says_all_but_one(said, known)):
        return False
    if not is_doubtful:
        return True
    rest = _IS_FOR.sub("", _flat(tokens), count=1).split()
    return not set(rest) & (asides.against | asides.liking | _POINTS | {"out", "up", "over"})


# With one of these a taste is what somebody finds of it: "they are sour" may be what goes into the jar.
_TOO = frozenset(
    {
        "too",
        "find",
        "found",
        "bit",
        "quite",
        "rather",
        "so",
        "eat",
        "touch",
        "bear",
        "cope",
        "anything",
        "care",
        "fancy",
    }
)


def _says_all_but_one(words: Sequence[str], known: frozenset[str]) -> bool:
    """Whether one word of a whole sentence of everyday words is strange, and may be no food, amount or deed.

    "My sister plays the bassoon"; not of what somebody has, makes or does with "it".
    """
    strange = [word for word in words if word not in known]
    if len(strange) != 1 or len(words) < _WHOLE or set(words) & (_POINTS | _asides().doing | _asides().having):
        return False
    word = strange[0]
    return word.isalpha() and len(word) > 2 and _says_something(words) and not is_of_the_trade(word)


_WHOLE = 4
_STEM = 5
# Letters of what may be a wish: a food, a measure, a deed, a word for another thing.
_DEEDS = frozenset("FAEZzRWVyILMvTtbfQSXOuqlnsoBdK+->&|D")


def is_of_the_trade(word: str) -> bool:
    """Whether a word is a food, a measure, a deed or a way of working, or begins as one: "diluted", "unprocessed"."""
    if {letter for letter, _ in lexicon().get((word,), ())} & _DEEDS or word in _trade_words():
        return True
    stem = word.removeprefix("un")
    return len(stem) >= _STEM and stem[:_STEM] in _trade_stems()


@cache
def _trade_words() -> frozenset[str]:
    told = {
        word for words, entries in lexicon().items() if {letter for letter, _ in entries} & _DEEDS for word in words
    }
    return frozenset(told | food_words() | ways_words())


@cache
def _trade_stems() -> frozenset[str]:
    return frozenset(word[:_STEM] for word in _trade_words() if len(word) >= _STEM)


def _goes_on(words: Sequence[str], joint: str) -> bool:
    """Whether words behind a joint go on with what was said: "and won't eat anything", "in the old country"."""
    asides = _asides()
    if words[0] == joint and joint in ("where", "when"):
        return _says_something(words[1:])
    if words[0] in asides.aux | (asides.against - _ALONE) or (words[0] in asides.verbs and words[0].endswith("ed")):
        return True
    if _has_subject(words) or _says_something(words):
        return True
    if words[0] in ("who", "which") and joint == words[0]:
        return set(words[1:2]) <= asides.aux | asides.verbs | asides.against | asides.having | asides.liking
    named = set(words) - asides.verbs - asides.aux - asides.no_subject - asides.openers - asides.empty
    return (
        joint in _PLACING
        and bool(named)
        and not set(words) & asides.against
        and words[-1] not in asides.no_subject
        and words[0] not in asides.no_subject | asides.verbs
    )


# Behind one of these a place, a time or somebody is named.
_PLACING = frozenset(
    words_of("in on at from for with before after during until till this next of again like here over")
)
# These deny what follows: "and no pressure" is no talk.
_ALONE = frozenset({"no", "not", "none", "nothing", "without", "neither", "nor", "never", "lack", "avoid", "avoiding"})


def _says_something(words: Sequence[str]) -> bool:
    """Whether somebody or something is spoken of, and a verb says what they are or do."""
    asides = _asides()
    at = next((at for at, word in enumerate(words) if word not in asides.openers), len(words))
    said = list(words[at:])
    if not said:
        return False
    if said[0] in asides.carrying:
        return len(said) > 1
    if said[:2] in (["what", "a"], ["such", "a"], ["how", "many"], ["not", "a"], ["why", "so"]):
        return len(said) > 2
    if said[0] in asides.aux:
        return len(said) > 2 and said[1] in _ASKED_OF
    verbs = asides.verbs | asides.aux | (asides.against - _ALONE) | asides.having | asides.doing | asides.liking
    verbs -= {"please"}
    return said[0] not in asides.no_subject | asides.verbs and any(word in verbs for word in said[1:])


_ASKED_OF = frozenset(words_of("i we you he she they it this that these those there my our your his her their not"))


def _is_apposed(words: Sequence[str]) -> bool:
    """ "Poor man", "silly me": the same person or thing named again."""
    asides = _asides()
    words = words[:-1] if words[-1:] == ["here"] else words
    return 1 < len(words) < 5 and words[-1] in asides.apposed and set(words[:-1]) <= asides.describing | {"the", "you"}


def _has_subject(words: Sequence[str]) -> bool:
    begins = any(tuple(words[:size]) in _asides().subjects for size in range(1, 6))
    return begins or bool(_who().match("".join(f"{word} " for word in words[:6])))


@cache
def _who() -> re.Pattern[str]:
    return re.compile(_class("who"))


def _counts_people(tokens: Sequence[Token], at: int) -> bool:
    """ "The 2 of us", "my daughter is 4"."""
    if tokens[at].value is None or tokens[at].word != "#":
        return False
    after = tokens[at + 1].word if at + 1 < len(tokens) else ""
    if at > 1 and [token.word for token in tokens[at - 2 : at]] == ["family", "of"]:
        return True
    if at and tokens[at - 1].word in ("since", "in", "from") and 1900 < (tokens[at].value or 0) < 2100:
        return True
    return after in _COUNTED or (not after and at > 0 and tokens[at - 1].word in _AGES)


def _is_polite(tokens: Sequence[Token]) -> bool:
    asides = _asides()
    at, words = 0, [token.word if token.value is None else str(token.value) for token in tokens]
    says = False  # of the words of no phrase one has to say something: "can" alone may be a verb
    while at < len(words):
        size = next((size for size in (4, 3, 2) if tuple(words[at : at + size]) in asides.polite_phrases), 0)
        if not size and words[at] not in asides.polite | asides.names:
            return False
        says = says or bool(size) or words[at] not in asides.empty
        at += size or 1
    return says


def _food_spans(tokens: Sequence[Token]) -> list[tuple[int, int]]:
    """Where foods with their descriptions stand."""
    found: list[tuple[int, int]] = []
    at = 0
    while at < len(tokens):
        end, has_food = at, False
        while end < len(tokens):
            size, letters = _lexeme_at(tokens, end)
            if not size or not letters & set("FDO") or (letters <= {"D"} and tokens[end].word in _asides().words):
                break
            has_food = has_food or "F" in letters
            end += size
        if has_food:
            found.append((at, end))
        at = max(end, at + 1)
    return found


def _lexeme_at(tokens: Sequence[Token], at: int) -> tuple[int, set[str]]:
    for size in (4, 3, 2, 1):
        words = tuple(token.word for token in tokens[at : at + size])
        if len(words) == size and (entries := lexicon().get(words)):
            return size, {letter for letter, _ in entries}
    return 0, set()


def _said_of_foods(tokens: Sequence[Token], *, goes_on: bool = False) -> list[tuple[str, tuple[Token, ...]]]:
    """What a clause that tells something of foods says of each, as the wish it might be; nothing where it is not plain.

    It says of whom it speaks, or goes on to speak of them (`goes_on`): "no salt" is a wish.
    """
    numbers = {_written(token): token for token in tokens if token.value is not None}
    tokens = [_read_back(word, numbers) for word in _plain_against(_flat(tokens)).split()]
    spans = _food_spans(tokens)
    begins = [token.word for token in tokens]
    if not spans or begins[0] == "do" or not (goes_on or begins[0] == "lack" or _has_subject(begins)):
        return []
    foods = [tuple(tokens[start:end]) for start, end in spans]
    rest = [token for at, token in enumerate(tokens) if not any(start <= at < end for start, end in spans)]
    between = {token.word for (_, end), (start, _) in pairwise(spans) for token in tokens[end:start]}
    words = {token.word for token in rest}
    if between & {"with", "on", "in"} and words & (_asides().liking | _asides().against):
        foods, between = foods[:1], set()  # "loves cinnamon with apples"
    wishes = words & _WISHING and not words & _asides().against
    if wishes or words & (_CUTTING - {"and", "who"}) or (words & _asides().doing and words & _POINTS):
        return []  # "we have onions, so use those": a wish as well
    is_acid = any(token.word in _ACID for food in foods for token in food)
    if between - {"and", "or", "nor", "&"} or not _only_tells(rest, is_acid=is_acid):
        return []
    said = _stance(words, sum(token.word in _asides().against for token in rest))
    if is_acid and said != "leave out":
        return []  # what somebody has or likes of an acid may be how much of it
    return [(said, food) for food in foods] if said else []


def _spoken_of(tokens: Sequence[Token]) -> list[tuple[str, tuple[Token, ...]]]:
    """What a clause in free words says of one food, or of several in a row; "" where only a wish can tell.

    Nothing of an acid, and nothing where a word is a measure, a deed or a way of working.
    """
    asides = _asides()
    tokens = tuple(Token(word) for word in _plain_against(_flat(tokens)).split())
    tokens = tokens[tokens[0].word in ("where", "when", "and", "but") :]
    spans = _food_spans(tokens)
    if (
        not spans
        or tokens[0].word in _ALONE
        or any(token.word[0].isdigit() and not _is_years(tokens, at) for at, token in enumerate(tokens))
    ):
        return []
    foods = [tokens[start:end] for start, end in spans]
    between = {token.word for (_, end), (start, _) in pairwise(spans) for token in tokens[end:start]}
    if any(token.word in _STRICTLY_ACID or food == (Token("juice"),) for food in foods for token in food):
        return []
    if between and between <= {"in", "with", "on", "into"}:
        foods = foods[:1]  # "a bit of orange zest in rhubarb"
    elif between - {"and", "or", "nor", "&"}:
        return []
    first, last = spans[0][0], spans[-1][1]
    words = [token.word for token in (*tokens[:first], Token("thing"), *tokens[last:])]
    rest = set(words)
    known = asides.words | asides.against | asides.bad | asides.plenty | asides.doing | {"lack", "hate", "any", "over"}
    known |= {"all", "one", "same"}
    known |= asides.taste if rest & (asides.against | asides.bad | _TOO) else frozenset()
    known |= {token.word for token in tokens if token.word[0].isdigit()}
    if (
        rest & (_CUTTING - {"and", "who"})
        or not (rest <= known or _says_all_but_one(words, known))
        or not (_says_something(words) or _has_subject(words))
        or rest & _UNSURE
    ):
        return []
    against, is_bad = len(rest & (asides.against | {"lack"})), bool(rest & asides.bad)
    denied = against == 1 and not rest & _NOT_AGAINST and not is_bad
    is_out = denied or (not against and is_bad and not rest & asides.liking)
    stance = "leave out" if is_out else ""
    return [(stance, food) for food in foods]


def _is_years(tokens: Sequence[Token], at: int) -> bool:
    """ "Out of date by 3 years"."""
    return at + 1 < len(tokens) and tokens[at + 1].word in ("year", "month", "week", "kid", "child", "people", "friend")


# With one of these a clause may be the wish itself.
_UNSURE = frozenset(
    words_of("if unless instead without only half less more fewer extra would could should may might can want")
)


def _only_tells(rest: Sequence[Token], *, is_acid: bool) -> bool:
    """Whether a clause about a food, without the food, holds words of asides alone; of acid no amount and no deed."""
    asides = _asides()
    words = {token.word for token in rest}
    loose = {"lack", "hate", "any"} | (set() if is_acid else asides.plenty | {"only"})
    loose |= asides.doing if words & asides.against or not is_acid else set()
    counted = [at for at in range(len(rest) - 1) if rest[at].word == "#" and rest[at + 1].word in asides.plenty]
    known = [token for at, token in enumerate(rest) if token.word not in loose and (is_acid or at not in counted)]
    if words & asides.taste or (is_acid and words & {"just", "only"}):
        return False
    return _is_aside([Token("i"), *known, Token("today")], is_doubtful=False)


def _stance(words: set[str], against: int) -> str:
    """What the words beside a food say of it, as the wish it might be; "" where that is not plain."""
    asides = _asides()
    against += bool(words & {"lack", "hate"} - asides.against)
    if against > 1 or (against and words & _NOT_AGAINST):
        return ""
    if against:
        return "leave out"
    if words & asides.liking:
        return "more"
    if words & asides.doing - {"make", "made"} and not words & asides.having:
        return "use" if words & {"use", "used"} else "add"
    is_theirs = any(words <= these | _IS and words & these for these in (_THESE, _OURS))
    if words & asides.having or is_theirs:
        return "use"
    return "add" if words & asides.doing else ""


_IS = frozenset({"is", "are", "were", "be", "all", "mostly"})
_THESE = frozenset({"theyre", "its", "these", "they"})
_OURS = frozenset({"mine", "our", "ive"})
_WISHING = frozenset(words_of("id ill wed would could can may might will shall should want wanted wish hope to if"))
_NOT_AGAINST = frozenset({"enough", "mind", "help", "face", "just", "wait", "resist", "beat"})


_MOST_TRIES = 60
# Behind one of these a clause may go on without saying again of whom it speaks: "and won't eat anything".
_GOES_ON = frozenset({"and", "but", "who", "which", "or", "where", "when"})


# "Half of it", "a teaspoon", "leave it off": of the food that was spoken of.
_ONLY_HOW_MUCH = re.compile(
    r"(?:(?:use|used|add|put|put in|try|have|leave|left|leaving|skip|skipped|dropped|drop|omit|without|half|third|"
    r"quarter|less|fewer|more|extra|a|few|bit|little|touch|pinch|tad|tsp|tbsp|teaspoon|tablespoon|of|it|them|those|"
    r"these|any|some|off|out|in|the|just|or so|"
    r"[0-9/]+ (?:tsp|tbsp|teaspoon|tablespoon|cup|pinch)) )+"
)
# No acid to speak of.
_OF_PEEL = re.compile(r"(?<!\S)(?:lemon|lime) (?:zest|peel|rind) ")
# Of a swap: what it is judged as.
_SAME_AMOUNT = re.compile(
    r"(?:in |for )?(?:the )?(?:exact )?same (?:amount|number|weight|quantity|volume)(?: of course)? "
)


class _Talk:
    """Cuts a text into asides and wishes; every word belongs to one of them."""

    def __init__(
        self,
        tokens: Sequence[Token],
        is_read: Callable[[tuple[Token, ...]], bool],
        own: frozenset[str] = frozenset(),
        *,
        is_loose: bool = False,
    ) -> None:
        self.numbers = {_written(token): token for token in tokens if token.value is not None}
        self.tokens = self._tokens(_said_as(_flat(tokens)))
        self.is_read = is_read
        self.own = own  # words of the recipe's own lines
        self.is_loose = is_loose  # a wish may stand behind any talk, and a food be spoken of in any words of talk
        words = {token.word for token in self.tokens}
        words = {token.word for token in self._tokens(_OF_PEEL.sub("", _flat(self.tokens)))}
        self.is_doubtful = bool(words & (_STRICTLY_ACID | _HEAT))
        self.ends = _cuts(self.tokens)
        self.hopeless: set[tuple[object, ...]] = set()
        self.tried: dict[tuple[Token, ...], bool] = {}

    def _tokens(self, text: str) -> tuple[Token, ...]:
        return tuple(_read_back(word, self.numbers) for word in text.split())

    def parse(self, at: int, parse: _Parse) -> _Parse | None:
        """The text from a place on, behind what was cut already; longest clauses first."""
        while at < len(self.tokens) and self.tokens[at].word in (STOP, ","):
            at += 1
        if at >= len(self.tokens):
            return parse if parse.wishes or parse.foods else None
        state = (at, parse.wishes[-1:] == [], *(food for _, _, food in parse.foods[-1:]))
        if state in self.hopeless:
            return None
        for end in self._spans(at):
            if (more := self._clause(self.tokens[at:end], parse)) and (whole := self.parse(end, more)):
                return whole
        self.hopeless.add(state)
        return None

    def _spans(self, at: int) -> Iterator[int]:
        """Where a clause that begins here may end: not behind a full stop; the longest first."""
        stop = next((end for end in range(at, len(self.tokens)) if self.tokens[end].word == STOP), len(self.tokens))
        yield from (end for end in sorted({*self.ends, stop}, reverse=True) if at < end <= stop)

    def _clause(self, tokens: Sequence[Token], before: _Parse) -> _Parse | None:
        bare = _stripped_ends(tokens)
        if self._is_passed_over(tokens, bare, before):
            return before
        told = _told(_flat(bare), self.is_doubtful)
        goes_on = tokens[0].word in _GOES_ON
        foods = _said_of_foods(bare, goes_on=goes_on)
        wish = () if foods else self._wish(bare, before)
        foods = foods or ([] if wish or not self.is_loose else _spoken_of(bare))
        if not wish and not foods and self.is_loose and not self.is_doubtful:
            wish = self._wish(bare, before, _told_starts(bare))
        if told and _food_spans(food := self._tokens(told[1])) == [(0, len(food))]:
            foods = [(told[0], food)]
        if foods:
            at = len(before.wishes)
            return _Parse(before.wishes, [*before.foods, *((at, *food) for food in foods)])
        if wish and not self.tried.get(wish):  # ", 2 tbsp a quart": read only with the wish before it
            wish = (*before.wishes[-1], Token(","), *wish)
            return _Parse([*before.wishes[:-1], wish], before.foods)
        return _Parse([*before.wishes, wish], before.foods) if wish else None

    def _is_passed_over(self, tokens: Sequence[Token], bare: tuple[Token, ...], before: _Parse) -> bool:
        """Whether a clause wishes nothing of its own: it tells who asks and why, or asks after what was wished."""
        text, words = _flat(bare), {token.word for token in bare}
        if before.foods or before.wishes:
            is_tail = tokens[0].word in _asides().tails and self._is_tail(tuple(tokens))
            asks = words <= _asides().polite and bool(words & _ASKED_OF)
            if is_tail or asks or _lines("same").fullmatch(text):
                return True  # "may I", behind what was wished
        is_swap = any(token.word == "instead" for wish in before.wishes[-1:] for token in wish)
        is_swap = is_swap or any(said == "leave out" for _, said, _ in before.foods)
        if before.wishes and is_swap and _SAME_AMOUNT.fullmatch(text):
            return True
        joint = tokens[0].word if tokens[0].word in _GOES_ON else ""
        if _is_aside(bare, is_doubtful=self.is_doubtful, joint=joint, is_loose=self.is_loose):
            return True
        return _told(text, self.is_doubtful) == ("", "")

    def _wish(
        self, tokens: tuple[Token, ...], before: _Parse, starts: Iterable[int] | None = None
    ) -> tuple[Token, ...]:
        """A clause as a wish that can be read, without what frames it and its tail of reasons; () where it is none."""
        tries = 0
        for start in _starts(tokens) if starts is None else starts:
            for end in self._tails(tokens, start):
                tries += 1
                if tries > _MOST_TRIES:
                    return ()
                for said in self._turns(tokens[start:end], before):
                    if self._reads(said, before):
                        return said
        return ()

    def _turns(self, tokens: tuple[Token, ...], before: _Parse) -> Iterator[tuple[Token, ...]]:
        """A wish as it stands, with the food that was spoken of before it, and as the plain wish that a turn means."""
        text = _flat(tokens)
        texts = [text]
        for _, _, food in reversed(before.foods):
            if (taken := _with_food(text, _flat(food).strip())) is not None or (taken := _with_one(text, food)):
                if _is_bare(taken, food):
                    yield from (self._tokens(turned) for turned in _turns_of(taken))
                else:
                    texts = [taken, text]
                break
            if (text.split() or [""])[-1] in _MEASURING:
                texts = [text + _flat(food), text]  # "we love cinnamon, so 2 sticks more"
                break
        if self.is_loose and not self.is_doubtful and _ONLY_HOW_MUCH.fullmatch(text):
            food = self._last_food(before)
            taken_up = " ".join(_ones_for(text.split(), _flat(food).split())) + " "
            texts += [text + _flat(food), taken_up]
        if self.is_loose and not self.is_doubtful and (food := self._last_food(before)):
            taken_up = " ".join(_ones_for(text.split(), _flat(food).split())) + " "
            yield from (self._tokens(turned) for turned in _turns_of(taken_up) if taken_up != text)
        for said in dict.fromkeys(texts):
            for turned in dict.fromkeys((*_turns_of(said), said)):
                yield self._tokens(turned)
                if before.foods and (turned.split() or [""])[-1] in _MEASURING:
                    yield self._tokens(turned + _flat(before.foods[-1][2]))

    @staticmethod
    def _last_food(before: _Parse) -> tuple[Token, ...]:
        """The one food that was spoken of or wished last."""
        if before.foods:
            return before.foods[-1][2]
        spans = _food_spans(before.wishes[-1]) if before.wishes else []
        return before.wishes[-1][slice(*spans[0])] if len(spans) == 1 else ()

    def _reads(self, tokens: tuple[Token, ...], before: _Parse) -> bool:
        if not tokens:
            return False
        if tokens not in self.tried:
            self.tried[tokens] = self.is_read(tokens)
        is_amount = any(token.value is not None for token in tokens)
        if self.tried[tokens] or not before.wishes or not is_amount:
            return self.tried[tokens]
        return self.is_read((*before.wishes[-1], Token(","), *tokens))

    def _tails(self, tokens: tuple[Token, ...], start: int) -> Iterator[int]:
        """Where a wish that begins here may end: at the end, or before a tail that only gives reasons."""
        yield len(tokens)
        for end in range(len(tokens) - 1, start, -1):
            if tokens[end].word in _asides().tails and self._is_tail(tokens[end:]):
                yield end

    def _is_tail(self, tail: tuple[Token, ...]) -> bool:
        bare = tail[1:]
        if tuple(token.word for token in tail) in _asides().tail_phrases:
            return True
        if tail[0].word == "if" and not (bare and bare[0].word in ("youre", "theyre", "somebody", "someone")):
            return _is_polite(bare)
        again = next((at for at in range(1, len(tail)) if tail[at].word in _ANOTHER_TAIL), 0)
        if again:  # "from last summer because where the cat": each part has to be one
            return self._is_tail(tail[:again]) and self._is_tail(tail[again:])
        told = _told(_flat(bare), self.is_doubtful) if bare else None
        return (told is not None and not told[1]) or _is_aside(bare, is_doubtful=self.is_doubtful, joint=tail[0].word)


def _ones_for(words: list[str], food: list[str]) -> list[str]:
    """The words with the food for the first word that takes one up: "half of it", "leave it off"."""
    at = next((at for at, word in enumerate(words) if word in ("it", "them", "those", "these", "any", "they")), None)
    if at is None:
        return words
    behind = ["out"] if words[at - 1 :] == ["leave", words[at]] else []  # "may I leave it"
    return [*words[:at], *food, *behind, *words[at + 1 :]]


_ANOTHER_TAIL = frozenset(words_of("because since where who which when so but"))


def _is_bare(text: str, food: tuple[Token, ...]) -> bool:
    """ "The kids love it": nothing is said of what is to be done with it."""
    return (
        _without_asking(text) == _flat(food) or not set(text.split()) - {token.word for token in food} - _asides().words
    )


_MEASURING = frozenset(words_of("more less extra fewer teaspoon tablespoon tsp tbsp cup stick pinch spoonful of"))


def _with_one(text: str, food: tuple[Token, ...]) -> str:
    """ "The yellow ones", of the yellow beans that were spoken of."""
    names = {token.word for token in food}
    found = re.search(r"(?<!\S)(?:(?:the |my |our |those |these )?(\S+) )?(?:one|1) (?!\S* ?jar)", text)
    if not found:
        return ""
    if found[1] and found[1] not in names | {"the", "those", "these"}:
        return text[: found.start(0)] + f"{found[1]} " + _flat(food) + text[found.end() :]
    return text[: found.start()] + _flat(food) + text[found.end() :]


def _is_taken_up(said: str, food: tuple[Token, ...], wishes: Sequence[tuple[Token, ...]]) -> bool:
    """Whether a wish names the food that was spoken of; what somebody dislikes, lacks or loves of an acid stays."""
    names = {token.word for token in food}
    return any(names <= {token.word for token in wish} for wish in wishes) and not (names & _ACID and said != "use")


def _starts(tokens: tuple[Token, ...]) -> Iterator[int]:
    """Where a wish may begin, behind words that frame it; behind all of them first."""
    text, found, at = _flat(tokens), [0], 0
    while at < len(text) and (match := _frame().match(text, at)):
        at = match.end()
        found.append(len(text[:at].split()))
    yield 0
    yield from (start for start in reversed(found) if 0 < start < len(tokens))


def _told_starts(tokens: tuple[Token, ...]) -> Iterator[int]:
    """Where a wish may begin behind words that tell who wishes it: "my friend at work told me to"."""
    asides = _asides()
    words = [token.word if token.value is None else "#" for token in tokens]
    known = asides.words | asides.polite
    end = next((at for at, word in enumerate(words) if word not in known), len(words) - 1)
    for start in range(end, 0, -1):
        if words[start - 1] in _BEFORE_WISH and _says_something(words[:start]):
            yield start


# What talk may end with before a wish: none of these says of what follows how much or of what kind it is.
_BEFORE_WISH = frozenset(
    words_of("to that if i we you me us say said think thought reckon swear suggest suggested recommend want need love")
) | frozenset(words_of("prefer would could can should may might is and so but"))


_CUTTING = _JOINTS | {"if", "when", "who", "which", "where"}
# Somebody begins to speak of what they wish: "as it's tart I'd use more sugar".
_OPENING = frozenset({"i", "id", "wed", "ill", "we", "can", "could", "may", "would", "is", "are"})
_FRAMING = _JOINTS | {"if", "when", "who", "which", "where", "that", "i", "we", "you", "it", "they", "what", STOP, ","}


def _cuts(tokens: Sequence[Token]) -> list[int]:
    """Where a clause may end: at a comma or a full stop, and before a joint."""
    words = [token.word for token in tokens]
    found = []
    for at, word in enumerate(words):
        is_joint = at and word in _CUTTING and words[at : at + 2] not in (["as", "well"], ["so", "much"])
        is_joint = is_joint and words[at - 1 : at + 1] != ["or", "so"]
        opens = at and word in _OPENING and words[at - 1] not in _FRAMING
        if word in _ENDS or is_joint or opens:
            found.append(at)
    return found


def chatty_wishes(
    tokens: Sequence[Token], is_read: Callable[[tuple[Token, ...]], bool], own: frozenset[str] = frozenset()
) -> tuple[Token, ...]:
    """The text without its asides in free words, where every other word is of a wish that can be read; else ()."""
    talks = (_Talk(tokens, is_read, own, is_loose=is_loose) for is_loose in (False, True))
    parse = next((parse for talk in talks if (parse := talk.parse(0, _Parse()))), None)
    if parse is None:
        return ()
    parse.foods = [told for told in parse.foods if not _is_taken_up(told[1], told[2], parse.wishes)]
    # "Peaches mean a lot to us": of what the recipe has anyhow nothing is wished by it.
    known = [told for told in parse.foods if not told[1] and {token.word for token in told[2]} <= own and parse.wishes]
    parse.foods = [told for told in parse.foods if told not in known]
    if any(not said for _, said, _ in parse.foods):
        return ()
    if swap := _swapped(parse, is_read):
        return swap
    plain: list[Token] = []
    for at, wish in enumerate((*parse.wishes, ())):
        for place, said, food in parse.foods:
            if place == at:
                plain += [*(Token(word) for word in said.split()), *food, Token(STOP)]
        plain += [*wish, Token(STOP)] if wish else []
    return tuple(plain)


def _swapped(parse: _Parse, is_read: Callable[[tuple[Token, ...]], bool]) -> tuple[Token, ...]:
    """ "I can't find golden raisins, would raisins do": one thing missing and one used is a swap; else ()."""
    missing = [food for _, said, food in parse.foods if said == "leave out"]
    used = [food for _, said, food in parse.foods if said == "use"]
    if len(missing) != 1 or len(used) + len(parse.wishes) != 1 or len(parse.foods) != 1 + len(used):
        return ()
    wish = (Token("use"), *used[0]) if used else parse.wishes[0]
    words = [token.word for token in wish]
    if wish[-1].word == "instead":
        wish = wish[:-1]
    if set(words) & {"instead", "for", "in", "rather", "than", "add", "leave"} - {words[-1]} or "use" not in words:
        return ()
    cut = next((at for at, token in enumerate(wish) if token.word == ","), len(wish))
    swap = (*wish[:cut], Token("instead"), Token("of"), *missing[0], *wish[cut:])
    return swap if is_read(swap) else ()
