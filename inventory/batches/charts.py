"""Failure rates with their intervals as an SVG picture. The table beside it says the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import drawsvg
from django.utils.translation import gettext as _

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
