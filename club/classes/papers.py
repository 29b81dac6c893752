"""The handout and the sheet for the wall, on paper."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import Any
from xml.sax.saxutils import escape

from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from club.classes.planning import SessionPlan
from club.classes.presentation import Handout, KitchenTime, Notice, PlanWords, StationWords
from club.core.papers import MM, faces, page_size, printable
from recipes.charts import timeline_lanes
from recipes.choices import STEPS
from recipes.engine import Step, StepKind, clock
from recipes.engine.stations import StationDay
from recipes.presentation import in_words

# The handout on paper. One or two pages.

INK, LINE = "#291a2b", "#b3761d"


def handout_pdf(handout: Handout, *, club: str, paper: str) -> bytes:
    """`paper` is a key of PAPERS; the club's own paper where it is none."""
    from reportlab.platypus import SimpleDocTemplate  # only who prints waits for it

    written = io.BytesIO()
    margin = 16 * MM
    document = SimpleDocTemplate(
        written,
        pagesize=page_size(paper),
        title=f"{handout.batch.title}, {handout.batch.lot_code}",
        author=club,
        lang=get_language() or "en",
        initialFontName=faces()[0],
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
    )
    document.build(list(_story(handout, club, document.width)))
    return written.getvalue()


def _p(text: object, style: Any) -> Any:
    from reportlab.platypus import Paragraph

    return Paragraph(escape(printable(str(text))), style)


def _styles() -> tuple[Any, Any, Any]:
    """Body, heading and small print."""
    from reportlab.lib.styles import ParagraphStyle

    body = ParagraphStyle("body", fontName=faces()[0], fontSize=10, leading=13.5, textColor=INK, spaceAfter=3)
    head = ParagraphStyle("head", body, fontName=faces()[1], fontSize=12.5, leading=16, spaceBefore=9)
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
    elif handout.is_called_back:
        yield _p(_("Lot code %(lot)s.") % {"lot": batch.lot_code}, head)
    else:
        yield _p(_("Lot code %(lot)s. Write it on every jar.") % {"lot": batch.lot_code}, head)
    for why in handout.called_back:
        yield _p(_("Do not eat: these jars are called back. %(why)s") % {"why": why}, head)
    if handout.withdrawn:
        text = _("This revision was withdrawn since: %(why)s Do not cook from it again.")
        if handout.unsafe:
            text = _("This revision was withdrawn since: %(why)s Do not cook from it again, and eat none of its jars.")
        yield _p(text % {"why": handout.withdrawn}, head)
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
        yield _p(f"{number}. {step.text}", body)
    yield _p(_("Headspace: %(space)s") % {"space": handout.headspace}, body)
    yield from _cautions_and_home_rules(handout)
    yield _p(_("Tested source: %(source)s") % {"source": handout.source}, small)


def _cautions_and_home_rules(handout: Handout) -> Iterator[Any]:
    body, head, small = _styles()
    if handout.cautions:
        yield _p(_("Mind this"), head)
    for caution in handout.cautions:
        yield _p(f"– {caution['message']}", body)
    if handout.at_home:
        yield _p(_("At home"), head)
    for rule in handout.at_home:
        yield _p(f"– {_(str(rule.statement))}", body)
        yield _p(rule.source, small)


def _times(times: Sequence[KitchenTime], width: float) -> Any:
    body, _head, _small = _styles()
    cells: list[list[Any]] = [[_p(text, body) for text in (_("Kitchen"), _("The tested process there"))]]
    for time in times:
        sentences = [time.process, *time.also, *time.refusals]
        place = [_p(time.name, body), _p(time.altitude, body)]
        cells.append([place, [_p(sentence, body) for sentence in sentences if sentence]])
    return _table(cells, [width * 0.3, width * 0.7])


def _amounts(handout: Handout, width: float) -> Any:
    body, _head, _small = _styles()
    many = handout.batch.pots > 1
    heads = [_("Ingredient"), _("A pot"), *([_("In all")] if many else [])]
    cells = [[_p(text, body) for text in heads]]
    for line in handout.lines:
        amounts = [(line.per_pot, line.per_pot_beside), *([(line.amount, line.beside)] if many else [])]
        texts = [f"{amount} ({beside})" if beside else amount for amount, beside in amounts]
        cells.append([_p(text, body) for text in [", ".join(filter(None, [line.item, line.prep])), *texts]])
    rest = width * 0.55 / (len(heads) - 1)
    return _table(cells, [width * 0.45, *[rest] * (len(heads) - 1)])


def _table(cells: list[list[Any]], widths: list[float]) -> Any:
    from reportlab.platypus import Table

    style = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 1, LINE),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, "#d3dad5"),
        ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ]
    return Table(cells, colWidths=widths, style=style, repeatRows=1, hAlign="LEFT")


