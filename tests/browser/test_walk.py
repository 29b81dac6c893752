"""Every page of the site as each role of the demo sees it, on a phone and on a desktop: all that a scan can find.

Links are followed as each person: one page of each view and set of questions, and beside them what only a mail or a
rarer state leads to. A browser then opens a page of each view, and every other that is built of something new.
"""

from __future__ import annotations

import os
import re
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urljoin, urlsplit
from uuid import uuid4

import pytest
from allauth.account.models import EmailAddress
from django.conf import settings
from django.core import mail
from django.test import Client
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from club.classes.models import ClassSession, SignUp
from club.classes.services.seats import seat_token
from club.core.clock import club_day
from club.members.models import User
from club.members.services import address_ask, consent_token, join_ask, street_change
from club.reminders.rules import stop_token
from club.reminders.services import mailbox_note_bounce
from club.run.demo import SIGN_INS, demo_load
from inventory.batches.models import Batch, JarsSetAside
from inventory.batches.services import jars_set_aside, reading_note
from inventory.equipment.services import loan_return
from inventory.jars import services as jars
from inventory.jars.models import Deposit
from recipes.services import library_load, revision_draft
from tests.browser.conftest import DESKTOP, PHONE, Visitor
from tests.club.test_every_page_needs_sign_in import EVERY, address_of
from tests.factories.batches import make_batch_checked, make_batch_out, make_ferment_done
from tests.factories.classes import make_session
from tests.factories.equipment import make_loan as make_thing_loan
from tests.factories.equipment import make_thing
from tests.factories.jars import make_loan
from tests.factories.members import make_codes, make_invitation, make_kitchen, make_person
from tests.factories.orders import LIDS, make_arrived, make_order, make_ordered, wish
from tests.factories.passkeys import make_passkey
from tests.factories.recipes import recipe_document
from tests.factories.reminders import make_received
from tests.helpers import just_asked
from tests.published.library import LIBRARY

ORGANISER, KEEPER, INSTRUCTOR, OF_TWO_ROLES, MEMBER = (email for email, _roles in SIGN_INS)
NEWCOMER = "newcomer@example.test"
NOBODY = ""  # a visitor who is not signed in, and who has read a mail
DJANGOS_OWN = "admin:"
# Views that answer GET with something other than a page, where the demo has none of it to show.
NO_PAGE = {
    "equipment:photo": "a picture",
    "fruit:photo": "a picture",
    "batches:photo": "a picture",
    "classes:photo": "a picture",
    "calendar:feed": "a calendar",
    "desk:robots": "for robots",
    "desk:sitemap": "for robots",
    "batches:stove-presses": "for the script of the cook's page",
    "kitchen-worker": "a script",
    "kitchen-manifest": "for browsers",
    "kitchen-icon": "a picture",
    "healthz-ready": "for machines: not ready, where no beat runs",
    "metrics": "for machines: nothing without a token",
}
PUSHED = "/classes/handouts/"  # a known fault: in letters twice as large on a phone it is 10 px wider than the screen
COLOURS = os.environ.get("WALK_COLOURS", "light")  # "dark": the same walk in the other colours
LARGE = "document.documentElement.style.fontSize = '200%'"


class Parts(HTMLParser):
    """What a page leads to, and what it is built of: the tags of its <main>, with their classes and types."""

    def __init__(self, address: str, text: str) -> None:
        super().__init__()
        self.address, self.links = address, []
        self.built_of: set[tuple[str, ...]] = set()
        self.is_main = False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        said = {name: value or "" for name, value in attributes}
        self.is_main |= tag == "main"
        if self.is_main:
            self.built_of.add((tag, said.get("class", ""), said.get("type", "")))
        if tag == "a" and said.get("href"):
            self.links.append(urljoin(self.address, said["href"]).partition("#")[0])

    def handle_endtag(self, tag):
        self.is_main &= tag != "main"


@dataclass(frozen=True)
class Stop:
    """A page for the browser to open, and as whom."""

    email: str
    address: str


