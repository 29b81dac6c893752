"""Pictures that people send: turned upright, stripped of what the camera wrote, and no byte of them breaks the page."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from PIL import Image

from club.core import decoding, photos
from club.core.decoding import LONGEST_SIDE, MOST_ALONG_A_SIDE
from club.core.forms import PhotoForm
from club.core.photos import photo_as_jpeg
from inventory.batches.forms import BatchPhotoForm
from inventory.fruit.forms import OfferForm, PictureForm

ORIENTATION, X_RESOLUTION, MAKE = 0x0112, 0x011A, 0x010F
SHORT, TEXT, DOUBLE_WORD_FLOAT = 3, 2, 11


def camera_says(*entries: tuple[int, int, int, bytes]) -> bytes:
    """An Exif block of these entries: tag, type, count, four bytes of value."""
    rows = b"".join(struct.pack("<HHI4s", *entry) for entry in entries)
    return b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", len(entries)) + rows + b"\0" * 4


def turned(how: int) -> tuple[int, int, int, bytes]:
    return (ORIENTATION, SHORT, 1, struct.pack("<HH", how, 0))


def sent(size=(40, 20), kind="JPEG", mode="RGB", **told) -> bytes:
    """Black, with a white left half."""
    picture = Image.new(mode, size)
    picture.paste(Image.new(mode, (size[0] // 2, size[1]), "white"), (0, 0))
    written = io.BytesIO()
    picture.save(written, kind, **told)
    return written.getvalue()


def seen(given: bytes) -> Image.Image:
    return Image.open(io.BytesIO(photo_as_jpeg(given)))


@pytest.mark.parametrize(
    ("how", "size", "white_at"),
    [
        (1, (40, 20), (5, 10)),
        (2, (40, 20), (35, 10)),
        (3, (40, 20), (35, 10)),
        (4, (40, 20), (5, 10)),
        (5, (20, 40), (10, 5)),
        (6, (20, 40), (10, 5)),
        (7, (20, 40), (10, 35)),
        (8, (20, 40), (10, 35)),
        (9, (40, 20), (5, 10)),
    ],
)
def test_a_picture_stands_upright_and_says_nothing_of_its_camera(how, size, white_at):
    picture = seen(sent(exif=camera_says((MAKE, TEXT, 4, b"Ada\0"), turned(how))))
    assert picture.size == size
    assert picture.convert("L").getpixel(white_at) > 200
    assert not picture.getexif()


@pytest.mark.parametrize(
    "entry",
    [
        (X_RESOLUTION, TEXT, 2, b"x\0\0\0"),
        (MAKE, DOUBLE_WORD_FLOAT, 1, b"\0\0\0\0"),
    ],
)
def test_what_a_camera_writes_wrongly_breaks_nothing(entry):
    picture = seen(sent(exif=camera_says(*sorted([entry, turned(6)]))))
    assert picture.size == (20, 40)


def test_an_orientation_that_is_no_number_is_none():
    assert seen(sent(exif=camera_says((ORIENTATION, TEXT, 2, b"6\0\0\0")))).size == (40, 20)


@pytest.mark.parametrize("size", [(1, MOST_ALONG_A_SIDE + 1), (MOST_ALONG_A_SIDE + 1, 1)])
def test_a_strip_that_would_take_a_gigabyte_to_decode_is_refused_by_its_head(size):
    with pytest.raises(ValidationError, match="too many pixels"):
        photo_as_jpeg(sent(size, "PNG", "L"))


@pytest.mark.parametrize(
    ("kind", "mode"), [("PNG", "RGBA"), ("PNG", "1"), ("PNG", "L"), ("JPEG", "CMYK"), ("WEBP", "RGB")]
)
def test_every_kind_is_shrunk_to_the_longest_side(kind, mode):
    picture = seen(sent((3000, 1500), kind, mode))
    assert (picture.size, picture.mode, picture.format) == ((LONGEST_SIDE, LONGEST_SIDE // 2), "RGB", "JPEG")


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


@pytest.mark.parametrize("side", [7_100, 30_000])
def test_a_head_that_promises_more_than_memory_holds_is_refused_by_it(side):
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 6, 0, 0, 0))
    with pytest.raises(ValidationError, match="too many pixels"):
        photo_as_jpeg(b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0" * 99)))


@pytest.mark.parametrize("cut", [0, 1, 40, -30])
def test_a_picture_that_was_cut_off_is_no_picture(cut):
    with pytest.raises(ValidationError, match="no picture that can be read"):
        photo_as_jpeg(sent((400, 200), "PNG")[:cut])


@pytest.mark.parametrize(
    ("runaway", "said"),
    [
        ("while True: pass", "takes too long"),
        ("bytearray(4 * 1024**3)", "no picture that can be read"),
        ("import ctypes; ctypes.string_at(0)", "no picture that can be read"),
        ("import pathlib; pathlib.Path(__file__ + '.left').write_text('x')", "no picture that can be read"),
    ],
    ids=["never done", "all memory", "a crash", "a file"],
)
def test_a_decoder_that_runs_away_ends_alone(runaway, said, monkeypatch, tmp_path):
    program = (Path(decoding.__file__)).read_text()
    opened = "    try:\n        picture = pillow.open("
    assert opened in program
    (tmp_path / "decoding.py").write_text(program.replace(opened, f"    {runaway}\n{opened}"))
    monkeypatch.setattr(decoding, "__file__", str(tmp_path / "decoding.py"))
    monkeypatch.setattr(photos, "LONGEST_WAIT", 1)
    with pytest.raises(ValidationError, match=said):
        photo_as_jpeg(sent())


@pytest.mark.parametrize("form", [PhotoForm, BatchPhotoForm, OfferForm, PictureForm])
def test_every_form_asks_for_the_yes_of_whoever_can_be_seen(form):
    assert "who has not agreed" in str(form.base_fields["photo"].help_text)
