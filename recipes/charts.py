"""SVG pictures: the day's timeline, and process times over the altitude."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import drawsvg
from django.utils.translation import gettext as _

from club.core.charts import as_wide_as_the_page, new_picture, words_at
from recipes.choices import JARS, STEPS
from recipes.engine import Step, StepKind, Timeline, band_text, find_band
from recipes.engine.terms import Altitude, ProcessRow
from recipes.presentation import band_words

LABEL_WIDTH = 110
NARROWEST, WIDEST, MINUTE = 830, 920, 4.5  # of the day, which fits its page, and of one minute in a long day
LANE = 40
BAR = 30
TOP = 74
HEADING = 28  # of a station in a picture of several
LETTER = 6.4  # a letter at 11 px, on the wide side
IDLE = 30  # minutes without work for any cook that are worth a word; our own choice, no source

# The day for a phone: time runs down, a column for each lane.
TALL_WIDTH, TALL_CLOCK, TALL_HEAD = 340, 44, 62
TALL_MINUTE, TALLEST = 2.4, 1500  # pixels of a minute; of a long day in all

# How dark a bar is: the process darkest, waiting lightest. Words over a bar stay readable on both page colours.
SHADES: dict[StepKind, float] = {
    StepKind.PROCESS: 0.34,
    StepKind.COOK: 0.24,
    StepKind.FILL: 0.24,
    StepKind.KEEP_HOT: 0.06,
    StepKind.POT_WAITS: 0.06,
    StepKind.REST: 0.06,
    StepKind.DEPRESSURISE: 0.06,
}
SHADE = 0.14


@dataclass(frozen=True)
class Day:
    """One timeline among several that share a clock, under its heading."""

    heading: str
    timeline: Timeline


@dataclass(frozen=True)
class Mark:
    """A minute that stands out in a picture, such as the end of a session."""

    minute: int
    words: str


@dataclass(frozen=True)
class Lane:
    """One row of the picture: a cook, a burner under pots, or a canner on its burner."""

    name: str
    steps: tuple[Step, ...]


def timeline_svg(
    timeline: Timeline,
    *,
    title: str,
    when: Callable[[int], str] | None = None,
    prefix: str = "day",
    paper: str | None = None,
) -> str:
    """The picture as an `<svg>` element; every text in it is escaped.

    `when` words a minute of the timeline ("9:30"); without it minutes are shown as hours from the start ("0:45").
    `prefix` keeps ids apart where a page has two pictures. `paper` is the colour behind a picture that stands in a
    file of its own; in a page the page shows through.
    """
    lanes = timeline_lanes(timeline)
    words = when or _hours
    height = TOP + LANE * len(lanes)
    drawing = _sheet(timeline, height, title, timeline_sentence(timeline, words), prefix)
    if paper is not None:
        ground = drawsvg.Rectangle(0, 0, drawing.width, drawing.height, fill=paper, class_="kh-timeline-paper")
        drawing.elements.insert(0, ground)
    _draw_hours(drawing, timeline, height, words)
    for row, lane in enumerate(lanes):
        _draw_lane(drawing, timeline, lane, TOP + LANE * row, words)
    _draw_idle(drawing, timeline, timeline, TOP)
    return str(drawing.as_svg(header=""))


def days_svg(
    days: Sequence[Day],
    *,
    title: str,
    first: int,
    last: int,
    when: Callable[[int], str],
    marks: Sequence[Mark] = (),
    prefix: str = "days",
) -> str:
    """Several timelines below each other on one clock, from minute `first` to minute `last`; else as timeline_svg."""
    clock = Timeline((), (), first, last)
    rows = [(day, timeline_lanes(day.timeline)) for day in days]
    height = TOP + sum(HEADING + LANE * len(lanes) for _day, lanes in rows)
    description = " ".join(f"{day.heading}: {timeline_sentence(day.timeline, when)}" for day in days)
    drawing = _sheet(clock, height, title, description, prefix)
    _draw_hours(drawing, clock, height, when)
    for mark in marks:
        words = _text(mark.words, _x(clock, mark.minute), TOP - 36, 11, "kh-timeline-mark", text_anchor="middle")
        drawing.append(words)
    y = TOP
    for day, lanes in rows:
        _draw_marks(drawing, clock, marks, y + HEADING - 4, y + HEADING + LANE * len(lanes) - 6)
        drawing.append(_text(day.heading, 0, y + 18, 13, "kh-timeline-station", font_weight="bold"))
        for row, lane in enumerate(lanes):
            _draw_lane(drawing, clock, lane, y + HEADING + LANE * row, when)
        _draw_idle(drawing, clock, day.timeline, y + HEADING)
        y += HEADING + LANE * len(lanes)
    return str(drawing.as_svg(header=""))


def _sheet(clock: Timeline, height: int, title: str, description: str, prefix: str) -> drawsvg.Drawing:
    """An empty picture with its heading, and its name and text for those who cannot see it."""
    drawing = new_picture(
        LABEL_WIDTH + round(_width(clock)) + 20,
        height + 10,
        title=title,
        description=description,
        css_class="kh-timeline",
        prefix=prefix,
    )
    drawing.append(_text(title, 0, 16, 15, "kh-timeline-title", font_weight="bold"))
    return drawing


def tall_svg(timeline: Timeline, *, title: str, when: Callable[[int], str], prefix: str) -> str:
    """The day as it is read on a phone: from above down, a column for each cook, burner and canner."""
    lanes = timeline_lanes(timeline)
    minute = min(TALL_MINUTE, TALLEST / max(timeline.minutes, 1))
    bottom = TALL_HEAD + round(timeline.minutes * minute)
    drawing = new_picture(
        TALL_WIDTH,
        bottom + 10,
        title=title,
        description=timeline_sentence(timeline, when),
        css_class="kh-day-tall",
        prefix=prefix,
    )

    def y_of(at: int) -> float:
        return TALL_HEAD + (at - timeline.start) * minute

    every = next((step for step in (10, 15, 30, 60) if step * minute >= 36), 120)
    for at in range(-(-timeline.start // every) * every, timeline.start + timeline.minutes + 1, every):
        y = y_of(at)
        rule = drawsvg.Line(TALL_CLOCK, y, TALL_WIDTH, y, stroke="currentColor", stroke_opacity=0.2)
        drawing.append(rule)
        drawing.append(_text(when(at), 0, y + 4, 12, "kh-timeline-hour"))
    wide = (TALL_WIDTH - TALL_CLOCK) / max(len(lanes), 1)
    for column, lane in enumerate(lanes):
        x = TALL_CLOCK + column * wide
        for line, words in enumerate(lane.name.replace(", ", " ").split(" ")[:4]):
            drawing.append(_text(words[: int(wide / LETTER)], x + 2, 12 + 13 * line, 11, "kh-timeline-lane"))
        for step in lane.steps:
            high = (step.end - step.start) * minute
            bar = drawsvg.Rectangle(
                round(x + 1, 1),
                round(y_of(step.start), 1),
                round(wide - 2, 1),
                round(max(high - 1, 1), 1),
                rx=2,
                fill="currentColor",
                fill_opacity=SHADES.get(step.kind, SHADE),
                stroke="currentColor",
                stroke_opacity=0.5,
                class_=f"kh-step kh-step-{step.kind.name.lower().replace('_', '-')}",
            )
            bar.append_title(f"{_bar_words(step)}, {when(step.start)}–{when(step.end)}")
            drawing.append(bar)
            if high >= 13 and (words := _fitting(step, wide)):
                drawing.append(_text(words, x + 4, round(y_of(step.start) + 12, 1), 11, "kh-timeline-step"))
    for start, end in idle_spans(timeline):
        middle = round((y_of(start) + y_of(end)) / 2 + 4, 1)
        drawing.append(_text(_idle_words(end - start), TALL_CLOCK + 4, middle, 12, "kh-timeline-idle"))
    return as_wide_as_the_page(drawing)


def idle_spans(timeline: Timeline) -> list[tuple[int, int]]:
    """From when to when no cook has work, between the first and the last of it, where it is long enough to sit down."""
    busy = sorted((step.start, step.end) for step in timeline.steps if step.cook is not None)
    found, until = [], busy[0][1] if busy else 0
    for start, end in busy:
        if start - until >= IDLE:
            found.append((until, start))
        until = max(until, end)
    return found


def _idle_words(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    if not hours:
        return _("hands free, %(n)s min") % {"n": rest}
    return _("hands free, %(hours)s h %(n)s min") % {"hours": hours, "n": rest}


def timeline_lanes(timeline: Timeline) -> list[Lane]:
    """Who and what is at work: cooks, then burners with pots, then canners."""
    cooks = _lanes(timeline, lambda step: step.cook, lambda number, _steps: _("Cook %d") % number)
    burners = _lanes(
        timeline,
        lambda step: step.burner if step.canner is None else None,
        lambda number, _steps: _("Burner %d") % number,
    )
    canners = _lanes(
        timeline,
        lambda step: step.canner,
        lambda number, steps: (
            _("Canner %(canner)d, burner %(burner)d") % {"canner": number, "burner": steps[0].burner or 0}
        ),
    )
    return [*cooks, *burners, *canners]


def timeline_sentence(timeline: Timeline, when: Callable[[int], str]) -> str:
    """The whole picture in a sentence for each pot, for those who cannot see it."""
    sentences = []
    for pot in sorted({step.pot for step in timeline.steps}):
        parts = [
            f"{STEPS[step.kind][0]} {when(step.start)}–{when(step.end)}" for step in timeline.steps if step.pot == pot
        ]
        sentences.append(_("Pot %(number)d: %(steps)s.") % {"number": pot, "steps": "; ".join(parts)})
    for start, end in idle_spans(timeline):
        sentences.append(_("Hands are free %(start)s–%(end)s.") % {"start": when(start), "end": when(end)})
    return " ".join(sentences)


def _lanes(
    timeline: Timeline, number_of: Callable[[Step], int | None], name: Callable[[int, Sequence[Step]], str]
) -> list[Lane]:
    rows: dict[int, list[Step]] = {}
    for step in timeline.steps:
        if (number := number_of(step)) is not None:
            rows.setdefault(number, []).append(step)
    return [Lane(name(number, rows[number]), tuple(rows[number])) for number in sorted(rows)]


def _draw_marks(drawing: drawsvg.Drawing, clock: Timeline, marks: Sequence[Mark], top: int, bottom: int) -> None:
    """Beside the lanes of one timeline only, so that no line runs through its heading."""
    for mark in marks:
        x = _x(clock, mark.minute)
        line = drawsvg.Line(x, top, x, bottom, stroke="currentColor", stroke_width=2, class_="kh-timeline-mark")
        drawing.append(line)


def _draw_hours(drawing: drawsvg.Drawing, timeline: Timeline, bottom: int, when: Callable[[int], str]) -> None:
    every = next((step for step in (10, 15, 30, 60) if timeline.minutes <= step * 14), 120)
    for minute in range(0, timeline.minutes + 1, every):
        x = _x(timeline, timeline.start + minute)
        drawing.append(
            drawsvg.Line(x, TOP - 10, x, bottom, stroke="currentColor", stroke_opacity=0.2, class_="kh-timeline-rule")
        )
        words = when(timeline.start + minute)
        drawing.append(_text(words, x, TOP - 18, 11, "kh-timeline-hour", text_anchor="middle"))


def _draw_lane(drawing: drawsvg.Drawing, timeline: Timeline, lane: Lane, y: int, when: Callable[[int], str]) -> None:
    for line, words in enumerate(lane.name.split(", ")):
        drawing.append(_text(words, 0, y + 14 + 13 * line, 11, "kh-timeline-lane"))
    for step in lane.steps:
        x, width = _x(timeline, step.start), _x(timeline, step.end) - _x(timeline, step.start)
        bar = drawsvg.Rectangle(
            round(x, 1),
            y,
            round(max(width - 1, 1), 1),
            BAR,
            rx=2,
            fill="currentColor",
            fill_opacity=SHADES.get(step.kind, SHADE),
            stroke="currentColor",
            stroke_opacity=0.5,
            class_=f"kh-step kh-step-{step.kind.name.lower().replace('_', '-')}",
        )
        bar.append_title(f"{_bar_words(step)}, {when(step.start)}–{when(step.end)}")
        drawing.append(bar)
        if words := _fitting(step, width):
            drawing.append(_text(words, x + 4, y + 19, 11, "kh-timeline-step"))


def _draw_idle(drawing: drawsvg.Drawing, clock: Timeline, timeline: Timeline, y: int) -> None:
    """In the row of the first cook, where there is room for the words."""
    for start, end in idle_spans(timeline):
        words, width = _idle_words(end - start), _x(clock, end) - _x(clock, start)
        if len(words) * LETTER + 6 <= width:
            drawing.append(_text(words, _x(clock, start) + 4, y + 19, 11, "kh-timeline-idle"))


def _bar_words(step: Step) -> str:
    return _("%(what)s, pot %(pot)d") % {"what": STEPS[step.kind][0], "pot": step.pot}


def _fitting(step: Step, width: float) -> str:
    """As much of the bar's words as its width has room for; the whole is in its title."""
    short = str(STEPS[step.kind][1])
    for words in (_bar_words(step), f"{short} {step.pot}", short, str(step.pot)):
        if len(words) * LETTER + 6 <= width:
            return words
    return ""


