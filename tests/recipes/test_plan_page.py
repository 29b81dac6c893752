"""The plan page: the same plan as the command line, and every wrong wanted said beside its field."""

from __future__ import annotations

import json
from contextlib import suppress
from fractions import Fraction
from urllib.parse import parse_qs

import pytest
from django.core.management import call_command

from club.core.units import reading_in
from recipes.engine import plan_as_dict
from recipes.engine.terms import Altitude
from recipes.planning import plan_for
from recipes.presentation import band_words, kept_lines, plan_lines, prose
from tests.factories.recipes import VEGETABLE, make_revision
from tests.helpers import text_of
from tests.recipes.engine.samples import detailed_beans

pytestmark = pytest.mark.django_db

PLAN = "/recipes/test-spread/plan/"


@pytest.fixture
def spread():
    return make_revision(slug="test-spread")


@pytest.fixture
def kitchen(member, make_kitchen):
    return make_kitchen(member, altitude_m="1040")


@pytest.fixture
def ask(client, member, spread, kitchen):
    """The page for a query, in the member's own kitchen unless another is named."""
    client.force_login(member)

    def ask(_path=PLAN, **query):
        return client.get(_path, {"kitchen": kitchen.pk, **query})

    return ask


def command_json(capsys, *arguments):
    capsys.readouterr()
    with suppress(SystemExit):
        call_command("plan_batch", *arguments, "--json")
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    "wanted",
    [
        {"jars": "12"},
        {"pots": "2", "jar": "pint", "pack": "hot", "canner": "boiling-water"},
        {"fruit": "9 cups"},
        {"jars": "3", "jar": "quart"},
        {"jars": "3", "jar": "quarter-pint"},
        {"pots": "1", "pack": "raw"},
    ],
)
def test_the_page_has_the_very_plan_that_the_command_prints(ask, capsys, wanted):
    options = [part for name, value in wanted.items() for part in (f"--{name}", value)]
    printed = command_json(capsys, "test-spread", *options, "--altitude", "1040 m")
    response = ask(**wanted)
    assert json.loads(json.dumps(plan_as_dict(response.context["plan"]))) == printed
    page = response.content.decode()
    for reason in [*printed["refusals"], *printed["cautions"]]:
        assert prose(reason["message"], "metric").replace("'", "&#x27;") in page
    for line in printed["lines"]:
        assert line["text"] in page
    if printed["process"]:
        assert f"{printed['process']['minutes']} minutes" in page
        with reading_in("metric"):
            assert band_words(printed["process"]["band"]) in page
    else:
        assert "There is no process time for this as asked" in page


def test_a_pressure_plan_equals_the_commands_and_shows_both_units(ask, capsys):
    make_revision(base=VEGETABLE, slug="beans")
    wanted = {"jars": "9", "jar": "pint", "pack": "hot", "canner": "weighted-gauge"}
    options = [part for name, value in wanted.items() for part in (f"--{name}", value)]
    response = ask("/recipes/beans/plan/", **wanted)
    assert plan_as_dict(response.context["plan"]) == command_json(capsys, "beans", *options, "--altitude", "1040 m")
    assert "104 kPa (15 psi)" in response.content.decode()


def test_amounts_are_given_in_all_and_for_each_pot(ask):
    response = ask(pots="3")
    acid = next(line for line in response.context["lines"] if line.role == "acid")
    assert (acid.amount, acid.beside, acid.per_pot, acid.per_pot_beside) == (
        "70 ml",
        "1/4 cup + 1 1/2 tsp",
        "23 ml",
        "1 tbsp + 1 1/2 tsp",
    )
    page = response.content.decode()
    assert "Amounts for 3 pots" in page
    assert "Each pot" in page
    assert "Each pot" not in ask(pots="1").content.decode()


