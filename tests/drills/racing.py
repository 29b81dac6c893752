"""Real processes that are let off at the same moment."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from club.run.children import HOME, end, kill_group
from tests.drills.patience import seconds_worked, wait_until
from tests.drills.processes import running_in_group

# Every room is read once, before the racers part: what each does of its own is the race.
STARTING_LINE = """
import json, os, sys, traceback, django
django.setup()
import club.urls
script, here, racers = sys.argv[1], sys.argv[2], json.loads(sys.argv[3])
children = []
for one in racers:
    child = os.fork()
    if child == 0:
        sys.argv = ["racer", here, *one]
        try:
            exec(compile(script, "racer", "exec"), {"__name__": "__main__"})
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    children.append(child)
sys.exit(sum(os.waitpid(child, 0)[1] != 0 for child in children))
"""


def all_at_once(script: str, racers: Sequence[Sequence[str]], *, here: Path, environment: Mapping[str, str]) -> None:
    """One process for each list of arguments, `here` put before them; all must end well.

    The script touches `ready-<something>` in the folder and waits for `go` there.
    """
    argv = [sys.executable, "-c", STARTING_LINE, script, str(here), json.dumps(racers)]
    line = subprocess.Popen(argv, env=dict(environment), cwd=HOME, start_new_session=True)

    def ready() -> int:
        return len(list(here.glob("ready-*")))

    def sign() -> tuple[int, int, int]:
        left = running_in_group(line.pid)
        return ready(), len(left), seconds_worked(left)

    def story() -> str:
        return f"{ready()} of {len(racers)} ready, {len(running_in_group(line.pid)) - 1} still running"

    try:
        wait_until(lambda: ready() == len(racers) or line.poll() is not None, sign=sign, otherwise=story, pause=0.01)
        (here / "go").touch()
        wait_until(lambda: line.poll() is not None, sign=sign, otherwise=story, pause=0.01)
        assert line.returncode == 0, f"{line.returncode} of {len(racers)} racers failed"
    finally:
        end([line], patience=1)
        kill_group(line.pid)