def _x(timeline: Timeline, minute: int) -> float:
    return LABEL_WIDTH + (minute - timeline.start) * _width(timeline) / max(timeline.minutes, 1)


def _width(timeline: Timeline) -> float:
    return max(NARROWEST, min(timeline.minutes * MINUTE, WIDEST))


def _hours(minute: int) -> str:
    sign, minute = ("-", -minute) if minute < 0 else ("", minute)
    return f"{sign}{minute // 60}:{minute % 60:02d}"


def _text(words: str, x: float, y: float, size: int, class_: str, **more: str) -> drawsvg.Text:
    return words_at(words, x, y, size, class_=class_, **more)


# Minutes in boiling water over the altitude. Drawn from zero, for lengths are compared; each line is named at its end.

PLOT_WIDTH, PLOT_HEIGHT, PLOT_LEFT, PLOT_RIGHT, PLOT_TOP, PLOT_FOOT = 430, 290, 40, 84, 64, 44
HIGHEST_FT = 10_000  # as far as the picture goes where a table has no end
FT_PER_M = 1 / 0.3048
DASHES: tuple[dict[str, str], ...] = ({}, {"stroke_dasharray": "8 4"}, {"stroke_dasharray": "2 4"})
MOST_LINES = len(DASHES)


@dataclass(frozen=True)
class _Axes:
    """Where a height in feet and a time in minutes lie in the picture; `top` minutes is its upper edge."""

    top: int
    bottom: int = PLOT_HEIGHT - PLOT_FOOT

    def x(self, feet: float) -> float:
        share = max(0.0, min(feet, HIGHEST_FT)) / HIGHEST_FT
        return round(PLOT_LEFT + share * (PLOT_WIDTH - PLOT_LEFT - PLOT_RIGHT), 1)

    def y(self, minutes: float) -> float:
        return round(self.bottom - minutes / self.top * (self.bottom - PLOT_TOP), 1)


