"""The cook's page without a script, and what a phone's store is told."""

from __future__ import annotations

import io
import json
from datetime import timedelta
from math import hypot
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from inventory.batches.models import Press
from inventory.batches.services import stove_press
from inventory.batches.stove import course_of
from inventory.batches.views.stove import whose_store
from tests.factories.batches import make_batch, make_batch_out, make_freezer_revision, make_pressure_batch
from tests.factories.members import make_person
from tests.helpers import text_of

pytestmark = pytest.mark.django_db
QUERIES = 18


def page(batch, name="stove", *more):
    return reverse(f"batches:{name}", args=[batch.lot_code, *more])


def kept(step="p1s1", kind="done", *, ago=0, token=None, **more):
    pressed = int(timezone.now().timestamp() * 1000) - ago
    return {"token": str(token or uuid4()), "kind": kind, "step": step, "pressed_ms": pressed, "behind_ms": 0, **more}


def send(client, batch, *presses, whose=None, ahead=0, status=200):
    sent = int(timezone.now().timestamp() * 1000) + ahead
    body = {"user": whose_store(whose or batch.made_by), "sent_ms": sent, "presses": presses}
    answer = client.post(page(batch, "stove-presses"), json.dumps(body), content_type="application/json")
    assert answer.status_code == status
    return answer.json()


def test_without_a_script_each_step_is_a_page_and_each_press_a_form(sign_in, django_assert_max_num_queries):
    batch = make_pressure_batch(started_at=timezone.now())
    client = sign_in(batch.made_by)
    with django_assert_max_num_queries(QUERIES):
        first = client.get(page(batch))
    assert first.context["shown"].key == "p1s1"
    answer = client.post(page(batch, "stove-step", "p1s1"), {"kind": "done", "token": uuid4()})
    assert answer.url == page(batch)
    assert client.get(page(batch)).context["shown"].key == "p1s2"
    early = client.post(page(batch, "stove-step", "l1out"), {"kind": "done", "token": uuid4()}, follow=True)
    assert "Nobody pressed yet" in text_of(early)
    token = uuid4()
    for _twice in range(2):
        client.post(page(batch, "stove-step", "l1process"), {"kind": "began", "token": token})
    assert Press.objects.filter(kind="began").count() == 1
    with django_assert_max_num_queries(QUERIES):
        shown = client.get(page(batch, "stove-step", "l1process"))
    assert len(shown.context["state"]["timers"]) == 1
    assert client.get(page(batch, "stove-step", "l9out")).status_code == 404
    assert Press.objects.count() == 2


def test_the_log_page_is_filled_from_the_presses(sign_in):
    now = timezone.now()
    batch = make_batch(started_at=now - timedelta(minutes=30))
    began, over = now - timedelta(minutes=15), now - timedelta(minutes=4)
    for kind, step, at in (("began", "l1process", began), ("done", "l1out", over)):
        stove_press(by=batch.made_by, batch=batch, token=uuid4(), kind=kind, step=step, at=at, now=now)
    form = sign_in(batch.made_by).get(page(batch, "log")).context["form"]
    filled = {name: form[name].value() for name in ("minutes", "process_started_at", "jars_out_at", "jars_half-pint")}
    planned = course_of(batch).planned["half-pint"]
    assert filled == {
        "minutes": 11,
        "process_started_at": began,
        "jars_out_at": over,
        "jars_half-pint": planned,
    }


def test_what_a_phone_kept_is_written_in_order_and_once(sign_in):
    batch = make_batch(started_at=timezone.now() - timedelta(hours=1))
    client, minute = sign_in(batch.made_by), 60_000
    presses = [
        kept("p1s1", ago=40 * minute),
        kept("l1process", "began", ago=30 * minute),
        kept("l1out", ago=25 * minute),  # after five minutes of ten
        kept("l1process", ago=19 * minute),
    ]
    said = [one["result"] for one in send(client, batch, *presses)["answers"]]
    assert said == ["written", "written", "refused", "written"]
    again = send(client, batch, *presses)
    assert [one["result"] for one in again["answers"]] == said
    assert Press.objects.count() == 3
    assert again["done"].keys() == {"p1s1", "l1process"}
    late = send(client, batch, kept("p1s2"), ahead=5 * 60 * minute)
    assert late["clock"]
    assert late["answers"][0]["result"] == "written"


