#!/usr/bin/env python3
"""Kettlehall's one entry: `python3 manage.py up` starts the site, `python3 manage.py prove` runs every check.

On a fresh machine it first makes the project's own virtual environment (`.venv`) and installs what pyproject.toml
names; afterwards it hands over to Django. Only the standard library is used until then.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

HOME = Path(__file__).resolve().parent
VENV = HOME / ".venv"
PYTHON = VENV / "bin" / "python"
NEEDS_DEV = {"prove", "makemigrations"}


def requirements(*, dev: bool) -> list[str]:
    import tomllib

    project = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return project["dependencies"] + (project["optional-dependencies"]["dev"] if dev else [])


def make_venv() -> None:
    """A Debian without ensurepip has `venv` but no pip inside it: then the outer pip installs into it."""
    if PYTHON.exists():
        return
    print("Making .venv (once; needs the network) ...", flush=True)
    made = subprocess.run([sys.executable, "-m", "venv", str(VENV)], capture_output=True, text=True)
    if made.returncode != 0:
        subprocess.run([sys.executable, "-m", "venv", "--clear", "--without-pip", str(VENV)], check=True)


def install(*, dev: bool) -> None:
    """Install once for each set of requirements; a stamp file says which set is in."""
    wanted = requirements(dev=dev)
    digest = hashlib.sha256("\n".join(wanted).encode()).hexdigest()
    stamp = VENV / ("installed-dev" if dev else "installed")
    if stamp.exists() and stamp.read_text() == digest:
        return
    print("Installing what pyproject.toml names ...", flush=True)
    has_pip = subprocess.run([str(PYTHON), "-m", "pip", "--version"], capture_output=True).returncode == 0
    pip = [str(PYTHON), "-m", "pip"] if has_pip else [sys.executable, "-m", "pip", "--python", str(PYTHON)]
    subprocess.run([*pip, "install", "--quiet", "--disable-pip-version-check", *wanted], check=True)
    stamp.write_text(digest)


def move_into_venv(command: str) -> None:
    """Start again inside `.venv`, unless we are there or the operator brings an environment of their own."""
    if os.environ.get("KETTLEHALL_OWN_ENVIRONMENT") == "1":
        return
    inside = Path(sys.prefix).resolve() == VENV.resolve()
    if inside and command not in {"up", "prove"}:
        return
    make_venv()
    install(dev=command in NEEDS_DEV)
    if not inside:
        os.execv(str(PYTHON), [str(PYTHON), *sys.argv])


def main() -> None:
    if sys.version_info < (3, 11):  # noqa: UP036  (this file is what an older Python would meet first)
        sys.exit("Kettlehall needs Python 3.11 or newer.")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
    move_into_venv(sys.argv[1] if len(sys.argv) > 1 else "")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
