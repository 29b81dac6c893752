"""Reading library files: whatever is in them, each problem is said with its place, and nothing raises."""

from __future__ import annotations

import os

import pytest

from recipes.library import LARGEST_FILE_BYTES, content_digest, read_library

GOOD = """
format = "kettlehall-library-1"

[[recipe]]
slug = "test-spread"
title = "Test spread"
kind = "jam"
method = "boiling-water"
produce = ["plums"]
pectin = "none"
headspace_in = "1/4"
amounts_seen = "seen-twice"
process_seen = "seen-twice"
source = { title = "Test Leaflet", edition = "2015", place = "page 7" }
ingredients = [
  { item = "plums", role = "fruit", amount = "4", unit = "cup" },
  { item = "sugar", role = "sugar", amount = "3", unit = "cup" },
]
stated_yield = { jar = "half-pint", low = "5", high = "6", seen = "seen-twice" }
steps = ["Boil.", "Fill."]
process = [
  { method = "boiling-water", pack = "hot", jar = "half-pint", seen = "seen-once", minutes = [[1000,5], ["above", 9]] },
]
"""

TABLE = """
[[process_table]]
food = "plums"
variant = "whole"
method = "boiling-water"
source = { title = "Test Leaflet", edition = "2015", place = "page 8" }
headspace_in = "1/2"
rows = [
  { pack = "hot", jar = "pint", minutes = [[1000, 20], ["above", 35]], seen = "seen-once" },
]
"""


def problems_of(*paths):
    library = read_library(paths)
    return [str(problem) for problem in library.problems]


@pytest.fixture
def write(tmp_path):
    def write(text, name="library.toml"):
        file = tmp_path / name
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return file

    return write


def test_a_good_file_gives_its_entries_in_canonical_form(write):
    library = read_library([write(GOOD + TABLE)])
    assert not library.problems
    (entry,), (table,) = library.recipes, library.tables
    assert entry.recipe.slug == entry.content["slug"] == "test-spread"
    assert table.key == "plums | whole | boiling-water"


def test_the_digest_hangs_on_what_a_file_says_and_not_on_how_it_is_written(write):
    plain = read_library([write(GOOD)]).recipes[0]
    spaced = GOOD.replace('kind = "jam"', '# a jam\nkind    =   "jam"').replace('"4"', "4")
    other = GOOD.replace('amount = "4"', 'amount = "5"')
    assert read_library([write(spaced)]).recipes[0].digest == plain.digest
    assert read_library([write(other)]).recipes[0].digest != plain.digest
    assert content_digest({"a": 1, "b": 2}) == content_digest({"b": 2, "a": 1})


def test_a_folder_gives_every_file_in_it_and_nothing_else(write, tmp_path):
    write(GOOD, "a.toml")
    write(GOOD.replace("test-spread", "other-spread"), "b.toml")
    write("not read", "notes.txt")
    library = read_library([tmp_path])
    assert [entry.recipe.slug for entry in library.recipes] == ["test-spread", "other-spread"]
    assert not library.problems


