from __future__ import annotations

from inventory.batches.models import Jar
from inventory.batches.presentation import jar_runs


def jars(*fates):
    return [Jar(number=n, size=size, seal=seal) for n, (size, seal) in enumerate(fates, start=1)]


def spans(runs):
    return [(run.first, run.last, run.count, run.jar.size, run.jar.seal) for run in runs]


def test_jars_that_share_everything_are_one_line():
    assert spans(jar_runs(jars(*[("pint", "sealed")] * 18))) == [(1, 18, 18, "pint", "sealed")]


def test_a_jar_that_differs_stands_by_itself_and_parts_its_neighbours():
    found = jar_runs(jars(("pint", "sealed"), ("pint", "sealed"), ("pint", "broken"), ("pint", "sealed")))
    assert spans(found) == [(1, 2, 2, "pint", "sealed"), (3, 3, 1, "pint", "broken"), (4, 4, 1, "pint", "sealed")]


def test_another_size_or_place_or_lid_is_another_line():
    same = Jar(number=1, size="pint", seal="sealed", place_id=1, lid_lot_id=1)
    others = [
        Jar(number=2, size="quart", seal="sealed", place_id=1, lid_lot_id=1),
        Jar(number=3, size="quart", seal="sealed", place_id=2, lid_lot_id=1),
        Jar(number=4, size="quart", seal="sealed", place_id=2, lid_lot_id=2),
        Jar(number=5, size="quart", seal="sealed", place_id=2, lid_lot_id=2, failed_lid_lot_id=1),
    ]
    assert len(jar_runs([same, *others])) == 5
    assert jar_runs([]) == []