@pytest.mark.parametrize(
    ("altitude", "minutes", "words"), [("100", 5, "boil them for 10 minutes"), ("1040", 10, "need not")]
)
def test_whether_jars_are_sterilised_is_said(ask, member, make_kitchen, altitude, minutes, words):
    page = ask(pots="1", kitchen=make_kitchen(member, altitude_m=altitude).pk).content.decode()
    assert f"{minutes} minutes" in page
    assert words in page


def test_a_refusal_has_its_reason_rule_and_source_and_no_start_button(ask):
    response = ask(pots="1", jar="quart")
    page = response.content.decode()
    (refusal,) = response.context["plan"].refusals
    for words in (refusal.message, refusal.source):
        assert words in page
    assert "Start this batch" not in page
    assert 'value="quart" selected' in page


def test_a_kitchen_without_altitude_gets_no_time_and_is_told_what_to_do(ask, member, make_kitchen):
    unknown = make_kitchen(member, altitude_m=None)
    response = ask(pots="1", kitchen=unknown.pk)
    page = response.content.decode()
    assert response.context["plan"].process is None
    assert "minutes</" not in page
    assert "Start this batch" not in page
    assert f'href="/people/kitchens/{unknown.pk}/"' in page
    assert "altitude is not known" in page


def test_the_start_button_asks_for_the_same_plan_of_this_revision(ask, spread, kitchen):
    response = ask(jars="7", jar="half-pint", pack="hot")
    query = parse_qs(response.context["start_query"])
    assert query == {
        "revision": [str(spread.pk)],
        "kitchen": [str(kitchen.pk)],
        "jars": ["7"],
        "jar": ["half-pint"],
        "pack": ["hot"],
    }
    assert "Start this batch" in response.content.decode()


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        ({"jars": "many"}, "jars"),
        ({"jars": "-3"}, "jars"),
        ({"pots": "1.5"}, "pots"),
        ({"pots": "0"}, "pots"),
        ({"pots": "99999999999999999999"}, "pots"),
        ({"fruit": "4.5"}, "fruit"),
        ({"fruit": "3 furlongs"}, "fruit"),
        ({"jars": ""}, "jars"),
        ({"jars": "2", "pots": "1"}, "pots"),
        ({"jars": "2", "jar": "bucket"}, "jar"),
        ({"jars": "2", "pack": "cold"}, "pack"),
        ({"jars": "2", "canner": "oven"}, "canner"),
        ({"jars": "x" * 500}, "jars"),
        ({"jars": "\x00"}, "jars"),
        ({"jars": "2", "kitchen": ""}, "kitchen"),
        ({"jars": "2", "kitchen": "abc"}, "kitchen"),
        ({"jars": "2", "kitchen": "999999"}, "kitchen"),
    ],
)
def test_a_wrong_request_is_said_beside_its_field_and_what_was_typed_stays(ask, wanted, field):
    response = ask(**wanted)
    assert response.status_code == 200
    assert set(response.context["form"].errors) >= {field}
    assert "plan" not in response.context
    page = response.content.decode()
    assert f'id="error_1_id_{field}"' in page
    if field in ("jars", "pots", "fruit") and wanted[field].isprintable() and wanted[field]:
        assert f'value="{wanted[field]}"' in page


def test_a_kitchen_of_somebody_else_is_refused_and_not_named(ask, make_person, make_kitchen):
    foreign = make_kitchen(make_person("member"), altitude_m="0")
    response = ask(pots="1", kitchen=foreign.pk)
    assert set(response.context["form"].errors) == {"kitchen"}
    assert foreign.name not in response.content.decode()
    hall = make_kitchen(altitude_m="0", is_hall=True)
    assert ask(pots="1", kitchen=hall.pk).context["plan"].ok


def test_the_bare_page_is_a_form_without_complaints(ask, kitchen):
    response = ask()
    assert not response.context["form"].errors
    assert f'value="{kitchen.pk}" selected' in response.content.decode()


