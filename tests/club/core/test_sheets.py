"""Sheets by rows, columns and margins, and what is laid out on a label: whatever is said, it stays on its own label."""

from __future__ import annotations

import itertools
import math

import pytest
import zxingcpp
from PIL import Image, ImageDraw

from club.core.papers import TooSmall, _runs, labels_pdf, printable, ruler_pdf, text_width
from club.core.sheets import SHEETS, SMALLEST_PT, Label, Laid, Line, Sheet, lay
from tests.pdfs import pages_of, text_of_pdf

URL = "https://club.example.test/batches/26334-G4K/?jar=12"
LONG = Label(
    (
        Line("Strawberry, rhubarb and elderflower jam with liquid pectin", 1.4, is_bold=True),
        Line("Ingredients: strawberries, rhubarb, elderflower, sugar, lemon juice (bottled), liquid pectin, butter"),
        Line("Contains: milk (butter), sulphites (lemon juice)", is_bold=True),
        Line("Put up\u00a030\u00a0Nov\u00a02026 · Best\u00a0before\u00a030\u00a0Nov\u00a02027"),
        Line("26334-G4K\u00a0/\u00a012", 1.2, is_bold=True),
        Line("Łukasz and Zażółć at the mill, Upper Valley Preserving Society"),
        Line("Before opening: lid firm in the middle, no leak, no spurting, no smell. In doubt throw it out unopened."),
    ),
    URL,
)


@pytest.mark.parametrize("key", SHEETS)
def test_no_label_of_a_named_sheet_runs_into_the_next_or_off_the_paper(key):
    sheet = SHEETS[key][1]
    wide, tall = sheet.label
    places = [sheet.place(number) for number in range(sheet.count)]
    assert {page for page, _x, _y in places} == {0}
    assert sheet.place(sheet.count) == (1, *places[0][1:])
    for _page, x, y in places:
        assert x >= 0
        assert y >= 0
        assert x + wide <= sheet.page_width / 10 + 1e-6
        assert y + tall <= sheet.page_height / 10 + 1e-6
    for (_p, ax, ay), (_q, bx, by) in itertools.combinations(places, 2):
        assert abs(ax - bx) >= wide - 1e-6 or abs(ay - by) >= tall - 1e-6


def boxes(laid: Laid) -> list[tuple[float, float, float, float]]:
    """Left, upper, right and lower edge of each line and, last, of the square."""
    mm = 25.4 / 72
    lines = [
        (one.x, one.y - 0.95 * one.size * mm, one.x + one.width, one.y + 0.2 * one.size * mm) for one in laid.words
    ]
    side = laid.square_side
    return [*lines, (laid.square_x, laid.square_y, laid.square_x + side, laid.square_y + side)]


@pytest.mark.parametrize("key", SHEETS)
def test_all_of_a_long_label_is_on_it_within_its_edge_and_nothing_on_top_of_another(key):
    sheet = SHEETS[key][1]
    laid = lay(LONG, sheet, text_width)
    assert laid is not None
    said = " ".join(one.text for one in laid.words)
    assert said.split() == " ".join(line.text for line in LONG.lines).replace("\u00a0", " ").split()
    wide, tall = sheet.label
    for left, upper, right, lower in (found := boxes(laid)):
        if sheet.is_round:
            assert all(
                math.hypot(x - wide / 2, y - wide / 2) <= wide / 2 for x in (left, right) for y in (upper, lower)
            )
        else:
            assert left >= 0
            assert upper >= 0
            assert right <= wide
            assert lower <= tall
    *lines, square = found
    for left, upper, right, lower in lines:
        assert right <= square[0] or left >= square[2] or lower <= square[1] or upper >= square[3]
    for above, below in itertools.pairwise(lines):
        assert above[3] <= below[1] + 0.1
    assert min(one.size for one in laid.words) >= SMALLEST_PT


def test_a_word_longer_than_the_label_is_broken_and_what_is_too_much_is_refused_not_cut():
    word = "Donaudampfschifffahrtskapitaensmuetzenmarmelade" * 2
    sheet = Sheet(400, 250)
    laid = lay(Label((Line(word, 1.4),), URL), sheet, text_width)
    assert laid is not None
    assert "".join(one.text for one in laid.words) == word
    much = Label((Line("plums and sugar " * 60),), URL)
    assert lay(much, sheet, text_width) is None
    with pytest.raises(TooSmall):
        labels_pdf([much], sheet, title="Labels")
    assert lay(LONG, Sheet(400, 160), text_width) is None  # no room for a square that a phone reads


def test_the_pdf_has_every_label_once_from_the_first_free_one_with_title_and_language():
    labels = [Label((Line(f"Jar number {n}"),), URL) for n in range(1, 13)]
    pdf = labels_pdf(labels, SHEETS["letter-2x5"][1], title="Labels, 26334-G4K", first=9)
    assert [len(page) for page in pages_of(pdf)] == [2, 10]
    assert text_of_pdf(pdf) == " ".join(f"Jar number {n}" for n in range(1, 13))
    assert b"/Lang (en)" in pdf
    assert b"Labels, 26334-G4K" in pdf
    assert b"/FontFile2" in pdf


def test_paper_spells_the_names_of_members_and_the_fractions_of_recipes():
    text = "Łukasz, Zażółć, Győr, Кухня: ⅔ cup, ½ °C"
    assert printable(text) == text
    assert text_of_pdf(labels_pdf([Label((Line(text),), URL)], Sheet(1000, 500), title="Names")) == text


def test_a_letter_that_paper_does_not_have_is_a_question_mark():
    assert printable("Kitchen 漢") == "Kitchen ?"


def test_the_square_is_read_back():
    runs = _runs(URL)
    across, scale = runs[0][3], 4
    picture = Image.new("L", (across * scale, across * scale), 255)
    draw = ImageDraw.Draw(picture)
    for column, row, run, _across in runs:
        draw.rectangle((column * scale, row * scale, (column + run) * scale - 1, (row + 1) * scale - 1), fill=0)
    assert [found.text for found in zxingcpp.read_barcodes(picture)] == [URL]


def test_the_test_page_numbers_every_label_and_measures_from_the_edges():
    [page] = pages_of(ruler_pdf(SHEETS["a4-2x7"][1], title="Test page"))
    assert page[:3] == ["1", "97.5 × 38.4 mm", "2"]
    assert page.count("200") == 2  # both rulers
    assert "14" in page
