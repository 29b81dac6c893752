"""Failure rates with their intervals as an SVG picture, beside which a table says the same; and the icon of the
installed site as PNG, for phones that take no SVG.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import atan2, ceil, cos, hypot, pi, sin, sqrt
from pathlib import Path
from xml.etree import ElementTree

import drawsvg
from django.utils.translation import gettext as _
from PIL import Image, ImageDraw

from club.core.charts import as_wide_as_the_page, new_picture, words_at
from inventory.batches.statistics import Rate

WIDTH = 340  # a phone's, so that its letters stay readable there; on a desk it stands in a narrow column
MARGIN = 18
LANE = 46
TOP = 40
LABEL_LENGTH = 40  # of a lot's name that the picture has room for


@dataclass(frozen=True)
class RateBar:
    label: str
    rate: Rate


def rates_svg(bars: Sequence[RateBar], *, title: str, prefix: str = "rates") -> str:
    """A line for each lot: a dot at the rate, whiskers over its interval. Few data is drawn as an open dot."""
    most, height = scale_top(bars), TOP + LANE * len(bars) + 8
    drawing = new_picture(
        WIDTH, height, title=title, description=rates_sentence(bars), css_class="kh-rates", prefix=prefix
    )
    _draw_scale(drawing, most, TOP + LANE * len(bars))
    for row, bar in enumerate(bars):
        _draw_bar(drawing, bar, TOP + LANE * row + LANE // 2 + 6, most)
    return as_wide_as_the_page(drawing)


def scale_top(bars: Sequence[RateBar]) -> int:
    """The right end of the scale in percent: the highest whisker, up to the next ten."""
    highest = max((bar.rate.high for bar in bars), default=0.1)
    return min(100, max(10, ceil(highest * 10) * 10))


def rates_sentence(bars: Sequence[RateBar]) -> str:
    """The whole picture in words."""
    text = _("%(lot)s: %(failed)s of %(of)s failed, likely %(low)s to %(high)s %%.")
    return " ".join(
        text
        % {
            "lot": bar.label,
            "failed": bar.rate.failed,
            "of": bar.rate.looked_at,
            "low": round(100 * bar.rate.low),
            "high": round(100 * bar.rate.high),
        }
        for bar in bars
    )


def _draw_scale(drawing: drawsvg.Drawing, most: int, bottom: int) -> None:
    for percent in range(0, most + 1, 10 if most <= 50 else 20):
        x = _x(percent / 100, most)
        drawing.append(drawsvg.Line(x, TOP - 8, x, bottom, stroke="currentColor", stroke_opacity=0.2))
        drawing.append(_text(f"{percent} %", x, TOP - 16, anchor="middle"))


def _draw_bar(drawing: drawsvg.Drawing, bar: RateBar, y: int, most: int) -> None:
    low, high = _x(bar.rate.low, most), _x(bar.rate.high, most)
    label = bar.label if len(bar.label) <= LABEL_LENGTH else f"{bar.label[: LABEL_LENGTH - 1]}…"
    drawing.append(_text(label, 0, y - 13))
    drawing.append(drawsvg.Line(low, y, high, y, stroke="currentColor", stroke_width=3, stroke_opacity=0.5))
    for end in (low, high):
        drawing.append(drawsvg.Line(end, y - 6, end, y + 6, stroke="currentColor", stroke_width=2))
    dot = drawsvg.Circle(
        _x(bar.rate.share, most),
        y,
        6,
        fill="none" if bar.rate.is_few else "currentColor",
        stroke="currentColor",
        stroke_width=2,
    )
    dot.append_title(rates_sentence([bar]))
    drawing.append(dot)


def _x(share: float, most: int) -> float:
    return round(MARGIN + (WIDTH - 2 * MARGIN) * share * 100 / most, 1)


def _text(words: str, x: float, y: float, anchor: str = "start") -> drawsvg.Text:
    return words_at(words, x, y, 13, text_anchor=anchor)


# The icon.

ICON = Path(__file__).parent / "static" / "batches" / "kitchen.svg"
FINER = 4  # times the side that it is drawn at, before it is made smaller with smooth edges
# A phone may cut a maskable icon to a circle of 80 % of its side; the drawing's furthest point lies at 83 %.
MASKED_SCALE = 0.9
_PATH = re.compile(r"([A-Za-z])|(-?[0-9.]+)")
_TAKES = {"M": 2, "h": 1, "V": 1, "v": 1, "H": 1, "l": 2, "a": 7, "c": 6, "z": 0}
Point = tuple[float, float]


@lru_cache(maxsize=4)
def icon_png(side: int, *, is_maskable: bool) -> bytes:
    """`kitchen.svg` in a square of `side` pixels. Of SVG only what that file uses is understood: rectangles, and paths
    of lines, round arcs and cubic curves; a KeyError for any other."""
    fine = side * FINER
    root = ElementTree.parse(ICON).getroot()  # noqa: S314 - our own file
    across = float(root.attrib["viewBox"].split()[2])
    picture = Image.new("RGB", (fine, fine), root[0].attrib["fill"])
    pen = ImageDraw.Draw(picture)
    scale = fine / across * (MASKED_SCALE if is_maskable else 1)
    edge = (fine - across * scale) / 2

    def at(point: Point) -> Point:
        return edge + point[0] * scale, edge + point[1] * scale

    for shape in root[1:]:
        said = shape.attrib
        if shape.tag.endswith("rect"):
            x, y, wide, tall, radius = (float(said[name]) for name in ("x", "y", "width", "height", "rx"))
            corners = [*at((x, y)), *at((x + wide, y + tall))]
            pen.rounded_rectangle(corners, radius * scale, fill=said["fill"])
            continue
        for line in _lines(said["d"]):
            points = [at(point) for point in line]
            if said["fill"] != "none":
                pen.polygon(points, fill=said["fill"])
                continue
            thick = float(said["stroke-width"]) * scale
            for x, y in points:  # a round pen, drawn along the line
                pen.ellipse([x - thick / 2, y - thick / 2, x + thick / 2, y + thick / 2], fill=said["stroke"])
            pen.line(points, fill=said["stroke"], width=round(thick))
    written = io.BytesIO()
    picture.resize((side, side), Image.Resampling.LANCZOS).save(written, "PNG", optimize=True)
    return written.getvalue()


def _lines(path: str) -> Iterator[list[Point]]:
    """The lines of a path, its arcs and curves in short straight pieces."""
    found: list[Point] = []
    command = ""
    numbers: list[float] = []
    for letter, number in _PATH.findall(path):
        if letter:
            command, numbers = letter, []
        else:
            numbers.append(float(number))
        if len(numbers) != _TAKES[command] or (letter and _TAKES[command]):
            continue
        if command == "M":
            if found:
                yield found
            found = [(numbers[0], numbers[1])]
        elif command != "z":
            found += _piece(found[-1], command, numbers)
        numbers = []
    yield found


def _piece(start: Point, command: str, numbers: Sequence[float]) -> list[Point]:
    x, y = start
    match command:
        case "h":
            return [(x + numbers[0], y)]
        case "H":
            return [(numbers[0], y)]
        case "v":
            return [(x, y + numbers[0])]
        case "V":
            return [(x, numbers[0])]
        case "a":
            return _arc(start, numbers[0], (x + numbers[5], y + numbers[6]))
        case "c":
            one, two, end = ((x + numbers[n], y + numbers[n + 1]) for n in (0, 2, 4))
            return [_on_curve(start, one, two, end, step / 16) for step in range(1, 17)]
    return [(x + numbers[0], y + numbers[1])]


def _arc(start: Point, radius: float, end: Point) -> list[Point]:
    """The shorter way round, clockwise on the screen: all arcs of the file go so."""
    (x, y), (to_x, to_y) = start, end
    apart = hypot(to_x - x, to_y - y)
    out = sqrt(max(radius**2 - (apart / 2) ** 2, 0)) / apart
    middle = (x + to_x) / 2 - (to_y - y) * out, (y + to_y) / 2 + (to_x - x) * out
    begin, stop = atan2(y - middle[1], x - middle[0]), atan2(to_y - middle[1], to_x - middle[0])
    turn = (stop - begin) % (2 * pi) / 12
    return [
        (middle[0] + radius * cos(begin + n * turn), middle[1] + radius * sin(begin + n * turn)) for n in range(1, 13)
    ]


def _on_curve(start: Point, one: Point, two: Point, end: Point, part: float) -> Point:
    left = 1 - part
    weights = (left**3, 3 * left**2 * part, 3 * left * part**2, part**3)
    points = (start, one, two, end)
    x, y = (sum(weight * point[axis] for weight, point in zip(weights, points, strict=True)) for axis in (0, 1))
    return x, y