def test_the_choices_are_what_the_tested_rows_allow(ask):
    make_revision(base=VEGETABLE, slug="beans")
    fields = ask("/recipes/beans/plan/").context["form"].fields
    assert [value for value, _ in fields["canner"].widget.choices] == ["", "dial-gauge", "weighted-gauge"]
    assert [value for value, _ in fields["pack"].widget.choices] == ["", "hot", "raw"]
    assert [value for value, _ in fields["jar"].widget.choices][-1] == "quart"


def test_a_freezer_recipe_is_planned_without_a_process(ask):
    freezer = {"method": "freezer", "process": None, "process_seen": None}
    make_revision(slug="frozen", **freezer)
    response = ask("/recipes/frozen/plan/", pots="1")
    assert response.context["plan"].ok
    assert "Kept in the freezer" in response.content.decode()


@pytest.mark.parametrize("count", [1, 30])
def test_the_page_asks_as_often_with_one_kitchen_as_with_thirty(
    ask, member, make_kitchen, django_assert_max_num_queries, count
):
    for _ in range(count - 1):
        make_kitchen(member)
    with django_assert_max_num_queries(14):
        assert ask(pots="1").context["plan"].ok


def test_a_plan_that_holds_folds_the_wish_away_and_a_refused_one_keeps_it_open(ask):
    page = ask(pots="2").content.decode()
    assert '<details class="plate fold' in page
    assert page.index("2 pots. Change") < page.index('name="pots"') < page.index("10 minutes")
    refused = ask(pots="1", jar="quart").content.decode()
    assert "pot. Change" not in refused
    assert refused.index("refusal-message") < refused.index('name="pots"')


def test_an_address_that_names_no_kitchen_means_the_persons_own(ask, client, kitchen):
    response = client.get(PLAN, {"pots": "1"})
    assert response.context["kitchen"] == kitchen
    assert response.context["plan"].ok


def test_what_leaves_nothing_to_choose_is_not_asked(ask):
    page = ask().content.decode()
    assert '<select name="jar"' in page
    assert '<input type="hidden" name="pack"' in page
    assert '<option value="steam"' in page
    assert not any(f'<select name="{name}"' in page for name in ("food", "liquid", "instead_1"))
    make_revision(base=VEGETABLE, slug="beans")
    assert '<select name="canner"' in ask("/recipes/beans/plan/").content.decode()


@pytest.fixture
def beans():
    """A recipe of the format's second edition: steps by pack, a printed load, a syrup, a choice."""
    document = detailed_beans(slug="detailed-beans")
    document["alternatives"][0]["seen"] = document["packing_liquids"]["seen"] = "seen-once"
    return make_revision(base=document, slug="detailed-beans")


BEANS = {"jars": "9", "jar": "pint", "pack": "hot", "canner": "dial-gauge"}


def test_a_plan_shows_the_steps_of_its_own_pack_with_its_figures_and_its_load(
    ask, beans, django_assert_max_num_queries
):
    with django_assert_max_num_queries(22):
        response = ask("/recipes/detailed-beans/plan/", **BEANS)
    assert response.context["plan"].ok
    assert [step.text for step in response.context["recipe_steps"]] == [
        "Wash the jars and keep them hot.",
        "Leave the beans whole or cut them into pieces. (2.5 cm (1 in))",
        "Cover the beans with boiling water, boil 5 minutes and fill the jars loosely.",
    ]
    salt = next(line for line in response.context["lines"] if line.item == "salt")
    assert salt.per_jar == "1/2 tsp in each pint (473 ml)"
    assert "Publications differ here" in text_of(response)
    raw = ask("/recipes/detailed-beans/plan/", **{**BEANS, "pack": "raw"})
    assert [step.action for step in raw.context["recipe_steps"]] == ["", "cut", "pack"]
    # The recipe's own page has them all, and says whom each is for.
    recipe = ask("/recipes/detailed-beans/")
    assert [step.whom for step in recipe.context["recipe_steps"]][2:4] == ["hot pack", "raw pack"]
    assert any("9 × pint" in line for line in recipe.context["details"])


