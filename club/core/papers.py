"""Paper: labels with a square to scan, a page to measure a sheet with, cards to tie to things, and the register to
write on when the network is down.

One way to write a PDF for the house: title and language said, letters embedded that spell members' names.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from django.conf import settings
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from club.core.sheets import Label, Laid, Sheet, lay

MM = 72 / 25.4
LETTER, A4 = (612.0, 792.0), (210 * MM, 297 * MM)
PAPERS = {"letter": LETTER, "a4": A4}
MARGIN = 10 * MM
ROW_HEIGHT = 8.5 * MM
PLAIN_FACE, BOLD_FACE = "Kettlehall", "Kettlehall-Bold"


def page_size(paper: str = "") -> tuple[float, float]:
    """In points; the club's own paper where `paper` is no key of PAPERS."""
    return PAPERS.get(paper) or PAPERS[settings.PAPER]


class TooSmall(Exception):
    """What has to be on a label does not fit on one of this sheet, however small the letters."""


@dataclass(frozen=True)
class SheetLine:
    """One thing on the register sheet, with who has it now."""

    code: str
    name: str
    place: str
    out_to: str
    due: str


@lru_cache(maxsize=1)
def faces() -> tuple[str, str]:
    """The names of the plain and the bold letters, which are embedded in what is printed.

    Source Sans spells the names of most of Europe and the fractions of recipes; the letters built into a PDF do not.
    """
    import font_source_sans_pro
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(font_source_sans_pro.__file__).parent / "files"
    for name, weight in ((PLAIN_FACE, "Regular"), (BOLD_FACE, "Semibold")):
        registerFont(TTFont(name, str(folder / f"SourceSansPro-{weight}.ttf")))
    return PLAIN_FACE, BOLD_FACE


def printable(text: str) -> str:
    """A letter that the embedded ones do not have is shown as a question mark rather than as an empty box."""
    from reportlab.pdfbase.pdfmetrics import getFont

    known = getFont(faces()[0]).face.charToGlyph
    return "".join(letter if ord(letter) in known else "?" for letter in text)


