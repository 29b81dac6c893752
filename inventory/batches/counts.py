"""How many jars, of which sizes, the pots of a batch can have filled."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Protocol

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.batches.models import Batch
from inventory.batches.rules import filled_ml, most_ml, sizes_covered
from recipes.engine.quantities import JAR_ML, JAR_SIZES


class Gathers(Protocol):
    def add(self, field: str, message: str) -> None: ...


def most_jars(batch: Batch, size: str) -> int:
    """The most jars of one size the pots of this batch can have filled."""
    return int(_most_ml(batch, size) / JAR_ML[size])


def _most_ml(batch: Batch, size: str) -> Fraction:
    stated = batch.revision.tested.stated_yield
    return most_ml(stated, pots=batch.pots, printed_pots=batch.printed_pots, jar=size)


def count_check(problems: Gathers, batch: Batch, jars: Mapping[str, int]) -> None:
    """At least one jar, only sizes the process covers, and no more than the pots give. Problems go by `jars_<size>`."""
    covered = sizes_covered(batch.jar_size)
    filled = {size: count for size, count in jars.items() if count}
    if not filled:
        problems.add("jars", _("At least one jar must have been filled. If there was none, give the batch up instead."))
        return
    for size, count in filled.items():
        if size not in JAR_SIZES:
            problems.add("jars", _("%(size)s is no jar size known here.") % {"size": size})
        elif size not in covered:
            text = _("The process covers jars up to %(size)s: a larger jar needs a process tested for it.")
            problems.add(f"jars_{size}", text % {"size": batch.jar_size})
        elif count < 0:
            problems.add(f"jars_{size}", _("A number of jars cannot be below zero."))
    if all(size in covered and count > 0 for size, count in filled.items()):
        _ceiling_check(problems, batch, filled)


def _ceiling_check(problems: Gathers, batch: Batch, filled: Mapping[str, int]) -> None:
    largest = max(filled, key=JAR_SIZES.index)
    if filled_ml(filled) <= _most_ml(batch, largest):
        return
    stated = batch.revision.tested.stated_yield
    text = _(
        "That is more than this batch can have given: its tested source states at most %(high)s %(jar)s jars a"
        " full pot; with %(pots)s, and a jar a pot to spare, that is %(most)s jars of %(size)s. Count again;"
        " other pots are another batch."
    )
    said = {
        "high": str(stated.high),
        "jar": stated.jar,
        "pots": ngettext("%(n)s pot", "%(n)s pots", batch.pots) % {"n": batch.pots},
        "most": most_jars(batch, largest),
        "size": largest,
    }
    problems.add(f"jars_{largest}", text % said)