def altitude_svg(rows: Sequence[ProcessRow], altitude: Altitude | None, *, kitchen: str, metric: bool) -> str:
    """A line for each row of a table in boiling water, and a mark where the kitchen lies; "" where none has two bands.

    The rows are of one pack, a jar each, small to large, `MOST_LINES` at most.
    """
    drawn = [row for row in rows if len(row.minutes_bands) > 1]
    if not drawn:
        return ""
    title = _altitude_title(drawn, altitude, kitchen)
    said = " ".join(map(_row_sentence, drawn))
    drawing = new_picture(
        PLOT_WIDTH, PLOT_HEIGHT, title=title, description=said, css_class="kh-altitudes", prefix="alt"
    )
    for number, words in enumerate(title.split(", ")):
        drawing.append(words_at(words, 0, 14 + 18 * number, 14, font_weight="bold"))
    axes = _Axes(-(-max(band.minutes for row in drawn for band in row.minutes_bands) // 10) * 10)
    _draw_axes(drawing, axes, metric=metric)
    _draw_rows(drawing, axes, drawn)
    if altitude is not None and altitude.feet <= HIGHEST_FT:
        _draw_kitchen(drawing, axes, drawn, altitude, kitchen)
    return as_wide_as_the_page(drawing)


def _draw_axes(drawing: drawsvg.Drawing, axes: _Axes, *, metric: bool) -> None:
    drawing.append(words_at(_("minutes"), 0, PLOT_TOP - 12, 12))
    for minutes in range(0, axes.top + 1, 10 if axes.top <= 60 else 20):
        y = axes.y(minutes)
        rule = drawsvg.Line(PLOT_LEFT, y, PLOT_WIDTH - PLOT_RIGHT, y, stroke="currentColor", stroke_opacity=0.2)
        drawing.append(rule)
        drawing.append(words_at(str(minutes), PLOT_LEFT - 8, y + 4, 12, text_anchor="end"))
    for height in range(0, 3001, 1000) if metric else range(0, HIGHEST_FT + 1, 2500):
        x = axes.x(height * FT_PER_M if metric else height)
        words = f"{height:,} {'m' if metric else 'ft'}"
        drawing.append(words_at(words, x, axes.bottom + 18, 12, text_anchor="middle"))


def _draw_rows(drawing: drawsvg.Drawing, axes: _Axes, rows: Sequence[ProcessRow]) -> None:
    labels: list[float] = []
    for row, dashes in zip(rows, DASHES, strict=False):
        points, low = list[float](), 0.0
        for band in row.minutes_bands:
            high = float(HIGHEST_FT if band.upper_ft is None else band.upper_ft)
            points += [axes.x(low), axes.y(band.minutes), axes.x(high), axes.y(band.minutes)]
            low = high
        drawing.append(drawsvg.Lines(*points, fill="none", stroke="currentColor", stroke_width=2.5, **dashes))
        y = points[-1] + 4
        while any(abs(y - other) < 14 for other in labels):
            y -= 14
        labels.append(y)
        drawing.append(words_at(_jar_word(row), points[-2] + 6, y, 12))


def _draw_kitchen(
    drawing: drawsvg.Drawing, axes: _Axes, rows: Sequence[ProcessRow], altitude: Altitude, kitchen: str
) -> None:
    x = axes.x(float(altitude.feet))
    drawing.append(drawsvg.Line(x, PLOT_TOP, x, axes.bottom, stroke="currentColor", stroke_dasharray="3 3"))
    for row in rows:
        if (minutes := _minutes_at(row, altitude)) is not None:
            drawing.append(drawsvg.Circle(x, axes.y(minutes), 5, fill="currentColor"))
    # Its name stays within the picture, however low or high it lies.
    anchor = "start" if x < PLOT_WIDTH / 3 else "end" if x > PLOT_WIDTH * 2 / 3 else "middle"
    drawing.append(words_at(kitchen, x, axes.bottom + 36, 12, text_anchor=anchor, font_weight="bold"))


def _minutes_at(row: ProcessRow, altitude: Altitude) -> int | None:
    place = find_band([band.upper_ft for band in row.minutes_bands], altitude)
    return None if place is None else row.minutes_bands[place.index].minutes


def _jar_word(row: ProcessRow) -> str:
    """Without its millilitres: "pint"."""
    return str(JARS[row.jar]).partition(" (")[0]


def _row_sentence(row: ProcessRow) -> str:
    limits = [None, *(band.upper_ft for band in row.minutes_bands)]
    bands = [band_text(below, upper) for below, upper in zip(limits[:-1], limits[1:], strict=True)]
    parts = [
        _("%(minutes)s min, %(band)s") % {"minutes": band.minutes, "band": band_words(text)}
        for band, text in zip(row.minutes_bands, bands, strict=True)
    ]
    return f"{JARS[row.jar]}: {'; '.join(parts)}."


def _altitude_title(rows: Sequence[ProcessRow], altitude: Altitude | None, kitchen: str) -> str:
    """The finding: what the largest jar takes here, and what it takes by the sea."""
    row = rows[-1]
    here, low = altitude and _minutes_at(row, altitude), row.minutes_bands[0].minutes
    words = {"jar": _jar_word(row), "kitchen": kitchen, "here": here, "low": low, "high": row.minutes_bands[-1].minutes}
    if here is None:
        return _("A %(jar)s takes %(low)s min by the sea, and %(high)s high up") % words
    if here == low:
        return _("A %(jar)s takes %(here)s min in %(kitchen)s, as by the sea") % words
    return _("A %(jar)s takes %(here)s min in %(kitchen)s, and %(low)s by the sea") % words
