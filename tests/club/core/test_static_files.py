from __future__ import annotations

import re
from pathlib import Path

from django.contrib.staticfiles import finders
from django.template import Context, Template

NAMED = re.compile(r"\{% static '([^']+)' %\}|\{% static \"([^\"]+)\" %\}")


def collected() -> set[str]:
    """By the address below STATIC_URL, as collectstatic would copy them."""
    return {
        "/".join(filter(None, (getattr(storage, "prefix", ""), path)))
        for finder in finders.get_finders()
        for path, storage in finder.list([])
    }


def ours(base: Path) -> list[Path]:
    return [file for house in ("club", "recipes", "inventory") for file in (base / house).rglob("templates/**/*.html")]


def htmx(settings, *, debug: bool) -> list[str]:
    settings.DEBUG = debug
    tags = Template("{% load django_htmx %}{% htmx_script version=2 %}").render(Context())
    return re.findall(r'src="/static/([^"]+)"', tags)


def test_of_large_packages_only_what_pages_use_is_collected(settings):
    found = collected()
    for folder, wanted in settings.STATICFILES_CHOSEN.items():
        assert {path for path in found if path.startswith(f"{folder}/")} == set(wanted)


def test_whatever_a_template_names_is_collected_and_found(settings):
    texts = [file.read_text(encoding="utf-8") for file in ours(settings.BASE_DIR)]
    named = {one or other for text in texts for one, other in NAMED.findall(text)}
    assert "bootstrap/css/bootstrap.min.css" in named
    named |= {*htmx(settings, debug=False), *htmx(settings, debug=True)}
    assert "django_htmx/django-htmx.js" in named
    assert named <= collected()
    assert all(finders.find(path) for path in named)


def test_what_is_not_wanted_is_not_served_either():
    assert finders.find("bootstrap/css/bootstrap.rtl.css") is None
    assert finders.find("django_htmx/htmx-4.js") is None
    assert finders.find("admin/css/base.css")
