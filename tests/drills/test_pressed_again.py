"""A press whose answer is lost on its way, and the same form pressed once more: one effect.

A small version of `python -m tests.drills.press_again`, which presses every form of the demo.
"""

from __future__ import annotations

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.db.models import Model

from club.members.choices import Role
from club.members.models import Invitation, Kitchen, User
from club.run import site
from inventory.equipment.models import ConditionNote
from inventory.fruit.models import FreezerItem
from tests.drills.press_again import Browser, CuttingProxy, Form, Page
from tests.factories.equipment import make_thing
from tests.factories.members import PASSWORD, make_kitchen, make_person

pytestmark = pytest.mark.worker

# Where a form is, what is typed into it, and what there is one more of afterwards.
KINDS: dict[str, tuple[dict[str, str], type[Model]]] = {
    "/people/kitchens/add/": ({"name": "The summer kitchen", "altitude": ""}, Kitchen),
    "/equipment/t/K1/": ({"act": "look", "condition": "good", "note": "scratched"}, ConditionNote),
    "/people/invite/": ({"email": "new@example.org", "name": "Nora"}, Invitation),
    "/fruit/freezer/add/": ({"what": "plums", "grams": "500", "bags": "1"}, FreezerItem),
}


def form_on(browser: Browser, path: str, typed: dict[str, str]) -> Form:
    """The form of that page with these fields, filled."""
    page = Page(path)
    page.feed(browser.get(path)[1])
    form = next(one for one in page.forms if typed.keys() <= {name for name, _value in one.fields})
    form.fields = [(name, typed.get(name, value)) for name, value in form.fields]
    return form


def test_a_press_that_was_cut_off_and_pressed_again_has_one_effect(drill_site, tell):
    drill_site.environment["DEBUG"] = "1"  # its pages ask for no collected static files
    person = make_person(Role.KEEPER, Role.ORGANISER)
    # The site's own hash, not the quick one of tests, with few rounds.
    User.objects.update(password=PBKDF2PasswordHasher().encode(PASSWORD, "salt", iterations=1000))
    make_kitchen(person)
    make_thing(code="K1")
    with site.listening("127.0.0.1", 0) as listener:
        port = listener.getsockname()[1]
        drill_site.start(site.web(listener))
        drill_site.wait_until(lambda: site.answers("127.0.0.1", port, site_host="127.0.0.1"))
        proxy = CuttingProxy("127.0.0.1", port)
        browser = Browser(f"http://127.0.0.1:{port}", person.email, PASSWORD)
        for path, (typed, model) in KINDS.items():
            form = form_on(browser, path, typed)
            before = model._default_manager.count()
            assert browser.post(form.action, form.fields, port=proxy.port) is None  # nothing comes back
            assert browser.post(form.action, form.fields) is not None
            assert model._default_manager.count() == before + 1, path
        proxy.close()
        drill_site.supervisor.stop()
    tell(f"presses: {proxy.cuts} cut off at a proxy and pressed again, one effect each")
