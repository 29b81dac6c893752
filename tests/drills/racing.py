"""Real processes that are let off at the same moment."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from club.run.children import HOME, end
from tests.drills.patience import seconds_worked, wait_until


def all_at_once(script: str, racers: Sequence[Sequence[str]], *, here: Path, environment: Mapping[str, str]) -> None:
    """One process for each list of arguments, `here` put before them; all must end well.

    The script touches `ready-<something>` in the folder and waits for `go` there.
    """
    started = [
        subprocess.Popen([sys.executable, "-c", script, str(here), *one], env=dict(environment), cwd=HOME)
        for one in racers
    ]

    def ready() -> int:
        return len(list(here.glob("ready-*")))

    def ended() -> list[int]:
        return [racer.returncode for racer in started if racer.poll() is not None]

    def sign() -> tuple[int, int, int]:
        return ready(), len(ended()), seconds_worked(racer.pid for racer in started if racer.returncode is None)

    def story() -> str:
        return f"{ready()} of {len(started)} ready, ended with {ended()}"

    try:
        wait_until(lambda: ready() == len(started) or any(ended()), sign=sign, otherwise=story, pause=0.01)
        (here / "go").touch()
        wait_until(lambda: len(ended()) == len(started), sign=sign, otherwise=story, pause=0.01)
        assert ended() == [0] * len(started)
    finally:
        end(started, patience=1)
