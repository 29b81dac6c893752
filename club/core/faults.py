"""When the database or the disk will not: what it is, told by the error itself, and what a person reads of it."""

from __future__ import annotations

import errno
import sys
from collections.abc import Iterator
from enum import Enum, auto
from pkgutil import iter_modules

from django.apps import apps
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.views.defaults import server_error


class Fault(Enum):
    FULL = auto()  # no room on the disk
    BUSY = auto()  # others were writing for longer than we wait
    DAMAGED = auto()  # what lies there is no database, or no longer
    SHUT = auto()  # it may not be opened, or not be written to
    AWAY = auto()  # no connection to it


# By the names that SQLite gives its errors, the longer ones (SQLITE_IOERR_WRITE) by their beginning.
OF_SQLITE = {
    "SQLITE_FULL": Fault.FULL,
    "SQLITE_IOERR": Fault.FULL,  # a write-ahead log that cannot grow says no more than that
    "SQLITE_BUSY": Fault.BUSY,
    "SQLITE_LOCKED": Fault.BUSY,
    "SQLITE_CORRUPT": Fault.DAMAGED,
    "SQLITE_NOTADB": Fault.DAMAGED,
    "SQLITE_READONLY": Fault.SHUT,
    "SQLITE_PERM": Fault.SHUT,
    "SQLITE_CANTOPEN": Fault.SHUT,
}
# By the classes and codes of PostgreSQL, appendix A of its manual.
OF_POSTGRESQL = {
    "53100": Fault.FULL,
    "53": Fault.BUSY,
    "55P03": Fault.BUSY,
    "40": Fault.BUSY,
    "25006": Fault.SHUT,
    "XX001": Fault.DAMAGED,
    "XX002": Fault.DAMAGED,
    "57P": Fault.AWAY,
    "08": Fault.AWAY,
}
OF_THE_SYSTEM = {
    errno.ENOSPC: Fault.FULL,
    errno.EDQUOT: Fault.FULL,
    errno.EROFS: Fault.SHUT,
    errno.EACCES: Fault.SHUT,
    errno.EPERM: Fault.SHUT,
}


def fault_of(error: BaseException | None) -> Fault | None:
    """What an error says of disk and database, itself or what it came from; None where it is about something else."""
    for one in _with_causes(error):
        if isinstance(one, OSError) and one.errno in OF_THE_SYSTEM:
            return OF_THE_SYSTEM[one.errno]
        name = getattr(one, "sqlite_errorname", None)
        if name is not None and (found := _longest_beginning(OF_SQLITE, name)):
            return found
        state = getattr(one, "sqlstate", None)
        if state is not None and (found := _longest_beginning(OF_POSTGRESQL, state)):
            return found
        if state is None and type(one).__module__.startswith("psycopg") and type(one).__name__ == "OperationalError":
            return Fault.AWAY  # it never came to an answer
    return None


def _with_causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__


def _longest_beginning(table: dict[str, Fault], name: str) -> Fault | None:
    found = [key for key in table if name.startswith(key)]
    return table[max(found, key=len)] if found else None


def page_of_error(request: HttpRequest) -> HttpResponse:
    """The site's page for what no view caught: 503 and why, where disk or database are at fault, else 500.

    Django calls it while the error is being handled, wherever it came from: a view, or the session saved after it.
    """
    fault = fault_of(sys.exc_info()[1])
    if fault is None:
        return server_error(request)
    page = render_to_string("503.html", {"fault": fault.name.lower()})
    return HttpResponse(page, status=503, headers={"Retry-After": "30"})


def sentence_about(error: BaseException) -> str:
    """For whoever runs a command that met this error; "" where it is none of disk and database."""
    fault = fault_of(error)
    if fault is None:
        return ""
    if isinstance(error, OSError):
        return sentence_for(fault, error.filename or settings.DATA_DIR)
    return sentence_for(fault, the_database())


def the_database() -> str:
    """As its operator knows it."""
    name = connection.settings_dict["NAME"]
    return f"the database {name}" if connection.vendor == "sqlite" else f"the database {name} of DATABASE_URL"


def sentence_for(fault: Fault, where: object) -> str:
    """For whoever starts the site: what is wrong with `where`, and the way back."""
    told = {
        Fault.FULL: f"The disk that holds {where} is full. Make room on it, and start again: nothing is lost.",
        Fault.BUSY: f"Another program holds {where} and does not let go. End it, and start again.",
        Fault.DAMAGED: f"{where} is damaged, or is no database of this site. Move it away, and put the last backup "
        "back in its place (python3 manage.py restore).",
        Fault.SHUT: f"{where} may not be opened or written to by this user. Start the site as the one it belongs to, "
        "or set KETTLEHALL_DATA to a folder of your own.",
        Fault.AWAY: f"{where} does not answer. Start its server, or look at DATABASE_URL.",
    }[fault]
    return told[0].upper() + told[1:]


# Whether code and database are of one age, by the migrations that each knows.

Migration = tuple[str, str]  # room, name


def _on_disk() -> set[Migration]:
    """By their file names: to import them all would cost each web process some megabytes."""
    found = set()
    for config in apps.get_app_configs():
        folder = f"{config.path}/migrations"
        found |= {(config.label, one.name) for one in iter_modules([folder]) if one.name[0] not in "_~"}
    return found


def migrations_missing_and_unknown() -> tuple[list[Migration], list[Migration]]:
    """Those that the database still wants, and those that it has from a newer version of the code, in order.

    Raises DatabaseError, also where there is no table of them yet. Of rooms that this code lacks nothing is said.
    """
    here = _on_disk()
    rooms = {room for room, _name in here}
    applied = set(MigrationRecorder(connection).migration_qs.values_list("app", "name"))
    return sorted(here - applied), sorted(one for one in applied - here if one[0] in rooms)


def require_no_newer_database() -> None:
    """ImproperlyConfigured where the database was written by a newer version of the site."""
    if not MigrationRecorder(connection).has_table():
        return
    unknown = migrations_missing_and_unknown()[1]
    if unknown:
        room, name = unknown[-1]
        raise ImproperlyConfigured(
            f"The database is newer than this code: it has {room}.{name}, of which nothing is known here. Start the "
            "version of the code that wrote it, or put back a backup of this version (python3 manage.py restore)."
        )


def damage_found(*, up_to_bytes: int | None = None) -> str:
    """What a look through a SQLite file finds wrong; "" where it is sound, longer than asked, or of another database.

    Raises DatabaseError where it is so damaged that it cannot be read at all.
    """
    if connection.vendor != "sqlite":
        return ""
    with connection.cursor() as cursor:
        if up_to_bytes is not None:
            size = [cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size")]
            if size[0] * size[1] > up_to_bytes:
                return ""
        found = cursor.execute("PRAGMA quick_check(1)").fetchone()[0]
    return "" if found == "ok" else str(found)
