"""The sheet for the wall: A4, letters that are read across a kitchen, a page for the hall and one or more a station.

The built-in letters of a PDF are Latin-1; whatever else somebody wrote is shown as a question mark.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from club.classes.plan_words import PlanWords, Said, StationWords
from club.classes.planning import SessionPlan
from club.classes.wall_picture import picture_of
from inventory.equipment.printing import A4, MM, printable
from recipes.engine.station_terms import StationDay

MARGIN = 12 * MM
PADDING = 6  # points, inside the frame of a page
WIDTH = A4[0] - 2 * (MARGIN + PADDING)
INK = "#291a2b"
STOP = "#9c2216"
# The letters by what is said in them, in points. The process is read from the far end of a kitchen.
SIZES = {"huge": 76, "big": 34, "title": 26, "said": 17, "text": 12, "small": 8}
MOST_BARS = 40  # of a timeline on one page


def wall_sheet_pdf(plan: SessionPlan, words: PlanWords) -> bytes:
    from reportlab.platypus import SimpleDocTemplate  # only who prints waits for it

    written = io.BytesIO()
    document = SimpleDocTemplate(
        written,
        pagesize=A4,
        title=printable(str(plan.session)),
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
    )
    footer = _footer(plan, words)
    document.build(list(_story(plan, words)), onFirstPage=footer, onLaterPages=footer)
    return written.getvalue()


def _footer(plan: SessionPlan, words: PlanWords) -> Any:
    """On every page: which session it is, and how high the hall lies; a loose page is never taken for another's."""
    told = printable(f"{plan.session.title} · {date_format(plan.session.day, 'D j M Y')} · {words.altitude}")

    def draw(canvas: Any, document: Any) -> None:
        canvas.setFont("Helvetica", SIZES["small"])
        canvas.drawString(MARGIN, MARGIN / 2, told)
        canvas.drawRightString(A4[0] - MARGIN, MARGIN / 2, str(document.page))

    return draw


def _story(plan: SessionPlan, words: PlanWords) -> Iterator[Any]:
    from reportlab.platypus import PageBreak

    yield from _hall_page(plan, words)
    days = {day.number: day for day in plan.hall.days}
    for station in words.stations:
        yield PageBreak()
        yield from _station_page(station, days.get(station.station.number), words)


def _hall_page(plan: SessionPlan, words: PlanWords) -> Iterator[Any]:
    session = plan.session
    yield _line(session.title, "title", bold=True)
    hours = _("%(day)s, %(starts)s to %(ends)s") % {
        "day": date_format(session.day, "l j F Y"),
        "starts": f"{session.starts:%H:%M}",
        "ends": f"{session.ends:%H:%M}",
    }
    yield _line(hours, "said")
    yield _line(str(session.hall), "said")
    yield _gap(4)
    yield _line(words.altitude or _("Altitude not known"), "big", bold=True)
    if words.boiling:
        yield _line(_("Water boils at %(boiling)s") % {"boiling": words.boiling}, "said")
    yield from _stops(words.refusals)
    yield _gap(4)
    if words.stations:
        yield _stations_table(words.stations)
    yield _gap(6)
    if plan.hall.days:
        yield picture_of(plan.hall.days, width=WIDTH, lanes=len(plan.hall.days) <= 2, most=MOST_BARS)
        yield _line(_("Figures in the bars are minutes. Black is the process."), "text")
    last = _("Last jars out by %(time)s. Then everybody cleans up.") % {"time": words.ends}
    yield _line(last, "said", bold=True)


def _stops(refusals: Sequence[Said]) -> Iterator[Any]:
    if not refusals:
        return
    yield _line(_("Do not cook by this sheet."), "title", bold=True, color=STOP)
    for refusal in refusals:
        yield _line(refusal.message, "text", color=STOP)


def _stations_table(stations: Sequence[StationWords]) -> Any:
    rows = [[_("Station"), _("What"), _("Process"), _("From")]]
    for each in stations:
        rows.append(
            [
                each.heading,
                f"{each.title}. {each.jars}",
                _process_cell(each),
                each.begins,
            ]
        )
    return _table(rows, (0.2, 0.42, 0.26, 0.12), "text")


