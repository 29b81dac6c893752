"""The command line: one exit status for a plan, for a refusal and for bad input, each with its words."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from xml.etree import ElementTree

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from tests.factories.recipes import VEGETABLE, make_revision

pytestmark = pytest.mark.django_db

KEYS = {
    "hand_work",
    "steps",
    "look_up",
    "low_temperature",
    "refrigerator",
    "printed_load",
    "packing_liquid",
    "choices",
    "food",
    "recipe",
    "revision",
    "source",
    "altitude_m",
    "boiling_point_c",
    "jelly_point_c",
    "pots",
    "lines",
    "predicted_volume_ml",
    "predicted_brix",
    "yield",
    "jars",
    "leftover_ml",
    "process",
    "loads",
    "sterilise_jars",
    "timeline",
    "cautions",
    "refusals",
}


@pytest.fixture
def spread():
    return make_revision(slug="test-spread")


@pytest.fixture
def run(capsys):
    """(exit status, standard output) of the command."""

    def run(*arguments):
        status = 0
        try:
            call_command("plan_batch", *arguments)
        except SystemExit as end:
            status = end.code
        return status, capsys.readouterr().out

    return run


def test_a_plan_in_json_has_every_key_and_status_0(spread, run):
    status, out = run("test-spread", "--pots", "2", "--altitude", "1040 m", "--json")
    plan = json.loads(out)
    assert status == 0
    assert set(plan) == KEYS
    assert (plan["recipe"], plan["revision"], plan["pots"], plan["altitude_m"]) == ("test-spread", 1, 2, 1040)
    assert (plan["process"]["minutes"], plan["process"]["band"]) == (10, "1,001 to 6,000 ft (305 to 1,828 m)")
    assert plan["refusals"] == []
    assert [line["item"] for line in plan["lines"]] == ["plums", "sugar", "lemon juice"]
    assert [line["amount"] for line in plan["lines"]] == [8, 6, 3]


def test_a_plan_in_words_has_the_same_figures(spread, run):
    status, out = run("test-spread", "--jars", "10", "--altitude", "3412 ft")
    assert status == 0
    assert "Pots: 2" in out
    assert "10 minutes" in out
    assert "lemon juice, bottled: 3 tbsp" in out
    assert "Test Kitchen Leaflet" in out


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("--pots", "1", "--jar", "quart"), "jar-too-large"),
        (("--pots", "1", "--pack", "raw"), "pack-not-tested"),
        (("--pots", "1", "--canner", "dial-gauge"), "boiling-water-only"),
    ],
)
def test_a_refusal_is_still_json_with_status_3(spread, run, arguments, code):
    status, out = run("test-spread", *arguments, "--altitude", "1040 m", "--json")
    plan = json.loads(out)
    assert status == 3
    assert plan["process"] is None
    assert code in {refusal["code"] for refusal in plan["refusals"]}
    assert all(refusal["message"] and refusal["rule"] and refusal["source"] for refusal in plan["refusals"])
    words_status, words = run("test-spread", *arguments, "--altitude", "1040 m")
    assert words_status == 3
    assert "REFUSED" in words


GEAR = ("--empties", "half-pint=3,pint=4", "--burners", "3", "--canners", "2", "--cooks", "2", "--stove", "gas")


def test_empties_and_gear_shape_the_plan_in_json(spread, run):
    wanted = ("--pots", "2", "--altitude", "1040 m", *GEAR, "--capacity", "4 quart", "--finish", "16:30", "--json")
    status, out = run("test-spread", *wanted)
    plan = json.loads(out)
    assert status == 0
    assert plan["jars"] == [{"size": "pint", "count": 4}, {"size": "half-pint", "count": 2}]
    assert [load["pot"] for load in plan["loads"]] == [1, 2]
    assert plan["timeline"][-1]["ends"] == "16:30"
    assert {step["cook"] for step in plan["timeline"]} <= {None, 1, 2}
    assert {step["burner"] for step in plan["timeline"]} <= {None, 1, 2, 3}


def test_in_words_the_day_has_times_of_the_day_with_a_finish_and_hours_without(spread, run):
    wanted = ("test-spread", "--pots", "2", "--altitude", "1040 m", *GEAR)
    timed, untimed = run(*wanted, "--finish", "16:30")[1], run(*wanted)[1]
    assert "to 16:30  lift jars out" in timed
    assert "   0:00 to" in untimed
    for words in (timed, untimed):
        assert "Canner loads: 2" in words
        assert "Pots 1 to 2, each: 2 × pint (473 ml), 1 × half-pint (237 ml)" in words


def test_the_day_is_drawn_into_a_file(spread, run, tmp_path):
    picture = tmp_path / "day.svg"
    wanted = ("test-spread", "--pots", "2", "--altitude", "1040 m", "--finish", "16:30", "--picture", str(picture))
    assert run(*wanted)[0] == 0
    drawn = ElementTree.parse(picture).getroot()
    assert drawn.find("{http://www.w3.org/2000/svg}title").text.endswith("min")
    assert "16:30" in picture.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("wanted", "said"),
    [(("--burners", "0"), "no timeline"), (("--picture", "/no/such/folder/x.svg"), "/no/such/folder")],
)
def test_a_picture_that_cannot_be_drawn_is_bad_input(spread, tmp_path, wanted, said):
    asked = ("test-spread", "--pots", "1", "--altitude", "0 m", "--picture", str(tmp_path / "day.svg"), *wanted)
    with pytest.raises(CommandError, match=said) as refused:
        call_command("plan_batch", *asked)
    assert refused.value.returncode == 2


def test_no_burner_is_refused_with_status_3(spread, run):
    status, out = run("test-spread", "--pots", "1", "--altitude", "0 m", "--burners", "0", "--json")
    plan = json.loads(out)
    assert (status, [refusal["code"] for refusal in plan["refusals"]]) == (3, ["no-burner"])
    assert (plan["loads"], plan["timeline"]) == ([], [])


def test_what_is_left_over_is_said_to_be_for_the_refrigerator(run):
    make_revision(slug="odd", stated_yield={"jar": "half-pint", "low": "5 1/2", "high": "6", "seen": "seen-twice"})
    status, out = run("odd", "--pots", "1", "--altitude", "0 m")
    assert status == 0
    assert "for the refrigerator, not processed" in out


def test_a_withdrawn_recipe_is_refused_with_the_reason(run):
    make_revision(slug="gone", state="withdrawn")
    status, out = run("gone", "--pots", "1", "--altitude", "0 m", "--json")
    assert status == 3
    assert json.loads(out)["refusals"][0]["code"] == "revision-withdrawn"


def test_a_pressure_recipe_says_pressure_in_both_units(run):
    make_revision(slug="beans", base=VEGETABLE)
    wanted = ("--jars", "9", "--jar", "pint", "--pack", "hot", "--canner", "dial-gauge")
    status, out = run("beans", *wanted, "--altitude", "1040 m")
    assert status == 0
    assert "20 minutes at 12 psi (83 kPa)" in out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("no-such", "--pots", "1", "--altitude", "0 m"), "no published recipe 'no-such'"),
        (("test-spread", "--altitude", "0 m"), "--jars: Say how many"),
        (("test-spread", "--pots", "1", "--jars", "2", "--altitude", "0 m"), "--pots: Give only one"),
        (("test-spread", "--pots", "none", "--altitude", "0 m"), "--pots: Write a whole number"),
        (("test-spread", "--fruit", "4.5", "--altitude", "0 m"), "--fruit: "),
        (("test-spread", "--pots", "1", "--jar", "bucket", "--altitude", "0 m"), "--jar: There is no jar"),
        (("test-spread", "--pots", "1", "--pack", "x", "--altitude", "0 m"), "--pack: Choose one of: hot"),
        (("test-spread", "--pots", "1", "--canner", "x", "--altitude", "0 m"), "--canner: Choose one of"),
        (("test-spread", "--pots", "1"), "--altitude: say how high"),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--empties", "12"), "--empties: There is no jar"),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--burners", "-1"), "--burners: Write a whole number"),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--capacity", "big"), "--capacity: There is no jar"),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--stove", "coal"), "--stove: Choose one of"),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--finish", "4 pm"), "--finish: Write a time"),
        (("test-spread", "--pots", "1", "--altitude", "1040"), "--altitude: "),
        (("test-spread", "--pots", "1", "--altitude", "6000 m"), "--altitude: "),
        (("test-spread", "--pots", "1", "--altitude=-500 m"), "--altitude: "),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--revision", "2"), "no revision '2'"),
        (("test-spread", "--pots", "1", "--altitude", "0 m", "--revision", "one"), "no revision 'one'"),
    ],
)
def test_bad_input_has_status_2_and_says_what_to_do(spread, arguments, said):
    with pytest.raises(CommandError) as refused:
        call_command("plan_batch", *arguments)
    assert refused.value.returncode == 2
    assert said in str(refused.value)


def test_a_draft_is_no_published_recipe():
    make_revision(slug="draft", state="draft")
    with pytest.raises(CommandError, match="no published recipe"):
        call_command("plan_batch", "draft", "--pots", "1", "--altitude", "0 m")


def test_an_older_revision_can_be_planned_from(run, spread):
    make_revision(spread.recipe, stated_yield={"jar": "pint", "low": "3", "high": "3", "seen": "seen-twice"})
    assert json.loads(run("test-spread", "--pots", "1", "--altitude", "0 m", "--json")[1])["revision"] == 2
    status, out = run("test-spread", "--pots", "1", "--altitude", "0 m", "--json", "--revision", "1")
    assert (status, json.loads(out)["revision"]) == (0, 1)


def test_a_place_below_the_sea_is_understood(run, spread):
    status, out = run("test-spread", "--pots", "1", "--altitude", "-100 m", "--json")
    assert (status, json.loads(out)["altitude_m"]) == (0, -100)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "slug"),
        (["x", "--pots", "1", "--altitude"], "expected one argument"),
        (["x", "--pots", "none", "--altitude", "0 m"], "--pots: Write a whole number"),
    ],
)
def test_the_process_itself_ends_with_status_2(tmp_path, arguments, said):
    ended = subprocess.run(
        [sys.executable, str(settings.BASE_DIR / "manage.py"), "plan_batch", *arguments],
        env={**os.environ, "KETTLEHALL_OWN_ENVIRONMENT": "1", "KETTLEHALL_DATA": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert ended.returncode == 2
    assert said in ended.stderr
    assert "Traceback" not in ended.stderr
