"""Between the draft form's text and the library document: there, back, and which field a problem belongs to."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from recipes.engine.terms import Method, Seen

MINUTE_BANDS = {"minutes_1000": 1000, "minutes_3000": 3000, "minutes_6000": 6000, "minutes_above": "above"}
DIAL_BANDS = {"dial_2000": 2000, "dial_4000": 4000, "dial_6000": 6000, "dial_8000": 8000}
WEIGHTED_BANDS = {"weighted_1000": 1000, "weighted_above": "above"}
NOT_RECOMMENDED = "not-recommended"

# Fields of the form beside the document's own paths; the rest have the same name in both.
HEAD_PATHS = {
    "source_title": "source.title",
    "source_edition": "source.edition",
    "source_place": "source.place",
    "yield_low": "stated_yield.low",
    "yield_high": "stated_yield.high",
    "yield_jar": "stated_yield.jar",
    "yield_seen": "stated_yield.seen",
    "yield_note": "stated_yield.note",
    "pot_smallest": "pot_limits.smallest",
    "pot_largest": "pot_limits.largest",
    "pot_step": "pot_limits.step",
    "pot_source": "pot_limits.source",
    "boil_minutes": "hard_boil.minutes",
    "boil_last": "hard_boil.last_added_before",
    "boil_pectin": "hard_boil.pectin_added",
    "endpoint_f": "endpoint_f_above_boiling",
}
PLAIN_HEAD = ("title", "kind", "method", "pectin", "headspace_in", "amounts_seen", "note")
ROW_PATHS = {"source_title": "source.title", "source_edition": "source.edition", "source_place": "source.place"}
HEAD_FIELDS = {path: name for name, path in HEAD_PATHS.items()}
ROW_FIELDS = {path: name for name, path in ROW_PATHS.items()}


def document_from(
    head: Mapping[str, Any], ingredients: list[dict[str, Any]], rows: list[dict[str, Any]]
) -> dict[str, Any]:
    """The library document that the cleaned forms say; the engine decides whether it is a recipe."""
    document: dict[str, Any] = {name: head[name] for name in PLAIN_HEAD if head[name] or name == "pectin"}
    for name, path in HEAD_PATHS.items():
        if head[name]:
            _put(document, path, head[name])
    document["produce"] = [word.strip() for word in head["produce"].split(",") if word.strip()]
    document["steps"] = _lines(head["steps"])
    document["ingredients"] = [{key: value for key, value in line.items() if value} for line in ingredients]
    if cautions := _lines(head["cautions"]):
        document["cautions"] = cautions
    if rows:
        document["process"] = [_row(row) for row in rows]
    if head["method"] != Method.FREEZER:
        document["process_seen"] = weakest(row["seen"] for row in rows)
    return document


def weakest(marks: Any) -> str:
    """The recipe's process was seen as often as its least seen row."""
    return Seen.ONCE.value if Seen.ONCE.value in list(marks) else Seen.TWICE.value


def _put(document: dict[str, Any], path: str, value: Any) -> None:
    *parents, key = path.split(".")
    for parent in parents:
        document = document.setdefault(parent, {})
    document[key] = value


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _row(cleaned: Mapping[str, Any]) -> dict[str, Any]:
    row: dict[str, Any] = {name: cleaned[name] for name in ("method", "pack", "jar", "seen")}
    for name in ("headspace_in", "note"):
        if cleaned[name]:
            row[name] = cleaned[name]
    for name, path in ROW_PATHS.items():
        if cleaned[name]:
            _put(row, path, cleaned[name])
    if bands := _bands(cleaned, MINUTE_BANDS):
        row["minutes"] = bands
    if cleaned["pressure_minutes"]:
        row["minutes"] = cleaned["pressure_minutes"]
    if dial := _bands(cleaned, DIAL_BANDS):
        row["dial_psi"] = dial
    weighted = _bands(cleaned, WEIGHTED_BANDS)
    if cleaned["weighted_not_above"]:
        weighted.append(["above", NOT_RECOMMENDED])
    if weighted:
        row["weighted_psi"] = weighted
    return row


