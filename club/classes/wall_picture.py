"""The timeline on the wall sheet, in ink alone: the process is black, the rest is grey."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from inventory.equipment.printing import MM, printable
from recipes.engine.plan_write import clock
from recipes.engine.station_terms import StationDay
from recipes.engine.timeline import Step, StepKind
from recipes.pictures import timeline_lanes
from recipes.words import STEPS

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
            String(x, height - HEAD + 4, clock(minute), fontSize=LETTERS, textAnchor="end" if end else "middle")
        )
    for n, (name, steps) in enumerate(rows):
        bottom = height - HEAD - row * (n + 1)
        drawing.add(String(0, bottom + row / 2 - 3, printable(name), fontSize=NAME_LETTERS))
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
        if stringWidth(words, "Helvetica", LETTERS) + 4 <= width:
            ink = Color(1, 1, 1) if grey < 0.5 else Color(0, 0, 0)
            drawing.add(String(x + 2, bottom + height / 2 - 3, words, fontSize=LETTERS, fillColor=ink))
            return
