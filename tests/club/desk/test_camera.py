"""The page that reads codes: typed, or out of a picture on the server; it leads to what the member may see, and to no
other site.
"""

from __future__ import annotations

import io

import pytest
import segno
from django.urls import reverse
from PIL import Image

from club.core.photos import codes_in_photo
from club.members.choices import Role
from inventory.equipment.choices import Kind
from inventory.equipment.services import own_canner_add
from inventory.jars.services import kitchen_place
from tests.factories.batches import make_batch_out
from tests.factories.equipment import make_thing
from tests.factories.members import make_kitchen, make_person

pytestmark = pytest.mark.django_db
PAGE = reverse("desk:camera")
SITE = "https://old-name.example.test"


def square(text: str, *, turned: float = 0) -> Image.Image:
    drawn = io.BytesIO()
    segno.make(text, error="m", micro=False).save(drawn, kind="png", scale=6, border=4)
    return Image.open(drawn).convert("RGB").rotate(turned, expand=True, fillcolor="white")


def picture(*squares: Image.Image, size: tuple[int, int] = (2400, 1600), form: str = "JPEG") -> io.BytesIO:
    """The squares side by side on a grey table."""
    table = Image.new("RGB", size, (150, 140, 130))
    for n, one in enumerate(squares):
        table.paste(one, (200 + n * 1000, 300))
    file = io.BytesIO()
    table.save(file, form)
    file.seek(0)
    file.name = f"label.{form.lower()}"
    return file


@pytest.fixture
def owner(client):
    owner = make_person()
    client.force_login(owner)
    return owner


@pytest.fixture
def batch(owner):
    return make_batch_out(by=owner, kitchen=make_kitchen(owner, name="Mill"))


def test_a_turned_square_in_a_large_picture_is_read_and_leads_to_its_jar(client, batch):
    jar = reverse("batches:jar", args=[batch.lot_code, 2])
    answer = client.post(PAGE, {"photo": picture(square(SITE + jar, turned=17))})
    assert answer.headers["Location"] == jar


def test_several_squares_are_asked_about_and_one_seen_twice_is_not(client, batch):
    first, second = (reverse("batches:jar", args=[batch.lot_code, n]) for n in (1, 2))
    both = picture(square(SITE + first), square(SITE + second), form="PNG")
    page = client.post(PAGE, {"photo": both})
    assert page.status_code == 200
    assert {hit.url for hit in page.context["found"]} == {first, second}
    twice = picture(square(SITE + first), square(SITE + first))
    assert client.post(PAGE, {"photo": twice}).headers["Location"] == first


def test_what_no_code_is_in_and_what_is_no_picture_is_said_at_the_picture(client, owner):
    page = client.post(PAGE, {"photo": picture()})
    assert "No code was found" in page.content.decode()
    file = io.BytesIO(b"%PDF-1.4 no picture")
    file.name = "label.jpg"
    assert "no picture that can be read" in client.post(PAGE, {"photo": file}).content.decode()
    assert client.post(PAGE, {"photo": picture(square("https://elsewhere.example.test/"))}).status_code == 404
    long = codes_in_photo(picture(square("x" * 400)).read())
    assert [len(text) for text in long] == [300]


def test_what_is_typed_leads_a_keeper_to_the_counter_and_a_member_to_the_thing(client, owner):
    thing = make_thing(Kind.DIAL_GAUGE, code="DPC-01")
    counter = f"{reverse('equipment:counter')}?code=DPC-01"
    for typed in ("dpc 01", SITE + thing.get_absolute_url()):
        assert client.get(PAGE, {"code": typed}).headers["Location"] == thing.get_absolute_url()
    client.force_login(make_person(Role.KEEPER))
    assert client.get(PAGE, {"code": "DPC-01"}).headers["Location"] == counter


def test_a_jar_a_lot_a_canner_of_one_s_own_and_a_place_are_led_to_and_are_nothing_to_others(client, owner, batch):
    kitchen = batch.kitchen
    own = own_canner_add(by=owner, kitchen=kitchen, name="Mine", kind=Kind.BOILING_WATER, capacity={"pint": 7})
    place = reverse("jars:place", args=[kitchen_place(kitchen).pk])
    jar = reverse("batches:jar", args=[batch.lot_code, 2])
    meant = {
        f"{batch.lot_code} / 2": jar,
        f"{batch.lot_code.lower()} 2": jar,
        batch.lot_code: batch.get_absolute_url(),
        SITE + batch.get_absolute_url(): batch.get_absolute_url(),
        own.code: own.get_absolute_url(),
        f"http://localhost{place}": place,
    }
    for code, url in meant.items():
        assert client.get(PAGE, {"code": code}).headers["Location"] == url, code
    client.force_login(make_person())
    for code in meant:
        answer = client.get(PAGE, {"code": code})
        assert answer.status_code == 404, code
        assert batch.title not in answer.content.decode()


ELSEWHERE = (
    "https://elsewhere.example.test/accounts/logout/",
    "javascript:alert(1)//",
    "//elsewhere/",
    "http://[",
    "\0",
)


@pytest.mark.parametrize("code", ELSEWHERE)
def test_no_code_leads_to_another_site_or_another_page(client, owner, code):
    assert client.get(PAGE, {"code": code}).status_code in (200, 404)


def test_the_page_alone_may_have_the_camera_and_asks_little(client, owner, django_assert_max_num_queries):
    with django_assert_max_num_queries(8):
        answer = client.get(PAGE)
    assert "camera=(self)" in answer.headers["Permissions-Policy"]
    page = answer.content.decode()
    assert 'enctype="multipart/form-data"' in page
    assert 'capture="environment"' in page
    assert "camera=()" in client.get("/").headers["Permissions-Policy"]