def test_a_byte_order_mark_is_no_problem(write):
    assert not problems_of(write(b"\xef\xbb\xbf" + GOOD.encode()))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('kind = "jam"', "kind = jam"), "not well-formed TOML: Invalid value (row 7, column 8)"),
        (('title = "Test spread"\n', 'title = "Test spread\n'), "row 6, column 21"),
        (('slug = "test-spread"', 'slug = "a"\nslug = "b"'), "Cannot overwrite a value (row 6, column 11)"),
        (('method = "boiling-water"\nproduce', "produce"), 'recipe "test-spread": method: This field is missing.'),
        (('headspace_in = "1/4"', 'headspace_in = "12"'), "headspace_in: No published jar leaves more"),
        (
            ('item = "plums"', 'item = "pl\u200bums"'),
            "ingredients[0].item: This text holds a control character, an unseen",
        ),
        (('kind = "jam"', 'kind = "vegetable"'), "method: LOWACID-METHOD"),
        (("kettlehall-library-1", "kettlehall-library-3"), "format: This must be kettlehall-library-1 or"),
        (('format = "kettlehall-library-1"', ""), "format: This must be"),
        (('role = "fruit"', 'role = "frut"'), 'recipe "test-spread": ingredients[0].role: This must be fruit'),
        (('amount = "4"', 'amount = "-4"'), "ingredients[0].amount: This must be a number above 0"),
        (('amount = "4"', "amount = 4.1"), "ingredients[0].amount: A number with a point is not exact"),
        (('unit = "cup"', 'unit = "mugs"'), "ingredients[0].unit: This must be"),
        (("[1000,5]", "[1000,25]"), "process[0].minutes[1]: A higher band cannot need less"),
        (('["above", 9]', "[6000, 9]"), 'process[0].minutes: The last band must be "above"'),
        (('jar = "half-pint", seen', 'jar = "bucket", seen'), "process[0].jar: This must be"),
        (('kind = "jam"', 'kind = "jam"\ncolour = "red"'), "colour: There is no such field here"),
        (("produce = [", "produce = 7 #["), "produce: This must be a list"),
        (("[[recipe]]", "[recipe]"), "recipe: This must be a list of entries"),
        (("[[recipe]]", "[[recipes]]"), "recipes: There is no such field here"),
        (('"Boil."', '"Boil.\\u0000"'), "steps[0]: This text holds a control character"),
        (('slug = "test-spread"', 'slug = "Test Spread"'), "slug: Use small letters"),
        (('slug = "test-spread"', 'slug = "drafts"'), "slug: This short name is kept for a page"),
        (('slug = "test-spread"', 'slug = "prices"'), "slug: This short name is kept for a page"),
    ],
)
def test_a_malformed_file_is_refused_with_file_entry_and_field(write, change, said):
    assert change[0] in GOOD
    file = write(GOOD.replace(*change, 1))
    found = problems_of(file)
    assert any(said in problem for problem in found), found
    assert all(problem.startswith(f"{file}: ") for problem in found)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not UTF-8 text: row 1, byte 1"),
        (GOOD.encode("utf-16"), "not UTF-8 text: row 1, byte 1"),
        (GOOD.replace("Test spread", "Test sprëad").encode("latin-1"), "not UTF-8 text: row 6, byte 18"),
        (b"", "format: This must be"),
        (b"\x00\x00\x00", "not well-formed TOML"),
        (b"a = " + b"[" * 5000, "nested far too deep"),
        (b"a = " + b"9" * 5000, "A value in it cannot be read"),
        (b"format = 1979-02-30", "Invalid date or datetime (row 1"),
        (b'{"format": "kettlehall-library-1"}', "not well-formed TOML"),
        (b'format = "kettlehall-library-1"', "recipe: The file has neither recipes nor process tables."),
        (b'format = "kettlehall-library-1"\nrecipe = [1, "two"]', "recipe[1]: This must be a table of fields"),
        (b"#" * (LARGEST_FILE_BYTES + 1), "larger than 4 MB"),
    ],
    ids=[
        "picture",
        "utf-16",
        "latin-1",
        "empty",
        "nul",
        "deep",
        "long-number",
        "date",
        "json",
        "no-entry",
        "odd",
        "huge",
    ],
)
def test_what_is_no_library_at_all_is_refused_with_a_reason(write, raw, said):
    found = problems_of(write(raw))
    assert any(said in problem for problem in found), found


def test_every_problem_of_every_file_is_found_in_one_pass(write):
    first = write(GOOD.replace('role = "fruit"', 'role = "x"').replace('"3"', '"zero"'), "a.toml")
    second = write(GOOD.replace("test-spread", "b").replace('unit = "cup"', 'unit = "mug"'), "b.toml")
    found = problems_of(first, second)
    assert len(found) == 4
    assert {problem.split(": ")[2] for problem in found} == {
        "ingredients[0].role",
        "ingredients[1].amount",
        "ingredients[0].unit",
        "ingredients[1].unit",
    }


