"""Every kind of press twice, the first cut off at a proxy: what was done may be done once.

    python -m tests.drills.press_again http://127.0.0.1:8000 .kettlehall/club.sqlite3 --presses 500

wants a site on SQLite with the demo club, started by `up` in a folder of its own. As each demo person it follows links,
fills in the forms it meets with what they offer, and presses each one twice: first through a proxy that passes the
request on and hangs up before the answer, then, as the person would, the same form again. After each press the whole
database is read. A second press that changes more than the first did, beside times of day, is told with its form.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import http.cookiejar
import re
import socket
import sqlite3
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
import uuid
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

from club.run.demo import PASSWORD, SIGN_INS

# Who is signed in, and what the site does by itself: no effect of a press.
NOT_OF_A_PRESS = {"django_session", "django_migrations", "reminders_tick", "classes_setasideturn", "sqlite_sequence"}
# What counts how often a row was locked, numbers of rows that are written anew, and an address of which the newest
# counts, however often renewed.
NOT_AN_EFFECT = {"id", "version"}
MAY_HAPPEN_TWICE = ("/calendar/renew/",)
TIMES = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d(\.\d+)?")
NEVER_PRESSED = ("/accounts/", "/admin/")  # signing out ends the drill


class CuttingProxy:
    """Passes each request on, waits until the site has answered, and hangs up instead of handing the answer over."""

    def __init__(self, host: str, port: int, *, cut_after_s: float = 20.0) -> None:
        self.target, self.cut_after_s, self.cuts = (host, port), cut_after_s, 0
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        with contextlib.suppress(OSError):  # closed
            while True:
                threading.Thread(target=self._cut, args=(self.listener.accept()[0],), daemon=True).start()

    def _cut(self, client: socket.socket) -> None:
        with client, socket.create_connection(self.target) as site:
            client.settimeout(0.2)
            site.settimeout(self.cut_after_s)
            with contextlib.suppress(TimeoutError):  # the client has sent all and waits
                while part := client.recv(65536):
                    site.sendall(part)
            with contextlib.suppress(TimeoutError, OSError):
                site.recv(1)  # its answer begins: what it does is done, or will be
            self.cuts += 1

    def close(self) -> None:
        self.listener.close()


@dataclass
class Form:
    page: str
    action: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    has_file: bool = False

    @property
    def kind(self) -> str:
        """Its address without numbers and names, with the names of its fields: two of a kind are pressed alike."""
        address = re.sub(r"/[^/]*\d[^/]*", "/N", self.action)
        return f"{address} {','.join(sorted({name for name, _value in self.fields} - {'csrfmiddlewaretoken'}))}"[:300]


class Page(HTMLParser):
    """The links of a page and its forms that POST, filled with what they hold, else with a little of what they want."""

    def __init__(self, path: str) -> None:
        super().__init__()
        self.path, self.links, self.forms = path, [], []
        self.form: Form | None = None
        self.select: dict | None = None
        self.area: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = {name: value or "" for name, value in attrs}
        if tag == "a" and got.get("href", "").startswith(("/", "?")):
            self.links.append(urllib.parse.urljoin(self.path, got["href"].partition("#")[0]))
        elif tag == "form":
            is_post = got.get("method", "").lower() == "post"
            self.form = (
                Form(self.path, urllib.parse.urljoin(self.path, got.get("action") or self.path)) if is_post else None
            )
        elif self.form is None:
            return
        elif tag == "input":
            self._input(got)
        elif tag == "button" and got.get("name"):
            self.form.fields.append((got["name"], got.get("value", "")))
        elif tag == "select":
            self.select = {"name": got.get("name", ""), "first": "", "chosen": None}
        elif tag == "option" and self.select is not None:
            self.select["first"] = self.select["first"] or got.get("value", "")
            if "selected" in got and got.get("value"):
                self.select["chosen"] = got["value"]
        elif tag == "textarea":
            self.area = got.get("name", "")
            self.form.fields.append((self.area, "a note of the drill"))

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self.form is not None:
            self.forms.append(self.form)
            self.form = None
        elif tag == "select" and self.select is not None and self.form is not None:
            self.form.fields.append((self.select["name"], self.select["chosen"] or self.select["first"]))
            self.select = None

    def _input(self, got: dict[str, str]) -> None:
        name, kind = got.get("name", ""), got.get("type", "text")
        if kind == "file":
            self.form.has_file = True
        elif kind in ("checkbox", "radio"):
            taken = any(one == name for one, _value in self.form.fields)
            if "checked" in got or not taken:
                self.form.fields = [one for one in self.form.fields if kind == "checkbox" or one[0] != name]
                self.form.fields.append((name, got.get("value", "on")))
        elif name:
            self.form.fields.append((name, got.get("value") or self._something(kind, got)))

    @staticmethod
    def _something(kind: str, got: dict[str, str]) -> str:
        if kind == "number":
            return got.get("min") or "1"
        if kind == "date":
            return time.strftime("%Y-%m-%d", time.localtime(time.time() + 86400))
        if kind == "datetime-local":
            return time.strftime("%Y-%m-%dT%H:%M", time.localtime(time.time() + 2 * 86400))
        if kind == "time":
            return "17:00"
        if kind == "email":
            return f"drill-{uuid.uuid4().hex[:8]}@example.org"
        return f"drill {uuid.uuid4().hex[:6]}" if "required" in got else ""


class Browser:
    """One person's. Follows redirects, keeps cookies; `post` may go through another port."""

    def __init__(self, base: str, email: str, password: str = PASSWORD) -> None:
        self.base, self.email, self.password, self.jar = base, email, password, http.cookiejar.CookieJar()
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.jar))
        self.sign_in()

    def sign_in(self) -> None:
        self._ask(urllib.request.Request(f"{self.base}/accounts/login/"))
        answer = self.post("/accounts/login/", [("login", self.email), ("password", self.password)])
        if answer is None or "/accounts/" in answer[2]:
            raise SystemExit(f"{self.email} cannot sign in at {self.base}: is this the demo?")

    def get(self, path: str) -> tuple[int, str, str] | None:
        answer = self._ask(urllib.request.Request(self.base + path))
        if answer is not None and "/accounts/login" in answer[2]:  # a press signed them out
            print(f"{self.email} was signed out before {path}")
            self.sign_in()
            answer = self._ask(urllib.request.Request(self.base + path))
        return answer

    def post(self, path: str, fields: list[tuple[str, str]], *, port: int | None = None) -> tuple[int, str, str] | None:
        token = next((one.value for one in self.jar if one.name == "csrftoken"), "")
        data = [(name, value) for name, value in fields if name != "csrfmiddlewaretoken"]
        body = urllib.parse.urlencode([*data, ("csrfmiddlewaretoken", token)]).encode()
        where = self.base if port is None else f"http://127.0.0.1:{port}"
        host = urllib.parse.urlsplit(self.base).netloc
        return self._ask(urllib.request.Request(where + path, body, {"Host": host, "Origin": self.base}))

    def _ask(self, request: urllib.request.Request) -> tuple[int, str, str] | None:
        try:
            with self.opener.open(request, timeout=60) as answer:
                return answer.status, answer.read().decode(errors="replace"), answer.url
        except urllib.error.HTTPError as refused:
            with refused:
                return refused.code, refused.read().decode(errors="replace"), refused.url
        except OSError:  # cut
            return None


