"""Low-temperature pasteurisation: only where the recipe's source allows it, and only with the water's temperatures."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from inventory.batches import services
from inventory.batches.models import Batch
from inventory.batches.rules import WaterGap, WaterReading, water_held
from inventory.batches.stove import Part, course_of
from inventory.equipment.choices import Kind
from recipes.engine import PlanRequest, plan_as_dict, plan_batch
from recipes.engine.terms import Altitude
from recipes.models import Recipe
from tests.factories.batches import NOW, make_batch, without_lots
from tests.factories.equipment import make_test, make_thing, readings
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import make_revision

MINUTE = timedelta(minutes=1)
ALLOWED = {"water_f": ["180", "185"], "minutes": 30, "packs": ["hot"], "seen": "seen-twice"}
BEGAN = NOW + timedelta(hours=1)


def water(*readings: tuple[float, float]) -> list[WaterReading]:
    """Minutes since it began, and degrees F."""
    return [WaterReading(BEGAN + MINUTE * at, Fraction(f)) for at, f in readings]


EVERY_FIVE = [(at, 182) for at in range(0, 31, 5)]


@pytest.mark.parametrize(
    ("read", "gap"),
    [
        (EVERY_FIVE, None),
        ([(at, 180) for at in range(0, 31, 5)], None),
        ([*EVERY_FIVE[:-1], (31, 182)], WaterGap(BEGAN + 25 * MINUTE)),  # the end itself was not read within 5 minutes
        ([], WaterGap(BEGAN)),
        (EVERY_FIVE[:-1], WaterGap(BEGAN + 25 * MINUTE)),
        ([*EVERY_FIVE[:2], *EVERY_FIVE[3:]], WaterGap(BEGAN + 5 * MINUTE)),
        ([*EVERY_FIVE, (12, 179.5)], WaterGap(BEGAN + 12 * MINUTE, Fraction(359, 2))),
        ([(-1, 190), *EVERY_FIVE[1:]], None),  # what was read before it began says nothing, and nothing is asked of it
    ],
)
def test_the_water_is_shown_hot_enough_from_the_beginning_to_the_end(read, gap):
    assert water_held(water(*read), began=BEGAN, minutes=30, low_f=180) == gap


@pytest.fixture
def thermometer(db):
    made = make_thing(Kind.THERMOMETER, code="THM-1", capacity={})
    make_test(made, NOW.date(), readings=readings(("0", "0"), ("96.5", "97.0")), reference="boiling water")
    return made


def pasteurised(**fields) -> Batch:
    return make_batch(revision=make_revision(low_temperature=ALLOWED), low_temperature=True, **fields)


def read_every_five(batch, celsius: str = "83.2", **more) -> None:
    for at, _f in EVERY_FIVE:
        moment = BEGAN + at * MINUTE
        services.reading_note(
            by=batch.made_by,
            batch=batch,
            measured="temperature",
            value=Decimal(celsius),
            token=uuid4(),
            at=moment,
            now=moment,
            **({"instrument_code": "THM-1"} | more),
        )


def log(batch, **more):
    out = BEGAN + 40 * MINUTE
    told = {"jars": {"half-pint": 4}, "jars_out_at": out, "minutes": 30, "lid_code": "L", "process_started_at": BEGAN}
    return services.batch_log_process(by=batch.made_by, batch=batch, lots=without_lots(batch), now=out, **(told | more))


def test_a_batch_with_its_temperatures_is_logged_and_not_processed_a_second_time(thermometer):
    batch = pasteurised()
    assert (batch.required_minutes, batch.water_f, batch.is_reprocessable) == (30, 180, False)
    read_every_five(batch)

    assert log(batch).state == "out"

    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(water_f=179)


@pytest.mark.parametrize(
    ("celsius", "how", "told", "field"),
    [
        ("82.6", {}, {}, "minutes"),  # less the half degree that it reads high: under 180 °F
        ("83.2", {}, {"process_started_at": None}, "process_started_at"),
        ("83.2", {}, {"process_started_at": BEGAN + 10 * MINUTE}, "minutes"),
        ("83.2", {}, {"minutes": 29}, "minutes"),
        (None, {}, {}, "minutes"),
    ],
)
def test_without_them_nothing_is_written_down_as_done(thermometer, celsius, how, told, field):
    batch = pasteurised()
    if celsius is not None:
        read_every_five(batch, celsius, **how)
    with pytest.raises(ValidationError) as refused:
        log(batch, **told)
    assert field in refused.value.message_dict
    assert Batch.objects.get(pk=batch.pk).state == "started"


def test_a_thermometer_tested_in_ice_alone_says_nothing_of_hot_water(db):
    made = make_thing(Kind.THERMOMETER, code="THM-1", capacity={})
    make_test(made, NOW.date(), readings=readings(("0", "0")), reference="ice water")
    batch = pasteurised()
    read_every_five(batch)
    with pytest.raises(ValidationError) as refused:
        log(batch)
    assert list(refused.value.message_dict) == ["minutes"]


@pytest.mark.parametrize("allowed", [None, ALLOWED | {"packs": ["raw"]}, ALLOWED | {"seen": "memory"}])
def test_what_the_source_does_not_allow_is_refused(db, allowed):
    revision = make_revision(**({"low_temperature": allowed} if allowed else {}))
    with pytest.raises(ValidationError) as refused:
        make_batch(revision=revision, low_temperature=True)
    assert list(refused.value.message_dict) == ["low_temperature"]
    assert not Batch.objects.exists()


def test_the_plan_says_whether_these_jars_may_be_kept_so_on_its_page_and_as_json(db, sign_in):
    person = make_person()
    kitchen = make_kitchen(person, altitude="200 m")
    client = sign_in(person)
    asked = {"pots": "1", "kitchen": kitchen.pk, "jar": "half-pint"}
    revision = make_revision(low_temperature=ALLOWED)
    page = client.get(f"/recipes/{revision.recipe.slug}/plan/", asked)
    assert "low-temperature pasteurisation: 30 minutes in water held at" in page.content.decode()
    said = plan_as_dict(page.context["plan"])["low_temperature"]
    assert (said["possible"], said["water_f"], said["minutes"], said["why_not"]) == (True, [180, 185], 30, None)

    def why_not(recipe, metres: int) -> str:
        made = plan_batch(recipe, PlanRequest(altitude=Altitude(Fraction(metres)), pots=1, jar="half-pint"))
        said = plan_as_dict(made)["low_temperature"]
        assert (said["possible"], said["water_f"], said["minutes"]) == (False, None, None)
        return made.low_temperature.key

    assert why_not(make_revision(low_temperature=ALLOWED | {"packs": ["raw"]}).tested, 200).endswith("elsewhere")
    assert why_not(make_revision(low_temperature=ALLOWED | {"seen": "memory"}).tested, 200).endswith("not-seen")
    assert why_not(revision.tested, 4700).endswith("too-high")


def test_the_start_page_offers_it_and_the_cook_s_page_speaks_of_the_water(db, sign_in):
    person = make_person()
    kitchen, revision = make_kitchen(person), make_revision(low_temperature=ALLOWED)
    client = sign_in(person)
    address = f"{reverse('batches:start')}?revision={revision.pk}&kitchen={kitchen.pk}&pots=1&jar=half-pint"
    form = client.get(address).context["form"]
    client.post(address, {"token": form["token"].value(), "low_temperature": "on"})
    batch = Batch.objects.get()
    steps = {step.part: step for step in course_of(batch).steps}
    assert "180 °F" in steps[Part.PROCESS].heading
    assert steps[Part.PROCESS].timers[0].minutes == 30
    page = client.get(reverse("batches:stove-step", args=[batch.lot_code, steps[Part.PROCESS].key])).content.decode()
    assert "The water fell below 180 °F" in page
    assert Recipe.objects.count() == 1