def test_nobody_s_presses_are_sent_as_somebody_else_s_and_rubbish_is_refused(sign_in):
    batch = make_batch()
    client = sign_in(batch.made_by)
    send(client, batch, kept(), whose=make_person(), status=409)
    answers = send(client, batch, {}, 7, kept(kind="x"), kept(step="nowhere"), kept("l1process", "gauge", psi="-1"))
    assert {one["result"] for one in answers["answers"]} == {"refused"}
    for body in (b"\xff", b"[" * 100_000):
        assert client.post(page(batch, "stove-presses"), body, content_type="application/json").status_code == 409
    huge = {"user": whose_store(batch.made_by), "sent_ms": 10**30, "presses": [kept() | {"behind_ms": -(10**30)}]}
    answer = client.post(page(batch, "stove-presses"), json.dumps(huge), content_type="application/json")
    assert answer.json()["answers"][0]["result"] == "refused"
    assert not Press.objects.exists()


def test_a_press_for_a_batch_that_somebody_else_finished_is_told(sign_in):
    batch = make_batch_out()
    found = send(sign_in(batch.made_by), batch, kept("l1process", "fell"))
    assert found["answers"][0]["result"] == "late"
    assert "Something went wrong" in found["answers"][0]["said"]
    assert not found["open"]
    assert found["ended"]


def test_a_freezer_batch_has_no_canner_and_its_jars_go_into_the_freezer_by_one_press(sign_in):
    batch = make_batch(revision=make_freezer_revision(), started_at=timezone.now() - timedelta(hours=1))
    assert "Into the freezer: now" in text_of(sign_in(batch.made_by).get(page(batch, "stove-step", "out")))
    found = send(sign_in(batch.made_by), batch, kept("out"))
    assert found["allout"]


def test_the_list_has_what_is_under_way_and_the_worker_is_let_over_the_whole_site(sign_in, client):
    batch = make_batch()
    assert batch.lot_code in text_of(sign_in(batch.made_by).get(reverse("batches:stove-list")))
    assert batch.lot_code not in text_of(sign_in(make_person()).get(reverse("batches:stove-list")))
    worker = client.get("/kitchen-worker.js")
    assert (worker.headers["Service-Worker-Allowed"], worker.headers["Cache-Control"]) == ("/", "no-cache")


def test_a_phone_is_offered_the_site_with_pictures_that_are_as_large_as_they_say(client):
    """No browser installs a site without pictures of 192 and 512 pixels."""
    told = client.get("/kitchen.webmanifest").json()
    assert told["start_url"] == reverse("batches:stove-list")
    assert [one["url"] for one in told["shortcuts"]][-1] == reverse("desk:pantry")
    drawn = [one for one in told["icons"] if one["type"] == "image/png"]
    assert {(one["sizes"], one["purpose"]) for one in drawn} == {
        ("192x192", "any"),
        ("512x512", "any"),
        ("512x512", "maskable"),
    }
    ground, lid, steam = (0x6D, 0x1F, 0x4F), (0xD7, 0x9A, 0x45), (0xF2, 0xF5, 0xF3)
    for one in drawn:
        picture = Image.open(io.BytesIO(client.get(one["src"]).content))
        assert one["sizes"] == f"{picture.width}x{picture.height}"
        across = picture.width
        assert picture.getpixel((2, 2)) == ground
        assert picture.getpixel((across // 2, round(across * 0.31))) == lid
        # What a phone cuts away of a maskable picture holds nothing but the ground.
        out = [
            (x, y)
            for x in range(0, across, 4)
            for y in range(0, across, 4)
            if hypot(x - across / 2, y - across / 2) > 0.4 * across and picture.getpixel((x, y)) != ground
        ]
        assert (not out) == (one["purpose"] == "maskable")
        assert steam in {picture.getpixel((round(across * 0.42), y)) for y in range(0, across // 4)}
    assert client.get(reverse("kitchen-icon", args=["9999"])).status_code == 404
