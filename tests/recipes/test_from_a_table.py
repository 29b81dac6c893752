"""A food with a process table and no recipe is planned by the canner load, and logged as any batch."""

from __future__ import annotations

import json
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse

from inventory.batches.rules import OwnGauge
from inventory.batches.services import batch_start
from recipes import services
from recipes.engine.document import process_table_from_document, process_table_to_document
from recipes.engine.terms import Canner, Pack
from recipes.library import content_digest
from recipes.models import ProcessTable, Recipe, Revision
from tests.factories.recipes import SOURCE
from tests.helpers import text_of

pytestmark = pytest.mark.django_db

PSI = {"dial_psi": [[2000, 11], [4000, 12], [6000, 13], [8000, 14]], "weighted_psi": [[1000, 10], ["above", 15]]}
MEAT = {
    "food": "chicken or rabbit",
    "variant": "without bones",
    "method": "pressure",
    "source": SOURCE,
    "headspace_in": "1 1/4",
    "rows": [
        {"pack": pack, "jar": jar, "minutes": minutes, "seen": "seen-twice", **PSI}
        for pack in ("hot", "raw")
        for jar, minutes in (("pint", 75), ("quart", 90))
    ],
}
SALT = {
    "item": "salt",
    "role": "salt",
    "jar": "quart",
    "amount": "1",
    "unit": "tsp",
    "optional": True,
    "seen": "seen-twice",
}


def table(**changes) -> ProcessTable:
    read = process_table_from_document({**MEAT, **changes})
    content = process_table_to_document(read)
    return ProcessTable.objects.create(
        key=f"{read.food} | {read.variant} | {read.method.value}",
        food=read.food,
        variant=read.variant,
        method=read.method.value,
        content=content,
        digest=content_digest(content),
    )


def planned(capsys, *arguments) -> tuple[dict, int]:
    status = 0
    try:
        call_command("plan_batch", *arguments, "--altitude", "1040 m", "--json")
    except SystemExit as end:
        status = end.code
    return json.loads(capsys.readouterr().out), status


CHICKEN = ("--table", "chicken or rabbit", "--canner", "dial-gauge", "--pack", "raw")


def test_a_canner_load_is_planned_against_the_tested_time(capsys):
    table(per_jar=[SALT])
    plan, status = planned(capsys, *CHICKEN, "--jars", "7", "--jar", "quart")
    assert status == 0
    assert (plan["process"]["minutes"], plan["process"]["pressure_psi"], plan["process"]["headspace_in"]) == (
        90,
        12,
        1.25,
    )
    assert plan["jars"] == [{"size": "quart", "count": 7}]
    assert len(plan["loads"]) == 1
    assert [(line["item"], line["amount"]) for line in plan["lines"]] == [("salt", 7)]
    assert ["canner load takes" in text for text in plan["look_up"]] == [True]
    assert "table-alone" in [caution["code"] for caution in plan["cautions"]]
    pints, _status = planned(capsys, *CHICKEN, "--pots", "2", "--jar", "pint")
    assert [load["jars"] for load in pints["loads"]] == [[{"size": "pint", "count": 9}]] * 2


def test_the_load_that_the_table_prints_is_its_amount(capsys):
    load = {"jar": "quart", "count": 7, "amount": "24 1/2", "unit": "lb", "seen": "seen-twice"}
    table(loads=[load], per_jar=[SALT])
    plan, _status = planned(capsys, *CHICKEN, "--jars", "4", "--jar", "quart")
    assert [(line["item"], line["amount"], line["unit"]) for line in plan["lines"]] == [
        ("chicken or rabbit", 14, "lb"),
        ("salt", 4, "tsp"),
    ]
    assert plan["look_up"] == []


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"food": "pickled beets", "variant": ""}, "recipe-needed"),
        ({"food": "tomatoes", "variant": "crushed"}, "recipe-needed"),
        ({"food": "spaghetti sauce", "variant": "with meat"}, "recipe-needed"),
    ],
)
def test_what_rests_on_a_recipe_or_on_acid_is_not_planned_from_its_table(capsys, member, changes, code):
    row = table(**changes)
    plan, status = planned(capsys, "--table", changes["food"], "--canner", "dial-gauge", "--pack", "hot", "--pots", "1")
    assert status == 3
    assert code in [refusal["code"] for refusal in plan["refusals"]]
    assert plan["process"] is None
    with pytest.raises(ValidationError):
        services.table_revision(by=member, table=row)
    assert not Recipe.objects.exists()


