"""What the acid ledger says of a recipe."""

from __future__ import annotations

from dataclasses import dataclass

from recipes.engine.rules import RULES


@dataclass(frozen=True)
class Finding:
    """One thing that speaks against a recipe, beside the field it is about.

    Refused is refused for good. Held back waits: for a class of the `unknown` words, for a reviewer's word on what the
    source says (`by_statement`), or else for a better text.
    """

    field: str
    message: str
    rule: str
    is_refused: bool
    unknown: str = ""
    by_statement: bool = False

    @property
    def statement(self) -> str:
        return RULES[self.rule].statement

    @property
    def source(self) -> str:
        return RULES[self.rule].source

    @property
    def sentence(self) -> str:
        return f"{self.message} {self.rule}: {self.statement}"


def refused(field: str, rule: str, message: str) -> Finding:
    return Finding(field, message, rule, is_refused=True)


def held(field: str, rule: str, message: str, *, unknown: str = "", by_statement: bool = False) -> Finding:
    return Finding(field, message, rule, is_refused=False, unknown=unknown, by_statement=by_statement)
