"""`python3 manage.py up`: the whole site from one command, and its end with one Ctrl-C."""

from __future__ import annotations

import io
import os
import socket
import time
from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.exceptions import ImproperlyConfigured
from django.core.management import BaseCommand, CommandError, call_command
from django.db import connection, connections

from club.core.faults import Fault, damage_found, require_no_newer_database, sentence_for, the_database
from club.run import broker, site
from club.run.backup import BackupError
from club.run.demo import PASSWORD, SIGN_INS, signs_of_others
from club.run.setup import site_prepare
from club.run.supervisor import Part, PartFailed, Supervisor, ignore_further_signals, until_asked_to_stop

PATIENCE_S = 60.0
# As long as it takes some tenths of a second; a longer file is read through by the nightly audit.
MOST_READ_THROUGH_BYTES = 100_000_000
LOOK_EVERY_S = 0.2


class Command(BaseCommand):
    help = "Start the whole site: database, library, broker, web server, worker and clock. Ctrl-C stops it."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--host",
            default="127.0.0.1",
            help="Where to listen. For phones in the hall: 0.0.0.0, with SITE_URL set to this machine's address. "
            "The demo club stays on this machine.",
        )
        parser.add_argument(
            "--no-backup", action="store_true", help="Change the tables of an older version without a backup before it."
        )
        parser.add_argument("--no-demo", action="store_true", help="Do not fill an empty database with the demo club.")

    def handle(self, *args: Any, port: int, host: str, no_demo: bool, no_backup: bool, **options: Any) -> None:
        # The database, the mails with their links and the secret are nobody else's, also in a folder made beforehand.
        os.umask(0o077)
        data_dir: Path = settings.DATA_DIR
        try:
            data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
            site.require_own(data_dir)
            site.require_room(data_dir)
            self.run(data_dir, host, port, with_demo=not no_demo, with_backup=not no_backup)
        except BackupError as error:
            raise CommandError(f"{error} The tables are as they were; --no-backup goes on without one.") from error
        except (site.SiteError, broker.BrokerError, PartFailed, ImproperlyConfigured) as error:
            raise CommandError(str(error)) from error
        self.stdout.write("Stopped. Everything is kept; the same command starts it again.")

    def run(self, data_dir: Path, host: str, port: int, *, with_demo: bool, with_backup: bool) -> None:
        # What children and mails call the site, unless the operator says: the address printed below.
        os.environ.setdefault("SITE_URL", site.address(host, port))
        # Backups of this folder, unless the operator names another: the worker makes one a day.
        os.environ.setdefault("BACKUP_DIR", str(data_dir / "backups"))
        supervisor = Supervisor(data_dir / "log", announce=self.announce)
        with site.only_one(data_dir), until_asked_to_stop(), site.listening(host, port) as listener:
            try:
                require_usable_database()
                self.start_broker(supervisor)
                self.prepare(with_demo=with_demo and site.is_loopback(host), with_backup=with_backup)
                require_no_demo_abroad(host)
                self.start_parts(supervisor, host, port, listener)
                self.tell(host, port)
                self.keep_up(supervisor, host, port)
            finally:
                ignore_further_signals()
                supervisor.stop()

    def announce(self, line: str) -> None:
        self.stderr.write(f"{datetime.now().astimezone():%Y-%m-%d %H:%M:%S%z} {line}")

    def start_broker(self, supervisor: Supervisor) -> None:
        if os.environ.get("REDIS_URL"):
            return
        data_dir: Path = settings.DATA_DIR
        broker.end_leftover(data_dir)
        process = supervisor.start(Part("broker", tuple(broker.command(data_dir))))
        broker.wait_until_ready(data_dir, process)

    def prepare(self, *, with_demo: bool, with_backup: bool) -> None:
        self.stdout.write("Preparing the database, the recipe library and the static files ...")
        self.stdout.flush()
        site_prepare(say=self.stdout.write, backup_dir=os.environ["BACKUP_DIR"] if with_backup else "")
        if with_demo and not get_user_model().objects.exists():
            if signs := signs_of_others():
                self.stdout.write(f"No demo club, for this looks like a site for others: {', '.join(signs)} is set.")
            else:
                call_command("load_demo", stdout=io.StringIO())  # `tell` names the sign-ins below
        connections.close_all()

    def start_parts(self, supervisor: Supervisor, host: str, port: int, listener: socket.socket) -> None:
        for part in (site.web(listener), site.worker(), site.beat()):
            supervisor.start(part)
        site_host = urlsplit(os.environ["SITE_URL"]).netloc
        deadline = time.monotonic() + PATIENCE_S
        while not site.answers(host, port, site_host=site_host):
            supervisor.require_all_up()
            if time.monotonic() > deadline:
                raise PartFailed(f"The web server did not answer within {PATIENCE_S:.0f} s; see {supervisor.log_dir}.")
            time.sleep(LOOK_EVERY_S)

    def tell(self, host: str, port: int) -> None:
        write = self.stdout.write
        write(self.style.SUCCESS(f"\nKettlehall is up: {os.environ['SITE_URL']} (listening on {host}, port {port})"))
        people = get_user_model().objects
        demo = [one for one in SIGN_INS if people.filter(email=one[0]).exists()]
        if demo:
            write(f"Sign in with one of these and the password {PASSWORD}")
            for email, role in demo:
                write(f"  {email:<32} {role}")
        elif not people.exists():
            write("Nobody can sign in yet. The first organiser, in another terminal: python3 manage.py createsuperuser")
            write("The first sign-in sends her a mail with a link to confirm her address.")
        connections.close_all()
        write(f"Mail goes to {self.mail_goes_to()}")
        write(f"Data and logs are in {settings.DATA_DIR}")
        write("Ctrl-C stops everything.")
        self.stdout.flush()

    @staticmethod
    def mail_goes_to() -> str:
        if host := os.environ.get("SMTP_HOST"):
            return f"the mail server {host}"
        return f"files in {settings.EMAIL_FILE_PATH} (set SMTP_HOST to send it)"

    @staticmethod
    def keep_up(supervisor: Supervisor, host: str, port: int) -> None:
        site_host = urlsplit(os.environ["SITE_URL"]).netloc
        broker_socket = broker.socket_path(settings.DATA_DIR)
        watch = site.Watch(
            supervisor,
            readiness=lambda: site.told_by(host, port, "healthz/ready", site_host=site_host),
            broker_speaks=lambda: bool(broker.ask(broker_socket, b"PING")),
            round_patience_s=max(site.ROUND_PATIENCE_S, 5 * settings.REMINDER_TICK_SECONDS),
        )
        keep_database_open()
        while True:
            supervisor.look()
            watch.look()
            time.sleep(LOOK_EVERY_S)


def require_usable_database() -> None:
    """Before anything is written: DatabaseError for a damaged file, ImproperlyConfigured for a newer database."""
    if found := damage_found(up_to_bytes=MOST_READ_THROUGH_BYTES):
        raise site.SiteError(f"{sentence_for(Fault.DAMAGED, the_database())} ({found.splitlines()[-1]})")
    require_no_newer_database()


def keep_database_open() -> None:
    """SQLite takes its write-ahead log away when the last connection closes, and on a full disk the next reader could
    not make it anew: while we hold one, pages are read on.
    """
    if connection.vendor == "sqlite":
        connection.cursor().execute("SELECT count(*) FROM sqlite_schema")


def require_no_demo_abroad(host: str) -> None:
    """The demo's password is printed for all to read: its accounts are not opened to a network."""
    emails = [email for email, _role in SIGN_INS]
    if not site.is_loopback(host) and get_user_model().objects.filter(email__in=emails, is_active=True).exists():
        raise site.SiteError(
            f"The demo club lives in this data folder, and its password is no secret, so it is not opened on {host}. "
            "Set KETTLEHALL_DATA to a fresh folder for a club of your own."
        )