# The timeline on the wall sheet, in ink alone: the process is black, the rest is grey.

ROW, TALL_ROW, HEAD, NAMES = 7.5 * MM, 13 * MM, 7 * MM, 36 * MM
LETTERS, NAME_LETTERS = 9.0, 10.5
# How dark a bar is; whatever is not here is light.
GREY = {StepKind.PROCESS: 0.0, StepKind.COOK: 0.6, StepKind.FILL: 0.7}
LIGHT = 0.88


def picture_of(days: Sequence[StationDay], *, width: float, lanes: bool, most: int) -> Any:
    """A drawing for a page: a row for each cook, burner and canner, or with many stations a row for each station, of
    the steps that everybody waits for. At most `most` rows; what is more stands on the stations' own pages. Where the
    rows of more than one station stand together each begins with its station's number."""
    from reportlab.graphics.shapes import Drawing, Line, String

    numbered = len(days) > 1
    rows = [row for day in days for row in (_lanes(day, numbered) if lanes else [_station(day)])][:most]
    first = min(day.timeline.start for day in days) // 30 * 30
    last = -(-max(day.timeline.finish for day in days) // 30) * 30
    scale = (width - NAMES) / (last - first)
    row = ROW if lanes else TALL_ROW
    height = HEAD + row * len(rows)
    drawing = Drawing(width, height)
    for minute in range(first, last + 1, 30 if last - first <= 300 else 60):
        x = NAMES + (minute - first) * scale
        drawing.add(Line(x, 0, x, height - HEAD + 2, strokeWidth=0.4))
        end = minute == last
        drawing.add(
            String(
                x,
                height - HEAD + 4,
                clock(minute),
                fontSize=LETTERS,
                fontName=faces()[0],
                textAnchor="end" if end else "middle",
            )
        )
    for n, (name, steps) in enumerate(rows):
        bottom = height - HEAD - row * (n + 1)
        drawing.add(String(0, bottom + row / 2 - 3, printable(name), fontSize=NAME_LETTERS, fontName=faces()[0]))
        for step in steps:
            _bar(drawing, step, NAMES + (step.start - first) * scale, bottom, step.minutes * scale, row)
    return drawing


def _lanes(day: StationDay, numbered: bool) -> list[tuple[str, Sequence[Step]]]:
    start = f"{day.number}: " if numbered else ""
    return [(f"{start}{lane.name}", lane.steps) for lane in timeline_lanes(day.timeline)]


def _station(day: StationDay) -> tuple[str, Sequence[Step]]:
    """Of a station in one row: what is cooked and what is processed."""
    steps = [step for step in day.timeline.steps if step.kind in (StepKind.COOK, StepKind.PROCESS)]
    return _("Station %(n)s") % {"n": day.number}, steps


def _bar(drawing: Any, step: Step, x: float, bottom: float, width: float, height: float) -> None:
    from reportlab.graphics.shapes import Rect, String
    from reportlab.lib.colors import Color
    from reportlab.pdfbase.pdfmetrics import stringWidth

    grey = GREY.get(step.kind, LIGHT)
    fill = Color(grey, grey, grey)
    drawing.add(Rect(x, bottom + 1, max(width - 0.5, 0.5), height - 2, fillColor=fill, strokeWidth=0.3))
    long, short = (printable(str(words)) for words in STEPS[step.kind])
    for words in (f"{long} {step.minutes}", f"{short} {step.minutes}", short, f"{step.minutes}"):
        if stringWidth(words, faces()[0], LETTERS) + 4 <= width:
            ink = Color(1, 1, 1) if grey < 0.5 else Color(0, 0, 0)
            drawing.add(
                String(x + 2, bottom + height / 2 - 3, words, fontSize=LETTERS, fontName=faces()[0], fillColor=ink)
            )
            return


# The sheet for the wall: letters that are read across a kitchen, a page for the hall and one or more a station.

MARGIN = 12 * MM
PADDING = 6  # points, inside the frame of a page
WALL_INK = "#291a2b"
STOP = "#9c2216"
# The letters by what is said in them, in points. The process is read from the far end of a kitchen.
SIZES = {"huge": 76, "big": 34, "title": 26, "said": 17, "text": 12, "small": 8}
MOST_BARS = 40  # of a timeline on one page


def _width() -> float:
    """What a page of it holds beside its margins, in points."""
    return page_size()[0] - 2 * (MARGIN + PADDING)


def wall_sheet_pdf(plan: SessionPlan, words: PlanWords) -> bytes:
    from reportlab.platypus import SimpleDocTemplate  # only who prints waits for it

    written = io.BytesIO()
    document = SimpleDocTemplate(
        written,
        pagesize=page_size(),
        title=str(plan.session),
        lang=get_language() or "en",
        initialFontName=faces()[0],
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
    )
    footer = _footer(plan, words)
    document.build(list(_wall_story(plan, words)), onFirstPage=footer, onLaterPages=footer)
    return written.getvalue()


def _footer(plan: SessionPlan, words: PlanWords) -> Any:
    """On every page: which session it is, and how high the hall lies; a loose page is never taken for another's."""
    heading = printable(f"{plan.session.title} · {date_format(plan.session.day, 'D j M Y')} · {words.altitude}")

    def draw(canvas: Any, document: Any) -> None:
        canvas.setFont(faces()[0], SIZES["small"])
        canvas.drawString(MARGIN, MARGIN / 2, heading)
        canvas.drawRightString(page_size()[0] - MARGIN, MARGIN / 2, str(document.page))

    return draw


def _wall_story(plan: SessionPlan, words: PlanWords) -> Iterator[Any]:
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
        yield picture_of(plan.hall.days, width=_width(), lanes=len(plan.hall.days) <= 2, most=MOST_BARS)
        yield _line(_("Figures in the bars are minutes. Black is the process."), "text")
    last = _("Last jars out by %(time)s. Then everybody cleans up.") % {"time": words.ends}
    yield _line(last, "said", bold=True)


def _stops(refusals: Sequence[Notice]) -> Iterator[Any]:
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
    return _wall_table(rows, (0.2, 0.42, 0.26, 0.12), "text")


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
    facts = [station.jars, station.process.pack if station.process else "", station.canner, station.burners]
    yield _line(" · ".join(filter(None, facts)), "text")
    yield _gap(3)
    if station.times:
        yield _wall_times(station)
        yield _gap(3)
    if day is not None:
        yield picture_of([day], width=_width(), lanes=True, most=MOST_BARS)
    yield _gap(3)
    yield _wall_amounts(station)
    yield _gap(3)
    yield _line(_("Mind this"), "said", bold=True)
    for caution in station.cautions:
        yield _line(f"- {in_words(caution)}", "text")
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
    if station.process.correction:
        yield _line(f"{capfirst(station.process.correction)}.", "said", bold=True)
    facts = [station.process.method, station.process.jar]
    facts.append(_("headspace %(headspace)s") % {"headspace": station.process.headspace})
    if station.process.vent_minutes:
        facts.append(_("vent %(n)s minutes first") % {"n": station.process.vent_minutes})
    yield _line(" · ".join(facts), "said")


def _wall_times(station: StationWords) -> Any:
    """The clock, load by load, in letters that are read from the stove."""
    rows = [[_("Load"), _("Cook"), _("Fill"), _("Process"), _("Out")]]
    for each in station.times:
        load = _("%(n)s, pot %(pot)s") % {"n": each.number, "pot": each.pot}
        process = _("%(starts)s to %(ends)s") % {"starts": each.process, "ends": each.until} if each.process else ""
        rows.append([load, each.cook, each.fill, process, each.out])
    return _wall_table(rows, (0.22, 0.16, 0.16, 0.3, 0.16), "said")


def _wall_amounts(station: StationWords) -> Any:
    rows = [[_("For each pot"), "", ""]]
    for line in station.lines:
        name = ", ".join(filter(None, (line.item, line.prep)))
        rows.append([name, line.per_pot, line.per_pot_beside])
    return _wall_table(rows, (0.44, 0.3, 0.26), "text")


def _wall_table(rows: Sequence[Sequence[str]], parts: Sequence[float], size: str) -> Any:
    from reportlab.lib.colors import HexColor
    from reportlab.platypus import Table, TableStyle

    cells = [[_line(text, size, bold=n == 0) for text in row] for n, row in enumerate(rows)]
    style = TableStyle(
        [
            ("LINEBELOW", (0, 0), (-1, 0), 1.2, HexColor(WALL_INK)),
            ("LINEBELOW", (0, 1), (-1, -1), 0.3, HexColor(WALL_INK)),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ]
    )
    return Table(cells, colWidths=[part * _width() for part in parts], style=style, repeatRows=1)


def _line(text: str, size: str, *, bold: bool = False, color: str = WALL_INK) -> Any:
    from reportlab.lib.colors import HexColor
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    points = SIZES[size]
    style = ParagraphStyle(
        f"{size}-{bold}",
        fontName=faces()[bold],
        fontSize=points,
        leading=points * 1.18,
        textColor=HexColor(color),
        spaceAfter=points * 0.12,
    )
    return Paragraph(escape(printable(str(text))), style)


def _gap(mm: float) -> Any:
    from reportlab.platypus import Spacer

    return Spacer(1, mm * MM)
