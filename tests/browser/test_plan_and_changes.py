"""A recipe on paper, prices, the plan with jars at hand and a timed day, and changes to a recipe."""

from __future__ import annotations

import re

import pytest
from django.conf import settings

from club.members.choices import Role
from recipes.services import library_load
from tests.factories.members import make_kitchen, make_person

JAM = "strawberry-jam-liquid"
# Columns are cut as pages are, and unlike a PDF they can be asked where things came to lie: the altitude, the mark of
# the kitchen beneath it, the figure beside it, and the head of the table, each by the column it is in. Once for every
# pixel by which something before it may push the part down, so that the end of a column comes by each of its lines.
COLUMNS_OF_THE_ROW = """() => {
  const part = document.querySelector("section[aria-labelledby=process]"), before = document.createElement("div");
  const mark = part.querySelector(".here-mark"), row = mark.closest("tr"), table = row.closest("table");
  const altitude = document.createRange();
  altitude.selectNodeContents(row.querySelector("th").lastChild);
  part.prepend(before);
  part.style.cssText = "width: 4000px; height: 5000px; columns: 500px; column-gap: 0; column-fill: auto";
  const edge = part.getBoundingClientRect();
  const height = Math.ceil(table.getBoundingClientRect().bottom - edge.top) + 20;
  part.style.height = `${height}px`;
  return Array.from({length: height}, (_, pushed) => {
    before.style.height = `${pushed}px`;
    return [altitude, mark, row.querySelector("td"), table.querySelector("caption")].map(
      (each) => Math.floor((each.getBoundingClientRect().left - edge.left + 1) / 500));
  });
}"""


@pytest.fixture
def library():
    library_load(paths=[settings.BASE_DIR / "fixtures" / "library" / "jams.toml"])


@pytest.fixture
def keeper(library):
    person = make_person(Role.KEEPER, email="keeper@example.test")
    make_kitchen(person)
    return person


def test_a_day_is_planned_from_the_empties_at_hand_and_a_change_is_judged(visitor, keeper):
    page = visitor.page
    visitor.sign_in(keeper.email, f"/recipes/{JAM}/")
    page.emulate_media(media="print")
    assert "Plum Lane is here" in page.locator(".here-band").first.inner_text()
    seen = page.evaluate(COLUMNS_OF_THE_ROW)
    assert {columns[0] for columns in seen} == {0, 1}  # the end of a column did come by the table
    assert [columns for columns in seen if len(set(columns)) > 1] == []
    page.emulate_media(media="screen")

    visitor.go("/recipes/prices/?item=sugar")
    page.get_by_label("Package", exact=False).first.fill("2 kg")
    page.get_by_label("Price of one package").fill("4,99")
    page.get_by_role("button", name="Note this price").click()
    assert "4.99" in visitor.text()

    visitor.go(f"/recipes/{JAM}/plan/")
    page.get_by_label("or pots to cook").fill("2")
    page.get_by_text("Empty jars at hand, stove and time").click()
    page.get_by_label("half-pint (237 ml)").fill("12")
    page.get_by_label("pint (473 ml)", exact=True).fill("3")
    page.get_by_label("Last jar out at").fill("16:00")
    page.get_by_role("button", name="Make the plan").click()
    for folded in ("To buy: ", "The day: ", "What it gives, and how"):
        page.get_by_text(folded).click()
    said = visitor.text()
    assert "3 × pint (473 ml), 10 × half-pint (237 ml)" in said
    assert "13:58 to 16:00" in said
    assert "One half-pint" in said
    assert page.locator("svg.kh-day-tall").is_visible()
    page.get_by_text("The day, step by step").click()
    page.get_by_text("What the prediction rests on").click()
    visitor.look("plan-unfolded")
    assert page.locator("main").get_by_text("lift jars out").last.is_visible()

    page.get_by_role("link", name="Start this batch").click()
    assert "empties" in page.url

    visitor.go(f"/recipes/{JAM}/plan/?pots=1&burners=0")
    assert "no burner" in visitor.text()
    assert page.get_by_label("Burners").is_visible()  # the fold stands open

    visitor.go(f"/recipes/{JAM}/")
    page.get_by_role("link", name="May I change this?").click()
    page.get_by_label(re.compile("What would you change")).fill("jar quart\nadd cinnamon 1 tsp\nless sugar")
    page.get_by_role("button", name="Ask").click()
    page.wait_for_load_state()
    verdicts = page.locator("li.plate .tag").all_inner_texts()
    assert len(verdicts) == 3
    assert "refused" in verdicts[0]
    assert page.get_by_label(re.compile("What would you change")).input_value().splitlines()[0] == "jar quart"
    page.get_by_text("How a change is written").click()
    visitor.look("changes-judged")
