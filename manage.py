#!/usr/bin/env python3
"""Kettlehall's one entry: `python3 manage.py up` starts the site, `python3 manage.py prove` runs every check.

On a fresh machine it first makes the project's own virtual environment (`.venv`) and installs what the lock file names;
afterwards it hands over to Django. Only the standard library is used until then.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

HOME = Path(__file__).resolve().parent
VENV = HOME / ".venv"
PYTHON = VENV / "bin" / "python"
LOCK = HOME / ".lock"
# What can be installed, each with a lock file of its name: the dependencies of pyproject.toml, and these extras.
# The largest comes first, because the others take its versions.
SETS: dict[str, tuple[str, ...]] = {"dev": ("embedded", "dev"), "embedded": ("embedded",), "production": ()}
NEEDS_DEV = {"prove", "makemigrations", "lock"}
DIGEST_MARK = "# made from requirements with sha256 "


def project() -> dict[str, Any]:
    import tomllib

    read: dict[str, Any] = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return read


def requirements(name: str) -> list[str]:
    told = project()
    extras = (one for extra in SETS[name] for one in told["optional-dependencies"][extra])
    return [*told["dependencies"], *extras]


def digest_of(wanted: Sequence[str]) -> str:
    return hashlib.sha256("\n".join(wanted).encode()).hexdigest()


def set_for(command: str) -> str:
    """Which set a command needs. A broker of our own is for whoever has no Redis, and for the tests."""
    if command in NEEDS_DEV:
        return "dev"
    return "production" if os.environ.get("REDIS_URL") else "embedded"


def make_venv() -> None:
    """A Debian without ensurepip has `venv` but no pip inside it: then the outer pip installs into it."""
    if PYTHON.exists():
        return
    print("Making .venv (once; needs the network) ...", flush=True)
    made = subprocess.run([sys.executable, "-m", "venv", str(VENV)], capture_output=True, text=True)
    if made.returncode != 0:
        subprocess.run([sys.executable, "-m", "venv", "--clear", "--without-pip", str(VENV)], check=True)


def is_current(lock: Path, wanted: Sequence[str]) -> bool:
    """Whether a lock file was made from just these requirements."""
    return lock.exists() and f"{DIGEST_MARK}{digest_of(wanted)}" in lock.read_text(encoding="utf-8").splitlines()


def install(name: str) -> None:
    """Install a set once, from its lock file with hashes; a stamp in `.venv` says what is in."""
    wanted, lock = requirements(name), LOCK / f"{name}.txt"
    locked = is_current(lock, wanted)
    digest = hashlib.sha256(lock.read_bytes()).hexdigest() if locked else digest_of(wanted)
    stamp = VENV / f"installed-{name}"
    if stamp.exists() and stamp.read_text() == digest:
        return
    if locked:
        print(f"Installing what .lock/{lock.name} names ...", flush=True)
        arguments = ["--require-hashes", "--requirement", str(lock)]
    else:
        print(
            f".lock/{lock.name} was made from an older pyproject.toml: installing what pyproject.toml names, with no "
            "hashes to check. `python3 manage.py lock` renews the lock files.",
            flush=True,
        )
        arguments = wanted
    has_pip = subprocess.run([str(PYTHON), "-m", "pip", "--version"], capture_output=True).returncode == 0
    pip = [str(PYTHON), "-m", "pip"] if has_pip else [sys.executable, "-m", "pip", "--python", str(PYTHON)]
    subprocess.run([*pip, "install", "--quiet", "--disable-pip-version-check", *arguments], check=True)
    stamp.write_text(digest)


def write_locks(options: Sequence[str]) -> None:
    """`python3 manage.py lock`: resolve pyproject.toml for every platform, with the hash of each file of the index.

    What is locked already keeps its version; `--upgrade`, or `--upgrade-package NAME`, takes the newest that fits.
    """
    LOCK.mkdir(exist_ok=True)
    oldest = project()["requires-python"].removeprefix(">=")
    resolve = [sys.executable, "-m", "uv", "pip", "compile", "pyproject.toml", "--quiet", "--universal"]
    resolve += ["--python-version", oldest, "--generate-hashes", "--no-header", "--no-annotate"]
    for name, extras in SETS.items():
        file = LOCK / f"{name}.txt"
        chosen = [part for extra in extras for part in ("--extra", extra)]
        same = options if name == "dev" else ["--constraint", ".lock/dev.txt"]
        subprocess.run([*resolve, *chosen, *same, "--output-file", f".lock/{file.name}"], cwd=HOME, check=True)
        head = f"# Written by `python3 manage.py lock`; not by hand.\n{DIGEST_MARK}{digest_of(requirements(name))}\n"
        file.write_text(head + file.read_text(encoding="utf-8"), encoding="utf-8")
        print(f"Wrote .lock/{file.name}")


def move_into_venv(command: str) -> None:
    """Start again inside `.venv`, unless we are there or the operator brings an environment of their own."""
    if os.environ.get("KETTLEHALL_OWN_ENVIRONMENT") == "1":
        return
    inside = Path(sys.prefix).resolve() == VENV.resolve()
    if inside and command not in {"up", "prove", "lock"}:
        return
    make_venv()
    install(set_for(command))
    if not inside:
        os.execv(str(PYTHON), [str(PYTHON), *sys.argv])


def main() -> None:
    if sys.version_info < (3, 11):  # noqa: UP036  (this file is what an older Python would meet first)
        sys.exit("Kettlehall needs Python 3.11 or newer.")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "club.settings")
    command = sys.argv[1] if len(sys.argv) > 1 else ""
    move_into_venv(command)
    if command == "lock":
        try:
            return write_locks(sys.argv[2:])
        except subprocess.CalledProcessError as error:
            sys.exit(error.returncode)  # the resolver has said why
    from django.apps import apps
    from django.conf import settings
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:  # the sentence says what to set
        sys.exit(str(error))
    except Exception as error:
        if not (settings.configured and apps.ready):
            raise
        from club.core.faults import sentence_about

        if not (told := sentence_about(error)):
            raise
        sys.exit(told)


if __name__ == "__main__":
    main()