class Walk:
    """Follows links as one person after the other, and notes where a browser has something new to see."""

    def __init__(self) -> None:
        self.reached: set[str] = set()  # views that answered somebody with a page, or with a file
        self.viewed: set[str] = set()  # views of which a page is among the stops
        self.shown: set[tuple[str, ...]] = set()  # what the stops are built of
        self.stops: list[Stop] = []

    def follow(self, email: str, beginnings: list[str]) -> None:
        """All that this person's pages lead to; each of the beginnings is looked at whatever was seen before."""
        client = client_of(email)
        asked: set[object] = set()
        waiting = deque((address, True) for address in beginnings)
        while waiting:
            address, is_beginning = waiting.popleft()
            path, query = urlsplit(address)[2:4]
            try:
                view = resolve(path).view_name
            except Resolver404:
                continue
            sort = view, tuple(sorted({name for name, _value in parse_qsl(query)}))
            if view.startswith(DJANGOS_OWN) or address in asked or (sort in asked and not is_beginning):
                continue
            asked |= {sort, address}
            answer = client.get(address)
            if answer.status_code in (301, 302):
                waiting.appendleft((urljoin(address, answer.url), False))
            elif answer.status_code == 200:
                waiting.extend((link, False) for link in self.look_at(Stop(email, address), view, answer))

    def look_at(self, stop: Stop, view: str, answer) -> list[str]:
        """The links of a page; where it shows something new, it becomes a stop."""
        self.reached.add(view)
        if not answer["Content-Type"].startswith("text/html"):
            return []
        parts = Parts(stop.address, answer.content.decode())
        if view not in self.viewed or parts.built_of - self.shown:
            self.viewed.add(view)
            self.shown |= parts.built_of
            self.stops.append(stop)
        return [link for link in parts.links if link.startswith("/")]

    def left_out(self) -> list[str]:
        """Views with a page that nobody was led to, and how they answer. One without arguments is a beginning."""
        asker = client_of(ORGANISER)
        found = []
        for name, regex, pattern in EVERY:
            if name in self.reached or name in NO_PAGE or name.startswith(DJANGOS_OWN):
                continue
            status = asker.get(address_of(regex, pattern)).status_code
            if status not in (301, 302, 405):  # it only leads on, or takes what a form sends
                found.append(f"{name}: {status}")
        return found


def client_of(email: str) -> Client:
    client = Client()
    if email:
        client.force_login(User.objects.get(email=email))
        just_asked(client)
    return client


def without_arguments() -> Iterator[str]:
    """Every address that needs no row to exist."""
    for name, regex, pattern in EVERY:
        if "(?P<" not in regex and not name.startswith(DJANGOS_OWN):
            yield address_of(regex, pattern)


@pytest.fixture
def beginnings(transactional_db) -> dict[str, list[str]]:
    """The demo club, what it has no example of, and where each person begins. Who sees the most goes first."""
    library_load(paths=[LIBRARY])
    now = timezone.now()
    demo_load(now=now)
    everywhere = list(without_arguments())
    keeper, member, teacher = (User.objects.get(email=email) for email in (KEEPER, MEMBER, INSTRUCTOR))
    make_person(email=NEWCOMER, name="Ada Maximiliane Featherstonehaugh")
    organiser = User.objects.get(email=ORGANISER)
    street_change(by=organiser, is_open=True, about="Plums and pears.", hours="Tuesdays.", joining="Write to us.")
    join_ask(name="Ada Newcomer", email="ada@example.test", words="I have a pear tree.")
    make_codes(member)
    make_passkey(teacher)
    return {
        OF_TWO_ROLES: everywhere,
        MEMBER: [*everywhere, *batches_of(member)],
        ORGANISER: [*everywhere, *mailboxes(member), "/season/harvest/weeks/?produce=peaches"],
        KEEPER: [*everywhere, *orders_of(keeper, member), *deposits_of(keeper, member)],
        INSTRUCTOR: [*everywhere, *classes_of(teacher), *waiting_for(teacher)],
        NEWCOMER: [
            "/",
            "/season/",
            "/batches/",
            "/equipment/mine/",
            "/classes/mine/",
            "/reminders/inbox/",
            "/fruit/mine/",
        ],
        NOBODY: [*everywhere, *mailed(member), "/accounts/confirm-email/1/", "/accounts/password/reset/key/1-1/"],
    }


