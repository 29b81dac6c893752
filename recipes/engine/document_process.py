"""Process rows of a document: bands of minutes and pressures by altitude, read strictly.

Minutes in boiling water and pressures of a weighted gauge are given up to every altitude, so their last
band is "above". A dial gauge is given up to a height, so its last band is a number.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from recipes.engine.document_fields import Fields, shown
from recipes.engine.quantities import JAR_SIZES
from recipes.engine.terms import Method, MinutesBand, Pack, PressureBand, ProcessRow, Seen, TestedSource

ABOVE = "above"
NOT_RECOMMENDED = "not-recommended"
HIGHEST_BAND_FT = 20_000
LONGEST_MINUTES = 600
HIGHEST_PSI = 20

Band = tuple[int | None, int | None]


def read_source(fields: Fields, key: str, default: TestedSource | None = None) -> TestedSource:
    """The publication; a row without its own takes `default`."""
    table = fields.table(key, required=default is None)
    if table is None:
        return default or TestedSource("", "", "")
    source = TestedSource(table.text("title"), table.text("edition", required=False), table.text("place"))
    table.close()
    return source


def read_row(
    fields: Fields, *, source: TestedSource, headspace_in: Fraction, table_method: Method | None = None
) -> ProcessRow:
    """One process row. `table_method` is the method of the table around it, which a row may leave unsaid."""
    method = fields.choice("method", Method, default=table_method)
    if table_method is not None and method is not table_method:
        fields.note("method", f"This table is for {table_method.value}; put this row in a table of its own.")
    if method.is_cold:
        fields.note("method", f"A {method.value} recipe has no process; leave the row out.")
    bands, minutes = _read_minutes(fields, method)
    row = ProcessRow(
        method=method,
        pack=fields.choice("pack", Pack),
        jar=fields.one_of("jar", JAR_SIZES),
        seen=fields.choice("seen", Seen),
        source=read_source(fields, "source", source),
        headspace_in=fields.optional_fraction("headspace_in") or headspace_in,
        minutes_bands=bands,
        minutes=minutes,
        dial=_read_pressures(fields, "dial_psi", method),
        weighted=_read_pressures(fields, "weighted_psi", method),
        note=fields.text("note", required=False),
        only_for=fields.texts("only_for") if fields.has_new("only_for") else (),
        not_for=fields.texts("not_for") if fields.has_new("not_for") else (),
        condition=fields.text("condition") if fields.has_new("condition") else "",
        dispute=fields.text("dispute") if fields.has_new("dispute") else "",
    )
    if row.only_for and row.not_for:
        fields.note("not_for", "A row that is only for some foods is for no other; leave not_for out.")
    if row.dispute and not row.seen.is_seen:
        fields.note("dispute", "A row with a dispute is the safer of two that were read: seen-once or seen-twice.")
    if method is Method.PRESSURE and not fields.has("dial_psi") and not fields.has("weighted_psi"):
        fields.note("dial_psi", "A pressure row needs dial_psi or weighted_psi, or both.")
    fields.close()
    return row


def _read_minutes(fields: Fields, method: Method) -> tuple[tuple[MinutesBand, ...], int | None]:
    value = fields.raw("minutes")
    if value is None:
        fields.note("minutes", "This field is missing.")
    elif method is Method.PRESSURE:
        if _is_count(value, LONGEST_MINUTES):
            return (), int(str(value))
        fields.note("minutes", f"This must be a whole number of minutes, 1 or more, not {shown(value)}.")
    else:
        bands = _read_bands(fields, "minutes", value, LONGEST_MINUTES, "minutes")
        _check_last(fields, "minutes", bands)
        return tuple(MinutesBand(upper, number) for upper, number in bands if number is not None), None
    return (), None


def _read_pressures(fields: Fields, key: str, method: Method) -> tuple[PressureBand, ...]:
    value = fields.raw(key)
    if value is None:
        if fields.has(key):
            fields.note(key, "This is empty. Leave the field out, or fill it.")
        return ()
    if method is not Method.PRESSURE:
        fields.note(key, "Only a pressure row has a pressure.")
        return ()
    bands = _read_bands(fields, key, value, HIGHEST_PSI, "pounds of pressure")
    _check_last(fields, key, bands)
    if bands and all(psi is None for _, psi in bands):
        fields.note(key, "Not recommended at any altitude: leave this gauge out.")
    return tuple(PressureBand(upper, psi) for upper, psi in bands)


def _read_bands(fields: Fields, key: str, value: object, most: int, what: str) -> list[Band]:
    """The bands as read; an empty list when any of them is wrong, which is noted."""
    if not isinstance(value, (list, tuple)) or not value:
        fields.note(key, f"This must be a list of bands, such as [[1000, 10], [6000, 15]], not {shown(value)}.")
        return []
    bands = [_read_band(fields, f"{key}[{i}]", pair, most, what) for i, pair in enumerate(value)]
    good = [band for band in bands if band is not None]
    if len(good) < len(bands):
        return []
    _check_order(fields, key, good)
    return good


def _read_band(fields: Fields, key: str, pair: object, most: int, what: str) -> Band | None:
    if not isinstance(pair, (list, tuple)) or len(pair) != 2:
        fields.note(key, f"A band is a pair: upper limit in feet (or {ABOVE}) and {what}.")
        return None
    height, number = pair
    if height != ABOVE and not _is_count(height, HIGHEST_BAND_FT):
        fields.note(key, f'The upper limit must be whole feet or "{ABOVE}", not {shown(height)}.')
        return None
    if number == NOT_RECOMMENDED and what != "minutes":
        return (None if height == ABOVE else height, None)
    if not _is_count(number, most):
        fields.note(key, f"This must be a whole number of {what} from 1 to {most}, not {shown(number)}.")
        return None
    return (None if height == ABOVE else height, number)


def _check_order(fields: Fields, key: str, bands: Sequence[Band]) -> None:
    for i, ((upper, number), (next_upper, next_number)) in enumerate(zip(bands, bands[1:], strict=False)):
        where = f"{key}[{i + 1}]"
        if upper is None:
            fields.note(f"{key}[{i}]", f'Only the last band can be "{ABOVE}".')
        elif upper == next_upper:
            fields.note(where, f"The height {next_upper} ft is given twice.")
        elif next_upper is not None and next_upper < upper:
            fields.note(where, f"Bands must go up: {next_upper} ft comes after {upper} ft.")
        if number is None and next_number is not None:
            fields.note(where, "A higher band cannot be recommended where a lower one is not.")
        elif number is not None and next_number is not None and next_number < number:
            fields.note(where, f"A higher band cannot need less: {next_number} comes after {number}.")


def _check_last(fields: Fields, key: str, bands: Sequence[Band]) -> None:
    if not bands:
        return
    upper = bands[-1][0]
    if key == "dial_psi" and upper is None:
        fields.note(key, 'A dial gauge is tested up to a height: the last band cannot be "above".')
    elif key != "dial_psi" and upper is not None:
        fields.note(key, f'The last band must be "{ABOVE}", not {upper} ft.')


def _is_count(value: object, most: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= most
