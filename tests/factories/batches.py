"""Batches for tests, made by the room's own services with the clock where a test wants it.

The invented spread of the recipe factory: 10 minutes at 1,040 m, half-pints and pints, 6 half-pints a pot at most.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import uuid4

from club.members.choices import Role
from club.members.models import Kitchen, User
from inventory.batches import services
from inventory.batches.choices import LotKind
from inventory.batches.ingredients import acids_not_noted
from inventory.batches.models import Batch, Recall
from inventory.batches.rules import OwnGauge
from recipes.engine.terms import Canner, Pack
from recipes.models import Revision
from tests.factories.members import make_kitchen, make_person
from tests.factories.recipes import VEGETABLE, make_revision

NOW = datetime(2026, 9, 14, 18, 0, tzinfo=UTC)
COOKING = timedelta(hours=2)
# A household's own pressure canner without a card; a dial gauge was right when it was tested a month before.
OWN_GAUGES: dict[object, Callable[[datetime], OwnGauge]] = {
    Canner.DIAL_GAUGE: lambda at: OwnGauge((at - timedelta(days=30)).date(), Decimal(0)),
    Canner.WEIGHTED_GAUGE: lambda at: OwnGauge(),
}


def make_freezer_revision() -> Revision:
    """The invented spread as a freezer recipe: no process at all."""
    return make_revision(method="freezer", process=None, process_seen=None)


def make_batch(
    *,
    by: User | None = None,
    kitchen: Kitchen | None = None,
    revision: Revision | None = None,
    started_at: datetime = NOW,
    **wanted: Any,
) -> Batch:
    """On the stove since `started_at`: one pot of the spread in half-pints, unless told otherwise."""
    by = by or make_person()
    if not wanted.keys() & {"canner_code", "own_gauge"} and (gauge := OWN_GAUGES.get(wanted.get("canner"))):
        wanted["own_gauge"] = gauge(started_at)
    return services.batch_start(
        by=by,
        revision=revision or make_revision(),
        kitchen=kitchen or make_kitchen(by),
        token=uuid4(),
        started_at=started_at,
        now=started_at,
        **({"pots": 1, "jar": "half-pint"} | wanted),
    )


def beans(**fields: Any) -> dict[str, Any]:
    """The invented beans in pints, in a dial-gauge canner: 20 minutes at 12 psi at 1,040 m."""
    wanted = {"jar": "pint", "pack": Pack.HOT, "canner": Canner.DIAL_GAUGE, **fields}
    return wanted if "revision" in wanted else {**wanted, "revision": make_revision(base=VEGETABLE)}


def make_pressure_batch(**fields: Any) -> Batch:
    return make_batch(**beans(**fields))


def make_pressure_batch_out(**fields: Any) -> Batch:
    return make_batch_out(**beans(**fields))


def without_lots(batch: Batch) -> list[services.LotAnswer]:
    """What a log has to say of each acid: that nobody could read a lot. A vinegar had 5 %."""
    return [
        services.LotAnswer(line.at, "without", strength_tenths=50 if line.kind == LotKind.VINEGAR else None)
        for line in acids_not_noted(batch)
    ]


def make_batch_out(
    *,
    out_at: datetime = NOW,
    jars: Mapping[str, int] | None = None,
    lid_code: str = "LID 1",
    **fields: Any,
) -> Batch:
    """Processed as the table asks, its jars out of the canner (or in the freezer) since `out_at`."""
    batch = make_batch(started_at=out_at - COOKING, **fields)
    return services.batch_log_process(
        by=batch.made_by,
        batch=batch,
        jars=jars or {batch.jar_size if batch.required_psi else "half-pint": 4},
        jars_out_at=out_at,
        minutes=batch.required_minutes,
        psi=batch.setting_psi,
        lid_code="" if batch.is_cold_kind else lid_code,
        lots=without_lots(batch),
        now=out_at,
    )


def make_batch_checked(
    *,
    out_at: datetime = NOW,
    unsealed: Mapping[int, str] | None = None,
    broken: tuple[int, ...] = (),
    after: timedelta = timedelta(hours=14),
    **fields: Any,
) -> Batch:
    """Looked at `after` the jars came out; `unsealed` maps jar numbers to what was done with them."""
    batch = make_batch_out(out_at=out_at, **fields)
    unsealed = unsealed or {}
    numbers = batch.jars.values_list("number", flat=True)
    found = {n: "unsealed" if n in unsealed else "broken" if n in broken else "sealed" for n in numbers}
    at = out_at + after
    services.seals_record(by=batch.made_by, batch=batch, token=uuid4(), results=found, disposals=unsealed, now=at)
    return Batch.objects.get(pk=batch.pk)


def make_recall(
    *, by: User | None = None, reason: str = "Two jars of it were found spoiled.", now: datetime = NOW, **subject: Any
) -> Recall:
    """Open, by an instructor; `subject` is just one of `revision`, `lid_lot` and `batch`."""
    by = by or make_person(Role.INSTRUCTOR, name="Ira Steward")
    return services.recall_open(by=by, reason=reason, token=uuid4(), now=now, **subject)


# Food kept in stages, by the shipped tables. A kitchen of its own at 1,040 m where none is given.
APPLES = "apples-rings-or-slices-1-8-in"
BEANS = "green-beans-whole-or-1-to-2-in-pieces-dry"


def make_staged(
    way: str = "ferment",
    key: str = "sauerkraut",
    *,
    by: User | None = None,
    kitchen: Kitchen | None = None,
    weighed_g: int = 2268,
    began: datetime = NOW,
    **choices: Any,
) -> Batch:
    """Just started: its first stage runs. A ferment stands at 72 degrees F unless told otherwise."""
    by = by or make_person()
    if way == "ferment":
        choices.setdefault("room_f", Fraction(72))
    return services.keeping_start(
        by=by,
        way=way,
        key=key,
        kitchen=kitchen or make_kitchen(by),
        weighed_g=weighed_g,
        token=uuid4(),
        choices=services.KeepingChoices(**choices),
        started_at=began,
        now=began,
    )


def make_ferment_done(*, ph: str = "3.5", began: datetime = NOW, **fields: Any) -> Batch:
    """Sauerkraut after its three weeks, measured with a strip and ended."""
    batch = make_staged(began=began, **fields)
    finish(batch, at=began + timedelta(hours=1))
    over = began + timedelta(hours=2, days=21)
    services.reading_note(
        by=batch.made_by, batch=batch, measured="ph", value=Decimal(ph), token=uuid4(), by_strip=True, at=over, now=over
    )
    finish(batch, at=over)
    return Batch.objects.get(pk=batch.pk)


def finish(batch: Batch, *, at: datetime, **fields: Any) -> None:
    """End the stage that is running."""
    stage = batch.stages.get(began_at__isnull=False, ended_at=None)
    services.stage_finish(by=batch.made_by, batch=batch, number=stage.number, ended_at=at, now=at, **fields)


def make_kraut_kept(*, jars: int = 3, began: datetime = NOW, **fields: Any) -> Batch:
    """Sauerkraut put into the refrigerator, in so many jars without a process."""
    batch = make_ferment_done(began=began, **fields)
    at = began + timedelta(hours=3, days=21)
    return services.keeping_put_up(
        by=batch.made_by, batch=batch, counts={"keeping-jar": jars}, grams=2000, at=at, now=at
    )