def batches_of(member: User) -> Iterator[str]:
    """Jars to process again, jars set aside, jars to offer, and a kitchen whose altitude nobody knows."""
    now, kitchen = timezone.now(), member.kitchens.first()
    mine = {"by": member, "kitchen": kitchen}
    waiting = make_batch_checked(**mine, out_at=now - timedelta(hours=15), unsealed={1: "reprocess"})
    aside = make_batch_out(**mine, out_at=now - timedelta(hours=14))
    jars_set_aside(by=member, batch=aside, situation="unsealed", jars=[1, 2], token=uuid4())
    cooking = Batch.objects.get(made_by=member, state="started")
    kept = Batch.objects.filter(made_by=member, state="checked").order_by("pk").first()
    high = make_kitchen(member, name="The new house", altitude="")
    yield f"/batches/{waiting.lot_code}/reprocess/"
    yield from (f"/batches/{aside.lot_code}/{page}" for page in ("", "seals/"))
    yield from (f"/batches/{cooking.lot_code}/{page}" for page in ("", "log/", "give-up/"))
    yield f"/batches/{kept.lot_code}/wrong/?what=mould"
    yield f"/batches/{kept.lot_code}/offer/"
    yield from stages_of(member, now)
    yield f"/recipes/strawberry-jam-liquid/plan/?kitchen={high.pk}&pots=1"
    yield "/recipes/strawberry-jam-liquid/plan/?pots=1&burners=0"
    yield f"/season/{high.pk}/"
    make_received(member, "Look at the seals: Plum jam, 26329-KXT", path="/batches/", sent_at=now)
    yield "/reminders/inbox/?page=1"


def stages_of(member: User, now: datetime) -> Iterator[str]:
    """A food to freeze, a ferment that is over, one whose pH is too high, and frozen food."""
    yield "/batches/keep/freeze/green-beans-whole-or-1-to-2-in-pieces-dry/"
    over = make_ferment_done(key="fermented-dills", by=member, began=now - timedelta(days=23))
    yield from (f"/batches/{over.lot_code}/{page}" for page in ("", "put-up/", "can/"))
    kraut = Batch.objects.get(made_by=member, food="sauerkraut")
    strip = {"measured": "ph", "value": Decimal("4.8"), "by_strip": True, "token": uuid4()}
    reading_note(by=member, batch=kraut, **strip)
    yield from (f"/batches/{kraut.lot_code}/{page}" for page in ("", "look/", "reading/", "stage/"))
    beans = Batch.objects.get(made_by=member, state="frozen", way="freeze")
    yield from (f"/batches/{beans.lot_code}/{page}" for page in ("", "labels/"))


def orders_of(keeper: User, member: User) -> Iterator[str]:
    """Orders open, sent to the supplier, over and done, and called off."""
    now = timezone.now() - timedelta(days=2)
    begun = {"by": keeper, "now": now}
    yield f"/jars/orders/{make_order(**begun).pk}/cancel/"
    sent = make_order(**begun, title="On its way")
    wish(sent, member, now=now, jars=1)
    make_ordered(sent, **begun)
    yield from (f"/jars/orders/{sent.pk}/", f"/jars/orders/{sent.pk}/arrive/")
    done = make_order(LIDS, **begun, title="Over and done")
    wish(done, member, now=now, lids=1)
    make_arrived(done, **begun)
    jars.order_pick_up(by=keeper, order=done, member=member, token=uuid4())
    jars.order_close(by=keeper, order=done)
    yield f"/jars/orders/{done.pk}/"
    gone = make_order(**begun, title="Never came")
    jars.order_cancel(by=keeper, order=gone, reason="The supplier shut down")
    yield f"/jars/orders/{gone.pk}/"
    yield "/jars/orders/new/?want=lids::30&want=jars:pint:14"


def deposits_of(keeper: User, member: User) -> Iterator[str]:
    make_loan(member, 3, by=keeper, deposit_cents=50)
    yield f"/jars/deposits/{Deposit.objects.latest('pk').pk}/settle/"
    thing = make_thing("food-mill", by=keeper, now=timezone.now())
    loan = make_thing_loan(thing, member, by=keeper, now=timezone.now(), deposit_cents=2000)
    yield f"/equipment/loans/{loan_return(by=keeper, loan=loan, condition='good').pk}/deposit/"
    yield f"/jars/shelves/{jars.count_begin(by=keeper, place=jars.store_place(), token=uuid4()).pk}/"


