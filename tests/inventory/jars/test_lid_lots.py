from __future__ import annotations

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.members.models import User
from inventory.jars.models import LidLot
from inventory.jars.services import lid_lot_get_or_add
from tests.factories.jars import make_lid_lot
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def test_the_same_code_is_the_same_lot_whatever_case_dashes_and_spaces():
    by = make_person()
    first = lid_lot_get_or_add(by=by, code="ab-12 3", maker="Tin Works")
    assert lid_lot_get_or_add(by=by, code=" AB123 ", maker="tin  works") == first
    assert LidLot.objects.count() == 1
    assert first.code == "ab-12 3"


@pytest.mark.parametrize(("first", "second"), [("k", "\u212a"), ("\u00df", "\u1e9e"), ("S", "\u017f"), ("I", "\u0131")])
def test_makers_whose_letters_fold_in_one_direction_only_break_nothing(first, second):
    """What the unique constraint takes for the same maker is found as the same, on either database."""
    by = make_person()
    lots = {lid_lot_get_or_add(by=by, code="1", maker=maker) for maker in (first, second, first, second)}
    assert len(lots) == LidLot.objects.count()


def test_another_maker_is_another_lot():
    by = make_person()
    assert lid_lot_get_or_add(by=by, code="1", maker="A") != lid_lot_get_or_add(by=by, code="1", maker="B")
    assert LidLot.objects.coded("1").count() == 2


@pytest.mark.parametrize(
    ("code", "maker", "field"),
    [("", "", "lid_code"), ("- -", "", "lid_code"), ("x" * 61, "", "lid_code"), ("x", "m" * 81, "lid_maker")],
)
def test_a_code_that_says_nothing_or_too_much_is_refused(code, maker, field):
    with pytest.raises(ValidationError) as refused:
        lid_lot_get_or_add(by=make_person(), code=code, maker=maker)
    assert list(refused.value.message_dict) == [field]
    assert not LidLot.objects.exists()


def test_somebody_without_the_right_adds_no_lot():
    outsider = User.objects.create_user("outsider@example.test", name="Out")
    with pytest.raises(PermissionDenied):
        lid_lot_get_or_add(by=outsider, code="1")
    assert lid_lot_get_or_add(by=make_person(), code="1").code == "1"


def test_the_database_refuses_a_second_lot_of_one_code_and_maker():
    make_lid_lot("AB-1", "Tin Works")
    with pytest.raises(IntegrityError), transaction.atomic():
        make_lid_lot("ab 1", "TIN WORKS")


def test_changing_a_code_changes_how_it_is_found():
    lot = make_lid_lot("OLD-1")
    lot.code = "NEW-2"
    lot.save(update_fields=["code"])
    assert list(LidLot.objects.coded("new2")) == [lot]
    assert not LidLot.objects.coded("OLD1").exists()