def rows(database: Path) -> dict[str, Counter[str]]:
    """Digests of all rows by table, without the times of day in them."""
    found = {}
    with contextlib.closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as connection:
        for (table,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall():
            if table not in NOT_OF_A_PRESS and not table.startswith("sqlite_"):
                names = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
                columns = ", ".join(f'"{name}"' for name in names if name not in NOT_AN_EFFECT)
                read = connection.execute(f'SELECT {columns} FROM "{table}"')
                found[table] = Counter(
                    hashlib.sha1(TIMES.sub("", repr(row)).encode(), usedforsecurity=False).hexdigest() for row in read
                )
    return found


def differences(before: dict[str, Counter[str]], after: dict[str, Counter[str]]) -> dict[str, tuple[int, int]]:
    """By table how many rows came and how many went; a row that changed is one of each."""
    return {
        table: ((after[table] - before[table]).total(), (before[table] - after[table]).total())
        for table in after
        if after[table] != before[table]
    }


def forms_of(browser: Browser, most_pages: int) -> Iterator[Form]:
    """Breadth first from the desk. Each kind of form twice at most, with things of different states behind it."""
    seen, kinds, waiting = {"/"}, Counter[str](), deque(["/"])
    addresses = Counter[str]()
    while waiting and most_pages:
        path, most_pages = waiting.popleft(), most_pages - 1
        answer = browser.get(path)
        if answer is None or answer[0] != 200 or "<html" not in answer[1][:2000]:
            continue
        page = Page(path)
        page.feed(answer[1])
        for form in page.forms:
            kinds[form.kind] += 1
            if kinds[form.kind] <= 2 and not form.has_file and not form.action.startswith(NEVER_PRESSED):
                yield form
        for link in page.links:
            alike = re.sub(r"\d+", "N", link)
            addresses[alike] += 1
            if link not in seen and addresses[alike] <= 3 and not link.startswith(NEVER_PRESSED):
                seen.add(link)
                waiting.append(link)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("base")
    parser.add_argument("database", type=Path)
    parser.add_argument("--presses", type=int, default=500)
    parser.add_argument("--pages", type=int, default=400, help="so many for each person at most")
    given = parser.parse_args()
    target = urllib.parse.urlsplit(given.base)
    proxy = CuttingProxy(target.hostname or "127.0.0.1", target.port or 80)
    pressed, had_effect, twice, kinds = 0, 0, [], set()
    for email, role in SIGN_INS:
        browser = Browser(given.base, email)
        for form in forms_of(browser, given.pages):
            if pressed >= given.presses:
                break
            before = rows(given.database)
            browser.post(form.action, form.fields, port=proxy.port)
            once = rows(given.database)
            again = browser.post(form.action, form.fields)
            both = rows(given.database)
            pressed += 1
            first, second = differences(before, once), differences(once, both)
            kinds.add(form.kind)
            had_effect += bool(first)
            if first and second and not form.action.startswith(MAY_HAPPEN_TWICE):
                twice.append(f"{role}: {form.kind}\n    first {first}\n    again {second} ({again and again[0]})")
                print(twice[-1], flush=True)
        print(f"{email}: {pressed} presses so far, {had_effect} with an effect", flush=True)
    proxy.close()
    print(f"{pressed} presses of {len(kinds)} kinds, each cut off once ({proxy.cuts} cuts); {had_effect} had an effect")
    print(f"{len(twice)} had one more when pressed again")
    sys.exit(1 if twice or not had_effect else 0)


if __name__ == "__main__":
    main()
