"""What a running site is made of: its lock, its parts, and how to tell that it answers."""

from __future__ import annotations

import contextlib
import fcntl
import ipaddress
import os
import socket
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from club.run.supervisor import Part

TASK_PROCESSES = 2


class SiteError(Exception):
    """The site cannot start here; the message says why and what to do."""


@contextlib.contextmanager
def only_one(data_dir: Path) -> Iterator[None]:
    """Hold the data folder's lock. The kernel lets go of it when we die, so a killed site leaves nothing to clear."""
    with (data_dir / "up.lock").open("a+") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            lock.seek(0)
            who = lock.read().strip() or "unknown"
            raise SiteError(
                f"Kettlehall is already running from {data_dir} (process {who}). "
                f"Stop that one first, or set KETTLEHALL_DATA to another folder."
            ) from None
        lock.truncate(0)
        lock.write(str(os.getpid()))
        lock.flush()
        yield


def require_free_port(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, port))
        except OSError as error:
            raise SiteError(
                f"Port {port} on {host} cannot be used ({error.strerror}). Choose another: --port {port + 1}"
            ) from None


def web(host: str, port: int) -> Part:
    bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    how = ("--config", "python:club.run.web", "--bind", bind)
    return Part("web", (sys.executable, "-m", "gunicorn", *how, "club.wsgi:application"))


def _celery(*arguments: str) -> tuple[str, ...]:
    level = os.environ.get("LOG_LEVEL", "WARNING")
    return (sys.executable, "-m", "celery", "-A", "club", *arguments, "--loglevel", level)


def worker() -> Part:
    # Mingle and gossip are for many workers that watch each other; without them the start is a second shorter.
    return Part("worker", _celery("worker", "-c", str(TASK_PROCESSES), "--without-mingle", "--without-gossip"))


def beat() -> Part:
    return Part("beat", _celery("beat"))


def address(host: str, port: int) -> str:
    """Where a browser on this machine finds the site."""
    near = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    return f"http://[{near}]:{port}" if ":" in near else f"http://{near}:{port}"


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach what listens on `host`."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def answers(host: str, port: int, *, site_host: str) -> bool:
    """True when the site itself says that it is well (status 200), not merely that somebody listens."""
    request = urllib.request.Request(f"{address(host, port)}/healthz", headers={"Host": site_host})
    try:
        with urllib.request.urlopen(request, timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError):
        return False
