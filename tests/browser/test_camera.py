"""The camera at the counter and in the pantry: what it sees is a label as this house prints it."""

from __future__ import annotations

import io

import pytest
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from club.core.papers import label_svg
from club.core.sheets import PLAIN
from inventory.batches.papers import paper_labels
from tests.browser.conftest import CHROMIUM, FLAGS, PHONE, Visitor
from tests.factories.batches import make_batch_checked
from tests.factories.equipment import make_keeper, make_loan, make_thing

PAGE = reverse("desk:camera")
FRAME = (640, 480)
# Stands for the detector of browsers that have one, such as Chromium's on Android: headless Chromium on Linux has none.
# It looks at what the page hands it, and says what the test's label says once the picture of the camera is there.
DETECTOR = """window.BarcodeDetector = class {
  static async getSupportedFormats() { return ["qr_code"]; }
  async detect(video) {
    if (!(video instanceof HTMLVideoElement) || video.readyState < 2) return [];
    return window.seen.map((rawValue) => ({ rawValue }));
  }
};"""


@pytest.fixture
def seen(tmp_path):
    """What the camera is shown: a film of one frame after the other, written before it is started."""
    return tmp_path / "seen.mjpeg"


@pytest.fixture
def visitor(chromium, live_server, seen):
    """On a phone whose camera is `seen`."""
    flags = ["--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={seen}"]
    browser = chromium.browser_type.launch(executable_path=CHROMIUM, args=[*FLAGS, *flags])
    context = browser.new_context(viewport=PHONE, has_touch=True, reduced_motion="reduce", permissions=["camera"])
    context.set_default_timeout(60_000)
    yield Visitor(context.new_page(), live_server.url)
    browser.close()


def film(visitor, batch, seen) -> None:
    """The first label of the batch as it stands on the page and on paper, in the middle of a grey table."""
    label = paper_labels(batch, signed="kitchen", every=True)[0]
    visitor.page.set_content(f'<div style="width: 420px">{label_svg(label, PLAIN["letter"], "label")}</div>')
    drawn = Image.open(io.BytesIO(visitor.page.locator("svg").screenshot()))
    table = Image.new("RGB", FRAME, (150, 140, 130))
    drawn.thumbnail((FRAME[0] - 40, FRAME[1] - 40))
    table.paste(drawn, ((FRAME[0] - drawn.width) // 2, (FRAME[1] - drawn.height) // 2))
    frame = io.BytesIO()
    table.save(frame, "JPEG", quality=90)
    seen.write_bytes(frame.getvalue() * 3)


def test_a_label_before_the_camera_is_read_by_the_server_and_its_jar_is_opened(visitor, seen):
    owner, page = make_keeper(), visitor.page
    batch = make_batch_checked(by=owner)
    film(visitor, batch, seen)
    visitor.sign_in(owner.email, PAGE)
    page.get_by_role("button", name="Start the camera").click()
    page.get_by_text("then press “Read it”").wait_for()
    visitor.look("camera")
    page.get_by_role("button", name="Read it").click()
    page.wait_for_url(f"**{reverse('batches:jar', args=[batch.lot_code, 1])}")
    for what in ("Opened it", "Gave it away", "Found it chipped", "It broke"):
        assert page.get_by_role("button", name=what).is_visible()
    assert page.get_by_role("link", name="Trace").is_visible()
    visitor.look("camera-jar")
    page.get_by_role("button", name="Opened it").click()
    page.get_by_text("Full jars of this lot and size left: 3").wait_for()


def test_the_detector_of_a_browser_leads_to_the_counter_to_hand_over_and_to_take_back(visitor, seen):
    keeper, page = make_keeper(), visitor.page
    batch, thing = make_batch_checked(by=keeper), make_thing(by=keeper, code="BWC-07")
    film(visitor, batch, seen)  # any picture: what is seen in it is the stand-in's to say
    other = "https://old-name.example.test/equipment/t/DPC-09/"
    page.add_init_script(DETECTOR)
    page.add_init_script(f"window.seen = ['https://old-name.example.test{thing.get_absolute_url()}', '{other}']")
    visitor.sign_in(keeper.email, PAGE)
    page.get_by_role("button", name="Start the camera").click()
    page.get_by_text("Several codes").wait_for()
    assert not page.get_by_role("button", name="Read it").is_visible()
    page.evaluate("window.seen.pop()")
    page.wait_for_url("**/equipment/counter/?code=BWC-07")
    assert page.get_by_role("button", name="Hand it over").is_visible()
    make_loan(thing, by=keeper, now=timezone.now())
    page.go_back()
    page.evaluate("window.seen.length = 1")
    page.get_by_role("button", name="Start the camera").click()
    page.wait_for_url("**/equipment/counter/?code=BWC-07")
    page.get_by_role("button", name="Take it back").wait_for()
