"""One search over the whole house, for what the person may see: each kind is asked through its own room's gate.

Words are looked for in small tables alone (recipes, equipment, sessions, offers that are open, one's own freezer). The
large one, the batches, is found by its code, or by the recipes found before, among the person's own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from urllib.parse import urlsplit

from django.urls import Resolver404, resolve, reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.http import urlencode
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from club.classes.models import ClassSession
from club.desk.navigation import DOORS, ROOMS, doors_for
from club.members.choices import Role
from club.members.models import User
from inventory.batches.choices import Way
from inventory.batches.models import Batch, BatchQuerySet, Jar, JarOffer
from inventory.batches.rules import jar_code_typed, lot_code_begun, lot_code_end
from inventory.batches.services import keeping_foods
from inventory.equipment.models import KEEP as KEEP_THINGS
from inventory.equipment.models import Thing
from inventory.fruit.models import FreezerItem, Offer
from inventory.jars.models import ClubOrder, LidLot, Place, SupplyLot
from recipes.choices import METHODS
from recipes.models import ProcessTable, Recipe, holding
from recipes.search import LONGEST_SEARCH, MOST_WORDS, mended, read_search

MOST_HITS = 6  # of one kind
LONGEST_CODE = 300  # letters
MOST_RECIPES = 60  # among whose batches one's own are looked for


@dataclass(frozen=True)
class Hit:
    title: str
    url: str
    about: str = ""


@dataclass(frozen=True)
class Group:
    """Hits of one kind; `more_url` leads to the room's own list of them, where there are more than fit."""

    key: str
    title: str
    hits: list[Hit]
    more_url: str = ""


@dataclass(frozen=True)
class Found:
    """`mended` is what was looked for instead, where nothing is called as it was typed; `at_once` the address of the
    one thing that a whole code means.
    """

    text: str
    groups: list[Group] = field(default_factory=list)
    mended: str = ""
    at_once: str = ""
    problem: str = ""

    @property
    def count(self) -> int:
        return sum(len(group.hits) for group in self.groups)


def found_for(user: User, typed: str, *, now: datetime) -> Found:
    text = " ".join(typed.replace("\0", " ").split())
    if not text:
        return Found("")
    if len(text) > LONGEST_SEARCH or len(text.split()) > MOST_WORDS:
        problem = _("Look for at most %(n)s words at once: the rarest ones find best.") % {"n": MOST_WORDS}
        return Found(text[:LONGEST_SEARCH], problem=problem)
    groups = _filled(_coded(user, text))
    if groups and jar_code_typed(text):
        return Found(text, groups, at_once=groups[0].hits[0].url)
    groups += _filled(_called(user, text, now))
    if groups:
        return Found(text, groups)
    better = mended(text, _vocabulary(user))
    groups = _filled(_called(user, better, now)) if better else []
    return Found(text, groups, mended=better if groups else "")


def _filled(groups: Iterator[Group]) -> list[Group]:
    return [group for group in groups if group.hits]


# By a code, or a part of one


def _coded(user: User, text: str) -> Iterator[Group]:
    yield Group("lots", _("Batches and jars"), list(_lots(user, text)))
    if not any(char.isdigit() for char in text) or len(text) < 3:
        return
    if user.has_perm("batches.trace_batch"):
        lids = LidLot.objects.coded_about(text).order_by("-pk")[:MOST_HITS]
        yield Group("lids", _("Lids"), [Hit(str(one), _trace(one.code), one.maker) for one in lids])
    supplies = SupplyLot.objects.known_to(user).coded(text).select_related("supply")[:MOST_HITS]
    yield Group(
        "supplies", _("Vinegar, pectin, salt"), [Hit(str(one), one.supply.get_absolute_url()) for one in supplies]
    )


def _lots(user: User, text: str) -> Iterator[Hit]:
    """A whole code of any batch that one may see, its beginning, or the three letters that one's own ends with."""
    rows = Batch.objects.visible_to(user)
    if typed := jar_code_typed(text):
        lot_code, number = typed
        if number is not None:
            yield from _jar_hits(user, lot_code, number)
        for batch in _with_names(rows.filter(lot_code=lot_code)):
            yield _batch_hit(batch)
            yield Hit(_("Where its jars are"), _trace(lot_code), lot_code)
    elif begun := lot_code_begun(text):
        yield from map(_batch_hit, _with_names(rows.code_begins(begun).order_by("lot_code"))[:MOST_HITS])
    elif end := lot_code_end(text):
        mine = Batch.objects.cared_for_by(user).filter(lot_code__endswith=end)
        yield from map(_batch_hit, _with_names(mine)[:MOST_HITS])


