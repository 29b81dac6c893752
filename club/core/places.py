"""Where the library and the demo club lie: beside manage.py in a checkout, inside the package where a wheel put us."""

from __future__ import annotations

from pathlib import Path

HOME = Path(__file__).resolve().parents[2]
PACKAGED = HOME / "club" / "fixtures"
IS_INSTALLED = PACKAGED.is_dir()
FIXTURES = PACKAGED if IS_INSTALLED else HOME / "fixtures"
