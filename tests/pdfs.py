"""What a PDF of ours says, read back: the words of each page in the order of drawing, by the maps of its embedded
letters. Only for what reportlab writes: no objects in streams, no text of other fonts."""

from __future__ import annotations

import re
import zlib
from base64 import a85decode

ESCAPED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def _stream(body: bytes) -> bytes:
    found, length = re.search(rb"stream\r?\n", body), re.search(rb"/Length (\d+)", body)
    assert found is not None
    assert length is not None
    packed = body[found.end() : found.end() + int(length[1])]
    return zlib.decompress(a85decode(packed.strip().removesuffix(b"~>")) if b"ASCII85Decode" in body else packed)


def _plain(escaped: bytes) -> bytes:
    def one(found: re.Match[bytes]) -> bytes:
        return bytes([int(found[1], 8)]) if found[1].isdigit() else ESCAPED.get(found[1], found[1])

    return re.sub(rb"\\([0-7]{1,3}|.)", one, escaped, flags=re.S)


def _map(stream: bytes) -> dict[int, str]:
    """From a letter's number in its font to the letter."""
    pairs = re.findall(rb"^<([0-9A-F]{2})> <((?:[0-9A-F]{4})+)>$", stream, re.M)
    return {int(code, 16): bytes.fromhex(text.decode()).decode("utf-16-be") for code, text in pairs}


def pages_of(pdf: bytes) -> list[list[str]]:
    """For each page the strings drawn on it."""
    objects = {int(number): body for number, body in re.findall(rb"(?:^|\n)(\d+) 0 obj(.*?)endobj", pdf, re.S)}
    fonts = {}
    for body in objects.values():
        for name, number in re.findall(rb"/(F\d+(?:\+\d+)?) (\d+) 0 R", body):
            unicode = re.search(rb"/ToUnicode (\d+) 0 R", objects[int(number)])
            fonts[name] = _map(_stream(objects[int(unicode[1])])) if unicode else None
    pages = []
    for body in objects.values():
        if not re.search(rb"/Type /Page\b", body):
            continue
        contents = re.search(rb"/Contents (\d+) 0 R", body)
        assert contents is not None
        pages.append(_drawn(_stream(objects[int(contents[1])]), fonts))
    return pages


def _drawn(stream: bytes, fonts: dict[bytes, dict[int, str] | None]) -> list[str]:
    letters: dict[int, str] | None = None
    said: list[str] = []
    for font, text in re.findall(rb"/(F\d+(?:\+\d+)?) [\d.]+ Tf|\(((?:\\.|[^\\()])*)\) Tj", stream, re.S):
        if font:
            letters = fonts[font]
        else:
            plain = _plain(text)
            said.append("".join(letters[code] for code in plain) if letters is not None else plain.decode("cp1252"))
    return said


def text_of_pdf(pdf: bytes) -> str:
    return " ".join(" ".join(page) for page in pages_of(pdf))