def _with_names(rows: BatchQuerySet) -> BatchQuerySet:
    return rows.select_related("revision__recipe", "kitchen").defer("plan", "revision__content")


def _batch_hit(batch: Batch) -> Hit:
    when = date_format(timezone.localtime(batch.started_at), "j M Y")
    return Hit(batch.title, batch.get_absolute_url(), " · ".join([batch.lot_code, batch.kitchen.name, when]))


def _jar_hits(user: User, lot_code: str, number: int) -> Iterator[Hit]:
    rows = Jar.objects.visible_to(user).filter(batch__lot_code=lot_code, number=number)
    for jar in rows.select_related("batch__revision__recipe").defer("batch__plan", "batch__revision__content"):
        title = _("%(what)s, jar %(n)s") % {"what": jar.batch.title, "n": number}
        yield Hit(title, reverse("batches:jar", args=[lot_code, number]), f"{lot_code} / {number}")


# What a whole code means, as a label prints it or its square says it.


def meant_by_code(user: User, text: str) -> Hit | None:
    """The one thing or jar (or batch, or place for jars) that somebody has in hand; None where there is none that they
    may see.

    A square holds an address. Whose site it names is not looked at: only what it names here, and only these pages.
    """
    typed = " ".join(text.replace("\0", " ").split())[:LONGEST_CODE]
    hits = _meant_by_address(user, typed) if "/" in typed and ":" in typed else _meant_by_words(user, typed)
    return next(iter(hits), None)


def _meant_by_words(user: User, typed: str) -> Iterator[Hit]:
    if jar_code_typed(typed):
        yield from _lots(user, typed)
    yield from _things(user, typed)


def _meant_by_address(user: User, address: str) -> Iterator[Hit]:
    try:
        there = resolve(urlsplit(address).path)
    except (Resolver404, ValueError):
        return
    if there.view_name == "batches:jar":
        yield from _lots(user, f"{there.kwargs['lot_code']} / {there.kwargs['number']}")
    elif there.view_name == "batches:detail":
        yield from _lots(user, there.kwargs["lot_code"])
    elif there.view_name in ("equipment:thing", "equipment:own-canner"):
        yield from _things(user, there.kwargs["code"])
    elif there.view_name == "jars:place":
        for place in Place.objects.usable_by(user).filter(pk=there.kwargs["pk"]):
            yield Hit(str(place), reverse("jars:place", args=[place.pk]))


def _things(user: User, code: str) -> Iterator[Hit]:
    """A keeper is led to the counter, where it is handed over or taken back."""
    for thing in Thing.objects.visible_to(user).coded(code):
        counter = f"{reverse('equipment:counter')}?{urlencode({'code': thing.code})}"
        yield Hit(thing.name, counter if user.has_perm(KEEP_THINGS) else thing.get_absolute_url(), thing.code)
    for thing in Thing.everything.owned_by(user).coded(code):
        yield Hit(thing.name, thing.get_absolute_url(), thing.code)


def _trace(code: str) -> str:
    return f"{reverse('batches:trace')}?{urlencode({'code': code})}"


# By what it is called