@lru_cache(maxsize=4096)
def text_width(text: str, is_bold: bool) -> float:
    """In millimetres, in letters of one point."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(printable(text), faces()[is_bold], 1)) / MM


def new_canvas(title: str, size: tuple[float, float]) -> tuple[Any, io.BytesIO]:
    """A canvas in points with its title and language, and what it is written into."""
    from reportlab.pdfgen.canvas import Canvas  # only who prints waits for it

    plain, _bold = faces()
    written = io.BytesIO()
    canvas = Canvas(written, pagesize=size, lang=get_language() or "en", initialFontName=plain)
    canvas.setTitle(title)
    canvas.setAuthor(settings.CLUB_NAME)
    canvas.setCreator("Kettlehall")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas, written


# Labels.


def labels_pdf(labels: Iterable[Label], sheet: Sheet, *, title: str, first: int = 1, cut: bool = False) -> bytes:
    """From the `first` free label of the sheet on (from 1). With lines to cut along for plain paper.

    TooSmall where one of them does not fit.
    """
    wanted = list(labels)
    canvas, written = new_canvas(title, (sheet.page_width / 10 * MM, sheet.page_height / 10 * MM))
    if not wanted:
        _text(canvas, faces()[0], 9, _("Nothing to label."), 3 * MM, sheet.page_height / 10 * MM - 8 * MM)
    page_now = 0
    for number, label in enumerate(wanted, start=first - 1):
        page, left, top = sheet.place(number)
        if page != page_now:
            canvas.showPage()
            page_now = page
        _label(canvas, label, sheet, left, top, cut=cut)
    canvas.save()
    return written.getvalue()


def laid(label: Label, sheet: Sheet) -> Laid:
    found = lay(label, sheet, text_width)
    if found is None:
        raise TooSmall
    return found


def _label(canvas: Any, label: Label, sheet: Sheet, left: float, top: float, *, cut: bool) -> None:
    found, height = laid(label, sheet), sheet.page_height / 10
    if cut or label.is_marked:
        _edge(canvas, sheet, left, top, is_broken=label.is_marked)
    canvas.setFillGray(0)
    for words in found.words:
        face = faces()[words.is_bold]
        _text(canvas, face, words.size, words.text, (left + words.x) * MM, (height - top - words.y) * MM)
    side = found.square_side
    _square(canvas, label.url, (left + found.square_x) * MM, (height - top - found.square_y - side) * MM, side * MM)


def _edge(canvas: Any, sheet: Sheet, left: float, top: float, *, is_broken: bool = False) -> None:
    wide, tall = sheet.label
    canvas.setLineWidth(0.8 if is_broken else 0.3)
    canvas.setStrokeGray(0 if is_broken else 0.6)
    canvas.setDash([3, 2] if is_broken else [])
    inset = 0.6 if is_broken else 0.0  # a broken edge is within the label, whatever the cutter leaves
    x, y = left + inset, sheet.page_height / 10 - top - tall + inset
    if sheet.is_round:
        canvas.circle((x - inset + wide / 2) * MM, (y - inset + tall / 2) * MM, (wide / 2 - inset) * MM)
    else:
        canvas.rect(x * MM, y * MM, (wide - 2 * inset) * MM, (tall - 2 * inset) * MM)
    canvas.setDash([])


def _text(canvas: Any, face: str, size: float, text: str, x: float, y: float) -> None:
    canvas.setFont(face, size)
    canvas.drawString(x, y, printable(text))


def ruler_pdf(sheet: Sheet, *, title: str) -> bytes:
    """The edges of every label with its number, and rulers from the edges of the paper, in millimetres."""
    wide, tall = sheet.page_width / 10, sheet.page_height / 10
    canvas, written = new_canvas(title, (wide * MM, tall * MM))
    plain, bold = faces()
    for number in range(sheet.count):
        _page, left, top = sheet.place(number)
        _edge(canvas, sheet, left, top)
        label_wide, label_tall = sheet.label
        canvas.setFillGray(0)
        _text(canvas, bold, 12, str(number + 1), (left + 6) * MM, (tall - top - label_tall + 3) * MM)
        if number == 0:
            size = f"{label_wide:.1f} × {label_tall:.1f} mm"
            _text(canvas, plain, 8, size, (left + 14) * MM, (tall - top - label_tall + 3) * MM)
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.3)
    for n in range(int(wide) + 1):
        long = 4 if n % 10 == 0 else 2.5 if n % 5 == 0 else 1.5
        canvas.line(n * MM, tall * MM, n * MM, (tall - long) * MM)
        if n and n % 10 == 0:
            _text(canvas, plain, 5, str(n), (n + 0.4) * MM, (tall - 4.5) * MM)
    for n in range(int(tall) + 1):
        long = 4 if n % 10 == 0 else 2.5 if n % 5 == 0 else 1.5
        canvas.line(0, (tall - n) * MM, long * MM, (tall - n) * MM)
        if n and n % 10 == 0:
            _text(canvas, plain, 5, str(n), 4.2 * MM, (tall - n - 1.6) * MM)
    canvas.save()
    return written.getvalue()


def label_svg(label: Label, sheet: Sheet, name: str) -> SafeString:
    """The label as paper will have it, for a page; `name` is read out. TooSmall as with `labels_pdf`."""
    found, (wide, tall) = laid(label, sheet), sheet.label
    edge = (
        format_html('<circle cx="{0}" cy="{0}" r="{0}" fill="#fff"/>', _n(wide / 2))
        if sheet.is_round
        else format_html('<rect width="{}" height="{}" rx="1.5" fill="#fff"/>', _n(wide), _n(tall))
    )
    words = format_html_join(
        "",
        '<text x="{}" y="{}" font-size="{}" font-weight="{}" textLength="{}" lengthAdjust="spacingAndGlyphs">{}</text>',
        (
            (_n(one.x), _n(one.y), _n(one.size / MM), 600 if one.is_bold else 400, _n(one.width), one.text)
            for one in found.words
        ),
    )
    rects = format_html_join(
        "",
        "M{} {}h{}v1h-{}z",
        ((x, y, run, run) for x, y, run, _all in _runs(label.url)),
    )
    across = next((_all for _x, _y, _run, _all in _runs(label.url)))
    scale = found.square_side / across
    square = format_html(
        '<path transform="translate({} {}) scale({})" d="{}"/>',
        _n(found.square_x),
        _n(found.square_y),
        f"{scale:.4f}",
        rects,
    )
    return format_html(
        '<svg class="label-picture" viewBox="0 0 {} {}" role="img" aria-label="{}">{}<g fill="#000">{}{}</g></svg>',
        _n(wide),
        _n(tall),
        name,
        edge,
        words,
        square,
    )


def _n(number: float) -> str:
    return f"{number:.2f}".rstrip("0").rstrip(".")


def sheet_svg(sheet: Sheet, *, first: int, count: int, name: str) -> SafeString:
    """The first sheet from above: what is gone, what these labels take, what stays free."""
    places = []
    for number in range(sheet.count):
        _page, left, top = sheet.place(number)
        wide, tall = sheet.label
        state = "is-gone" if number < first - 1 else "is-taken" if number < first - 1 + count else "is-free"
        radius = wide / 2 if sheet.is_round else 1.5
        places.append((state, _n(left), _n(top), _n(wide), _n(tall), _n(radius)))
    drawn = format_html_join("", '<rect class="{}" x="{}" y="{}" width="{}" height="{}" rx="{}"/>', places)
    page = _n(sheet.page_width / 10), _n(sheet.page_height / 10)
    return format_html(
        '<svg class="sheet-picture" viewBox="0 0 {0} {1}" role="img" aria-label="{2}">'
        '<rect class="is-paper" width="{0}" height="{1}"/>{3}</svg>',
        *page,
        name,
        drawn,
    )


# The square.


@lru_cache(maxsize=256)
def _runs(url: str) -> tuple[tuple[int, int, int, int], ...]:
    """Runs of dark modules: column, row, length, and how many modules the square is across. Four light modules
    around it are part of the square."""
    import segno

    found = []
    matrix = [list(row) for row in segno.make(url, error="m", micro=False).matrix]
    for n, row in enumerate(matrix):
        start = None
        for m, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = m
            elif not dark and start is not None:
                found.append((start + 4, n + 4, m - start, len(matrix) + 8))
                start = None
    return tuple(found)


def _square(canvas: Any, url: str, x: float, y: float, side: float) -> None:
    """The square as one path, a rectangle for each run of dark modules: small, quick, and sharp at any size."""
    path = canvas.beginPath()
    for column, row, run, across in _runs(url):
        module = side / across
        path.rect(x + column * module, y + side - (row + 1) * module, run * module, module)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)


def square_svg(url: str) -> SafeString:
    """The square for a page, as large as its frame; four light modules around it are part of it."""
    import segno

    return mark_safe(segno.make(url, error="m", micro=False).svg_inline(border=4, omitsize=True, svgclass="square"))  # noqa: S308 - segno's own


# Cards to tie to things.

ROOM_FOR_SQUARE = 25 * MM  # at the foot of a card, with its address beside it


@dataclass(frozen=True)
class Card:
    """A code, a name, paragraphs beneath their headings ("" for none), and at the foot a square."""

    code: str
    name: str
    parts: tuple[tuple[str, tuple[str, ...]], ...]
    foot: str
    url: str


def cards_pdf(cards: Sequence[Card], *, title: str, paper: str = "") -> bytes:
    """Four to a page, with lines to cut along and a place for the hole. What a card says is made smaller until all of
    it stands on the card.
    """
    width, height = page_size(paper)
    canvas, written = new_canvas(title, (width, height))
    if not cards:
        _text(canvas, faces()[0], 9, _("Nothing to print."), MARGIN, height - 2 * MARGIN)
    for number, card in enumerate(cards):
        if number and number % 4 == 0:
            canvas.showPage()
        row, column = divmod(number % 4, 2)
        _card(canvas, card, column * width / 2, (1 - row) * height / 2, width / 2, height / 2)
    canvas.save()
    return written.getvalue()


def _card(canvas: Any, card: Card, x: float, y: float, width: float, height: float) -> None:
    from reportlab.lib.styles import ParagraphStyle

    canvas.setLineWidth(0.3)
    canvas.setStrokeGray(0.6)
    canvas.rect(x, y, width, height)
    canvas.circle(x + width / 2, y + height - 7 * MM, 3 * MM)
    plain, bold = faces()
    body = ParagraphStyle("body", fontName=plain, fontSize=10, leading=12.5, spaceAfter=2)
    head = ParagraphStyle("head", body, fontName=bold, fontSize=10.5, leading=13, spaceBefore=5)
    code = ParagraphStyle("code", body, fontName=bold, fontSize=24, leading=27)
    name = ParagraphStyle("name", body, fontName=bold, fontSize=12, leading=14.5)
    story = [_paragraph(card.code, code), _paragraph(card.name, name)]
    for heading, lines in card.parts:
        if heading:
            story.append(_paragraph(heading, head))
        story += [_paragraph(line, body) for line in lines]
    edge, above = 6 * MM, 12 * MM
    _filled(canvas, story, card.foot, card.url, x + edge, y + edge, width - 2 * edge, height - edge - above)


SCALES = (1.5, 1.4, 1.3, 1.2, 1.1, 1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6)


def one_page_pdf(story: Callable[[float], list[Any]], *, title: str, foot: str, url: str, paper: str = "") -> bytes:
    """One page of reportlab's flowables, and at its foot a square of `url`.

    `story` is asked for them with its letters scaled; the largest with which all is on the page is taken, and what is
    too long even in the smallest is made smaller still.
    """
    width, height = page_size(paper)
    canvas, written = new_canvas(title, (width, height))
    edge = 12 * MM
    room = width - 2 * edge, height - 2 * edge
    scale = next((one for one in SCALES if _fits(story(one), room[0], room[1] - ROOM_FOR_SQUARE)), SCALES[-1])
    _filled(canvas, story(scale), foot, url, edge, edge, *room)
    canvas.save()
    return written.getvalue()


def _fits(story: Sequence[Any], width: float, height: float) -> bool:
    needed = sum(one.wrap(width, height)[1] + one.getSpaceBefore() + one.getSpaceAfter() for one in story)
    return bool(needed <= height)


def _filled(
    canvas: Any, story: list[Any], foot: str, url: str, x: float, y: float, width: float, height: float
) -> None:
    """A box of the paper: the story, and beneath it the foot beside its square."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Frame, KeepInFrame

    side = ROOM_FOR_SQUARE
    frame = Frame(x, y + side, width, height - side, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    frame.addFromList([KeepInFrame(width, height - side, story, mode="shrink")], canvas)
    _square(canvas, url, x + width - side, y, side)
    small = _paragraph(foot, ParagraphStyle("foot", fontName=faces()[0], fontSize=8, leading=10))
    beside = KeepInFrame(width - side - 2 * MM, side, [small], mode="shrink")
    beside.wrapOn(canvas, width - side - 2 * MM, side)
    beside.drawOn(canvas, x, y)


def _paragraph(text: str, style: Any) -> Any:
    from reportlab.platypus import Paragraph

    return Paragraph(escape(printable(text)), style)


# The register sheet.


def _fitted(canvas: Any, is_bold: bool, size: float, text: str, x: float, y: float, room: float) -> None:
    while size > 5 and text_width(text, is_bold) * MM * size > room:
        size -= 0.5
    _text(canvas, faces()[is_bold], size, text, x, y)


# Where each column of the register sheet begins, as a part of the width.
SHEET = ((0.0, "code"), (0.11, "name"), (0.33, "out_to"), (0.48, "due"), (0.56, ""), (0.72, ""), (0.80, ""), (0.88, ""))


def sheet_pdf(lines: Sequence[SheetLine], *, paper: str, club: str, printed: date) -> bytes:
    """The register on its side, with empty columns to write in: given to, on, due, back."""
    height, width = page_size(paper)
    canvas, written = new_canvas(f"{_('Register sheet')}, {printed:%Y-%m-%d}", (width, height))
    heads = [_("Code"), _("Thing"), _("Out to"), _("Due"), _("Given to"), _("On"), _("Due"), _("Back, how")]
    per_page = int((height - 2 * MARGIN - 14 * MM) / ROW_HEIGHT)
    pages = [lines[n : n + per_page] for n in range(0, len(lines), per_page)] or [[]]
    for number, page in enumerate(pages, start=1):
        title = f"{club} · {_('Register sheet')} · {printed:%Y-%m-%d} · {number}/{len(pages)}"
        _text(canvas, faces()[True], 11, title, MARGIN, height - MARGIN - 4 * MM)
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
            _fitted(canvas, line is None, 9, text, x + 2, y + 3 * MM, end - x - 4)
    bottom = top - (len(page) + 1) * ROW_HEIGHT
    for x in [*starts, MARGIN + room]:
        canvas.line(x, top, x, bottom)
    canvas.line(MARGIN, top, MARGIN + room, top)