def test_low_acid_food_in_boiling_water_never_stands_alone(member):
    row = {"pack": "hot", "jar": "pint", "minutes": [[1000, 20], ["above", 35]], "seen": "seen-twice"}
    boiled = {"method": "boiling-water", "rows": [row]}
    for food, stands in (("green beans", False), ("something new", False), ("apricots", True)):
        assert services.stands_alone(table(food=food, variant="halved", **boiled)) is stands


def test_one_press_leads_from_the_table_to_a_plan_that_can_be_logged(client, member, make_kitchen):
    row, kitchen = table(per_jar=[SALT]), make_kitchen(member)
    client.force_login(member)
    page = client.get(reverse("recipes:process-tables"))
    assert "Plan a canner load" in text_of(page)
    for _press in range(2):
        answer = client.post(reverse("recipes:table-plan", args=[row.pk]))
    revision = Revision.objects.get()
    assert answer.url == reverse("recipes:plan", args=[revision.recipe.slug])
    asked = {"kitchen": kitchen.pk, "pots": "1", "jar": "pint", "pack": "hot", "canner": "weighted-gauge"}
    plan = client.get(answer.url, asked)
    assert plan.context["plan"].ok
    assert "look it up" in text_of(plan).lower()
    assert f"revision={revision.pk}" in plan.context["start_query"]
    assert client.get(reverse("recipes:recipe", args=[revision.recipe.slug])).status_code == 200
    wanted = {"pots": 1, "jar": "pint", "pack": Pack.HOT, "canner": Canner.WEIGHTED_GAUGE}
    own = OwnGauge()
    batch = batch_start(by=member, revision=revision, kitchen=kitchen, token=uuid4(), own_gauge=own, **wanted)
    assert (batch.required_minutes, batch.required_psi) == (75, 15)
    assert batch.most_jars("pint") >= 9
    assert client.get(reverse("batches:detail", args=[batch.lot_code])).status_code == 200


def test_a_table_of_a_recipe_has_no_button_and_is_refused_to_whoever_posts(client, member):
    row = table(food="pickled beets", variant="")
    client.force_login(member)
    assert "Plan a canner load" not in text_of(client.get(reverse("recipes:process-tables")))
    assert client.post(reverse("recipes:table-plan", args=[row.pk])).url == reverse("recipes:process-tables")
    assert not Recipe.objects.exists()


def test_a_table_that_changed_is_the_next_revision(member, tmp_path, ship_from):
    ship_from(tmp_path)
    file = tmp_path / "tables.toml"
    text = """format = "kettlehall-library-2"
[[process_table]]
food = "okra"
method = "pressure"
source = { title = "A guide", place = "p. 1" }
headspace_in = "1"
rows = [{ pack = "hot", jar = "pint", minutes = 25, weighted_psi = [[1000, 10], ["above", 15]], seen = "seen-twice" }]
"""
    file.write_text(text)
    services.library_load(paths=[file])
    first = services.table_revision(by=member, table=ProcessTable.objects.get())
    file.write_text(text.replace("25,", "30,"))
    services.library_load(paths=[file])
    recipe = Recipe.objects.get()
    assert (recipe.current.number, recipe.current.tested.process[0].minutes) == (first.number + 1, 30)


def test_which_table_of_a_food_is_asked(capsys):
    from django.core.management.base import CommandError

    table()
    table(variant="with bones")
    for arguments, said in (
        (CHICKEN, "--variant"),
        (("--table", "moonbeams"), "no process table"),
        ((), "--table"),
    ):
        with pytest.raises(CommandError, match=said) as caught:
            call_command("plan_batch", *arguments, "--pots", "1", "--altitude", "10 m")
        assert caught.value.returncode == 2
