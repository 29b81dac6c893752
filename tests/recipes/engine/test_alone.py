"""The engine stands alone: standard library only, no Django, quick and small to load."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path

import pytest

import recipes.engine

HOME = Path(recipes.engine.__file__).parent
MODULES = sorted(path.stem for path in HOME.glob("*.py") if path.stem != "__init__")
LONGEST_SECONDS = 2.0  # measured: 0.3 s with memory tracing on
LARGEST_BYTES = 20_000_000  # measured: 4,100,000 at the highest

LOADING = """
import importlib, json, sys, time, tracemalloc

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
tracemalloc.start()
start = time.perf_counter()
for name in sys.argv[1:]:
    importlib.import_module(f"recipes.engine.{name}")
print(json.dumps({
    "blocked": blocked,
    "seconds": time.perf_counter() - start,
    "bytes": tracemalloc.get_traced_memory()[1],
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


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_only_the_standard_library_and_its_neighbours(module):
    for name in imported_by(HOME / f"{module}.py"):
        assert f"{name}.".startswith("recipes.engine.") or name.partition(".")[0] in sys.stdlib_module_names, name


def test_every_module_loads_where_django_cannot_be_found_quickly_and_small():
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
    assert {f"recipes.engine.{module}" for module in MODULES} <= set(report["loaded"])
    assert not [name for name in report["loaded"] if name.startswith(("django", "club", "inventory"))]
    assert report["seconds"] < LONGEST_SECONDS
    assert report["bytes"] < LARGEST_BYTES
