"""No field of a thing can be forgotten: not by its form, not on its page, not in the register.

Each is written in four places: the column of `Thing`, its migration, the entry in `ThingFields`, `thing.html`.
"""

from __future__ import annotations

import pytest
from django.urls import reverse

from club.core.tables import read_table, write_csv
from inventory.equipment import services
from inventory.equipment.choices import Kind
from inventory.equipment.description import COLUMNS, FIELDS, fields_of
from inventory.equipment.models import Thing
from inventory.equipment.register import cells_of
from tests.factories.equipment import make_keeper, make_thing
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db

# Columns that no form and no file of the register sets.
SET_BY_SERVICES = {"household", "id", "code_key", "token", "state", "state_note", "created_at"}


@pytest.fixture
def canner():
    """A thing that says something of every field."""
    thing = make_thing(
        Kind.DIAL_GAUGE,
        code="BWC-01",
        name="Blue canner",
        home=make_kitchen(name="Bench hall", is_hall=True),
        place="shelf A",
        deposit_cents=2050,
        deposit_note="cash",
        turnaround_own=0,
        skill_own="none",
        capacity={"pint": 9, "quart": 7},
        two_layers=["pint"],
        care="Dry it.\nTwice.",
    )
    for name, field in FIELDS.items():
        assert getattr(thing, name) not in (field.default, {}, [], ""), f"give the thing of this test its {name}"
    return thing


def described(code: str) -> dict[str, object]:
    return vars(fields_of(Thing.objects.select_related("home").get(code=code)))


def test_every_column_of_a_thing_is_described_or_set_by_services():
    assert {field.name for field in Thing._meta.concrete_fields} - SET_BY_SERVICES == set(FIELDS)


def shown_to(client, thing: Thing) -> str:
    """The content of the thing's page, without its own links."""
    text = client.get(thing.get_absolute_url()).content.decode()
    return text[text.index("<main") : text.index("</main")].replace(thing.get_absolute_url(), "")


@pytest.mark.parametrize("name", FIELDS)
def test_the_page_of_a_thing_shows_each_field(canner, client, name):
    client.force_login(make_person())
    before = shown_to(client, canner)
    others = {"code": "BWC-77", "kind": Kind.BURNER, "name": "Green canner", "capacity": {}, "two_layers": []}
    setattr(canner, name, others[name] if name in others else FIELDS[name].default)
    canner.save()
    assert shown_to(client, canner) != before, f"thing.html says nothing of its {name}"


def test_a_field_that_was_not_sent_stays_as_it_was(canner, client):
    """A form from before the field was there: what it lacks is not taken for emptied."""
    client.force_login(make_keeper())
    before, address = described("BWC-01"), reverse("equipment:change", args=["BWC-01"])
    form = client.get(address).context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert client.post(address, {name: sent[name] for name in ("token", "kind", "name", "code")}).status_code == 302
    assert described("BWC-01") == before


def test_a_form_sent_as_the_page_shows_it_changes_nothing(canner, client):
    client.force_login(make_keeper())
    before, address = described("BWC-01"), reverse("equipment:change", args=["BWC-01"])
    page = client.get(address)
    form, text = page.context["form"], page.content.decode()
    shown = {name: form[name].value() for name in form.fields if f'name="{name}"' in text}
    sent = {name: value for name, value in shown.items() if value is not None}
    assert client.post(address, sent).status_code == 302
    assert described("BWC-01") == before


def test_a_thing_added_by_form_has_all_that_was_typed(canner, client):
    client.force_login(make_keeper())
    before = described("BWC-01")
    form = client.get(reverse("equipment:change", args=["BWC-01"])).context["form"]
    typed = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    assert client.post(reverse("equipment:add"), typed | {"code": "BWC-02"}).status_code == 302
    assert described("BWC-02") == before | {"code": "BWC-02"}


def test_what_is_wrong_is_listed_in_the_order_of_the_page(canner, client):
    client.force_login(make_keeper())
    address = reverse("equipment:change", args=["BWC-01"])
    form = client.get(address).context["form"]
    refused = client.post(address, dict.fromkeys(form.fields, "-" * 3000))
    text = refused.content.decode()
    wrong = list(refused.context["form"].errors)
    assert {"kind", "code", "name", "place", "deposit_note", "skill_own"} <= set(wrong)
    shown = [name for name in wrong if f'name="{name}"' in text]
    assert shown == sorted(shown, key=lambda name: text.index(f'name="{name}"'))


def test_a_row_of_the_register_says_all_that_a_thing_is_described_by(canner):
    before = described("BWC-01")
    row = list((cells_of(canner) | {"code": "BWC-02"}).values())
    file = "".join(write_csv(list(COLUMNS), [row])).encode()
    rows = read_table(file, "things.csv")
    report = services.register_import(by=make_keeper(), rows=rows, file="things.csv", dry_run=False)
    assert (report.added, report.problems) == (["BWC-02"], [])
    assert described("BWC-02") == before | {"code": "BWC-02"}


def test_each_field_stands_in_the_register():
    for name, field in FIELDS.items():
        assert field.metadata["columns"], f"{name} stands in no column of the register"