def _called(user: User, text: str, now: datetime) -> Iterator[Group]:
    asked = read_search(text)
    if not asked.terms:
        return
    if asked.amount:
        query = urlencode({"fruit_1": asked.food, "weight_1": asked.amount})
        title = _("What can I make of %(amount)s of %(food)s?") % {"amount": asked.amount, "food": asked.food}
        yield Group("make", _("Fruit at hand"), [Hit(title, f"{reverse('desk:make')}?{query}")])
    recipes = list(Recipe.objects.published().search(text).only("pk", "title", "slug", "produce")[:MOST_RECIPES])
    recipes.sort(key=lambda one: not all(any(name in one.title.casefold() for name in term) for term in asked.terms))
    query = urlencode({"q": text})
    more = f"{reverse('recipes:list')}?{query}" if len(recipes) > MOST_HITS else ""
    hits = [Hit(one.title, reverse("recipes:recipe", args=[one.slug])) for one in recipes[:MOST_HITS]]
    yield Group("recipes", _("Recipes"), hits, more)
    keys = [one.pk for one in recipes]
    if keys:
        mine = Batch.objects.cared_for_by(user).filter(revision__recipe__in=keys).order_by("-started_at", "-pk")
        yield Group("batches", _("Your batches"), list(map(_batch_hit, _with_names(mine)[:MOST_HITS])))
        jars = JarOffer.objects.open().sound().filter(batch__revision__recipe__in=keys).for_list()[:MOST_HITS]
        offered = [Hit(one.batch.title, one.get_absolute_url(), f"{one.batch.lot_code} · {one.giver}") for one in jars]
        yield Group("jars", _("Jars to give"), offered)
    staged = Batch.objects.cared_for_by(user).filter(holding(text, "food_title__icontains")).exclude(food="")
    newest = _with_names(staged.order_by("-started_at", "-pk"))[:MOST_HITS]
    yield Group("kept", _("Your ferments, dried and frozen food"), list(map(_batch_hit, newest)))
    yield Group("foods", _("Ferment, dry or freeze"), list(_foods(asked.terms))[:MOST_HITS])
    yield _tables(user, text, query)
    yield _equipment(user, text)
    frozen = FreezerItem.objects.visible_to(user).there().filter(holding(text, "what__icontains", "produce__icontains"))
    in_freezer = [Hit(one.what, one.get_absolute_url(), one.weight_text(user.units)) for one in frozen[:MOST_HITS]]
    yield Group("freezer", _("In the freezer"), in_freezer)
    offers = (
        Offer.objects.visible_to(user).claimable(now).filter(holding(text, "produce__icontains", "name__icontains"))
    )
    hits = [Hit(capfirst(str(one.title)), one.get_absolute_url(), one.about_where) for one in offers[:MOST_HITS]]
    yield Group("fruit", _("Fruit to share"), hits)
    sessions = (
        ClassSession.objects.visible_to(user).filter(holding(text, "title__icontains")).order_by("-starts_at", "pk")
    )
    hits = [Hit(one.title, one.get_absolute_url(), _moment(one.starts_at)) for one in sessions[:MOST_HITS]]
    yield Group("classes", _("Classes"), hits)
    orders = ClubOrder.objects.visible_to(user).filter(holding(text, "title__icontains")).order_by("-opened_at", "pk")
    yield Group("orders", _("Club orders"), [Hit(str(one), one.get_absolute_url()) for one in orders[:MOST_HITS]])
    if user.has_perm("members.grant_role"):
        people = User.objects.get_queryset().called(text).in_order()[:MOST_HITS]
        hits = [Hit(str(one), reverse("members:person", args=[one.pk]), one.email) for one in people]
        yield Group("people", _("People"), hits)
    yield Group("help", _("Pages and help"), list(_pages(user, text))[:MOST_HITS])


def _foods(terms: Sequence[Sequence[str]]) -> Iterator[Hit]:
    """Rows of the tables of ferments, dried and frozen food whose names have every term."""
    for row in keeping_foods():
        if all(any(all(word in row.said for word in name.split()) for name in term) for term in terms):
            title = f"{capfirst(row.food)}: {Way(row.way).label}"
            yield Hit(title, reverse("batches:keep-start", args=[row.way, row.key]), row.about)


def _tables(user: User, text: str, query: str) -> Group:
    tables = ProcessTable.objects.visible_to(user).search(text).order_by("food", "variant", "pk")
    url = f"{reverse('recipes:process-tables')}?{query}"
    found = list(tables.only("pk", "food", "variant", "method")[: MOST_HITS + 1])
    hits = [
        Hit(capfirst(", ".join(filter(None, [one.food, one.variant]))), url, str(METHODS.get(one.method, "")))
        for one in found[:MOST_HITS]
    ]
    return Group("tables", _("Process tables"), hits, url if len(found) > MOST_HITS else "")