def test_syrup_and_choice_are_picked_on_the_page_and_go_along_to_the_batch(ask, beans):
    asked = {**BEANS, "liquid": "very-light", "instead_1": "an invented herb"}
    response = ask("/recipes/detailed-beans/plan/", **asked)
    assert response.context["plan"].liquid == "very-light"
    assert "an invented herb" in [line.item for line in response.context["lines"]]
    onward = parse_qs(response.context["start_query"])
    assert (onward["liquid"], onward["instead"]) == (["very-light"], ["an invented herb"])
    wrong = ask("/recipes/detailed-beans/plan/", **{**BEANS, "liquid": "heavy"})
    assert wrong.context["form"].errors.keys() == {"liquid"}
    assert "plan" not in wrong.context


def test_one_pot_is_one_press_away_from_the_empty_page(client, member, spread, kitchen):
    client.force_login(member)
    page = client.get(PLAN, {"kitchen": kitchen.pk}).content.decode()
    assert f'href="{PLAN}?pots=1&amp;kitchen={kitchen.pk}"' in page


def test_what_the_dial_gauge_reads_high_corrects_the_setting_on_the_page_as_on_the_command_line(ask, capsys):
    make_revision(base=VEGETABLE, slug="beans")
    wanted = {"pots": "1", "jar": "pint", "pack": "hot", "canner": "dial-gauge"}
    response = ask("/recipes/beans/plan/", **wanted, reads_high="2")
    options = [part for name, value in wanted.items() for part in (f"--{name}", value)]
    printed = command_json(capsys, "beans", *options, "--reads-high", "2", "--altitude", "1040 m")
    assert plan_as_dict(response.context["plan"]) == printed
    assert (printed["process"]["pressure_psi"], printed["process"]["setting_psi"]) == (12, 14)
    assert "Set 14 where the table says 12: this gauge reads 2 psi high." in text_of(response)
    assert parse_qs(response.context["start_query"])["reads_high"] == ["2"]


@pytest.mark.parametrize(
    "wrong", [{"reads_high": "much"}, {"reads_high": "123"}, {"reads_high": "1", "canner": "weighted-gauge"}]
)
def test_a_gauge_error_that_cannot_be_is_said_beside_its_field_and_stays(ask, wrong):
    make_revision(base=VEGETABLE, slug="beans")
    asked = {"pots": "1", "jar": "pint", "pack": "hot", "canner": "dial-gauge", **wrong}
    form = ask("/recipes/beans/plan/", **asked).context["form"]
    assert list(form.errors) == ["reads_high"]
    assert form["reads_high"].value() == wrong["reads_high"]


def test_a_worn_gauge_refuses_the_plan(ask):
    make_revision(base=VEGETABLE, slug="beans")
    asked = {"pots": "1", "jar": "pint", "pack": "hot", "canner": "dial-gauge", "reads_high": "-2.5"}
    plan = ask("/recipes/beans/plan/", **asked).context["plan"]
    assert [refusal.code for refusal in plan.refusals] == ["gauge-replaced"]
    assert plan.process is None


def test_a_plan_for_a_steam_canner_has_no_step_under_water(ask):
    under_water = "Stand the jars in the boiling-water canner with one to two inches of water over them."
    make_revision(slug="steamed", steps=["Keep the jars hot.", under_water])
    steps = ask("/recipes/steamed/plan/", pots="1", canner="steam").context["recipe_steps"]
    assert [step.text.split()[0] for step in steps] == ["Keep", "Stand"]
    assert "not in it" in steps[1].text
    assert not any("boiling-water canner" in step.text for step in steps)
    plain = ask("/recipes/steamed/plan/", pots="1").context["recipe_steps"]
    assert "boiling-water canner" in plain[1].text


def test_amounts_that_a_batch_keeps_read_as_the_plans_own():
    made = plan_for(revision=make_revision(), altitude=Altitude(metres=Fraction(1040)), pots=3)
    kept = json.loads(json.dumps(plan_as_dict(made)))["lines"]
    for units in ("metric", "us"):
        assert kept_lines(kept, units) == plan_lines(made, units)
