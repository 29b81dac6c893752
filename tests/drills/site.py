"""Real processes of the site on the test's own database, broker and mail server."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from urllib.parse import quote, urlsplit

from django.db import connection

from club.run import site
from club.run.supervisor import Part, Supervisor
from tests.drills.mail_sink import MailSink
from tests.drills.patience import sizes, wait_until


def test_database_url() -> str:
    """The database this test runs on, for a child process: the same server, the test's own name."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{quote(name)}"
    return urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{quote(name)}").geturl()


test_database_url.__test__ = False  # its name is what it is: no test


def child_environment(data_dir: Path, *, broker_url: str, smtp_port: int, database_url: str = "") -> dict[str, str]:
    return {
        **os.environ,
        "DATABASE_URL": database_url or test_database_url(),
        "REDIS_URL": broker_url,
        "KETTLEHALL_DATA": str(data_dir),
        "SECRET_KEY": "for a drill only",
        "SMTP_HOST": "127.0.0.1",
        "SMTP_PORT": str(smtp_port),
        "SMTP_TLS": "0",
        "SITE_URL": "http://drill.example.test",
        "REMINDER_TICK_SECONDS": "1",
        "LOG_LEVEL": "INFO",
    }


@dataclass
class Site:
    """Worker and beat as `up` runs them, kept alive by the same supervisor."""

    data_dir: Path
    environment: dict[str, str]
    sink: MailSink
    supervisor: Supervisor = field(init=False)

    def __post_init__(self) -> None:
        self.supervisor = Supervisor(self.data_dir / "log")

    def start(self, *parts: Part) -> None:
        for part in parts or (site.worker(), site.beat()):
            self.supervisor.start(replace(part, env=self.environment))

    def process_of(self, name: str):
        return next(one.process for one in self.supervisor.running if one.part.name == name)

    def wait_until(self, what: Callable[[], bool]) -> None:
        """Look after the parts until it is so. Fails with the end of every log once no mail and no log line comes."""

        def is_so() -> bool:
            self.supervisor.look()
            return what()

        wait_until(is_so, sign=self.sign, otherwise=self.logs)

    def sign(self) -> object:
        return len(self.sink.raw), self.sink.connections, sizes(sorted(self.supervisor.log_dir.glob("*.log")))

    def logs(self) -> str:
        return "\n".join(f"== {log.name}\n{log.read_text()[-3000:]}" for log in self.supervisor.log_dir.glob("*.log"))