def _bands(cleaned: Mapping[str, Any], fields: Mapping[str, Any]) -> list[list[Any]]:
    return [[upper, cleaned[name]] for name, upper in fields.items() if cleaned[name]]


def head_initial(document: Mapping[str, Any]) -> dict[str, Any]:
    """What the head form starts with. Figures that nobody saw in print start unsaid, so that the author must say."""
    initial = {name: document.get(name, "") for name in PLAIN_HEAD}
    initial |= {name: _get(document, path) for name, path in HEAD_PATHS.items()}
    initial["produce"] = ", ".join(document.get("produce", ()))
    initial["steps"] = "\n".join(document.get("steps", ()))
    initial["cautions"] = "\n".join(document.get("cautions", ()))
    initial["amounts_seen"] = _seen_or_unsaid(document.get("amounts_seen", ""))
    return initial


def row_initial(row: Mapping[str, Any]) -> dict[str, Any]:
    initial = {name: row.get(name, "") for name in ("method", "pack", "jar", "headspace_in", "note")}
    initial |= {name: _get(row, path) for name, path in ROW_PATHS.items()}
    minutes = row.get("minutes")
    if isinstance(minutes, list):
        initial |= _band_initial(minutes, MINUTE_BANDS)
    else:
        initial["pressure_minutes"] = minutes
    initial |= _band_initial(row.get("dial_psi", []), DIAL_BANDS)
    initial |= _band_initial(row.get("weighted_psi", []), WEIGHTED_BANDS)
    if initial.get("weighted_above") == NOT_RECOMMENDED:
        initial |= {"weighted_above": None, "weighted_not_above": True}
    initial["seen"] = _seen_or_unsaid(row.get("seen", ""))
    return initial


def has_other_bands(row: Mapping[str, Any]) -> bool:
    """Whether a row has bands that the form has no fields for; then it must not be edited here and lose them."""
    minutes = row.get("minutes")
    pairs: list[tuple[Any, Mapping[str, Any]]] = [
        (minutes if isinstance(minutes, list) else [], MINUTE_BANDS),
        (row.get("dial_psi", []), DIAL_BANDS),
        (row.get("weighted_psi", []), WEIGHTED_BANDS),
    ]
    return any(upper not in fields.values() for bands, fields in pairs for upper, _figure in bands)


def _band_initial(bands: list[list[Any]], fields: Mapping[str, Any]) -> dict[str, Any]:
    by_upper = {upper: name for name, upper in fields.items()}
    return {by_upper[upper]: figure for upper, figure in bands if upper in by_upper}


def _get(document: Mapping[str, Any], path: str) -> Any:
    value: Any = document
    for key in path.split("."):
        value = value.get(key, "") if isinstance(value, Mapping) else ""
    return value


def _seen_or_unsaid(seen: str) -> str:
    return seen if seen in (Seen.TWICE.value, Seen.ONCE.value) else ""


# Paths that are about several fields, by the first of them.
HEAD_GROUPS = {"pot_limits": "pot_smallest", "hard_boil": "boil_minutes", "stated_yield": "yield_low"}
ROW_GROUPS = {"minutes": "minutes_1000", "dial_psi": "dial_2000", "weighted_psi": "weighted_1000"}


def place_of(path: str) -> tuple[str, int, str]:
    """(part, row, field) of a problem's path; the part is "head", "ingredients" or "process"."""
    if match := re.fullmatch(r"(ingredients|process)\[([0-9]+)\](?:\.(.+))?", path):
        return match[1], int(match[2]), _row_field(match[3] or "")
    plain = re.sub(r"\[[0-9]+\]", "", path)
    return "head", 0, HEAD_FIELDS.get(plain) or HEAD_GROUPS.get(plain, plain)


def _row_field(path: str) -> str:
    plain = re.sub(r"\[[0-9]+\]", "", path)
    return ROW_FIELDS.get(plain) or ROW_GROUPS.get(plain, plain)
