"""`manage.py up` as a person runs it: a process of its own, in a data folder of its own, on a free port."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import redis

from club.run import broker
from club.run.children import HOME
from tests.drills.mail_sink import free_port
from tests.drills.patience import PATIENCE_S, seconds_worked, sizes, wait_until
from tests.drills.processes import children_of, running_from, running_in_group

pytestmark = [
    pytest.mark.once,  # `up` brings a database of its own
    pytest.mark.worker,
    pytest.mark.skipif(sys.platform != "linux", reason="reads /proc to see what is left running"),
]

NOT_PASSED_ON = {"DATABASE_URL", "REDIS_URL", "SITE_URL", "SMTP_HOST", "ALLOWED_HOSTS"}


def environment(data_dir: Path, **more: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in NOT_PASSED_ON}
    return {**kept, "KETTLEHALL_OWN_ENVIRONMENT": "1", "KETTLEHALL_DATA": str(data_dir), **more}


class Up:
    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self.port = free_port()
        self.output = data_dir.parent / "output.txt"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *arguments: str, **more: str) -> None:
        with self.output.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, str(HOME / "manage.py"), "up", "--port", str(self.port), *arguments],
                env=environment(self.data_dir, **more),
                cwd="/",  # from anywhere
                stdout=out,
                stderr=subprocess.STDOUT,
            )

    def wait_until_told(self) -> None:
        """Until it has told where it is: by then the web server has answered."""
        self.wait_until(self.is_told)

    def wait_until(self, what: Callable[[], bool]) -> None:
        """For as long as it writes something or has work for the processor: the first start fills a database."""
        wait_until(what, sign=self.sign, otherwise=self.story)

    def sign(self) -> object:
        return sizes([self.output, *self.logs()]), seconds_worked(running_from(self.data_dir))

    def logs(self) -> list[Path]:
        return sorted((self.data_dir / "log").glob("*.log"))

    def is_told(self) -> bool:
        assert self.process.poll() is None, self.story()
        return "Ctrl-C stops everything" in self.told

    @property
    def told(self) -> str:
        return self.output.read_text()

    def story(self) -> str:
        return self.told + "".join(f"\n== {log.name}\n{log.read_text()[-2000:]}" for log in self.logs())

    def health(self) -> dict | None:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=5) as answer:
                return json.load(answer)
        except (urllib.error.URLError, OSError):
            return None

    def ask_to_stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        self.process.send_signal(how)
        return self.process.wait(PATIENCE_S)


@pytest.fixture(scope="module")
def laid_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder whose database has its tables and the library: what the first start would lay out."""
    folder = tmp_path_factory.mktemp("laid_out") / "data"
    argv = [sys.executable, str(HOME / "manage.py"), "setup", "--no-backup"]
    subprocess.run(argv, env=environment(folder), check=True, capture_output=True)
    return folder


@pytest.fixture
def again(tmp_path: Path, laid_out: Path) -> Iterator[Up]:
    """`up` in a folder in which it was started before."""
    shutil.copytree(laid_out, tmp_path / "data")
    yield from _up(tmp_path)


@pytest.fixture
def up(tmp_path: Path) -> Iterator[Up]:
    yield from _up(tmp_path)


def _up(tmp_path: Path) -> Iterator[Up]:
    one = Up(tmp_path / "data")
    yield one
    if one.process and one.process.poll() is None:
        one.process.kill()
        one.process.wait()


def nothing_left(up: Up, *, patience: float) -> None:
    wait_until(
        lambda: not running_from(up.data_dir),
        patience=patience,
        otherwise=lambda: "still running:\n" + "\n".join(running_from(up.data_dir).values()),
    )


def people(data_dir: Path) -> int:
    with sqlite3.connect(data_dir / "club.sqlite3") as database:
        return database.execute("SELECT count(*) FROM members_user").fetchone()[0]