def _equipment(user: User, text: str) -> Group:
    """The club's by name, place and code; one's own canners by name and code."""
    rows = [*Thing.objects.visible_to(user).search(text)[:MOST_HITS]]
    rows += Thing.everything.owned_by(user).search(text)[:MOST_HITS]
    return Group(
        "equipment", _("Equipment"), [Hit(one.name, one.get_absolute_url(), one.code) for one in rows[:MOST_HITS]]
    )


def _moment(moment: datetime) -> str:
    return date_format(timezone.localtime(moment), "D j M Y, H:i")


# Pages, by what people would call what they do there


@dataclass(frozen=True)
class Page:
    label: Promise
    address: str
    words: Promise


PAGES = (
    Page(
        gettext_lazy("Something went wrong with jars"),
        "batches:wrong",
        gettext_lazy("help broken jar did not seal mould cloudy siphoned spoiled botulism leak unsealed accident"),
    ),
    Page(
        gettext_lazy("Ferment, dry or freeze"),
        "batches:keep",
        gettext_lazy("kraut pickle brine salt dehydrate dried freezer blanch kimchi crock"),
    ),
    Page(
        gettext_lazy("Read a code"),
        "desk:camera",
        gettext_lazy("camera scan scanner qr square barcode label jar opened hand over take back"),
    ),
    Page(
        gettext_lazy("What can I make?"),
        "desk:make",
        gettext_lazy("fruit at hand ideas suggestions use up glut kilos harvest"),
    ),
    Page(
        gettext_lazy("The season's plan"),
        "desk:season-mine",
        gettext_lazy("targets year jars opened given away how many shelf put up"),
    ),
    Page(
        gettext_lazy("When it is ripe"),
        "desk:harvest",
        gettext_lazy("harvest calendar weeks months season region climate fruit vegetables"),
    ),
    Page(
        gettext_lazy("Your kitchens and their altitude"),
        "members:me",
        gettext_lazy("height elevation feet metres units metric household settings name password passkey profile"),
    ),
    Page(
        gettext_lazy("Mail and reminders"),
        "reminders:notification-settings",
        gettext_lazy("notifications quiet hours digest stop email time zone"),
    ),
    Page(gettext_lazy("The calendar feed"), "calendar:mine", gettext_lazy("ical subscribe phone calendar dates")),
    Page(gettext_lazy("What is kept of people"), "desk:privacy", gettext_lazy("privacy data protection delete")),
    Page(gettext_lazy("Take your data along"), "desk:my-data", gettext_lazy("download export my data copy")),
    Page(gettext_lazy("Leave the club"), "desk:leave", gettext_lazy("membership end quit leaving")),
    Page(gettext_lazy("Jars called back"), "batches:recalls", gettext_lazy("recall withdrawn do not eat unsafe")),
    Page(gettext_lazy("Things you borrowed or hold"), "equipment:mine", gettext_lazy("loans borrow return book hold")),
    Page(gettext_lazy("Your own canners"), "equipment:own-canners", gettext_lazy("gauge test dial pressure canner")),
    Page(gettext_lazy("What things cost"), "recipes:prices", gettext_lazy("prices money sugar lids cost")),
)


def _pages(user: User, text: str) -> Iterator[Hit]:
    """Rooms, the doors of who runs the club, and pages, where every term is in their name or their words."""
    asked = read_search(text)
    roles = frozenset(Role) if user.is_superuser else user.role_names
    named = [(room.label, room.address, "") for room in (*ROOMS, *doors_for(roles))]
    for label, address, words in [*named, *((page.label, page.address, page.words) for page in PAGES)]:
        said = f"{label} {words}".casefold()
        if all(any(all(word in said for word in name.split()) for name in term) for term in asked.terms):
            yield Hit(str(label), reverse(address))


def _vocabulary(user: User) -> Iterator[str]:
    """Words that things here are called by: what a slip of the pen is put right to."""
    yield from Recipe.objects.published().values_list("search_text", flat=True)
    yield from ProcessTable.objects.visible_to(user).values_list("search_text", flat=True)
    yield from Thing.objects.visible_to(user).values_list("name", flat=True)
    yield from (row.said for row in keeping_foods())
    for label, words in [*((room.label, "") for room in (*ROOMS, *DOORS)), *((one.label, one.words) for one in PAGES)]:
        yield f"{label} {words}"
