from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.batches.rules import ALPHABET, SALTS, lot_code, lot_code_typed


def test_a_lot_code_names_year_and_day_of_the_year():
    assert lot_code(date(2026, 1, 1), 0) == "26001-333"
    assert lot_code(date(2028, 12, 31), SALTS - 1) == "28366-YYY"


def test_every_salt_has_letters_of_its_own():
    assert len({lot_code(date(2026, 5, 5), salt) for salt in range(SALTS)}) == SALTS


@pytest.mark.parametrize("salt", [-1, SALTS])
def test_a_salt_outside_the_alphabet_is_refused(salt):
    with pytest.raises(ValueError, match="salt"):
        lot_code(date(2026, 5, 5), salt)


def test_no_letters_that_handwriting_confuses_and_no_vowels():
    assert not set("AEIOU01258BLSZ") & set(ALPHABET)


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)), st.integers(0, SALTS - 1))
def test_what_is_read_off_a_label_is_understood_without_dash_and_in_small_letters(day, salt):
    code = lot_code(day, salt)
    assert lot_code_typed(code) == code
    assert lot_code_typed(code.lower().replace("-", "")) == code
    assert lot_code_typed(f"  {code.replace('-', ' ')} ") == code


@pytest.mark.parametrize("text", ["", "26329", "26329-AAA", "2632-K7M", "26329-K7MX", "x26329-K7M", "🫙"])
def test_what_cannot_be_a_lot_code_is_none(text):
    assert lot_code_typed(text) is None
