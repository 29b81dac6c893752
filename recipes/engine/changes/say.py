"""A reading said back in plain words, and the nearest wishes to a text that was not understood."""

from __future__ import annotations

from fractions import Fraction

from recipes.engine.changes.facts import Facts, Line
from recipes.engine.changes.foods import BOTTLED, Kind, foods
from recipes.engine.changes.normalise import lemmas
from recipes.engine.changes.terms import LITTLE, PART, Act, Change
from recipes.engine.changes.ways import way_said
from recipes.engine.quantities import Amount, format_amount
from recipes.engine.terms import Role

GRAMMAR_HELP = """\
A change is written as people say it, or in the strict form beside it. Capital letters, accents, "please",
"can I" and a question mark do not matter. Amounts are as in recipes: 1/2 tsp, 2 1/4 cups, 1.5 kg.

  less or more     sugar 7 cups -> 5 cups      ITEM AMOUNT UNIT -> AMOUNT UNIT
                   sugar -25%   salt -50%      ITEM -N%   ITEM +N%   ITEM xN
                   less sugar   more garlic    less ITEM   more ITEM   halve the ITEM
                   reduce sugar by a third     reduce ITEM by PART|AMOUNT, to AMOUNT
  nothing of it    omit salt   no garlic       omit ITEM   (also: leave out, skip, without, no)
  something new    add onions 1 cup            add ITEM [AMOUNT UNIT]   (a food alone means the same)
  in its place     swap vinegar -> bottled lemon juice   swap ITEM -> ITEM
                   honey for sugar             NEW for OLD   (also: NEW instead of OLD, replace OLD with NEW)
                   canned for fresh            frozen, canned, dried, fresh, bottled for another form
                   use brown sugar             use ITEM [AMOUNT]
  vinegar          vinegar 4 % acidity         vinegar N %
  jar and pack     jar quart   smaller jar     jar SIZE   pack hot|raw
  pot              pot x2   halve the pot      pot xN
  canner           canner steam                canner steam|pressure|boiling-water   (or: method WORD)
  process          process 10 minutes          process MINUTES   process 5 minutes less   skip processing
                   10 psi                      pressure PSI   headspace 1/4 inch
  ways of working  practice bands tight        open kettle, oven, invert jars, paraffin wax, reuse lids ...

Several wishes in one text are judged together: "omit salt and add garlic". Swap A for B is read by what the
recipe has; where it has both, both directions are judged. An amount "per quart" or "in each pint" is turned into
the pot's and compared. What was read is said back before the answer. A text with any word that was not understood
is not answered, never guessed; an instructor of the club can."""


def said(facts: Facts, change: Change) -> str:
    """What was read, in plain words: "bottled lemon juice, 1 tbsp a quart in place of 2"."""
    if change.act is Act.SWAP:
        return _swap(facts, change)
    if change.act in (Act.LESS, Act.MORE, Act.OMIT):
        return _scaled(change)
    if change.act in (Act.SET, Act.USE, Act.ADD):
        return _measured(facts, change)
    return _way(change)


def _amount(amount: Amount | None, jar: str = "") -> str:
    if amount is None:
        return ""
    text = format_amount(amount.value, amount.unit)
    return f"{text} {_each(jar)}" if jar else text


def _each(jar: str) -> str:
    return {"jar": "in each jar", "": ""}.get(jar, f"a {jar.replace('-', ' ')}")


def _share(factor: Fraction) -> str:
    if factor == 1:
        return "all of it"
    return f"{factor} of it" if factor.denominator in (1, 2, 3, 4, 5, 8, 10) else f"{float(factor) * 100:g} % of it"


def _swap(facts: Facts, change: Change) -> str:
    old = change.item or "what the recipe has"
    new = change.other or "another"
    amount = _amount(change.other_amount, change.per_jar)
    each = "" if amount else _each(change.per_jar)
    share = f", for {_share(change.factor)}" if change.factor is not None else ""
    share = share or (", for a part of it" if change.word == PART else "")
    told = _amount(change.amount)
    printed = "" if told or not amount else _printed(facts, change.item, change.per_jar)
    of = told or printed
    return (
        ", ".join(part for part in (new, amount or each) if part) + f" in place of {f'{of} ' if of else ''}{old}{share}"
    )


