"""Things: adding, changing, repair, retirement, pictures, and the tests of gauges and meters."""

from __future__ import annotations

import io
from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from PIL import Image

from club.core.photos import MOST_BYTES
from club.members.choices import Role
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.models import ConditionNote, InstrumentTest, Thing, ThingPhoto
from tests.factories.equipment import BAD, NOW, day, make_hold, make_keeper, make_loan, make_test, make_thing, readings
from tests.factories.members import make_person

pytestmark = pytest.mark.django_db


def fields(**told):
    return services.ThingFields(**{"kind": Kind.BOILING_WATER, "name": "Canner", **told})


def test_codes_follow_one_another_and_those_of_retired_things_are_not_used_again():
    keeper = make_keeper()
    first = services.thing_add(by=keeper, fields=fields())
    second = services.thing_add(by=keeper, fields=fields())
    assert (first.code, second.code) == ("BWC-01", "BWC-02")
    services.thing_retire(by=keeper, thing=second, note="Rust.")
    assert services.thing_add(by=keeper, fields=fields()).code == "BWC-03"


def test_two_things_never_share_a_code_however_it_is_spelled():
    keeper = make_keeper()
    services.thing_add(by=keeper, fields=fields(code="BWC-7"))
    with pytest.raises(ValidationError) as refused:
        services.thing_add(by=keeper, fields=fields(code="bwc 7"))
    assert "code" in refused.value.message_dict


def test_every_problem_is_told_at_once():
    with pytest.raises(ValidationError) as refused:
        services.thing_add(
            by=make_keeper(),
            fields=fields(
                name=" ", code="a/b", capacity={"pint": 0}, deposit_cents=-1, turnaround_own=31, place="x" * 121
            ),
        )
    assert set(refused.value.message_dict) == {"name", "code", "capacity", "deposit_cents", "turnaround_own", "place"}
    assert not Thing.objects.exists()


@pytest.mark.parametrize("role", [Role.MEMBER, Role.INSTRUCTOR, Role.ORGANISER])
def test_only_keepers_keep_the_things(role):
    person, thing = make_person(role), make_thing()
    for act in (
        lambda: services.thing_add(by=person, fields=fields()),
        lambda: services.thing_change(by=person, thing=thing, fields=fields()),
        lambda: services.thing_repair(by=person, thing=thing, note="x"),
        lambda: services.thing_mend(by=person, thing=thing),
        lambda: services.thing_retire(by=person, thing=thing, note="x"),
        lambda: services.thing_look_over(by=person, thing=thing, condition="good"),
        lambda: services.photo_set(by=person, thing=thing, file=io.BytesIO(b"")),
        lambda: services.photo_clear(by=person, thing=thing),
        lambda: make_test(make_thing(Kind.DIAL_GAUGE), by=person),
    ):
        with pytest.raises(PermissionDenied):
            act()


def test_the_same_form_twice_adds_one_thing():
    keeper, token = make_keeper(), uuid4()
    first = services.thing_add(by=keeper, fields=fields(code="A-1"), token=token)
    assert services.thing_add(by=keeper, fields=fields(), token=token) == first
    assert Thing.objects.count() == 1


def test_a_change_keeps_the_thing_and_its_history():
    keeper, thing = make_keeper(), make_thing()
    services.thing_change(by=keeper, thing=thing, fields=fields(name="Blue canner", capacity={"quart": 7, "pint": 9}))
    fresh = Thing.objects.get()
    assert (fresh.name, fresh.code, list(fresh.capacity)) == ("Blue canner", thing.code, ["pint", "quart"])
    assert ConditionNote.objects.filter(thing=thing).count() == 1


def test_repair_and_mending_say_so_in_the_history_and_only_once():
    keeper, thing = make_keeper(), make_thing()
    services.thing_repair(by=keeper, thing=thing, note="The rack is bent.", now=NOW)
    with pytest.raises(services.AlreadyDone):
        services.thing_repair(by=keeper, thing=thing, note="Again.", now=NOW)
    services.thing_mend(by=keeper, thing=thing, condition="worn", now=NOW + timedelta(days=1))
    with pytest.raises(services.AlreadyDone):
        services.thing_mend(by=keeper, thing=thing, now=NOW)
    told = list(ConditionNote.objects.order_by("at").values_list("occasion", "condition"))
    assert told == [("added", "good"), ("to-repair", "broken"), ("repaired", "worn")]


def test_what_is_out_or_held_is_not_retired():
    keeper = make_keeper()
    loan, hold = make_loan(), make_hold()
    with pytest.raises(ValidationError, match="is out"):
        services.thing_retire(by=keeper, thing=loan.thing, note="Old.", now=NOW)
    with pytest.raises(ValidationError, match="is held for"):
        services.thing_retire(by=keeper, thing=hold.thing, note="Old.", now=NOW)
    assert set(Thing.objects.values_list("state", flat=True)) == {"in-service"}


def test_looked_over_and_broken_it_goes_to_repair():
    thing = make_thing()
    services.thing_look_over(by=make_keeper(), thing=thing, condition="broken", note="Cracked.", now=NOW)
    assert Thing.objects.get().state == "in-repair"


# Tests of instruments