def test_up_runs_a_whole_site_that_stops_cleanly_and_keeps_its_data(up):
    from club.run.demo import PASSWORD, SIGN_INS

    up.data_dir.mkdir(mode=0o755)  # made beforehand, for all to look into
    up.start()
    up.wait_until_told()
    kept = [path for path in up.data_dir.iterdir() if path.is_file()]
    assert up.data_dir / "club.sqlite3" in kept
    assert [path.name for path in kept if path.stat().st_mode & 0o077] == []  # readable to nobody else
    assert f"http://127.0.0.1:{up.port}" in up.told
    assert str(up.data_dir / "mail") in up.told
    assert PASSWORD in up.told
    assert all(email in up.told for email, _role in SIGN_INS)
    assert up.health() == {**up.health(), "database": "ok", "broker": "ok"}
    running = " ".join(running_from(up.data_dir).values())
    assert all(part in running for part in ("gunicorn", "worker", "beat", "valkey-server"))
    with redis.from_url(f"unix://{broker.socket_path(up.data_dir)}") as client:
        client.set("kept", "over the night")

    second = Up(up.data_dir)
    second.output = up.data_dir.parent / "second.txt"
    second.start()
    assert second.process.wait(PATIENCE_S) == 1
    assert f"already running from {up.data_dir} (process {up.process.pid})" in second.told
    assert up.health() is not None  # the first is none the worse for it

    assert up.ask_to_stop(signal.SIGINT) == 0
    assert "Everything is kept" in up.told
    nothing_left(up, patience=1)

    before = people(up.data_dir)
    up.start()
    up.wait_until_told()
    assert people(up.data_dir) == before > 0
    with redis.from_url(f"unix://{broker.socket_path(up.data_dir)}") as client:
        assert client.get("kept") == b"over the night"
    assert up.ask_to_stop() == 0
    nothing_left(up, patience=1)


def test_a_killed_up_leaves_nothing_running_and_starts_again(again):
    again.start("--no-demo")
    again.wait_until_told()
    assert people(again.data_dir) == 0
    assert "Nobody can sign in yet" in again.told
    again.process.kill()
    again.process.wait()
    nothing_left(again, patience=30)

    again.start("--no-demo")
    again.wait_until_told()
    assert again.health()["database"] == "ok"


def test_a_web_server_that_falls_is_started_again(again, tell):
    again.start("--no-demo")
    again.wait_until_told()
    master = next(p for p in children_of(again.process.pid) if "gunicorn" in p[1])
    os.kill(master[0], signal.SIGKILL)  # its workers are orphans, and still have the port
    began = time.monotonic()
    again.wait_until(lambda: "web stopped" in again.told)
    again.wait_until(lambda: any("gunicorn" in said for _pid, said in children_of(again.process.pid)))
    again.wait_until(lambda: not running_in_group(master[0]))
    again.wait_until(lambda: again.health() is not None)
    tell(f"web: its master killed; another answers, and no orphan is left, {time.monotonic() - began:.1f} s later")
    assert again.ask_to_stop() == 0
    nothing_left(again, patience=1)


def test_an_occupied_port_is_said_in_one_sentence(up):
    with socket.socket() as other:
        other.bind(("127.0.0.1", up.port))
        other.listen()
        up.start("--no-demo")
        assert up.process.wait(PATIENCE_S) == 1
    assert f"Port {up.port} on 127.0.0.1 cannot be used" in up.told
    assert "Traceback" not in up.told
    nothing_left(up, patience=5)


def test_with_a_database_and_a_broker_of_ones_own_up_starts_no_broker_and_no_demo(up, laid_out, tmp_path):
    shutil.copyfile(laid_out / "club.sqlite3", tmp_path / "own.sqlite3")
    with broker.running(tmp_path / "own") as redis_url:
        up.start(
            DATABASE_URL=f"sqlite:///{tmp_path / 'own.sqlite3'}", REDIS_URL=redis_url, SECRET_KEY="for a drill only"
        )
        up.wait_until_told()
        assert up.health() == {**up.health(), "database": "ok", "broker": "ok"}
        assert not (up.data_dir / "broker").exists()
        assert not (up.data_dir / "club.sqlite3").exists()
        assert "valkey-server" not in " ".join(running_from(up.data_dir).values())
        assert "Nobody can sign in yet" in up.told
        assert up.ask_to_stop() == 0
    nothing_left(up, patience=1)