def _printed(facts: Facts, item: str, jar: str) -> str:
    """The recipe's own amount of a line, for one jar where the change was said so."""
    lines = facts.find(item)
    if len(lines) != 1:
        return ""
    line = lines[0].ingredient
    if jar and (each := facts.printed_for_jar(lines[0], jar)):
        return format_amount(each.value, each.unit)
    return "" if jar else format_amount(line.amount, line.unit)


def _scaled(change: Change) -> str:
    if change.act is Act.OMIT:
        return f"{change.item} left out"
    if change.factor is not None:
        return f"{change.item}, {_times(change.factor)}"
    way = "less" if change.act is Act.LESS else "more"
    amount = _amount(change.other_amount, change.per_jar)
    return f"{amount} {way} {change.item}".strip() if amount else f"{way} {change.item}"


def _times(factor: Fraction) -> str:
    if factor.denominator in (1, 2, 3, 4, 5, 8):
        return f"{factor} times the recipe's amount" if factor > 1 else f"{factor} of the recipe's amount"
    return f"{float(factor) * 100:g} % of the recipe's amount"


def _measured(facts: Facts, change: Change) -> str:
    amount = _amount(change.amount, change.per_jar) or _each(change.per_jar)
    if change.word == LITTLE:
        amount = "a little"
    text = ", ".join(part for part in (change.item, amount) if part)
    if change.act is Act.ADD:
        return f"{text}, added"
    printed = _printed(facts, change.item, change.per_jar) if change.amount else ""
    return f"{text} in place of {printed}" if printed and change.amount else text


def _way(change: Change) -> str:
    number = f"{float(change.factor):g}" if change.factor is not None else ""
    texts = {
        Act.JAR: f"{change.word.replace('-', ' ')} jars",
        Act.PACK: f"{change.word} pack",
        Act.POT: f"{change.factor or change.word} of a pot",
        Act.PROCESS: f"processing {number} minutes" if number else f"processing: {change.word}",
        Act.PRESSURE: f"pressure {number or change.word}" + (" psi" if number else ""),
        Act.CANNER: f"{change.word.replace('-', ' ')} canner" + (f" for {number} minutes" if number else ""),
        Act.HEADSPACE: f"headspace {number} inch" if number else "another headspace",
        Act.ACIDITY: f"{change.item} of {number} percent" if number else f"weaker {change.item}",
        Act.SYRUP: f"{change.word} syrup",
        Act.FORM: f"{change.word} in place of {change.other}" if change.other else f"{change.word} food",
    }
    if change.act in (Act.PRACTICE, Act.ACCIDENT):
        return way_said(change.word)
    return texts.get(change.act, "")


# The nearest wishes that can be read.


def nearest(facts: Facts, text: str) -> tuple[str, ...]:
    """Three wishes near to a text, each of which can be read."""
    words = set(lemmas(text))
    candidates = [
        (len(words & set(lemmas(candidate))) * 4 - len(lemmas(candidate)), -at, candidate)
        for at, candidate in enumerate(_candidates(facts, words))
    ]
    return tuple(candidate for *_, candidate in sorted(candidates, reverse=True)[:3])


def _candidates(facts: Facts, words: set[str]) -> list[str]:
    named = [line for line in facts.lines if words & line.phrase.words] or list(facts.lines[:2])
    found = [wish for line in named for wish in _of_line(line)]
    put_in = words & {"add", "put", "include", "mix", "stir", "throw"}
    strange = [food.name for key, food in foods().items() if put_in and set(key) <= words]
    found += [f"add {name}" for name in strange if not any(name in line.ingredient.item for line in facts.lines)][:6]
    return [*found, "smaller jars", "half the recipe", "process 5 minutes longer", "use new lids"]


def _of_line(line: Line) -> list[str]:
    name = line.ingredient.item
    wishes = [f"less {name}", f"more {name}", f"leave out the {name}"]
    if line.role is Role.ACID and Kind.VINEGAR in line.phrase.kinds:
        wishes.insert(0, f"cider vinegar instead of {name}")
    elif line.role is Role.ACID:
        wishes.insert(0, f"{BOTTLED} lime juice instead of {name}")
    return wishes
