"""manage.py yields: the whole library, stated beside predicted."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command


def shown(*paths: str) -> list[str]:
    out = StringIO()
    call_command("yields", *paths, stdout=out, stderr=StringIO())
    return out.getvalue().splitlines()


def test_every_recipe_of_the_library_has_a_row_and_the_summary_counts_them():
    lines = shown()
    assert sum("half-pint" in line for line in lines) > 30
    assert any(line.startswith("strawberry-jam-liquid") and "7.71" in line for line in lines)
    assert any("suspect" in line and line.startswith("plum-jelly-plain") for line in lines)
    assert any("packed" in line and line.startswith("snap-beans") for line in lines)
    assert any(line.startswith("with added pectin:") and "within one jar" in line for line in lines)
    assert any(line.startswith("by class of food, each held out:") for line in lines)
    assert "no yield is printed for 3" in "\n".join(lines)


def test_a_library_with_a_problem_is_not_shown(tmp_path):
    (tmp_path / "broken.toml").write_text("format = ")
    with pytest.raises(CommandError, match="1 problem"):
        shown(str(tmp_path))