def test_a_test_is_recorded_with_its_exact_error_and_the_day_it_lapses():
    found = make_test(make_thing(Kind.DIAL_GAUGE))
    fresh = InstrumentTest.objects.select_related("thing").get()
    assert (found.verdict, str(fresh.error), fresh.lapses_on) == ("passed", "0.5", day(365))
    failed = make_test(make_thing(Kind.DIAL_GAUGE), readings=BAD)
    assert (failed.verdict, str(failed.error)) == ("failed", "2.25")


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"readings": []}, "readings"),
        ({"readings": readings(("10", "10"), ("11", "11"))}, "readings"),
        ({"readings": readings(("5", "5"), ("10", "10"), ("15", "101"))}, "readings"),
        ({"readings": readings(("5", "5"), ("10", "NaN"), ("15", "15"))}, "readings"),
        ({"tested_on": day(1)}, "tested_on"),
        ({"tested_on": day(-365)}, "tested_on"),
        ({"tested_on": date.min}, "tested_on"),
        ({"reference": " "}, "reference"),
    ],
)
def test_a_test_that_says_too_little_is_refused(told, field):
    with pytest.raises(ValidationError) as refused:
        make_test(make_thing(Kind.DIAL_GAUGE), **told)
    assert field in refused.value.message_dict
    assert not InstrumentTest.objects.exists()


def test_the_same_test_form_twice_is_one_test():
    thing, token = make_thing(Kind.DIAL_GAUGE), uuid4()
    assert make_test(thing, token=token) == make_test(thing, token=token)


def test_an_instrument_is_tested_by_the_rule_of_its_kind_and_what_is_none_is_not():
    keeper, meter = make_keeper(), make_thing(Kind.PH_METER)
    fields = {"by": keeper, "tested_on": day(0), "reference": "two buffers", "now": NOW}
    buffers = readings(("4.01", "4.1"), ("7", "6.95"))
    found = services.instrument_test_record(thing=meter, readings=buffers, **fields)
    assert (found.verdict, found.lapses_on) == ("passed", day(90))
    with pytest.raises(ValidationError, match="too little to judge by") as refused:
        services.instrument_test_record(thing=make_thing(Kind.DIAL_GAUGE), readings=buffers, **fields)
    assert set(refused.value.message_dict) == {"readings"}
    with pytest.raises(ValidationError, match="no instrument"):
        services.instrument_test_record(thing=make_thing(), readings=buffers, **fields)


def test_instruments_that_want_a_test_are_found_and_the_others_not():
    never, lapsing, failed, fine = (make_thing(Kind.DIAL_GAUGE) for _ in range(4))
    make_test(lapsing, day(-340))
    make_test(failed, day(0), readings=BAD)
    make_test(fine, day(-10))
    make_thing()
    wanted = list(Thing.objects.all().tests_wanted(day(30)))
    assert wanted[0] == never
    assert set(wanted) == {never, lapsing, failed}


# Pictures


def picture(size=(40, 30), form="PNG", **told) -> io.BytesIO:
    written = io.BytesIO()
    Image.new("RGB", size, "purple").save(written, form, **told)
    written.seek(0)
    return written


@pytest.mark.parametrize("form", ["PNG", "JPEG", "WEBP"])
def test_a_picture_is_written_anew_as_a_jpeg_of_a_modest_size(form):
    thing = make_thing()
    services.photo_set(by=make_keeper(), thing=thing, file=picture((3000, 1500), form))
    services.photo_set(by=make_keeper(), thing=thing, file=picture((2400, 1200), form))
    with Image.open(io.BytesIO(bytes(ThingPhoto.objects.get().jpeg))) as kept:
        assert (kept.format, kept.size) == ("JPEG", (1200, 600))


def test_where_a_picture_was_taken_is_left_out():
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (45.0, 30.0, 0.0)}
    services.photo_set(by=make_keeper(), thing=make_thing(), file=picture(form="JPEG", exif=exif))
    with Image.open(io.BytesIO(bytes(ThingPhoto.objects.get().jpeg))) as kept:
        assert not kept.getexif()


@pytest.mark.parametrize(
    "given",
    [b"", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"GIF89a" + b"\0" * 40, b"\xff\xd8\xff" + b"\0" * 90],
)
def test_what_is_no_picture_is_refused(given):
    with pytest.raises(ValidationError):
        services.photo_set(by=make_keeper(), thing=make_thing(), file=io.BytesIO(given))
    assert not ThingPhoto.objects.exists()


def test_a_picture_too_large_in_bytes_or_in_pixels_is_refused():
    with pytest.raises(ValidationError, match="8 MB"):
        services.photo_set(by=make_keeper(), thing=make_thing(), file=io.BytesIO(b"\xff" * (MOST_BYTES + 1)))
    with pytest.raises(ValidationError, match="pixels"):
        services.photo_set(by=make_keeper(), thing=make_thing(), file=picture((10_000, 6_000)))


def test_a_test_recorded_with_another_instrument_s_form_is_refused_and_not_taken_for_done():
    passed, failing, token = make_thing(Kind.DIAL_GAUGE), make_thing(Kind.DIAL_GAUGE), uuid4()
    make_test(passed, token=token)
    with pytest.raises(ValidationError, match="used for something else"):
        make_test(failing, readings=BAD, token=token)
    assert make_test(failing, readings=BAD).verdict == "failed"


def test_a_thermometer_is_tested_in_ice_or_boiling_water_and_goes_out_without():
    keeper, thermometer = make_keeper(), make_thing(Kind.THERMOMETER)
    make_loan(thermometer, make_person())  # nothing is asked of its loans
    fields = {"by": keeper, "thing": thermometer, "tested_on": day(0), "reference": "ice water", "now": NOW}
    assert thermometer not in Thing.objects.tests_wanted(day(0))
    good = services.instrument_test_record(readings=readings(("0", "-1"), ("96.5", "97.1")), **fields)
    assert (good.verdict, good.lapses_on, good.reads_high) == ("passed", day(365), Decimal("0.6"))
    assert thermometer in Thing.objects.tests_wanted(day(365))
    bad = services.instrument_test_record(readings=readings(("0", "1.1")), **fields)
    assert bad.verdict == "failed"
    with pytest.raises(ValidationError):
        services.instrument_test_record(readings=readings(("0", "-51")), **fields)