def test_a_slug_in_two_files_is_refused_and_both_are_named(write):
    first, second = write(GOOD, "a.toml"), write(GOOD, "b.toml")
    assert problems_of(first, second) == [f'{second}: recipe "test-spread": slug: This slug is also in {first}.']


def test_a_file_given_twice_is_refused_as_well(write):
    file = write(GOOD)
    assert len(problems_of(file, file)) == 1


def test_a_process_table_in_two_files_is_refused(write):
    head = 'format = "kettlehall-library-1"\n'
    first, second = write(head + TABLE, "a.toml"), write(head + TABLE, "b.toml")
    (problem,) = problems_of(first, second)
    assert problem.startswith(f'{second}: process_table "plums": food: ')


def test_what_is_not_there_is_said(tmp_path):
    assert problems_of(tmp_path / "no.toml") == [f"{tmp_path / 'no.toml'}: There is no such file or folder."]
    assert problems_of(tmp_path) == [f"{tmp_path}: This folder has no file ending in .toml."]


def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    assert problems_of(tmp_path / "pipe.toml") == [f"{tmp_path / 'pipe.toml'}: This is neither a file nor a folder."]


def test_a_file_that_may_not_be_read_is_said(write, monkeypatch):
    file = write(GOOD)

    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(file), "open", refuse)
    assert problems_of(file) == [f"{file}: It cannot be opened: Permission denied."]


def test_a_pipe_in_a_folder_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    assert problems_of(tmp_path) == [f"{tmp_path / 'pipe.toml'}: This is neither a file nor a folder."]


def test_a_key_of_very_many_parts_is_refused_before_it_costs_anything(write):
    file = write("a." * 100_000 + "b = 1")
    assert problems_of(file) == [f"{file}: A line in it has more than 500 dots; in a library no line does."]


PRESSURE = """
format = "kettlehall-library-1"

[[recipe]]
slug = "test-carrots"
title = "Test carrots"
kind = "vegetable"
method = "pressure"
produce = ["carrots"]
pectin = ""
headspace_in = "1"
amounts_seen = "seen-twice"
process_seen = "seen-twice"
source = { title = "Test Leaflet", edition = "2015", place = "page 7" }
ingredients = [{ item = "carrots", role = "low-acid vegetable", amount = "17 1/2", unit = "lb" }]
stated_yield = { jar = "quart", low = "7", high = "7", seen = "seen-twice" }
steps = ["Vent.", "Fill."]
process = [
  { method = "pressure", pack = "hot", jar = "quart", minutes = 30, seen = "seen-twice", dial_psi = [
    [2000, 11], [4000, 12]], weighted_psi = [[1000, 10], ["above", 15]] },
]
"""


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("[2000, 11]", "[2000, 10]", "process[0].dial_psi: LOWACID-PSI"),
        ("[1000, 10]", "[1000, 5]", "process[0].weighted_psi: LOWACID-PSI"),
        ('["above", 15]', '["above", 9]', "process[0].weighted_psi"),
    ],
)
def test_low_acid_food_has_no_row_below_the_pressure_that_makes_it_safe(write, old, new, place):
    assert problems_of(write(PRESSURE)) == []
    (file,) = [write(PRESSURE.replace(old, new))]
    assert any(f'{file}: recipe "test-carrots": {place}' in problem for problem in problems_of(file))


def test_a_pickle_is_not_called_a_vegetable(write):
    lines = (
        '{ item = "carrots", role = "low-acid vegetable", amount = "2 3/4", unit = "lb" },'
        '{ item = "white vinegar", prep = "5 percent", role = "acid", amount = "5 1/2", unit = "cup" },'
    )
    jam = '{ item = "plums", role = "fruit", amount = "4", unit = "cup" },'
    assert problems_of(write(GOOD.replace(jam, lines).replace('kind = "jam"', 'kind = "pickle"'))) == []
    wrong = GOOD.replace(jam, lines).replace('kind = "jam"', 'kind = "vegetable"')
    assert any("process[0].method: Vegetables" in problem for problem in problems_of(write(wrong)))
