"""The engine stands alone: standard library only, no Django. How fast it loads is measured in `tests.benchmarks`."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

import recipes.engine

HOME = Path(recipes.engine.__file__).parent
FILES = sorted(HOME.rglob("*.py"))


def module_of(path: Path) -> str:
    parts = path.relative_to(HOME).with_suffix("").parts
    return ".".join(("recipes.engine", *(part for part in parts if part != "__init__")))


MODULES = [module_of(path) for path in FILES]

LOADING = """
import importlib, json, sys

class Wall:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] == "django":
            raise ImportError("Django is out of reach here")

sys.meta_path.insert(0, Wall())
try:
    import django
except ImportError:
    blocked = True
else:
    blocked = False
for name in sys.argv[1:]:
    importlib.import_module(name)
print(json.dumps({
    "blocked": blocked,
    "loaded": sorted(sys.modules),
}))
"""


def imported_by(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            found.add(node.module or "")
    return found


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_a_module_imports_only_the_standard_library_and_its_neighbours(path):
    for name in imported_by(path):
        assert f"{name}.".startswith("recipes.engine.") or name.partition(".")[0] in sys.stdlib_module_names, name


def test_every_module_loads_where_django_cannot_be_found():
    ran = subprocess.run(
        [sys.executable, "-c", LOADING, *MODULES],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        cwd=HOME.parent.parent,
    )
    report = json.loads(ran.stdout)
    assert report["blocked"]
    assert set(MODULES) <= set(report["loaded"])
    assert not [name for name in report["loaded"] if name.startswith(("django", "club", "inventory"))]