def waiting_for(teacher: User) -> Iterator[str]:
    """What only an instructor opens: a draft of their own, and jars of a member that are set aside."""
    for aside in JarsSetAside.objects.select_related("batch"):
        yield f"/batches/{aside.batch.lot_code}/set-aside/{aside.pk}/"
    draft = revision_draft(by=teacher, content=recipe_document())
    yield from (f"/recipes/drafts/{draft.pk}/{page}/" for page in ("change", "text"))


def classes_of(teacher: User) -> Iterator[str]:
    """A draft of six stations side by side, and the class that was held."""
    now, held = timezone.now(), ClassSession.objects.get(state="held")
    yield from (f"/classes/{held.pk}/{page}" for page in ("", "day/", "day/stations/", "after/"))
    session = make_session(by=teacher, day=club_day(now) + timedelta(days=9), stations=6, state="draft", now=now)
    yield from (f"/classes/{session.pk}/{page}/" for page in ("plan", "gear", "change", "call-off"))


def mailboxes(member: User) -> Iterator[str]:
    """A mailbox that sends mails back: the member and the organiser are told."""
    mailbox_note_bounce(person=member, reason="5.1.1: no such box here")
    yield "/reminders/"


def mailed(member: User) -> Iterator[str]:
    """What mails lead to, whoever opens them."""
    make_invitation(email="guest@example.test")
    [letter] = [one for one in mail.outbox if one.to == ["guest@example.test"]]
    yield re.search(rf"{settings.SITE_URL}(\S+)", letter.body)[1]
    further = EmailAddress.objects.create(user=member, email="further@example.test")
    address_ask(address=further)
    yield reverse("members:address-agree", args=[consent_token(further.consent)])
    yield f"/reminders/stop/{stop_token(member.pk, 'loan-due')}/"
    for state in ("seated", "waiting", "cancelled"):
        if signup := SignUp.objects.filter(state=state).first():
            yield f"/classes/seat/{seat_token(signup.pk)}/"


def seen_on(visitor: Visitor, *, is_first: bool) -> list[str]:
    """What is wrong with the page that is open: on a phone, there in letters twice as large, and on a desktop.

    A desktop is scanned whole once for each person, and else where it shows what a phone leaves out.
    """
    page = visitor.page
    wrong = [*visitor.problems(), *visitor.problems_of_the_bar()]
    if not page.url.startswith(f"{visitor.base_url}{PUSHED}"):
        page.evaluate(LARGE)
        wrong += visitor.scrolls_sideways("in letters twice as large")
        page.evaluate("document.documentElement.style.fontSize = ''")
    page.set_viewport_size(DESKTOP)
    wrong += [*visitor.problems(only_new=not is_first), *visitor.problems_of_the_bar()]
    page.set_viewport_size(PHONE)
    return wrong


def test_every_page_passes_the_scan_for_every_role_on_both_screens(chromium, live_server, beginnings, tell):
    walk, begun = Walk(), time.monotonic()
    for email, addresses in beginnings.items():
        walk.follow(email, addresses)
    left = walk.left_out()
    assert not left, f"no place in the walk, neither where it begins nor why it is no page: {', '.join(left)}"
    followed, wrong = time.monotonic(), []
    for email in beginnings:
        context = chromium.new_context(viewport=PHONE, has_touch=True, reduced_motion="reduce", color_scheme=COLOURS)
        context.set_default_timeout(60_000)
        if email:
            key = client_of(email).cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": key, "url": live_server.url}])
        visitor = Visitor(context.new_page(), live_server.url)
        for number, stop in enumerate(stop for stop in walk.stops if stop.email == email):
            visitor.refused.clear()
            assert visitor.go(stop.address).status == 200, stop
            wrong += [f"as {email or 'nobody'}: {one}" for one in seen_on(visitor, is_first=number == 0)]
        context.close()
    seconds = f"{followed - begun:.0f} s to follow all links, {time.monotonic() - followed:.0f} s to look"
    tell(f"the walk: {len(walk.viewed)} views, {len(walk.stops)} pages on two screens; {seconds}")
    assert not wrong, "\n".join(wrong)


def test_a_page_without_a_place_would_fail_the_walk(transactional_db):
    make_person(email=ORGANISER)
    walk = Walk()
    walk.reached = {name for name, _regex, _pattern in EVERY} - {"jars:place"}
    assert walk.left_out() == ["jars:place: 404"]
