"""The demo club is for an empty site of one's own: where others sign in it is laid down only when asked for by name."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from club.members.models import User
from recipes.services import library_load
from tests.factories.members import make_person
from tests.published.library import LIBRARY

pytestmark = pytest.mark.django_db


@pytest.fixture
def on_this_machine(monkeypatch, settings):
    """None of the variables of a site for others, whatever database these tests run on."""
    for name in ("DATABASE_URL", "SMTP_HOST"):
        monkeypatch.delenv(name, raising=False)
    settings.SECURE_PROXY_SSL_HEADER, settings.SITE_URL = None, "http://localhost:8000"


SPEAKS_OF_OTHERS = {
    "DATABASE_URL": lambda monkeypatch, settings: monkeypatch.setenv("DATABASE_URL", "postgres://db.example.test/club"),
    "SMTP_HOST": lambda monkeypatch, settings: monkeypatch.setenv("SMTP_HOST", "mail.example.test"),
    "BEHIND_PROXY": lambda monkeypatch, settings: setattr(
        settings, "SECURE_PROXY_SSL_HEADER", ("HTTP_X_FORWARDED_PROTO", "https")
    ),
    "SITE_URL": lambda monkeypatch, settings: setattr(settings, "SITE_URL", "https://club.example.test"),
}


@pytest.mark.parametrize("name", SPEAKS_OF_OTHERS)
def test_the_demo_is_refused_on_a_site_for_others_forced_or_not(name, on_this_machine, monkeypatch, settings):
    SPEAKS_OF_OTHERS[name](monkeypatch, settings)
    for force in ([], ["--force"]):
        with pytest.raises(CommandError, match=rf"site for others \({name}\)"):
            call_command("load_demo", *force)
    assert not User.objects.exists()


@pytest.mark.long
@pytest.mark.once  # a server's own database is given no demo
def test_the_demo_comes_among_people_only_when_forced_and_once(on_this_machine):
    library_load(paths=[LIBRARY])
    make_person()
    with pytest.raises(CommandError, match="people here already"):
        call_command("load_demo")
    assert User.objects.count() == 1
    call_command("load_demo", "--force", stdout=StringIO())
    assert User.objects.count() == 13
    with pytest.raises(CommandError, match="demo's people are here already"):
        call_command("load_demo", "--force")


@pytest.mark.long
@pytest.mark.once  # a server's own database is given no demo
def test_the_demo_is_laid_down_where_nothing_speaks_of_others(on_this_machine):
    library_load(paths=[LIBRARY])
    call_command("load_demo", stdout=StringIO())
    assert User.objects.count() == 12
