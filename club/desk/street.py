"""The door to the street: pages for who has no account, while the club holds it open. Nothing of members is on them.

A recipe here has the whole of its process tables and never one time by itself: which row holds hangs on the altitude of
the reader's own kitchen, which nobody here knows.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from club.classes.choices import SessionState
from club.classes.models import ClassSession
from club.members.models import StreetPage, street_page
from recipes.engine.quantities import format_number
from recipes.models import Recipe
from recipes.presentation import band_tables, detail_lines, headspace_text, ingredient_lines, source_text, step_words
from recipes.safety import panel_of

CLASSES_SHOWN = 12
MOST_IN_SITEMAP = 5_000
ENDS_NOTHING = {ord(char): f"\\u{ord(char):04x}" for char in "<>&\u2028\u2029"}


def _open_door() -> StreetPage:
    page = street_page()
    if not page.is_open:
        raise Http404
    return page


def _sessions(now: datetime) -> QuerySet[ClassSession]:
    """Published ones that are still to begin, the next first."""
    coming = ClassSession.objects.filter(state=SessionState.PUBLISHED, starts_at__gt=now)
    return coming.select_related("hall").order_by("starts_at", "pk")


def _recipes() -> QuerySet[Recipe]:
    """Published, and not held back since."""
    return Recipe.objects.published().filter(current__refused_why="").order_by("title", "pk")


@login_not_required
@require_safe
def welcome(request: HttpRequest) -> HttpResponse:
    context = {"street": _open_door(), "sessions": _sessions(timezone.now())[:CLASSES_SHOWN]}
    return render(request, "desk/street.html", context)


@login_not_required
@require_safe
def session(request: HttpRequest, pk: int) -> HttpResponse:
    _open_door()
    found = get_object_or_404(_sessions(timezone.now()), pk=pk)
    context = {"session": found, "address": settings.SITE_URL + request.path, "linked": _json(_event(found))}
    return render(request, "desk/street_class.html", context)


def _event(found: ClassSession) -> dict[str, Any]:
    return {
        "@context": "https://schema.org",
        "@type": "Event",
        "name": found.title,
        "startDate": found.starts_at.isoformat(),
        "endDate": found.ends_at.isoformat(),
        "eventAttendanceMode": "https://schema.org/OfflineEventAttendanceMode",
        "location": {"@type": "Place", "name": found.hall.name},
        "organizer": {"@type": "Organization", "name": settings.CLUB_NAME},
        "description": found.about,
    }


@login_not_required
@require_safe
def recipes(request: HttpRequest) -> HttpResponse:
    _open_door()
    return render(request, "desk/street_recipes.html", {"recipes": _recipes().only("title", "slug")})


@login_not_required
@require_safe
def recipe(request: HttpRequest, slug: str) -> HttpResponse:
    _open_door()
    found = get_object_or_404(_recipes().select_related("current"), slug=slug)
    assert found.current is not None  # it is published
    tested = found.current.tested
    lines = ingredient_lines(tested, "us")
    steps = step_words(tested, tested.steps, "us")
    linked: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Recipe",
        "name": tested.title,
        "url": settings.SITE_URL + request.path,
        "author": {"@type": "Organization", "name": settings.CLUB_NAME},
        "citation": source_text(tested.source),
        "recipeIngredient": [" ".join(filter(None, [one.amount, one.item, one.prep])) for one in lines],
        # No time anywhere: a step sends to the table, whose row hangs on the reader's altitude.
        "recipeInstructions": [{"@type": "HowToStep", "text": one.text} for one in steps],
        "datePublished": found.current.published_at.date().isoformat() if found.current.published_at else None,
    }
    context = {
        "recipe": found,
        "revision": found.current,
        "tested": tested,
        "headspace": headspace_text(tested.headspace_in),
        "yield_low": format_number(tested.stated_yield.low),
        "yield_high": format_number(tested.stated_yield.high),
        "hard_boil_minutes": format_number(tested.hard_boil.minutes) if tested.hard_boil else "",
        "lines": lines,
        "recipe_steps": steps,
        "details": detail_lines(tested),
        "tables": band_tables(tested.process, None, tested),
        "panel": panel_of(tested, None),
        "address": settings.SITE_URL + request.path,
        "linked": _json({key: value for key, value in linked.items() if value is not None}),
    }
    return render(request, "desk/street_recipe.html", context)


def _json(said: dict[str, Any]) -> SafeString:
    """For a script element: no character in it can end that."""
    return mark_safe(json.dumps(said, ensure_ascii=False).translate(ENDS_NOTHING))


@login_not_required
@require_safe
def robots(request: HttpRequest) -> HttpResponse:
    """A shut door keeps robots out of everything; an open one lets them read what is there for the street alone."""
    lines = ["User-agent: *"]
    if street_page().is_open:
        at = settings.SITE_URL + reverse("desk:sitemap")
        lines += [f"Allow: {reverse('desk:street')}", "Allow: /static/", "Disallow: /", "", f"Sitemap: {at}"]
    else:
        lines += ["Disallow: /"]
    return HttpResponse("\n".join(lines) + "\n", content_type="text/plain; charset=utf-8")


@login_not_required
@require_safe
def sitemap(request: HttpRequest) -> HttpResponse:
    _open_door()
    paths = [reverse("desk:street"), reverse("desk:street-recipes")]
    sessions = _sessions(timezone.now()).values_list("pk", flat=True)[:MOST_IN_SITEMAP]
    paths += [reverse("desk:street-class", args=[pk]) for pk in sessions]
    slugs = _recipes().values_list("slug", flat=True)[:MOST_IN_SITEMAP]
    paths += [reverse("desk:street-recipe", args=[slug]) for slug in slugs]
    addresses = [settings.SITE_URL + path for path in paths]
    return render(request, "desk/sitemap.xml", {"addresses": addresses}, content_type="application/xml")
