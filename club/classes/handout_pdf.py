"""The handout on paper. One or two pages, in the built-in letters of a PDF."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.classes.handout import Handout, KitchenTime
from inventory.equipment.printing import MM, PAPERS

INK, LINE = "#291a2b", "#b3761d"


def handout_pdf(handout: Handout, *, club: str, paper: str) -> bytes:
    """`paper` is a key of PAPERS; letter where it is none."""
    from reportlab.platypus import SimpleDocTemplate  # only who prints waits for it

    written = io.BytesIO()
    margin = 16 * MM
    document = SimpleDocTemplate(
        written,
        pagesize=PAPERS.get(paper, PAPERS["letter"]),
        title=_plain(f"{handout.batch.title}, {handout.batch.lot_code}"),
        author=_plain(club),
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
    )
    document.build(list(_story(handout, club, document.width)))
    return written.getvalue()


def _plain(text: object) -> str:
    """The built-in letters are those of Windows-1252; others are shown as a question mark rather than refused."""
    return str(text).encode("cp1252", "replace").decode("cp1252")


def _p(text: object, style: Any) -> Any:
    from reportlab.platypus import Paragraph

    return Paragraph(escape(_plain(text)), style)


def _styles() -> tuple[Any, Any, Any]:
    """Body, heading and small print."""
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle("body", fontName="Helvetica", fontSize=10, leading=13.5, textColor=INK, spaceAfter=3)
    head = ParagraphStyle("head", body, fontName="Helvetica-Bold", fontSize=12.5, leading=16, spaceBefore=9)
    small = ParagraphStyle("small", body, fontSize=8, leading=10.5)
    return body, head, small


def _story(handout: Handout, club: str, width: float) -> Iterator[Any]:
    body, head, small = _styles()
    batch, session = handout.batch, handout.signup.session
    title = head.clone("title", fontSize=19, leading=24, spaceBefore=0)
    yield _p(batch.title, title)
    yield _p(f"{session.title} · {date_format(session.day, 'j F Y')} · {session.hall} · {club}", small)
    if handout.given_up:
        yield _p(_("This batch was given up, so there are no jars of it: %(why)s") % {"why": handout.given_up}, head)
    else:
        yield _p(_("Lot code %(lot)s. Write it on every jar.") % {"lot": batch.lot_code}, head)
    for why in handout.called_back:
        yield _p(_("Do not eat: these jars are called back. %(why)s") % {"why": why}, head)
    if handout.withdrawn:
        told = _("This revision was withdrawn since: %(why)s Do not cook from it again, and eat none of its jars.")
        yield _p(told % {"why": handout.withdrawn}, head)
    yield _p(_("Process"), head)
    yield _times([handout.hall, *handout.own], width)
    if not handout.own:
        yield _p(
            _("No kitchen of yours is on the site yet: add it with its altitude, and its time is shown here."), body
        )
    yield _p(_("Amounts, as your station cooked them"), head)
    yield _amounts(handout, width)
    yield _p(_("Steps"), head)
    for number, step in enumerate(handout.steps, start=1):
        yield _p(f"{number}. {step}", body)
    yield _p(_("Headspace: %(space)s") % {"space": handout.headspace}, body)
    yield from _minded(handout)
    yield _p(_("Tested source: %(source)s") % {"source": handout.source}, small)


def _minded(handout: Handout) -> Iterator[Any]:
    body, head, small = _styles()
    if handout.cautions:
        yield _p(_("Mind this"), head)
    for caution in handout.cautions:
        yield _p(f"– {caution['message']}", body)
    if handout.at_home:
        yield _p(_("At home"), head)
    for rule in handout.at_home:
        yield _p(f"– {_(rule.statement)}", body)
        yield _p(rule.source, small)


def _times(times: Sequence[KitchenTime], width: float) -> Any:
    body, _head, _small = _styles()
    cells: list[list[Any]] = [[_p(text, body) for text in (_("Kitchen"), _("The tested process there"))]]
    for time in times:
        told = [time.process, *time.also, *time.refusals]
        place = [_p(time.name, body), _p(time.altitude, body)]
        cells.append([place, [_p(sentence, body) for sentence in told if sentence]])
    return _table(cells, [width * 0.3, width * 0.7])


def _amounts(handout: Handout, width: float) -> Any:
    body, _head, _small = _styles()
    many = handout.batch.pots > 1
    heads = [_("Ingredient"), _("A pot"), *([_("In all")] if many else []), _("Grams in all")]
    cells = [[_p(text, body) for text in heads]]
    for line in handout.lines:
        name = ", ".join(filter(None, [line["item"], line["prep"]]))
        grams = "" if line["grams"] is None else f"{round(line['grams']):,}"
        told = [name, line["text_per_pot"], *([line["text"]] if many else []), grams]
        cells.append([_p(text, body) for text in told])
    rest = width * 0.55 / (len(heads) - 1)
    return _table(cells, [width * 0.45, *[rest] * (len(heads) - 1)])


def _table(cells: list[list[Any]], widths: list[float]) -> Any:
    from reportlab.platypus import Table

    told = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 1, LINE),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, "#d3dad5"),
        ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ]
    return Table(cells, colWidths=widths, style=told, repeatRows=1, hAlign="LEFT")