def _process_cell(station: StationWords) -> str:
    """A station that is refused shows no process: neither a time nor that it needs none."""
    if station.refusals:
        return _("refused: do not cook this")
    return "; ".join(process for _size, process in station.processes) or _("none: into the freezer")


def _station_page(station: StationWords, day: StationDay | None, words: PlanWords) -> Iterator[Any]:
    yield _line(station.heading, "title", bold=True)
    yield _line(station.title, "said", bold=True)
    if station.refusals:
        yield from _stops(station.refusals)
        return
    yield from _process(station)
    yield _line(_("At %(altitude)s") % {"altitude": words.altitude}, "said", bold=True)
    told = [station.jars, station.process.pack if station.process else "", station.canner, station.burners]
    yield _line(" · ".join(filter(None, told)), "text")
    yield _gap(3)
    if station.times:
        yield _times(station)
        yield _gap(3)
    if day is not None:
        yield picture_of([day], width=WIDTH, lanes=True, most=MOST_BARS)
    yield _gap(3)
    yield _amounts(station)
    yield _gap(3)
    yield _line(_("Mind this"), "said", bold=True)
    for caution in station.cautions:
        yield _line(f"- {caution.message}", "text")
    if station.process:
        yield _line(_("Process: %(source)s") % {"source": station.process.source}, "small")


def _process(station: StationWords) -> Iterator[Any]:
    """The figure that safety hangs on, as large as the page allows; with its jar where there are several."""
    if not station.process:
        yield _line(_("No process: into the freezer"), "big", bold=True)
        return
    if len(station.processes) > 1:
        for size, process in station.processes:
            yield _line(f"{size}: {process}", "big", bold=True)
    else:
        yield _line(station.process.minutes, "huge", bold=True)
        if station.process.pressure:
            yield _line(_("at %(pressure)s") % {"pressure": station.process.pressure}, "big", bold=True)
    told = [station.process.method, station.process.jar]
    told.append(_("headspace %(headspace)s") % {"headspace": station.process.headspace})
    if station.process.vent_minutes:
        told.append(_("vent %(n)s minutes first") % {"n": station.process.vent_minutes})
    yield _line(" · ".join(told), "said")


def _times(station: StationWords) -> Any:
    """The clock, load by load, in letters that are read from the stove."""
    rows = [[_("Load"), _("Cook"), _("Fill"), _("Process"), _("Out")]]
    for each in station.times:
        load = _("%(n)s, pot %(pot)s") % {"n": each.number, "pot": each.pot}
        process = _("%(starts)s to %(ends)s") % {"starts": each.process, "ends": each.until} if each.process else ""
        rows.append([load, each.cook, each.fill, process, each.out])
    return _table(rows, (0.22, 0.16, 0.16, 0.3, 0.16), "said")


def _amounts(station: StationWords) -> Any:
    rows = [[_("For each pot"), "", ""]]
    for line in station.lines:
        name = ", ".join(filter(None, (line.item, line.prep)))
        rows.append([name, line.per_pot, line.per_pot_beside])
    return _table(rows, (0.44, 0.3, 0.26), "text")


def _table(rows: Sequence[Sequence[str]], parts: Sequence[float], size: str) -> Any:
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import Table, TableStyle

    cells = [[_line(text, size, bold=n == 0) for text in row] for n, row in enumerate(rows)]
    style = TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, 0), 1.2, HexColor(INK)),
            ("LINEBELOW", (0, 1), (-1, -1), 0.3, HexColor(INK)),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ]
    )
    return Table(cells, colWidths=[part * WIDTH for part in parts], style=style, repeatRows=1)


def _line(text: str, size: str, *, bold: bool = False, color: str = INK) -> Any:
    from reportlab.lib.colors import HexColor
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    points = SIZES[size]
    style = ParagraphStyle(
        f"{size}-{bold}",
        fontName="Helvetica-Bold" if bold else "Helvetica",
        fontSize=points,
        leading=points * 1.18,
        textColor=HexColor(color),
        spaceAfter=points * 0.12,
    )
    return Paragraph(escape(printable(str(text))), style)


def _gap(mm: float) -> Any:
    from reportlab.platypus import Spacer

    return Spacer(1, mm * MM)
