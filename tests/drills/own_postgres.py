"""A PostgreSQL server of a drill's own, to be stopped and started at will; Debian's programs, or those on the PATH."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.drills.mail_sink import free_port


def programs() -> Path | None:
    """The folder with initdb and pg_ctl, the newest version's; None when this machine has no server."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).parent if on_path else None


class OwnPostgres:
    def __init__(self, folder: Path) -> None:
        self.data, self.port, self.bin = folder / "data", free_port(), programs()
        self.url = f"postgres://kettlehall@127.0.0.1:{self.port}/postgres"

    def _run(self, program: str, *arguments: str) -> None:
        """As PostgreSQL's own account where we are root: it refuses to be root."""
        argv = [str(self.bin / program), "-D", str(self.data), *arguments]
        account = "postgres" if os.getuid() == 0 else None
        done = subprocess.run(argv, cwd="/", user=account, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        assert done.returncode == 0, done.stderr

    def make(self) -> None:
        self.data.mkdir(mode=0o700)
        if os.getuid() == 0:
            os.chown(self.data, pwd.getpwnam("postgres").pw_uid, -1)
        self._run("initdb", "-U", "kettlehall", "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8")

    def start(self) -> None:
        # Nothing waits for the disk: the server falls, the machine does not.
        where = f"-c fsync=off -p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories=''"
        self._run("pg_ctl", "-w", "-l", str(self.data / "log"), "-o", where, "start")

    def stop(self, how: str) -> None:
        """`fast` ends every connection and writes everything down; `immediate` is as good as a power cut."""
        self._run("pg_ctl", "-w", "-m", how, "stop")


@contextlib.contextmanager
def own_postgres() -> Iterator[OwnPostgres]:
    # Not in pytest's folder: that is root's alone where we are root.
    folder = Path(tempfile.mkdtemp(prefix="kettlehall-drill-"))
    folder.chmod(0o755)
    one = OwnPostgres(folder)
    try:
        one.make()
        one.start()
        yield one
    finally:
        if (one.data / "postmaster.pid").exists():
            one.stop("immediate")
        shutil.rmtree(folder)
