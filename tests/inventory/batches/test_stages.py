"""Food kept in stages: they follow each other, looks and readings stay, and nothing is kept that is not acid or dry."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction

from club.core.errors import AlreadyDone
from club.season.services import readings as season_readings
from inventory.batches import services
from inventory.batches.choices import BatchState, StageKind
from inventory.batches.models import Batch, Jar, LotTaken, Stage, StageReading
from inventory.batches.presentation import label_text, labels_of
from inventory.batches.services import recalls_of
from inventory.batches.tracing import affected_jars, holdings
from inventory.equipment.choices import Kind
from recipes.engine import Burner
from recipes.engine.document import process_table_to_document
from recipes.engine.mass_balance import boil_on, pot_balance
from recipes.library import SHIPPED, read_library
from recipes.models import ProcessTable
from tests.factories.batches import (
    APPLES,
    BEANS,
    NOW,
    finish,
    make_batch,
    make_batch_out,
    make_ferment_done,
    make_recall,
    make_staged,
    without_lots,
)
from tests.factories.equipment import make_test, make_thing, readings
from tests.factories.members import make_person
from tests.factories.recipes import make_revision

DAY, HOUR = timedelta(days=1), timedelta(hours=1)


def make_table(food: str = "dill pickles", variant: str = "fermented") -> ProcessTable:
    """As the library ships it."""
    library = read_library([SHIPPED / "process-pickles-and-spreads.toml"])
    entry = next(one for one in library.tables if (one.table.food, one.table.variant) == (food, variant))
    return ProcessTable.objects.create(
        key=entry.key,
        food=food,
        variant=variant,
        method=entry.table.method.value,
        content=process_table_to_document(entry.table),
        digest=entry.digest,
    )


def look(batch: Batch, *, at, **seen: str):
    seen = seen or {"scum": "none", "cover": "under", "smell": "clean"}
    return services.stage_look(by=batch.made_by, batch=batch, token=uuid4(), at=at, now=at, **seen)


def measure(batch: Batch, value: str, *, at, measured: str = "ph", **how):
    how = how or {"by_strip": True}
    return services.reading_note(
        by=batch.made_by, batch=batch, measured=measured, value=Decimal(value), token=uuid4(), at=at, now=at, **how
    )


@pytest.fixture
def kraut(db) -> Batch:
    """Salted and packed: its ferment runs since an hour after NOW."""
    batch = make_staged()
    finish(batch, at=NOW + HOUR)
    return batch


def test_a_ferment_begins_with_its_stages_and_its_salt(db):
    batch = make_staged(weighed_g=2268)

    prepare, ferment = batch.stages.order_by("number")
    assert batch.state == BatchState.UNDERWAY
    assert batch.plan["salt_g"] == [55, 55]
    assert (prepare.began_at, ferment.began_at) == (NOW, None)
    assert ferment.ends_from == NOW + 21 * DAY
    assert batch.title == "Sauerkraut"


def test_the_same_form_twice_is_one_batch_and_a_stranger_starts_none(db):
    by, token = make_person(), uuid4()
    batch = make_staged(by=by)
    told = {
        "way": "ferment",
        "key": "sauerkraut",
        "kitchen": batch.kitchen,
        "weighed_g": 1000,
        "choices": services.KeepingChoices(room_f=Fraction(72)),
        "now": NOW,
    }

    once, twice = (services.keeping_start(by=by, token=token, **told) for _press in range(2))

    assert once == twice
    assert once.stages.count() == 2
    with pytest.raises(PermissionDenied):
        services.keeping_start(by=make_person(), token=uuid4(), **told)


@pytest.mark.parametrize(
    ("field", "told"),
    [
        ("room_f", {"choices": services.KeepingChoices(room_f=Fraction(90))}),
        ("room_f", {"choices": services.KeepingChoices()}),
        ("weighed_g", {"weighed_g": 0}),
        ("started_at", {"started_at": NOW + HOUR}),
        ("started_at", {"started_at": NOW - 40 * DAY}),
    ],
)
def test_what_cannot_be_is_said_beside_its_field_and_nothing_is_written(kraut, field, told):
    usual = {"weighed_g": 1000, "choices": services.KeepingChoices(room_f=Fraction(72)), "now": NOW}

    with pytest.raises(ValidationError) as error:
        services.keeping_start(
            by=kraut.made_by,
            way="ferment",
            key="sauerkraut",
            kitchen=kraut.kitchen,
            token=uuid4(),
            **(usual | told),
        )

    assert list(error.value.message_dict) == [field]
    assert Batch.objects.count() == 1


def test_a_ferment_ends_neither_early_nor_unmeasured_nor_above_its_limit(kraut):
    early, over = NOW + 20 * DAY, NOW + 22 * DAY
    measure(kraut, "3.5", at=NOW + 2 * DAY)
    with pytest.raises(ValidationError) as error:
        finish(kraut, at=early)
    assert "shortest" in error.value.message_dict["ended_at"][0]

    too_high = measure(kraut, "4.61", at=over)
    assert too_high.is_above_limit
    with pytest.raises(ValidationError) as error:
        finish(kraut, at=over)
    assert "4.61" in error.value.message_dict["ended_at"][0]

    measure(kraut, "4.6", at=over + DAY)
    look(kraut, at=over + DAY, scum="none", cover="under", smell="bad")
    with pytest.raises(ValidationError):
        finish(kraut, at=over + DAY)
    look(kraut, at=over + DAY)
    finish(kraut, at=over + DAY)
    kraut.refresh_from_db()
    assert kraut.ph_hundredths == 460


def test_a_stage_that_was_not_measured_does_not_end(kraut):
    with pytest.raises(ValidationError) as error:
        finish(kraut, at=NOW + 22 * DAY)
    assert "pH" in error.value.message_dict["ended_at"][0]


def test_of_two_who_end_a_stage_the_second_is_told_so(kraut):
    with pytest.raises(AlreadyDone):
        services.stage_finish(by=kraut.made_by, batch=kraut, number=1, ended_at=NOW + 2 * HOUR, now=NOW + 2 * HOUR)
    with pytest.raises(PermissionDenied):
        services.stage_finish(by=make_person(), batch=kraut, number=2, now=NOW + 30 * DAY)


def test_the_database_lets_no_stage_begin_before_the_one_ahead_and_no_look_change(db):
    batch = make_staged()
    with pytest.raises(IntegrityError), transaction.atomic():
        Stage.objects.filter(batch=batch, number=2).update(began_at=NOW)
    finish(batch, at=NOW + HOUR)
    with pytest.raises(IntegrityError), transaction.atomic():
        Stage.objects.filter(batch=batch, number=2).update(began_at=NOW)
    seen, ph = look(batch, at=NOW + DAY), measure(batch, "4", at=NOW + DAY)
    for rows in (type(seen).objects, type(ph).objects):
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.update(note="otherwise")
        with pytest.raises(IntegrityError), transaction.atomic():
            rows.all().delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(
            state=BatchState.KEPT, jars_out_at=NOW, put_up_g=100, ph_hundredths=461
        )


def test_a_look_sets_when_the_next_is_due(kraut):
    ferment = kraut.stages.get(number=2)
    assert ferment.look_due_at == NOW + HOUR + 2 * DAY  # 2 to 3 days: the shorter
    assert not Stage.objects.looks_due(NOW + 2 * DAY).exists()
    assert Stage.objects.looks_due(NOW + HOUR + 2 * DAY).get() == ferment

    look(kraut, at=NOW + 3 * DAY)

    assert not Stage.objects.looks_due(NOW + 3 * DAY).exists()
    with pytest.raises(ValidationError) as error:
        look(kraut, at=NOW)  # before the stage began
    assert list(error.value.message_dict) == ["at"]


@pytest.mark.parametrize(
    ("field", "value", "how"),
    [
        ("value", "14.01", {"by_strip": True}),
        ("value", "NaN", {"by_strip": True}),
        ("instrument_code", "4", {"own_calibrated_on": NOW.date(), "by_strip": True}),
        ("instrument_code", "4", {"instrument_code": "NONE-1"}),
        ("own_calibrated_on", "4", {"own_calibrated_on": date(2026, 6, 1)}),
    ],
)
def test_a_reading_that_cannot_be_taken_is_refused_beside_its_field(kraut, field, value, how):
    with pytest.raises(ValidationError) as error:
        measure(kraut, value, at=NOW + DAY, **how)
    assert list(error.value.message_dict) == [field]
    assert not StageReading.objects.exists()


def test_a_meter_is_believed_only_while_its_test_is_good(kraut):
    meter = make_thing(Kind.PH_METER, code="PHM-9", capacity={})
    with pytest.raises(ValidationError) as error:
        measure(kraut, "3.6", at=NOW + DAY, instrument_code="phm 9")
    assert "not tested" in error.value.message_dict["instrument_code"][0]
    make_test(meter, NOW.date(), readings=readings(("4.01", "4.0"), ("7", "7")), reference="two buffers", now=NOW)

    taken = measure(kraut, "3.6", at=NOW + DAY, instrument_code="phm 9")

    assert (taken.instrument, taken.calibrated_on, taken.stage.kind) == (meter, NOW.date(), StageKind.FERMENT)
    with pytest.raises(ValidationError):
        measure(kraut, "3.6", at=NOW + 95 * DAY, instrument_code="PHM-9")


def test_a_thermometer_of_the_club_is_believed_only_with_a_test(kraut):
    thermometer = make_thing(Kind.THERMOMETER, code="THM-9", capacity={})
    told = {"measured": "temperature", "instrument_code": "THM-9", "at": NOW + DAY}
    with pytest.raises(ValidationError) as error:
        measure(kraut, "21", **told)
    assert "not tested" in error.value.message_dict["instrument_code"][0]
    make_test(thermometer, NOW.date(), readings=readings(("0", "0.5")), reference="ice water", now=NOW)
    assert measure(kraut, "21", **told).calibrated_on == NOW.date()


def test_kraut_in_the_refrigerator_has_labels_and_is_reached_by_a_recall(db):
    batch = make_ferment_done()
    at = NOW + 22 * DAY
    batch = services.keeping_put_up(by=batch.made_by, batch=batch, counts={"keeping-jar": 3}, grams=2100, at=at, now=at)

    assert batch.state == BatchState.KEPT
    assert [str(label.keep) for label in labels_of(batch)] == ["Keep in the refrigerator"] * 3
    assert label_text(batch).ingredients == "cabbage, canning salt"
    with pytest.raises(AlreadyDone):
        services.keeping_put_up(by=batch.made_by, batch=batch, counts={"bag": 1}, grams=5, at=at, now=at)
    recall = make_recall(batch=batch, now=at)
    assert recalls_of(batch) == [recall]
    assert services.to_answer(batch.made_by) == [recall]
    assert labels_of(batch) == []


def test_dills_are_canned_by_their_own_table_and_looked_at_as_any_jars(db):
    make_table()
    batch = make_ferment_done(key="fermented-dills", weighed_g=3630)
    at = NOW + 22 * DAY
    with pytest.raises(ValidationError):
        services.keeping_can(by=batch.made_by, batch=batch, pack="hot", jar="quart", now=at)

    batch = services.keeping_can(by=batch.made_by, batch=batch, pack="raw", jar="quart", now=at)

    assert (batch.state, batch.required_minutes, batch.jar_size) == (BatchState.STARTED, 20, "quart")  # 1,040 m
    out = services.batch_log_process(
        by=batch.made_by,
        batch=batch,
        jars={"quart": 4},
        jars_out_at=at + HOUR,
        minutes=20,
        lid_code="LID 1",
        lots=without_lots(batch),
        now=at + HOUR,
    )
    assert out.state == BatchState.OUT
    assert Jar.objects.filter(batch=out, size="quart").count() == 4
    with pytest.raises(AlreadyDone):
        services.keeping_can(by=batch.made_by, batch=batch, pack="raw", jar="quart", now=at)
    [season] = season_readings([batch.kitchen], now=at).values()
    assert (season.full, season.unseen) == (4, 4)


def test_kraut_without_a_table_that_was_read_is_not_canned(db):
    batch = make_ferment_done()
    assert services.canning_table(batch) is None
    with pytest.raises(ValidationError):
        services.keeping_can(by=batch.made_by, batch=batch, pack="raw", jar="pint", now=NOW + 22 * DAY)


def test_dried_apples_end_by_their_test_condition_for_a_week_and_go_back_with_drops(db):
    batch = make_staged("dry", APPLES, weighed_g=2000)
    assert batch.plan["dry_g"][1] == 361  # 2,000 g at 85.56 percent water, 20 percent left
    finish(batch, at=NOW + HOUR)
    with pytest.raises(ValidationError) as error:
        finish(batch, at=NOW + 9 * HOUR)
    assert list(error.value.message_dict) == ["passed"]
    finish(batch, at=NOW + 9 * HOUR, passed=True)

    look(batch, at=NOW + DAY, moisture="drops")

    kinds = [stage.kind for stage in batch.stages.order_by("number")]
    assert kinds == ["prepare", "dry", "condition", "dry", "condition"]
    assert Stage.objects.running().get(batch=batch).number == 4
    finish(batch, at=NOW + DAY + 4 * HOUR, passed=True)
    look(batch, at=NOW + 2 * DAY, moisture="none")
    with pytest.raises(ValidationError):
        finish(batch, at=NOW + 7 * DAY)
    over = NOW + 9 * DAY
    finish(batch, at=over)
    told = {"by": batch.made_by, "batch": batch, "counts": {"bag": 2}, "at": over, "now": over}
    for field, wrong in (("grams", {"grams": 2001}), ("store_f", {"grams": 350, "store_f": Fraction(90)})):
        with pytest.raises(ValidationError) as error:
            services.keeping_put_up(**told, **wrong)
        assert list(error.value.message_dict) == [field]
    batch = services.keeping_put_up(**told, grams=350, store_f=Fraction(60))
    assert batch.best_by == date(2027, 9, 23)
    assert labels_of(batch)[0].best_before == batch.best_by


def test_frozen_beans_lie_in_the_freezer_and_unblanched_ones_say_so(db):
    blanched = make_staged("freeze", BEANS, weighed_g=1500)
    unblanched = make_staged("freeze", BEANS, weighed_g=1500, by=blanched.made_by, is_blanched=False)
    finish(blanched, at=NOW + HOUR)
    at = NOW + 2 * HOUR
    one, other = (
        services.keeping_put_up(by=each.made_by, batch=each, counts={"bag": 3}, grams=1500, at=at, now=at)
        for each in (blanched, unblanched)
    )

    assert (one.state, one.best_by, other.best_by) == (BatchState.FROZEN, date(2027, 5, 14), None)
    assert label_text(one).notes == ()
    assert label_text(other).notes == ("Not blanched",)
    assert one.freezer_item is not None
    assert (one.freezer_item.what, one.freezer_item.bags, one.freezer_item.grams) == ("green beans", 3, 1500)
    assert "not blanched" in other.freezer_item.note
    assert not one.stages.filter(ended_at=None).exists()


def test_a_pot_that_reads_59_brix_boils_on_by_the_water_that_is_left(db):
    tested, water_c, ring = make_batch().cooked_from.tested, 96.5, Burner(2000, 0.75)
    balance = pot_balance(tested, boiling_water_c=water_c)
    solids = sum(line.grams.best * line.brix.best / 100 for line in balance.lines)

    found = boil_on(tested, 59, scale=Fraction(1), boiling_water_c=water_c, burner=ring)

    to_go = solids * (100 / 59 - 100 / found.end_brix.best)
    assert found.water_g.best == pytest.approx(to_go)
    minutes = to_go / 1000 * 2_257_000 / 1500 / 60
    assert found.minutes[0] <= minutes <= found.minutes[1]
    done = boil_on(tested, found.end_brix.high, scale=Fraction(1), boiling_water_c=water_c, burner=ring)
    assert (done.water_g.high, done.minutes) == (0, (0, 0))


def test_a_recipe_s_own_waits_are_stages_and_over_with_its_log(db):
    soak = {"action": "soak", "text": "Soak them {hours}.", "hours": ["12", "18"], "seen": "seen-twice"}
    chill = {"action": "chill", "text": "Chill them {hours}.", "hours": "24", "seen": "memory"}  # nobody read it
    boil = {"action": "simmer", "text": "Simmer {hours}.", "hours": "4", "seen": "seen-twice"}
    batch = make_batch(revision=make_revision(steps=[soak, "Drain them.", chill, boil]))

    [wait] = batch.stages.all()
    assert (wait.kind, wait.words) == (StageKind.STAND, "Soak them 12 to 18 hours.")
    assert (wait.ends_from, wait.ends_by) == (NOW + 12 * HOUR, NOW + 18 * HOUR)
    assert list(Stage.objects.ripe(NOW + 12 * HOUR)) == [wait]
    with pytest.raises(ValidationError):
        finish(batch, at=NOW + 11 * HOUR)
    at = NOW + 14 * HOUR
    services.batch_log_process(
        by=batch.made_by,
        batch=batch,
        jars={"half-pint": 4},
        jars_out_at=at,
        minutes=batch.required_minutes,
        lid_code="LID 1",
        lots=without_lots(batch),
        now=at,
    )
    wait.refresh_from_db()
    assert wait.ended_at == at


def test_a_recall_of_frozen_food_reaches_what_was_cooked_from_it(db):
    frozen = make_staged("freeze", BEANS, weighed_g=1500)
    finish(frozen, at=NOW)
    frozen = services.keeping_put_up(by=frozen.made_by, batch=frozen, counts={"bag": 3}, grams=1500, at=NOW, now=NOW)
    cooked = make_batch_out(by=frozen.made_by, kitchen=frozen.kitchen, out_at=NOW + DAY)
    LotTaken.objects.create(
        batch=cooked,
        kind="fruit",
        item="plums",
        freezer_item=frozen.freezer_item,
        taken_on=NOW.date(),
        by=frozen.made_by,
        token=uuid4(),
    )
    other = make_batch_out(by=frozen.made_by, kitchen=frozen.kitchen, out_at=NOW + DAY)

    recall = make_recall(batch=frozen, now=NOW + DAY)

    assert recalls_of(cooked) == [recall]
    assert recalls_of(other) == []
    assert {one.batch_id for one in holdings([recall])} == {frozen.pk, cooked.pk}
    assert affected_jars(recall).count() == 3 + cooked.jars.count()
    assert set(Jar.objects.recalled().values_list("batch", flat=True)) == {frozen.pk, cooked.pk}
    assert set(cooked.jars.recalled_here()) == set(cooked.jars.all())


def test_a_batch_in_its_stages_may_be_given_up(kraut):
    given_up = services.batch_abandon(by=kraut.made_by, batch=kraut, reason="Slimy")
    assert given_up.state == BatchState.ABANDONED
    with pytest.raises(AlreadyDone):
        look(kraut, at=NOW + DAY)
