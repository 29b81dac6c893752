"""What is running on this machine, read from /proc (Linux): no tool need be installed for it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from club.run import broker


def _processes() -> Iterator[Path]:
    return Path("/proc").glob("[0-9]*")


def command_line(process: Path) -> str:
    return (process / "cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")


def _state_and_group(process: Path) -> tuple[str, int]:
    after_name = (process / "stat").read_text().rpartition(")")[2].split()
    return after_name[0], int(after_name[2])


def is_running(pid: int) -> bool:
    """False for one that ended, also while nobody has asked for its exit status."""
    try:
        return _state_and_group(Path(f"/proc/{pid}"))[0] not in "ZX"
    except OSError:
        return False


def running_in_group(group: int) -> list[int]:
    found = []
    for process in _processes():
        try:
            state, its_group = _state_and_group(process)
        except OSError:  # it ended while we looked
            continue
        if its_group == group and state not in "ZX":
            found.append(int(process.name))
    return found


def running_from(data_dir: Path) -> dict[int, str]:
    """Command lines by process number of all that was given this data folder, whoever its parent is now.

    The broker writes its title over its own environment, and the title names its socket.
    """
    mark = f"KETTLEHALL_DATA={data_dir}".encode()
    socket = str(broker.socket_path(data_dir))
    found = {}
    for process in _processes():
        try:
            said, given = command_line(process), (process / "environ").read_bytes().split(b"\0")
        except OSError:
            continue
        if mark in given or socket in said:
            found[int(process.name)] = said
    return found


def children_of(parent: int) -> list[tuple[int, str]]:
    listed = Path(f"/proc/{parent}/task/{parent}/children").read_text().split()
    return [(int(pid), command_line(Path(f"/proc/{pid}"))) for pid in listed]
