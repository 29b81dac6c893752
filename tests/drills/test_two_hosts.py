"""Two hosts against one database and one broker, each with its own folder: web on both, three workers, one beat."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.utils import timezone

from club.members.choices import Role
from club.members.models import Kitchen, User
from club.reminders.models import PeriodicJob, Reminder, ReminderState
from club.run import site
from tests.drills.press_again import Browser
from tests.drills.site import Site, child_environment
from tests.drills.test_pressed_again import form_on
from tests.factories.members import PASSWORD, make_kitchen, make_person
from tests.factories.reminders import make_many_due

pytestmark = pytest.mark.worker

REMINDERS = 150
KITCHENS = "/people/me/"
TYPED = {"name": "The summer kitchen", "altitude": ""}


def workers(count: int) -> list[site.Part]:
    return [replace(site.worker(), name=f"worker-{n}") for n in range(count)]


def sent() -> int:
    return Reminder.objects.filter(state=ReminderState.SENT).count()


def test_what_one_host_begins_the_other_ends_and_either_goes_on_alone(drill_site, sink, broker_url, tmp_path, tell):
    drill_site.environment["DEBUG"] = "1"  # its pages ask for no collected static files
    folder = tmp_path / "second"
    environment = child_environment(folder, broker_url=broker_url, smtp_port=sink.port)
    other = Site(folder, {**environment, "DEBUG": "1"}, sink)
    person = make_person(Role.ORGANISER)
    # The site's own hash, not the quick one of tests, with few rounds.
    User.objects.update(password=PBKDF2PasswordHasher().encode(PASSWORD, "salt", iterations=1000))
    make_kitchen(person)
    with ExitStack() as held:
        listeners = [held.enter_context(site.listening("127.0.0.1", 0)) for _host in range(2)]
        ports = [one.getsockname()[1] for one in listeners]
        held.callback(other.supervisor.stop)
        held.callback(drill_site.supervisor.stop)
        drill_site.start(site.web(listeners[0]), site.beat(), *workers(1))
        other.start(site.web(listeners[1]), *workers(2))
        for host, port in zip((drill_site, other), ports, strict=True):
            host.wait_until(lambda port=port: site.answers("127.0.0.1", port, site_host="127.0.0.1"))

        browser = Browser(f"http://127.0.0.1:{ports[0]}", person.email, PASSWORD)
        form = form_on(browser, "/people/kitchens/add/", TYPED)
        browser.base = f"http://127.0.0.1:{ports[1]}"
        assert browser.post(form.action, form.fields)[0] == 200  # the sign-in and the form came from the first
        assert Kitchen.objects.filter(name=TYPED["name"]).count() == 1
        browser.base = f"http://127.0.0.1:{ports[0]}"
        browser.post(form.action, form.fields)
        assert Kitchen.objects.filter(name=TYPED["name"]).count() == 1
        assert TYPED["name"] in browser.get(KITCHENS)[1]

        make_many_due(REMINDERS, now=timezone.now())
        drill_site.wait_until(lambda: sent() == REMINDERS)
        assert len(sink.raw) == len(set(sink.addressees)) == REMINDERS

        drill_site.supervisor.stop()  # the whole first host goes, and its clock with it
        other.start(site.beat())
        browser.base = f"http://127.0.0.1:{ports[1]}"
        assert TYPED["name"] in browser.get(KITCHENS)[1]
        began = timezone.now()
        other.wait_until(lambda: PeriodicJob.objects.filter(ended_at__gt=began).exists())
    tell(f"two hosts: {REMINDERS} reminders by three workers, each once; one host went, the other did the next round")
