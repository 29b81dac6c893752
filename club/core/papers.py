"""Paper: a sheet of labels with a square to scan, and the register to write on when the network is down."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

MM = 72 / 25.4
LETTER, A4 = (612.0, 792.0), (210 * MM, 297 * MM)
PAPERS = {"letter": LETTER, "a4": A4}
ACROSS, DOWN = 3, 8
MARGIN = 10 * MM
ROW_HEIGHT = 8.5 * MM


@dataclass(frozen=True)
class Label:
    code: str
    name: str
    club: str
    url: str


@dataclass(frozen=True)
class SheetLine:
    """One thing on the register sheet, with who has it now."""

    code: str
    name: str
    place: str
    out_to: str
    due: str


def printable(text: str) -> str:
    """The built-in letters of a PDF are Latin-1; others are shown as a question mark rather than refused."""
    return text.encode("latin-1", "replace").decode("latin-1")


def labels_pdf(labels: Iterable[Label], *, paper: str) -> bytes:
    """24 to a page, three across, with lines to cut along."""
    canvas, written, (width, height) = _canvas(paper, _("Labels"))
    cell_w, cell_h = (width - 2 * MARGIN) / ACROSS, (height - 2 * MARGIN) / DOWN
    wanted = list(labels)
    for number, label in enumerate(wanted):
        place = number % (ACROSS * DOWN)
        if place == 0 and number:
            canvas.showPage()
        row, column = divmod(place, ACROSS)
        _label(canvas, label, MARGIN + column * cell_w, height - MARGIN - (row + 1) * cell_h, cell_w, cell_h)
    if not wanted:
        canvas.drawString(MARGIN, height - 2 * MARGIN, printable(_("Nothing to label.")))
    canvas.save()
    return written.getvalue()


def _canvas(paper: str, title: str) -> tuple[Any, io.BytesIO, tuple[float, float]]:
    from reportlab.pdfgen.canvas import Canvas  # only who prints waits for it

    size, written = PAPERS.get(paper, LETTER), io.BytesIO()
    canvas = Canvas(written, pagesize=size)
    canvas.setTitle(printable(title))
    return canvas, written, size


def _label(canvas: Any, label: Label, x: float, y: float, width: float, height: float) -> None:
    canvas.setLineWidth(0.3)
    canvas.setStrokeGray(0.6)
    canvas.rect(x, y, width, height)
    side = height - 6 * MM
    _square(canvas, label.url, x + 3 * MM, y + 3 * MM, side)
    left, room = x + side + 6 * MM, width - side - 8 * MM
    canvas.setFillGray(0)
    _fitted(canvas, "Helvetica-Bold", 15, label.code, left, y + height - 10 * MM, room)
    for n, line in enumerate(_lines(label.name, room, 9)[:2]):
        canvas.setFont("Helvetica", 9)
        canvas.drawString(left, y + height - 15.5 * MM - n * 4 * MM, line)
    _fitted(canvas, "Helvetica", 7, label.club, left, y + 4 * MM, room)


def _square(canvas: Any, url: str, x: float, y: float, side: float) -> None:
    """The square as one path, a rectangle for each run of dark modules: small, quick, and sharp at any size."""
    import segno

    code = segno.make(url, error="m", micro=False)
    matrix = [list(row) for row in code.matrix]
    module = side / (len(matrix) + 8)  # four light modules around it are part of the square
    path = canvas.beginPath()
    for n, row in enumerate(matrix):
        top = y + side - (n + 5) * module
        start = None
        for m, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = m
            elif not dark and start is not None:
                path.rect(x + (start + 4) * module, top, (m - start) * module, module)
                start = None
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def square_svg(url: str) -> SafeString:
    """The square for a page, as large as its frame; four light modules around it are part of it."""
    import segno

    return mark_safe(segno.make(url, error="m", micro=False).svg_inline(border=4, omitsize=True, svgclass="square"))  # noqa: S308 - segno's own


def _fitted(canvas: Any, font: str, size: float, text: str, x: float, y: float, room: float) -> None:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    shown = printable(text)
    while size > 5 and stringWidth(shown, font, size) > room:
        size -= 0.5
    canvas.setFont(font, size)
    canvas.drawString(x, y, shown)


def _lines(text: str, room: float, size: float) -> list[str]:
    from reportlab.lib.utils import simpleSplit

    return list(simpleSplit(printable(text), "Helvetica", size, room))


# Where each column of the register sheet begins, as a part of the width.
SHEET = ((0.0, "code"), (0.11, "name"), (0.33, "out_to"), (0.48, "due"), (0.56, ""), (0.72, ""), (0.80, ""), (0.88, ""))


def sheet_pdf(lines: Sequence[SheetLine], *, paper: str, club: str, printed: date) -> bytes:
    """The register on its side, with empty columns to write in: given to, on, due, back."""
    canvas, written, (height, width) = _canvas(paper, _("Register sheet"))
    canvas.setPageSize((width, height))
    heads = [_("Code"), _("Thing"), _("Out to"), _("Due"), _("Given to"), _("On"), _("Due"), _("Back, how")]
    per_page = int((height - 2 * MARGIN - 14 * MM) / ROW_HEIGHT)
    pages = [lines[n : n + per_page] for n in range(0, len(lines), per_page)] or [[]]
    for number, page in enumerate(pages, start=1):
        title = f"{club} · {_('Register sheet')} · {printed:%Y-%m-%d} · {number}/{len(pages)}"
        canvas.setFont("Helvetica-Bold", 11)
        canvas.drawString(MARGIN, height - MARGIN - 4 * MM, printable(title))
        _sheet_page(canvas, heads, page, width, height)
        canvas.showPage()
    canvas.save()
    return written.getvalue()


def _sheet_page(canvas: Any, heads: Sequence[str], page: Sequence[SheetLine], width: float, height: float) -> None:
    room = width - 2 * MARGIN
    starts = [MARGIN + part * room for part, _name in SHEET]
    top = height - MARGIN - 8 * MM
    canvas.setStrokeGray(0.5)
    canvas.setLineWidth(0.4)
    ends = [*starts[1:], MARGIN + room]
    for n, line in enumerate([None, *page]):
        y = top - (n + 1) * ROW_HEIGHT
        canvas.line(MARGIN, y, MARGIN + room, y)
        for (_part, name), x, end, head in zip(SHEET, starts, ends, heads, strict=True):
            text = head if line is None else (getattr(line, name) if name else "")
            _fitted(canvas, "Helvetica-Bold" if line is None else "Helvetica", 9, text, x + 2, y + 3 * MM, end - x - 4)
    bottom = top - (len(page) + 1) * ROW_HEIGHT
    for x in [*starts, MARGIN + room]:
        canvas.line(x, top, x, bottom)
    canvas.line(MARGIN, top, MARGIN + room, top)
