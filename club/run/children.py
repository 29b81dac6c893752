"""Child processes that never outlive us: each ends with its parent, however the parent ends."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

HOME = Path(__file__).resolve().parents[2]  # children run here, wherever manage.py was called from
PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None) if sys.platform == "linux" else None


def _end_with(parent: int) -> Callable[[], None]:
    """Run in the child before it becomes the program: the kernel then tells it when its parent dies.

    Only Linux can say this. Elsewhere a killed parent leaves its children, and the next start finds the port taken.
    """

    def leash() -> None:
        if _libc is not None:
            _libc.prctl(PR_SET_PDEATHSIG, signal.SIGTERM)
            if os.getppid() != parent:  # it died between the fork and the line above
                os._exit(1)

    return leash


def spawn(
    argv: Sequence[str], *, log: Path, env: Mapping[str, str] | None = None, sockets: Sequence[int] = ()
) -> subprocess.Popen[bytes]:
    """Start a program on our leash, its output appended to `log`. It inherits `sockets`, by their file numbers.

    It gets a session of its own, so that Ctrl-C reaches us alone and we choose the order in which things stop.
    Call it from the main thread: the kernel watches the thread that forked, not the process.
    """
    log.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    with log.open("ab") as out:
        # preexec_fn is safe while no other thread of ours could hold a lock over the fork.
        return subprocess.Popen(
            argv,
            cwd=HOME,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env=None if env is None else dict(env),
            start_new_session=True,
            pass_fds=sockets,
            preexec_fn=_end_with(os.getpid()),
        )


def end(processes: Sequence[subprocess.Popen[bytes]], *, patience: float) -> None:
    """Ask all to stop, wait `patience` seconds in all, then kill whole groups of those that did not."""
    for process in processes:
        if process.poll() is None:
            process.terminate()
    deadline = time.monotonic() + patience
    for process in processes:
        try:
            process.wait(max(0.0, deadline - time.monotonic()))
        except subprocess.TimeoutExpired:
            kill_group(process.pid)
            process.wait()


def kill_group(leader: int) -> None:
    """Whatever is left of the group that a child of ours led, also after its own end."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(leader, signal.SIGKILL)


def is_group_left(leader: int) -> bool:
    """Whether any process of the group that this child led is there still."""
    try:
        os.killpg(leader, 0)
    except ProcessLookupError:
        return False
    return True
