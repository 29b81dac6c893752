"""A recipe on paper: what a row of its table says is never cut from the row by the end of a page."""

from __future__ import annotations

import pytest
from django.conf import settings

from recipes.services import library_load
from tests.factories.members import PASSWORD, make_kitchen, make_person

JAM = "strawberry-jam-liquid"
# Columns are cut as pages are, and unlike a PDF they can be asked where things came to lie: the altitude, the mark of
# the kitchen beneath it, the figure beside it, and the head of the table, each by the column it is in. Once for every
# pixel by which something before it may push the part down, so that the end of a column comes by each of its lines.
COLUMNS_OF_THE_ROW = """() => {
  const part = document.querySelector("section[aria-labelledby=process]"), before = document.createElement("div");
  const mark = part.querySelector(".here-mark"), row = mark.closest("tr"), table = row.closest("table");
  const altitude = document.createRange();
  altitude.selectNodeContents(row.querySelector("th").firstChild);
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
def cook():
    library_load(paths=[settings.BASE_DIR / "fixtures" / "library" / "jams.toml"])
    person = make_person(email="cook@example.test")
    make_kitchen(person, name="Plum Lane")
    return person


def test_the_end_of_a_page_does_not_cut_the_kitchens_mark_from_its_row(visitor, cook):
    visitor.sign_in(cook.email, PASSWORD)
    visitor.go(f"/recipes/{JAM}/")
    visitor.page.emulate_media(media="print")
    assert "Plum Lane is here" in visitor.page.locator(".here-band").first.inner_text()
    seen = visitor.page.evaluate(COLUMNS_OF_THE_ROW)
    assert {columns[0] for columns in seen} == {0, 1}  # the end of a column did come by the table
    assert [columns for columns in seen if len(set(columns)) > 1] == []
